"""From evidence to a reading: certainty of each deposit in each finding.

Evidence combines as certainty factors. A weight of -1 excludes: no sum of other signs can
outweigh it. Guard deposits (protected, hazardous, refused) are also read at the unfavourable
end: what the unanswered questions could still make of them. What is hazardous to people stays
suspected once a single sign makes it so, whatever speaks against it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from operator import itemgetter
from typing import NamedTuple

from triage.engine.facts import Conclusion, Fact
from triage.engine.indexed import keep
from triage.engine.normal import NormalRule
from triage.engine.vocabulary import NONE, UNKNOWN
from triage.knowledge.book import Knowledge
from triage.knowledge.judgement import Judgement

EXCLUDES = -1.0
# The guard of what is hazardous to people.
HAZARD = "hazard"
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
    x+y(1-x); x+y(1+x); (x+y)/(1-min(|x|,|y|)). Worked example as printed in Novak's lecture notes
    (University of Texas at Austin): 0.5 and 0.6 give 0.8.
    """
    return _combined(tuple(sorted(weights)), most)


@lru_cache(maxsize=65_536)
def _combined(weights: tuple[float, ...], most: float) -> float:
    """Return the combination of sorted weights; the same few sets come again and again."""
    total = 0.0
    for weight in weights:
        if weight <= EXCLUDES:
            return EXCLUDES
        if total >= 0 and weight >= 0:
            total = total + weight * (1 - total)
        elif total < 0 and weight < 0:
            total = total + weight * (1 + total)
        else:
            total = (total + weight) / (1 - min(abs(total), abs(weight)))
    return round(max(-most, min(most, total)), DIGITS) + 0.0


class Reading(NamedTuple):
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
        return min(weight_of(self.for_it), -weight_of(self.against_it))


def weight_of(evidence: Conclusion) -> float:
    """Return the weight of a piece of evidence; its fields are deposit, finding, weight."""
    weight: float = evidence.fields[2][1]
    return weight


def conflicts_of(
    evidence: Mapping[tuple[str, str], Sequence[Conclusion]], strong: float
) -> tuple[Conflict, ...]:
    """Return each deposit for which strong evidence stands on both sides."""
    found = []
    for (finding, deposit), pieces in evidence.items():
        if len(pieces) < 2:
            continue
        weights = [piece.fields[2][1] for piece in pieces]
        if min(max(weights), -min(weights)) >= strong:
            good = max(pieces, key=lambda c: (weight_of(c), c.rule))
            bad = max(pieces, key=lambda c: (-weight_of(c), c.rule))
            found.append(Conflict(finding, deposit, good, bad))
    return tuple(sorted(found, key=lambda c: (c.finding, c.deposit)))


def group_evidence(evidence: Iterable[Conclusion]) -> dict[tuple[str, str], list[Conclusion]]:
    """Return evidence by (finding, deposit)."""
    grouped: dict[tuple[str, str], list[Conclusion]] = defaultdict(list)
    for conclusion in evidence:
        # Fields are sorted: deposit, finding, weight.
        (_, deposit), (_, finding), _ = conclusion.fields
        grouped[finding, deposit].append(conclusion)
    return dict(grouped)


Asked = tuple[tuple[str, str, frozenset[str]], ...]


class GuardReach:
    """Works out how certain a guard deposit could still become; built once per knowledge."""

    def __init__(
        self,
        rules: Iterable[NormalRule],
        guards: frozenset[str],
        tests: frozenset[str],
        disproves: float,
    ) -> None:
        self.guards = guards
        # For each deposit without a guard the outcomes of a direct test that disprove it.
        self.disproved_by: dict[str, set[tuple[str, str]]] = {}
        # For each guard deposit the rules that could speak for it: what they ask, their weight.
        self.possible: dict[str, dict[Asked, float]] = defaultdict(dict)
        # For each deposit the single answers that speak against it, with their weight.
        self.against: dict[str, dict[tuple[str, str], float]] = defaultdict(dict)
        for rule in rules:
            asked = asked_of(rule)
            for template in rule.templates if asked is not None else ():
                if template.kind == "evidence":
                    told = dict(template.constants)
                    self._note(asked or (), told["deposit"], told["weight"], tests, disproves)
        # For each guard the fields that decide: of the finding, of the specimen.
        self.fields = {
            deposit: tuple(
                tuple(sorted({q[1] for asked in rules for q in asked if q[0] == kind}))
                for kind in ("finding", "specimen")
            )
            for deposit, rules in self.possible.items()
        }
        self._values = {
            deposit: (values_of(of_finding), values_of(of_specimen))
            for deposit, (of_finding, of_specimen) in self.fields.items()
        }
        self._kept: dict[tuple[object, ...], tuple[float, ...]] = {}

    def _note(
        self, asked: Asked, deposit: str, weight: float, tests: frozenset[str], disproves: float
    ) -> None:
        """Note what one rule says of a deposit."""
        if len(asked) == 1 and weight < 0:
            answers = {(asked[0][1], answer) for answer in asked[0][2]}
            self.against[deposit].update(dict.fromkeys(answers, weight))
            if deposit not in self.guards and weight <= -disproves and asked[0][1] in tests:
                self.disproved_by.setdefault(deposit, set()).update(answers)
        if deposit in self.guards and weight > 0:
            self.possible[deposit][asked] = max(self.possible[deposit].get(asked, 0.0), weight)

    def is_disproved(self, deposit: str, finding: Fact) -> bool:
        """Return whether a direct test of a finding strongly speaks against a deposit."""
        outcomes = self.disproved_by.get(deposit, ())
        return any(finding.fields[question] == answer for question, answer in outcomes)

    def excluding(self, deposit: str, read_as: str | None) -> set[str]:
        """Return the questions of which an answer excludes a deposit, and not what is read."""
        mine, others = self.against.get(deposit, {}), self.against.get(read_as or "", {})
        return {pair[0] for pair, w in mine.items() if w <= EXCLUDES and pair not in others}

    def open_weights(self, deposit: str, finding: Fact, specimen: Fact) -> tuple[float, ...]:
        """Return the best weight that each unanswered question could still add.

        A person who names a finding has looked at it, so its own open questions add nothing more;
        but that does not answer what is unknown of the specimen, such as its group.
        """
        if deposit not in self._values:
            return ()
        of_finding, of_specimen = self._values[deposit]
        mine, whole = of_finding(finding.fields), of_specimen(specimen.fields)
        if UNKNOWN not in mine and UNKNOWN not in whole:
            return ()
        is_named = finding.fields["named"] != NONE
        key = (deposit, is_named, mine, whole)
        found = self._kept.get(key)
        if found is None:
            made = tuple(self.adds(deposit, finding, specimen).values())
            found = keep(self._kept, key, made)
        return found

    def adds(self, deposit: str, finding: Fact, specimen: Fact) -> dict[tuple[str, ...], float]:
        """Return the best weight that each set of unanswered questions could still add."""
        is_named = finding.fields["named"] != NONE
        facts = {"finding": finding.fields, "specimen": specimen.fields}
        # For each set of open questions what each answer would add; one answer can meet several
        # rules, and their weights add up.
        adds: dict[tuple[str, ...], dict[tuple[str, ...], list[float]]] = defaultdict(dict)
        for asked, weight in self.possible[deposit].items():
            unanswered = _still_open(asked, facts)
            if unanswered and not (is_named and any(n in facts["finding"] for n in unanswered)):
                sets = [allowed for kind, n, allowed in asked if facts[kind][n] == UNKNOWN]
                for answers in product(*sets):
                    adds[unanswered].setdefault(answers, []).append(weight)
        return {names: max(combine(w) for w in adds[names].values()) for names in sorted(adds)}


def values_of(names: Iterable[str]) -> Callable[[Mapping[str, str]], tuple[str, ...]]:
    """Return what gives the values of some fields, sorted by name, as a tuple."""
    ordered = sorted(names)
    if len(ordered) > 1:
        return itemgetter(*ordered)
    return lambda fields: tuple([fields[name] for name in ordered])


def asked_of(rule: NormalRule) -> Asked | None:
    """Return what a rule asks of finding and specimen, None if an answer cannot make it fire."""
    asked = []
    for pattern in rule.patterns:
        if pattern.absent or pattern.kind not in ("finding", "specimen"):
            return None
        asked += [(pattern.kind, name, allowed) for name, allowed in pattern.allowed]
    return None if any(name == "named" for _, name, _ in asked) else tuple(asked)


def _still_open(asked: Asked, facts: Mapping[str, Mapping[str, str]]) -> tuple[str, ...]:
    """Return the unanswered fields that could make a rule fire, empty if none could."""
    unanswered: list[str] = []
    for kind, name, allowed in asked:
        value = facts[kind][name]
        if value in allowed:
            continue
        if value != UNKNOWN:
            return ()
        unanswered.append(name)
    return tuple(unanswered)


# Less its certainty, the deposit, and how far it reaches: sorted, the most certain comes first.
Scale = tuple[float, str, float]


def weigh(
    knowledge: Knowledge,
    reach: GuardReach,
    deposit: str,
    finding: Fact,
    specimen: Fact,
    weights: Iterable[float],
) -> Scale:
    """Return what the evidence on one deposit comes to.

    ``weights`` are those of the evidence for and against it, in any order.
    """
    judgement, guard = knowledge.judgement, knowledge.deposits[deposit].guard
    most, suspected = judgement.most_certain.value, judgement.suspected.value
    named = (judgement.named.value,) if finding.fields["named"] == deposit else ()
    held = tuple(sorted((*weights, *named)))
    certainty = reached = certainty_of(held, suspected, most, guard)
    if guard != NONE and certainty > EXCLUDES:
        more = reach.open_weights(deposit, finding, specimen)
        reached = reach_of(held, more, suspected, most, guard)
    return -certainty, deposit, reached


def standings_among(
    knowledge: Knowledge, reach: GuardReach, finding: Fact, scales: Sequence[Scale]
) -> list[str]:
    """Return the standing of each deposit that speaks for a finding, the most certain first."""
    deposits = knowledge.deposits
    best = deposits[scales[0][1]].alike if scales else None
    alike = {name for _, name, _ in scales if deposits[name].alike == best} if best else set()
    is_disproved = bool(scales) and reach.is_disproved(scales[0][1], finding)
    return standings_of(knowledge.judgement, scales, reach.guards, alike, is_disproved=is_disproved)


def read_finding(
    knowledge: Knowledge,
    reach: GuardReach,
    finding: Fact,
    specimen: Fact,
    evidence: Mapping[tuple[str, str], Sequence[Conclusion]],
) -> tuple[Reading, ...]:
    """Return the readings of one finding: all deposits with evidence, and all guards."""
    key, zone = finding.key, finding.get("zone")
    pieces = {deposit: found for (whose, deposit), found in evidence.items() if whose == key}
    named = finding.fields["named"]
    scales = sorted(
        weigh(knowledge, reach, deposit, finding, specimen, map(weight_of, pieces.get(deposit, ())))
        for deposit in {*pieces, *reach.guards, *({named} & knowledge.deposits.keys())}
    )
    standings = standings_among(knowledge, reach, finding, scales)
    return tuple(
        Reading(key, zone, name, -minus + 0.0, reached, standing, tuple(pieces.get(name, ())))
        for (minus, name, reached), standing in zip(scales, standings, strict=True)
    )


@lru_cache(maxsize=65_536)
def certainty_of(weights: tuple[float, ...], suspected: float, most: float, guard: str) -> float:
    """Return the certainty from sorted weights, as the kind of guard of the deposit asks.

    Contradiction between an exclusion and a sign that alone makes a guard suspected leaves it
    suspected. What is hazardous to people is left suspected by lesser signs against it too, or the
    lesser ones would count for more than the exclusion. Other guards are weighed there: dirt too
    lies on both sides, and would stay the insect's own wax for good.
    """
    if not weights or weights[-1] < suspected:
        return _combined(weights, most)
    if weights[0] > EXCLUDES:
        whole = _combined(weights, most)
        return max(suspected, whole) if guard == HAZARD else whole
    if guard != NONE:
        return suspected
    return min(0.0, combine([weight for weight in weights if weight > EXCLUDES], most))


def reach_of(
    weights: tuple[float, ...], more: tuple[float, ...], suspected: float, most: float, guard: str
) -> float:
    """Return how certain a guard could become if the open questions were answered for it.

    ``weights`` are those of its signs, sorted; ``more`` holds what each open question could add.
    An open question counts as its worst answer would.
    """
    certainty = certainty_of(weights, suspected, most, guard)
    if certainty <= EXCLUDES or not more:
        return certainty
    best = certainty_of(tuple(sorted((*weights, *more))), suspected, most, guard)
    return max(certainty, best)


def standings_of(
    judgement: Judgement,
    scales: Sequence[Scale],
    guards: AbstractSet[str],
    alike: AbstractSet[str] = frozenset(),
    *,
    is_disproved: bool = False,
) -> list[str]:
    """Return the standing of each deposit, given with the most certain first.

    What nobody can tell from the first for certain (``alike``) is no rival to it: the work is one.
    ``is_disproved``: a direct test speaks against the first, so it is not settled.
    """
    suspected, settles = judgement.suspected.value, judgement.settled.value
    first = -scales[0][0] if scales else 0.0
    rivals = (-minus for minus, deposit, _ in scales[1:] if deposit not in alike)
    lead = first - next(rivals, 0.0)
    leads = bool(scales) and first >= settles and lead >= judgement.lead.value - 1e-9
    is_settled = leads and not is_disproved
    rival = judgement.rival.value if is_settled else suspected
    made = []
    for place, (minus, deposit, _) in enumerate(scales):
        certainty = -minus
        if certainty <= EXCLUDES:
            made.append("excluded")
        elif certainty < -suspected:
            made.append("doubtful")
        elif is_settled and place == 0:
            made.append("settled")
        elif certainty < (suspected if deposit in guards else rival):
            made.append("open")
        else:
            made.append("suspected" if certainty < settles else "likely")
    return made
