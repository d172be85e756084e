"""What the comparison of two photographs is held to; the figures stand with the judgements."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, Self


@dataclass(frozen=True, slots=True)
class Limits:
    """Shares are of 1, contrast is of the scale from black to white, colour is CIEDE2000."""

    least_overlap: float
    least_likeness: float
    most_misfit: float
    most_blur: float
    most_clipped: float
    least_contrast: float
    noises: float
    least_pixels: float
    countable: float
    gloss: float
    colour_seen: float
    lost_share: float
    lost_patch_px: float
    patch_uneven: float
    least_for_class: float

    @classmethod
    def of(cls, judged: Any) -> Self:
        """Return the limits that stand in the judgements of a rulebase (its part ``picture``)."""
        return cls(**{each.name: getattr(judged, each.name).value for each in fields(cls)})
