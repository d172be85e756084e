"""What the bench rules out: refused agents, circumstances, missing equipment, gloves, air."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from functools import cache

from triage.case.fields import shown
from triage.case.nearmiss import is_like, words_in
from triage.case.profile import Bench
from triage.engine.casefacts import Locate
from triage.engine.vocabulary import agent_ids
from triage.errors import TriageError, Where, did_you_mean, raise_faults
from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge
from triage.plan.airjudge import AirJudge
from triage.plan.ladder import Barred, harshness_key

HAZARDOUS_TO_SKIN = frozenset({"holds", "splash"})


def _in_bench(path: tuple[str | int, ...]) -> Where:
    del path
    return Where("bench")


def check_bench(knowledge: Knowledge, bench: Bench, locate: Locate = _in_bench) -> None:
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


# "no" in no-hood speaks of nothing.
_LEAST_WORD = 4


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
    good = {g.material for g in agent.gloves if g.verdict in HAZARDOUS_TO_SKIN}
    if good & set(bench.gloves):
        return ""
    names = ", ".join(knowledge.materials[m].name for m in sorted(good))
    return f"None of the gloves on hand holds {agent.name}; it needs {names or 'others'}."


_SKIN_GRADE = 3


def equipment_at_hand(knowledge: Knowledge, bench: Bench) -> frozenset[str]:
    """Return the equipment that counts as present: listed, or assumed and not lacking."""
    assumed = {e.id for e in knowledge.equipment.values() if e.assumed}
    return frozenset((assumed | set(bench.equipment)) - set(bench.lacking))


class BenchBars:
    """What one bench, with the air of its day, excludes among methods; each is looked at once."""

    def __init__(self, knowledge: Knowledge, bench: Bench, judge: AirJudge) -> None:
        self.knowledge = knowledge
        self.bench = bench
        self.judge = judge
        self._at_hand = equipment_at_hand(knowledge, bench)
        # The key of each method is worked out once for all ladders.
        self.harshness = cache(harshness_key(knowledge))
        self._found: dict[str, tuple[Barred, ...]] = {}
        self._out: dict[str, bool] = {}

    def without_air(self, method: str) -> tuple[Barred, ...]:
        """Return what excludes a method apart from the air: agents, gloves, equipment."""
        if method not in self._found:
            self._found[method] = tuple(
                Barred(method, rule, because, interlock=False)
                for rule, because in self._bars(method)
            )
        return self._found[method]

    def _bars(self, method_id: str) -> Iterator[tuple[str, str]]:
        knowledge, bench = self.knowledge, self.bench
        method = knowledge.methods[method_id]
        for agent in (knowledge.agents[a] for a in agent_ids(knowledge, method_id)):
            yield from agent_bars(agent, bench, knowledge)
            gloves = _glove_bar(agent, bench, knowledge)
            if gloves:
                yield "bench-gloves", gloves
        for circumstance in sorted(set(method.not_for) & set(bench.circumstances)):
            because = f"Not for this bench: {knowledge.circumstances[circumstance].name}."
            yield "bench-circumstance", because
        for need in method.needs:
            if need not in self._at_hand:
                yield "bench-lacks", f"Needs {knowledge.equipment[need].name}."

    def of(self, methods: Iterable[str]) -> Iterator[Barred]:
        """Yield what the bench excludes among these methods, with a reason for each."""
        for method in sorted(methods):
            yield from self.without_air(method)
            refused = self.judge.choose(self.knowledge.methods[method]).refused
            if refused:
                yield Barred(method, "air-limit", refused, interlock=True)

    def out(self, methods: Iterable[str]) -> frozenset[str]:
        """Return which of these methods the bench excludes; no reason is worked out."""
        for method in methods:
            if method not in self._out:
                entry = self.knowledge.methods[method]
                self._out[method] = bool(self.without_air(method)) or not self.judge.permits(entry)
        return frozenset(m for m in methods if self._out[m])
