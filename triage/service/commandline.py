"""The commands for the other faces: whatever one does can be done there, on the open workshop."""

from __future__ import annotations

import argparse
import io
import shlex
from collections.abc import Callable, Mapping, Sequence
from contextlib import redirect_stderr, redirect_stdout
from contextvars import ContextVar
from dataclasses import dataclass
from typing import TYPE_CHECKING

from triage.errors import TriageError
from triage.show.blocks import WIDE, WIDTH

if TYPE_CHECKING:
    from triage.service.workshop import Workshop

# The workshop of the face that a command is run from within.
HELD: ContextVar[Workshop | None] = ContextVar("held", default=None)
ON = "yes"
# A server that stays, a script for the shell, and the bench, which each face asks in its own way.
NOT_INSIDE = frozenset({"serve", "completion", "bench"})
# The folders are those that the face has open.
NOT_ASKED = frozenset({"help", "cases", "rules", "bench", "json"})
EXAMPLE = "example: triage "
DONE = "Done."


@dataclass(frozen=True, slots=True)
class Word:
    """What may be given behind the name of a command.

    Parameters
    ----------
    name    what it is called among the others
    flag    what stands before it on the command line, empty if it has its place
    what    what it is, in words
    example what it could be, from the example of the command
    choices all that it may be, empty if it is free
    is_needed whether nothing can be done without it
    is_many whether several may be given, apart
    """

    name: str
    flag: str
    what: str
    example: str = ""
    choices: tuple[str, ...] = ()
    is_many: bool = False
    is_needed: bool = False

    def line(self, value: str) -> str:
        """Return it as it is written for a value, empty for none."""
        if not value:
            return ""
        if self.choices == (ON,):
            return self.flag
        said = value if self.is_many else shlex.quote(value)
        return f"{self.flag} {said}".strip()


@dataclass(frozen=True, slots=True)
class Known:
    """A command: what it does, and the words that may stand behind its name."""

    name: str
    what: str
    words: tuple[Word, ...]

    def line(self, given: Mapping[str, str]) -> str:
        """Return the line that runs it with values by the names of its words."""
        said = (word.line(given.get(word.name, "")) for word in self.words)
        return " ".join((self.name, *filter(None, said)))


class CommandLine:
    """The commands, without the ones that only make sense in a shell.

    Parameters
    ----------
    by_name gives the parser of each command
    command runs the words of one
    """

    def __init__(
        self,
        by_name: Callable[[], Mapping[str, argparse.ArgumentParser]],
        command: Callable[[Sequence[str]], int],
    ) -> None:
        self._by_name = by_name
        self._command = command

    def known(self) -> Sequence[Known]:
        """Return each command with what it does and an example of its words."""
        every = self._by_name().items()
        return tuple(_known(name, parser) for name, parser in every if name not in NOT_INSIDE)

    def run(self, line: str, workshop: Workshop, width: int = WIDTH) -> str:
        """Run a line and return what it said, in lines of a width.

        Raises
        ------
        TriageError: what is wrong with the line, in one line.
        """
        try:
            words = shlex.split(line)
        except ValueError:
            raise TriageError(f"{line}: a quote is not closed", mend="close it") from None
        if not words or words[0] not in {each.name for each in self.known()}:
            raise TriageError(f'"{line}" is no command', mend="choose one that is listed")
        said = io.StringIO()
        before, wide = HELD.set(workshop), WIDE.set(width)
        try:
            with redirect_stdout(said), redirect_stderr(said):
                self._command(words)
        except SystemExit:
            pass  # its help has said what it has to say
        finally:
            HELD.reset(before)
            WIDE.reset(wide)
        return said.getvalue().strip("\n") or DONE


def _known(name: str, parser: argparse.ArgumentParser) -> Known:
    example = shlex.split((parser.epilog or "").removeprefix(EXAMPLE))[1:]
    try:
        shown = vars(parser.parse_known_args(example)[0])
    except TriageError:
        shown = {}
    words = (
        _word(each, shown.get(each.dest))
        for each in parser._actions  # noqa: SLF001  (argparse has no public way)
        if each.help and each.dest not in NOT_ASKED
    )
    return Known(name, (parser.description or "").replace("%%", "%"), tuple(words))


def _word(action: argparse.Action, shown: object) -> Word:
    flag = action.option_strings[-1] if action.option_strings else ""
    is_many = action.nargs in ("*", "+")
    example = " ".join(map(str, shown)) if isinstance(shown, list) else f"{shown or ''}"
    choices = (ON,) if action.nargs == 0 else tuple(map(str, action.choices or ()))
    what = (action.help or "").replace("%%", "%")
    shown_now = "" if action.nargs == 0 or shown == action.default else example
    is_needed = action.required and not is_many
    return Word(action.dest, flag, what, shown_now, choices, is_many, is_needed)
