"""Answers of the calculators as plain lines: sentence first, then figures, assumptions, sources."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from triage.airplot import day_bars
from triage.exposure.wording import number
from triage.plan.aircalc import AirAnswer
from triage.plan.answers import Answer, Figure
from triage.plan.daycalc import DayAnswer

WIDTH = 92


def _wrapped(
    text: str, indent: str = "  ", first: str | None = None, width: int = WIDTH
) -> Iterator[str]:
    yield from textwrap.wrap(
        text,
        width,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_on_hyphens=False,
    )


def _section(title: str, lines: Iterable[str], width: int = WIDTH) -> Iterator[str]:
    held = list(lines)
    if held:
        yield ""
        yield title
        for line in held:
            yield from _wrapped(line, "    ", "  ", width)


def _figure_line(figure: Figure) -> str:
    value = "-" if figure.value is None else f"{figure.value:g}"
    shown = f"{figure.name}: {value} {figure.unit}".rstrip()
    note = f" ({figure.note})" if figure.note else ""
    source = f" [{figure.source}]" if figure.source else ""
    return f"{shown}{note}{source}"


def answer_lines(answer: Answer) -> Iterator[str]:
    """Yield the lines of a calculator's answer."""
    yield from _wrapped(answer.sentence, "")
    yield from _section("figures", (_figure_line(each) for each in answer.figures))
    yield from _section("mind", answer.cautions)
    yield from _section("assumed", answer.assumptions)
    yield from _section("sources", answer.sources)


def air_lines(answer: AirAnswer, width: int = WIDTH) -> Iterator[str]:
    """Yield the lines of an answer about the air."""
    yield from _wrapped(answer.sentence, "", width=width)
    for note in answer.notes:
        yield from _wrapped(note, "", width=width)
    yield ""
    strength = "" if answer.strength_percent == 100.0 else f" at {answer.strength_percent:g} %"
    yield from _wrapped(
        f"{answer.amount_ml:g} mL of {answer.agent_name}{strength}, giving off over "
        f"{answer.release_min:g} min; {answer.room}; earlier releases today: "
        f"{answer.earlier_releases}",
        "  ",
        "",
        width,
    )
    if answer.air.peak_mg_per_m3:
        yield from _section(
            "levels [mg/m3]: favourable - as stated - unfavourable", _levels(answer)
        )
    yield from _section("limits", _limits(answer), width)
    yield from _section("backwards", _backwards(answer), width)
    yield from _section("assumed", answer.assumptions, width)
    yield from _section("sources", answer.sources, width)


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
    for limit in answer.air.limits:
        mark = "judged" if limit.judged else "shown"
        reached = f"{number(limit.ratio * 100)} % of it" if limit.ratio else "not compared"
        yield (
            f"{limit.authority} {limit.basis} {limit.value:g} {limit.unit} ({limit.edition}): "
            f"{reached} [{mark}; {limit.source}]"
        )
    if answer.air.binding:
        yield f"binding: {answer.air.binding}, {number(answer.air.factor)} times what is allowed"
    if answer.air.lel_fraction is not None:
        yield f"fire: {number(answer.air.lel_fraction * 100)} % of the lower flammable limit"
    if answer.air.flags:
        yield f"flags: {', '.join(answer.air.flags)}"


def _backwards(answer: AirAnswer) -> Iterator[str]:
    if answer.largest_pass_ml is not None:
        yield f"largest amount in one pass now: {answer.largest_pass_ml:g} mL"
    if answer.largest_day_ml is not None:
        yield (
            f"largest amount in a day of {answer.passes} passes, one every {answer.every_min:g} "
            f"min: {answer.largest_day_ml:g} mL"
        )
    if answer.least_air_changes_per_h is not None:
        yield f"least fresh air: {answer.least_air_changes_per_h:g} air changes an hour"
    if answer.reentry_min is not None:
        yield f"stay out after it has evaporated: {number(answer.reentry_min)} min"
    if answer.control is not None:
        yield f"cheapest control that does: {answer.control.name}"


def day_lines(answer: DayAnswer, width: int = WIDTH) -> Iterator[str]:
    """Yield the lines of the day's ledger."""
    yield from _wrapped(answer.sentence, "", width=width)
    if not answer.releases:
        return
    yield ""
    yield f"room: {answer.room}"
    yield from _section_raw("share of what is allowed", day_bars(answer))
    yield from _section(
        "agents at the face, unfavourable end [mg/m3]",
        (
            f"{each.name}: peak {number(each.peak_mg_per_m3)}, 15 min "
            f"{number(each.mean_15_min_mg_per_m3)}, 8 h {number(each.mean_8_h_mg_per_m3)}; "
            f"{number(each.total_mg)} mg in all"
            for each in answer.agents
        ),
        width,
    )
    yield from _section(
        "releases",
        (f"{each.time}  {each.agent}  {number(each.amount_mg)} mg" for each in answer.releases),
        width,
    )
    yield from _section("without a published limit", answer.unlimited, width)
    yield from _section("assumed", answer.assumptions, width)
    yield from _section("sources", answer.sources, width)


def _section_raw(title: str, lines: Iterable[str]) -> Iterator[str]:
    """Yield lines that must not be wrapped."""
    yield ""
    yield title
    for line in lines:
        yield f"  {line}"
