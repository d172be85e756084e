"""Ladders: the permitted methods of one target, least harsh first, and what the bench rules out."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache, partial

from triage.case.entry import is_like, words_in
from triage.case.fields import shown
from triage.case.profile import Bench
from triage.engine.casefacts import Locate
from triage.engine.facts import Conclusion
from triage.engine.vocabulary import agent_ids
from triage.errors import TriageError, Where, did_you_mean, raise_faults
from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.plan.airjudge import AirJudge
from triage.plan.outcomes import Progress, Target, condition_target

HarshnessKey = tuple[int | str, ...]
_SKIN_GRADE = 3
_LEAST_WORD = 4  # "no" in no-hood speaks of nothing


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
    """The rungs of one target, least harsh first, and all that was said of it.

    ``said`` holds all that the rules say of the target: of itself and of the whole case; ``whole``
    are the methods that are kept from the whole case.
    """

    target: Target
    zone: str | None
    problem: str | None
    progress: Progress
    said: tuple[Rulings, ...]
    whole: frozenset[str]
    bars: BenchBars

    @cached_property
    def offered(self) -> frozenset[str]:
        """Return the methods that are offered for this target."""
        offers = offers_for(self.said, self.target, self.problem)
        return frozenset[str]().union(*[_methods(c.get("method")) for c in offers])

    @cached_property
    def rungs(self) -> tuple[str, ...]:
        """Return what is offered, not barred and not used up, least harsh first."""
        left, knowledge = self.offered - self.whole, self.bars.knowledge
        for each in self.said:
            left -= each.out.get(self.target.finding, frozenset())
        left -= {bar.method for bar in barred_by_attempts(knowledge, left, self.progress)}
        return rungs_left(self.bars, left, self.bars.out(left), self.progress)

    def offers(self, method: str) -> tuple[Conclusion, ...]:
        """Return what offers a method for this target, each once."""
        offers = offers_for(self.said, self.target, self.problem)
        return tuple(dict.fromkeys(c for c in offers if method in c.get("method")))

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


def rungs_left(
    bars: BenchBars, offered: Iterable[str], out: AbstractSet[str], progress: Progress
) -> tuple[str, ...]:
    """Return the offered methods that nothing excludes, least harsh first, not used up."""
    rungs = sorted((m for m in offered if m not in out), key=bars.harshness)
    return tuple(m for m in rungs if progress.done(m) < bars.knowledge.methods[m].passes)


def barred_by_attempts(
    knowledge: Knowledge, offered: Iterable[str], progress: Progress
) -> Iterator[Barred]:
    """Yield what earlier attempts and the user's own choices exclude."""
    vain = [m for m, last in progress.last.items() if last == "no-change"]
    for method in offered:
        stronger = next((m for m in vain if _is_milder(knowledge, method, m)), None)
        if stronger:
            name = knowledge.methods[stronger].name
            because = f"{name} changed nothing; this is milder, and handling for nothing."
            yield Barred(method, "tried-harsher", because, interlock=False)
        if method in progress.harmed:
            because = "It made this finding worse before."
            yield Barred(method, "attempt-harm", because, interlock=True)
        if method in progress.skipped:
            reason = f"Skipped by the user: {progress.skipped[method]}"
            yield Barred(method, "user-skip", reason, interlock=False)
        spots = {method, *agent_ids(knowledge, method)}
        if any(step.rsplit("-before-", 1)[-1] in spots for step in progress.failed_inserts):
            because = "The hidden test spot went badly."
            yield Barred(method, "test-spot-failed", because, interlock=True)


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


def check_bench(
    knowledge: Knowledge, bench: Bench, locate: Locate = lambda _: Where("bench")
) -> None:
    """Raise every id in a bench that the knowledge does not have, each with a mend.

    So is a key that is called like a circumstance or a hazard: it was meant to protect somebody.

    Parameters
    ----------
    locate gives the place of an entry of the bench in its file
    """
    faults = []
    named: list[tuple[str, str, Sequence[str], Collection[str]]] = [
        ("agent", "stock", [s.agent for s in bench.stock], knowledge.agents),
        ("agent", "refused", [r.agent for r in bench.refused], knowledge.agents),
        ("circumstance", "circumstances", bench.circumstances, knowledge.circumstances),
        ("equipment", "equipment", bench.equipment, knowledge.equipment),
        ("equipment", "lacking", bench.lacking, knowledge.equipment),
        ("glove material", "gloves", bench.gloves, knowledge.materials),
        ("support", "supports", bench.supports, knowledge.materials),
    ]
    if bench.authority is not None:
        named.append(("authority", "judge_by", [bench.authority], knowledge.authorities))
    for kind, key, names, table in named:
        faults += [
            TriageError(
                f'unknown {kind} "{name}"',
                locate((key,) if key == "judge_by" else (key, place)),
                did_you_mean(name, table),
            )
            for place, name in enumerate(names)
            if name not in table
        ]
    for path in bench.unknown_keys():
        mend = _meant_to_protect(knowledge, str(path[-1]))
        if mend:
            faults.append(TriageError(f'unknown key "{shown(path[-1])}"', locate(path), mend))
    raise_faults(faults)


def _meant_to_protect(knowledge: Knowledge, key: str) -> str:
    """Return what a key that is called like a circumstance or a hazard was meant for, or empty."""
    for entry in knowledge.circumstances.values():
        parts = [word for word in words_in(entry.id) if len(word) >= _LEAST_WORD]
        told = [entry.id, *re.split(r",| or ", entry.name)]
        words = any(is_like(word, part) for word in words_in(key) for part in parts)
        if words or any(is_like(key, each) for each in told):
            return f"did you mean circumstances: [{entry.id}]?"
    for hazard in knowledge.hazards.values():
        if any(is_like(key, each) for each in (hazard.id, *words_in(hazard.id))):
            return "did you mean an agent under refused, or a circumstance?"
    return ""


def agent_bars(agent: Agent, bench: Bench, knowledge: Knowledge) -> Iterator[tuple[str, str]]:
    """Yield (rule, reason) for what rules an agent out on a bench, whatever it is used for."""
    if agent.never:
        yield "agent-never", f"{agent.name} is listed only to be refused."
    for refused in bench.refused:
        if refused.agent == agent.id:
            yield "bench-refused", f"{agent.name}: {refused.because}"
    for circumstance in sorted(set(agent.not_for) & set(bench.circumstances)):
        name = knowledge.circumstances[circumstance].name
        yield "bench-circumstance", f"{agent.name} is not for this bench: {name}."
    if bench.only_stock and not bench.has_stock(agent.id):
        yield "bench-no-stock", f"{agent.name} is not in the stock of this bench."


def _glove_bar(agent: Agent, bench: Bench, knowledge: Knowledge) -> str:
    """Return why the gloves on hand do not do, empty if they do or no gloves were listed."""
    hazards = {h for h in agent.hazards if knowledge.hazards[h].grade >= _SKIN_GRADE}
    if not bench.gloves or not agent.gloves or not hazards:
        return ""
    good = {g.material for g in agent.gloves if g.verdict != "fails"}
    if good & set(bench.gloves):
        return ""
    names = ", ".join(knowledge.materials[m].name for m in sorted(good))
    return f"None of the gloves on hand holds {agent.name}; it needs {names or 'others'}."


def equipment_at_hand(knowledge: Knowledge, bench: Bench) -> frozenset[str]:
    """Return the equipment that counts as present: listed, or assumed and not lacking."""
    assumed = {e.id for e in knowledge.equipment.values() if e.assumed}
    return frozenset((assumed | set(bench.equipment)) - set(bench.lacking))


def _without_air(
    knowledge: Knowledge, bench: Bench, at_hand: frozenset[str], method_id: str
) -> tuple[Barred, ...]:
    """Return what excludes a method apart from the air: agents, gloves, equipment."""
    found, method = list[tuple[str, str]](), knowledge.methods[method_id]
    for agent in (knowledge.agents[a] for a in agent_ids(knowledge, method_id)):
        found += agent_bars(agent, bench, knowledge)
        gloves = _glove_bar(agent, bench, knowledge)
        found += [("bench-gloves", gloves)] if gloves else []
    for circumstance in sorted(set(method.not_for) & set(bench.circumstances)):
        because = f"Not for this bench: {knowledge.circumstances[circumstance].name}."
        found.append(("bench-circumstance", because))
    lacking = [knowledge.equipment[need].name for need in method.needs if need not in at_hand]
    found += [("bench-lacks", f"Needs {name}.") for name in lacking]
    return tuple(Barred(method_id, *bar, interlock=False) for bar in found)


class BenchBars:
    """What one bench, with the air of its day, excludes among methods; each is looked at once."""

    def __init__(self, knowledge: Knowledge, bench: Bench, judge: AirJudge) -> None:
        self.knowledge = knowledge
        self.bench = bench
        self.judge = judge
        at_hand = equipment_at_hand(knowledge, bench)
        # What is worked out of a method is worked out once for all ladders.
        self.harshness = cache(harshness_key(knowledge))
        self._without_air = cache(partial(_without_air, knowledge, bench, at_hand))
        self._out: dict[str, bool] = {}

    def of(self, methods: Iterable[str]) -> Iterator[Barred]:
        """Yield what the bench excludes among these methods, with a reason for each."""
        for method in sorted(methods):
            yield from self._without_air(method)
            refused = self.judge.choose(self.knowledge.methods[method]).refused
            if refused:
                yield Barred(method, "air-limit", refused, interlock=True)

    def out(self, methods: Iterable[str]) -> frozenset[str]:
        """Return which of these methods the bench excludes; no reason is worked out."""
        for method in methods:
            if method not in self._out:
                entry = self.knowledge.methods[method]
                self._out[method] = bool(
                    self._without_air(method) or not self.judge.choose(entry).is_open
                )
        return frozenset(m for m in methods if self._out[m])
