"""Calculators: air, the day's air, working solutions, chambers, boxes, alcohol, bursts, drops."""

from __future__ import annotations

import os
import sys
from typing import Any, TextIO

from triage.commands.common import Arguments, Option, command, either, given, number_word, option
from triage.plan.inputs import CALCULATORS, Calculator, Input, inputs_of

CURVE = option("--curve", "draw level against time with the limits", action="store_true")


def _option(each: Input) -> Option:
    unit = f" [{each.unit}]" if each.unit else ""
    named = ", by id or name" if each.entry == "agent" else ""
    metavar = "N" if each.option else each.name.upper()
    how: dict[str, Any] = {"metavar": metavar, "type": number_word}
    if each.kind == "count":
        how["type"] = int
    if each.kind == "yes":
        how = {"action": "store_true"}
    elif each.kind == "entry":
        how = {"metavar": each.entry.upper()} if each.option else {}
    elif each.kind == "choice":
        how = {"choices": each.choices}
    elif each.kind == "numbers":
        how |= {"nargs": "*"}
    elif not each.option and not each.is_needed:
        how |= {"nargs": "?"}
    if each.option:
        is_asked = each.is_needed and not each.one_of
        how |= {"dest": each.name, **({"required": True} if is_asked else {})}
    return option(each.option or each.name, f"{each.words}{named}{unit}".replace("%", "%%"), **how)


def _options(calculator: Calculator) -> list[Option]:
    """Return the options of a calculator, those of which one is given together."""
    groups: dict[str, list[Option]] = {}
    for each in inputs_of(calculator.question):
        groups.setdefault(each.one_of or each.name, []).append(_option(each))
    return [either(*held) if len(held) > 1 else held[0] for held in groups.values()]


def _add(name: str, calculator: Calculator) -> None:
    def run(arguments: Arguments) -> None:
        from triage.plan.answers import Means
        from triage.show.answer import blocks_of

        workshop = arguments.workshop()
        asked: Any = given(arguments, calculator.question)
        means = Means(workshop.knowledge, workshop.bench)
        if calculator.by_day:
            means = Means(workshop.knowledge, workshop.bench, workshop.day())
        answer = calculator.answer(means, asked)
        arguments.show(answer, lambda: blocks_of(answer))
        if getattr(arguments, "curve", False) and not arguments.json:
            from triage.airplot import air_text
            from triage.plan.aircalc import air_picture

            picture = air_picture(means, asked)
            print()
            print(air_text(picture, colour=has_colour(sys.stdout)))
            print("\n".join(picture.words()))

    run.__name__, run.__doc__ = f"run_{name}", calculator.question.__doc__
    curve = [CURVE] if name == "air" else []
    command(calculator.example, *_options(calculator), *curve, as_json=True)(run)


def has_colour(stream: TextIO) -> bool:
    """Return whether colour may be used: a terminal, not a dumb one, NO_COLOR unset or empty."""
    if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return False
    return stream.isatty()


for _name, _calculator in CALCULATORS.items():
    _add(_name, _calculator)


@command("day-air", as_json=True)
def run_day_air(arguments: Arguments) -> None:
    """Show the air of the last 24 hours as bars against the limits."""
    from triage.airplot import day_bars
    from triage.plan.answers import Means
    from triage.plan.daycalc import answer
    from triage.show.answer import day_blocks

    workshop = arguments.workshop()
    found = answer(Means(workshop.knowledge, workshop.bench, workshop.day()))
    arguments.show(found, lambda: day_blocks(found, day_bars(found)))
