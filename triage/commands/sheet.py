"""Print the bench sheet of a plan."""

from __future__ import annotations

import sys
from pathlib import Path

from triage.commands.common import Arguments, Subparsers, command, workshop_of
from triage.errors import TriageError

FORMATS = ("md", "html", "pdf")


def add_commands(subparsers: Subparsers) -> None:
    """Add the commands of this module."""
    sheet = command(
        subparsers,
        "sheet",
        "print the bench sheet of a case: boxes to tick, stop points, lines to write on",
        "sheet hoverfly-plate-4 --format html --out sheet.html",
        run_sheet,
        on_case=True,
    )
    sheet.add_argument("--format", choices=FORMATS, help="md, html or pdf; by the name of --out")
    sheet.add_argument("--out", type=Path, metavar="FILE", help="file to write; else to the screen")
    sheet.add_argument("--whole", action="store_true", help="steps for later in full as well")


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
    try:
        out.write_bytes(content)
    except OSError as fault:
        raise TriageError(
            f'"{out}" cannot be written: {fault.strerror}', mend="choose another place"
        ) from fault
    print(out)


def run_sheet(arguments: Arguments) -> int:
    """Print or write the bench sheet."""
    form = format_of(arguments.format, arguments.out)
    workshop = workshop_of(arguments, arguments.case)
    from triage.sheet import sheet_of

    sheet = sheet_of(workshop.plan(workshop.load(arguments.case)), whole=arguments.whole)
    if form == "pdf":
        from triage.sheet.pdf import pdf_of

        content = pdf_of(sheet)
    elif form == "html":
        from triage.sheet.html import html_of

        content = html_of(sheet).encode("utf-8")
    else:
        from triage.sheet.markdown import markdown_of

        content = markdown_of(sheet).encode("utf-8")
    write_out(content, arguments.out)
    return 0
