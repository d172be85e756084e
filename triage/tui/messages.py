"""Messages between the screens and the program; both are past events."""

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


class Wanted(Message):
    """The user wants a screen: its place, then what it is about (a case, a finding, a step)."""

    def __init__(self, place: str, *about: str | None) -> None:
        super().__init__()
        self.place, self.about = place, about
