"""What the bench rules out: refused agents, circumstances, missing equipment, gloves, air."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from triage.case.profile import Bench
from triage.engine.vocabulary import agent_ids
from triage.errors import TriageError, Where, did_you_mean, raise_faults
from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge
from triage.plan.air import AirJudge
from triage.plan.ladder import Barred

HAZARDOUS_TO_SKIN = frozenset({"holds", "splash"})


def check_bench(knowledge: Knowledge, bench: Bench, shown_as: str = "bench") -> None:
    """Raise every id in a bench that the knowledge does not have, each with a mend."""
    faults = []
    named: list[tuple[str, Iterable[str], Iterable[str]]] = [
        (
            "agent",
            [s.agent for s in bench.stock] + [r.agent for r in bench.refused],
            knowledge.agents,
        ),
        ("circumstance", bench.circumstances, knowledge.circumstances),
        ("equipment", (*bench.equipment, *bench.lacking), knowledge.equipment),
        ("glove material", bench.gloves, knowledge.materials),
        ("support", bench.supports, knowledge.materials),
    ]
    if bench.authority is not None:
        named.append(("authority", [bench.authority], knowledge.authorities))
    for kind, names, table in named:
        faults += [
            TriageError(f'unknown {kind} "{name}"', Where(shown_as), did_you_mean(name, table))
            for name in names
            if name not in set(table)
        ]
    raise_faults(faults)


def _agent_bars(agent: Agent, bench: Bench, knowledge: Knowledge) -> Iterator[tuple[str, str]]:
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


def bars_without_air(knowledge: Knowledge, bench: Bench, methods: Iterable[str]) -> list[Barred]:
    """Return what the bench excludes apart from the air: agents, gloves, equipment."""
    found: list[Barred] = []
    at_hand = equipment_at_hand(knowledge, bench)
    for method_id in sorted(methods):
        method = knowledge.methods[method_id]
        agents = [knowledge.agents[a] for a in agent_ids(knowledge, method_id)]
        for agent in agents:
            found += [
                Barred(method_id, rule, because, interlock=False)
                for rule, because in _agent_bars(agent, bench, knowledge)
            ]
            gloves = _glove_bar(agent, bench, knowledge)
            if gloves:
                found.append(Barred(method_id, "bench-gloves", gloves, interlock=False))
        for need in method.needs:
            if need not in at_hand:
                name = knowledge.equipment[need].name
                found.append(Barred(method_id, "bench-lacks", f"Needs {name}.", interlock=False))
    return found


def bench_bars(
    knowledge: Knowledge, bench: Bench, methods: Iterable[str], judge: AirJudge
) -> list[Barred]:
    """Return what the bench excludes among these methods, with a reason for each."""
    methods = sorted(methods)
    found = bars_without_air(knowledge, bench, methods)
    for method_id in methods:
        refused = judge.choose(knowledge.methods[method_id]).refused
        if refused:
            found.append(Barred(method_id, "air-limit", refused, interlock=True))
    return found
