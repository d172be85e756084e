"""What a judgement of the air says: figures, ratios, binding limit, one sentence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from triage.exposure.maths import Floats
from triage.exposure.substance import Limit

Word = Literal["ok", "over", "unknown"]
JUST_OVER = 1.0 + 1e-9


@dataclass(frozen=True, slots=True)
class Span:
    """A figure with its favourable and unfavourable end; ``mid`` takes the inputs as stated."""

    low: float
    mid: float
    high: float

    def times(self, factor: float) -> Span:
        """Return the span in another unit."""
        return Span(self.low * factor, self.mid * factor, self.high * factor)


def span_of(corner_levels: Floats) -> Span:
    """Return the span of three corners."""
    low, mid, high = (float(level) for level in corner_levels)
    return Span(min(low, mid), mid, max(high, mid))


@dataclass(frozen=True, slots=True)
class Level:
    """An air level in both units; ppm at 25 C and 1 atm as limits are, None where it means nothing.

    A dust and a mixture without a molar mass have no ppm.
    """

    mg_per_m3: Span
    ppm: Span | None


@dataclass(frozen=True, slots=True)
class Figures:
    """Peak, worst 15 min mean and worst 8 h mean at one place."""

    peak: Level
    mean_15_min: Level
    mean_8_h: Level


@dataclass(frozen=True, slots=True)
class LimitRatio:
    """The unfavourable level at the face against one limit.

    Parameters
    ----------
    limit            the published limit
    level_mg_per_m3  level averaged as the limit asks [mg/m3]
    ratio            level over the limit as published
    allowed_fraction share of the limit that may be used (the margin for an 8 h mean)
    factor           level over what is allowed; above 1 is too much
    is_judged        it counts for the verdict (else it is only shown)
    """

    limit: Limit
    level_mg_per_m3: float
    ratio: float
    allowed_fraction: float
    factor: float
    is_judged: bool


@dataclass(frozen=True, slots=True)
class MixtureRatio:
    """The additive rule over all agents of the day for one averaging window.

    Parameters
    ----------
    window_min averaging window [min]: 480, 15 or 0
    factor     sum of level over allowed level, unfavourable; above 1 is too much
    agents     keys with a limit of that kind
    """

    window_min: float
    factor: float
    agents: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AirVerdict:
    """The judgement of one release on top of the day.

    Parameters
    ----------
    verdict       ok, over or unknown (no published limit)
    room, near    levels in the room and at the face, with those of the same agent earlier today
    ratios        every published limit, worst first
    binding       the judged limit with the largest factor; None without limits
    exceeded_by   largest factor of all tests (limits, mixture, fire); above 1 is too much
    mixture       additive rule per window, only when other agents were used today
    lel_fraction  unfavourable peak at the face over the lower flammable limit, all agents of the
                  day; None if no limit is known
    can_ignite    flash point at or below the working temperature; None if no flash point is known
    reentry_min   minutes of airing after the last has evaporated until the room is at the allowed
                  level; None = never, or no limit to go by
    largest_ok_ml largest amount that would be ok now [mL]; None = no limit to go by, or none binds
    flags         skin, carcinogen, reproductive ... passed through
    sentence      plain words, under 140 characters
    assumptions   what the figures rest on
    """

    verdict: Word
    room: Figures
    near: Figures
    ratios: tuple[LimitRatio, ...]
    binding: LimitRatio | None
    exceeded_by: float
    mixture: tuple[MixtureRatio, ...]
    lel_fraction: float | None
    can_ignite: bool | None
    reentry_min: float | None
    largest_ok_ml: float | None
    flags: tuple[str, ...]
    sentence: str
    assumptions: tuple[str, ...]
