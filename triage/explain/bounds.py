"""Which findings could change the next step at all, whatever their open signs turn out to be.

The order of work is a sort, and methods are only taken away or given back by rules; so a bound
tells without a look-ahead that most findings are not worth a question now. A finding whose
mildest conceivable step would still come after the present next one can change it only through
rules that reach beyond the finding itself, and only the answers that speak for the deposits of
those rules need a look. Tests hold the bound against the look-ahead with every open answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from triage.engine.consult import COUNTED, Conclusions, Consultant
from triage.engine.facts import Fact
from triage.engine.many import Extent, Summary, extent_of
from triage.engine.normal import NormalRule, Pattern
from triage.explain.sweep import Sweep
from triage.knowledge.rules import Family
from triage.plan.ladder import harshness_key
from triage.plan.lookparts import LATER, with_values
from triage.plan.ordering import WETNESS, is_whole, order_rules
from triage.plan.outcomes import INSERT
from triage.plan.skeleton import ORDER

Pair = tuple[str, str]
# Fields of a finding that no answer can change.
FIXED = frozenset({"id", "zone", "side", "named"})


@dataclass(frozen=True, slots=True)
class Scope:
    """Which answers about a finding need a look: all, or those that speak for some deposits."""

    everything: bool
    deposits: frozenset[str] = frozenset()
    pairs: frozenset[Pair] = frozenset()


ALL = Scope(everything=True)


@dataclass(frozen=True, slots=True)
class _Far:
    """A rule that concludes something beyond the finding it looks at; no methods: not a forbid."""

    reading: Pattern | None
    others: tuple[Pattern, ...]
    methods: frozenset[str] | None


class FarRules:
    """The rules through which one finding touches the rest of the case; laid out once."""

    def __init__(self, consultant: Consultant) -> None:
        rules = consultant.normal.by_family
        self.guards = consultant.guards
        self.far = tuple(
            far for family in LATER for rule in rules[family] if (far := _far(rule)) is not None
        )
        self.shared = _shared(consultant)
        # Whether evidence on one finding may rest on another: then each answer needs a look.
        self.crossing = any(extent_of(r) is Extent.SEVERAL for r in rules[Family.RECOGNISE])
        # The answers that change a state or a grade of the whole specimen.
        self.whole: set[Pair] = set()
        # The rules behind them that ask several things of one finding at once.
        self.sets: list[tuple[str, dict[str, frozenset[str]]]] = []
        # The answers that speak for a deposit, or exclude it.
        self.speaks: dict[str, set[Pair]] = {}
        for rule in rules[Family.RECOGNISE]:
            asked = _asked(rule)
            for template in rule.templates:
                if template.kind == "evidence":
                    constants = dict(template.constants)
                    if constants["weight"] > 0 or constants["weight"] <= -1:
                        self.speaks.setdefault(constants["deposit"], set()).update(asked)
                elif not any(name == "finding" for name, _ in template.variables):
                    self.whole |= asked
                    self._add_set(rule)

    def _add_set(self, rule: NormalRule) -> None:
        asked = [p.allowed for p in rule.patterns if p.kind == "finding" and len(p.allowed) > 1]
        self.sets += [(rule.id, dict(allowed)) for allowed in asked]

    def speaking(self, deposits: Iterable[str]) -> frozenset[Pair]:
        """Return the answers that speak for any of these deposits or exclude one."""
        return frozenset(pair for d in deposits for pair in self.speaks.get(d, ()))


def _shared(consultant: Consultant) -> frozenset[str]:
    """Return the acts on the whole insect that may wait until another ladder has come to them."""
    knowledge = consultant.knowledge
    offered: dict[str, set[str]] = {}
    for rule in consultant.normal.by_family[Family.OFFER]:
        for template in rule.templates:
            told = dict(template.constants)
            if any(name == "finding" for name, _ in template.variables):
                offered.setdefault(str(told.get("deposit")), set()).update(told["method"])
    # What is not settled is offered what is harmless of every deposit that it could be.
    harmless = {m for held in offered.values() for m in held if knowledge.methods[m].harmless}
    ladders = [*offered.values(), harmless]
    key = harshness_key(knowledge)
    behind = {m for ladder in ladders for m in sorted(ladder, key=key)[1:]}
    return frozenset(m for m in behind if is_whole(knowledge, m))


def _asked(rule: NormalRule) -> set[Pair]:
    return {
        (name, value)
        for pattern in rule.patterns
        if pattern.kind == "finding"
        for name, allowed in pattern.allowed
        for value in allowed
    }


def _far(rule: NormalRule) -> _Far | None:
    """Return what reaches beyond a finding in a rule, None if nothing does."""
    readings = [p for p in rule.patterns if p.kind == "reading"]
    findings = [
        p
        for p in rule.patterns
        if p.kind == "finding" and any(name not in FIXED for name, _ in p.allowed)
    ]
    beyond = [t for t in rule.templates if not any(name == "finding" for name, _ in t.variables)]
    several = extent_of(rule) is Extent.SEVERAL
    if not several and (not beyond or not (readings or findings)):
        return None
    others = tuple(p for p in rule.patterns if p.kind not in ("reading", "finding"))
    said = rule.templates if several else beyond
    methods: frozenset[str] | None = None
    if all(t.kind == "forbid" and "method" in dict(t.constants) for t in said):
        methods = frozenset(m for t in said for m in dict(t.constants)["method"])
    # One reading alone decides it; which place it tells of may only leave more out.
    one = readings[0] if len(readings) == 1 and not findings else None
    return _Far(one, others, methods)


def meets(pattern: Pattern, fields: Mapping[str, str]) -> bool:
    """Return whether fields meet a condition, absence left aside."""
    return all(fields.get(name, "") in allowed for name, allowed in pattern.allowed)


class Bounds:
    """The bound for each finding of one case."""

    def __init__(self, sweep: Sweep, rules: FarRules) -> None:
        self.sweep = sweep
        self.rules = rules
        self.knowledge = sweep.knowledge
        self.base = sweep.base
        self._scopes: dict[tuple[str, bool], Scope] = {}
        self.summaries: dict[str, Summary] = {
            f.id: sweep.look.summary(sweep.facts, f.id) for f in sweep.case.findings
        }

    @cached_property
    def rests(self) -> bool:
        """Return whether work on findings rests at this stage, whatever they are."""
        return self.base.stage == ORDER[0] or ORDER.index(self.base.stage) > ORDER.index("clean")

    @cached_property
    def _conclusions(self) -> Conclusions:
        consultant = self.sweep.look.consultant
        return consultant.consult_facts(
            self.sweep.facts, self.sweep.work.closed, consultant.run_plain
        )

    @cached_property
    def _later(self) -> frozenset[str]:
        """Return the methods that wait for others across the case."""
        rules = order_rules(self._conclusions.of(Family.ORDER))
        waiting = frozenset(method for _, later in rules.across for method in later)
        return waiting | self.rules.shared

    @cached_property
    def _apart(self) -> frozenset[str]:
        return order_rules(self._conclusions.of(Family.ORDER)).apart

    @cached_property
    def _inserted(self) -> frozenset[str]:
        """Return the methods that are put before others."""
        inserts = self._conclusions.of(Family.ORDER, "insert")
        return frozenset(c.get("first") for c in inserts)

    # -- the order of work -----------------------------------------------------------------------

    def _place(self, target: str, wetness: int) -> tuple[object, ...]:
        """Return the beginning of the sort key of ``plan.ordering`` for a step of a target."""
        zones = {f.id: f.zone for f in self.sweep.case.findings}
        zone = zones.get(target)
        known = self.knowledge.zones.get(zone or "")
        return zone in self._apart, wetness, known.rank if known else 0, target

    @cached_property
    def _first(self) -> tuple[object, ...] | None:
        """Return the sort key of the next step, None if there is none or others may block it."""
        method, target = self.base.method, self.base.target
        if method is None or target is None or method in self._later:
            return None
        technique = self.knowledge.methods[method].technique
        return self._place(target, WETNESS[self.knowledge.techniques[technique].wet])

    @cached_property
    def _is_sorted(self) -> bool:
        """Return whether the next step stands first by its key alone, no other being held back."""
        if self._first is None:
            return False
        return not any(
            rungs
            and target != self.base.target
            and self._place(target, 0) < self._first
            and (rungs[0] in self._later or self._inserted & self._later)
            for target, rungs in self.base.rungs
        )

    def comes_after(self, finding: str) -> bool:
        """Return whether every conceivable step of a finding comes after the next step."""
        if not self._is_sorted or finding == self.base.target:
            return False
        return self._first is not None and self._place(finding, 0) > self._first

    # -- the reach beyond the finding --------------------------------------------------------------

    def matters(self, finding: str, question: str, answer: str) -> bool:
        """Return whether one answer about a finding could change the next step at all."""
        scope = self.scope(finding, alone=True)
        if scope.everything:
            return True
        if (question, answer) not in scope.pairs:
            return False
        changed = with_values(self.sweep.facts, {(finding, question): answer})
        read = self.sweep.look.summary(changed, finding)
        return _beyond(read, scope.deposits) != _beyond(self.summaries[finding], scope.deposits)

    def scope(self, finding: str, *, alone: bool) -> Scope:
        """Return which answers about a finding could change the next step.

        ``alone``: one answer, everything else as it is; else together with answers about the
        specimen, which may open the stage.
        """
        key = (finding, alone)
        if key not in self._scopes:
            rests = alone and self.rests
            is_bound = (rests or self.comes_after(finding)) and self._others_open(finding)
            self._scopes[key] = self._scope(finding) if is_bound else ALL
        return self._scopes[key]

    def _scope(self, finding: str) -> Scope:
        if self.rules.crossing:
            return ALL
        deposits: set[str] = set()
        for far in self.rules.far:
            if not all(self._is_met(pattern) for pattern in far.others):
                continue
            if far.reading is None or self._fires(far.reading, finding):
                return ALL
            named = dict(far.reading.allowed).get("deposit")
            if self._touches(far.methods):
                # What open questions leave possible, and who leads, rests on every answer.
                if named is None or not named <= self.rules.guards or _by_reach(far.reading):
                    return ALL
                deposits |= named
        pairs = self.rules.speaking(deposits) | self.rules.whole
        return Scope(everything=False, deposits=frozenset(deposits), pairs=pairs)

    def _others_open(self, finding: str) -> bool:
        """Return whether another finding keeps the cleaning open."""
        deposits = self.knowledge.deposits
        return any(
            key != finding
            and self.sweep.is_open(key)
            and (read.settled is None or not deposits[read.settled].is_left)
            for key, read in self.summaries.items()
        )

    def _is_met(self, pattern: Pattern) -> bool:
        """Return whether a condition on the specimen or bench is met now, unknown included."""
        facts: tuple[Fact, ...] = self.sweep.facts
        found = [fact for fact in facts if fact.kind == pattern.kind]
        # States and other derived facts are taken as met.
        return pattern.absent or not found or any(meets(pattern, f.fields) for f in found)

    def _fires(self, reading: Pattern, finding: str) -> bool:
        zone = self.sweep.fact(finding).fields["zone"]
        return any(
            meets(
                reading,
                {"finding": finding, "zone": zone, "deposit": d, "standing": s, "reach": r},
            )
            for d, s, r in self.summaries[finding].seen
        )

    def _touches(self, methods: frozenset[str] | None) -> bool:
        """Return whether barring these methods could take the next step away."""
        if methods is None:
            return True
        if self.base.step is None:
            return False
        return self.base.method in methods or INSERT in self.base.step


def _beyond(read: Summary, deposits: frozenset[str]) -> tuple[object, ...]:
    """Return what rules that reach beyond a finding can see of its reading."""
    seen = frozenset(d for d, standing, _ in read.seen if d in deposits and standing in COUNTED)
    return seen, read.conditions, read.whole


def _by_reach(reading: Pattern) -> bool:
    """Return whether a condition tells more than whether a deposit is at least suspected."""
    allowed = dict(reading.allowed)
    return "reach" in allowed or not allowed.get("standing", frozenset()) >= COUNTED
