"""Explanations as plain lines: for a terminal, a log or a screen reader."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Iterator, Mapping
from itertools import zip_longest
from types import MappingProxyType

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
from triage.plan.names import finding_names, step_names

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
    yield from _wrapped(f"{found.name} [{found.method}] on {where}: {STATES[found.state]}", "")
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


def named(text: str, names: Mapping[str, str]) -> str:
    """Return a sentence with the ids of findings in it replaced by what they are called.

    An id counts only where a sentence names a finding: in front, in brackets, behind "on", "If"
    or "and". A word of the sentence that is spelt like an id stays.
    """
    if not names:
        return text
    ids = "|".join(re.escape(key) for key in sorted(names, key=len, reverse=True))
    return re.sub(
        rf"(^|(?: on|\bIf|\band) |[(\"])({ids})(?=[:,)]| is |\.(?: |$)|$)",
        lambda found: f"{found[1]}{names[found[2]]}",
        text,
    )


def firmness_text(found: Iterable[Firmness], plan: Plan) -> Iterator[str]:
    """Yield which steps are firm and which are tentative, those of one reason together."""
    steps, places = step_names(plan), finding_names(plan)
    by_reason: dict[tuple[bool, str], list[str]] = {}
    for each in found:
        told = named(each.because, places)
        by_reason.setdefault((each.firm, told), []).append(steps.get(each.step, each.step))
    for (is_firm, because), held in by_reason.items():
        more = f" and {len(held) - STEPS_NAMED} more" if len(held) > STEPS_NAMED else ""
        names = "; ".join(held[:STEPS_NAMED])
        word = "firm" if is_firm else "tentative"
        yield from _wrapped(f"{word}: {names}{more}. {because}", "")


def contradictions_text(found: Iterable[Contradiction]) -> Iterator[str]:
    """Yield each contradiction with its two facts."""
    for each in found:
        yield from _wrapped(f"CONTRADICTION: {each.sentence}", "")


def changes_by_outcome(
    found: Iterable[Counterfactual], knowledge: Knowledge, names: Mapping[str, str]
) -> dict[str, list[str]]:
    """Return what would change the next step, the changes with one outcome together.

    ``names`` is what findings and steps are called; one that is not in it is called by its id.
    """
    by_outcome: dict[str, list[str]] = {}
    for counterfactual in found:
        _, _, outcome = counterfactual.sentence.partition(": ")
        changes = " and ".join(_change(c, knowledge, names) for c in counterfactual.changes)
        head = f"{outcome[:1].upper()}{outcome[1:].rstrip('.')}, with:"
        by_outcome.setdefault(head, []).append(changes)
    return by_outcome


def changes_text(
    found: Iterable[Counterfactual],
    knowledge: Knowledge,
    names: Mapping[str, str] = MappingProxyType({}),
) -> Iterator[str]:
    """Yield what would change the next step as lines."""
    for outcome, lines in changes_by_outcome(found, knowledge, names).items():
        yield from _wrapped(outcome, "")
        for line in lines:
            yield from _wrapped(line, "  ")


def _change(change: Change, knowledge: Knowledge, names: Mapping[str, str]) -> str:
    """Return one change in words; an answer by its question."""
    if change.kind != "answer":
        entry = knowledge.equipment.get(change.what)
        now = "" if change.before == "not tried" else f" (now: {change.before})"
        what = entry.name if entry else names.get(change.what, change.what)
        return f"{what}: {change.after}{now}"
    question = knowledge.questions.get(change.what)
    after, before = (
        "not answered" if value == UNKNOWN else answer_words(knowledge, change.what, value)
        for value in (change.after, change.before)
    )
    whose = f"{names.get(change.finding, change.finding)}: " if change.finding else ""
    asked = question.ask if question else WHICH_GROUP
    now = "" if change.before == UNKNOWN else f" (now: {before})"
    return f"{whose}{asked} {after}{now}"


def _column(plan: Plan, names: Mapping[str, str]) -> list[str]:
    return [f"stage: {plan.stage}", *[names[step.id] for step in plan.steps[:SIDE_BY_SIDE]]]


def _cells(text: str) -> list[str]:
    """Return a text as lines that fit a column."""
    return textwrap.wrap(text, COLUMN - 2, subsequent_indent="  ") or [""]


def what_if_text(found: WhatIf) -> Iterator[str]:
    """Yield two plans side by side, then each difference with its reason."""
    names = step_names(found.now, found.then)
    yield f"{'as it is':<{COLUMN}}as it would be"
    for now, then in zip_longest(
        _column(found.now, names), _column(found.then, names), fillvalue=""
    ):
        for left, right in zip_longest(_cells(now), _cells(then), fillvalue=""):
            yield f"{left:<{COLUMN}}{right}".rstrip()
    yield ""
    if not found.differences:
        yield "no difference"
    for heads, because, rule in differences_by_reason(found):
        for head in heads:
            yield from _wrapped(head, "")
        yield from _wrapped(f"because: {because}{f' [{rule}]' if rule else ''}")


def differences_by_reason(found: WhatIf) -> Iterator[tuple[tuple[str, ...], str, str]]:
    """Yield the differences of each reason in words, the reason, and its rule (or nothing)."""
    places = finding_names(found.now, found.then)
    steps = {step.id: step.name for plan in (found.now, found.then) for step in plan.steps}
    others = (
        (other.deposit, other.name)
        for plan in (found.now, found.then)
        for line in plan.findings
        for other in line.alternatives
    )
    words = {**dict(others), **steps}
    for (because, rule), differences in _by_reason(found.differences).items():
        heads = tuple(named(head, places) for head in _heads(differences, places, words))
        yield heads, named(because, places), rule


def _by_reason(found: Iterable[Difference]) -> dict[tuple[str, str], list[Difference]]:
    """Return each reason with the differences that it explains, in the order they came."""
    reasons: dict[tuple[str, str], list[Difference]] = {}
    for difference in found:
        reasons.setdefault((difference.because, difference.rule), []).append(difference)
    return reasons


def _heads(
    differences: Iterable[Difference], places: Mapping[str, str], words: Mapping[str, str]
) -> Iterator[str]:
    """Yield differences of one reason in words, those of one finding and kind in one line."""
    lines: dict[tuple[str | None, str], list[str]] = {}
    named: set[tuple[str | None, str]] = set()
    for difference in differences:
        kind = difference.kind
        if kind in ("stage", "next-step", "reading", "step-changed"):
            changed = words.get(difference.what, difference.what)
            step = f"{changed}: " if kind == "step-changed" else ""
            text = f"{step}{difference.before} -> {difference.after}"
        else:
            text = difference.after or difference.before
            # A step that is gone has its method ruled out: said once.
            if text == difference.because or (difference.finding, text) in named:
                what = words.get(difference.what, difference.what.replace("-", " "))
                text = what if text == difference.because else ""
            named.add((difference.finding, text))
        if text:
            lines.setdefault((difference.finding, KINDS[kind]), []).append(text)
    for (finding, word), texts in lines.items():
        whose = f"{places.get(finding, finding)}, " if finding else ""
        yield f"{whose}{word}: {', '.join(dict.fromkeys(texts))}"
