"""What the arithmetic must know of an agent, and what a judgement of its air says."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal, NamedTuple, get_args

import numpy as np
from numpy.typing import NDArray

from triage.errors import OutOfRange
from triage.units import at_least, finite, positive, within

Floats = NDArray[np.float64]
Basis = Literal["twa", "stel", "ceiling", "peak", "idlh"]
Airborne = Literal["vapour", "dust", "none"]
DAY_MIN = 480.0
SHORT_MIN = 15.0
ADDITIVE = frozenset({"twa", "stel", "ceiling"})


@dataclass(frozen=True, slots=True)
class Limit:
    """One published air limit of one authority.

    A limit in ppm is converted first, at the temperature of its authority. ``averaging_min`` None
    takes the custom of the basis (480, 15, 0, 0, 0); ``shown_as`` is the authority's name in a
    sentence, its id if empty.
    """

    authority: str
    basis: Basis
    value_mg_per_m3: float
    averaging_min: float | None = None
    source: str = ""
    shown_as: str = ""

    def __post_init__(self) -> None:
        if self.basis not in get_args(Basis):
            raise OutOfRange(
                f'limit basis "{self.basis}" is unknown', mend=f"use one of {get_args(Basis)}"
            )
        positive(f"limit of {self.authority}", self.value_mg_per_m3, "mg/m3")
        if self.averaging_min is not None:
            within("averaging time", self.averaging_min, 0.0, 1440.0, "min")

    @property
    def window_min(self) -> float:
        """Time over which the level is averaged before it is held against the limit [min].

        Peak and IDLH figures are held against the instantaneous level, whatever duration the
        authority adds: that errs to the safe side. 0 means no averaging.
        """
        if self.basis in {"peak", "idlh"}:
            return 0.0
        if self.basis == "twa":
            return min(self.averaging_min or DAY_MIN, DAY_MIN)
        if self.basis == "stel":
            return self.averaging_min or SHORT_MIN
        return self.averaging_min or 0.0


@dataclass(frozen=True, slots=True)
class Substance:
    """An agent as the air arithmetic sees it; every figure comes from the knowledge files.

    A mixture has no molar mass, so neither ppm nor saturation; density is that of the liquid or
    crystal as used. The ends of ``vapour_points`` ((temp_c, kPa), ...) are the range it holds for;
    ``flags`` (carcinogen, skin ...) pass through to the verdict. ``airborne``: of "dust" ppm has no
    meaning, of "none" nothing leaves the liquid. ``silent`` names the authorities without a working
    limit: (id, its name in a sentence).
    """

    key: str
    molar_mass_g_per_mol: float | None = None
    density_g_per_ml: float | None = None
    vapour_points: tuple[tuple[float, float], ...] = ()
    lel_percent: float | None = None
    flash_point_c: float | None = None
    limits: tuple[Limit, ...] = ()
    flags: tuple[str, ...] = ()
    airborne: Airborne = "vapour"
    silent: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if self.airborne not in get_args(Airborne):
            raise OutOfRange(
                f'{self.key}: airborne form "{self.airborne}" is unknown',
                mend=f"use one of {get_args(Airborne)}",
            )
        if self.molar_mass_g_per_mol is not None:
            at_least(f"{self.key}: molar mass", self.molar_mass_g_per_mol, 1.0, "g/mol")
        if self.density_g_per_ml is not None:
            positive(f"{self.key}: density", self.density_g_per_ml, "g/mL")
        if self.lel_percent is not None:
            within(f"{self.key}: lower flammable limit", self.lel_percent, 1e-6, 100.0, "%")
        if self.flash_point_c is not None:
            finite(f"{self.key}: flash point", self.flash_point_c, "C")


def allowed_fraction(limit: Limit, margin: float) -> float:
    """Return the share of a limit that may be used: the margin for an 8 h mean, else all."""
    return within("margin", margin, 1e-6, 1.0, "") if limit.basis == "twa" else 1.0


def is_silent(substance: Substance, judge_by: str | None) -> bool:
    """Return whether others have set working limits, but not the authority that was chosen."""
    set_by = {limit.authority for limit in substance.limits if limit.basis != "idlh"}
    return judge_by is not None and bool(set_by) and judge_by not in set_by


def judged_limits(substance: Substance, judge_by: str | None) -> tuple[Limit, ...]:
    """Return the limits that count: all, or those of the chosen authority if it has any.

    IDLH always counts: an authority can be chosen, danger to life cannot be left out.
    """
    if judge_by is None or is_silent(substance, judge_by):
        return substance.limits
    return tuple(
        each for each in substance.limits if each.authority == judge_by or each.basis == "idlh"
    )


def strictest_per_window(limits: Iterable[Limit], margin: float) -> dict[float, float]:
    """Return averaging window [min] -> lowest allowed level [mg/m3], additive kinds only."""
    lowest: dict[float, float] = {}
    for limit in limits:
        if limit.basis in ADDITIVE:
            allowed = limit.value_mg_per_m3 * allowed_fraction(limit, margin)
            window = limit.window_min
            lowest[window] = min(allowed, lowest.get(window, allowed))
    return lowest


Word = Literal["ok", "over", "unknown"]
JUST_OVER = 1.0 + 1e-9


class Span(NamedTuple):
    """A figure with its favourable and unfavourable end; ``mid`` takes the inputs as stated."""

    low: float
    mid: float
    high: float


def span_of(corner_levels: Floats) -> Span:
    """Return the span of three corners."""
    low, mid, high = (float(level) for level in corner_levels)
    return Span(min(low, mid), mid, max(high, mid))


class Levels(NamedTuple):
    """Peak, worst 15 min mean and worst 8 h mean at one place [mg/m3]."""

    peak: Span
    mean_15_min: Span
    mean_8_h: Span


LEVEL_WINDOWS = (0.0, SHORT_MIN, DAY_MIN)


@dataclass(frozen=True, slots=True)
class LimitRatio:
    """The unfavourable level at the face, averaged as the limit asks, against one limit.

    ``ratio`` is the level over the limit as published, ``factor`` over the share of it that may be
    used: above 1 is too much. What is not judged is only shown.
    """

    limit: Limit
    level_mg_per_m3: float
    ratio: float
    allowed_fraction: float
    factor: float
    is_judged: bool


@dataclass(frozen=True, slots=True)
class AirVerdict:
    """The judgement of one release on top of the day.

    Parameters
    ----------
    room, near    levels in the room and at the face, with those of the same agent earlier today
    ppm_per_mg    ppm at 25 C and 1 atm, as limits are, of 1 mg/m3; None where it means nothing
    ratios        every published limit, worst first
    exceeded_by   largest factor of all tests (limits, mixture, fire); above 1 is too much
    mixture       window [min] -> sum of level over allowed level of all agents of the day, only
                  when other agents were used
    lel_fraction  unfavourable peak at the face over the lower flammable limit, all agents of the
                  day; None if no limit is known
    can_ignite    flash point at or below the working temperature; None if no flash point is known
    reentry_min   minutes of airing after the last has evaporated until the room is at the allowed
                  level; None = never, or no limit to go by
    largest_ok_ml largest amount that would be ok now [mL]; None = no limit to go by, or none binds
    sentence      plain words, under 140 characters
    assumptions   what the figures rest on
    """

    verdict: Word
    room: Levels
    near: Levels
    sentence: str
    assumptions: tuple[str, ...]
    flags: tuple[str, ...] = ()
    ppm_per_mg: float | None = None
    ratios: tuple[LimitRatio, ...] = ()
    exceeded_by: float = 0.0
    mixture: Mapping[float, float] = field(default_factory=dict)
    lel_fraction: float | None = None
    can_ignite: bool | None = None
    reentry_min: float | None = 0.0
    largest_ok_ml: float | None = None

    @property
    def binding(self) -> LimitRatio | None:
        """The judged limit with the largest factor; None without limits."""
        return next((ratio for ratio in self.ratios if ratio.is_judged), None)
