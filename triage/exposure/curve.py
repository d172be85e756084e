"""Level against time in the room and at the face, for plotting."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from triage.exposure.maths import Floats
from triage.exposure.near_field import two_zone_levels
from triage.exposure.space import Room, corners
from triage.units import within

AT_ONCE_MIN = 1e-6
"""A shorter release counts as one at once [min]."""


@dataclass(frozen=True, slots=True)
class Curve:
    """A time series: minutes, level in the room and at the face [mg/m3], all of one length."""

    minutes: tuple[float, ...]
    room_mg_per_m3: tuple[float, ...]
    near_mg_per_m3: tuple[float, ...]


def release_curve(
    amount_mg: float,
    release_min: float,
    room: Room,
    until_min: float = 480.0,
    points: int = 241,
    *,
    unfavourable: bool = False,
) -> Curve:
    """Return the two-zone levels of one release that starts at minute 0.

    Parameters
    ----------
    amount_mg    evaporated in all [mg], >= 0
    release_min  evenly over this time [min]; 0 = at once, into the near field
    until_min    end of the curve [min]
    points       how many, evenly spaced, 2 to 100 000; the end of the release is added
    unfavourable take the unfavourable end of the band instead of the inputs as stated
    """
    until = within("end of curve", until_min, 1e-6, 2880.0, "min")
    grid = np.linspace(0.0, until, int(within("points", points, 2, 100_000, "")))
    if 0.0 < release_min < until:
        grid = np.union1d(grid, [release_min])
    near, far = _levels(amount_mg, release_min, room, grid, draw=2 if unfavourable else 1)
    return Curve(tuple(grid.tolist()), tuple(far.tolist()), tuple(near.tolist()))


def _levels(
    amount_mg: float, release_min: float, room: Room, minutes: Floats, draw: int
) -> tuple[Floats, Floats]:
    """Return (near, far) at minutes since the start of one release."""
    spread = corners(room)
    amount = within("amount", amount_mg, 0.0, 1e9, "mg") * float(spread.share[draw])
    last = within("release time", release_min, 0.0, 1440.0, "min")
    if room.outdoors:
        # The far field is the open air: one box of the near field, cleared by its own flow.
        rate = float(spread.near_flow[draw]) / room.near_m3
        near = _one_box(amount / room.near_m3, last, rate, minutes)
        return near, np.zeros_like(near)
    zones = room.zones(spread, draw)
    if last < AT_ONCE_MIN:
        return two_zone_levels(zones, 0.0, minutes, 0.0, (amount / room.near_m3, 0.0))
    return two_zone_levels(zones, amount / last, minutes, last)


def _one_box(level: float, last: float, rate: float, minutes: Floats) -> Floats:
    if last < AT_ONCE_MIN:
        return np.asarray(level * np.exp(-rate * minutes))
    on = np.minimum(minutes, last)
    built = level / last * -np.expm1(-rate * on) / rate
    return np.asarray(built * np.exp(-rate * (minutes - on)))
