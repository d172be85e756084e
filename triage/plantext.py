"""A plan as plain lines: for a terminal, a log or a screen reader. No box characters, no colour."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping

from triage.history.advice import record_lines
from triage.plan.model import AirLine, FindingLine, Plan, QuestionLine, Step
from triage.plan.names import finding_words, zone_words

# Every face looks here for words.
__all__ = ["finding_words", "zone_words"]

WIDTH = 92
STATES = {
    "open": "to clean",
    "cleared": "cleared",
    "accepted": "accepted as it is",
    "left": "left alone: it belongs there",
    "unsettled": "not identified yet",
    "waiting": "waits for an answer",
    "stopped": "stopped: nothing permitted is left",
}
STATUS = {"next": "NEXT", "then": "then", "if-needed": "only if the one before fails"}


def _wrapped(text: str, indent: str = "  ", first: str | None = None) -> Iterator[str]:
    # Ids with hyphens stay whole, so that they can be copied.
    yield from textwrap.wrap(
        text,
        WIDTH,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_on_hyphens=False,
    )


def _listed(label: str, lines: tuple[str, ...]) -> Iterator[str]:
    for line in lines:
        yield from _wrapped(f"{label}: {line}", "      ", "    ")


def duration(seconds: float) -> str:
    """Return a time span in words: 30 s, 2 min, 24 h."""
    if seconds < 120:
        return f"{seconds:g} s"
    if seconds < 2 * 3600:
        return f"{seconds / 60:g} min"
    return f"{seconds / 3600:g} h"


def step_place(step: Step) -> str:
    """Return where a step works and at what."""
    where = zone_words(step.zone_name, step.side)
    return f"{where}: {step.deposit_name}" if step.deposit_name else where


def timer_label(step: Step) -> str:
    """Return what the timer of a step is called in the case."""
    return f"{step.name}: {step_place(step)}"


def gloves_words(gloves: tuple[str, ...]) -> str:
    """Return gloves told as "agent: glove", first those that hold against every agent."""
    by_agent: dict[str, list[str]] = {}
    for told in gloves:
        agent, _, glove = told.rpartition(": ")
        by_agent.setdefault(agent, []).append(glove)
    kinds = list(by_agent.values())
    for_all = [glove for glove in kinds[0] if all(glove in held for held in kinds)]
    if for_all:
        return " or ".join(for_all)
    return "; ".join(
        f"{agent}: {' or '.join(held)}" if agent else " or ".join(held)
        for agent, held in by_agent.items()
    )


def _one_after_another(told: tuple[str, ...]) -> str:
    """Return sentences and parts of sentences in one line, no comma behind a full stop."""
    return "; ".join(part.rstrip(".") for part in told)


def preparation(step: Step) -> tuple[str, ...]:
    """Return what must be ready before a step opens, one line each to be ticked."""
    lines = []
    if step.protection.gloves:
        lines.append(f"Gloves on: {gloves_words(step.protection.gloves)}")
    if step.protection.eyes:
        lines.append(f"Eyes: {_one_after_another(step.protection.eyes)}")
    if step.protection.breathing:
        lines.append(f"Breathing: {_one_after_another(step.protection.breathing)}")
    if step.air is not None:
        lines.append(f"Air: {step.air.ventilation or step.air.sentence}")
        if step.air.can_ignite:
            lines.append("No flame, no spark, no hot lamp near")
    if step.keep_away:
        lines.append(f"Out of the way: {', '.join(step.keep_away)}")
    lines += [f"Made up: {line.sentence}" for line in step.make_up]
    lines.append("Stop points read")
    return tuple(lines)


def finding_text(finding: FindingLine) -> Iterator[str]:
    """Yield one finding: where, what it is taken to be, how sure, and what it could be."""
    side = f", {finding.side}" if finding.side else ""
    sure = f" (certainty {finding.certainty:.2f}, {finding.standing})" if finding.deposit else ""
    where = f"{finding.id} {finding.zone_name}{side}"
    yield from _wrapped(f"{where}: {finding.deposit_name}{sure} - {STATES[finding.state]}")
    if finding.alternatives:
        others = ", ".join(f"{a.name} {a.certainty:.2f}" for a in finding.alternatives)
        yield from _wrapped(f"could also be: {others}", "      ", "    ")


def air_text(air: AirLine) -> Iterator[str]:
    """Yield the air of a step: one sentence, the level, and every published limit."""
    yield from _wrapped(f"air: {air.sentence}", "      ", "    ")
    yield from _wrapped(
        f"at the face, unfavourable end: peak {air.peak_mg_per_m3:g} mg/m3, 15 min "
        f"{air.mean_15_min_mg_per_m3:g}, 8 h {air.mean_8_h_mg_per_m3:g}",
        "      ",
    )
    for limit in air.limits:
        if not limit.ratio:
            continue
        mark = "judged" if limit.judged else "shown"
        yield from _wrapped(
            f"{limit.authority} {limit.basis} {limit.value:g} {limit.unit} ({limit.edition}): "
            f"{limit.ratio:.2g} of it [{mark}]",
            "        ",
            "      ",
        )
    yield from _wrapped(f"ventilation: {air.ventilation}", "      ", "    ")
    if air.reentry_min:
        yield f"    air the room for {air.reentry_min:.0f} min before staying in it"


def step_head(step: Step) -> str:
    """Return the first line of a step."""
    where = step.zone_name or "whole specimen"
    side = f", {step.side}" if step.side else ""
    return f"{STATUS[step.status]}: {step.name} - {where}{side} [{step.id}]"


def step_text(step: Step, sure: str = "") -> Iterator[str]:
    """Yield one complete step as lines; ``sure`` says how firm it is."""
    yield from _wrapped(step_head(step), "    ", "  ")
    if sure:
        yield from _wrapped(sure, "      ", "    ")
    h = step.harshness
    yield (
        f"    rung {step.rung} of {step.rungs}; harshness: mechanical {h.mechanical}, "
        f"chemical {h.chemical}, to the person {h.person}"
    )
    yield from _listed("why", (step.because,))
    yield from record_lines(step)
    if step.hold:
        yield from _listed("HOLD POINT", (step.hold,))
    yield from _listed("make up", tuple(line.sentence for line in step.make_up))
    yield f"    tool: {step.tool}"
    yield from _listed("do", step.do)
    if step.dwell_s is not None:
        most = f", at most {duration(step.dwell_most_s)}" if step.dwell_most_s else ""
        count = f"pass {step.passes_done + 1} of {step.passes}"
        yield f"    dwell: {duration(step.dwell_s)}{most}; {count}"
    if step.amount_ml is not None:
        note = f" ({step.amount_because})" if step.amount_because else ""
        yield from _wrapped(f"amount: {step.amount_ml:g} mL a pass{note}", "      ", "    ")
    yield from _listed("done when", (step.success,))
    yield from _listed("STOP if", tuple(f"{s.see} - {s.then}" for s in step.stop_points))
    yield from _listed("rinse", step.rinse)
    if step.drying:
        yield from _listed("dry", (step.drying,))
    yield from _listed("gloves", step.protection.gloves)
    yield from _listed("gloves that fail", step.protection.gloves_fail)
    yield from _listed("eyes", step.protection.eyes)
    yield from _listed("breathing", step.protection.breathing)
    if step.air is not None:
        yield from air_text(step.air)
    yield from _listed("keep away", step.keep_away)
    yield from _listed("caution", tuple(f"[{c.kind}] {c.text}" for c in step.cautions))
    yield from _listed("waste", step.disposal)


def question_text(question: QuestionLine) -> Iterator[str]:
    """Yield one open question with its answers."""
    whose = question.finding or "specimen"
    answers = ", ".join(answer for answer, _ in question.answers)
    yield from _wrapped(f"{whose} {question.question}: {question.ask} [{answers}]", "    ", "  ")
    yield from _wrapped(f"how: {question.how}", "      ", "    ")


def _head(plan: Plan) -> Iterator[str]:
    yield f"case {plan.case}: {plan.title}".rstrip(": ")
    yield f"stage: {plan.stage}"
    yield f"bench: {plan.bench}; knowledge {plan.knowledge_digest}"
    for notice in (*plan.refused, *plan.notices):
        yield from _wrapped(
            f"{notice.kind.replace('-', ' ').upper()}: {notice.text} [{notice.rule}]", "  ", ""
        )
    for hold in plan.held:
        held = hold.sentence.replace("Held:", "HELD:", 1)
        yield from _wrapped(f"{held} (attempt {hold.attempt})", "  ", "")
    for conflict in plan.conflicts:
        yield from _wrapped(f"CONTRADICTION in {conflict.finding}: {conflict.sentence}", "  ", "")


def _seen(plan: Plan, shown: int | None) -> Iterator[str]:
    if plan.findings:
        yield from ("", "findings")
        for finding in plan.findings:
            yield from finding_text(finding)
    if plan.questions:
        yield from ("", "questions that would help")
        for question in plan.questions[:shown]:
            yield from question_text(question)


def _ruled_out(plan: Plan, *, whole: bool) -> Iterator[str]:
    """Yield what was offered and ruled out: with every reason, or each method with the first."""
    ruled = [e for e in plan.excluded if e.offered and (whole or e.finding)]
    if ruled:
        yield from ("", "ruled out")
    shown: set[tuple[str | None, str]] = set()
    for excluded in ruled:
        key = (excluded.finding, excluded.method)
        if key in shown and not whole:
            continue
        shown.add(key)
        count = sum((e.finding, e.method) == key for e in ruled) - 1
        more = "" if whole or not count else f" and {count} more"
        text = f"{excluded.finding or 'case'} {excluded.method_name}: {excluded.because}"
        yield from _wrapped(f"{text} [{excluded.rule}]{more}", "    ", "  ")


def plan_text(plan: Plan, *, whole: bool = False, sure: Mapping[str, str] | None = None) -> str:
    """Return the plan as text: the next step in full, the others by name unless ``whole``.

    ``sure`` says how firm a step is, by its id.
    """
    sure = sure or {}
    lines = [*_head(plan), *_seen(plan, None if whole else QUESTIONS_SHOWN)]
    lines += ["", "steps" if plan.steps else "no step to do now"]
    for place, step in enumerate(plan.steps):
        if whole or place == 0:
            lines += step_text(step, sure.get(step.id, ""))
        else:
            word = sure.get(step.id, "").partition(".")[0]
            lines += _wrapped(f"{step_head(step)}{f' - {word}' if word else ''}", "    ", "  ")
            lines += record_lines(step)
    lines += [*_ruled_out(plan, whole=whole), "", CLOSING]
    return "\n".join(lines) + "\n"


QUESTIONS_SHOWN = 4
CLOSING = (
    "The safety data sheet, local rules and licensed practice come before this plan. "
    "If in doubt, stop."
)
