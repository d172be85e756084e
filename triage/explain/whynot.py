"""Why not, and why this rather than that: every reason against a method, hardest first.

People who ask "why A rather than B" want the reason that tells the two apart, not all reasons
(Miller, Explanation in artificial intelligence, Artificial Intelligence 267:1-38, 2019).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from triage.engine.vocabulary import agent_ids
from triage.errors import TriageError, did_you_mean
from triage.explain.node import Node
from triage.explain.trail import AIR_RULE, Trail
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.knowledge.rules import Family
from triage.plan.ladder import Barred, Ladder, harshness_key
from triage.plan.outcomes import step_id
from triage.plan.skeleton import now_rungs

State = Literal["next", "later", "excluded", "used-up", "not-offered", "waits"]
# Hardest first: what nothing lifts, then what the work so far forbids, then air and bench.
HARDNESS = ("agent-never", "attempt-harm", "test-spot-failed", AIR_RULE)
KINDS = ("mechanical", "chemical", "person", "lasting")
WORDS = {
    "worst": "the worst of its three grades",
    "sum": "the sum of its grades",
    "mechanical": "its mechanical grade",
    "lasting": "what of it cannot be undone",
    "chemical": "its chemical grade",
    "person": "its grade of hazard to the person",
}


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason against a method; an interlock is one that no person can release."""

    rule: str
    text: str
    interlock: bool
    ask: str
    why: Node


@dataclass(frozen=True, slots=True)
class WhyNot:
    """Where a method stands for one finding (None: the whole specimen).

    ``before`` are the milder methods that are done first; ``first`` says what would have to
    happen; it is empty where nothing would help.
    """

    method: str
    name: str
    finding: str | None
    state: State
    reasons: tuple[Reason, ...]
    before: tuple[str, ...]
    first: str

    @property
    def is_out(self) -> bool:
        """Whether it cannot be done now or later as things stand."""
        return self.state not in ("next", "later")


@dataclass(frozen=True, slots=True)
class Contrast:
    """Which of two methods goes first for a target, and the one reason."""

    first: str
    second: str
    finding: str | None
    decided_by: str
    sentence: str
    why: Node


def methods_named(knowledge: Knowledge, word: str) -> tuple[str, ...]:
    """Return the methods that a word names: one by its id, or all that use an agent."""
    if word in knowledge.methods:
        return (word,)
    if word in knowledge.agents:
        found = tuple(m for m in knowledge.methods if word in agent_ids(knowledge, m))
        if found:
            return found
        raise TriageError(f'no method uses "{word}"', mend="name another agent or a method")
    known = (*knowledge.methods, *knowledge.agents)
    raise TriageError(f'unknown method or agent "{word}"', mend=did_you_mean(word, known))


class Against(Trail):
    """Says also what stands against methods, and which of two goes first."""

    def why_not(self, word: str, finding: str | None = None) -> tuple[WhyNot, ...]:
        """Return where the named method or agent stands, for one finding or for every target."""
        methods, ladders = methods_named(self.knowledge, word), self._ladders(finding)
        if not ladders:
            raise TriageError("nothing has been found yet", mend="record a finding first")
        return tuple(self.standing(method, ladder) for ladder in ladders for method in methods)

    def contrasts(self, one: str, other: str, finding: str | None = None) -> tuple[Contrast, ...]:
        """Return why one method stands before another, on one finding or where both are offered."""
        first, second = (methods_named(self.knowledge, word)[0] for word in (one, other))
        if first == second:
            raise TriageError(f'"{one}" and "{other}" are the same', mend="name two methods")
        ladders = self._ladders(finding)
        if finding is None:
            # Where both are offered, else where one of them is.
            both = [ladder for ladder in ladders if {first, second} <= ladder.offered]
            ladders = both or [ladder for ladder in ladders if {first, second} & ladder.offered]
        return tuple(self.contrast(first, second, ladder) for ladder in ladders)

    def _ladders(self, finding: str | None) -> list[Ladder]:
        if finding is not None:
            self.case.finding(finding)
        ladders = self.skeleton.ladders
        return [ladder for ladder in ladders if finding in (None, ladder.target.finding)]

    def standing(self, method: str, ladder: Ladder) -> WhyNot:
        """Return where a method stands for the target of a ladder."""
        reasons = tuple(self._reasons(method, ladder))
        before: tuple[str, ...] = ()
        state: State = "excluded"
        if reasons and method in ladder.offered:
            first = " ".join(dict.fromkeys(self._mends(reasons)))
        elif method not in ladder.offered:
            state, first = state if reasons else "not-offered", self._offered_for(method)
        else:
            done = ladder.progress.done(method)
            state, first = "used-up", f"All {done} passes have been made."
            if done < self.knowledge.methods[method].passes:
                state, before, first = self._stands(method, ladder)
        if self.skeleton.held:
            held = self.skeleton.held[0]
            first = f"Attempt {held} has to be released first. {first}".strip()
        name = self.knowledge.methods[method].name
        return WhyNot(method, name, ladder.target.finding, state, reasons, before, first)

    def _reasons(self, method: str, ladder: Ladder) -> Iterator[Reason]:
        """Yield every reason, also for methods that nothing offers here."""
        bars = {bar for bar in (*ladder.barred, *ladder.bars.of((method,))) if bar.method == method}
        for bar in sorted(bars, key=lambda bar: (*_hardness(bar), bar.because)):
            ask = self.knowledge.rule(bar.rule).ask if bar.rule in self.normal else ""
            interlock = bar.interlock or bar.rule == "agent-never"
            why = self.exclusion(ladder, bar)
            yield Reason(bar.rule, bar.because, interlock, ask, why)
        for node in map(self.rule, self.conclusions.of(Family.GATE, "refuse")):
            yield Reason(node.rule, node.text, True, "", node)

    def _mends(self, reasons: tuple[Reason, ...]) -> Iterator[str]:
        for reason in reasons:
            if reason.ask:
                yield f"Answer {reason.ask} otherwise."
            elif not reason.interlock:
                yield "Change the bench or the choice that rules it out."

    def _offered_for(self, method: str) -> str:
        """Return for what a method is offered, in words."""
        deposits, conditions = self.knowledge.deposits, self.knowledge.conditions
        names = set()
        for rule in self.normal.values():
            for template in rule.templates:
                told = dict(template.constants)
                if template.kind == "offer" and method in told["method"]:
                    names |= {deposits[told["deposit"]].name} if told.get("deposit") else set()
                    held = told.get("condition")
                    names |= {conditions[held].name} if held else set()
        if not names:
            return "No rule offers it for anything."
        return f"Nothing here calls for it. It is offered for: {', '.join(sorted(names))}."

    def _stands(self, method: str, ladder: Ladder) -> tuple[State, tuple[str, ...], str]:
        """Return the state of a permitted method, what stands before it, and what must happen."""
        skeleton = self.skeleton
        rungs = now_rungs(self.knowledge, skeleton.stage, ladder, skeleton.closed)
        if rungs is None:
            return "waits", (), "Its finding is closed, or its stage is not the present one."
        if method not in rungs:
            gates = " ".join(node.text for node in self.gates(skeleton.stage))
            first = f"The stage {skeleton.stage} has to be passed first. {gates}".strip()
            return "waits", (), first
        before = rungs[: rungs.index(method)]
        mine = step_id(ladder.target, method)
        order = [item.step for item in skeleton.items]
        if order and order[0] == mine:
            return "next", (), "It is the next step."
        if before:
            names = ", ".join(self.knowledge.methods[m].name for m in before)
            text = f"These milder steps are tried first and must leave something behind: {names}."
            return "later", before, text
        ahead = order[: order.index(mine)] if mine in order else order
        others = ", ".join(ahead[:3])
        return "later", (), f"These steps stand before it in the order of work: {others}."

    # -- rather than ---------------------------------------------------------------------------

    def contrast(self, one: str, other: str, ladder: Ladder) -> Contrast:
        """Return why one method stands before another on the target of a ladder."""
        mine, yours = self.standing(one, ladder), self.standing(other, ladder)
        if mine.is_out and not yours.is_out:
            mine, yours = yours, mine
        if yours.is_out:
            return self._by_exclusion(mine, yours)
        return self._by_harshness(mine, yours)

    def _by_exclusion(self, first: WhyNot, second: WhyNot) -> Contrast:
        text, rule, node = second.first, str(second.state), Node("note", second.first)
        if second.reasons:
            reason = second.reasons[0]
            text, rule, node = reason.text, reason.rule, reason.why
        both = "Neither is open now. " if first.is_out else ""
        sentence = f"{both}{first.name} rather than {second.name}: {text}"
        return Contrast(first.method, second.method, first.finding, rule, sentence, node)

    def _by_harshness(self, mine: WhyNot, yours: WhyNot) -> Contrast:
        key, order = harshness_key(self.knowledge), self.knowledge.judgement.harshness_order
        first, second = sorted((mine, yours), key=lambda w: key(w.method))
        a, b = key(first.method), key(second.method)
        place = next(n for n, pair in enumerate(zip(a, b, strict=True)) if pair[0] != pair[1])
        title = self.title(order.source)
        why = Node("order", order.because, "harshness-order", order.source, title)
        word = "name"
        sentence = f"{first.name} and {second.name} are equally harsh; the name decides."
        if place < len(order.keys):
            word = order.keys[place]
            grades = f"{WORDS[word]} is {a[place]}, not {b[place]}"
            sentence = f"{first.name} before {second.name}: {grades}."
            reasons = tuple(
                self._grade(self.knowledge.methods[w.method], kind)
                for w in (first, second)
                for kind in ([word] if word in KINDS else KINDS)
                if getattr(self.knowledge.methods[w.method].harshness, kind)
            )
            why = replace(why, children=reasons)
        return Contrast(first.method, second.method, mine.finding, word, sentence, why)

    def _grade(self, method: Method, kind: str) -> Node:
        """Return one grade of a method with its own reason and source."""
        grade = getattr(method.harshness, kind)
        text = f"{method.name}: {kind} {grade.grade}, {grade.because}"
        return Node("order", text, source=grade.source, title=self.title(grade.source))


def _hardness(bar: Barred) -> tuple[int, int, str]:
    special = HARDNESS.index(bar.rule) if bar.rule in HARDNESS else len(HARDNESS)
    kind = 0 if bar.rule == "agent-never" else 1 if bar.interlock and special > 2 else 2
    if not bar.interlock and bar.rule != "agent-never":
        kind = 4 if bar.rule == "user-skip" else 3
    return kind, special, bar.rule
