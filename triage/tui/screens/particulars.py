"""Amount, minutes, note and photos of a pass; all optional."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Input, Static

from triage.errors import TriageError
from triage.tui.screens.base import Question
from triage.tui.widgets.faultline import FaultLine
from triage.tui.widgets.keysline import KeysLine


@dataclass(frozen=True)
class Particulars:
    """What is recorded with an outcome besides the outcome."""

    amount_ml: float | None = None
    minutes: float | None = None
    note: str = ""
    photo_before: str = ""
    photo_after: str = ""


FIELDS = (
    ("amount_ml", "Amount used, mL"),
    ("minutes", "Minutes (empty: measured)"),
    ("note", "Note"),
    ("photo_before", "Photo before, path"),
    ("photo_after", "Photo after, path"),
)


class ParticularsScreen(Question[Particulars | None]):
    """Ask for the particulars; Enter in any line keeps them all."""

    AUTO_FOCUS = "#note"  # the amount is filled in already
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f9", "leave", "Back, change nothing", key_display="F9"),
        Binding("down", "app.focus_next", "Next line", show=False),
        Binding("up", "app.focus_previous", "Line before", show=False),
    ]

    def __init__(
        self,
        particulars: Particulars,
        check_photo: Callable[[str], object],
        doubt: Callable[[float | None], str] = lambda _: "",
    ) -> None:
        super().__init__()
        self._doubt = doubt
        self._asked = ""
        self._check_photo = check_photo
        self._particulars = particulars

    def compose(self) -> ComposeResult:
        """Lay out one line for each."""
        with VerticalScroll(classes="window", can_focus=False):
            yield Static(
                Content("For this pass (Enter keeps all, down and up change the line)"),
                classes="window-title",
            )
            yield FaultLine(id="fault")
            for name, label in FIELDS:
                held = getattr(self._particulars, name)
                yield Static(Content(label))
                yield Input("" if held is None else _shown(held), id=name, compact=True)
        yield KeysLine()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Keep all lines if the numbers are numbers and the photos are there."""
        del event
        told = {name: self.query_one(f"#{name}", Input).value.strip() for name, _ in FIELDS}
        numbers: dict[str, float | None] = {}
        for name, label in FIELDS[:2]:
            try:
                numbers[name] = float(told[name].replace(",", ".")) if told[name] else None
            except ValueError:
                self._refuse(name, f'{label}: "{told[name]}" is no number; write digits, as 2.5')
                return
            if not 0 <= (numbers[name] or 0) < math.inf:
                self._refuse(name, f'{label}: "{told[name]}" cannot be; write what was used')
                return
        for name, label in FIELDS[3:]:
            try:
                if told[name]:
                    self._check_photo(told[name])
            except TriageError as fault:
                self._refuse(name, f"{label}: {fault.line()}")
                return
        doubt = self._doubt(numbers["amount_ml"])
        if doubt != self._asked:
            self._asked = doubt
            if doubt:
                self._refuse("amount_ml", f"{doubt}. Enter again if it is so.")
                return
        self.dismiss(
            replace(
                self._particulars,
                amount_ml=numbers["amount_ml"],
                minutes=numbers["minutes"],
                note=told["note"],
                photo_before=told["photo_before"],
                photo_after=told["photo_after"],
            )
        )

    def _refuse(self, name: str, text: str) -> None:
        self.query_one("#fault", FaultLine).show(text)
        self.query_one(f"#{name}", Input).focus()

    def action_leave(self) -> None:
        """Change nothing."""
        self.dismiss(None)


def _shown(held: object) -> str:
    return f"{held:g}" if isinstance(held, float) else str(held)
