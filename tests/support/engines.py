"""The rules in several engines: experta with either matcher and strategy, the plain meaning, and CLIPS.

In CLIPS, a second engine by other people, in another language, each kind of fact becomes a template of
string slots with the fact's key, each rule a defrule whose conditions are CLIPS's own constraints; a
firing hands the rule, the keys of the matched facts and the values of the bound variables back. Joins,
absences and the agenda are all CLIPS's.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import clips

from tests.support.case_gen import drawn
from tests.support.knowledge import consultant as shipped_consultant
from triage.case.models import Case
from triage.engine.build import RuleEngine, build_engine, to_experta
from triage.engine.casefacts import facts_from
from triage.engine.compat import ReteMatcher
from triage.engine.consult import Consultant, Runner
from triage.engine.facts import Conclusion, Fact, sorted_conclusions
from triage.engine.matcher import JoinMatcher
from triage.engine.normal import NormalRule, Pattern
from triage.engine.vocabulary import UNKNOWN, Vocabulary
from triage.knowledge.rules import Family

MATCHERS = {"join": JoinMatcher, "rete": ReteMatcher}


class Noting:
    """Notes every firing, also one that concludes what was concluded before."""

    concluded: list[Conclusion]

    def conclude(self, conclusion: Conclusion) -> None:
        self.concluded.append(conclusion)
        super().conclude(conclusion)


def engine_of(rules: tuple[NormalRule, ...], matcher: str = "join", strategy=None) -> RuleEngine:
    engine = type(build_engine("TestEngine", rules, matcher=MATCHERS[matcher]))
    body = {} if strategy is None else {"__strategy__": strategy}
    made = type("OtherEngine", (Noting, engine), body)()
    made.concluded = []
    return made


def declare(engine: RuleEngine, fact: Fact):
    return engine.declare(to_experta(fact, engine.classes))


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


ENGINES = ("experta", "plain", "clips")


@dataclass
class Tally:
    cases: int = 0
    conclusions: Counter[str] = dataclasses.field(default_factory=Counter)
    fired: set[str] = dataclasses.field(default_factory=set)
    settled: int = 0
    differing: list[str] = dataclasses.field(default_factory=list)

    def add(self, other: Tally) -> None:
        self.cases += other.cases
        self.conclusions += other.conclusions
        self.fired |= other.fired
        self.settled += other.settled
        self.differing += other.differing


def clips_engines(consultant: Consultant) -> dict[Family, ClipsEngine]:
    return {
        family: clips_engine(consultant.vocabulary, rules)
        for family, rules in consultant.normal.by_family.items()
    }


def runners(consultant: Consultant) -> dict[str, Runner]:
    """Return what runs one family of rules over facts, by the name of the engine.

    experta is not among them: it runs all families at once.
    """
    engines = clips_engines(consultant)
    return {
        "plain": consultant.run_plain,
        "clips": lambda family, facts: engines[family].consult(facts),
    }


def unplaced(case: Case) -> Case:
    """Return the case with no finding in a known place; the drawn ones all have theirs."""
    findings = [finding.model_copy(update={"zone": UNKNOWN}) for finding in case.findings]
    return case.model_copy(update={"findings": tuple(findings)})


def compare(seeds, consultant: Consultant | None = None) -> Tally:
    """Consult each seed's case with each engine: CLIPS and the function family by family on the
    same facts, experta in the one run in which every conclusion is a fact."""
    consultant = consultant or shipped_consultant()
    tally = Tally()
    runs = runners(consultant)
    for seed in seeds:
        case, bench = drawn(consultant, seed)
        if seed % 20 == 7:
            case = unplaced(case)

        def run(family, facts, seed=seed):
            answers = {name: engine(family, facts) for name, engine in runs.items()}
            if answers["plain"] != answers["clips"]:
                tally.differing.append(f"seed {seed}, family {family}")
            tally.conclusions[str(family)] += len(answers["plain"])
            tally.fired |= {c.rule for c in answers["plain"]}
            return answers["clips"]

        facts = facts_from(case, bench, consultant.vocabulary)
        done = consultant.consult_facts(facts, (), run)
        if consultant.chain(facts) != done:
            tally.differing.append(f"seed {seed}, the engine")
        tally.settled += sum(r.standing == "settled" for r in done.readings)
        tally.cases += 1
    return tally
