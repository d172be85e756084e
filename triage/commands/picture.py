"""What the photograph can show, and what two photographs of one zone tell of a pass."""

from __future__ import annotations

import sys
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING

from triage.commands.common import (
    Arguments,
    command,
    number,
    one_of,
    option,
    print_json,
    show,
    workshop_of,
    write_file,
)
from triage.errors import TriageError
from triage.show.blocks import Line

if TYPE_CHECKING:
    from triage.picture.limits import Limits
    from triage.picture.optics import Grain, Showing, View
    from triage.picture.pair import Comparison, Picture
    from triage.service import Workshop

VIEW = {
    "magnification": "magnification on the sensor",
    "na": "numerical aperture of the objective",
    "f_number": "working f-number, instead of --na",
    "pitch_um": "pixel pitch [um]",
    "sensor_mm": "width of the sensor [mm]",
    "picture_mm": "width of the print or of the picture on the screen [mm]",
    "distance_mm": "viewing distance [mm]",
}
ASKED = {
    "grain_um": "diameter of a speck on the specimen [um]",
    "depth_um": "depth of what must be sharp [um]: adds the frames of a stack",
}
LIMITS = {
    "lens": "diffraction at the lens",
    "pixels": "two pixels of the sensor",
    "viewer": "the viewer's eye at this size and distance",
}


@command(
    "compare before.jpg after.jpg --um-per-pixel 0.4 --marked both.png",
    option("before", "photo before the pass", type=Path),
    option("after", "photo after it, same field, light and set-up", type=Path),
    number("--um-per-pixel", "size of a pixel on the specimen [um]"),
    option("--marked", "write both side by side, changes marked", type=Path, metavar="FILE.png"),
    as_json=True,
)
def run_compare(arguments: Arguments) -> int:
    """Say what left and what came between two photos of one zone, or why it cannot be told."""
    from triage.picture.files import png_of, read_photo
    from triage.picture.limits import Limits
    from triage.picture.marked import marked
    from triage.show.compared import compared_blocks
    from triage.units import positive

    scale = arguments.um_per_pixel
    if scale is not None:
        positive("size of a pixel", scale, "um")
    limits = Limits.of(workshop_of(arguments).knowledge.judgement.picture)
    before, after = read_photo(arguments.before), read_photo(arguments.after)
    found = compared(before, after, limits)
    show(
        arguments,
        {**asdict(found), "um_per_pixel": scale},
        lambda: compared_blocks(found, limits, scale),
    )
    if arguments.marked is not None:
        write_file(arguments.marked, png_of(marked(before, after, found)))
        print(arguments.marked, file=sys.stderr if arguments.json else sys.stdout)
    return 0


def compared(before: Picture, after: Picture, limits: Limits) -> Comparison:
    """Compare, and say on a terminal how far it is; a glance at large photos comes first."""
    from triage.picture.pair import GLANCE, STAGES, compare, glance
    from triage.picture.register import CannotTell

    if not sys.stderr.isatty():
        return compare(before, after, limits)
    if max(before.shape) > 2 * GLANCE:
        try:
            first = glance(before, after, limits)
            left, came = len(first.vanished), len(first.appeared)
            print(f"at a glance: {left} larger spots left, {came} came", file=sys.stderr)
        except CannotTell as fault:
            print(f"at a glance: {fault.line()}", file=sys.stderr)
    done = 0

    def told(stage: str) -> None:
        nonlocal done
        bar = "#" * (done * 5) + "-" * ((STAGES - done) * 5)
        print(f"\r[{bar}] {stage:<32}", end="", file=sys.stderr, flush=True)
        done += 1

    try:
        return compare(before, after, limits, told)
    finally:
        print("\r" + " " * 60 + "\r", end="", file=sys.stderr, flush=True)


@command(
    "scale ruler.png --spacing 10",
    option("picture", "photo of a ruled scale, its lines over most of it", type=Path, nargs="?"),
    number("--spacing", "distance of neighbouring lines of the scale [um]"),
    number("--pitch", "pixel pitch of the sensor [um], instead of a photo"),
    number("--magnification", "magnification on the sensor, instead of a photo"),
    as_json=True,
)
def run_scale(arguments: Arguments) -> int:
    """Tell how large a pixel is on the specimen, from a ruled scale or by reckoning."""
    from triage.picture.files import read_photo
    from triage.picture.scale import scale_from_pitch, scale_from_ruling

    ruled = arguments.picture is not None and arguments.spacing is not None
    reckoned = arguments.pitch is not None and arguments.magnification is not None
    if ruled == reckoned:
        raise TriageError(
            "not known from what the scale is to come",
            mend="give a photo with --spacing, or --pitch with --magnification",
        )
    if reckoned:
        told = {"um_per_pixel": scale_from_pitch(arguments.pitch, arguments.magnification)}
        show(arguments, told, lambda: (Line(f"{told['um_per_pixel']:.4g} um a pixel"),))
        return 0
    grey = read_photo(arguments.picture).mean(axis=2)
    found = scale_from_ruling(grey, arguments.spacing)
    line = (
        f"{found.um_per_px:.5g} um a pixel, uncertain by {found.uncertainty_um:.2g} "
        f"(the error of the scale itself not counted)"
    )
    show(arguments, asdict(found), lambda: (Line(line),))
    return 0


def _flag(name: str) -> str:
    return "--" + name.removesuffix("_um").removesuffix("_mm").replace("_", "-")


@command(
    "shows --na 0.28 --magnification 10 --pitch 3.76 --sensor 35.7 --picture 600 "
    "--distance 500 --grain 5 --depth 300",
    option("--setup", "a set-up of your bench", metavar="NAME"),
    *(number(_flag(name), text, dest=name) for name, text in {**VIEW, **ASKED}.items()),
    as_json=True,
)
def run_shows(arguments: Arguments) -> int:
    """Tell whether a speck will show in the picture, and the frames of a stack."""
    from triage.picture.optics import frames_of_stack, grain_in_picture, what_shows
    from triage.plan.showing import eye_of

    workshop = workshop_of(arguments)
    view = _view(arguments, workshop)
    eye = eye_of(workshop.knowledge.judgement)
    showing = what_shows(view, eye)
    grain = None
    if arguments.grain_um is not None:
        grain = grain_in_picture(arguments.grain_um, view, showing)
    frames = None
    if arguments.depth_um is not None:
        frames = frames_of_stack(arguments.depth_um, showing.depth_um, eye.overlap_fraction)
    if arguments.json:
        print_json(
            {
                "view": asdict(view),
                "assumed": asdict(eye),
                "shows": asdict(showing),
                "grain": asdict(grain) if grain else None,
                "frames": frames,
            }
        )
        return 0
    print("\n".join(_lines(showing, grain)))
    if frames is not None:
        print(f"stack: {frames} frames for {arguments.depth_um:g} um")
    return 0


def _view(arguments: Arguments, workshop: Workshop) -> View:
    from triage.picture.optics import View, na_from_working

    given = {name: getattr(arguments, name) for name in VIEW}
    if given["na"] is not None and given["f_number"] is not None:
        raise TriageError("both --na and --f-number are given", mend="give one of them")
    if arguments.setup is not None:
        setups = {each.name: each for each in workshop.bench.setups}
        kept = setups[one_of(arguments.setup, sorted(setups), "set-up on the bench")]
        aperture = given["na"] is not None or given["f_number"] is not None
        for name in VIEW:
            if given[name] is None and not (aperture and name in ("na", "f_number")):
                given[name] = getattr(kept, name)
    f_number = given.pop("f_number")
    lacking = [name for name in given if given[name] is None and (name != "na" or not f_number)]
    if lacking:
        raise TriageError(
            f"not known: {', '.join(VIEW[name] for name in lacking)}",
            mend="give it, or name a set-up of your bench with --setup",
        )
    view = View(**{**given, "na": given["na"] or 0.0})
    return replace(view, na=na_from_working(f_number, view.magnification)) if f_number else view


def _lines(showing: Showing, grain: Grain | None) -> list[str]:
    lines = [
        f"smallest spot that shows: {showing.least_um:.3g} um, set by {LIMITS[showing.bound_by]}",
        (
            f"  lens {showing.resolution_um:.3g} um, two pixels {showing.two_pixels_um:.3g} um, "
            f"viewer {showing.eye_um:.3g} um (sizes on the specimen)"
        ),
        (
            f"picture: x{showing.picture_magnification:.3g}, field {showing.field_mm:.3g} mm wide, "
            f"blur of diffraction {showing.blur_in_picture_mm:.3g} mm"
        ),
        f"depth of field: {showing.depth_um:.3g} um",
    ]
    if grain is not None:
        lines.append(
            f"a speck of {grain.size_um:g} um: {grain.pixels:.3g} pixels, "
            f"{grain.picture_mm:.3g} mm in the picture, {grain.arcmin:.3g} arc minutes"
        )
        lines.append(
            "  it can show"
            if grain.shows
            else f"  will not show: accept ({grain.size_um:g} um is below {showing.least_um:.3g} "
            "um); a glint of light or strong contrast can still be seen, as a blur"
        )
    return lines
