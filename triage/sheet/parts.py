"""What stands on a bench sheet, free of any form: blocks of text, boxes to tick, lines to write."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from triage.plan.model import AirLine, FindingLine, Plan, Step
from triage.plantext import CLOSING, STATES, duration

Kind = Literal["text", "tick", "stop", "hold", "caution", "write"]

STATUS_WORDS = {"next": "NOW", "then": "THEN", "if-needed": "ONLY IF THE ONE BEFORE FAILS"}
OUTCOMES = ("cleared", "better", "no change", "worse", "damage", "not done")


@dataclass(frozen=True, slots=True)
class Block:
    """A labelled block of lines.

    ``kind``: plain text, boxes to tick, stop points, a hold point (with room to write what was
    observed), cautions, or lines to fill in by hand.
    """

    label: str
    kind: Kind
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SheetStep:
    """One step: number, status word, name, place, identity line, and its blocks."""

    number: int
    status: str
    name: str
    where: str
    id: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A whole bench sheet.

    Parameters
    ----------
    title    title of the specimen, or the id of the case
    facts    (name, text) pairs of the head
    warnings what is refused, held, contradicted or closed, loudest first
    findings rows (finding, where, taken for, certainty, state)
    steps    steps in full
    later    names of steps that are only needed if one before fails
    sources  ids of the sources behind the steps
    closing  the last sentence
    """

    title: str
    facts: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]
    findings: tuple[tuple[str, str, str, str, str], ...]
    steps: tuple[SheetStep, ...]
    later: tuple[str, ...]
    sources: tuple[str, ...]
    closing: str


FINDING_HEAD = ("finding", "where", "taken for", "certainty", "state")


def sheet_of(plan: Plan, *, whole: bool = False) -> Sheet:
    """Return the bench sheet of a plan.

    Parameters
    ----------
    whole every step in full; otherwise those that are only needed if one before fails are listed
          by name
    """
    full = [s for s in plan.steps if whole or s.status != "if-needed"]
    later = [s for s in plan.steps if s not in full]
    sources = dict.fromkeys(source for step in full for source in step.sources)
    return Sheet(
        title=plan.title or plan.case,
        facts=(
            ("case", plan.case),
            ("stage", plan.stage),
            ("bench", plan.bench),
            ("knowledge", plan.knowledge_digest),
        ),
        warnings=tuple(_warnings(plan)),
        findings=tuple(_finding_row(line) for line in plan.findings),
        steps=tuple(_sheet_step(number, step) for number, step in enumerate(full, start=1)),
        later=tuple(f"{step.name} - {_where(step)}" for step in later),
        sources=tuple(sources),
        closing=CLOSING,
    )


def _warnings(plan: Plan) -> Iterator[str]:
    for notice in plan.refused:
        yield f"REFUSED: {notice.text}"
    for hold in plan.held:
        yield f"HELD: {hold.sentence}"
    for conflict in plan.conflicts:
        yield f"CONTRADICTION in {conflict.finding}: {conflict.sentence}"
    for notice in plan.notices:
        yield f"{notice.kind.upper().replace('-', ' ')}: {notice.text}"


def _finding_row(line: FindingLine) -> tuple[str, str, str, str, str]:
    side = f", {line.side}" if line.side else ""
    sure = f"{line.certainty:.2f} {line.standing}" if line.deposit else "-"
    return (line.id, f"{line.zone_name}{side}", line.deposit_name, sure, STATES[line.state])


def _where(step: Step) -> str:
    place = step.zone_name or "whole specimen"
    side = f", {step.side}" if step.side else ""
    return f"{place}{side}: {step.deposit_name}" if step.deposit_name else f"{place}{side}"


def _sheet_step(number: int, step: Step) -> SheetStep:
    blocks = [
        *_before(step),
        *_doing(step),
        *_after(step),
        Block("Record", "write", _record_lines(step)),
    ]
    return SheetStep(
        number=number,
        status=STATUS_WORDS[step.status],
        name=step.name,
        where=_where(step),
        id=step.id,
        blocks=tuple(block for block in blocks if block.lines),
    )


def _before(step: Step) -> Iterator[Block]:
    yield Block("Why", "text", (step.because,))
    if step.hold:
        yield Block("HOLD POINT", "hold", (step.hold,))
    yield Block("Make ready", "tick", tuple(_ready(step)))
    if step.air is not None:
        yield Block("Air in this room", "text", tuple(_air(step.air)))
    yield Block("Caution", "caution", tuple(f"{c.kind.upper()}: {c.text}" for c in step.cautions))


def _ready(step: Step) -> Iterator[str]:
    yield f"Tool: {step.tool}"
    yield from (f"Made up: {line.sentence}" for line in step.make_up)
    yield from _joined("Gloves", step.protection.gloves)
    yield from _joined("NOT these gloves", step.protection.gloves_fail)
    yield from _joined("Eyes", step.protection.eyes)
    yield from _joined("Breathing", step.protection.breathing)
    if step.air is not None:
        yield f"Ventilation: {step.air.ventilation}"
        if step.air.can_ignite:
            yield "No flame, spark or hot lamp near: it can flash at this temperature"
    yield from _joined("Out of the way", step.keep_away)


def _joined(label: str, lines: Iterable[str]) -> Iterator[str]:
    held = tuple(lines)
    if held:
        yield f"{label}: {'; '.join(held)}"


def _air(air: AirLine) -> Iterator[str]:
    yield air.sentence
    yield (
        f"At the face, unfavourable end: peak {air.peak_mg_per_m3:g}, 15 min "
        f"{air.mean_15_min_mg_per_m3:g}, 8 h {air.mean_8_h_mg_per_m3:g} mg/m3."
    )
    judged = sorted((x for x in air.limits if x.judged), key=lambda x: -x.ratio)
    for limit in judged[:SHOWN_LIMITS]:
        yield (
            f"{limit.authority}, {limit.basis} {limit.value:g} {limit.unit} ({limit.edition}): "
            f"{limit.ratio:.2g} of it."
        )
    if air.reentry_min:
        yield f"Air the room for {air.reentry_min:.0f} min before staying in it."


SHOWN_LIMITS = 3


def _doing(step: Step) -> Iterator[Block]:
    # Stop points stand before the work: they have to be read first.
    yield Block("STOP if", "stop", tuple(f"{s.see} -> {s.then}" for s in step.stop_points))
    yield Block("Do", "tick", step.do)
    yield Block("Time and amount", "text", tuple(_measure(step)))
    yield Block("Done when", "text", (step.success,))


def _measure(step: Step) -> Iterator[str]:
    if step.dwell_s is not None:
        most = f", at most {duration(step.dwell_most_s)}" if step.dwell_most_s else ""
        yield f"Dwell {duration(step.dwell_s)}{most}."
    if step.burst_s is not None:
        yield f"Bursts of {step.burst_s:g} s."
    if step.temp_c is not None:
        yield f"At {step.temp_c[0]:g} C, at most {step.temp_c[1]:g} C."
    if step.amount_ml is not None:
        note = f" ({step.amount_because})" if step.amount_because else ""
        yield f"{step.amount_ml:g} mL a pass{note}."
    if step.passes > 1:
        yield f"{step.passes} passes at most; {step.passes_done} done."
    if step.look_after_h:
        yield f"Look after {', '.join(f'{h:g}' for h in step.look_after_h)} h."


def _after(step: Step) -> Iterator[Block]:
    drying = (f"Dry: {step.drying}",) if step.drying else ()
    yield Block("After", "tick", (*step.rinse, *drying))
    yield Block("Waste", "text", tuple(dict.fromkeys(step.disposal)))


def _record_lines(step: Step) -> tuple[str, ...]:
    amount = "" if step.amount_ml is None else "amount (mL)"
    passes = f"pass (of {step.passes})" if step.passes > 1 else ""
    fields = ("date, time", passes, amount, "minutes", "note")
    return tuple(field for field in fields if field)
