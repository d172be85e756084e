"""Normal rules become one experta engine class per family, built once and reset per consult."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from triage.engine.compat import AS, MATCH, NOT, ExpertaFact, ExpertaRule, KnowledgeEngine, P
from triage.engine.facts import Conclusion, Fact, sorted_conclusions
from triage.engine.matcher import JoinMatcher
from triage.engine.normal import NormalRule, Pattern
from triage.engine.plain import conclude
from triage.engine.strategy import ExactStrategy


class _Declared(ExpertaFact):  # type: ignore[misc]
    """A fact of a case inside experta; ``plain`` is the value it was made from."""

    plain: Fact


def field_name(name: str) -> str:
    """Return a field name that can be a Python keyword argument."""
    return "f_" + name.replace("-", "_")


def kind_class(kind: str, known: dict[str, Any]) -> Any:
    """Return the experta fact class of a kind, made once per engine."""
    if kind not in known:
        known[kind] = type(kind.replace("-", "_").capitalize(), (_Declared,), {})
    return known[kind]


def to_experta(fact: Fact, classes: dict[str, Any]) -> Any:
    """Return the experta fact for a plain one."""
    declared = kind_class(fact.kind, classes)(
        **{field_name(name): value for name, value in fact.fields.items()}
    )
    declared.plain = fact
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


def _action(rule: NormalRule) -> Callable[..., None]:
    """Return the right-hand side of one rule; it only reports what it concluded."""
    count = sum(not pattern.absent for pattern in rule.patterns)

    def act(engine: Any, **context: Any) -> None:
        matched = tuple(context[f"fact_{i}"].plain for i in range(count))
        binding = {k: v for k, v in context.items() if not k.startswith("fact_")}
        for template in rule.templates:
            engine.concluded.append(conclude(template, rule.id, (binding, matched)))

    act.__name__ = rule.id
    return act


class FamilyEngine(KnowledgeEngine):  # type: ignore[misc]
    """An experta engine for the rules of one family; subclasses carry the rules."""

    __matcher__ = JoinMatcher
    __strategy__ = ExactStrategy
    normal_rules: tuple[NormalRule, ...] = ()
    classes: dict[str, Any]
    concluded: list[Conclusion]

    def __init__(self) -> None:
        self._deffacts: list[Any] | None = None
        self.concluded = []
        super().__init__()

    def get_deffacts(self) -> list[Any]:
        """Return the deffacts, looked up once: experta searches all attributes per reset."""
        if self._deffacts is None:
            self._deffacts = list(super().get_deffacts())
        return self._deffacts

    def consult(self, facts: Iterable[Fact]) -> tuple[Conclusion, ...]:
        """Run the family over these facts and return its conclusions, sorted."""
        self.concluded = []
        self.reset()
        try:
            declared = [to_experta(fact, self.classes) for fact in facts]
            if declared:
                self.declare(*declared)
            self.run()
        except BaseException:
            # A half-run agenda must not leak into the next consult.
            self.reset()
            raise
        return sorted_conclusions(self.concluded)


def build_engine(
    name: str, rules: tuple[NormalRule, ...], *, matcher: Any = JoinMatcher
) -> FamilyEngine:
    """Return an engine whose class holds these rules as experta rules."""
    classes: dict[str, Any] = {}
    body: dict[str, Any] = {"normal_rules": rules, "classes": classes, "__matcher__": matcher}
    for rule in rules:
        positive = [p for p in rule.patterns if not p.absent]
        negative = [p for p in rule.patterns if p.absent]
        conditions = [_condition(p, i, classes) for i, p in enumerate([*positive, *negative])]
        body["rule_" + rule.id.replace("-", "_")] = ExpertaRule(*conditions)(_action(rule))
    engine: FamilyEngine = type(name, (FamilyEngine,), body)()
    return engine
