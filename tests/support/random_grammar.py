"""Random rules of the whole documented grammar, as they would stand in YAML, over shipped words.

Several findings and readings at once, shared variables, absence, comparisons, lists, and
conclusions for one finding, another, or the whole insect. What ``check`` refuses is drawn anew.
"""

import random
from dataclasses import replace
from typing import Any

from triage.engine.normal import normalise
from triage.engine.vocabulary import Vocabulary, build_vocabulary
from triage.errors import TriageError
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import FAMILIES, Family, Rule

IDS = {"finding": "id", "reading": "finding"}
COMPARISONS = ("at_least", "at_most", "above", "below")


def _constraint(rng: random.Random, vocabulary: Vocabulary, kind: str, name: str) -> Any:
    slot = vocabulary.kinds[kind][name]
    values = list(slot.values or ())
    if not values:
        return None
    word = rng.choice(("is", "one_of", "not", "compared"))
    if word == "compared" and slot.ordered:
        return {rng.choice(COMPARISONS): rng.choice(values)}
    if word == "is":
        return rng.choice(values)
    some = rng.sample(values, rng.randint(1, max(1, len(values) - 1)))
    return {"not" if word == "not" else "one_of": some}


def _pattern(
    rng: random.Random, vocabulary: Vocabulary, kind: str, variables: list[str]
) -> dict[str, Any]:
    fields: dict[str, Any] = {}
    if kind in IDS:
        fields[IDS[kind]] = rng.choice(variables)
    slots = [name for name in vocabulary.kinds[kind] if name not in IDS.values()]
    for name in rng.sample(slots, min(len(slots), rng.choice((0, 1, 1, 2)))):
        if name == "zone" and rng.random() < 0.5:
            fields[name] = "$z"
        elif (found := _constraint(rng, vocabulary, kind, name)) is not None:
            fields[name] = found
    return {kind: fields}


def _conclusion(rng: random.Random, knowledge: Knowledge, family: Family) -> dict[str, Any]:
    methods = rng.sample(sorted(knowledge.methods), rng.randint(1, 12))
    deposit = rng.choice(sorted(knowledge.deposits))
    about = rng.choice(({"finding": "$f"}, {"finding": "$g"}, {}))
    if family is Family.RECOGNISE:
        weight = rng.choice((0.4, 0.8, -0.6, -1))
        grade = rng.choice(sorted(knowledge.fragility))
        condition = rng.choice(sorted(knowledge.conditions))
        return rng.choice(
            (
                {"evidence": {"finding": "$f", "deposit": deposit, "weight": weight}},
                {"evidence": {"finding": "$g", "deposit": deposit, "weight": weight}},
                {"grade": {"fragility": grade, **about}},
                {"state": {"condition": condition}},
            )
        )
    if family is Family.GATE:
        return rng.choice(({"close": {"stage": rng.choice(("examine", "clean"))}}, {"refuse": {}}))
    if family is Family.FORBID:
        return {"forbid": {"method": methods, **about}}
    if family is Family.OFFER:
        return {"offer": {"method": methods, "finding": "$f"}}
    if family is Family.ORDER:
        return rng.choice(
            (
                {
                    "before": {
                        "earlier": methods[:3],
                        "later": methods[3:] or methods,
                        "across": True,
                    }
                },
                {"insert": {"method": methods, "first": "test-spot"}},
                {"pass-over": {"finding": "$f", "method": methods}},
            )
        )
    caution = {"caution": {"method": methods, "kind": "specimen", **about}}
    return caution if family is Family.CAUTION else {"advise": {"kind": "note", **about}}


def draw_rule(rng: random.Random, knowledge: Knowledge, family: Family, number: int) -> Rule:
    """Return one rule, most often over two findings; it may be one that is refused."""
    vocabulary = build_vocabulary(knowledge)
    early = family is Family.RECOGNISE
    kinds = ["finding", "finding", "specimen"] if early else ["finding", "reading", "specimen"]
    if FAMILIES.index(family) > FAMILIES.index(Family.GATE):
        kinds += ["state", "closed"]
    variables = ["$f", "$g"] if rng.random() < 0.7 else ["$f"]
    chosen = [rng.choice(kinds) for _ in range(rng.choice((1, 2, 2, 3)))]
    first = "finding" if early else rng.choice(("finding", "reading"))
    when = [_pattern(rng, vocabulary, first, ["$f"])]
    when += [_pattern(rng, vocabulary, kind, variables) for kind in chosen]
    if family is not Family.FORBID and rng.random() < 0.3:
        when.append({"absent": _pattern(rng, vocabulary, rng.choice(kinds), variables)})
    given = {"given": {}, "expect": "fires"}
    return Rule.model_validate(
        {
            "id": f"{family}-drawn-{number}",
            "when": when,
            "then": _conclusion(rng, knowledge, family),
            "because": "Drawn for a test.",
            "source": "judgement",
            "cases": [given, given],
        }
    )


def with_drawn_rules(knowledge: Knowledge, seed: int, each: int = 3) -> Knowledge:
    """Return the knowledge with some drawn rules in every family, all of which are accepted."""
    rng = random.Random(seed)
    number = 0
    for family in FAMILIES:
        added = 0
        while added < each:
            number += 1
            rule = draw_rule(rng, knowledge, family, number)
            rules = {**knowledge.rules, family: (*knowledge.rules[family], rule)}
            tried = replace(knowledge, rules=rules)
            try:
                normalise(replace(tried, rules={family: (rule,)}))
            except TriageError:
                continue
            knowledge, added = tried, added + 1
    return knowledge
