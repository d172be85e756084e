"""The explicit judgements: order of harshness, thresholds of certainty, safety margins."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from triage.knowledge.base import Frozen, Sourced


class Threshold(Sourced):
    """A number that decides, with its reason."""

    value: float
    because: str


class HarshnessOrder(Sourced):
    """Keys by which rungs are sorted, most important first."""

    keys: tuple[Literal["worst", "sum", "mechanical", "chemical", "person", "lasting"], ...] = (
        Field(min_length=1)
    )
    because: str


class PictureLimits(Frozen):
    """What a comparison of two photographs is held to; shares of 1 unless a name says otherwise."""

    least_overlap: Threshold = Field(description="share of the first photo that both must show")
    least_likeness: Threshold = Field(description="correlation below which it is another surface")
    most_misfit: Threshold = Field(description="how far the middle tile may lie off [points]")
    most_blur: Threshold = Field(description="least ratio of fine detail between the two")
    most_clipped: Threshold = Field(description="share of points that may be black or burnt out")
    least_contrast: Threshold = Field(description="least step of a spot, of the whole scale")
    noises: Threshold = Field(description="and in deviations of what differs without a cause")
    least_pixels: Threshold = Field(description="least area of a spot [points]")
    countable: Threshold = Field(
        description="spots stand out by so many deviations of the surface where the rest is counted"
    )
    gloss: Threshold = Field(description="lightness from which a point is a highlight")
    colour_seen: Threshold = Field(description="shift of colour that an eye sees (CIEDE2000)")
    lost_share: Threshold = Field(description="share of fine structure below which it is lost")
    lost_patch_px: Threshold = Field(description="least area of a patch of lost structure [points]")
    patch_uneven: Threshold = Field(description="share by which a reference patch may vary")
    least_for_class: Threshold = Field(description="fewest spots that are given a class")


class Judgement(Frozen):
    """The whole of judgement.yaml."""

    harshness_order: HarshnessOrder
    suspected: Threshold = Field(description="certainty from which a deposit counts as suspected")
    settled: Threshold = Field(description="certainty from which a reading may be settled")
    rival: Threshold = Field(
        description="certainty from which another deposit still counts beside a settled reading"
    )
    lead: Threshold = Field(description="distance to the next candidate that settles a reading")
    disproves: Threshold = Field(
        description="weight from which one direct test against it keeps a deposit from settling"
    )
    named: Threshold = Field(description="certainty given to a deposit that a person names")
    most_certain: Threshold = Field(description="cap on combined certainty short of exclusion")
    margin: Threshold = Field(description="share of a time-weighted limit used at home")
    lel_share: Threshold = Field(description="share of the lower explosive limit that is allowed")
    unchanged_passes: Threshold = Field(description="passes without change before reclassifying")
    room_volume_m3: Threshold = Field(description="room assumed when the bench gives none")
    near_field_radius_m: Threshold
    air_speed_m_per_min: Threshold
    mixing_factor: Threshold
    burst_budget_s: Threshold
    least_release_min: Threshold = Field(
        description="shortest time in which the liquid of one pass can evaporate"
    )
    wavelength_um: Threshold = Field(description="wavelength by which a lens is judged")
    eye_acuity_arcmin: Threshold = Field(description="smallest detail that a viewer tells apart")
    stack_overlap: Threshold = Field(description="share of its depth by which frames overlap")
    picture: PictureLimits
    release_again_s: Threshold = Field(
        description="interruption after which a hold point asks again"
    )
