"""Answers of the calculators: the sentence first, then figures, assumptions, sources."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from triage.exposure.wording import number, plainly
from triage.knowledge.book import Knowledge
from triage.plan.aircalc import AirAnswer
from triage.plan.answers import Answer, Figure
from triage.plan.daycalc import DayAnswer
from triage.plan.model import AirLine
from triage.show.blocks import Block, Line, listing
from triage.show.step import limits_and_fire


def _figure(figure: Figure) -> str:
    value = "-" if figure.value is None else plainly(figure.value)
    shown = f"{figure.name}: {value} {figure.unit}".rstrip()
    note = f" ({figure.note})" if figure.note else ""
    source = f" [{figure.source}]" if figure.source else ""
    return f"{shown}{note}{source}"


def blocks_of(answer: Answer | AirAnswer) -> tuple[Block, ...]:
    """Return the answer of a calculator."""
    if isinstance(answer, AirAnswer):
        return air_blocks(answer)
    return (
        *(Line(told) for told in (*answer.first, answer.sentence)),
        *listing("figures", *(_figure(each) for each in answer.figures)),
        *listing("mind", *(each for each in answer.cautions if each not in answer.first)),
        *listing("assumed", *answer.assumptions),
        *listing("sources", *answer.sources),
    )


def air_blocks(answer: AirAnswer) -> tuple[Block, ...]:
    """Return an answer about the air."""
    strength = "" if answer.strength_percent == 100.0 else f" at {answer.strength_percent:g} %"
    levels = _levels(answer) if answer.air.peak_mg_per_m3 else ()
    return (
        *(Line(told) for told in (answer.sentence, *answer.notes)),
        Line(
            f"{answer.amount_ml:g} mL of {answer.agent_name}{strength}, giving off over "
            f"{answer.release_min:g} min; {answer.room}; earlier releases today: "
            f"{answer.earlier_releases}"
        ),
        *listing("levels [mg/m3]: favourable - as stated - unfavourable", *levels, kind="drawn"),
        *listing("limits", *_limits(answer)),
        *listing("backwards", *_backwards(answer)),
        *listing("assumed", *answer.assumptions),
        *listing("sources", *answer.sources),
    )


def against_the_same(knowledge: Knowledge, planned: AirLine, tried: AirLine) -> str:
    """Return the level as planned against the limit that binds now, empty where none does."""
    who, _, basis = tried.binding.rpartition(" ")
    name = knowledge.authorities[who].name if who else ""
    same = (each for each in planned.limits if (each.authority, each.basis) == (name, basis))
    return "".join(
        f"As planned: {number(each.level_mg_per_m3)} mg/m3 against the same limit." for each in same
    )


def _levels(answer: AirAnswer) -> Iterator[str]:
    for level in answer.levels:
        ppm = "" if level.high_ppm is None else f" = {number(level.high_ppm)} ppm"
        yield (
            f"{level.place:<5} {level.window:<7} {number(level.low_mg_per_m3):>8} - "
            f"{number(level.mid_mg_per_m3):>8} - {number(level.high_mg_per_m3):>8}{ppm}"
        )


def _limits(answer: AirAnswer) -> Iterator[str]:
    if not answer.air.limits:
        yield "none published"
    yield from limits_and_fire(answer.air)
    if answer.air.binding:
        yield f"reached: {number(answer.air.factor)} times what is allowed"
    if answer.air.flags:
        yield f"flags: {', '.join(answer.air.flags)}"


def _backwards(answer: AirAnswer) -> Iterator[str]:
    if answer.largest_pass_ml is not None:
        yield f"largest amount in one pass now: {plainly(answer.largest_pass_ml)} mL"
    if answer.largest_day_ml is not None:
        yield (
            f"largest amount in a day of {answer.passes} passes, one every {answer.every_min:g} "
            f"min: {plainly(answer.largest_day_ml)} mL"
        )
    if answer.least_air_changes_per_h is not None:
        yield f"least fresh air: {plainly(answer.least_air_changes_per_h)} air changes an hour"
    if answer.reentry_min is not None:
        yield f"stay out after it has evaporated: {number(answer.reentry_min)} min"
    if answer.control is not None:
        yield f"cheapest control that does: {answer.control.name}"


def day_blocks(answer: DayAnswer, bars: Sequence[str]) -> tuple[Block, ...]:
    """Return the day's ledger; ``bars`` are its shares as a terminal draws them."""
    if not answer.releases:
        return (Line(answer.sentence),)
    agents = (
        f"{each.name}: peak {number(each.peak_mg_per_m3)}, 15 min "
        f"{number(each.mean_15_min_mg_per_m3)}, 8 h {number(each.mean_8_h_mg_per_m3)}; "
        f"{number(each.total_mg)} mg in all"
        for each in answer.agents
    )
    releases = (
        f"{each.time}  {each.agent}  {number(each.amount_mg)} mg" for each in answer.releases
    )
    return (
        Line(answer.sentence),
        Line(f"room: {answer.room}"),
        *listing("share of what is allowed", *bars, kind="drawn"),
        *listing("agents at the face, unfavourable end [mg/m3]", *agents),
        *listing("releases", *releases),
        *listing("without a published limit", *answer.unlimited),
        *listing("assumed", *answer.assumptions),
        *listing("sources", *answer.sources),
    )
