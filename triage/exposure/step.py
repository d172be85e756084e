"""One release placed among those of the day: its source, its levels, its tests."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from triage.errors import OutOfRange
from triage.exposure.day import FIRST_MIN, LAST_MIN, DayLedger
from triage.exposure.gas import saturation_mg_per_m3, vapour_kpa_at
from triage.exposure.space import HIGH, Room, Superposition, corners
from triage.exposure.substance import (
    Floats,
    Span,
    Substance,
    judged_limits,
    span_of,
    strictest_per_window,
)
from triage.units import within

_Places = tuple[Floats, Floats]
LEL_SHARE = 0.10
"""Share of the lower flammable limit that hand work may reach (Washington WAC 296-304-03009(2))."""
_UNBOUNDED_MG_PER_ML = 1e200
"""Stands for an unknown mass: saturation alone bounds the level then."""


@dataclass(frozen=True, slots=True)
class Terms:
    """By what a release is judged.

    Parameters
    ----------
    ledger            the day so far; empty: nothing was released before
    margin            share of an 8 h limit that may be used, 0 to 1
    judge_by          authority whose limits count; None = the most protective
    no_limit_ok       call a release without any published limit ok instead of unknown
    strength_fraction mass fraction of the agent in the liquid, 0 to 1
    lel_share         share of the lower flammable limit that may be reached
    ignition_source   a flame, spark or hot lamp is near
    temp_c            of the liquid [C]; None takes the room's
    at_min            minute of the day; None = that of the ledger, else with its last release
    """

    ledger: DayLedger = field(default_factory=DayLedger)
    margin: float = 0.1
    judge_by: str | None = None
    no_limit_ok: bool = False
    strength_fraction: float = 1.0
    lel_share: float = LEL_SHARE
    ignition_source: bool = False
    temp_c: float | None = None
    at_min: float | None = None

    def __post_init__(self) -> None:
        within("share of the flammable limit", self.lel_share, 1e-6, 1.0, "")
        within("margin", self.margin, 1e-6, 1.0, "")
        within("strength", self.strength_fraction, 0.0, 1.0, "")


USUAL = Terms()


@dataclass(frozen=True)
class Source:
    """Mass per mL, the most that air can hold (infinite if not known), and remarks."""

    mg_per_ml: float
    cap_mg_per_m3: float
    notes: tuple[str, ...]

    @property
    def is_bounded_by_mass(self) -> bool:
        """Whether the amount matters; without a density only saturation bounds the level."""
        return self.mg_per_ml < _UNBOUNDED_MG_PER_ML


@dataclass(frozen=True)
class Yardstick:
    """A test of the step: unfavourable index at each start from the day and per mL, shape (n,).

    Above 1 is over; ``cap`` is the most that the step itself can add.
    """

    day: Floats
    per_ml: Floats
    cap: float

    def factor(self, amount_ml: float) -> float:
        """Return the unfavourable index with this amount."""
        return float((self.day + np.minimum(amount_ml * self.per_ml, self.cap)).max())

    def largest_ml(self) -> float:
        """Return the largest amount within 1: exact but for the cap, which only allows more.

        None at all where the day is above 1 by itself, also before the step begins.
        """
        if self.day.max() > 1.0:
            return 0.0
        room_left = 1.0 - self.day
        safe = np.where(self.per_ml > 0.0, self.per_ml, 1.0)
        return float(np.where(self.per_ml > 0.0, room_left / safe, np.inf).min())


class StepOnDay:
    """The step placed among the day's releases."""

    def __init__(self, substance: Substance, room: Room, minutes: float, terms: Terms) -> None:
        self.substance, self.room, self.minutes, self.terms = substance, room, minutes, terms
        given = room.temp_c if terms.temp_c is None else terms.temp_c
        self.temp_c = within("temperature", given, -20.0, 60.0, "C")
        self.source = source_of(substance, self.temp_c, terms.strength_fraction)
        self.ledger = ledger = terms.ledger
        minute, _, last = ledger.columns()
        now = ledger.now_min if terms.at_min is None else terms.at_min
        moment = within("minute", ledger.last_min if now is None else now, FIRST_MIN, LAST_MIN, "")
        self.place = int(np.searchsorted(minute, moment, side="right"))
        self.minute = np.insert(minute, self.place, moment)
        self.last = np.insert(last, self.place, minutes)
        self.corners = Superposition(self.minute, self.last, room, corners(room))
        self._levels: dict[float, tuple[_Places, _Places]] = {}

    def strictest_of_others(self) -> dict[str, dict[float, float]]:
        """Return agent -> averaging window -> lowest allowed level, of the day's other agents."""
        terms, used = self.terms, map(self.ledger.substance, self.ledger.agents())
        return {
            each.key: strictest_per_window(judged_limits(each, terms.judge_by), terms.margin)
            for each in used
            if each.key != self.substance.key
        }

    def weights(self, per_agent: dict[str, float]) -> tuple[Floats, Floats]:
        """Return weights of the day without the step, and of 1 mL of the step, each (n,)."""
        day = np.insert(self.ledger.weights(per_agent), self.place, 0.0)
        step = np.zeros_like(day)
        step[self.place] = per_agent[self.substance.key] * self.source.mg_per_ml
        return day, step

    def mixed(self, window_min: float, per_agent: dict[str, float]) -> Yardstick:
        """Return a test whose index is ``sum(level x per_agent)`` at the face."""
        day, step = self.weights(per_agent)
        per_ml = self.corners.at_starts(step, window_min)[1][:, HIGH]
        on_day = np.zeros_like(per_ml)
        if day.any():
            on_day = self.corners.at_starts(day, window_min)[1][:, HIGH]
        cap = self.source.cap_mg_per_m3 * per_agent[self.substance.key]
        return Yardstick(on_day, per_ml, cap)

    def own(self, window_min: float, per_level: float) -> Yardstick:
        """Return a test of this agent's level alone, ``level x per_level`` at the face."""
        (_, day), (_, per_ml) = self._own_levels(window_min)
        cap = self.source.cap_mg_per_m3 * per_level
        return Yardstick(day[:, HIGH] * per_level, per_ml[:, HIGH] * per_level, cap)

    def level(self, window_min: float, amount_ml: float) -> tuple[Span, Span]:
        """Return (room, near) spans of this agent's level [mg/m3]."""
        cap = self.source.cap_mg_per_m3
        on_day, per_ml = self._own_levels(window_min)
        room, near = (
            span_of(np.minimum((day + amount_ml * unit).max(axis=0), cap))
            for day, unit in zip(on_day, per_ml, strict=True)
        )
        return room, near

    def _own_levels(self, window_min: float) -> tuple[_Places, _Places]:
        """Return (room, near) of the day and of 1 mL, each (n, 3); worked out once a window."""
        if window_min not in self._levels:
            day, step = self.weights({self.substance.key: 1.0})
            per_ml = self.corners.at_starts(step, window_min)
            nothing = np.zeros_like(per_ml[0])
            on_day = self.corners.at_starts(day, window_min) if day.any() else (nothing, nothing)
            self._levels[window_min] = on_day, per_ml
        return self._levels[window_min]


def source_of(substance: Substance, temp_c: float, strength_fraction: float) -> Source:
    """Return mass per mL and saturation cap of an agent at a temperature and mass fraction."""
    molar, density = substance.molar_mass_g_per_mol, substance.density_g_per_ml
    if molar is None and density is None:
        raise OutOfRange(
            f"{substance.key}: neither density nor molar mass is known",
            mend="add one of them with its source; without it no air level can be given",
        )
    cap, notes = np.inf, []
    if substance.airborne == "vapour" and molar is not None and substance.vapour_points:
        coldest = min(substance.vapour_points)[0]
        try:
            kpa = vapour_kpa_at(substance.vapour_points, max(temp_c, coldest))
            cap = float(saturation_mg_per_m3(kpa, molar, temp_c))
            if temp_c < coldest:
                notes.append(f"Saturation taken at {coldest:g} C: colder air holds less.")
        except OutOfRange:
            notes.append("No vapour pressure at this temperature: no cap by saturation.")
    else:
        notes.append("No vapour pressure is known: no cap by saturation.")
    if density is not None:
        return Source(density * 1000.0 * strength_fraction, cap, tuple(notes))
    if not np.isfinite(cap):
        raise OutOfRange(
            f"{substance.key}: no density, and no vapour pressure at {temp_c:g} C",
            mend="add the density with its source",
        )
    return Source(_UNBOUNDED_MG_PER_ML, cap, (*notes, "No density: the air is taken as saturated."))
