"""Recognition in numbers only, for look-ahead: no conclusions, no trail, the same readings.

What each rule says is laid out once; a finding then costs its matching rules and one combination
for each deposit they speak of. Tests hold it equal to ``reading.read_finding``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from operator import itemgetter
from typing import Any

from triage.engine.consult import Consultant
from triage.engine.facts import Fact
from triage.engine.indexed import RuleIndex
from triage.engine.normal import NormalRule
from triage.engine.reading import EXCLUDES, certainty_of, combine, standings_of
from triage.engine.vocabulary import NONE
from triage.knowledge.rules import Family

Getter = Callable[[Mapping[str, str]], Any]
# Guards read beyond this number start the store anew.
KEPT = 100_000
SPECIMEN = "specimen"
HIDDEN = frozenset({"excluded", "doubtful", "open"})


@dataclass(frozen=True, eq=False, slots=True)
class Summary:
    """What recognition says about one finding.

    ``ranked`` holds (deposit, certainty), the most certain first; ``seen`` holds (deposit,
    standing, reach) as far as later rules can read them, sorted; ``own`` and ``whole`` are ranks
    of fragility for the finding and for the specimen.
    """

    ranked: tuple[tuple[str, float], ...]
    seen: tuple[tuple[str, str, str], ...]
    settled: str | None
    own: int
    whole: int
    conditions: frozenset[str]


@dataclass(frozen=True, slots=True)
class _Says:
    """What one rule concludes."""

    weights: tuple[tuple[str, float], ...]
    own: int
    whole: int
    conditions: frozenset[str]


def _is_about_finding(rule: NormalRule) -> bool:
    return any(pattern.kind == "finding" for pattern in rule.patterns)


class QuickReader:
    """Reads findings one at a time; the recognise rules must each look at one finding at most."""

    def __init__(self, consultant: Consultant) -> None:
        rules = consultant.normal.by_family[Family.RECOGNISE]
        self.consultant = consultant
        self.of_finding = RuleIndex(rule for rule in rules if _is_about_finding(rule))
        self.of_specimen = RuleIndex(rule for rule in rules if not _is_about_finding(rule))
        self._says = {rule.id: self._said(rule) for rule in rules}
        judgement = consultant.knowledge.judgement
        self._suspected = judgement.suspected.value
        self._most = judgement.most_certain.value
        self._named = judgement.named.value
        self._guards = sorted(consultant.guards)
        self._asked = {guard: self._fields_asked(guard) for guard in consultant.guards}
        self._guarded: dict[tuple[object, ...], tuple[float, bool]] = {}

    def _said(self, rule: NormalRule) -> _Says:
        weights: list[tuple[str, float]] = []
        own, whole, conditions = 0, 0, set()
        for template in rule.templates:
            constants = dict(template.constants)
            if template.kind == "evidence":
                weights.append((constants["deposit"], constants["weight"]))
            elif template.kind == "state":
                conditions.add(constants["condition"])
            elif any(name == "finding" for name, _ in template.variables):
                own = max(own, self.consultant.grades[constants["fragility"]])
            else:
                whole = max(whole, self.consultant.grades[constants["fragility"]])
        return _Says(tuple(weights), own, whole, frozenset(conditions))

    def _fields_asked(self, guard: str) -> tuple[Getter, Getter]:
        """Return what reads the fields of finding and specimen that a guard's reach rests on."""
        asked = self.consultant.reach.possible.get(guard, {})
        names = sorted({(kind, name) for fields in asked for kind, name, _ in fields})
        # Two names more than needed: a getter of one name would return no tuple.
        of_finding = [name for kind, name in names if kind == "finding"]
        of_specimen = [name for kind, name in names if kind == "specimen"]
        return (
            itemgetter(*of_finding, "named", "named"),
            itemgetter(*of_specimen, "taxon", "taxon"),
        )

    def specimen_fields(self) -> tuple[str, ...]:
        """Return the fields of the specimen on which the reading of a finding rests, sorted."""
        asked = [fields for rules in self.consultant.reach.possible.values() for fields in rules]
        reach = {name for fields in asked for kind, name, _ in fields if kind == SPECIMEN}
        return tuple(sorted({*self.of_finding.read_fields(SPECIMEN), *reach}))

    def specimen(self, facts: Iterable[Fact]) -> tuple[int, frozenset[str]]:
        """Return the fragility and the conditions that follow without looking at a finding."""
        whole = 0
        conditions: set[str] = set()
        for rule_id in self.of_specimen.fired(facts):
            says = self._says[rule_id]
            whole = max(whole, says.whole)
            conditions |= says.conditions
        return whole, frozenset(conditions)

    def finding(self, finding: Fact, specimen: Fact, bench: Fact) -> Summary:
        """Return what recognition says about one finding."""
        weights: dict[str, list[float]] = {guard: [] for guard in self._guards}
        own, whole = 0, 0
        conditions: set[str] = set()
        for rule_id in self.of_finding.fired((finding, specimen, bench)):
            says = self._says[rule_id]
            for deposit, weight in says.weights:
                if deposit in weights:
                    weights[deposit].append(weight)
                else:
                    weights[deposit] = [weight]
            own, whole = max(own, says.own), max(whole, says.whole)
            conditions |= says.conditions
        named = finding.fields["named"]
        if named != NONE:
            weights.setdefault(named, []).append(self._named)
        return self._read(weights, finding, specimen, own, whole, frozenset(conditions))

    def _read(
        self,
        weights: dict[str, list[float]],
        finding: Fact,
        specimen: Fact,
        own: int,
        whole: int,
        conditions: frozenset[str],
    ) -> Summary:
        guards = self.consultant.guards
        found = []
        reaching = set()
        for deposit, pieces in weights.items():
            pieces.sort()
            if deposit not in guards:
                certainty = certainty_of(tuple(pieces), self._suspected, self._most, False)
            else:
                certainty, reaches = self._guard(deposit, tuple(pieces), finding, specimen)
                if reaches:
                    reaching.add(deposit)
            found.append((-certainty, deposit))
        found.sort()
        ranked = tuple([(deposit, -minus + 0.0) for minus, deposit in found])
        standings = standings_of(self.consultant.knowledge.judgement, ranked, guards)
        seen = [
            (deposit, standing, "yes" if deposit in reaching else "no")
            for (deposit, _), standing in zip(ranked, standings, strict=True)
            if standing not in HIDDEN or deposit in reaching
        ]
        settled = ranked[0][0] if standings and standings[0] == "settled" else None
        return Summary(ranked, tuple(sorted(seen)), settled, own, whole, conditions)

    def _guard(
        self, deposit: str, pieces: tuple[float, ...], finding: Fact, specimen: Fact
    ) -> tuple[float, bool]:
        """Return the certainty of a guard, and whether open questions could make it suspected."""
        of_finding, of_specimen = self._asked[deposit]
        key = (deposit, pieces, of_finding(finding.fields), of_specimen(specimen.fields))
        found = self._guarded.get(key)
        if found is None:
            certainty = certainty_of(pieces, self._suspected, self._most, True)
            reached = certainty
            if certainty > EXCLUDES:
                more = self.consultant.reach.open_weights(deposit, finding, specimen)
                reached = max(certainty, combine([*pieces, *more], self._most))
            if len(self._guarded) >= KEPT:
                self._guarded.clear()
            found = self._guarded[key] = (certainty, reached >= self._suspected - 1e-9)
        return found

    def facts(self, finding: str, zone: str, summary: Summary) -> tuple[Fact, ...]:
        """Return the readings of a finding as later rules see them."""
        return tuple(
            Fact(
                "reading",
                f"{finding}/{deposit}",
                {
                    "finding": finding,
                    "zone": zone,
                    "deposit": deposit,
                    "standing": standing,
                    "reach": reach,
                },
            )
            for deposit, standing, reach in summary.seen
        )
