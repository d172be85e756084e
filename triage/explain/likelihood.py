"""What the rules say of each answer: how likely it is, what it speaks for, how much it permits."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from functools import cache, partial

from triage.engine.casefacts import SPECIMEN, TAXON
from triage.engine.consult import Consultant
from triage.engine.normal import NormalRule
from triage.engine.reading import asked_of
from triage.knowledge.rules import Family

# Weight of a candidate that no sign speaks for: it may still be true.
FLOOR = 0.02
# A question, how far its best answer leads towards a deposit, and that answer.
Lead = tuple[str, float, str]
# A rule, the answers to one question that it names, and whether it wants that none of them is.
Named = tuple[NormalRule, frozenset[str], bool]


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
            asked = asked_of(rule) or ()
            if len(asked) != 1 or asked[0][1] not in self.knowledge.questions:
                continue
            _, question, answers = asked[0]
            for template in rule.templates:
                constants = dict(template.constants)
                if template.kind == "evidence":
                    for answer in answers:
                        known = self.weights.setdefault((question, answer), {})
                        known[constants["deposit"]] = constants["weight"]
        # For each deposit the answers that speak for or against it.
        self._speaking: dict[str, dict[tuple[str, str], float]] = defaultdict(dict)
        for pair, weights in self.weights.items():
            if pair[1] in {answer.id for answer in self.knowledge.questions[pair[0]].answers}:
                for deposit, weight in weights.items():
                    self._speaking[deposit][pair] = weight
        self.permitting = permitting_answers(consultant)
        self.sets = tuple(_sets(consultant))
        # For each pair of deposits what tells them apart best.
        self.leads = cache(self._leads)

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

    def _leads(self, deposit: str, settled: str | None) -> tuple[Lead, ...]:
        """Return each question with its answer that favours a deposit most over a settled one."""
        speaking, doubting = self._speaking[deposit], self._speaking[settled or ""]
        best: dict[str, tuple[float, str]] = {}
        for question, answer in speaking.keys() | doubting.keys():
            gain = speaking.get((question, answer), 0.0)
            lead = gain - doubting.get((question, answer), 0.0) if gain >= 0 else gain
            if lead > 0:
                best[question] = max(best.get(question, (0.0, "")), (lead, answer))
        return tuple((question, *best[question]) for question in sorted(best))


def _odds(weight: float) -> float:
    return (1.0 + weight) / (1.0 - weight)


def _sets(consultant: Consultant) -> Iterator[tuple[str, dict[str, frozenset[str]]]]:
    """Yield the rules that take several signs of one finding for a state of the whole specimen."""
    for rule in consultant.normal.by_family[Family.RECOGNISE]:
        for template in rule.templates:
            if template.kind != "evidence" and not template.variables:
                asked = (dict(p.allowed) for p in rule.patterns if p.kind == "finding")
                yield from ((rule.id, each) for each in asked if len(each) > 1)


def permitting_answers(consultant: Consultant) -> dict[str, str]:
    """Return question -> answer that permits most, for the specimen; its group is one of them.

    In gate and forbid rules an unknown answer meets every condition, so what bars a method may be
    lifted by several answers that do nothing alone. The optimistic completion of a case gives each
    open question the answer that closes the fewest gates, meets the fewest interlocks and makes
    the specimen least fragile: if the next step stays the same even then, these answers cannot
    open another way. This is the possible side of reading an incomplete record (certain and
    possible answers: Lipski, On semantic issues connected with incomplete information databases,
    ACM Transactions on Database Systems 4(3):262-296, 1979).
    """
    families = (Family.GATE, Family.FORBID, Family.RECOGNISE)
    naming = {family: _naming(consultant.normal.by_family[family]) for family in families}

    def score(question: str, answer: str) -> tuple[int, int, int]:
        gates, forbids, signs = (
            [
                rule
                for rule, allowed, absent in found.get(question, ())
                if (answer in allowed) != absent
            ]
            for found in naming.values()
        )
        grades = [
            consultant.grades[dict(template.constants)["fragility"]]
            for rule in signs
            for template in rule.templates
            if template.kind == "grade"
        ]
        if question == TAXON:
            grades.append(consultant.floor_of_group(answer))
        return len(gates), len(forbids), max(grades, default=0)

    taxa = sorted(consultant.knowledge.taxa)
    group = {TAXON: min(taxa, key=partial(score, TAXON))} if taxa else {}
    return group | {
        question.id: min((a.id for a in question.answers), key=partial(score, question.id))
        for question in consultant.knowledge.questions.values()
        if question.about == SPECIMEN
    }


def _naming(rules: Iterable[NormalRule]) -> dict[str, list[Named]]:
    """Return question -> rules that ask it of the specimen, the answers they name, or lack."""
    found: dict[str, list[Named]] = {}
    for rule in rules:
        for pattern in rule.patterns:
            if pattern.kind == SPECIMEN:
                for name, allowed in pattern.allowed:
                    found.setdefault(name, []).append((rule, allowed, pattern.absent))
    return found
