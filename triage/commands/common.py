"""What the commands share: options, opening the workshop, printing as text or JSON."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from triage.errors import TriageError, did_you_mean

if TYPE_CHECKING:
    from triage.service import Workshop

Arguments = argparse.Namespace
BAR = 40
PAIRS = "what was seen, as triage ask says it; triage handbook question lists all"
Subparsers = Any


class Parser(argparse.ArgumentParser):
    """A parser whose complaint is one line, like every other fault of the input."""

    def error(self, message: str) -> NoReturn:
        """Raise what is wrong with the words, and where help is."""
        raise TriageError(f"{self.prog}: {message}", mend=f"see {self.prog} --help")


def add_folders(parser: argparse.ArgumentParser) -> None:
    """Add the options that say where cases, rules and bench are."""
    parser.add_argument("--cases", type=Path, metavar="DIR", help="folder of the cases")
    parser.add_argument("--rules", type=Path, metavar="DIR", help="rules folder to use instead")
    parser.add_argument("--bench", type=Path, metavar="FILE", help="bench file to use instead")


def command(
    subparsers: Subparsers,
    name: str,
    text: str,
    example: str,
    run: Callable[[Arguments], int] | None = None,
    *,
    on_case: bool = False,
    as_json: bool = False,
) -> argparse.ArgumentParser:
    """Add a command with its one-line help, an example and what it runs (None: its parts do).

    ``on_case``: its first argument is a case. ``as_json``: it can print what a program reads.
    """
    parser: argparse.ArgumentParser = subparsers.add_parser(
        name,
        help=text,
        description=text[0].upper() + text[1:] + ".",
        epilog=f"example: triage {example}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_folders(parser)
    if on_case:
        parser.add_argument("case", help="id or file of the case")
    if as_json:
        parser.add_argument("--json", action="store_true", help="print JSON")
    if run is not None:
        parser.set_defaults(run=run)
    return parser


def workshop_of(arguments: Arguments, case: str | None = None) -> Workshop:
    """Return the workshop for the folders named on the command line.

    A case given as a path brings its own folder, so that its bench and its day are used.
    """
    from triage.service import open_workshop

    folder = arguments.cases
    if folder is None and case is not None and Path(case).suffix == ".yaml":
        folder = Path(case).parent
    return open_workshop(cases=folder, rules=arguments.rules, bench=arguments.bench)


@contextmanager
def progress_bar(label: str) -> Iterator[Callable[[int, int], None] | None]:
    """Give a bar on standard error, None if that is not a terminal.

    Its line is ended however the work ends: what is said next, such as that it was interrupted,
    stands on a line of its own.
    """
    if not sys.stderr.isatty():
        yield None
        return
    is_begun = False

    def show(done: int, total: int) -> None:
        nonlocal is_begun
        is_begun = True
        filled = BAR * done // max(total, 1)
        bar = "#" * filled + "." * (BAR - filled)
        print(f"\r{label} [{bar}] {done}/{total}", end="", file=sys.stderr, flush=True)

    try:
        yield show
    finally:
        if is_begun:
            print(file=sys.stderr)


def print_json(content: Any) -> None:
    """Print plain data as JSON, the same bytes for the same data."""
    sys.stdout.write(json.dumps(content, indent=2, ensure_ascii=False, default=str) + "\n")


def pairs(words: list[str]) -> dict[str, str]:
    """Return ``question=answer`` words as a mapping.

    Raises
    ------
    TriageError: a word without an equals sign.
    """
    found = {}
    for word in words:
        name, sign, value = word.partition("=")
        if not sign or not name or not value:
            raise TriageError(
                f'"{word}" is not question=answer', mend="write for example puff=moves"
            )
        found[name] = value
    return found


def one_of(word: str, known: list[str], what: str) -> str:
    """Return a word if it is known, else raise with the nearest one."""
    if word not in known:
        raise TriageError(f'unknown {what} "{word}"', mend=did_you_mean(word, known))
    return word
