"""From evidence to a reading: certainty of each deposit in each finding.

Evidence combines as certainty factors. A weight of -1 excludes: no sum of other signs can
outweigh it. Guard deposits (protected, hazardous, refused) are also read at the unfavourable
end: what the unanswered questions could still make of them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from triage.engine.facts import Conclusion, Fact
from triage.engine.normal import NormalRule
from triage.engine.vocabulary import NONE, UNKNOWN
from triage.knowledge.book import Knowledge

EXCLUDES = -1.0
# Rounding ends the influence of the order in which floats were added.
DIGITS = 6


def combine(weights: Iterable[float], most: float = 1.0) -> float:
    """Return the certainty that several independent pieces of evidence give together.

    Parameters
    ----------
    weights  certainty factors, each in [-1, 1); -1 excludes
    most     cap on the result's size short of exclusion

    Returns
    -------
    Certainty in [-1, most]; 0 with no evidence.

    Source
    ------
    Shortliffe and Buchanan, A model of inexact reasoning in medicine, Mathematical Biosciences
    23:351-379, 1975, with the later rule for evidence of opposite sign (van Melle, 1979):
    x+y(1-x); x+y(1+x); (x+y)/(1-min(|x|,|y|)).
    """
    total = 0.0
    for weight in sorted(weights):
        if weight <= EXCLUDES:
            return EXCLUDES
        if total >= 0 and weight >= 0:
            total = total + weight * (1 - total)
        elif total < 0 and weight < 0:
            total = total + weight * (1 + total)
        else:
            total = (total + weight) / (1 - min(abs(total), abs(weight)))
    return round(max(-most, min(most, total)), DIGITS) + 0.0


@dataclass(frozen=True, slots=True)
class Reading:
    """What one deposit of one finding stands for.

    ``certainty`` is combined; ``reach`` is the highest certainty that unanswered questions could
    still give (only worked out for guard deposits, else the certainty).
    """

    finding: str
    zone: str
    deposit: str
    certainty: float
    reach: float
    standing: str
    evidence: tuple[Conclusion, ...]

    @property
    def key(self) -> str:
        """Return the name under which rules match this reading."""
        return f"{self.finding}/{self.deposit}"


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two pieces of evidence that contradict each other about one deposit."""

    finding: str
    deposit: str
    for_it: Conclusion
    against_it: Conclusion

    @property
    def strength(self) -> float:
        """Return the weight of the weaker side."""
        return float(min(self.for_it.get("weight"), -self.against_it.get("weight")))


def _strongest(evidence: Sequence[Conclusion], sign: int) -> Conclusion | None:
    found = [c for c in evidence if c.get("weight") * sign > 0]
    return max(found, key=lambda c: (c.get("weight") * sign, c.rule), default=None)


def conflicts_of(
    evidence: Mapping[tuple[str, str], Sequence[Conclusion]], strong: float
) -> tuple[Conflict, ...]:
    """Return each deposit for which strong evidence stands on both sides."""
    found = []
    for (finding, deposit), pieces in sorted(evidence.items()):
        good, bad = _strongest(pieces, 1), _strongest(pieces, -1)
        if good and bad and min(good.get("weight"), -bad.get("weight")) >= strong:
            found.append(Conflict(finding, deposit, good, bad))
    return tuple(found)


def group_evidence(evidence: Iterable[Conclusion]) -> dict[tuple[str, str], list[Conclusion]]:
    """Return evidence by (finding, deposit)."""
    grouped: dict[tuple[str, str], list[Conclusion]] = defaultdict(list)
    for conclusion in evidence:
        grouped[conclusion.get("finding"), conclusion.get("deposit")].append(conclusion)
    return dict(grouped)


@dataclass(frozen=True, slots=True)
class _Possible:
    """A rule that could still speak for a guard deposit, and the questions it asks."""

    rule: NormalRule
    deposit: str
    weight: float


class GuardReach:
    """Works out how certain a guard deposit could still become; built once per knowledge."""

    def __init__(self, rules: Iterable[NormalRule], guards: frozenset[str]) -> None:
        self.possible: dict[str, list[_Possible]] = defaultdict(list)
        for rule in rules:
            for template in rule.templates:
                constants = dict(template.constants)
                deposit = constants.get("deposit")
                if template.kind != "evidence" or deposit not in guards:
                    continue
                if constants["weight"] > 0 and "named" not in _asked(rule):
                    self.possible[deposit].append(_Possible(rule, deposit, constants["weight"]))

    def open_weights(self, deposit: str, finding: Fact, specimen: Fact) -> list[float]:
        """Return the best weight that each unanswered question could still add."""
        best: dict[tuple[str, ...], float] = {}
        for possible in self.possible.get(deposit, ()):
            asked = _still_open(possible.rule, finding, specimen)
            if asked:
                best[asked] = max(best.get(asked, 0.0), possible.weight)
        return [best[asked] for asked in sorted(best)]


def _asked(rule: NormalRule) -> set[str]:
    return {name for pattern in rule.patterns for name, _ in pattern.allowed}


def _still_open(rule: NormalRule, finding: Fact, specimen: Fact) -> tuple[str, ...]:
    """Return the unanswered fields that could make the rule fire, empty if none could."""
    unanswered: list[str] = []
    for pattern in rule.patterns:
        fact = {"finding": finding, "specimen": specimen}.get(pattern.kind)
        if fact is None or pattern.absent:
            return ()
        for name, allowed in pattern.allowed:
            value = fact.get(name)
            if value in allowed:
                continue
            if value != UNKNOWN:
                return ()
            unanswered.append(name)
    return tuple(unanswered)


def read_finding(
    knowledge: Knowledge,
    reach: GuardReach,
    finding: Fact,
    specimen: Fact,
    evidence: Mapping[tuple[str, str], Sequence[Conclusion]],
) -> tuple[Reading, ...]:
    """Return the readings of one finding: all deposits with evidence, and all guards."""
    judgement = knowledge.judgement
    most = judgement.most_certain.value
    named = finding.get("named")
    readings: list[tuple[str, float, float, tuple[Conclusion, ...]]] = []
    for deposit in knowledge.deposits.values():
        pieces = tuple(evidence.get((finding.key, deposit.id), ()))
        guard = deposit.guard != NONE
        weights = [c.get("weight") for c in pieces]
        if named == deposit.id:
            weights.append(judgement.named.value)
        if not weights and not guard:
            continue
        certainty = _certainty(weights, judgement.suspected.value, most, guard=guard)
        reached = certainty
        # A person who names another deposit has looked at the guards too; evidence for a guard
        # still counts, open questions do not.
        if guard and named == NONE and certainty > EXCLUDES:
            reached = combine([*weights, *reach.open_weights(deposit.id, finding, specimen)], most)
        readings.append((deposit.id, certainty, max(certainty, reached), pieces))
    return _with_standings(knowledge, finding, readings)


def _certainty(weights: Sequence[float], suspected: float, most: float, *, guard: bool) -> float:
    """Return the combined certainty; contradiction about a guard leaves it suspected."""
    excluded = any(weight <= EXCLUDES for weight in weights)
    speaks_for = any(weight >= suspected for weight in weights)
    if excluded and speaks_for:
        rest = combine([weight for weight in weights if weight > EXCLUDES], most)
        return suspected if guard else min(0.0, rest)
    return combine(weights, most)


def _with_standings(
    knowledge: Knowledge,
    finding: Fact,
    readings: Sequence[tuple[str, float, float, tuple[Conclusion, ...]]],
) -> tuple[Reading, ...]:
    judgement = knowledge.judgement
    ranked = sorted(readings, key=lambda r: (-r[1], r[0]))
    lead = ranked[0][1] - (ranked[1][1] if len(ranked) > 1 else 0.0) if ranked else 0.0
    is_settled = (
        bool(ranked)
        and ranked[0][1] >= judgement.settled.value
        and lead >= judgement.lead.value - 1e-9
    )
    made = []
    for place, (deposit, certainty, reached, pieces) in enumerate(ranked):
        guard = knowledge.deposits[deposit].guard != NONE
        counts = judgement.rival.value if is_settled and not guard else judgement.suspected.value
        if certainty <= EXCLUDES:
            standing = "excluded"
        elif certainty < -judgement.suspected.value:
            standing = "doubtful"
        elif is_settled and place == 0:
            standing = "settled"
        elif certainty < counts:
            standing = "open"
        elif certainty < judgement.settled.value:
            standing = "suspected"
        else:
            standing = "likely"
        made.append(
            Reading(finding.key, finding.get("zone"), deposit, certainty, reached, standing, pieces)
        )
    return tuple(made)
