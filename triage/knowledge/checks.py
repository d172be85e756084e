"""Cross-checks: every id that an entry names must exist, and some things must agree."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from pydantic import BaseModel

from triage.errors import TriageError, did_you_mean
from triage.knowledge.base import Status
from triage.knowledge.book import ATTRIBUTES, Knowledge
from triage.knowledge.figures import figure_faults
from triage.knowledge.rules import BY_ROOM, FAMILIES

Path = tuple[str | int, ...]
# kind of the entry, its id, where in it, kind of the id named there, that id
Reference = tuple[str, str, Path, str, str]


def _sources(value: object, path: Path = ()) -> Iterator[tuple[Path, str]]:
    """Yield every source id anywhere inside an entry, and where."""
    if isinstance(value, BaseModel):
        for name, field in type(value).model_fields.items():
            inner = getattr(value, name)
            deeper = (*path, field.alias or name)
            if name in ("source", "range_source", "caution_source") and isinstance(inner, str):
                yield deeper, inner
            else:
                yield from _sources(inner, deeper)
    elif isinstance(value, tuple | list):
        for index, item in enumerate(value):
            yield from _sources(item, (*path, index))
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from _sources(item, (*path, key))


def _listed(
    kind: str, entry_id: str, key: str, wanted: str, names: Iterable[str], inner: str = ""
) -> Iterator[Reference]:
    """Yield a reference for each id in a list, which stands under ``inner`` of each item."""
    for index, name in enumerate(names):
        path: Path = (key, index, inner) if inner else (key, index)
        yield kind, entry_id, path, wanted, name


def _agent_references(k: Knowledge) -> Iterator[Reference]:
    classes = {a.agent_class for a in k.agents.values()}
    for a in k.agents.values():
        within = ("agent", a.id)
        limits = [limit.authority for limit in a.limits]
        yield from _listed(*within, "limits", "authority", limits, "authority")
        yield from _listed(*within, "hazards", "hazard", a.hazards)
        attacked = [attack.material for attack in a.attacks]
        yield from _listed(*within, "attacks", "material", attacked, "material")
        gloves = [glove.material for glove in a.gloves]
        yield from _listed(*within, "gloves", "material", gloves, "material")
        yield from _listed(*within, "not_for", "circumstance", a.not_for)
        for index, mix in enumerate(a.incompatible):
            if mix.with_ not in classes:
                yield *within, ("incompatible", index, "with"), "agent", mix.with_
        if a.vapour_of:
            yield *within, ("vapour_of",), "agent", a.vapour_of


def _method_references(k: Knowledge) -> Iterator[Reference]:
    for m in k.methods.values():
        within = ("method", m.id)
        yield *within, ("technique",), "technique", m.technique
        if m.agent:
            yield *within, ("agent",), "agent", m.agent
        yield from _listed(*within, "with", "agent", [p.agent for p in m.with_], "agent")
        yield from _listed(*within, "stop_signs", "stop", m.stop_signs)
        yield from _listed(*within, "needs", "equipment", m.needs)
        yield from _listed(*within, "keep_away", "material", m.keep_away)
        yield from _listed(*within, "not_for", "circumstance", m.not_for)


def _specimen_references(k: Knowledge) -> Iterator[Reference]:
    for zone in k.zones.values():
        yield from _listed("zone", zone.id, "plans", "body-plan", zone.plans)
        yield from _listed("zone", zone.id, "surface", "trait", zone.surface)
    for taxon in k.taxa.values():
        yield "taxon", taxon.id, ("plan",), "body-plan", taxon.plan
        yield "taxon", taxon.id, ("fragility",), "fragility", taxon.fragility
        yield from _listed("taxon", taxon.id, "traits", "trait", taxon.traits)
    for question in k.questions.values():
        if question.liquid:
            yield "question", question.id, ("liquid",), "agent", question.liquid
    for deposit in k.deposits.values():
        yield from _listed("deposit", deposit.id, "confused_with", "deposit", deposit.confused_with)


def _references(k: Knowledge) -> Iterator[Reference]:
    yield from _agent_references(k)
    yield from _method_references(k)
    yield from _specimen_references(k)


def _missing(k: Knowledge) -> Iterator[TriageError]:
    for kind, entry_id, path, wanted, name in _references(k):
        table = k.table(wanted)
        if name not in table:
            where = k.where(kind, entry_id, *path)
            yield TriageError(f'unknown {wanted} "{name}"', where, did_you_mean(name, table))


def _unsourced(k: Knowledge) -> Iterator[TriageError]:
    entries: list[tuple[str, object]] = [
        (kind, e) for kind in ATTRIBUTES if kind != "source" for e in k.table(kind).values()
    ]
    # The sources of the other rules stand with the entries that these are made of.
    rules = [rule for family in FAMILIES if family not in BY_ROOM for rule in k.rules[family]]
    entries += [("rule", rule) for rule in rules]
    entries.append(("judgement", k.judgement))
    for kind, entry in entries:
        for path, name in _sources(entry):
            if name not in k.sources:
                where = k.where(kind, getattr(entry, "id", ""), *path)
                yield TriageError(f'unknown source "{name}"', where, did_you_mean(name, k.sources))


def _question_faults(k: Knowledge) -> Iterator[TriageError]:
    for question in k.questions.values():
        seen: set[str] = set()
        for index, answer in enumerate(question.answers):
            if answer.id in seen:
                where = k.where("question", question.id, "answers", index)
                yield TriageError(f'answer "{answer.id}" stands twice', where, "give each its id")
            if answer.id == "unknown":
                where = k.where("question", question.id, "answers", index)
                yield TriageError('"unknown" is always an answer', where, "remove it from the list")
            seen.add(answer.id)


def _method_faults(k: Knowledge) -> Iterator[TriageError]:
    for method in k.methods.values():
        named: list[tuple[Path, str]] = [(("agent",), method.agent)] if method.agent else []
        named += [(("with", i, "agent"), part.agent) for i, part in enumerate(method.with_)]
        for path, agent in ((path, k.agents[name]) for path, name in named):
            if agent.never or agent.status is Status.DRAFT:
                where = k.where("method", method.id, *path)
                what, mend = (
                    ("never used", "choose another agent")
                    if agent.never
                    else ("a draft", "check the agent first")
                )
                yield TriageError(f'"{agent.id}" is {what}', where, mend)


def _stop_faults(k: Knowledge) -> Iterator[TriageError]:
    """Yield the stop signs that cannot show at a method: a musty chamber at a puff of air."""
    for method in k.methods.values():
        wet = k.techniques[method.technique].wet
        for index, stop in enumerate(method.stop_signs):
            if wet not in k.stops[stop].shows_at:
                where = k.where("method", method.id, "stop_signs", index)
                yield TriageError(f'"{stop}" cannot show at a {wet} step', where, "take it out")


def _water_faults(k: Knowledge) -> Iterator[TriageError]:
    """Yield what would bring water onto a dry insect by a technique that is said to bring none."""
    for method in k.methods.values():
        if not k.techniques[method.technique].water_free:
            continue
        pure = method.strength is not None and method.strength.unit == "as-is"
        if method.agent is None or not pure or method.with_:
            where = k.where("method", method.id, "technique")
            mend = "give one agent, strength {value: 100, unit: as-is}, and nothing with it"
            yield TriageError(f'"{method.technique}" takes a liquid without water', where, mend)


def _rule_faults(k: Knowledge) -> Iterator[TriageError]:
    for rule in (rule for rules in k.rules.values() for rule in rules):
        if {case.expect for case in rule.cases} != {"fires", "silent"}:
            where = k.where("rule", rule.id, "cases")
            yield TriageError("needs a case that fires and one that is silent", where, "add it")
        if rule.ask and rule.ask not in k.questions:
            where, mend = k.where("rule", rule.id, "ask"), did_you_mean(rule.ask, k.questions)
            yield TriageError(f'unknown question "{rule.ask}"', where, mend)


def _condition_faults(k: Knowledge) -> Iterator[TriageError]:
    for condition in k.conditions.values():
        for name, answer in condition.when_cleared.items():
            question = k.questions.get(name)
            known = [a.id for a in question.answers] if question else list(k.questions)
            if question is None:
                what = f'unknown question "{name}"'
            elif answer not in known:
                what = f'"{answer}" does not answer {name}'
            else:
                continue
            where = k.where("condition", condition.id, "when_cleared", name)
            yield TriageError(what, where, did_you_mean(answer if question else name, known))


def _inner_faults(k: Knowledge) -> Iterator[TriageError]:
    yield from _question_faults(k)
    yield from _method_faults(k)
    yield from _stop_faults(k)
    yield from _water_faults(k)
    yield from _rule_faults(k)
    yield from _condition_faults(k)
    yield from figure_faults(k)


def cross_check(knowledge: Knowledge) -> list[TriageError]:
    """Return every fault that shows only when entries are seen together."""
    faults = [*_missing(knowledge), *_unsourced(knowledge)]
    # Inner faults look entries up, so they are only searched once all references hold.
    return faults or list(_inner_faults(knowledge))
