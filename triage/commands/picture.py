"""What the photograph can show, and what two photographs of one zone tell of a pass."""

from __future__ import annotations

import sys
from dataclasses import asdict
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from triage.commands.common import (
    PHOTO_OPTIONS,
    Arguments,
    command,
    number,
    option,
    progress_bar,
    write_file,
)
from triage.errors import TriageError
from triage.show.blocks import Line

if TYPE_CHECKING:
    from triage.service.measuring import Measured
    from triage.service.workshop import Workshop


@command(
    "compare before.jpg after.jpg --um-per-pixel 0.4 --marked both.png",
    option("before", "photo before the pass", type=Path),
    option("after", "photo after it, same field, light and set-up", type=Path),
    *PHOTO_OPTIONS,
    option("--marked", "write both side by side, changes marked", type=Path, metavar="FILE.png"),
    option("--colours", "write where the colour moved", type=Path, metavar="FILE.png"),
    as_json=True,
)
def run_compare(arguments: Arguments) -> int:
    """Say what left and what came between two photos of one zone, or why it cannot be told."""
    from triage.picture.files import colour_map, png_of

    workshop = arguments.workshop()
    told = measured_here(workshop, arguments.before, arguments.after, arguments)
    content = {**asdict(told.found), "um_per_pixel": told.um_per_px}
    content["harm"].pop("map")  # a picture, which --colours writes
    arguments.show(content, told.lines)
    if arguments.marked is not None:
        write_file(arguments.marked, told.marked_png())
    if arguments.colours is not None:
        write_file(arguments.colours, png_of(colour_map(told.found)))
    for place in (arguments.marked, arguments.colours):
        if place is not None:
            print(place, file=sys.stderr if arguments.json else sys.stdout)
    return 0


def measured_here(workshop: Workshop, before: Path, after: Path, arguments: Arguments) -> Measured:
    """Compare two photos, and say on a terminal how far it is; a glance at large ones first."""
    from triage.picture.pair import STAGES
    from triage.service.measuring import measured, patch_of

    with progress_bar("comparing") as bar:
        done = count(1)
        return measured(
            workshop.knowledge,
            before,
            after,
            um_per_px=arguments.um_per_pixel,
            patch=patch_of(arguments.patch, arguments.patch_after),
            told=(lambda _: bar(next(done), STAGES)) if bar else str,
            glanced=(lambda words: print(f"\r{words:<70}", file=sys.stderr)) if bar else None,
        )


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
    from triage.picture.points import grey_of
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
        arguments.show(told, lambda: (Line(f"{told['um_per_pixel']:.4g} um a pixel"),))
        return 0
    found = scale_from_ruling(grey_of(read_photo(arguments.picture)), arguments.spacing)
    line = (
        f"{found.um_per_px:.5g} um a pixel, uncertain by {found.uncertainty_um:.2g} "
        f"(the error of the scale itself not counted)"
    )
    arguments.show(asdict(found), lambda: (Line(line),))
    return 0
