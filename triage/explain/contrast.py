"""Why this rather than that: the one reason that decides between two methods.

People ask "why A rather than B", and want the reason that tells the two apart, not all reasons
(Miller, Explanation in artificial intelligence, Artificial Intelligence 267:1-38, 2019).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from triage.explain.node import Node
from triage.explain.trail import Trail
from triage.explain.whynot import Against, WhyNot
from triage.knowledge.methods import Method
from triage.plan.ladder import Ladder, harshness_key

KINDS = ("mechanical", "chemical", "person")
WORDS = {
    "worst": "the worst of its three grades",
    "sum": "the sum of its grades",
    "mechanical": "its mechanical grade",
    "chemical": "its chemical grade",
    "person": "its grade of hazard to the person",
}


@dataclass(frozen=True, slots=True)
class Contrast:
    """Which of two methods goes first for a target, and the one reason."""

    first: str
    second: str
    finding: str | None
    decided_by: str
    sentence: str
    why: Node


class Comparing:
    """Compares methods within one explained skeleton."""

    def __init__(self, trail: Trail) -> None:
        self.trail = trail
        self.knowledge = trail.knowledge
        self.against = Against(trail)

    def contrast(self, one: str, other: str, ladder: Ladder) -> Contrast:
        """Return why one method stands before another on the target of a ladder."""
        mine, yours = self.against.why_not(one, ladder), self.against.why_not(other, ladder)
        if self._is_out(mine) and not self._is_out(yours):
            mine, yours = yours, mine
        if self._is_out(yours):
            return self._by_exclusion(mine, yours)
        return self._by_harshness(mine, yours, ladder)

    def _is_out(self, where: WhyNot) -> bool:
        return where.state in ("excluded", "not-offered", "used-up", "waits")

    def _by_exclusion(self, first: WhyNot, second: WhyNot) -> Contrast:
        if second.reasons:
            reason = second.reasons[0]
            text, rule, node = reason.text, reason.rule, reason.why
        else:
            text, rule, node = second.first, second.state, Node("note", second.first)
        both = "Neither is open now. " if self._is_out(first) else ""
        sentence = f"{both}{first.name} rather than {second.name}: {text}"
        return Contrast(first.method, second.method, first.finding, rule, sentence, node)

    def _by_harshness(self, mine: WhyNot, yours: WhyNot, ladder: Ladder) -> Contrast:
        key = harshness_key(self.knowledge)
        first, second = sorted((mine, yours), key=lambda w: key(w.method))
        order = self.knowledge.judgement.harshness_order
        a, b = key(first.method), key(second.method)
        place = next(n for n, pair in enumerate(zip(a, b, strict=True)) if pair[0] != pair[1])
        if place >= len(order.keys):
            sentence = f"{first.name} and {second.name} are equally harsh; the name decides."
            return Contrast(
                first.method,
                second.method,
                ladder.target.finding,
                "name",
                sentence,
                self._order(),
            )
        word = order.keys[place]
        sentence = (
            f"{first.name} before {second.name}: {WORDS[word]} is {a[place]}, not {b[place]}."
        )
        reasons = tuple(
            self._grade(self.knowledge.methods[w.method], kind)
            for w in (first, second)
            for kind in ([word] if word in KINDS else KINDS)
        )
        node = replace(self._order(), children=reasons)
        return Contrast(first.method, second.method, ladder.target.finding, word, sentence, node)

    def _grade(self, method: Method, kind: str) -> Node:
        """Return one grade of a method with its own reason and source."""
        grade = getattr(method.harshness, kind)
        text = f"{method.name}: {kind} {grade.grade}, {grade.because}"
        return Node("order", text, source=grade.source, title=self.trail.title(grade.source))

    def _order(self) -> Node:
        """Return the judgement by which methods are sorted."""
        order = self.knowledge.judgement.harshness_order
        title = self.trail.title(order.source)
        return Node("order", order.because, "harshness-order", order.source, title)
