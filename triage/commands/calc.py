"""Calculators: air, the day's air, working solutions, chambers, boxes, alcohol, bursts."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from triage.commands.common import (
    Arguments,
    command,
    either,
    given,
    number,
    number_word,
    option,
    show,
    workshop_of,
)
from triage.errors import TriageError

if TYPE_CHECKING:
    from triage.plan.answers import Answer

BASES = ("v/v", "w/w", "w/v", "mol/L")


def _show(arguments: Arguments, answer: Answer) -> None:
    from triage.show.answer import answer_blocks

    show(arguments, answer, lambda: answer_blocks(answer))


@command(
    "air ethyl-acetate --ml 2 --minutes 10 --volume 30 --control window --curve",
    option("agent", "id or name of the agent"),
    number("--ml", "amount of one pass [mL]", required=True, dest="amount_ml"),
    number("--minutes", "time in which it can evaporate [min]"),
    number("--volume", "volume of the room [m3]", dest="volume_m3"),
    number("--air-changes", "fresh air per room volume [1/h]", dest="air_changes_per_h"),
    number("--strength", "share of the agent in the liquid [%%]", dest="strength_percent"),
    number("--every", "minutes from pass to pass for the day's amount", dest="every_min"),
    option("--control", "window, extraction, hood, outdoors, none", metavar="NAME"),
    option("--judge-by", "judge by one authority only", metavar="AUTHORITY"),
    option("--passes", "passes a day for the day's amount", type=int, default=8),
    option(
        "--ignition",
        "a flame, spark or hot lamp is near",
        action="store_true",
        dest="ignition_source",
    ),
    option("--alone", "leave earlier attempts out", action="store_true"),
    option("--curve", "draw level against time with the limits", action="store_true"),
    as_json=True,
)
def run_air(arguments: Arguments) -> None:
    """How high the air goes for an amount of an agent in a room."""
    from triage.exposure.day import DayLedger
    from triage.plan.aircalc import AirQuestion, answer_air
    from triage.show.answer import air_blocks

    workshop = workshop_of(arguments)
    asked = given(arguments, AirQuestion)
    day = DayLedger() if arguments.alone else workshop.day()
    answer = answer_air(workshop.knowledge, workshop.bench, day, asked)
    show(arguments, answer, lambda: air_blocks(answer))
    if arguments.curve and not arguments.json:
        from triage.airplot import air_text
        from triage.commands.terminal import has_colour
        from triage.plan.airpicture import air_picture

        picture = air_picture(workshop.knowledge, workshop.bench, asked)
        print()
        print(air_text(picture, colour=has_colour(sys.stdout)))
        print("\n".join(picture.words()))


@command("day-air", as_json=True)
def run_day_air(arguments: Arguments) -> None:
    """Show the air of the last 24 hours as bars against the limits."""
    from triage.airplot import day_bars
    from triage.plan.daycalc import answer_day
    from triage.show.answer import day_blocks

    workshop = workshop_of(arguments)
    answer = answer_day(workshop.knowledge, workshop.bench, workshop.day())
    show(arguments, answer, lambda: day_blocks(answer, day_bars(answer)))


@command(
    "mix ethanol --to 70 --stock 96 --ml 100",
    option("agent", "id or name of the agent"),
    either(number("--to", "strength wanted"), number("--to-ph", "pH wanted (acid bath)")),
    either(number("--ml", "volume wanted [mL]"), number("--grams", "mass wanted [g], w/w only")),
    number("--stock", "strength of your stock; the bench's by default"),
    number("--density", "density of your stock [g/mL], for w/w by volume"),
    option("--basis", "what the strengths mean; the agent's own", choices=BASES),
    as_json=True,
)
def run_mix(arguments: Arguments) -> None:
    """How to make up a working solution from your stock, or a bath of a pH."""
    from triage.plan.calculators import answer_mix_mass, answer_mix_ph, answer_mix_volume

    workshop = workshop_of(arguments)
    where = (workshop.knowledge, workshop.bench, arguments.agent)
    stock, density, ml = arguments.stock, arguments.density, arguments.ml
    if arguments.to_ph is not None:
        if ml is None:
            raise TriageError("a bath of a pH is made by volume", mend="give --ml")
        answer = answer_mix_ph(*where, arguments.to_ph, ml, stock=stock, density=density)
    elif arguments.grams is not None:
        if arguments.basis not in (None, "w/w"):
            raise TriageError("by mass only w/w can be made up", mend="leave --basis out")
        answer = answer_mix_mass(*where, arguments.to, arguments.grams, stock=stock)
    else:
        basis = arguments.basis
        answer = answer_mix_volume(
            *where, arguments.to, ml, stock=stock, basis=basis, density=density
        )
    _show(arguments, answer)


@command(
    "chamber --litres 2 --temp 22 --salt potassium-sulfate",
    number("--litres", "volume of the chamber [L]", required=True, dest="volume_l"),
    number("--temp", "temperature [C]", dest="temp_c"),
    number("--rh", "humidity of the room when it is closed [%%]", dest="rh_start_percent"),
    number("--days", "planned stay [days]"),
    number("--closed", "hours it has been closed: gives the next look", dest="closed_h"),
    option("--salt", "salt slurry; plain water by default", metavar="SALT"),
    option("--inhibitor", "a mould inhibitor is in it", action="store_true", dest="has_inhibitor"),
    as_json=True,
)
def run_chamber(arguments: Arguments) -> None:
    """Water, humidity, mould time and looks of a rehydration chamber."""
    from triage.plan.chambercalc import ChamberQuestion, answer_chamber

    workshop = workshop_of(arguments)
    if arguments.temp_c is None:
        arguments.temp_c = workshop.bench.room.temp_c
    _show(arguments, answer_chamber(workshop.knowledge, given(arguments, ChamberQuestion)))


@command(
    "box --litres 8 --rh 55 --to-rh 30 --fumigant naphthalene --grams 5",
    number("--litres", "volume of the box [L]", required=True, dest="volume_l"),
    number("--temp", "temperature [C]", dest="temp_c"),
    number("--rh", "humidity when it is closed [%%]", dest="rh_start_percent"),
    number("--to-rh", "humidity it is to end at [%%]", dest="rh_end_percent"),
    number("--free-water", "water in insects, card and cork [mg]", dest="free_water_mg"),
    number("--grams", "crystals put in [g]"),
    number("--days", "days the crystals are to last"),
    number("--changes-per-day", "air the closed box loses [1/day]"),
    option("--gel", "drying gel", metavar="GEL"),
    option("--fumigant", "crystals in the box, instead of the gel", metavar="AGENT"),
    as_json=True,
)
def run_box(arguments: Arguments) -> None:
    """Drying gel, crystals and opening of a storage box."""
    from triage.plan.boxcalc import BoxQuestion, answer_fumigant, answer_gel

    workshop = workshop_of(arguments)
    if arguments.temp_c is None:
        arguments.temp_c = workshop.bench.room.temp_c
    asked = given(arguments, BoxQuestion)
    if arguments.fumigant is None:
        answer = answer_gel(workshop.knowledge, asked)
    else:
        answer = answer_fumigant(workshop.knowledge, workshop.bench, workshop.day(), asked)
    _show(arguments, answer)


@command(
    "alcohol --stock 80 --fluid 10 --changes 2",
    number("--stock", "strength poured on [%% v/v]", required=True),
    number("--fluid", "fluid per gram of specimen [mL/g]", required=True),
    option("--changes", "how often it is poured on", type=int, default=1),
    number("--water", "water in the specimen [mL/g]"),
    number("--grams", "mass of the specimen [g]; adds the least fluid"),
    as_json=True,
)
def run_alcohol(arguments: Arguments) -> None:
    """Strength of storage alcohol after body water and changes."""
    from triage.plan.calculators import answer_alcohol

    answer = answer_alcohol(
        workshop_of(arguments).knowledge,
        arguments.stock,
        arguments.fluid,
        arguments.changes,
        water_ml_per_g=arguments.water,
        specimen_g=arguments.grams,
    )
    _show(arguments, answer)


@command(
    "bursts 8 10 --next 5",
    option("done", "bursts given so far", nargs="*", type=number_word, metavar="SECONDS"),
    number("--next", "burst wanted next [s]"),
    as_json=True,
)
def run_bursts(arguments: Arguments) -> None:
    """What is left of the ultrasonic bursts."""
    from triage.plan.calculators import answer_bursts

    knowledge = workshop_of(arguments).knowledge
    _show(arguments, answer_bursts(knowledge, arguments.done, arguments.next))


@command(
    "drops 5 --agent ethanol",
    number("drops", "how many drops", nargs="?", metavar="DROPS"),
    option("--agent", "id or name of the liquid; water by default"),
    number("--ml", "amount wanted, instead of a number of drops [mL]"),
    number("--filled", "volume that your counted drops filled [mL]", dest="filled_ml"),
    option("--counted", "drops of your own that you counted", type=int, metavar="N"),
    as_json=True,
)
def run_drops(arguments: Arguments) -> None:
    """What a number of drops is in mL, or how many drops an amount takes."""
    from triage.plan.dropcalc import DropQuestion, answer_drops

    knowledge = workshop_of(arguments).knowledge
    _show(arguments, answer_drops(knowledge, given(arguments, DropQuestion)))
