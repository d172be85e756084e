"""Why: the tree from a conclusion through the rules that fired to the facts they matched.

Everything is read from the trail that the engine left: each conclusion carries its rule and the
keys of the facts it matched. Nothing is worked out a second time here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from triage.case.models import Attempt, Case
from triage.case.profile import Bench
from triage.engine.consult import Conclusions, Consultant
from triage.engine.facts import Conclusion, Fact
from triage.engine.normal import NormalRule, Pattern
from triage.engine.reading import Reading, weight_of
from triage.engine.vocabulary import NONE, UNKNOWN
from triage.explain.node import Node
from triage.exposure.wording import limit_words
from triage.knowledge.base import SourceKind
from triage.knowledge.rules import RESTRICTIVE, Family
from triage.plan.airjudge import AirJudge
from triage.plan.ladder import Barred, Ladder, applies, harshness_key
from triage.plan.liquids import as_done
from triage.plan.ordering import Item
from triage.plan.outcomes import attempts_on
from triage.plan.skeleton import Skeleton
from triage.plan.steps import cautions_of

# Sources that are no documents are called by their kind.
UNWRITTEN = frozenset(
    {
        SourceKind.COMMON_PRACTICE,
        SourceKind.JUDGEMENT,
        SourceKind.FROM_MEMORY,
        SourceKind.DERIVED,
    }
)
# What the fields of facts are called that no question asks for.
WORDS = {
    "taxon": "group",
    "settled": "taken to be",
    "named": "named by a person as",
    "control": "control of the air",
    "findings": "findings",
    "cleaning": "work on the findings",
}
ATTEMPT_RULES = frozenset({"attempt-harm", "test-spot-failed", "user-skip"})
AIR_RULE = "air-limit"


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two observations about one finding that speak for and against the same deposit."""

    finding: str
    deposit: str
    for_it: Node
    against_it: Node
    sentence: str


class Trail:
    """Explains one skeleton: its steps, exclusions, readings and gates."""

    def __init__(
        self,
        consultant: Consultant,
        case: Case,
        bench: Bench,
        judge: AirJudge,
        skeleton: Skeleton,
    ) -> None:
        self.consultant = consultant
        self.knowledge = consultant.knowledge
        self.case = case
        self.bench = bench
        self.judge = judge
        self.skeleton = skeleton
        self.conclusions: Conclusions = skeleton.conclusions
        self.facts = {fact.key: fact for fact in self.conclusions.facts}
        self.normal = consultant.rules

    # -- rules and facts -----------------------------------------------------------------------

    def rule(self, conclusion: Conclusion, more: str = "") -> Node:
        """Return a rule that fired, with each fact that it matched."""
        entry = self.knowledge.rule(conclusion.rule)
        normal = self.normal[conclusion.rule]
        positive = [pattern for pattern in normal.patterns if not pattern.absent]
        children = [
            self._matched(normal, pattern, self.facts[key])
            for pattern, key in zip(positive, conclusion.facts, strict=True)
        ]
        children += [
            self._lacking(normal, pattern) for pattern in normal.patterns if pattern.absent
        ]
        return Node(
            "rule",
            entry.because + more,
            entry.id,
            entry.source,
            self.title(entry.source),
            conclusion.facts,
            tuple(children),
        )

    def _lacking(self, rule: NormalRule, pattern: Pattern) -> Node:
        """Return what a condition on absence rests on: the answer there is, else that none is."""
        only = [fact for fact in self.conclusions.facts if fact.kind == pattern.kind]
        if len(only) == 1 and pattern.kind in ("specimen", "bench") and pattern.allowed:
            values = [self._value(rule, only[0], name) for name, _ in pattern.allowed]
            return Node("note", "; ".join(values))
        return Node("note", f"and nothing says otherwise about the {pattern.kind}")

    def title(self, source: str) -> str:
        """Return what a source is called; what is no document goes by its kind."""
        entry = self.knowledge.sources.get(source)
        if entry is None:
            return source
        return entry.kind.value.replace("-", " ") if entry.kind in UNWRITTEN else entry.title

    def _matched(self, rule: NormalRule, pattern: Pattern, fact: Fact) -> Node:
        if fact.kind == "reading":
            return self.reading(next(r for r in self.conclusions.readings if r.key == fact.key))
        if fact.kind == "state":
            state = fact.fields["condition"]
            made = self._of(Family.RECOGNISE, "state", condition=state)
            name = self.knowledge.conditions[state].name
            return self._behind("derived", name, fact, map(self.rule, made))
        if fact.kind == "closed":
            made = self._of(Family.GATE, "close", stage=fact.fields["stage"])
            text = f"the stage {fact.fields['stage']} is not passed yet"
            return self._behind("derived", text, fact, map(self.rule, made))
        names = [name for name, _ in pattern.allowed] or [name for name, _ in pattern.variables]
        derived = {name for kind, name in self.consultant.vocabulary.derived if kind == fact.kind}
        values = [self._value(rule, fact, name) for name in names if name != "id"]
        text = "; ".join(values) or f"{self._whose(fact)} is there"
        behind = [n for name in names if name in derived for n in self._derived(fact, name)]
        return self._behind("answer", text, fact, behind)

    def _behind(self, role: str, text: str, fact: Fact, children: Iterable[Node]) -> Node:
        return Node(role, text, facts=(fact.key,), children=tuple(children))  # type: ignore[arg-type]

    def _whose(self, fact: Fact) -> str:
        return {"specimen": "the specimen", "bench": "the bench"}.get(fact.kind, fact.key)

    def _value(self, rule: NormalRule, fact: Fact, name: str) -> str:
        """Return one field of a fact in words."""
        value = fact.fields[name]
        question = self.knowledge.questions.get(name)
        asked = f"{self._whose(fact)}: {question.ask if question else WORDS.get(name, name)}"
        if value == UNKNOWN:
            worst = ", so it counts as the worst it could be" if rule.family in RESTRICTIVE else ""
            return f"{asked} - not answered{worst}"
        if question is not None:
            words = next((a.text for a in question.answers if a.id == value), value)
            return f"{asked} - {words}"
        table = {
            "taxon": self.knowledge.taxa,
            "zone": self.knowledge.zones,
            "named": self.knowledge.deposits,
            "settled": self.knowledge.deposits,
            "fragility": self.knowledge.fragility,
            "control": self.knowledge.controls,
        }.get(name, {})
        entry = table.get(value)
        shown = getattr(entry, "name", value)
        if name in ("settled", "named") and value == NONE:
            shown = "nothing yet"
        return f"{asked} - {shown}"

    def _derived(self, fact: Fact, name: str) -> Iterator[Node]:
        """Yield what a derived field rests on."""
        if name == "settled":
            settled = self.conclusions.settled(fact.key)
            if settled is not None:
                yield self.reading(settled)
        if name == "fragility":
            taxon = self.facts["specimen"].fields["taxon"]
            known = self.knowledge.taxa.get(taxon)
            text = (
                f"{known.name} are {known.fragility}"
                if known
                else "the group is not known, so the most fragile group counts"
            )
            source = known.source if known else ""
            yield Node("derived", text, "", source, self.title(source) if source else "")
            for conclusion in self.conclusions.of(Family.RECOGNISE, "grade"):
                if conclusion.get("finding") in (None, fact.key):
                    yield self.rule(conclusion)

    def _of(self, family: Family, kind: str, **fields: str | None) -> list[Conclusion]:
        return [
            c
            for c in self.conclusions.of(family, kind)
            if all(c.get(name) == value for name, value in fields.items())
        ]

    # -- readings ------------------------------------------------------------------------------

    def reading(self, reading: Reading) -> Node:
        """Return how a finding came to be read as a deposit: all evidence for and against."""
        name = self.knowledge.deposits[reading.deposit].name
        text = f"{reading.finding}: {name}, {reading.standing}, certainty {reading.certainty:.2f}"
        if reading.reach > reading.certainty:
            text += f" (unanswered questions could raise it to {reading.reach:.2f})"
        children = [
            self.rule(c, f" ({'for' if weight_of(c) > 0 else 'against'} it, {weight_of(c):+.2f})")
            for c in sorted(reading.evidence, key=lambda c: (-abs(weight_of(c)), c.rule))
        ]
        fact = self.facts[reading.finding]
        if fact.fields["named"] == reading.deposit:
            weight = self.knowledge.judgement.named
            said = f"a person named it so ({weight.value:+.2f})"
            children.insert(
                0, Node("answer", said, "", weight.source, self.title(weight.source), (fact.key,))
            )
        if not children:
            children = [Node("note", "nothing speaks for it yet, but nothing excludes it")]
        return Node("reading", text, facts=(reading.key,), children=tuple(children))

    def contradictions(self) -> tuple[Contradiction, ...]:
        """Return every contradiction of the case; none is resolved silently."""
        found = []
        for conflict in self.conclusions.conflicts:
            good, bad = self.rule(conflict.for_it), self.rule(conflict.against_it)
            name = self.knowledge.deposits[conflict.deposit].name
            said, denied = (
                " and ".join(f'"{child.text}"' for child in rule.children) for rule in (good, bad)
            )
            sentence = (
                f"{conflict.finding}, {name}: {said} speaks for it, {denied} against it. "
                "Look at both again."
            )
            found.append(Contradiction(conflict.finding, conflict.deposit, good, bad, sentence))
        return tuple(found)

    # -- gates ---------------------------------------------------------------------------------

    def gates(self, stage: str) -> tuple[Node, ...]:
        """Return the rules that keep a stage from being passed, and those that refuse the work."""
        closing = self._of(Family.GATE, "close", stage=stage)
        return tuple(self.rule(c) for c in (*self.conclusions.of(Family.GATE, "refuse"), *closing))

    def stops(self) -> tuple[Node, ...]:
        """Return why there is no step now: holds, closed gates, and ladders with nothing left."""
        if self.skeleton.refused:
            return tuple(map(self.rule, self.conclusions.of(Family.GATE, "refuse")))
        nodes = [*self._holds(), *self.gates(self.skeleton.stage)]
        if self.skeleton.held:
            return tuple(nodes)
        for ladder in self.skeleton.ladders:
            key = ladder.target.key
            if not ladder.rungs and ladder.barred and key not in self.skeleton.closed:
                first = {bar.method: bar for bar in reversed(ladder.barred)}
                bars = [bar for method, bar in sorted(first.items()) if method in ladder.offered]
                children = tuple(self._ruled_out(ladder, bar) for bar in bars)
                if children:
                    text = f"{key}: nothing that is offered for it is permitted now"
                    nodes.append(Node("note", text, children=children))
        return tuple(nodes)

    def _holds(self) -> Iterator[Node]:
        for node in map(self._attempt, map(self.case.attempt, self.skeleton.held)):
            released = "nothing is offered until a person releases it with a written reason"
            yield replace(node, text=f"held by {node.text}; {released}")

    def _attempt(self, attempt: Attempt) -> Node:
        came_to = self.knowledge.outcome_words(attempt.method, attempt.outcome)
        text = f"attempt {attempt.id}: {attempt.step}, {came_to}"
        return Node("attempt", text, facts=(attempt.id,))

    def _ruled_out(self, ladder: Ladder, bar: Barred, what: str = "ruled out") -> Node:
        name = self.knowledge.methods[bar.method].name
        return Node("note", f"{what}: {name}", children=(self.exclusion(ladder, bar),))

    # -- exclusions ----------------------------------------------------------------------------

    def exclusion(self, ladder: Ladder, bar: Barred) -> Node:
        """Return why one rule, the bench, the air or an attempt excludes a method."""
        said = [
            c
            for c in (
                *self.conclusions.of(Family.FORBID, "forbid"),
                *self.conclusions.of(Family.ORDER, "pass-over"),
            )
            if c.rule == bar.rule and bar.method in c.get("method") and applies(c, ladder.target)
        ]
        if said:
            return self.rule(said[0])
        if bar.rule == AIR_RULE:
            return self._air(bar)
        if bar.rule in ATTEMPT_RULES:
            made = attempts_on(self.knowledge, self.case, ladder.target)
            return Node("attempt", bar.because, bar.rule, children=tuple(map(self._attempt, made)))
        note = Node("note", f"bench: {self.bench.name}")
        return Node("bench", bar.because, bar.rule, children=(note,))

    def _air(self, bar: Barred) -> Node:
        line = self.judge.choose(self.knowledge.methods[bar.method]).line
        children = [Node("note", f"bench: {self.bench.name}")]
        for limit in line.limits if line is not None else ():
            if limit.judged:
                reached = f"{limit.ratio:.3g} times it would be reached"
                text = f"{limit_words(limit.authority, limit)}: {reached}"
                title = self.title(limit.source)
                children.append(Node("air", text, source=limit.source, title=title))
        return Node("air", bar.because, bar.rule, children=tuple(children))

    # -- steps ---------------------------------------------------------------------------------

    def step(self, item: Item) -> Node:
        """Return why a step is in the plan, why in this place, and what it stands before."""
        ladder = self.skeleton.ladder(item.target)
        method = self.knowledge.methods[item.method]
        place = self.skeleton.items.index(item) + 1
        children = [*map(self.rule, ladder.offers(item.method)), *self._inserted(item)]
        children += self.gates(self.skeleton.stage)
        children += self._milder(ladder, item)
        children += self._ordered(item)
        said = cautions_of(self.knowledge, self.conclusions, item, (ladder.target,))
        children += map(self.rule, said)
        line = self.judge.choose(as_done(self.knowledge, item.method, item.before)).line
        if line is not None:
            children.append(Node("air", line.sentence))
        owned = filter(ladder.target.owns, self.case.effective_attempts())
        children += map(self._attempt, owned)
        where = ladder.target.finding or "the whole specimen"
        text = f"step {place}: {method.name} on {where}, rung {item.rung} of its ladder"
        title = self.title(method.source)
        return Node("step", text, "", method.source, title, children=tuple(children))

    def _inserted(self, item: Item) -> Iterator[Node]:
        if not item.inserted:
            return
        later = {
            other.method
            for other in self.skeleton.items
            if (other.target, other.rung) == (item.target, item.rung) and not other.inserted
        }
        for conclusion in self.conclusions.of(Family.ORDER, "insert"):
            if conclusion.get("first") == item.method and later & set(conclusion.get("method")):
                yield self.rule(conclusion)

    def _milder(self, ladder: Ladder, item: Item) -> Iterator[Node]:
        """Yield every offered milder method that does not stand before, with what excludes it."""
        key = harshness_key(self.knowledge)
        for bar in ladder.barred:
            if bar.method in ladder.offered and key(bar.method) < key(item.method):
                yield self._ruled_out(ladder, bar, "milder, but ruled out")

    def _ordered(self, item: Item) -> Iterator[Node]:
        for conclusion in self.conclusions.of(Family.ORDER):
            if conclusion.kind == "apart" and conclusion.get("zone") == item.zone:
                yield self.rule(conclusion)
            if conclusion.kind == "before" and conclusion.get("across"):
                later = item.method in conclusion.get("later")
                waits = [
                    other
                    for other in self.skeleton.items
                    if other.target != item.target and other.method in conclusion.get("earlier")
                ]
                if later and waits:
                    yield self.rule(conclusion)
