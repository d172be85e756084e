"""Answers to why, why not, what if and what next: each a few lines, called by names."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from triage.engine.vocabulary import UNKNOWN
from triage.explain.counterfactual import Counterfactual
from triage.explain.nextquestion import NextQuestion, answer_words
from triage.explain.node import Node
from triage.explain.sureplan import Firmness
from triage.explain.sweep import Change
from triage.explain.trail import Contradiction
from triage.explain.whatif import Difference, WhatIf
from triage.explain.whynot import Contrast, WhyNot
from triage.knowledge.book import Knowledge
from triage.plan.model import Plan
from triage.plan.names import finding_names, step_names
from triage.show.blocks import Line
from triage.show.words import named, stage_word, sure_words

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
WHOLE = "whole specimen"
Lines = tuple[Line, ...]


def _head(text: str, sign: str = "") -> Line:
    return Line(text, sign, is_bold=True)


def _behind(*parts: str) -> str:
    said = "; ".join(part for part in parts if part)
    return f" [{said}]" if said else ""


def _nodes(nodes: Iterable[Node], depth: int = 0, said: set[Node] | None = None) -> Iterator[Line]:
    """Yield trees of reasons; what was said before is named again, not laid out a second time."""
    said = set() if said is None else said
    for node in nodes:
        is_said = bool(node.children) and node in said
        text = f"{node.text}{_behind(node.rule, node.title or node.source)}"
        yield Line(f"{text}, as above" if is_said else text, "-", depth)
        if not is_said:
            said.add(node)
            yield from _nodes(node.children, depth + 1, said)


def _called(lines: Iterable[Line], plan: Plan, otherwise: str) -> Lines:
    """Return lines with each finding called by its place; what is said where there are none."""
    places = finding_names(plan)
    found = tuple(replace(line, text=named(line.text, places)) for line in lines)
    return found or (Line(otherwise),)


def why_lines(nodes: Iterable[Node], plan: Plan) -> Lines:
    """Return trees of reasons."""
    return _called(_nodes(nodes), plan, "No rule speaks about it.")


def why_not_lines(found: Iterable[WhyNot], plan: Plan) -> Lines:
    """Return where a method stands on each finding and everything against it."""
    places = finding_names(plan)

    def lines() -> Iterator[Line]:
        for each in found:
            where = places.get(each.finding or "", WHOLE)
            said: set[Node] = set()
            yield _head(f"{each.name}, {where}: {STATES[each.state]}")
            for reason in each.reasons:
                mark = "NEVER, nobody can release it: " if reason.interlock else ""
                yield Line(f"{mark}{reason.text}{_behind(reason.rule)}", "x")
                yield from _nodes(reason.why.children, 1, said)
            if each.first:
                yield Line(each.first, ">")

    return _called(lines(), plan, "Nothing stands against it, and nothing calls for it.")


def contrast_lines(found: Iterable[Contrast], plan: Plan) -> Lines:
    """Return why one method goes before another."""
    places = finding_names(plan)

    def lines() -> Iterator[Line]:
        for each in found:
            yield _head(f"{places.get(each.finding or '', WHOLE)}: {each.sentence}")
            yield from _nodes((each.why,))

    return _called(lines(), plan, "The two stand on no common ladder.")


def question_lines(found: Iterable[NextQuestion], plan: Plan, *, for_commands: bool) -> Lines:
    """Return what is worth asking, the best first.

    ``for_commands``: with the ids by which a command records an answer.
    """
    places = finding_names(plan)

    def lines() -> Iterator[Line]:
        for number, each in enumerate(found, 1):
            line = each.line
            yield _head(f"{line.ask} ({places.get(line.finding or '', WHOLE)})", f"{number}")
            if for_commands:
                yield Line(f"{line.finding or 'specimen'} {line.question}, answered by", depth=1)
                for answer, text in line.answers:
                    yield Line(answer if answer == text else f"{answer}: {text}", depth=2)
            yield Line(f"why: {named(each.because, places)}", "-", 1)
            yield Line(f"how: {line.how}", "-", 1)
            alone = "" if each.together == 1 else f", as one of {each.together} together"
            chance = f"{100 * each.chance:.0f} %" if each.chance >= 0.01 else "under 1 %"
            yield Line(
                f"chance that it changes the next step{alone}: {chance}; "
                f"risk: {line.risk}; about {line.seconds} s",
                "-",
                1,
            )

    told = tuple(lines())
    if not told:
        return (Line("Nothing to ask: no answer could change what to do next."),)
    return (*told, Line("Cannot tell is an answer too; the plan then stays careful."))


def firmness_lines(found: Iterable[Firmness], plan: Plan) -> Lines:
    """Return which steps are settled and which an answer could move, by reason."""
    steps = step_names(plan)
    by_reason: dict[str, list[str]] = {}
    for each in found:
        by_reason.setdefault(sure_words(each, plan), []).append(steps.get(each.step, each.step))

    def lines() -> Iterator[Line]:
        for because, held in by_reason.items():
            more = f" and {len(held) - STEPS_NAMED} more" if len(held) > STEPS_NAMED else ""
            yield _head(because, "~")
            yield Line(f"{'; '.join(held[:STEPS_NAMED])}{more}", depth=1)

    return tuple(lines()) or (Line("There is no step."),)


def contradiction_lines(found: Iterable[Contradiction], plan: Plan) -> Lines:
    """Return the observations that do not agree."""

    def lines() -> Iterator[Line]:
        for each in found:
            yield _head(each.sentence, "!")
            yield Line("for it")
            yield from _nodes((each.for_it,), 1)
            yield Line("against it")
            yield from _nodes((each.against_it,), 1)

    return _called(lines(), plan, "Everything seen agrees.")


def change_lines(found: Iterable[Counterfactual], knowledge: Knowledge, plan: Plan) -> Lines:
    """Return what would change the next step, the changes with one outcome together."""
    names = {**finding_names(plan), **step_names(plan)}
    by_outcome: dict[str, list[str]] = {}
    for counterfactual in found:
        _, _, outcome = counterfactual.sentence.partition(": ")
        changes = " and ".join(_change(c, knowledge, names) for c in counterfactual.changes)
        head = f"{outcome[:1].upper()}{outcome[1:].rstrip('.')}, with:"
        by_outcome.setdefault(head, []).append(changes)
    lines = (
        line
        for outcome, changes_ in by_outcome.items()
        for line in (_head(outcome), *(Line(change, "-", 1) for change in changes_))
    )
    return tuple(lines) or (
        Line("No change of one or two answers, of the bench or of one attempt changes it."),
    )


def _change(change: Change, knowledge: Knowledge, names: Mapping[str, str]) -> str:
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


def what_if_lines(found: WhatIf) -> Lines:
    """Return the plan as it is beside the plan as it would be, and every difference."""
    names = step_names(found.now, found.then)

    def next_of(plan: Plan) -> str:
        step = plan.next_step()
        return f"{stage_word(plan.stage)}: {names[step.id] if step else 'no step'}"

    def lines() -> Iterator[Line]:
        yield _head(f"as it is: {next_of(found.now)}")
        yield _head(f"as it would be: {next_of(found.then)}")
        if not found.differences:
            yield Line("no difference", "=")
        for heads, because, rule in differences_by_reason(found):
            yield from (_head(head, "~") for head in heads)
            yield Line(f"because: {because}{_behind(rule)}", depth=1)
        yield Line("Nothing of this is recorded.")

    return tuple(lines())


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
