"""The second entry of what safety rests on, and what the knowledge says differently.

As in double-entry bookkeeping, the limits, grades, ceilings and interlocks stand a second time in
a file of their own. A change of the knowledge must be made there too, on purpose; what changes by
accident shows. Expectations are about behaviour: whether *some* rule forbids, not which one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from triage.engine.consult import Consultant
from triage.engine.facts import Conclusion, Fact
from triage.engine.normal import NormalRule
from triage.engine.plain import evaluate
from triage.engine.rulecases import facts_given, facts_of_case
from triage.errors import TriageError
from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.knowledge.rules import Family, RuleCase
from triage.plan.ladder import harshness_key
from triage.verify.axes import BEST, HYDRATION, Axes, base_answers, bench_classes
from triage.verify.reachable import offers
from triage.verify.scene import SceneMaker
from triage.yamltext import dump_yaml, parse_yaml, read_text

HEADER = """\
# Second entry of what safety rests on: limits, grades, ceilings, ladders, and what must be
# forbidden, closed or cautioned in which case. Written by `triage prove golden --write` and kept
# only after a person has read the difference.
"""
JUDGED = ("settled", "suspected", "lead", "named", "margin", "lel_share", "unchanged_passes")
METHODS = ("method", "earlier", "later")
NO_RULE = NormalRule("none", Family.RECOGNISE, (), ())


def _agent(agent: Agent) -> dict[str, Any]:
    return {
        "never": agent.never,
        "class": agent.agent_class,
        "limits": [
            f"{x.authority} {x.basis} {x.value:g} {x.unit} {x.averaging_min:g} min"
            + ("" if x.in_force else " not in force")
            for x in agent.limits
        ],
        "vapour_of": agent.vapour_of,
        "vapour": [f"{p.temp_c:g} {p.kpa:g}" for p in agent.physical.vapour_pressure],
        "physical": {
            name: quantity.value
            for name in type(agent.physical).model_fields
            if name != "vapour_pressure" and (quantity := getattr(agent.physical, name)) is not None
        },
        "hazards": list(agent.hazards),
        "gloves": [f"{g.material} {g.verdict}" for g in agent.gloves],
        "not_for": list(agent.not_for),
        "mixes": [f"{m.with_}: {m.product}" for m in agent.incompatible],
        "attacks": [a.material for a in agent.attacks],
        "disposal": len(agent.disposal),
    }


def _method(method: Method) -> dict[str, Any]:
    h = method.harshness
    amount = method.amount
    return {
        "technique": method.technique,
        "stage": method.stage,
        "agents": [
            f"{name} {strength.value:g} {strength.unit}" if strength else name
            for name, strength in (
                *([(method.agent, method.strength)] if method.agent else []),
                *((part.agent, part.strength) for part in method.with_),
            )
        ],
        "grades": [h.mechanical.grade, h.chemical.grade, h.person.grade],
        "stops": list(method.stop_signs),
        "passes": method.passes,
        "dwell_s": [method.dwell_s.start, method.dwell_s.most] if method.dwell_s else None,
        "temp_c": [method.temp_c.start, method.temp_c.most] if method.temp_c else None,
        "burst_s": [method.burst_s.start, method.burst_s.most] if method.burst_s else None,
        "amount_ml": [amount.typical_ml, amount.least_ml, amount.open_share] if amount else None,
        "needs": list(method.needs),
        "keep_away": list(method.keep_away),
        "may": [
            word
            for word, holds in (
                ("harmless", method.harmless),
                ("while-dry", method.while_dry),
                ("test-spot", method.test_spot),
            )
            if holds
        ],
        "rinse": len(method.rinse),
    }


def _tables(knowledge: Knowledge) -> dict[str, Any]:
    return {
        "agents": {a.id: _agent(a) for a in knowledge.agents.values()},
        "methods": {m.id: _method(m) for m in knowledge.methods.values()},
        "zones": {
            z.id: [z.most_mechanical, z.most_chemical, *z.surface] for z in knowledge.zones.values()
        },
        "fragility": {
            f.id: [f.most_mechanical, f.most_chemical] for f in knowledge.fragility.values()
        },
        "taxa": {t.id: [t.fragility, *t.traits] for t in knowledge.taxa.values()},
        "deposits": {
            d.id: [d.guard, d.kind, bool(d.leave_it)] for d in knowledge.deposits.values()
        },
        "hazards": {
            h.id: [h.grade, h.flammable, h.needs_eye_protection, h.needs_ventilation]
            for h in knowledge.hazards.values()
        },
        "techniques": {t.id: [t.wet, t.contact] for t in knowledge.techniques.values()},
        "controls": {
            c.id: [c.air_changes_per_h, c.captured_fraction, c.outdoors]
            for c in knowledge.controls.values()
        },
        "judgement": {
            "order": list(knowledge.judgement.harshness_order.keys),
            **{name: getattr(knowledge.judgement, name).value for name in JUDGED},
        },
    }


def _ladders(consultant: Consultant) -> dict[str, list[str]]:
    """Return each ladder in its order, before anything is ruled out."""
    key = harshness_key(consultant.knowledge)
    return {
        f"{what} {problem}": sorted(methods, key=key)
        for (what, problem), methods in sorted(offers(consultant).items())
    }


def said_by(knowledge: Knowledge, conclusions: Iterable[Conclusion]) -> dict[str, set[str]]:
    """Return what is concluded: what is said -> methods it is said of.

    Which rule says it does not matter, but where it does: evidence adds up rule by rule, and of a
    caution its sentence is what the user reads.
    """
    said: dict[str, set[str]] = {}
    for conclusion in conclusions:
        words = [conclusion.kind]
        words += [f"{n}={v}" for n, v in conclusion.fields if n not in METHODS and n != "finding"]
        if conclusion.kind == "evidence":
            words.append(f"by {conclusion.rule}")
        if conclusion.kind == "caution":
            words.append(f'"{knowledge.rule(conclusion.rule).because}"')
        if conclusion.kind == "before":
            for earlier in conclusion.get("earlier"):
                key = " ".join([*words, earlier])
                said.setdefault(key, set()).update(conclusion.get("later"))
            continue
        said.setdefault(" ".join(words), set())
        if conclusion.kind == "forbid" and conclusion.get("finding") is None:
            # Forbidden of the whole insect is more than of the one finding that is looked at.
            said.setdefault("forbid everywhere", set()).update(conclusion.get("method"))
        for name in METHODS:
            if conclusion.get(name):
                said.setdefault(" ".join([*words, name]), set()).update(conclusion.get(name))
    return said


def _expectations(consultant: Consultant) -> dict[str, Any]:
    """Return, for each case in which a rule fires, what must be said in it by some rule.

    ``holds`` gives, for each field on which the rule depends, the values with which it is said.
    """
    found: dict[str, Any] = {}
    for family, rules in consultant.knowledge.rules.items():
        normal = {rule.id: rule for rule in consultant.normal.by_family[family]}
        for rule in rules:
            known: list[tuple[dict[str, set[str]], dict[str, Any]]] = []
            for number, case in enumerate(rule.cases, start=1):
                facts = facts_of_case(consultant, normal[rule.id], case)
                said = said_by(consultant.knowledge, evaluate((normal[rule.id],), facts))
                given = facts_given(case)
                # Beside what the rule reads a case may say what keeps other rules silent.
                beside = _beside(normal[rule.id], given)
                if not said or (said, beside) in known:
                    continue
                known.append((said, beside))
                given |= {f.kind: {} for f in facts if f.kind not in given}
                fields = _fields_of(normal[rule.id])
                found[f"{rule.id} {number}"] = {
                    "family": str(family),
                    "given": given,
                    "says": {what: " ".join(sorted(methods)) for what, methods in said.items()},
                    "holds": {
                        f"{kind}.{name}": " ".join(
                            _holding(consultant, family, facts, kind, name, said)
                        )
                        for kind, name in fields
                    },
                }
    return found


def _beside(rule: NormalRule, given: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a case gives beyond the fields that the rule itself reads."""
    read = set(_fields_of(rule))
    return {
        f"{kind}.{name}": value
        for kind, fields in given.items()
        for name, value in (fields.items() if isinstance(fields, Mapping) else ())
        if (kind, name) not in read and name != "id"
    }


def _fields_of(rule: NormalRule) -> list[tuple[str, str]]:
    return sorted({(p.kind, name) for p in rule.patterns for name, _ in p.allowed})


def _holding(
    consultant: Consultant,
    family: Family,
    facts: Sequence[Fact],
    kind: str,
    name: str,
    said: Mapping[str, set[str]],
) -> list[str]:
    """Return the values of one field with which all that is expected is said by some rule."""
    found = []
    for value in consultant.vocabulary.domain(kind, name) or ():
        varied = tuple(
            Fact(f.kind, f.key, {**f.fields, name: value}) if f.kind == kind else f for f in facts
        )
        now = said_by(consultant.knowledge, consultant.run_plain(family, varied))
        if all(what in now and methods <= now[what] for what, methods in said.items()):
            found.append(value)
    return found


def _plans(consultant: Consultant, base: Mapping[str, str]) -> dict[str, Any]:
    """Return the rungs of each deposit on each zone, for a sturdy and for a frailer group."""
    knowledge = consultant.knowledge
    grades = list(knowledge.fragility)
    taxa = sorted(knowledge.taxa.values(), key=lambda t: (grades.index(t.fragility), t.id))
    axes = Axes(
        deposits=tuple(knowledge.deposits),
        zones=tuple(knowledge.zones),
        taxa=(taxa[0].id, taxa[len(taxa) // 2].id),
        floors={"none": {}},
        hydrations=(base[HYDRATION],),
        benches={BEST: bench_classes(consultant)[BEST]},
        base=base,
    )
    maker = SceneMaker(consultant, axes)
    found: dict[str, Any] = {}
    for deposit in axes.deposits:
        for zone in axes.zones:
            for combination in axes.of_zone(deposit, zone):
                for scene in maker.scenes(combination):
                    rungs = " ".join([scene.skeleton.stage, *scene.ladder.rungs])
                    found[f"{deposit} on {zone} of {combination.taxon}"] = rungs
    return found


def golden_of(consultant: Consultant) -> dict[str, Any]:
    """Return the second entry of a rulebase: tables, ladders, and what must be said when."""
    base = base_answers(consultant)
    return {
        **golden_tables(consultant),
        "base": base,
        "plans": _plans(consultant, base),
        "expectations": _expectations(consultant),
    }


def golden_text(consultant: Consultant) -> str:
    """Return the second entry as the text of its file."""
    return HEADER + dump_yaml(golden_of(consultant))


def load_golden(path: Path) -> dict[str, Any]:
    """Return the second entry in a file."""
    data: dict[str, Any] = parse_yaml(read_text(path, path.name), path.name).data
    return data


def differences(consultant: Consultant, golden: Mapping[str, Any]) -> Iterator[str]:
    """Yield each place where the knowledge and its second entry differ, the cheap ones first."""
    for table, held in golden_tables(consultant).items():
        yield from _compare(table, held, golden.get(table, {}))
    for name, expected in golden["expectations"].items():
        yield from _missed(consultant, name, expected)
    yield from _compare("plans", _plans(consultant, golden["base"]), golden["plans"])


def _missed(consultant: Consultant, name: str, expected: Mapping[str, Any]) -> Iterator[str]:
    """Yield what an expectation finds no longer said, or said with other values of a field."""
    case = RuleCase(given=expected["given"], expect="fires")
    try:
        facts = facts_of_case(consultant, NO_RULE, case)
    except TriageError as fault:
        yield f"{name}: {fault.message}"
        return
    family = Family(expected["family"])
    said = said_by(consultant.knowledge, consultant.run_plain(family, facts))
    wanted = {what: set(methods.split()) for what, methods in expected["says"].items()}
    for what, methods in wanted.items():
        missing = methods - said.get(what, set())
        if what not in said:
            yield f"{name}: nobody says {what}"
        elif missing:
            yield f"{name}: nobody says {what} of {', '.join(sorted(missing))}"
    for place, values in expected["holds"].items():
        kind, field = place.split(".")
        holds = _holding(consultant, family, facts, kind, field, wanted)
        if set(holds) != set(values.split()):
            yield f"{name}: with {place} it held for {values}, now for {' '.join(holds)}"


def golden_tables(consultant: Consultant) -> dict[str, Any]:
    """Return all of the second entry but the expectations."""
    ladders = {name: " ".join(methods) for name, methods in _ladders(consultant).items()}
    return {**_tables(consultant.knowledge), "ladders": ladders}


def _compare(place: str, now: Any, before: Any) -> Iterator[str]:
    if isinstance(now, Mapping) and isinstance(before, Mapping):
        for key in dict.fromkeys([*before, *now]):
            yield from _compare(f"{place}.{key}", now.get(key), before.get(key))
    elif isinstance(now, list) and isinstance(before, list) and now + before:
        gone = [x for x in before if x not in now]
        new = [x for x in now if x not in before]
        if gone or new:
            yield f"{place}: was {gone}, is {new}"
        elif now != before:
            yield f"{place}: other order"
    elif now != before:
        yield f"{place}: was {before!r}, is {now!r}"
