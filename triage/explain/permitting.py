"""The most permitting answer to each question about the specimen, read from the rules.

In gate and forbid rules an unknown answer meets every condition, so what bars a method may be
lifted by several answers that do nothing alone. The optimistic completion of a case gives each
open question the answer that closes the fewest gates, meets the fewest interlocks and makes the
specimen least fragile: if the next step stays the same even then, these answers cannot open
another way. This is the possible side of reading an incomplete record (certain and possible
answers: Lipski, On semantic issues connected with incomplete information databases, ACM
Transactions on Database Systems 4(3):262-296, 1979).
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial

from triage.engine.casefacts import SPECIMEN, TAXON
from triage.engine.consult import Consultant
from triage.engine.normal import NormalRule
from triage.knowledge.rules import Family

Asking = tuple[NormalRule, frozenset[str], bool]

# How often an answer closes a gate, how often it meets an interlock, the worst grade it gives.
Score = tuple[int, int, int]


def permitting_answers(consultant: Consultant) -> dict[str, str]:
    """Return question -> answer that permits most, for the specimen; its group is one of them."""
    asking = {
        family: _asking(consultant.normal.by_family[family])
        for family in (Family.GATE, Family.FORBID, Family.RECOGNISE)
    }

    def score(question: str, answer: str) -> Score:
        met = {
            family: [
                rule
                for rule, allowed, is_absent in found.get(question, ())
                if (answer in allowed) != is_absent
            ]
            for family, found in asking.items()
        }
        grades = [
            consultant.grades[dict(template.constants)["fragility"]]
            for rule in met[Family.RECOGNISE]
            for template in rule.templates
            if template.kind == "grade"
        ]
        if question == TAXON:
            grades.append(consultant.floor_of_group(answer))
        return len(met[Family.GATE]), len(met[Family.FORBID]), max(grades, default=0)

    taxa = sorted(consultant.knowledge.taxa)
    group = {TAXON: min(taxa, key=partial(score, TAXON))} if taxa else {}
    return group | {
        question.id: min((a.id for a in question.answers), key=partial(score, question.id))
        for question in consultant.knowledge.questions.values()
        if question.about == SPECIMEN
    }


def _asking(rules: Iterable[NormalRule]) -> dict[str, list[Asking]]:
    """Return question -> rules that ask it of the specimen, the answers they name, or lack."""
    found: dict[str, list[Asking]] = {}
    for rule in rules:
        for pattern in rule.patterns:
            if pattern.kind == SPECIMEN:
                for name, allowed in pattern.allowed:
                    found.setdefault(name, []).append((rule, allowed, pattern.absent))
    return found
