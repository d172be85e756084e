"""Draw cases and benches from a seeded generator, biased so that findings are often settled.

Without the bias nearly every drawn finding contradicts itself and the later families of rules
would never see anything but "unsettled". So most findings take a deposit first and then signs
that speak for it; the rest are drawn freely, and some answers stay unknown.
"""

import random
from functools import lru_cache
from typing import Any

from tests.support.intake import READY
from triage.case.changes import new_case, new_finding
from triage.case.models import Case
from triage.case.profile import Bench, RoomProfile
from triage.engine.consult import Consultant
from triage.engine.vocabulary import CONTROLS, UNKNOWN
from triage.knowledge.rules import Family

Signs = dict[str, tuple[tuple[str, str], ...]]


@lru_cache(maxsize=4)
def speaking_signs(consultant: Consultant) -> Signs:
    """Return deposit -> (question, answer) pairs that alone speak for it."""
    found: dict[str, set[tuple[str, str]]] = {}
    questions = {q.id for q in consultant.knowledge.questions.values() if q.about == "zone"}
    for rule in consultant.normal.by_family[Family.RECOGNISE]:
        if len(rule.patterns) != 1 or rule.patterns[0].kind != "finding":
            continue
        asked = [(name, values) for name, values in rule.patterns[0].allowed if name in questions]
        for template in rule.templates:
            constants = dict(template.constants)
            if template.kind == "evidence" and constants["weight"] > 0 and len(asked) == 1:
                name, values = asked[0]
                pairs = {(name, value) for value in values if value != UNKNOWN}
                found.setdefault(constants["deposit"], set()).update(pairs)
    return {deposit: tuple(sorted(pairs)) for deposit, pairs in sorted(found.items())}


def draw_answers(
    consultant: Consultant, about: str, rng: random.Random, share: float
) -> dict[str, str]:
    """Return answers to about ``share`` of the questions, each drawn freely."""
    return {
        question.id: rng.choice(question.answers).id
        for question in consultant.knowledge.questions.values()
        if question.about == about and rng.random() < share
    }


def draw_signs(consultant: Consultant, rng: random.Random) -> dict[str, str]:
    """Return the signs of one finding, mostly for one deposit, sometimes with a stray one."""
    if rng.random() < 0.15:
        return draw_answers(consultant, "zone", rng, 0.3)
    by_deposit = speaking_signs(consultant)
    pairs = by_deposit[rng.choice(sorted(by_deposit))]
    signs = dict(rng.sample(pairs, min(len(pairs), rng.randint(2, 7))))
    if rng.random() < 0.3:
        signs |= draw_answers(consultant, "zone", rng, 0.06)
    return signs


def draw_specimen(consultant: Consultant, rng: random.Random) -> dict[str, str]:
    """Return answers about the specimen: ready for work, or ready but for a few, or any.

    Without the ready ones nearly all cases would stop at the first gate.
    """
    what = rng.random()
    if what < 0.15:
        return draw_answers(consultant, "specimen", rng, 0.7)
    answers = {**draw_answers(consultant, "specimen", rng, 0.3), **READY}
    if what < 0.55:
        return answers
    for name in rng.sample(sorted(READY), rng.randint(1, 3)):
        del answers[name]
        answers |= {
            question: answer
            for question, answer in draw_answers(consultant, "specimen", rng, 1.0).items()
            if question == name and rng.random() < 0.7
        }
    return answers


def draw_case(consultant: Consultant, rng: random.Random, name: str = "drawn") -> Case:
    knowledge = consultant.knowledge
    taxon = rng.choice((*knowledge.taxa, UNKNOWN))
    plan = knowledge.taxa[taxon].plan if taxon in knowledge.taxa else None
    fitting = [z.id for z in knowledge.zones.values() if plan is None or plan in z.plans]
    zones = fitting if rng.random() < 0.8 else list(knowledge.zones)
    findings = []
    for number in range(rng.choice((0, 1, 1, 1, 2, 2, 3, 4))):
        fields: dict[str, Any] = {"signs": draw_signs(consultant, rng)}
        if rng.random() < 0.3:
            fields["named"] = rng.choice(sorted(knowledge.deposits))
        if rng.random() < 0.4:
            fields["side"] = rng.choice(("left", "right", "both"))
        findings.append(new_finding(f"f{number + 1}", rng.choice(zones), **fields))
    answers = draw_specimen(consultant, rng)
    return new_case(name, name, taxon=taxon, answers=answers, findings=tuple(findings))


def draw_bench(consultant: Consultant, rng: random.Random) -> Bench:
    control = rng.choice((*CONTROLS, UNKNOWN))
    circumstances = tuple(c for c in consultant.knowledge.circumstances if rng.random() < 0.1)
    return Bench(room=RoomProfile(control=control), circumstances=circumstances)


def drawn(consultant: Consultant, seed: int) -> tuple[Case, Bench]:
    rng = random.Random(seed)
    return draw_case(consultant, rng, f"drawn-{seed}"), draw_bench(consultant, rng)
