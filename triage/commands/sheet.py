"""Print what is read on paper: the bench sheet of a plan, the rulebase as a handbook."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import webbrowser
from pathlib import Path

from triage.commands.common import Arguments, command, option, write_file
from triage.errors import TriageError

FORMATS = ("md", "html", "pdf")
PNG, MOST_BYTES = b"\x89PNG\r\n\x1a\n", 30_000_000


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
