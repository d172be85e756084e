"""Cross-checks: every id that an entry names must exist, and some things must agree."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import BaseModel

from triage.errors import TriageError, did_you_mean
from triage.knowledge.base import Status
from triage.knowledge.book import ATTRIBUTES, Knowledge
from triage.knowledge.specimen import Question

# (kind of the entry, kind of the id it names, id)
Reference = tuple[str, str, str]


def _sources(value: object) -> Iterator[str]:
    """Yield every source id anywhere inside an entry."""
    if isinstance(value, BaseModel):
        for name in type(value).model_fields:
            inner = getattr(value, name)
            if name in ("source", "range_source") and isinstance(inner, str):
                yield inner
            else:
                yield from _sources(inner)
    elif isinstance(value, tuple | list):
        for item in value:
            yield from _sources(item)
    elif isinstance(value, dict):
        for item in value.values():
            yield from _sources(item)


def _agent_references(k: Knowledge) -> Iterator[tuple[str, str, str, str]]:
    classes = {a.agent_class for a in k.agents.values()}
    for a in k.agents.values():
        for limit in a.limits:
            yield "agent", a.id, "authority", limit.authority
        for hazard in a.hazards:
            yield "agent", a.id, "hazard", hazard
        for attack in a.attacks:
            yield "agent", a.id, "material", attack.material
        for glove in a.gloves:
            yield "agent", a.id, "material", glove.material
        for who in a.not_for:
            yield "agent", a.id, "circumstance", who
        for mix in a.incompatible:
            if mix.with_ not in classes:
                yield "agent", a.id, "agent", mix.with_
        if a.vapour_of:
            yield "agent", a.id, "agent", a.vapour_of


def _method_references(k: Knowledge) -> Iterator[tuple[str, str, str, str]]:
    for m in k.methods.values():
        yield "method", m.id, "technique", m.technique
        if m.agent:
            yield "method", m.id, "agent", m.agent
        for part in m.with_:
            yield "method", m.id, "agent", part.agent
        for stop in m.stop_signs:
            yield "method", m.id, "stop", stop
        for need in m.needs:
            yield "method", m.id, "equipment", need
        for material in m.keep_away:
            yield "method", m.id, "material", material


def _specimen_references(k: Knowledge) -> Iterator[tuple[str, str, str, str]]:
    for zone in k.zones.values():
        for plan in zone.plans:
            yield "zone", zone.id, "body-plan", plan
        for tag in zone.surface:
            yield "zone", zone.id, "trait", tag
    for taxon in k.taxa.values():
        yield "taxon", taxon.id, "body-plan", taxon.plan
        yield "taxon", taxon.id, "fragility", taxon.fragility
        for trait in taxon.traits:
            yield "taxon", taxon.id, "trait", trait
    for deposit in k.deposits.values():
        for other in deposit.confused_with:
            yield "deposit", deposit.id, "deposit", other


def _references(k: Knowledge) -> Iterator[tuple[str, str, str, str]]:
    yield from _agent_references(k)
    yield from _method_references(k)
    yield from _specimen_references(k)


def _missing(k: Knowledge) -> Iterator[TriageError]:
    for kind, entry_id, wanted, name in _references(k):
        table = k.table(wanted)
        if name not in table:
            yield TriageError(
                f'unknown {wanted} "{name}"', k.where(kind, entry_id), did_you_mean(name, table)
            )


def _unsourced(k: Knowledge) -> Iterator[TriageError]:
    entries = [(kind, e) for kind in ATTRIBUTES if kind != "source" for e in k.table(kind).values()]
    entries += [("rule", rule) for rules in k.rules.values() for rule in rules]
    for kind, entry in entries:
        for name in sorted(set(_sources(entry))):
            if name not in k.sources:
                where = k.where(kind, getattr(entry, "id", ""))
                yield TriageError(f'unknown source "{name}"', where, did_you_mean(name, k.sources))
    for name in sorted(set(_sources(k.judgement))):
        if name not in k.sources:
            yield TriageError(f'unknown source "{name}" in judgement', mend="add it to sources")


def _answers_twice(question: Question) -> str:
    ids = [answer.id for answer in question.answers]
    return next((i for i in ids if ids.count(i) > 1), "")


def _question_faults(k: Knowledge) -> Iterator[TriageError]:
    for question in k.questions.values():
        twice = _answers_twice(question)
        where = k.where("question", question.id)
        if twice:
            yield TriageError(f'answer "{twice}" stands twice', where, "give each its own id")
        if any(answer.id == "unknown" for answer in question.answers):
            yield TriageError('"unknown" is always an answer', where, "remove it from the list")


def _method_faults(k: Knowledge) -> Iterator[TriageError]:
    for method in k.methods.values():
        where = k.where("method", method.id)
        agents = [method.agent] if method.agent else []
        agents += [part.agent for part in method.with_]
        for agent in (k.agents[agent_id] for agent_id in agents):
            if agent.never:
                yield TriageError(f'"{agent.id}" is never used', where, "choose another agent")
            if agent.status is Status.DRAFT:
                yield TriageError(f'"{agent.id}" is a draft', where, "check the agent first")


def _rule_faults(k: Knowledge) -> Iterator[TriageError]:
    for rule in (rule for rules in k.rules.values() for rule in rules):
        where = k.where("rule", rule.id)
        if {case.expect for case in rule.cases} != {"fires", "silent"}:
            yield TriageError("needs a case that fires and one that is silent", where, "add it")
        if rule.ask and rule.ask not in k.questions:
            mend = did_you_mean(rule.ask, k.questions)
            yield TriageError(f'unknown question "{rule.ask}"', where, mend)


def _condition_faults(k: Knowledge) -> Iterator[TriageError]:
    for condition in k.conditions.values():
        where = k.where("condition", condition.id)
        for name, answer in condition.when_cleared.items():
            question = k.questions.get(name)
            if question is None:
                mend = did_you_mean(name, k.questions)
                yield TriageError(f'unknown question "{name}"', where, mend)
            elif answer not in [a.id for a in question.answers]:
                mend = did_you_mean(answer, [a.id for a in question.answers])
                yield TriageError(f'"{answer}" does not answer {name}', where, mend)


def _inner_faults(k: Knowledge) -> Iterator[TriageError]:
    yield from _question_faults(k)
    yield from _method_faults(k)
    yield from _rule_faults(k)
    yield from _condition_faults(k)


def cross_check(knowledge: Knowledge) -> list[TriageError]:
    """Return every fault that shows only when entries are seen together."""
    faults = [*_missing(knowledge), *_unsourced(knowledge)]
    # Inner faults look entries up, so they are only searched once all references hold.
    return faults or list(_inner_faults(knowledge))
