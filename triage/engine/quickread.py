"""Recognition in numbers only, for look-ahead: no conclusions, no trail, the same readings.

What each rule says is laid out once, a bit for each rule; a finding then costs one combination
for each set of rules that speak of a deposit and were not met before. Tests hold it equal to
``reading.read_finding``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from triage.engine.consult import Consultant
from triage.engine.facts import Fact
from triage.engine.flat import FlatRules, ones
from triage.engine.indexed import RuleIndex
from triage.engine.normal import NormalRule
from triage.engine.openings import Opened, Openings
from triage.engine.reading import EXCLUDES, certainty_of, combine, standings_of
from triage.engine.vocabulary import NONE
from triage.knowledge.rules import Family

# A certainty, and the weights it was combined from, sorted.
Certainty = tuple[float, tuple[float, ...]]
# Findings and guards read beyond this number start the store anew.
KEPT = 50_000
HIDDEN = frozenset({"excluded", "doubtful", "open"})


@dataclass(frozen=True, eq=False, slots=True)
class Summary:
    """What recognition says about one finding.

    ``certainties`` holds (deposit, certainty); ``seen`` holds (deposit, standing, reach) as far
    as later rules can read them, sorted; ``own`` and ``whole`` are ranks of fragility for the
    finding and for the specimen.
    """

    certainties: tuple[tuple[str, float], ...]
    seen: tuple[tuple[str, str, str], ...]
    settled: str | None
    own: int
    whole: int
    conditions: frozenset[str]

    @property
    def ranked(self) -> tuple[tuple[str, float], ...]:
        """Return (deposit, certainty), the most certain first."""
        return tuple(sorted(self.certainties, key=lambda pair: (-pair[1], pair[0])))


@dataclass(frozen=True, slots=True)
class _Says:
    """What one rule concludes."""

    weights: tuple[tuple[str, float], ...]
    own: int
    whole: int
    conditions: frozenset[str]


class _Deposit(NamedTuple):
    """A deposit, the bits of the rules that speak of it, their weights, and what they gave."""

    name: str
    guard: bool
    speaking: int
    weights: dict[int, tuple[float, ...]]
    known: dict[int, Certainty]


def _is_about_finding(rule: NormalRule) -> bool:
    return any(pattern.kind == "finding" for pattern in rule.patterns)


class QuickReader:
    """Reads findings one at a time; the recognise rules must each look at one finding at most."""

    def __init__(self, consultant: Consultant) -> None:
        rules = consultant.normal.by_family[Family.RECOGNISE]
        self.consultant = consultant
        self.flat = FlatRules(rules)
        self._finding = self.flat.kind("finding")
        self._specimen = self.flat.kind("specimen")
        self._bench = self.flat.kind("bench")
        self._of_finding = self.flat.those(_is_about_finding)
        self._of_specimen = self.flat.those(lambda rule: not _is_about_finding(rule))
        # Rules that must be joined have their bits behind those of the flat ones.
        self.rest = RuleIndex(self.flat.rest)
        ordered = (*self.flat.rules, *self.flat.rest)
        self._bits = {rule.id: 1 << place for place, rule in enumerate(ordered)}
        self._about = {rule.id: _is_about_finding(rule) for rule in self.flat.rest}
        self._says = [self._said(rule) for rule in ordered]
        judgement = consultant.knowledge.judgement
        self._suspected = judgement.suspected.value
        floors = (judgement.suspected, judgement.rival, judgement.settled)
        self._least = min(floor.value for floor in floors)
        self._most = judgement.most_certain.value
        self._named = judgement.named.value
        self._speaking = self._by_deposit()
        self._more = sum(
            1 << place
            for place, says in enumerate(self._says)
            if says.own or says.whole or says.conditions
        )
        self._openings = Openings(consultant)
        self._reached: dict[tuple[str, tuple[float, ...], tuple[float, ...]], bool] = {}
        self._kept: dict[tuple[object, ...], Summary] = {}
        self._alone: dict[int, tuple[int, frozenset[str]]] = {}

    def _by_deposit(self) -> tuple[_Deposit, ...]:
        """Return for each deposit the rules that speak of it."""
        weights: dict[str, dict[int, list[float]]] = {
            deposit: {} for deposit in self.consultant.knowledge.deposits
        }
        for place, says in enumerate(self._says):
            for deposit, weight in says.weights:
                weights[deposit].setdefault(place, []).append(weight)
        return tuple(
            _Deposit(
                deposit,
                deposit in self.consultant.guards,
                sum(1 << place for place in mine),
                {place: tuple(pieces) for place, pieces in mine.items()},
                {},
            )
            for deposit, mine in weights.items()
        )

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

    def specimen(self, specimen: Fact, bench: Fact) -> tuple[int, frozenset[str]]:
        """Return the fragility and the conditions that follow without looking at a finding."""
        passed = self._specimen.of_fact(specimen) & self._bench.of_fact(bench)
        fired = self.flat.fired(passed & self._of_specimen)
        fired |= self._joined((specimen, bench), about=False)
        found = self._alone.get(fired)
        if found is None:
            says = [self._says[place] for place in ones(fired & self._more)]
            whole = max([0, *[each.whole for each in says]])
            conditions = frozenset().union(*[each.conditions for each in says])
            found = self._alone[fired] = whole, conditions
        return found

    def _joined(self, facts: tuple[Fact, ...], *, about: bool) -> int:
        """Return the bits of the rules that must be joined and fire."""
        if not self.flat.rest:
            return 0
        fired = (name for name in self.rest.fired(facts) if self._about[name] == about)
        return sum(self._bits[name] for name in set(fired))

    def finding(self, finding: Fact, specimen: Fact, bench: Fact) -> Summary:
        """Return what recognition says about one finding."""
        passed = self._finding.of_fact(finding) & self._specimen.of_fact(specimen)
        fired = self.flat.fired(passed & self._bench.of_fact(bench) & self._of_finding)
        fired |= self._joined((finding, specimen, bench), about=True)
        named = finding.fields["named"]
        openings = self._openings.of(finding, specimen)
        key = (fired, named, openings)
        found = self._kept.get(key)
        if found is None:
            if len(self._kept) >= KEPT:
                self._kept.clear()
            found = self._kept[key] = self._read(fired, named, openings)
        return found

    def _certainty(self, deposit: _Deposit, fired: int) -> Certainty:
        """Return the certainty that some rules give a deposit, and their weights, sorted."""
        pieces = [weight for place in ones(fired) for weight in deposit.weights[place]]
        return self._combined(deposit, pieces)

    def _combined(self, deposit: _Deposit, pieces: list[float]) -> Certainty:
        pieces.sort()
        weights = tuple(pieces)
        certainty = certainty_of(weights, self._suspected, self._most, deposit.guard)
        return certainty, weights

    def _read(self, fired: int, named: str, openings: Opened) -> Summary:
        certainties: list[tuple[str, float]] = []
        shown: list[tuple[float, str]] = []
        reaching: list[tuple[float, str]] = []
        runner, least = EXCLUDES, self._least
        for deposit in self._speaking:
            name, guard, speaking, _, known = deposit
            pieces = fired & speaking
            if name == named:
                weights = [w for place in ones(pieces) for w in deposit.weights[place]]
                found = self._combined(deposit, [*weights, self._named])
            elif pieces or guard:
                kept = known.get(pieces)
                if kept is None:
                    if len(known) >= KEPT:
                        known.clear()
                    kept = known[pieces] = self._certainty(deposit, pieces)
                found = kept
            else:
                continue
            certainty = found[0]
            certainties.append((name, certainty))
            reaches = guard and self._reaches(name, found, named != NONE, openings)
            if certainty >= least:
                shown.append((-certainty, name))
            elif certainty > runner:
                runner = certainty
            if reaches:
                reaching.append((-certainty, name))
        return self._summary(fired, certainties, shown, reaching, runner)

    def _summary(
        self,
        fired: int,
        certainties: list[tuple[str, float]],
        shown: list[tuple[float, str]],
        reaching: list[tuple[float, str]],
        runner: float,
    ) -> Summary:
        """Return the summary; ``runner`` is the best certainty of those that are not shown."""
        shown.sort()
        # How a deposit stands rests on itself and on the first two.
        ranked = [(name, -minus + 0.0) for minus, name in shown]
        if len(certainties) > len(ranked):
            ranked.append(("", runner))
        names = {name for _, name in reaching}
        ranked += [(name, -minus + 0.0) for minus, name in reaching if -minus < self._least]
        standings = standings_of(
            self.consultant.knowledge.judgement, ranked, self.consultant.guards
        )
        seen = [
            (name, standing, "yes" if name in names else "no")
            for (name, _), standing in zip(ranked, standings, strict=True)
            if name and (standing not in HIDDEN or name in names)
        ]
        settled = ranked[0][0] if standings and standings[0] == "settled" else None
        more = [self._says[place] for place in ones(fired & self._more)]
        return Summary(
            tuple(certainties),
            tuple(sorted(seen)),
            settled,
            max([0, *[says.own for says in more]]),
            max([0, *[says.whole for says in more]]),
            frozenset().union(*[says.conditions for says in more]),
        )

    def _reaches(self, guard: str, found: Certainty, named: bool, openings: Opened) -> bool:
        """Return whether open questions could make a guard suspected."""
        certainty, weights = found
        if certainty >= self._suspected - 1e-9:
            return True
        if certainty <= EXCLUDES:
            return False
        more = self._openings.weights(guard, openings, named=named)
        key = (guard, weights, more)
        reached = self._reached.get(key)
        if reached is None:
            if len(self._reached) >= KEPT:
                self._reached.clear()
            reached = combine([*weights, *more], self._most) >= self._suspected - 1e-9
            self._reached[key] = reached
        return reached
