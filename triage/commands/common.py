"""What the commands share: options, opening the workshop, printing as text or JSON."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, fields, is_dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

from triage.errors import TriageError
from triage.service.commandline import HELD

if TYPE_CHECKING:
    from triage.case.models import Case
    from triage.service.workshop import Workshop
    from triage.show.blocks import Block

# Adds a word or an option, or a group of them, to a parser.
Option = Callable[[Any], object]
T = TypeVar("T")
# How to add the commands of each module, in the order in which they stand there.
COMMANDS: dict[str, list[Callable[[Any], None]]] = {}
BAR = 40
PAIRS = "what was seen, as triage ask says it; triage handbook question lists all"
Subparsers = Any


class Arguments(argparse.Namespace):
    """What is given to a command, and what every command does with it."""

    def folder_of(self, case: str | None = None) -> Path | None:
        """Return the folder of the cases that is named, by itself or by the path of a case."""
        if self.cases is None and case is not None and Path(case).suffix == ".yaml":
            return Path(case).parent
        folder: Path | None = self.cases
        return folder

    def workshop(self, case: str | None = None) -> Workshop:
        """Return the workshop for the folders named on the command line.

        A case given as a path brings its own folder, so that its bench and its day are used.
        """
        from triage.service.workshop import open_workshop

        folder, held = self.folder_of(case), HELD.get()
        if held is not None and folder is self.rules is self.bench is None:
            return held
        return open_workshop(cases=folder, rules=self.rules, bench=self.bench)

    def opened(self) -> tuple[Workshop, Case]:
        """Return the workshop and the case that a command is about."""
        workshop = self.workshop(self.case)
        return workshop, workshop.load(self.case)

    def show(self, content: Any, told: str | Callable[[], Iterable[Block]]) -> None:
        """Print what was found: as JSON where that is wanted, else in words or blocks."""
        if getattr(self, "json", False):
            print_json(content)
        elif isinstance(told, str):
            sys.stdout.write(told)
        else:
            from triage.show.blocks import lines_of

            sys.stdout.write("".join(f"{line}\n" for line in lines_of(told())))


Run = Callable[[Arguments], int | None]


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


def option(*names: str, **how: Any) -> Option:
    """Return a word or an option of a command, as argparse takes it; its help comes second."""
    *flags, text = names
    return lambda parser: parser.add_argument(*flags, help=text, **how)


def number(name: str, text: str, **how: Any) -> Option:
    """Return a word or an option that is a number."""
    return option(name, text, **{"type": number_word, "metavar": "N", **how})


def either(*options: Option, required: bool = True) -> Option:
    """Return options of which one is given, or at most one."""

    def add(parser: argparse.ArgumentParser) -> None:
        group = parser.add_mutually_exclusive_group(required=required)
        for each in options:
            each(group)

    return add


def number_word(word: str) -> float:
    """Return a number given on the command line; anything else is one line and exit code 2."""
    try:
        return float(word)
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{word}" is not a number') from None


PHOTO_OPTIONS = (
    number("--um-per-pixel", "size of a pixel on the specimen [um]"),
    option("--patch", "an even patch that both photos show, in points", metavar="LEFT,TOP,W,H"),
    option("--patch-after", "where it lies in the second, if apart", metavar="LEFT,TOP,W,H"),
)


def command(
    example: str,
    *options: Option,
    on_case: bool = False,
    as_json: bool = False,
) -> Callable[[Run], Run]:
    """Make a function ``run_NAME`` the command NAME; its docstring is the help, said once.

    ``on_case``: its first argument is a case. ``as_json``: it can print what a program reads.
    """

    def made(run: Run) -> Run:
        def add(subparsers: Subparsers) -> None:
            text = (run.__doc__ or "").strip().splitlines()[0].replace("%", "%%")
            parser: argparse.ArgumentParser = subparsers.add_parser(
                run.__name__.removeprefix("run_").replace("_", "-"),
                help=text[0].lower() + text[1:].rstrip("."),
                description=text,
                epilog=f"example: triage {example}",
                formatter_class=argparse.RawDescriptionHelpFormatter,
            )
            add_folders(parser)
            if on_case:
                parser.add_argument("case", help="id or file of the case")
            if as_json:
                parser.add_argument("--json", action="store_true", help="print JSON")
            for each in options:
                each(parser)
            # All commands are known only when all have been added: they are read when it runs.
            parser.set_defaults(run=run, every=subparsers)

        COMMANDS.setdefault(run.__module__, []).append(add)
        return run

    return made


def given(arguments: Arguments, kind: type[T], **more: Any) -> T:
    """Return a question whose fields are the options of the same name, where they were given."""
    named = {each.name: getattr(arguments, each.name, None) for each in fields(kind)}  # type: ignore[arg-type]
    return kind(**{key: value for key, value in {**named, **more}.items() if value is not None})


def write_file(path: Path, content: bytes) -> None:
    """Write a file in one step; one that cannot be written is bad input, an older one stays."""
    from triage.case.store import replace_bytes

    replace_bytes(path, content)


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
    """Print data as JSON, the same bytes for the same data."""
    sys.stdout.write(json.dumps(content, indent=2, ensure_ascii=False, default=_plain) + "\n")


def _plain(held: Any) -> Any:
    return asdict(held) if is_dataclass(held) and not isinstance(held, type) else str(held)


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
