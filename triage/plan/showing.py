"""What the person's own set-up would not show: then the specimen has suffered enough."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from triage.case.models import Case
from triage.case.profile import Bench, SetUp
from triage.knowledge.judgement import Judgement
from triage.picture.optics import Eye, Showing, View, na_from_working, what_shows
from triage.plan.model import FindingLine, Notice


def eye_of(judgement: Judgement) -> Eye:
    """Return what is assumed of light and viewer."""
    return Eye(
        judgement.wavelength_um.value,
        judgement.eye_acuity_arcmin.value,
        judgement.stack_overlap.value,
    )


def view_of(setup: SetUp) -> View | None:
    """Return a set-up as it can be reckoned with, None where a figure is missing."""
    na, scale = setup.na, setup.magnification
    if na is None and setup.f_number is not None and scale is not None:
        na = na_from_working(setup.f_number, scale)
    figures = (na, scale, setup.pitch_um, setup.sensor_mm, setup.picture_mm, setup.distance_mm)
    told = [each for each in figures if each is not None]
    return View(*told) if len(told) == len(figures) else None


def finest(bench: Bench, judgement: Judgement) -> tuple[str, Showing] | None:
    """Return the set-up of the bench that shows the smallest spot, by name."""
    eye = eye_of(judgement)
    shown = [
        (setup.name, what_shows(view, eye)) for setup in bench.setups if (view := view_of(setup))
    ]
    return min(shown, key=lambda each: each[1].least_um, default=None)


def too_small(
    case: Case, bench: Bench, judgement: Judgement, findings: Sequence[FindingLine]
) -> Iterator[Notice]:
    """Yield the findings whose size lies below what the finest set-up shows; a suggestion only."""
    open_ones = {line.id: line.zone_name for line in findings if line.state not in DONE}
    sized = {each.id: each.size_um for each in case.findings if each.size_um is not None}
    best = finest(bench, judgement) if sized else None
    if best is None:
        return
    name, showing = best
    for finding, size in sized.items():
        if finding in open_ones and size < showing.least_um:
            yield Notice(
                "accept",
                f"{open_ones[finding]}: {size:g} um will not show; {name} shows "
                f"spots from {showing.least_um:.2g} um. Accept it as it is and spare the specimen. "
                "A glint or strong contrast can still be seen, as a blur.",
                "will-not-show",
            )


DONE = ("accepted", "cleared", "left")
