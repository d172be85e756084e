"""Calculators: air, the day's air, working solutions, chambers, boxes, alcohol, bursts."""

from __future__ import annotations

import argparse
import sys
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from triage.commands.common import (
    Arguments,
    Subparsers,
    command,
    print_json,
    workshop_of,
)
from triage.errors import TriageError

if TYPE_CHECKING:
    from triage.plan.answers import Answer

BASES = ("v/v", "w/w", "w/v", "mol/L")


def number_word(word: str) -> float:
    """Return a number given on the command line; anything else is one line and exit code 2."""
    try:
        return float(word)
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{word}" is not a number') from None


def add_commands(subparsers: Subparsers) -> None:
    """Add the commands of this module."""
    _add_air(subparsers)
    _add_mix(subparsers)
    _add_boxes(subparsers)
    alcohol = command(
        subparsers,
        "alcohol",
        "strength of storage alcohol after body water and changes",
        "alcohol --stock 80 --fluid 10 --changes 2",
        run_alcohol,
        as_json=True,
    )
    _numbers(alcohol, ("--stock", "strength poured on [%% v/v]", True))
    _numbers(alcohol, ("--fluid", "fluid per gram of specimen [mL/g]", True))
    alcohol.add_argument("--changes", type=int, default=1, help="how often it is poured on")
    _numbers(alcohol, ("--water", "water in the specimen [mL/g]", False))
    _numbers(alcohol, ("--grams", "mass of the specimen [g]; adds the least fluid", False))

    bursts = command(
        subparsers,
        "bursts",
        "what is left of the ultrasonic bursts",
        "bursts 8 10 --next 5",
        run_bursts,
        as_json=True,
    )
    bursts.add_argument(
        "done", nargs="*", type=number_word, metavar="SECONDS", help="bursts given so far"
    )
    _numbers(bursts, ("--next", "burst wanted next [s]", False))

    drops = command(
        subparsers,
        "drops",
        "what a number of drops is in mL, or how many drops an amount takes",
        "drops 5 --agent ethanol",
        run_drops,
        as_json=True,
    )
    drops.add_argument("drops", nargs="?", type=number_word, metavar="DROPS", help="how many drops")
    drops.add_argument("--agent", help="id or name of the liquid; water by default")
    _numbers(
        drops,
        ("--ml", "amount wanted, instead of a number of drops [mL]", False),
        ("--filled", "volume that your counted drops filled [mL]", False),
    )
    drops.add_argument(
        "--counted", type=int, metavar="N", help="drops of your own that you counted"
    )


def _numbers(parser: argparse.ArgumentParser, *options: tuple[str, str, bool]) -> None:
    for name, text, required in options:
        parser.add_argument(name, type=number_word, metavar="N", help=text, required=required)


def _add_air(subparsers: Subparsers) -> None:
    air = command(
        subparsers,
        "air",
        "how high the air goes for an amount of an agent in a room",
        "air ethyl-acetate --ml 2 --minutes 10 --volume 30 --control window --curve",
        run_air,
        as_json=True,
    )
    air.add_argument("agent", help="id or name of the agent")
    _numbers(
        air,
        ("--ml", "amount of one pass [mL]", True),
        ("--minutes", "time in which it can evaporate [min]", False),
        ("--volume", "volume of the room [m3]", False),
        ("--air-changes", "fresh air per room volume [1/h]", False),
        ("--strength", "share of the agent in the liquid [%%]", False),
        ("--every", "minutes from pass to pass for the day's amount", False),
    )
    air.add_argument("--control", metavar="NAME", help="window, extraction, hood, outdoors, none")
    air.add_argument("--judge-by", metavar="AUTHORITY", help="judge by one authority only")
    air.add_argument("--passes", type=int, default=8, help="passes a day for the day's amount")
    air.add_argument("--ignition", action="store_true", help="a flame, spark or hot lamp is near")
    air.add_argument("--alone", action="store_true", help="leave earlier attempts out")
    air.add_argument("--curve", action="store_true", help="draw level against time with the limits")

    command(
        subparsers,
        "day-air",
        "the air of the last 24 hours as bars against the limits",
        "day-air",
        run_day_air,
        as_json=True,
    )


def _add_mix(subparsers: Subparsers) -> None:
    mix = command(
        subparsers,
        "mix",
        "how to make up a working solution from your stock, or a bath of a pH",
        "mix ethanol --to 70 --stock 96 --ml 100",
        run_mix,
        as_json=True,
    )
    mix.add_argument("agent", help="id or name of the agent")
    wanted = mix.add_mutually_exclusive_group(required=True)
    wanted.add_argument("--to", type=number_word, metavar="N", help="strength wanted")
    wanted.add_argument("--to-ph", type=number_word, metavar="N", help="pH wanted (acid bath)")
    total = mix.add_mutually_exclusive_group(required=True)
    total.add_argument("--ml", type=number_word, metavar="N", help="volume wanted [mL]")
    total.add_argument("--grams", type=number_word, metavar="N", help="mass wanted [g], w/w only")
    _numbers(mix, ("--stock", "strength of your stock; the bench's by default", False))
    _numbers(mix, ("--density", "density of your stock [g/mL], for w/w by volume", False))
    mix.add_argument("--basis", choices=BASES, help="what the strengths mean; the agent's own")


def _add_boxes(subparsers: Subparsers) -> None:
    chamber = command(
        subparsers,
        "chamber",
        "water, humidity, mould time and looks of a rehydration chamber",
        "chamber --litres 2 --temp 22 --salt potassium-sulfate",
        run_chamber,
        as_json=True,
    )
    _numbers(
        chamber,
        ("--litres", "volume of the chamber [L]", True),
        ("--temp", "temperature [C]", False),
        ("--rh", "humidity of the room when it is closed [%%]", False),
        ("--days", "planned stay [days]", False),
        ("--closed", "hours it has been closed: gives the next look", False),
    )
    chamber.add_argument("--salt", metavar="SALT", help="salt slurry; plain water by default")
    chamber.add_argument("--inhibitor", action="store_true", help="a mould inhibitor is in it")

    box = command(
        subparsers,
        "box",
        "drying gel, crystals and opening of a storage box",
        "box --litres 8 --rh 55 --to-rh 30 --fumigant naphthalene --grams 5",
        run_box,
        as_json=True,
    )
    _numbers(
        box,
        ("--litres", "volume of the box [L]", True),
        ("--temp", "temperature [C]", False),
        ("--rh", "humidity when it is closed [%%]", False),
        ("--to-rh", "humidity it is to end at [%%]", False),
        ("--free-water", "water in insects, card and cork [mg]", False),
        ("--grams", "crystals put in [g]", False),
        ("--days", "days the crystals are to last", False),
        ("--changes-per-day", "air the closed box loses [1/day]", False),
    )
    box.add_argument("--gel", metavar="GEL", help="drying gel")
    box.add_argument("--fumigant", metavar="AGENT", help="crystals in the box, instead of the gel")


def _given(**values: Any) -> dict[str, Any]:
    """Return the values that were given on the command line; the others keep their defaults."""
    return {name: value for name, value in values.items() if value is not None}


def _show(answer: Answer, arguments: Arguments) -> int:
    from triage.answertext import answer_lines

    if arguments.json:
        print_json(asdict(answer))
    else:
        print("\n".join(answer_lines(answer)))
    return 0


def run_air(arguments: Arguments) -> int:
    """Answer a question about the air."""
    from triage.answertext import air_lines
    from triage.exposure.day import DayLedger
    from triage.plan.aircalc import AirQuestion, answer_air

    workshop = workshop_of(arguments)
    asked = AirQuestion(
        arguments.agent,
        arguments.ml,
        minutes=arguments.minutes,
        volume_m3=arguments.volume,
        air_changes_per_h=arguments.air_changes,
        control=arguments.control,
        judge_by=arguments.judge_by,
        strength_percent=arguments.strength,
        passes=arguments.passes,
        ignition_source=arguments.ignition,
        **_given(every_min=arguments.every),
    )
    day = DayLedger() if arguments.alone else workshop.day()
    answer = answer_air(workshop.knowledge, workshop.bench, day, asked)
    if arguments.json:
        print_json(asdict(answer))
        return 0
    print("\n".join(air_lines(answer)))
    if arguments.curve:
        from triage.airplot import air_text
        from triage.commands.terminal import has_colour
        from triage.plan.airpicture import air_picture

        picture = air_picture(workshop.knowledge, workshop.bench, asked)
        print()
        print(air_text(picture, colour=has_colour(sys.stdout)))
        print("\n".join(picture.words()))
    return 0


def run_day_air(arguments: Arguments) -> int:
    """Print the air of the last 24 hours."""
    from triage.answertext import day_lines
    from triage.plan.daycalc import answer_day

    workshop = workshop_of(arguments)
    answer = answer_day(workshop.knowledge, workshop.bench, workshop.day())
    if arguments.json:
        print_json(asdict(answer))
    else:
        print("\n".join(day_lines(answer)))
    return 0


def run_mix(arguments: Arguments) -> int:
    """Say how to make a working solution up."""
    from triage.plan.calculators import answer_mix_mass, answer_mix_ph, answer_mix_volume

    workshop = workshop_of(arguments)
    where = (workshop.knowledge, workshop.bench, arguments.agent)
    if arguments.to_ph is not None:
        if arguments.ml is None:
            raise TriageError("a bath of a pH is made by volume", mend="give --ml")
        answer = answer_mix_ph(
            *where,
            arguments.to_ph,
            arguments.ml,
            stock=arguments.stock,
            density=arguments.density,
        )
    elif arguments.grams is not None:
        if arguments.basis not in (None, "w/w"):
            raise TriageError("by mass only w/w can be made up", mend="leave --basis out")
        answer = answer_mix_mass(*where, arguments.to, arguments.grams, stock=arguments.stock)
    else:
        answer = answer_mix_volume(
            *where,
            arguments.to,
            arguments.ml,
            stock=arguments.stock,
            basis=arguments.basis,
            density=arguments.density,
        )
    return _show(answer, arguments)


def run_chamber(arguments: Arguments) -> int:
    """Answer about a rehydration chamber."""
    from triage.plan.chambercalc import ChamberQuestion, answer_chamber

    workshop = workshop_of(arguments)
    temp = workshop.bench.room.temp_c if arguments.temp is None else arguments.temp
    asked = ChamberQuestion(
        arguments.litres,
        temp_c=temp,
        salt=arguments.salt,
        days=arguments.days,
        has_inhibitor=arguments.inhibitor,
        closed_h=arguments.closed,
        **_given(rh_start_percent=arguments.rh),
    )
    return _show(answer_chamber(workshop.knowledge, asked), arguments)


def run_box(arguments: Arguments) -> int:
    """Answer about a storage box: gel, or crystals if a fumigant is named."""
    from triage.plan.boxcalc import BoxQuestion, answer_fumigant, answer_gel

    workshop = workshop_of(arguments)
    temp = workshop.bench.room.temp_c if arguments.temp is None else arguments.temp
    asked = BoxQuestion(
        arguments.litres,
        temp_c=temp,
        gel=arguments.gel,
        fumigant=arguments.fumigant,
        grams=arguments.grams,
        days=arguments.days,
        **_given(
            rh_start_percent=arguments.rh,
            rh_end_percent=arguments.to_rh,
            free_water_mg=arguments.free_water,
            changes_per_day=arguments.changes_per_day,
        ),
    )
    if arguments.fumigant is None:
        return _show(answer_gel(workshop.knowledge, asked), arguments)
    day = workshop.day()
    return _show(answer_fumigant(workshop.knowledge, workshop.bench, day, asked), arguments)


def run_alcohol(arguments: Arguments) -> int:
    """Answer about storage alcohol."""
    from triage.plan.calculators import answer_alcohol

    workshop = workshop_of(arguments)
    answer = answer_alcohol(
        workshop.knowledge,
        arguments.stock,
        arguments.fluid,
        arguments.changes,
        water_ml_per_g=arguments.water,
        specimen_g=arguments.grams,
    )
    return _show(answer, arguments)


def run_bursts(arguments: Arguments) -> int:
    """Answer about ultrasonic bursts."""
    from triage.plan.calculators import answer_bursts

    workshop = workshop_of(arguments)
    return _show(answer_bursts(workshop.knowledge, arguments.done, arguments.next), arguments)


def run_drops(arguments: Arguments) -> int:
    """Answer about drops and millilitres."""
    from triage.plan.dropcalc import DropQuestion, answer_drops

    asked = DropQuestion(
        drops=arguments.drops,
        ml=arguments.ml,
        agent=arguments.agent,
        counted=arguments.counted,
        filled_ml=arguments.filled,
    )
    return _show(answer_drops(workshop_of(arguments).knowledge, asked), arguments)
