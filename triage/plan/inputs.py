"""What each calculator asks, said once: the command line and the form are made from it.

A calculator is a question, whose fields say how they are asked for, and what answers it. Nothing
here loads any arithmetic: that is done when a question is answered.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields
from importlib import import_module
from typing import TYPE_CHECKING, Any, Literal

from triage.units import within

if TYPE_CHECKING:
    from triage.plan.answers import Means

InputKind = Literal["number", "count", "numbers", "yes", "entry", "choice"]


@dataclass(frozen=True, slots=True)
class Input:
    """One thing that a calculator asks.

    Parameters
    ----------
    name      field of the question
    words     what it is, in words
    unit      of the number, empty where it has none
    option    how the command line calls it; empty for a word behind the command
    kind      a number, a whole number, several numbers, yes or no, an entry, one of a few words
    entry     kind of the knowledge of which an entry is named
    choices   the words of which one is chosen
    least, most  ends between which a number must lie, where they are the same for every case
    one_of    of the inputs with the same word here exactly one is given
    is_needed it has no answer of its own
    default   what is taken if it is not given; None: the bench's or the knowledge's figure
    """

    name: str
    words: str
    unit: str = ""
    option: str = ""
    kind: InputKind = "number"
    entry: str = ""
    choices: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None
    one_of: str = ""
    is_needed: bool = False
    default: Any = None


def asks(words: str, unit: str = "", option: str = "", default: Any = None, **how: Any) -> Any:
    """Return a field that need not be answered."""
    told = {"words": words, "unit": unit, "option": option, **how}
    return field(default=default, metadata=told)


def needs(words: str, unit: str = "", option: str = "", **how: Any) -> Any:
    """Return a field that must be answered."""
    return field(metadata={"words": words, "unit": unit, "option": option, **how})


def inputs_of(question: type[Question]) -> tuple[Input, ...]:
    """Return what a question asks, in the order in which it is asked."""
    return tuple(
        Input(each.name, is_needed=True, **each.metadata)
        if each.default is MISSING
        else Input(each.name, default=each.default, **each.metadata)
        for each in fields(question)
    )


@dataclass(frozen=True)
class Question:
    """What is asked of a calculator; a number that cannot be is refused when it is asked."""

    def __post_init__(self) -> None:
        for each in inputs_of(type(self)):
            value = getattr(self, each.name)
            if value is not None and each.least is not None and each.most is not None:
                within(each.words, value, each.least, each.most, each.unit)


@dataclass(frozen=True)
class AirQuestion(Question):
    """How high the air goes for an amount of an agent in a room.

    Air changes that are given without a control count no control.
    """

    agent: str = needs("agent", kind="entry", entry="agent")
    amount_ml: float = needs("amount of one pass", "mL", "--ml")
    minutes: float | None = asks("minutes in which it can evaporate", "min", "--minutes")
    volume_m3: float | None = asks("room volume", "m3", "--volume", least=1.0, most=100_000.0)
    air_changes_per_h: float | None = asks(
        "air changes", "1/h", "--air-changes", least=0.0, most=200.0
    )
    control: str | None = asks("what moves the air", "", "--control", kind="entry", entry="control")
    judge_by: str | None = asks(
        "the one authority to judge by", "", "--judge-by", kind="entry", entry="authority"
    )
    strength_percent: float | None = asks(
        "strength: share of the agent in the liquid", "%", "--strength", least=0.001, most=100.0
    )
    passes: int = asks("passes a day for the day's amount", "", "--passes", 8, kind="count")
    every_min: float = asks("from pass to pass for the day's amount", "min", "--every", 30.0)
    ignition_source: bool = asks(
        "a flame, spark or hot lamp is near", "", "--ignition", default=False, kind="yes"
    )
    alone: bool = asks("leave earlier attempts out", "", "--alone", default=False, kind="yes")


@dataclass(frozen=True)
class MixQuestion(Question):
    """How to make up a working solution from your stock, or a bath of a pH."""

    agent: str = needs("agent", kind="entry", entry="agent")
    to: float | None = asks("strength wanted", "", "--to", one_of="what")
    to_ph: float | None = asks("pH wanted (acid bath)", "", "--to-ph", one_of="what")
    ml: float | None = asks("volume wanted", "mL", "--ml", one_of="how much")
    grams: float | None = asks("mass wanted, w/w only", "g", "--grams", one_of="how much")
    stock: float | None = asks("strength of your stock; the bench's by default", "", "--stock")
    density: float | None = asks("density of your stock, for w/w by volume", "g/mL", "--density")
    basis: Literal["v/v", "w/w", "w/v", "mol/L"] | None = asks(
        "what the strengths mean; the agent's own",
        "",
        "--basis",
        kind="choice",
        choices=("v/v", "w/w", "w/v", "mol/L"),
    )


@dataclass(frozen=True)
class ChamberQuestion(Question):
    """Water, humidity, mould time and looks of a rehydration chamber."""

    volume_l: float = needs("volume of the chamber", "L", "--litres")
    temp_c: float | None = asks("temperature", "C", "--temp", least=0.1, most=45.0)
    rh_start_percent: float = asks("humidity of the room when it is closed", "%", "--rh", 50.0)
    salt: str | None = asks(
        "salt slurry; plain water by default", "", "--salt", kind="entry", entry="salt"
    )
    days: float | None = asks("planned stay", "days", "--days")
    has_inhibitor: bool = asks(
        "a mould inhibitor is in it", "", "--inhibitor", default=False, kind="yes"
    )
    closed_h: float | None = asks(
        "how long it has been closed: gives the next look", "h", "--closed"
    )


@dataclass(frozen=True)
class BoxQuestion(Question):
    """Drying gel, crystals and opening of a storage box."""

    volume_l: float = needs("volume of the box", "L", "--litres")
    temp_c: float | None = asks("temperature", "C", "--temp")
    rh_start_percent: float = asks("humidity when it is closed", "%", "--rh", 55.0)
    rh_end_percent: float = asks("humidity it is to end at", "%", "--to-rh", 30.0)
    free_water_mg: float = asks("water in insects, card and cork", "mg", "--free-water", 0.0)
    gel: str | None = asks("drying gel", "", "--gel", kind="entry", entry="gel")
    fumigant: str | None = asks(
        "crystals in the box, instead of the gel", "", "--fumigant", kind="entry", entry="agent"
    )
    grams: float | None = asks("crystals put in", "g", "--grams")
    days: float | None = asks("how long the crystals are to last", "days", "--days")
    changes_per_day: float = asks("air the closed box loses", "1/day", "--changes-per-day", 0.05)


@dataclass(frozen=True)
class AlcoholQuestion(Question):
    """Strength of storage alcohol after body water and changes."""

    stock: float = needs("strength poured on", "% v/v", "--stock")
    fluid: float = needs("fluid per gram of specimen", "mL/g", "--fluid")
    changes: int = asks("how often it is poured on", "", "--changes", 1, kind="count")
    water: float | None = asks("water in the specimen", "mL/g", "--water")
    grams: float | None = asks("mass of the specimen; adds the least fluid", "g", "--grams")


@dataclass(frozen=True)
class BurstQuestion(Question):
    """What is left of the ultrasonic bursts."""

    done: tuple[float, ...] = asks("bursts given so far", "s", default=(), kind="numbers")
    next_s: float | None = asks("burst wanted next", "s", "--next")


@dataclass(frozen=True)
class DropQuestion(Question):
    """What a number of drops is in mL, or how many drops an amount takes."""

    drops: float | None = asks("how many drops")
    agent: str | None = asks(
        "the liquid; water by default", "", "--agent", kind="entry", entry="agent"
    )
    ml: float | None = asks("amount wanted, instead of a number of drops", "mL", "--ml")
    counted: int | None = asks("drops of your own that you counted", "", "--counted", kind="count")
    filled_ml: float | None = asks("volume that your counted drops filled", "mL", "--filled")


@dataclass(frozen=True)
class ShowsQuestion(Question):
    """Whether a speck will show in the picture, and the frames of a stack.

    A figure given here stands before that of the set-up.
    """

    setup: str | None = asks("a set-up of your bench", "", "--setup", kind="entry", entry="setup")
    na: float | None = asks("numerical aperture of the objective", "", "--na")
    f_number: float | None = asks("working f-number, instead of the aperture", "", "--f-number")
    magnification: float | None = asks("magnification on the sensor", "", "--magnification")
    pitch_um: float | None = asks("pixel pitch", "um", "--pitch")
    sensor_mm: float | None = asks("width of the sensor", "mm", "--sensor")
    picture_mm: float | None = asks(
        "width of the print, or of the picture on the screen", "mm", "--picture"
    )
    distance_mm: float | None = asks("viewing distance", "mm", "--distance")
    grain_um: float | None = asks("a speck on the specimen", "um", "--grain")
    depth_um: float | None = asks("depth of what must be sharp", "um", "--depth")


@dataclass(frozen=True, slots=True)
class Calculator:
    """A question, a line that shows how it is asked, and where the arithmetic stands."""

    question: type[Question]
    example: str
    place: str
    by_day: bool = False

    def answer(self, means: Means, asked: Question) -> Any:
        """Return the answer to a question.

        Raises
        ------
        TriageError: an entry that the knowledge does not have, or numbers that cannot be.
        """
        module, _, name = self.place.partition(".")
        return getattr(import_module(f"triage.plan.{module}"), name)(means, asked)


CALCULATORS: Mapping[str, Calculator] = {
    "air": Calculator(
        AirQuestion,
        "air ethyl-acetate --ml 2 --minutes 10 --volume 30 --control window --curve",
        "aircalc.answer",
        by_day=True,
    ),
    "mix": Calculator(MixQuestion, "mix ethanol --to 70 --stock 96 --ml 100", "mixcalc.answer"),
    "chamber": Calculator(
        ChamberQuestion, "chamber --litres 2 --temp 22 --salt potassium-sulfate", "boxcalc.chamber"
    ),
    "box": Calculator(
        BoxQuestion,
        "box --litres 8 --rh 55 --to-rh 30 --fumigant naphthalene --grams 5",
        "boxcalc.answer",
        by_day=True,
    ),
    "alcohol": Calculator(
        AlcoholQuestion, "alcohol --stock 80 --fluid 10 --changes 2", "mixcalc.alcohol"
    ),
    "bursts": Calculator(BurstQuestion, "bursts 8 10 --next 5", "mixcalc.bursts"),
    "drops": Calculator(DropQuestion, "drops 5 --agent ethanol", "mixcalc.drops"),
    "shows": Calculator(
        ShowsQuestion,
        "shows --na 0.28 --magnification 10 --pitch 3.76 --sensor 35.7 --picture 600 "
        "--distance 500 --grain 5 --depth 300",
        "showing.answer",
    ),
}
