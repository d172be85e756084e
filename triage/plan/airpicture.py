"""The air of one release as a picture: level against time, the limits as lines, and in words."""

from __future__ import annotations

from dataclasses import dataclass, replace

from triage.exposure.near_field import Curve, release_curve
from triage.exposure.step import source_of
from triage.exposure.wording import limit_name, number
from triage.plan.aircalc import Asked
from triage.plan.answers import Means
from triage.plan.inputs import AirQuestion
from triage.plan.substances import PERCENT
from triage.units import short

MG_PER_G = 1000.0
TOLD_MIN = (1.0, 5.0, 15.0, 30.0, 60.0, 120.0)


@dataclass(frozen=True, slots=True)
class LimitMark:
    """One published limit as a line across the picture [mg/m3], and in words."""

    words: str
    basis: str
    mg_per_m3: float


@dataclass(frozen=True, slots=True)
class AirPicture:
    """A curve of level against time with its limits, ready to be drawn; empty if nothing rises."""

    title: str
    curve: Curve
    marks: tuple[LimitMark, ...]

    def lowest_marks(self) -> tuple[LimitMark, ...]:
        """Return the lowest limit of each basis, lowest first: more lines would hide the curve."""
        lowest: dict[str, LimitMark] = {}
        for mark in self.marks:
            lowest.setdefault(mark.basis, mark)
        return tuple(sorted(lowest.values(), key=lambda each: each.mg_per_m3))

    def words(self) -> tuple[str, ...]:
        """Return the picture in words, for whoever does not see it."""
        curve = self.curve
        if not curve.minutes:
            return ("No vapour: there is no curve.",)
        top = max(range(len(curve.minutes)), key=lambda at: curve.near_mg_per_m3[at])
        peak, when = number(curve.near_mg_per_m3[top]), number(curve.minutes[top])
        lines = [f"highest at the face: {peak} mg/m3 after {when} min"]
        for minute in TOLD_MIN:
            at = next((at for at, each in enumerate(curve.minutes) if each >= minute), None)
            if at is not None:
                lines.append(
                    f"after {minute:g} min: face {number(curve.near_mg_per_m3[at])}, room "
                    f"{number(curve.room_mg_per_m3[at])} mg/m3"
                )
        return (*lines, *(f"{m.words}: {number(m.mg_per_m3)} mg/m3" for m in self.lowest_marks()))


def air_picture(
    means: Means, asked: AirQuestion, until_min: float = 120.0, points: int = 181
) -> AirPicture:
    """Return level against time of one release alone, at the unfavourable end, with limit lines.

    The levels of earlier releases are not in the curve; the verdict counts them.
    """
    ready = Asked(means, replace(asked, alone=True))
    density = ready.substance.density_g_per_ml
    limits = (
        LimitMark(limit_name(each), each.basis, short(each.value_mg_per_m3))
        for each in ready.substance.limits
    )
    marks = tuple(sorted(limits, key=lambda each: (each.mg_per_m3, each.words)))
    title = f"{ready.agent.name}, {ready.amount:g} mL"
    if density is None or ready.substance.airborne == "none":
        return AirPicture(title, Curve((), (), ()), marks)
    mass = ready.amount * density * MG_PER_G * ready.percent / PERCENT
    curve = release_curve(
        mass, ready.minutes, ready.judge.room, until_min, points, unfavourable=True
    )
    return AirPicture(title, _capped(curve, ready), marks)


def _capped(curve: Curve, ready: Asked) -> Curve:
    """Return the curve held at saturation, as the verdict is."""
    room = ready.judge.room
    cap = source_of(ready.substance, room.temp_c, ready.percent / PERCENT).cap_mg_per_m3
    return replace(
        curve,
        room_mg_per_m3=tuple(min(each, cap) for each in curve.room_mg_per_m3),
        near_mg_per_m3=tuple(min(each, cap) for each in curve.near_mg_per_m3),
    )
