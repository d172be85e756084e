"""Explanations as plain lines: for a terminal, a log or a screen reader."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from triage.engine.vocabulary import UNKNOWN
from triage.explain.conflicts import Contradiction
from triage.explain.contrast import Contrast
from triage.explain.counterfactual import Change, Counterfactual
from triage.explain.nextquestion import NextQuestion, answer_words
from triage.explain.node import Node, node_text, wrapped
from triage.explain.sensitivity import Firmness
from triage.explain.whatif import Difference, WhatIf
from triage.explain.whynot import WhyNot
from triage.knowledge.book import Knowledge
from triage.plan.model import Plan

STATES = {
    "next": "it is the next step",
    "later": "later in the plan",
    "excluded": "ruled out",
    "used-up": "used up",
    "not-offered": "not offered",
    "waits": "has to wait",
}
KINDS = {
    "stage": "stage",
    "next-step": "next step",
    "reading": "taken to be",
    "step-added": "new step",
    "step-gone": "step gone",
    "step-changed": "amount of",
    "ruled-out": "ruled out now",
    "no-longer-ruled-out": "no longer ruled out",
    "notice": "notice",
    "question": "new question",
    "contradiction": "contradiction",
}
STEPS_NAMED = 4
WHICH_GROUP = "Which group is it?"
COLUMN = 44
SIDE_BY_SIDE = 12


def _wrapped(text: str, indent: str = "  ") -> list[str]:
    return wrapped(text, indent, indent + "  ")


def nodes_text(nodes: Iterable[Node]) -> Iterator[str]:
    """Yield trees of reasons."""
    said: set[Node] = set()
    for node in nodes:
        yield from node_text(node, 0, said)


def why_not_text(found: WhyNot) -> Iterator[str]:
    """Yield where a method stands and everything against it."""
    where = found.finding or "whole specimen"
    said: set[Node] = set()
    yield f"{found.name} [{found.method}] on {where}: {STATES[found.state]}"
    for reason in found.reasons:
        mark = "INTERLOCK, " if reason.interlock else ""
        yield from _wrapped(f"{mark}{reason.text} [{reason.rule}]")
        for child in reason.why.children:
            yield from node_text(child, 2, said)
    if found.first:
        yield from _wrapped(found.first)


def contrast_text(found: Contrast) -> Iterator[str]:
    """Yield why one method goes before another."""
    where = found.finding or "whole specimen"
    rule = f" [{found.decided_by}]" if found.why.rule == found.decided_by else ""
    yield from _wrapped(f"{where}: {found.sentence}{rule}", "")
    yield from node_text(found.why, 1)


def question_text(found: NextQuestion) -> Iterator[str]:
    """Yield a question worth asking: how to find out, why, and what it costs."""
    line = found.line
    yield from _wrapped(f"{line.finding or 'specimen'} {line.question}: {line.ask}", "")
    yield from _wrapped(f"how: {line.how}")
    for answer, text in line.answers:
        yield from _wrapped(answer if answer == text else f"{answer}: {text}", "    ")
    yield from _wrapped(f"why: {found.because}")
    alone = "" if found.together == 1 else f", as one of {found.together} together"
    yield from _wrapped(
        f"chance that it changes the next step{alone}: {_percent(found.chance)}; "
        f"risk: {line.risk}; about {line.seconds} s"
    )


def _percent(chance: float) -> str:
    percent = 100 * chance
    return f"{percent:.0f} %" if percent >= 1 else "under 1 %"


def questions_text(found: Iterable[NextQuestion]) -> Iterator[str]:
    """Yield questions worth asking, the best first."""
    for question in found:
        yield from question_text(question)
    yield "Cannot tell is an answer too; the plan then stays careful."


def firmness_text(found: Iterable[Firmness]) -> Iterator[str]:
    """Yield which steps are firm and which are tentative, those of one reason together."""
    by_reason: dict[tuple[bool, str], list[str]] = {}
    for each in found:
        by_reason.setdefault((each.firm, each.because), []).append(each.step)
    for (is_firm, because), steps in by_reason.items():
        more = f" and {len(steps) - STEPS_NAMED} more" if len(steps) > STEPS_NAMED else ""
        names = ", ".join(steps[:STEPS_NAMED])
        word = "firm" if is_firm else "tentative"
        yield from _wrapped(f"{word}: {names}{more}. {because}", "")


def contradictions_text(found: Iterable[Contradiction]) -> Iterator[str]:
    """Yield each contradiction with its two facts."""
    for each in found:
        yield from _wrapped(f"CONTRADICTION: {each.sentence}", "")


def changes_by_outcome(
    found: Iterable[Counterfactual], knowledge: Knowledge
) -> dict[str, list[str]]:
    """Return what would change the next step, the changes with one outcome together."""
    by_outcome: dict[str, list[str]] = {}
    for counterfactual in found:
        _, _, outcome = counterfactual.sentence.partition(": ")
        changes = " and ".join(_change(c, knowledge) for c in counterfactual.changes)
        head = f"{outcome[:1].upper()}{outcome[1:].rstrip('.')}, with:"
        by_outcome.setdefault(head, []).append(changes)
    return by_outcome


def changes_text(found: Iterable[Counterfactual], knowledge: Knowledge) -> Iterator[str]:
    """Yield what would change the next step as lines."""
    for outcome, lines in changes_by_outcome(found, knowledge).items():
        yield from _wrapped(outcome, "")
        for line in lines:
            yield from _wrapped(line, "  ")


def _change(change: Change, knowledge: Knowledge) -> str:
    """Return one change in words; an answer by its question."""
    if change.kind != "answer":
        entry = knowledge.equipment.get(change.what)
        now = "" if change.before == "not tried" else f" (now: {change.before})"
        return f"{entry.name if entry else change.what}: {change.after}{now}"
    question = knowledge.questions.get(change.what)
    after, before = (
        "not answered" if value == UNKNOWN else answer_words(knowledge, change.what, value)
        for value in (change.after, change.before)
    )
    whose = f"{change.finding}: " if change.finding else ""
    asked = question.ask if question else WHICH_GROUP
    now = "" if change.before == UNKNOWN else f" (now: {before})"
    return f"{whose}{asked} {after}{now}"


def _column(plan: Plan) -> list[str]:
    return [f"stage: {plan.stage}", *[step.id for step in plan.steps[:SIDE_BY_SIDE]]]


def what_if_text(found: WhatIf) -> Iterator[str]:
    """Yield two plans side by side, then each difference with its reason."""
    now, then = _column(found.now), _column(found.then)
    yield f"{'as it is':<{COLUMN}}as it would be"
    for place in range(max(len(now), len(then))):
        left = now[place] if place < len(now) else ""
        right = then[place] if place < len(then) else ""
        yield f"{left[: COLUMN - 2]:<{COLUMN}}{right}".rstrip()
    yield ""
    if not found.differences:
        yield "no difference"
    for (because, rule), differences in _by_reason(found.differences).items():
        for head in _heads(differences):
            yield from _wrapped(head, "")
        yield from _wrapped(f"because: {because}{f' [{rule}]' if rule else ''}")


def _by_reason(found: Iterable[Difference]) -> dict[tuple[str, str], list[Difference]]:
    """Return each reason with the differences that it explains, in the order they came."""
    reasons: dict[tuple[str, str], list[Difference]] = {}
    for difference in found:
        reasons.setdefault((difference.because, difference.rule), []).append(difference)
    return reasons


def _heads(differences: Iterable[Difference]) -> Iterator[str]:
    """Yield differences of one reason in words, those of one finding and kind in one line."""
    lines: dict[tuple[str | None, str], list[str]] = {}
    named: set[tuple[str | None, str]] = set()
    for difference in differences:
        kind = difference.kind
        if kind in ("stage", "next-step", "reading", "step-changed"):
            step = f"{difference.what}: " if kind == "step-changed" else ""
            text = f"{step}{difference.before} -> {difference.after}"
        else:
            text = difference.after or difference.before
            # A step that is gone has its method ruled out: said once.
            if text == difference.because or (difference.finding, text) in named:
                text = difference.what if text == difference.because else ""
            named.add((difference.finding, text))
        if text:
            lines.setdefault((difference.finding, KINDS[kind]), []).append(text)
    for (finding, word), texts in lines.items():
        whose = f"{finding}, " if finding else ""
        yield f"{whose}{word}: {', '.join(dict.fromkeys(texts))}"
