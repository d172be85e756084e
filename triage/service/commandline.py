"""What a face may ask of the command line, so that whatever a command does can be done there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from triage.service.workshop import Workshop


@dataclass(frozen=True, slots=True)
class Known:
    """A command: what it does, and the words behind its name that show how it is used.

    ``example`` has ``{case}`` where the case at hand belongs.
    """

    name: str
    what: str
    example: str

    def words(self, case: str | None) -> str:
        """Return the example for a case; where none is at hand its place is named."""
        return self.example.replace("{case}", case or "CASE")


class CommandLine(Protocol):
    """The commands, run on the open workshop."""

    def known(self) -> Sequence[Known]:
        """Return the commands that can be run from within a face."""

    def run(self, line: str, workshop: Workshop) -> str:
        """Run a line and return what it said.

        Raises
        ------
        TriageError: what is wrong with the line, in one line.
        """
