"""How likely each answer is, from the certainty of the candidates and what signs speak for them."""

from __future__ import annotations

from collections.abc import Mapping

from triage.engine.casefacts import SPECIMEN
from triage.engine.consult import Consultant
from triage.engine.normal import NormalRule
from triage.explain.bounds import FarRules
from triage.explain.permitting import permitting_answers
from triage.knowledge.rules import Family

# Weight of a candidate that no sign speaks for: it may still be true.
FLOOR = 0.02


class Likelihood:
    """What each answer says about each deposit, taken from the recognise rules.

    A rule that asks one question gives the weight w of its answer for a deposit. The
    chance of an answer, were the deposit there, is taken as proportional to the odds
    (1 + w) / (1 - w), over the best odds that the answer gives any deposit: an answer that speaks
    strongly for something else is unlikely, one that excludes the deposit impossible. That is a
    rank made into numbers, good enough to choose a question; no reading and no plan depends on it.
    """

    def __init__(self, consultant: Consultant) -> None:
        self.knowledge = consultant.knowledge
        # The questions that are asked of a finding.
        self.questions = frozenset(
            q.id for q in self.knowledge.questions.values() if q.about == "zone"
        )
        self.weights: dict[tuple[str, str], dict[str, float]] = {}
        for rule in consultant.normal.by_family[Family.RECOGNISE]:
            asked = _question_of(rule)
            if asked is None or asked[0] not in self.knowledge.questions:
                continue
            question, answers = asked
            for template in rule.templates:
                constants = dict(template.constants)
                if template.kind == "evidence":
                    for answer in answers:
                        known = self.weights.setdefault((question, answer), {})
                        known[constants["deposit"]] = constants["weight"]
        # The questions that speak for or against a deposit; some are asked of the specimen.
        self.telling = tuple(sorted({question for question, _ in self.weights}))
        # Kept for ``rivals``: for each pair of deposits what tells them apart best.
        self.leads: dict[tuple[str, str | None], tuple[tuple[str, float, str], ...]] = {}
        # Which answers open the way, and which rules reach beyond one finding.
        self.permitting = permitting_answers(consultant)
        self.far = FarRules(consultant)

    def weight(self, question: str, answer: str, deposit: str) -> float:
        """Return how strongly an answer speaks for (or against) a deposit, 0 if not at all."""
        return self.weights.get((question, answer), {}).get(deposit, 0.0)

    def is_idle(self, question: str, given: Mapping[str, str]) -> bool:
        """Return whether one given answer excludes every deposit that a question could speak for.

        Where nothing lies on the insect, nobody asks what it is made of.
        """
        spoken_for = {
            deposit
            for (asked, _), weights in self.weights.items()
            for deposit, weight in weights.items()
            if asked == question and weight > 0.0
        }
        return any(
            all(self.weight(*answer, deposit) <= -1.0 for deposit in spoken_for)
            for answer in given.items()
            if spoken_for
        )

    def candidates(self, certainties: Mapping[str, float]) -> dict[str, float]:
        """Return deposit -> chance, from the certainties of a finding; excluded ones have none."""
        raw = {
            deposit: max(certainties.get(deposit, 0.0), FLOOR)
            for deposit in self.knowledge.deposits
            if certainties.get(deposit, 0.0) > -1.0
        }
        total = sum(raw.values())
        return {deposit: value / total for deposit, value in raw.items()}

    def answers(self, question: str, candidates: Mapping[str, float]) -> dict[str, float]:
        """Return answer -> chance for a question about a finding."""
        answers = [answer.id for answer in self.knowledge.questions[question].answers]
        spoken = [self.weights.get((question, answer), {}) for answer in answers]
        best = [_odds(max([0.0, *weights.values()])) for weights in spoken]
        chances = dict.fromkeys(answers, 0.0)
        for deposit, chance in candidates.items():
            given = [
                _odds(weights.get(deposit, 0.0)) / most
                for weights, most in zip(spoken, best, strict=True)
            ]
            total = sum(given)
            for answer, share in zip(answers, given, strict=True):
                chances[answer] += chance * (share / total if total else 1 / len(answers))
        return chances


def _question_of(rule: NormalRule) -> tuple[str, frozenset[str]] | None:
    """Return the one question that a rule about a finding asks, and the answers that meet it."""
    patterns = [p for p in rule.patterns if p.kind == "finding" or p.allowed]
    asked = [pair for pattern in patterns for pair in pattern.allowed]
    if len(asked) != 1 or any(p.absent or p.kind not in (SPECIMEN, "finding") for p in patterns):
        return None
    return asked[0]


def _odds(weight: float) -> float:
    return (1.0 + weight) / (1.0 - weight)
