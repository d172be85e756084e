"""How likely each answer is, from the certainty of the candidates and what signs speak for them."""

from __future__ import annotations

from collections.abc import Mapping

from triage.engine.consult import Consultant
from triage.knowledge.rules import Family

# Weight of a candidate that no sign speaks for: it may still be true.
FLOOR = 0.02


class Likelihood:
    """What each answer says about each deposit, taken from the recognise rules.

    A rule that asks one question of a finding gives the weight w of its answer for a deposit. The
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
        # Kept for ``nextquestion``: for each pair of deposits what tells them apart best.
        self.leads: dict[tuple[str, str | None], tuple[tuple[str, tuple[float, str]], ...]] = {}
        self.weights: dict[tuple[str, str], dict[str, float]] = {}
        for rule in consultant.normal.by_family[Family.RECOGNISE]:
            if len(rule.patterns) != 1 or rule.patterns[0].kind != "finding":
                continue
            asked = [pair for pair in rule.patterns[0].allowed if pair[0] in self.questions]
            if len(asked) != 1 or len(rule.patterns[0].allowed) != 1:
                continue
            question, answers = asked[0]
            for template in rule.templates:
                constants = dict(template.constants)
                if template.kind == "evidence":
                    for answer in answers:
                        known = self.weights.setdefault((question, answer), {})
                        known[constants["deposit"]] = constants["weight"]

    def weight(self, question: str, answer: str, deposit: str) -> float:
        """Return how strongly an answer speaks for (or against) a deposit, 0 if not at all."""
        return self.weights.get((question, answer), {}).get(deposit, 0.0)

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


def _odds(weight: float) -> float:
    return (1.0 + weight) / (1.0 - weight)
