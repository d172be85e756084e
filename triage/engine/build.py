"""All rules become one experta engine: built once, reset for every consultation, run once.

The families are strata of its agenda. Each firing declares its conclusion as a fact, with the
rule and the keys of the facts it matched, and later families match what earlier ones concluded.
At the end of recognition an action of the same run combines the evidence to readings.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import update_wrapper
from typing import Any

from triage.engine.compat import (
    AS,
    MATCH,
    NOT,
    Agenda,
    ExpertaFact,
    ExpertaRule,
    FactList,
    KnowledgeEngine,
    P,
)
from triage.engine.facts import Conclusion, Fact, order_of, sorted_conclusions
from triage.engine.indexed import RuleIndex
from triage.engine.matcher import JoinMatcher
from triage.engine.normal import NormalRule, Pattern
from triage.engine.strategy import ExactStrategy
from triage.knowledge.rules import FAMILIES, Family

# A family runs to its end before the next one begins; the combination stands behind recognition.
BAND = 10
SALIENCE = {family: BAND * (len(FAMILIES) - place) for place, family in enumerate(FAMILIES)}
COMBINE = "combine-evidence"
# Recognition reads what was observed; later families read the same kinds with what it added.
OBSERVED = {"specimen": "observed-specimen", "finding": "observed-finding"}
# What later families match of a conclusion: its kind -> (kind of fact, field, and its key).
MATCHED = {"state": ("state", "condition"), "close": ("closed", "stage")}

Combine = Callable[[Sequence[Conclusion]], Iterable[Fact]]
Read = Mapping[str, tuple[tuple[str, str], ...]]


class _Declared(ExpertaFact):  # type: ignore[misc]
    """A fact inside experta; ``plain`` is the value it was made from.

    ``identity`` is equal for facts that experta takes for the same.
    """

    plain: Fact
    identity: object

    def update(self, mapping: Mapping[str, Any]) -> None:
        """Take the fields over as they are: strings and conditions need no freezing."""
        dict.update(self, mapping)


class Concluded(ExpertaFact):  # type: ignore[misc]
    """What a rule concluded, as a fact of the same run: the trail is read from these."""

    conclusion: Conclusion
    identity: object

    def update(self, mapping: Mapping[str, Any]) -> None:
        """Take the fields over as they are."""
        dict.update(self, mapping)


def field_name(name: str) -> str:
    """Return a field name that can be a Python keyword argument."""
    return "f_" + name.replace("-", "_")


def kind_class(kind: str, known: dict[str, Any], base: Any = _Declared) -> Any:
    """Return the experta fact class of a kind, made once per engine."""
    if kind not in known:
        known[kind] = type(kind.replace("-", "_").capitalize(), (base,), {})
    return known[kind]


class _Facts(FactList):  # type: ignore[misc]
    """The facts of an engine; whether two are the same is read from the fact, not worked out."""

    @staticmethod
    def _get_fact_id(fact: Any) -> object:
        identity = getattr(fact, "identity", None)
        return FactList._get_fact_id(fact) if identity is None else identity  # noqa: SLF001

    def declare(self, fact: Any) -> Any:
        """Take a fact in, as experta does; what was made from a case needs no validation."""
        identity = getattr(fact, "identity", None)
        if identity is None:
            return super().declare(fact)
        if identity in self.reference_counter:
            return None
        number: int = self.last_index  # type: ignore[has-type]
        fact.__factid__ = number
        self[number] = fact
        self.last_index = number + 1
        self.added.append(fact)
        self.reference_counter[identity] = 1
        return fact


def to_experta(fact: Fact, classes: dict[str, Any], read: Read | None = None) -> Any:
    """Return the experta fact for a plain one.

    ``read`` gives, for each kind, the fields that the rules of the engine read with their names
    in experta; the others are left out, and the key keeps facts apart that look alike.
    """
    values = fact.fields
    if read is None:
        fields = {field_name(name): value for name, value in values.items()}
    else:
        fields = {name: values[plain] for plain, name in read[fact.kind] if plain in values}
        fields["key"] = fact.key
    declared = kind_class(fact.kind, classes)(**fields)
    declared.plain = fact
    declared.identity = (fact.kind, *fields.values()) if read else None
    return declared


def _condition(pattern: Pattern, index: int, classes: dict[str, Any]) -> Any:
    tests: dict[str, Any] = {}
    for name, allowed in pattern.allowed:
        tests[field_name(name)] = P(allowed.__contains__)
    for name, variable in pattern.variables:
        key = field_name(name)
        match = getattr(MATCH, variable)
        tests[key] = tests[key] & match if key in tests else match
    condition = kind_class(pattern.kind, classes)(**tests)
    if pattern.absent:
        return NOT(condition)
    return getattr(AS, f"fact_{index}") << condition


def _action(rule: NormalRule, index: RuleIndex) -> Callable[..., None]:
    """Return the right-hand side of one rule: it declares what it concluded."""
    count = sum(not pattern.absent for pattern in rule.patterns)
    draw = index.drawing(rule.id)
    places = [f"fact_{i}" for i in range(count)]

    def act(engine: RuleEngine, **context: Any) -> None:
        facts = tuple([context[place].plain.key for place in places])
        for conclusion in draw(context, facts):
            engine.conclude(conclusion)

    act.__name__ = rule.id
    return act


def _combination(engine: RuleEngine, **_context: Any) -> None:
    """Declare what the evidence of the run comes to: readings, and facts as recognised."""
    if engine.combine is not None:
        for fact in engine.combine(engine.conclusions()):
            engine.take(fact)


_combination.__name__ = COMBINE


class _Rule(ExpertaRule):  # type: ignore[misc]
    """A rule whose action takes whatever was bound: nothing to find out about its parameters."""

    def __call__(self, *given: Any, **context: Any) -> Any:
        if self._wrapped is None:
            self._wrapped: Any = given[0]
            return update_wrapper(self, given[0])
        if self._wrapped_self is None:
            return self._wrapped(*given, **context)
        return self._wrapped(self._wrapped_self, *given, **context)


class RuleEngine(KnowledgeEngine):  # type: ignore[misc]
    """An experta engine for a whole rulebase; subclasses carry the rules."""

    __matcher__ = JoinMatcher
    __strategy__ = ExactStrategy
    index: RuleIndex
    read: Read
    classes: dict[str, Any]
    combine: Combine | None

    def __init__(self) -> None:
        self._deffacts: list[Any] | None = None
        self.combine = None
        super().__init__()
        self.facts = _Facts()

    def get_deffacts(self) -> list[Any]:
        """Return the deffacts, looked up once: experta searches all attributes per reset."""
        if self._deffacts is None:
            self._deffacts = list(super().get_deffacts())
        return self._deffacts

    def reset(self, **given: Any) -> None:
        """Empty the agenda and the facts; our matcher needs no initial fact to start from."""
        if self.__matcher__ is not JoinMatcher:
            super().reset(**given)
            return
        self.agenda = Agenda()
        self.facts = _Facts()
        self.matcher.reset()
        self.running = False

    def run(self, steps: float = float("inf")) -> None:
        """Fire what stands on the agenda until nothing does.

        The same cycle as experta's own, without the words that it makes up for a log of each
        firing; the agenda is brought up to date only when facts came or went.
        """
        if self.__matcher__ is not JoinMatcher:
            super().run(steps)
            return
        self.running = True
        while steps > 0 and self.running:
            if self.facts.added or self.facts.removed:
                self.strategy.update_agenda(self.agenda, *self.get_activations())
            activation = self.agenda.get_next()
            if activation is None:
                break
            steps -= 1
            activation.rule(self, **activation.context)
        self.running = False

    def take(self, fact: Fact) -> None:
        """Declare a plain fact, if any rule could ever tell that it is there."""
        # A fact that meets no condition can neither fire nor hold up a rule.
        if self.index.met(fact):
            self.facts.declare(to_experta(fact, self.classes, self.read))

    def conclude(self, conclusion: Conclusion) -> None:
        """Declare a conclusion, and what later families match of it."""
        declared = kind_class("concluded-" + conclusion.kind, self.classes, Concluded)(
            rule=conclusion.rule, facts=conclusion.facts
        )
        declared.conclusion = conclusion
        declared.identity = ("concluded", *order_of(conclusion))
        self.facts.declare(declared)
        if conclusion.kind in MATCHED:
            kind, field = MATCHED[conclusion.kind]
            word = str(conclusion.get(field))
            self.take(Fact(kind, word, {field: word}))

    def conclusions(self) -> list[Conclusion]:
        """Return what the run has concluded so far, in the order in which rules fired."""
        return [fact.conclusion for fact in self.facts.values() if isinstance(fact, Concluded)]

    def consult(
        self, facts: Iterable[Fact], combine: Combine | None = None
    ) -> tuple[Conclusion, ...]:
        """Run all rules over these facts and return every conclusion, sorted.

        Parameters
        ----------
        facts   as observed
        combine gives the facts that follow from the evidence at the end of recognition
        """
        self.reset()
        self.combine = combine
        try:
            for fact in facts:
                kind = OBSERVED.get(fact.kind)
                if combine is not None and kind is not None:
                    self.take(Fact(kind, fact.key, fact.fields))
                else:
                    self.take(fact)
            self.run()
            return sorted_conclusions(self.conclusions())
        finally:
            # A half-run agenda must not leak into the next consultation.
            self.reset()


def as_observed(rule: NormalRule) -> NormalRule:
    """Return a recognise rule that reads facts as observed, before anything is added to them."""
    if rule.family is not Family.RECOGNISE:
        return rule
    patterns = tuple(replace(p, kind=OBSERVED.get(p.kind, p.kind)) for p in rule.patterns)
    return replace(rule, patterns=patterns)


def build_engine(
    name: str, rules: Iterable[NormalRule], *, matcher: Any = JoinMatcher, combines: bool = False
) -> RuleEngine:
    """Return an engine whose class holds these rules as experta rules.

    ``combines`` makes the strata of a whole rulebase: recognition reads facts as observed, and
    its end calls what ``consult`` is given to combine the evidence.
    """
    rules = tuple(rules)
    actions: dict[str, Callable[..., None]] = {}
    if combines:
        combining = NormalRule(
            COMBINE, Family.RECOGNISE, (Pattern(OBSERVED["specimen"], False, (), ()),), ()
        )
        rules = (*map(as_observed, rules), combining)
        actions[COMBINE] = _combination
    classes: dict[str, Any] = {}
    index = RuleIndex(rules)
    read = {
        kind: tuple((field, field_name(field)) for field in index.read_fields(kind))
        for kind in index.conditions
    }
    body: dict[str, Any] = {
        "index": index,
        "read": read,
        "classes": classes,
        "__matcher__": matcher,
    }
    for rule in rules:
        positive = [p for p in rule.patterns if not p.absent]
        negative = [p for p in rule.patterns if p.absent]
        conditions = [_condition(p, i, classes) for i, p in enumerate([*positive, *negative])]
        salience = SALIENCE[rule.family] - (BAND // 2 if rule.id in actions else 0)
        action = actions.get(rule.id) or _action(rule, index)
        named = _Rule(*conditions, salience=salience)(action)
        body["rule_" + rule.id.replace("-", "_")] = named
    engine: RuleEngine = type(name, (RuleEngine,), body)()
    return engine
