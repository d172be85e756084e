"""The same normal rules in CLIPS: a second engine by other people, in another language.

Each kind of fact becomes a template of string slots with the fact's key, each rule a defrule whose
conditions are CLIPS's own constraints; a firing hands the rule, the keys of the matched facts and
the values of the bound variables back. Joins, absences and the agenda are all CLIPS's.
"""

from collections.abc import Iterable, Mapping, Sequence

import clips

from triage.engine.facts import Conclusion, Fact, sorted_conclusions
from triage.engine.normal import NormalRule, Pattern
from triage.engine.vocabulary import Vocabulary


def _slot(field: str) -> str:
    return f"f-{field}"


def _quoted(value: str) -> str:
    if '"' in value or "\\" in value:
        raise ValueError(f"not a plain word: {value}")
    return f'"{value}"'


def _condition(pattern: Pattern, place: int) -> str:
    allowed = dict(pattern.allowed)
    variables = dict(pattern.variables)
    parts = []
    if not pattern.absent:
        parts.append(f"(key ?key-{place})")
    for field in sorted({*allowed, *variables}):
        if field not in allowed:
            words = [f"?v-{variables[field]}"]
        elif field not in variables and allowed[field]:
            words = ["|".join(map(_quoted, sorted(allowed[field])))]
        else:
            # With a variable the values stand in a test: CLIPS refuses literals that two places
            # of a variable share no value of, where we mean a condition that never holds.
            name = f"?v-{variables[field]}" if field in variables else f"?e-{place}-{field}"
            tests = " ".join(f"(eq {name} {_quoted(value)})" for value in sorted(allowed[field]))
            words = [name, f":(or {tests} FALSE)" if tests else ":(eq 1 2)"]
        parts.append(f"({_slot(field)} {'&'.join(words)})")
    inner = f"({pattern.kind} {' '.join(parts)})" if parts else f"({pattern.kind})"
    return f"(not {inner})" if pattern.absent else inner


class ClipsEngine:
    def __init__(self, kinds: Mapping[str, Sequence[str]], rules: Iterable[NormalRule]) -> None:
        self.rules = {rule.id: rule for rule in rules}
        self.environment = clips.Environment()
        self.fired: list[tuple[str, ...]] = []
        self.environment.define_function(self._note, name="note")
        self.fields = {kind: tuple(fields) for kind, fields in kinds.items()}
        for kind, fields in self.fields.items():
            slots = " ".join(f"(slot {_slot(field)} (type STRING))" for field in fields)
            self.environment.build(f"(deftemplate {kind} (slot key (type STRING)) {slots})")
        self.templates = {kind: self.environment.find_template(kind) for kind in self.fields}
        for rule in self.rules.values():
            self.environment.build(self.construct(rule))

    def _note(self, *words: str) -> None:
        self.fired.append(tuple(str(word) for word in words))

    @staticmethod
    def variables(rule: NormalRule) -> tuple[str, ...]:
        """Return the variables that conclusions of a rule take over, sorted."""
        return tuple(sorted({v for template in rule.templates for _, v in template.variables}))

    def construct(self, rule: NormalRule) -> str:
        """Return a rule as CLIPS text; absences stand last, so that their variables are bound."""
        positive = [p for p in rule.patterns if not p.absent]
        negative = [p for p in rule.patterns if p.absent]
        lines = [_condition(p, place) for place, p in enumerate([*positive, *negative])]
        keys = " ".join(f"?key-{place}" for place in range(len(positive)))
        bound = " ".join(f"?v-{name}" for name in self.variables(rule))
        return f'(defrule {rule.id} {" ".join(lines)} => (note "{rule.id}" {keys} {bound}))'

    def consult(self, facts: Iterable[Fact]) -> tuple[Conclusion, ...]:
        """Return the conclusions of the family over these facts, sorted."""
        self.fired = []
        self.environment.reset()
        for fact in facts:
            slots = {_slot(name): str(value) for name, value in fact.fields.items()}
            self.templates[fact.kind].assert_fact(key=fact.key, **slots)
        self.environment.run()
        return sorted_conclusions(c for words in self.fired for c in self._conclusions(words))

    def _conclusions(self, words: tuple[str, ...]) -> Iterable[Conclusion]:
        rule = self.rules[words[0]]
        names = self.variables(rule)
        split = len(words) - len(names)
        keys, bound = words[1:split], dict(zip(names, words[split:], strict=True))
        for template in rule.templates:
            fields = [*template.constants, *((n, bound[v]) for n, v in template.variables)]
            yield Conclusion(
                template.kind, rule.id, tuple(sorted(fields, key=lambda f: f[0])), keys
            )


def clips_engine(vocabulary: Vocabulary, rules: Iterable[NormalRule]) -> ClipsEngine:
    """Return an engine that knows every kind of fact of a vocabulary."""
    return ClipsEngine({kind: tuple(slots) for kind, slots in vocabulary.kinds.items()}, rules)
