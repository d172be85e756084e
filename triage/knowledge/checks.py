"""Cross-checks: ids that entries name must exist, and what entries say together must agree."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from functools import cache
from itertools import pairwise
from typing import Annotated, get_args

from pydantic import BaseModel

from triage.errors import TriageError, did_you_mean
from triage.knowledge.agents import Agent, Physical
from triage.knowledge.base import Names, Status
from triage.knowledge.book import ATTRIBUTES, Knowledge
from triage.knowledge.rules import BY_ROOM, FAMILIES, Family

Path = tuple[str | int, ...]
# Kind and id of an entry, and the way to a part of it.
Place = tuple[str, str, *tuple[str | int, ...]]
# What is wrong, its mend, and where it stands.
Found = tuple[str, str, Place]


@cache
def _fields(model: type[BaseModel]) -> tuple[tuple[str, str, str], ...]:
    """Return each field of a model: its name, its key, and the kind of entry that it names."""
    return tuple(
        (name, field.alias or name, _kind(Annotated[field.annotation, *field.metadata, None]))
        for name, field in model.model_fields.items()
    )


def _kind(hint: object) -> str:
    """Return the kind of entry that is named by what a hint describes, empty if none is."""
    if isinstance(hint, Names):
        return hint.kind
    return next(filter(None, map(_kind, get_args(hint))), "")


def _named(value: object, path: Path = (), kind: str = "") -> Iterator[tuple[Path, str, str]]:
    """Yield every id inside an entry that names another one: where, of what kind, and the id."""
    if isinstance(value, BaseModel):
        for name, key, inner in _fields(type(value)):
            yield from _named(getattr(value, name), (*path, key), inner)
    elif isinstance(value, tuple | list):
        for index, item in enumerate(value):
            yield from _named(item, (*path, index), kind)
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from _named(item, (*path, key))
    elif kind and isinstance(value, str):
        yield path, kind, value


def _missing(k: Knowledge) -> Iterator[Found]:
    """Yield every id that names what is not there."""
    entries: list[tuple[str, object]] = [
        (kind, e) for kind in ATTRIBUTES for e in k.table(kind).values()
    ]
    # The sources of the other rules stand with the entries that these are made of.
    rules = [rule for family in FAMILIES if family not in BY_ROOM for rule in k.rules[family]]
    entries += [("rule", rule) for rule in rules]
    entries.append(("judgement", k.judgement))
    classes = {agent.agent_class for agent in k.agents.values()}
    for kind, entry in entries:
        for path, wanted, name in _named(entry):
            # What must not be mixed is an agent or a whole class of them.
            is_class = path[0] == "incompatible" and name in classes
            if name not in k.table(wanted) and not is_class:
                mend = did_you_mean(name, k.table(wanted))
                yield f'unknown {wanted} "{name}"', mend, (kind, getattr(entry, "id", ""), *path)


def _question_faults(k: Knowledge) -> Iterator[Found]:
    for question in k.questions.values():
        for index, answer in enumerate(question.answers):
            place = ("question", question.id, "answers", index)
            if answer.id in (each.id for each in question.answers[:index]):
                yield f'answer "{answer.id}" stands twice', "give each its id", place
            if answer.id == "unknown":
                yield '"unknown" is always an answer', "remove it from the list", place


def _method_faults(k: Knowledge) -> Iterator[Found]:
    for method in k.methods.values():
        named: list[tuple[Path, str]] = [(("agent",), method.agent)] if method.agent else []
        named += [(("with", i, "agent"), part.agent) for i, part in enumerate(method.with_)]
        for path, agent in ((path, k.agents[name]) for path, name in named):
            place: Place = ("method", method.id, *path)
            if agent.never:
                yield f'"{agent.id}" is never used', "choose another agent", place
            elif agent.status is Status.DRAFT:
                yield f'"{agent.id}" is a draft', "check the agent first", place


def _outcome_faults(k: Knowledge) -> Iterator[Found]:
    """Yield what may harm and cannot be recorded so, and what only makes ready and would close."""
    for method in k.methods.values():
        touches = method.agent or k.techniques[method.technique].contact != "none"
        if touches and not k.outcomes[method.outcomes].worse:
            what = f'"{method.outcomes}" has no worse outcome, and this step touches or wets'
            yield what, "choose a kind that has one", ("method", method.id, "outcomes")
    for rule in k.rules[Family.ORDER]:
        for first in (said["insert"]["first"] for said in rule.conclusions() if "insert" in said):
            held = k.methods.get(first)
            if held and k.outcomes[held.outcomes].closes:
                what = f'"{held.outcomes}" closes, and {rule.id} puts this step before another'
                yield what, "choose a kind with closes: false", ("method", first, "outcomes")


def _stop_faults(k: Knowledge) -> Iterator[Found]:
    """Yield the stop signs that cannot show at a method, and those that it must name.

    A musty chamber cannot show at a puff of air; what always can show at a technique, with an agent
    that is hazardous in a way, or with agents of a class, is named by each method of it.
    """
    for method in k.methods.values():
        wet, place = k.techniques[method.technique].wet, ("method", method.id, "stop_signs")
        for index, stop in enumerate(method.stop_signs):
            if wet not in k.stops[stop].shows_at:
                yield f'"{stop}" cannot show at a {wet} step', "take it out", (*place, index)
        agents = (*filter(None, [method.agent]), *(part.agent for part in method.with_))
        hazards = {hazard for agent in agents for hazard in k.agents[agent].hazards}
        classes = {k.agents[agent].agent_class for agent in agents}
        for sign in k.stops.values():
            always = method.technique in sign.always_at or not hazards.isdisjoint(sign.always_with)
            always |= any(
                method.technique in (shows.technique or k.techniques)
                and not classes.isdisjoint(shows.agent_class)
                for shows in sign.always_of
            )
            if always and sign.id not in method.stop_signs:
                yield f'"{sign.id}" can show here and is not named', "add it", place


def _circumstance_faults(k: Knowledge) -> Iterator[Found]:
    """Yield the agents that do not name for whom they are not, for a hazard or their class."""
    for agent in (each for each in k.agents.values() if not each.never):
        for kept in k.circumstances.values():
            always = agent.agent_class in kept.always_of
            always |= not {*agent.hazards}.isdisjoint(kept.always_with)
            if always and kept.id not in agent.not_for:
                what = f'it is not for "{kept.id}" and says nothing'
                yield what, "add it", ("agent", agent.id, "not_for")


def _class_faults(k: Knowledge) -> Iterator[Found]:
    """Yield the classes of agent that are named and that no agent is of."""
    classes = {agent.agent_class for agent in k.agents.values()}
    named = [("circumstance", each.id, each.always_of) for each in k.circumstances.values()]
    named += [("stop", s.id, c.agent_class) for s in k.stops.values() for c in s.always_of]
    for kind, entry, held in named:
        for name in (each for each in held if each not in classes):
            mend = did_you_mean(name, classes)
            yield f'unknown agent class "{name}"', mend, (kind, entry, "always_of")


# From what is hardly thought to what is as good as sure.
CERTAINTIES = ("suspected", "rival", "settled", "named", "most_certain")


def _judgement_faults(k: Knowledge) -> Iterator[Found]:
    """Yield the thresholds of certainty that are not above the one before."""
    for lower, upper in pairwise(CERTAINTIES):
        least, held = (getattr(k.judgement, word).value for word in (lower, upper))
        if held <= least:
            what = f"{upper} {held:g} is not above {lower} {least:g}"
            yield what, "raise it", ("judgement", "", upper)


def _water_faults(k: Knowledge) -> Iterator[Found]:
    """Yield what would bring water onto a dry insect by a technique that is said to bring none."""
    for method in k.methods.values():
        pure = method.strength is not None and method.strength.unit == "as-is"
        is_dry = method.agent is not None and pure and not method.with_
        if k.techniques[method.technique].water_free and not is_dry:
            mend = "give one agent, strength {value: 100, unit: as-is}, and nothing with it"
            what = f'"{method.technique}" takes a liquid without water'
            yield what, mend, ("method", method.id, "technique")


def _claim_faults(k: Knowledge) -> Iterator[Found]:
    """Yield methods called harmless, or fit for a dry insect, that cannot be so by what they do."""
    for method in k.methods.values():
        technique, lasting = k.techniques[method.technique], method.harshness.lasting
        acts = technique.contact != "none" or technique.wet != "dry" or method.agent
        if method.harmless and (acts or (lasting and lasting.grade)):
            what = "what touches, wets or lasts is not harmless"
            mend = "what is not identified may only be looked at, aired or blown on"
            yield what, mend, ("method", method.id, "harmless")
        if method.while_dry and technique.wet == "wet" and not technique.water_free:
            what = f'"{method.technique}" is not for a dry insect'
            mend = "a liquid on a dry insect needs a technique without water"
            yield what, mend, ("method", method.id, "while_dry")


def _rule_faults(k: Knowledge) -> Iterator[Found]:
    for rule in (rule for rules in k.rules.values() for rule in rules):
        if {case.expect for case in rule.cases} != {"fires", "silent"}:
            what = "needs a case that fires and one that is silent"
            yield what, "add it", ("rule", rule.id, "cases")
        if rule.ask and rule.ask not in k.questions:
            mend = did_you_mean(rule.ask, k.questions)
            yield f'unknown question "{rule.ask}"', mend, ("rule", rule.id, "ask")


def _answers_named(k: Knowledge) -> Iterator[tuple[Place, str, str]]:
    """Yield every answer that another entry names: where, the question, and the answer."""
    for condition in k.conditions.values():
        for name, answer in condition.when_cleared.items():
            yield ("condition", condition.id, "when_cleared", name), name, answer
    for kind in k.outcomes.values():
        for name, answer in kind.when_worse.items():
            yield ("outcomes", kind.id, "when_worse", name), name, answer
    for asked in k.questions.values():
        for name, answers in asked.when.items():
            told_so = (each for each in answers if each != "unknown")
            yield from ((("question", asked.id, "when", name), name, each) for each in told_so)
        for index, told in enumerate(asked.answers):
            for name, answer in told.implies.items():
                yield ("question", asked.id, "answers", index, "implies", name), name, answer


def _answer_faults(k: Knowledge) -> Iterator[Found]:
    for place, name, answer in _answers_named(k):
        question = k.questions.get(name)
        if question is None:
            yield f'unknown question "{name}"', did_you_mean(name, k.questions), place
        elif answer not in (known := [each.id for each in question.answers]):
            yield f'"{answer}" does not answer {name}', did_you_mean(answer, known), place


def cross_check(k: Knowledge) -> list[TriageError]:
    """Return every fault that shows only when entries are seen together."""
    # Inner faults look entries up, so they are only searched once all references hold.
    found = list(_missing(k)) or [each for check in INNER for each in check(k)]
    return [TriageError(what, k.where(*place), mend) for what, mend, place in found]


ZERO_C, ATMOSPHERE_KPA = 273.15, 101.325
# Atomic weights are rounded, and some tables keep older ones.
MOLAR_SHARE = 0.002
# A closed-cup flash point stands close to the temperature at which the saturated vapour reaches
# the lower explosive limit; mixtures and old measurements lie up to this far off.
FLASH_SPAN_C = 16.0
ELEMENT = re.compile(r"([A-Z][a-z]?)(\d*)")


def molar_mass_of(formula: str, weights: Mapping[str, float]) -> float | None:
    """Return the mass of a mole [g/mol]; None if an element of the formula has no weight here."""
    parts = ELEMENT.findall(formula)
    if any(symbol not in weights for symbol, _ in parts):
        return None
    return sum(weights[symbol] * int(count or 1) for symbol, count in parts)


def lean_limit_c(physical: Physical) -> float | None:
    """Return at which temperature the saturated vapour reaches the lower explosive limit [C].

    Notes
    -----
    Two points of vapour pressure, or one and the boiling point, and 1/T between and beyond them
    (Clausius-Clapeyron with a constant heat of evaporation).
    """
    limit, boiling = physical.value("lower_explosive_limit"), physical.value("boiling_point")
    points = [(p.temp_c, p.kpa) for p in physical.vapour_pressure]
    if len(points) < 2 and boiling is not None:
        points.append((boiling, ATMOSPHERE_KPA))
    if limit is None or len(points) < 2:
        return None
    (first_c, first), (second_c, second) = points[0], points[-1]
    cold, warm = 1 / (first_c + ZERO_C), 1 / (second_c + ZERO_C)
    if cold == warm or first == second:
        return None
    slope = math.log(second / first) / (cold - warm)
    inverse = cold - math.log(limit / 100 * ATMOSPHERE_KPA / first) / slope
    return 1 / inverse - ZERO_C if inverse > 0 else None


def _figure_faults(k: Knowledge) -> Iterator[Found]:
    """Yield what cannot be true of one agent together."""
    weights = {element.symbol: element.weight for element in k.elements.values()}
    for agent in k.agents.values():
        for key, said in _wrong(agent, weights):
            yield said, "look both figures up again", ("agent", agent.id, "physical", key)


def _wrong(agent: Agent, weights: Mapping[str, float]) -> Iterator[tuple[str, str]]:
    physical = agent.physical
    mass, flash = physical.value("molar_mass"), physical.value("flash_point")
    if physical.formula is not None:
        counted = molar_mass_of(physical.formula.text, weights)
        if counted is None:
            yield "formula", f"{physical.formula.text} names an element that has no weight"
        elif mass is None or abs(mass - counted) > MOLAR_SHARE * counted:
            said = f"{physical.formula.text} weighs {counted:.1f} g/mol"
            yield "molar_mass", f"the molar mass is {mass}, but {said}"
    lean = lean_limit_c(physical)
    if flash is not None and lean is not None and abs(flash - lean) > FLASH_SPAN_C:
        said = f"its vapour reaches the lower explosive limit at about {lean:.0f} C"
        yield "flash_point", f"it is said to flash at {flash:g} C, but {said}"
    lower, upper = (physical.value(f"{end}_explosive_limit") for end in ("lower", "upper"))
    if lower is not None and upper is not None and lower >= upper:
        yield "upper_explosive_limit", f"{upper:g} is not above the lower limit, {lower:g}"
    points = sorted((p.temp_c, p.kpa) for p in physical.vapour_pressure)
    if any(kpa >= warmer for (_, kpa), (_, warmer) in pairwise(points)):
        yield "vapour_pressure", "a warmer liquid has the lower vapour pressure"


INNER = (
    _question_faults, _method_faults, _outcome_faults, _stop_faults, _circumstance_faults,
    _class_faults, _judgement_faults, _water_faults, _claim_faults, _rule_faults, _answer_faults,
    _figure_faults,
)  # fmt: skip
