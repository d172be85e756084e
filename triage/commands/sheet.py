"""What is read and printed: photographs compared, the bench sheet, the rulebase as a handbook."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import webbrowser
from dataclasses import asdict, replace
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
from triage.units import positive

if TYPE_CHECKING:
    from triage.service.measuring import Measured
    from triage.service.workshop import Workshop

FORMATS = ("md", "html", "pdf")
PNG, MOST_BYTES = b"\x89PNG\r\n\x1a\n", 30_000_000


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

    um_per_px: float | None = arguments.um_per_pixel
    if um_per_px is not None:
        positive("size of a pixel", um_per_px, "um")
    with progress_bar("comparing") as bar:
        done = count(1)
        told = measured(
            workshop.knowledge,
            (before, after),
            patch=patch_of(arguments.patch, arguments.patch_after),
            told=(lambda _: bar(next(done), STAGES)) if bar else str,
            glanced=(lambda words: print(f"\r{words:<70}", file=sys.stderr)) if bar else None,
        )
    return replace(told, um_per_px=um_per_px)


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


def format_of(named: str | None, out: Path | None) -> str:
    """Return the form of the sheet: as named, else by the ending of the file, else Markdown.

    Raises
    ------
    TriageError: a PDF without a file to write it to, or an ending that says nothing.
    """
    form = named
    if form is None:
        ending = out.suffix.lower().removeprefix(".") if out else "md"
        form = {"markdown": "md", "htm": "html"}.get(ending, ending)
    if form not in FORMATS:
        raise TriageError(
            f'"{out}" does not say which format', mend="give --format md, html or pdf"
        )
    if form == "pdf" and out is None:
        raise TriageError("a PDF cannot be shown on the screen", mend="give --out FILE.pdf")
    return form


def write_out(content: bytes, out: Path | None) -> None:
    """Write to a file or to the screen; a file that cannot be written is bad input."""
    if out is None:
        sys.stdout.write(content.decode("utf-8"))
        return
    write_file(out, content)
    print(out)


def png_bytes(path: Path) -> bytes | None:
    """Return a PNG file of moderate size, None for anything else."""
    if not path.is_file() or path.stat().st_size > MOST_BYTES:
        return None
    content = path.read_bytes()
    return content if content.startswith(PNG) else None


def send_to_printer(path: Path) -> None:
    """Give a file to the printing of the system.

    Raises
    ------
    TriageError: there is none, or it refused the file.
    """
    program = shutil.which("lp") or shutil.which("lpr")
    if program is None:
        raise TriageError("no printing is set up here", mend="take --open and print from there")
    done = subprocess.run([program, str(path)], capture_output=True, text=True, check=False)  # noqa: S603  (found on the path, one file behind it)
    if done.returncode:
        raise TriageError(f"not printed: {done.stderr.strip()}", mend="take --open instead")


@command(
    "sheet hoverfly-plate-4 --format html --out sheet.html",
    option("--format", "md, html or pdf; by the name of --out", choices=FORMATS),
    option("--out", "file to write; else to the screen", type=Path, metavar="FILE"),
    option("--whole", "steps for later in full as well", action="store_true"),
    option("--open", "show it in the browser, to read or to print", action="store_true"),
    option("--print", "send it to the printer", action="store_true"),
    on_case=True,
)
def run_sheet(arguments: Arguments) -> None:
    """Print the bench sheet of a case: boxes to tick, stop points, lines to write on."""
    form = format_of(arguments.format, arguments.out)
    if arguments.open and arguments.format is None and arguments.out is None:
        form = "html"
    workshop, case = arguments.opened()
    from triage.case.folder import photo_path
    from triage.show.compared import attempt_photo_blocks
    from triage.show.html import html_of, markdown_of
    from triage.show.plan import sheet_of

    place = workshop.path_of(arguments.case)

    def photo(name: str) -> bytes | None:
        try:
            return png_bytes(photo_path(place, name))
        except TriageError:  # moved or made elsewhere: the figures stand without it
            return None

    photos = attempt_photo_blocks(case, photo)
    paper = sheet_of(workshop.plan(case), whole=arguments.whole, photos=photos)
    if form == "pdf":
        from triage.show.pdf import pdf_of

        content = pdf_of(paper)
    else:
        content = (html_of if form == "html" else markdown_of)(paper).encode("utf-8")
    if arguments.open or arguments.print:
        out = arguments.out or Path(tempfile.gettempdir(), f"{case.id}-sheet.{form}")
        write_out(content, out)
        if arguments.open and not webbrowser.open(out.resolve().as_uri()):
            raise TriageError(f'no browser shows "{out}"', mend="open the file yourself")
        if arguments.print:
            send_to_printer(out)
        return
    write_out(content, arguments.out)


@command(
    "handbook deposit oily-film",
    option(
        "kind",
        "deposit, zone, agent, method, rule, taxon, question or source; all without",
        nargs="?",
    ),
    option("entry", "id of one entry; all without", nargs="?", metavar="ID"),
    option("--out", "file to write; else to the screen", type=Path, metavar="FILE"),
)
def run_handbook(arguments: Arguments) -> None:
    """Print the rulebase to be read: by deposit, zone, agent, method or rule."""
    from triage import places
    from triage.handbook import handbook
    from triage.knowledge.load import load_knowledge

    knowledge = load_knowledge(arguments.rules or places.rules_folder())
    text = handbook(knowledge, arguments.kind, arguments.entry)
    write_out(text.encode("utf-8"), arguments.out)
