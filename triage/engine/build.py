"""Normal rules become one experta engine class per family, built once and reset per consult."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
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
from triage.engine.facts import Conclusion, Fact, sorted_conclusions
from triage.engine.indexed import RuleIndex
from triage.engine.matcher import JoinMatcher
from triage.engine.normal import NormalRule, Pattern
from triage.engine.strategy import ExactStrategy


class _Declared(ExpertaFact):  # type: ignore[misc]
    """A fact of a case inside experta; ``plain`` is the value it was made from.

    ``identity`` is equal for facts that experta takes for the same.
    """

    plain: Fact
    identity: object

    def update(self, mapping: Mapping[str, Any]) -> None:
        """Take the fields over as they are: strings and conditions need no freezing."""
        dict.update(self, mapping)


def field_name(name: str) -> str:
    """Return a field name that can be a Python keyword argument."""
    return "f_" + name.replace("-", "_")


def kind_class(kind: str, known: dict[str, Any]) -> Any:
    """Return the experta fact class of a kind, made once per engine."""
    if kind not in known:
        known[kind] = type(kind.replace("-", "_").capitalize(), (_Declared,), {})
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


Read = Mapping[str, tuple[tuple[str, str], ...]]


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
    """Return the right-hand side of one rule; it only reports what it concluded."""
    count = sum(not pattern.absent for pattern in rule.patterns)
    draw = index.drawing(rule.id)
    places = [f"fact_{i}" for i in range(count)]

    def act(engine: Any, **context: Any) -> None:
        facts = tuple([context[place].plain.key for place in places])
        for conclusion in draw(context, facts):
            engine.concluded.append(conclusion)

    act.__name__ = rule.id
    return act


class _Rule(ExpertaRule):  # type: ignore[misc]
    """A rule whose action takes whatever was bound: nothing to find out about its parameters."""

    def __call__(self, *given: Any, **context: Any) -> Any:
        if self._wrapped is None:
            self._wrapped: Any = given[0]
            return update_wrapper(self, given[0])
        if self._wrapped_self is None:
            return self._wrapped(*given, **context)
        return self._wrapped(self._wrapped_self, *given, **context)


class FamilyEngine(KnowledgeEngine):  # type: ignore[misc]
    """An experta engine for the rules of one family; subclasses carry the rules."""

    __matcher__ = JoinMatcher
    __strategy__ = ExactStrategy
    index: RuleIndex
    read: Read
    classes: dict[str, Any]
    concluded: list[Conclusion]

    def __init__(self) -> None:
        self._deffacts: list[Any] | None = None
        self.concluded = []
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

    def load(self, facts: Iterable[Any]) -> None:
        """Declare facts in one go, then bring the agenda up to date once."""
        for fact in facts:
            self.facts.declare(fact)
        added, removed = self.get_activations()
        self.strategy.update_agenda(self.agenda, added, removed)

    def consult(self, facts: Iterable[Fact]) -> tuple[Conclusion, ...]:
        """Run the family over these facts and return its conclusions, sorted."""
        self.concluded = []
        self.reset()
        conditions = self.index.conditions
        try:
            # A fact that meets no condition of the family can neither fire nor hold up a rule.
            declared = [
                to_experta(fact, self.classes, self.read)
                for fact in facts
                if fact.kind in conditions and conditions[fact.kind].met(fact)
            ]
            self.load(declared)
            self.run()
        except BaseException:
            # A half-run agenda must not leak into the next consult.
            self.reset()
            raise
        return sorted_conclusions(self.concluded)


def build_engine(
    name: str,
    rules: tuple[NormalRule, ...],
    *,
    matcher: Any = JoinMatcher,
    index: RuleIndex | None = None,
) -> FamilyEngine:
    """Return an engine whose class holds these rules as experta rules.

    ``index`` is the index over the same rules, where there is one already.
    """
    classes: dict[str, Any] = {}
    index = index or RuleIndex(rules)
    read = {
        kind: tuple((name, field_name(name)) for name in index.read_fields(kind))
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
        body["rule_" + rule.id.replace("-", "_")] = _Rule(*conditions)(_action(rule, index))
    engine: FamilyEngine = type(name, (FamilyEngine,), body)()
    return engine
