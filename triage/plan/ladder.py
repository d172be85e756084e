"""Ladders: the permitted methods of one target, least harsh first, and where one stands."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

from triage.engine.facts import Conclusion
from triage.engine.vocabulary import agent_ids
from triage.errors import TriageError
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.plan.outcomes import Progress, Target, condition_target

if TYPE_CHECKING:
    from triage.plan.barring import BenchBars

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


def applies(conclusion: Conclusion, target: Target) -> bool:
    """Return whether a forbid or caution holds for a target: everywhere, or for its finding."""
    finding = conclusion.get("finding")
    return finding is None or finding == target.finding


@dataclass(frozen=True, eq=False, slots=True)
class Rulings:
    """What forbid, offer and order rules say of a case, or of one finding of it.

    By finding, None for the whole case: ``against`` what keeps methods from it, ``out`` these
    methods; ``offers`` by the key of a target.
    """

    against: Mapping[str | None, tuple[Conclusion, ...]]
    out: Mapping[str | None, frozenset[str]]
    offers: Mapping[str, tuple[Conclusion, ...]]
    orders: tuple[Conclusion, ...]


# The same long lists of methods come again and again.
@lru_cache(maxsize=8192)
def _methods(names: tuple[str, ...]) -> frozenset[str]:
    return frozenset(names)


def rulings(conclusions: Iterable[Conclusion]) -> Rulings:
    """Return conclusions of the forbid, offer and order rules laid out for ladders."""
    against: dict[str | None, tuple[Conclusion, ...]] = {}
    offers: dict[str, tuple[Conclusion, ...]] = {}
    orders = []
    for c in conclusions:
        # One pass over the fields where ``get`` would make one for each name.
        fields = dict(c.fields)
        finding, condition = fields.get("finding"), fields.get("condition")
        if c.kind in ("forbid", "pass-over"):
            against[finding] = (*against.get(finding, ()), c)
        elif c.kind != "offer":
            orders.append(c)
        else:
            keys = [finding] if finding is not None else []
            keys += [condition_target(condition).key] if condition is not None else []
            for key in keys:
                offers[key] = (*offers.get(key, ()), c)
    out = {
        finding: frozenset[str]().union(*[_methods(c.get("method")) for c in said])
        for finding, said in against.items()
    }
    return Rulings(against, out, offers, tuple(orders))


@dataclass(frozen=True, eq=False)
class Ladder:
    """The rungs of one target, least harsh first, and all that was said of it."""

    target: Target
    zone: str | None
    problem: str | None
    rungs: tuple[str, ...]
    offered: frozenset[str]
    progress: Progress
    said: tuple[Rulings, ...]
    bars: BenchBars

    @cached_property
    def offer_rules(self) -> Mapping[str, tuple[str, ...]]:
        """Return method -> the rules that offer it for this target, sorted."""
        found: dict[str, set[str]] = {}
        for offer in offers_for(self.said, self.target, self.problem):
            for method in offer.get("method"):
                found.setdefault(method, set()).add(offer.rule)
        return {method: tuple(sorted(rules)) for method, rules in found.items()}

    @cached_property
    def barred(self) -> tuple[Barred, ...]:
        """Return what excludes a method here, one entry for each reason, sorted."""
        knowledge = self.bars.knowledge
        found = {
            Barred(method, c.rule, knowledge.rule(c.rule).because, interlock=c.kind == "forbid")
            for each in self.said
            for finding in {None, self.target.finding}
            for c in each.against.get(finding, ())
            for method in c.get("method")
        }
        found.update(self.bars.of(self.offered))
        found.update(barred_by_attempts(knowledge, self.offered, self.progress))
        return tuple(sorted(found, key=lambda b: (b.method, b.rule, b.because)))


def offers_for(
    said: Iterable[Rulings], target: Target, problem: str | None
) -> Iterator[Conclusion]:
    """Yield what offers methods for a target.

    With a settled problem only its own offers count; without one, those of every candidate,
    of which the rules leave only what is harmless.
    """
    for each in said:
        for offer in each.offers.get(target.key, ()):
            deposit = offer.get("deposit")
            if target.finding is None or None in (problem, deposit) or deposit == problem:
                yield offer


def build_ladder(
    target: Target,
    zone: str | None,
    problem: str | None,
    said: tuple[Rulings, ...],
    whole: frozenset[str],
    bars: BenchBars,
    progress: Progress,
) -> Ladder:
    """Return the ladder of a target: offered, not barred, sorted by harshness, not used up.

    ``said`` holds all that the rules say of the target: of itself and of the whole case; ``whole``
    are the methods that are kept from the whole case.
    """
    offers = offers_for(said, target, problem)
    offered = frozenset[str]().union(*[_methods(c.get("method")) for c in offers])
    left = offered - whole
    for each in said:
        left -= each.out.get(target.finding, frozenset())
    left -= {bar.method for bar in barred_by_attempts(bars.knowledge, left, progress)}
    rungs = rungs_left(bars, left, bars.out(left), progress)
    return Ladder(target, zone, problem, rungs, offered, progress, said, bars)


def rungs_left(
    bars: BenchBars, offered: Iterable[str], out: AbstractSet[str], progress: Progress
) -> tuple[str, ...]:
    """Return the offered methods that nothing excludes, least harsh first, not used up."""
    rungs = sorted((m for m in offered if m not in out), key=bars.harshness)
    return tuple(m for m in rungs if progress.done(m) < bars.knowledge.methods[m].passes)


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
