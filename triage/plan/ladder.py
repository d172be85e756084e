"""Ladders: the permitted methods of one target, least harsh first, and where one stands."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass

from triage.engine.consult import Conclusions
from triage.engine.facts import Conclusion
from triage.engine.vocabulary import agent_ids
from triage.errors import TriageError
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.knowledge.rules import Family
from triage.plan.outcomes import Progress, Target

HarshnessKey = tuple[int | str, ...]


def grades(method: Method) -> tuple[int, int, int, int]:
    """Return mechanical, chemical, person and lasting grade of a method."""
    h = method.harshness
    lasting = h.lasting.grade if h.lasting else 0
    return h.mechanical.grade, h.chemical.grade, h.person.grade, lasting


def harshness_key(knowledge: Knowledge) -> Callable[[str], HarshnessKey]:
    """Return the sort key of a method by the order written in the judgement file."""
    words = knowledge.judgement.harshness_order.keys

    def key(method_id: str) -> HarshnessKey:
        graded = grades(knowledge.methods[method_id])
        values = dict(zip(("mechanical", "chemical", "person", "lasting"), graded, strict=True))
        values |= {"worst": max(graded), "sum": sum(graded)}
        return (*(values[word] for word in words), method_id)

    return key


@dataclass(frozen=True, slots=True)
class Barred:
    """A method that one rule or one fact of the bench excludes for a target."""

    method: str
    rule: str
    because: str
    interlock: bool


@dataclass(frozen=True, slots=True)
class Ladder:
    """All rungs of one target, the excluded methods, and the rung to do now."""

    target: Target
    zone: str | None
    problem: str | None
    rungs: tuple[str, ...]
    barred: tuple[Barred, ...]
    offered: frozenset[str]
    progress: Progress
    offer_rules: Mapping[str, tuple[str, ...]]


def applies(conclusion: Conclusion, target: Target) -> bool:
    """Return whether a forbid or caution holds for a target: everywhere, or for its finding."""
    finding = conclusion.get("finding")
    return finding is None or finding == target.finding


def forbidden(
    conclusions: Iterable[Conclusion], target: Target, knowledge: Knowledge
) -> list[Barred]:
    """Return every interlock on a target, one entry for each method and rule."""
    found = []
    for conclusion in conclusions:
        if conclusion.kind == "forbid" and applies(conclusion, target):
            because = knowledge.rule(conclusion.rule).because
            found += [
                Barred(method, conclusion.rule, because, interlock=True)
                for method in conclusion.get("method")
            ]
    return found


def passed_over(conclusions: Conclusions, target: Target, knowledge: Knowledge) -> list[Barred]:
    """Return what a test on a finding has shown to be handling for nothing: no interlock."""
    return [
        Barred(method, c.rule, knowledge.rule(c.rule).because, interlock=False)
        for c in conclusions.of(Family.ORDER, "pass-over")
        if c.get("finding") == target.finding
        for method in c.get("method")
    ]


def offers_for(
    conclusions: Conclusions, target: Target, problem: str | None
) -> dict[str, tuple[str, ...]]:
    """Return method -> rules that offer it for this target.

    With a settled problem only its own offers count; without one, those of every candidate,
    of which the rules leave only what is harmless.
    """
    offered: dict[str, list[str]] = {}
    for conclusion in conclusions.of(Family.OFFER, "offer"):
        if target.finding is not None:
            if conclusion.get("finding") != target.finding:
                continue
            if problem is not None and conclusion.get("deposit") not in (None, problem):
                continue
        elif conclusion.get("condition") != target.condition:
            continue
        for method in conclusion.get("method"):
            offered.setdefault(method, []).append(conclusion.rule)
    return {method: tuple(sorted(set(rules))) for method, rules in offered.items()}


def build_ladder(
    knowledge: Knowledge,
    target: Target,
    zone: str | None,
    problem: str | None,
    offered: Mapping[str, tuple[str, ...]],
    barred: Iterable[Barred],
    progress: Progress,
) -> Ladder:
    """Return the ladder of a target: offered, not barred, sorted by harshness, not used up."""
    barred = [*barred, *barred_by_attempts(knowledge, offered, progress)]
    out = {bar.method for bar in barred}
    left = rungs_left(knowledge, offered, out, progress)
    return Ladder(
        target,
        zone,
        problem,
        left,
        tuple(sorted(set(barred), key=lambda b: (b.method, b.rule, b.because))),
        frozenset(offered),
        progress,
        offered,
    )


def rungs_left(
    knowledge: Knowledge, offered: Iterable[str], out: AbstractSet[str], progress: Progress
) -> tuple[str, ...]:
    """Return the offered methods that nothing excludes, least harsh first, not used up."""
    rungs = sorted((m for m in offered if m not in out), key=harshness_key(knowledge))
    return tuple(m for m in rungs if progress.done(m) < knowledge.methods[m].passes)


def barred_by_attempts(
    knowledge: Knowledge, offered: Iterable[str], progress: Progress
) -> list[Barred]:
    """Return what earlier attempts and the user's own choices exclude."""
    found = []
    vain = [m for m, last in progress.last.items() if last == "no-change"]
    for method in offered:
        stronger = next((m for m in vain if _is_milder(knowledge, method, m)), None)
        if stronger:
            name = knowledge.methods[stronger].name
            because = f"{name} changed nothing; this is milder, and handling for nothing."
            found.append(Barred(method, "tried-harsher", because, interlock=False))
        if method in progress.harmed:
            found.append(
                Barred(method, "attempt-harm", "It made this finding worse before.", interlock=True)
            )
        if method in progress.skipped:
            reason = f"Skipped by the user: {progress.skipped[method]}"
            found.append(Barred(method, "user-skip", reason, interlock=False))
        spots = {method, *agent_ids(knowledge, method)}
        if any(step.rsplit("-before-", 1)[-1] in spots for step in progress.failed_inserts):
            found.append(
                Barred(
                    method, "test-spot-failed", "The hidden test spot went badly.", interlock=True
                )
            )
    return found


def _is_milder(knowledge: Knowledge, method: str, tried: str) -> bool:
    """Return whether a method is dry, or the same agent, and milder than a wet one."""
    if tried not in knowledge.methods or _wet(knowledge, tried) != "wet":
        return False
    harsh, agents = harshness_key(knowledge), set(agent_ids(knowledge, method))
    same = bool(agents) and agents <= set(agent_ids(knowledge, tried))
    return harsh(method) < harsh(tried) and (same or _wet(knowledge, method) == "dry")


def _wet(knowledge: Knowledge, method: str) -> str:
    return knowledge.techniques[knowledge.methods[method].technique].wet


class InterlockBroken(TriageError):
    """A plan held a forbidden method: a fault of the program, never shown as advice."""

    exit_code = 3


def recheck(ladders: Iterable[Ladder], second: Iterable[Conclusion]) -> None:
    """Hold every rung against the interlocks of a second, independent evaluation.

    Raises
    ------
    InterlockBroken: a rung is forbidden; raised explicitly, so that ``python -O`` keeps it.
    """
    forbids = [c for c in second if c.kind == "forbid"]
    for ladder in ladders:
        for conclusion in forbids:
            if applies(conclusion, ladder.target):
                wrong = set(ladder.rungs) & set(conclusion.get("method"))
                if wrong:
                    raise InterlockBroken(
                        f"{min(wrong)} is forbidden by {conclusion.rule} but was planned",
                        mend="report this; the plan is withheld",
                    )
