"""Messages between the screens and the program; all are past events."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual.message import Message

if TYPE_CHECKING:
    from triage.case.models import Case


@dataclass
class CaseChanged(Message):
    """A case was read or changed; its timers may be new."""

    case: Case


@dataclass
class TimerWarned(Message):
    """A dwell timer has less than the warning time left."""

    case: str
    step: str
    label: str
    seconds_left: int


@dataclass
class TimerEnded(Message):
    """A dwell timer has run out."""

    case: str
    step: str
    label: str
    seconds_over: int


@dataclass
class CaseChosen(Message):
    """A case was chosen in the list."""

    case: str


@dataclass
class CaseBegun(Message):
    """A new case was begun; its specimen is to be looked at."""

    case: str


@dataclass
class LookingChosen(Message):
    """The user wants to look at the specimen and note findings."""

    case: str


@dataclass
class FindingChosen(Message):
    """Questions about one finding are wanted; None: about the whole specimen.

    ``question`` is to be asked first, if one is named.
    """

    case: str
    finding: str | None
    question: str | None = None


@dataclass
class StepChosen(Message):
    """The user wants to work on a step; None: on the next one."""

    case: str
    step: str | None = None


@dataclass
class PlaceChosen(Message):
    """The user wants one of the screens that belong to no case: bench, handbook, air."""

    place: str
    case: str | None = None
