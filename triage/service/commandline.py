"""What a face may ask of the command line, so that whatever a command does can be done there."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from triage.service.workshop import Workshop

ON = "yes"


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

    @property
    def is_switch(self) -> bool:
        """Whether it is only given or not."""
        return self.choices == (ON,)

    def line(self, value: str) -> str:
        """Return it as it is written for a value, empty for none."""
        if not value:
            return ""
        if self.is_switch:
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


class CommandLine(Protocol):
    """The commands, run on the open workshop."""

    def known(self) -> Sequence[Known]:
        """Return the commands that can be run from within a face."""

    def run(self, line: str, workshop: Workshop, width: int) -> str:
        """Run a line and return what it said, in lines of a width.

        Raises
        ------
        TriageError: what is wrong with the line, in one line.
        """
