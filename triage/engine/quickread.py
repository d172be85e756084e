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
from triage.engine.reading import EXCLUDES, certainty_of, reach_of, standings_of
from triage.engine.vocabulary import NONE
from triage.knowledge.rules import Family

# A certainty, and the weights it was combined from, sorted.
Certainty = tuple[float, tuple[float, ...]]
NOTHING: Certainty = (-2.0, ())
# Findings and guards read beyond this number start the store anew.
KEPT = 50_000
# In place of a certainty where nothing speaks of a deposit.
ABSENT = -2.0
HIDDEN = frozenset({"excluded", "doubtful", "open"})


@dataclass(frozen=True, eq=False, slots=True)
class Summary:
    """What recognition says about one finding.

    ``seen`` holds (deposit, standing, reach) as far as later rules can read them, sorted; ``own``
    and ``whole`` are ranks of fragility for the finding and for the specimen. ``names`` and
    ``values`` are all deposits and their certainty, ``ABSENT`` where nothing speaks of one.
    """

    names: tuple[str, ...]
    values: list[float]
    seen: tuple[tuple[str, str, str], ...]
    settled: str | None
    own: int
    whole: int
    conditions: frozenset[str]

    @property
    def certainties(self) -> dict[str, float]:
        """Return deposit -> certainty of all that anything speaks of, and of all guards."""
        pairs = zip(self.names, self.values, strict=True)
        return {name: value for name, value in pairs if value != ABSENT}

    @property
    def ranked(self) -> tuple[tuple[str, float], ...]:
        """Return (deposit, certainty), the most certain first."""
        return tuple(sorted(self.certainties.items(), key=lambda pair: (-pair[1], pair[0])))


@dataclass(frozen=True, slots=True)
class _Says:
    """What one rule concludes."""

    weights: tuple[tuple[str, float], ...]
    own: int
    whole: int
    conditions: frozenset[str]


class _Last(NamedTuple):
    """What was found when a finding was read last; the next reading mostly differs a little."""

    fired: int
    named: str
    found: list[Certainty]
    values: list[float]


class _Deposit(NamedTuple):
    """A deposit, the bits of the rules that speak of it, their weights, and what they gave."""

    name: str
    guard: str
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
        self._names = tuple(deposit.name for deposit in self._speaking)
        self._guards = [n for n, deposit in enumerate(self._speaking) if deposit.guard != NONE]
        # Rule -> the deposits that it speaks of, as bits.
        self._touched = [
            sum(1 << n for n, deposit in enumerate(self._speaking) if place in deposit.weights)
            for place in range(len(self._says))
        ]
        self._last: dict[str, _Last] = {}
        self._differ: dict[int, tuple[int, ...]] = {}
        self._states: dict[int, tuple[int, int, frozenset[str]]] = {}
        self._more = sum(
            1 << place
            for place, says in enumerate(self._says)
            if says.own or says.whole or says.conditions
        )
        self._openings = Openings(consultant)
        self._reached: dict[tuple[str, tuple[float, ...], tuple[float, ...]], bool] = {}
        self._kept: dict[tuple[object, ...], Summary] = {}

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
                self.consultant.knowledge.deposits[deposit].guard,
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
        return self._state(fired & self._more)[1:]

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
            found = self._kept[key] = self._read(finding.key, fired, named, openings)
        return found

    def _found(self, finding: str, fired: int, named: str) -> _Last:
        """Return the certainty of every deposit, from those of the last reading where it can."""
        last = self._last.get(finding)
        if last is None or last.named != named:
            last = _Last(0, named, [NOTHING] * len(self._names), [ABSENT] * len(self._names))
            touched = tuple(range(len(self._names)))
        else:
            touched = self._differing(fired ^ last.fired)
        found, values = last.found.copy(), last.values.copy()
        for place in touched:
            deposit = self._speaking[place]
            pieces = fired & deposit.speaking
            certainty = deposit.known.get(pieces)
            if certainty is None or deposit.name == named:
                certainty = self._certainty(deposit, pieces, named)
            found[place], values[place] = certainty, certainty[0]
        if len(self._last) >= KEPT:
            self._last.clear()
        made = _Last(fired, named, found, values)
        self._last[finding] = made
        return made

    def _differing(self, rules: int) -> tuple[int, ...]:
        """Return the deposits that some rules speak of."""
        found = self._differ.get(rules)
        if found is None:
            touched = 0
            for place in ones(rules):
                touched |= self._touched[place]
            if len(self._differ) >= KEPT:
                self._differ.clear()
            found = self._differ[rules] = tuple(ones(touched))
        return found

    def _certainty(self, deposit: _Deposit, fired: int, named: str) -> Certainty:
        """Return the certainty that some rules give a deposit, and their weights, sorted."""
        pieces = [weight for place in ones(fired) for weight in deposit.weights[place]]
        if deposit.name == named:
            pieces.append(self._named)
        pieces.sort()
        weights = tuple(pieces)
        found = NOTHING
        if weights or deposit.guard != NONE:
            certainty = certainty_of(weights, self._suspected, self._most, deposit.guard)
            found = certainty, weights
        if deposit.name != named:
            if len(deposit.known) >= KEPT:
                deposit.known.clear()
            deposit.known[fired] = found
        return found

    def _read(self, finding: str, fired: int, named: str, openings: Opened) -> Summary:
        _, _, found, values = self._found(finding, fired, named)
        is_named = named != NONE
        reaching = {
            self._names[place]
            for place in self._guards
            if self._reaches(self._names[place], found[place], is_named, openings)
        }
        least, names = self._least, self._names
        shown = [(-value, names[n]) for n, value in enumerate(values) if value >= least]
        shown.sort()
        # How a deposit stands rests on itself and on the first two.
        ranked = [(name, -minus + 0.0) for minus, name in shown]
        if len(ranked) < 2:
            ranked += [("", max([v for v in values if v < least], default=ABSENT))]
        ranked += [
            (names[n], values[n])
            for n in self._guards
            if values[n] < least and names[n] in reaching
        ]
        judgement = self.consultant.knowledge.judgement
        standings = standings_of(judgement, ranked, self.consultant.guards)
        seen = [
            (name, standing, "yes" if name in reaching else "no")
            for (name, _), standing in zip(ranked, standings, strict=True)
            if name and (standing not in HIDDEN or name in reaching)
        ]
        settled = ranked[0][0] if standings[0] == "settled" else None
        own, whole, conditions = self._state(fired & self._more)
        return Summary(names, values, tuple(sorted(seen)), settled, own, whole, conditions)

    def _state(self, fired: int) -> tuple[int, int, frozenset[str]]:
        """Return the fragility of the finding and of the specimen, and the conditions."""
        found = self._states.get(fired)
        if found is None:
            says = [self._says[place] for place in ones(fired)]
            own, whole = max([0, *[s.own for s in says]]), max([0, *[s.whole for s in says]])
            conditions = frozenset().union(*[s.conditions for s in says])
            found = self._states[fired] = own, whole, conditions
        return found

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
            kind = self.consultant.knowledge.deposits[guard].guard
            most = reach_of(weights, more, self._suspected, self._most, kind)
            reached = most >= self._suspected - 1e-9
            self._reached[key] = reached
        return reached
