"""What a set-up of camera and picture would not show: then the specimen has suffered enough."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from triage.case.models import Case
from triage.case.profile import Bench, SetUp
from triage.errors import TriageError, did_you_mean
from triage.knowledge.judgement import Judgement
from triage.picture.optics import (
    Eye,
    Showing,
    View,
    frames_of_stack,
    grain_in_picture,
    na_from_working,
    what_shows,
)
from triage.plan.answers import Answer, Figure, Means, answered
from triage.plan.inputs import ShowsQuestion, inputs_of
from triage.plan.model import FindingLine, Notice

VIEW = ("magnification", "na", "f_number", "pitch_um", "sensor_mm", "picture_mm", "distance_mm")
LIMITS = {
    "lens": "diffraction at the lens",
    "pixels": "two pixels of the sensor",
    "viewer": "the viewer's eye at this size and distance",
}
GLINT = "A glint or strong contrast can still be seen, as a blur."


def eye_of(judgement: Judgement) -> Eye:
    """Return what is assumed of light and viewer."""
    return Eye(
        judgement.wavelength_um.value,
        judgement.eye_acuity_arcmin.value,
        judgement.stack_overlap.value,
    )


def view_of(asked: SetUp | ShowsQuestion, kept: SetUp | None = None) -> View:
    """Return a set-up as it can be reckoned with; what is not asked comes from the one kept.

    Raises
    ------
    TriageError: figures are missing, or an aperture and an f-number are asked for together.
    """
    given = {name: getattr(asked, name) for name in VIEW}
    if isinstance(asked, ShowsQuestion) and None not in (given["na"], given["f_number"]):
        raise TriageError("both an aperture and an f-number are given", mend="give one of them")
    has_aperture = given["na"] is not None or given["f_number"] is not None
    for name in VIEW if kept is not None else ():
        if given[name] is None and not (has_aperture and name in ("na", "f_number")):
            given[name] = getattr(kept, name)
    f_number = given.pop("f_number")
    if given["na"] is None and f_number is not None and given["magnification"] is not None:
        given["na"] = na_from_working(f_number, given["magnification"])
    words = {each.name: each.words for each in inputs_of(ShowsQuestion)}
    lacking = [words[name] for name, value in given.items() if value is None]
    if lacking:
        raise TriageError(
            f"not known: {', '.join(lacking)}", mend="give it, or name a set-up of your bench"
        )
    return View(**given)


def answer(means: Means, asked: ShowsQuestion) -> Answer:
    """Return what a set-up shows: its least spot, field, depth and frames, and one speck in it.

    Raises
    ------
    TriageError: an unknown set-up, figures that are missing.
    OutOfRange: a figure out of range.
    """
    kept = None
    if asked.setup is not None:
        setups = {each.name: each for each in means.bench.setups}
        kept = setups.get(asked.setup)
        if kept is None:
            raise TriageError(
                f'unknown set-up on the bench "{asked.setup}"',
                mend=did_you_mean(asked.setup, sorted(setups)),
            )
    judged = means.knowledge.judgement
    eye, view = eye_of(judged), view_of(asked, kept)
    found = what_shows(view, eye)
    figures = [
        Figure("smallest spot that shows", found.least_um, "um", LIMITS[found.bound_by]),
        Figure("resolution of the lens", found.resolution_um, "um", f"aperture {view.na:g}"),
        Figure("two pixels", found.two_pixels_um, "um"),
        Figure("least that the viewer sees", found.eye_um, "um"),
        Figure("enlargement in the picture", found.picture_magnification, ""),
        Figure("field", found.field_mm, "mm", "width on the specimen"),
        Figure("blur of diffraction in the picture", found.blur_in_picture_mm, "mm"),
        Figure("depth of field", found.depth_um, "um"),
    ]
    if asked.depth_um is not None:
        frames = frames_of_stack(asked.depth_um, found.depth_um, eye.overlap_fraction)
        figures.append(Figure("frames of the stack", frames, "", f"for {asked.depth_um:g} um"))
    sentence = f"Spots from {found.least_um:.3g} um show; {LIMITS[found.bound_by]} sets that."
    if asked.grain_um is not None:
        grain = grain_in_picture(asked.grain_um, view, found)
        figures += [
            Figure("the speck on the sensor", grain.pixels, "pixels"),
            Figure("the speck in the picture", grain.picture_mm, "mm"),
            Figure("the speck for the viewer", grain.arcmin, "arc minutes"),
        ]
        verdict = "it can show" if grain.shows else "it will not show: accept it"
        sentence = f"A speck of {asked.grain_um:g} um: {verdict}. {sentence}"
        sentence += "" if grain.shows else f" {GLINT}"
    taken = (judged.wavelength_um, judged.eye_acuity_arcmin, judged.stack_overlap)
    told = Answer(
        sentence,
        figures,
        assumptions=(
            f"Light of {eye.wavelength_um:g} um. {judged.wavelength_um.because}",
            f"Eye: {eye.acuity_arcmin:g} arc minute. {judged.eye_acuity_arcmin.because}",
            f"Frames that overlap by {eye.overlap_fraction:.0%}. {judged.stack_overlap.because}",
            "In air; sizes are those on the specimen unless it says otherwise.",
            "Resolution by Rayleigh, 0.61 wavelengths over the aperture; depth by wave and sensor.",
        ),
        sources=tuple(each.source for each in taken),
    )
    return answered(means.knowledge, told)


def finest(bench: Bench, judgement: Judgement) -> tuple[str, Showing] | None:
    """Return the set-up of the bench that shows the smallest spot, by name."""
    shown = []
    for setup in bench.setups:
        try:
            shown.append((setup.name, what_shows(view_of(setup), eye_of(judgement))))
        except TriageError:  # a set-up whose figures are not all known says nothing
            continue
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
                f"{GLINT}",
                "will-not-show",
            )


DONE = ("accepted", "cleared", "left")
