"""A form: one line for each thing to be written, with what may be written; Enter keeps all."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.suggester import SuggestFromList
from textual.widget import Widget
from textual.widgets import Input, Static

from triage.errors import TriageError
from triage.tui.keysets import bind
from triage.tui.screens.base import Leaving
from triage.tui.screens.windows import Question, told
from triage.tui.widgets.frame import FaultLine

FEWEST_LETTERS = 3
MOST_NAMED = 6
Filled = Mapping[str, str]


@dataclass(frozen=True)
class Field:
    """One line: its name, what stands beside it, what is in it, an example, what may be written."""

    name: str
    label: str
    value: str = ""
    example: str = ""
    choices: tuple[str, ...] = ()

    @property
    def hint(self) -> str:
        """What stands in the line while it is empty."""
        few = ", ".join(self.choices) if len(self.choices) <= MOST_NAMED else ""
        return few or self.example


class Refused(Exception):
    """What is written in a line cannot be taken; the line is gone to."""

    def __init__(self, field: str, why: str) -> None:
        super().__init__(why)
        self.field = field


def is_in_words(text: str) -> bool:
    """Whether a text has enough letters to say something."""
    return sum(sign.isalpha() for sign in text) >= FEWEST_LETTERS


class FormScreen(Question[Filled | None]):
    """Ask for what is to be written; the answer is each line by its name, None if left.

    ``told`` is what to know before; ``check`` raises ``Refused`` for what cannot be taken;
    ``newest`` is the newest picture by the lines in which it may stand, ``first`` the line to
    begin in.
    """

    BINDINGS = [
        bind("leave", "leave", "Back, change nothing"),
        bind("newest", "newest"),
        bind("down", "app.focus_next", "Next line", show=False),
        bind("up", "app.focus_previous", "Line before", show=False),
    ]

    def __init__(
        self,
        title: str,
        fields: Iterable[Field],
        told: Iterable[str] = (),
        check: Callable[[Filled], object] = lambda _: None,
        newest: Mapping[str, str] | None = None,
        first: str = "",
    ) -> None:
        super().__init__(title)
        self._told, self._check = tuple(told), check
        self.fields = tuple(fields)
        self._newest = newest or {}
        self.AUTO_FOCUS = f"#{first or self.fields[0].name}"  # type: ignore[misc]  # of this form

    def _parts(self) -> Iterable[Widget]:
        if self._told:
            yield told(Content("\n".join(self._told)))
        yield FaultLine(id="fault")
        lines = (
            Horizontal(
                Static(Content(each.label)),
                Input(
                    each.value,
                    each.hint,
                    id=each.name,
                    compact=True,
                    suggester=SuggestFromList(each.choices, case_sensitive=False),
                ),
                classes="form-line",
            )
            for each in self.fields
        )
        yield VerticalScroll(*lines, classes="form", can_focus=False)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer the newest picture where one may stand."""
        if action == "newest":
            return bool(self._newest)
        return super().check_action(action, parameters)

    def action_newest(self) -> None:
        """Write the newest picture into the line one is in, else into the one it is meant for."""
        at = self.focused.id if self.focused is not None else None
        name = at if at in self._newest else next(iter(self._newest))
        line = self.query_one(f"#{name}", Input)
        line.value = self._newest[name or ""]
        line.focus()

    def on_input_submitted(self) -> None:
        """Take all lines, if they can be taken."""
        lines = {each.name: self.query_one(f"#{each.name}", Input) for each in self.fields}
        filled = {name: line.value.strip() for name, line in lines.items()}
        try:
            self._check(filled)
        except Refused as refused:
            self.refuse(str(refused), refused.field)
        else:
            self.taken(filled)

    def taken(self, filled: Filled) -> None:
        """Answer with the lines."""
        self.dismiss(filled)

    def refuse(self, why: str, field: str = "") -> None:
        """Say what cannot be taken, and go to its line."""
        self.query_one("#fault", FaultLine).show(why)
        if field:
            self.query_one(f"#{field}", Input).focus()


def ask_reason(
    screen: Leaving[Any],
    title: str,
    told: Iterable[str],
    label: str,
    then: Callable[[str], object],
) -> None:
    """Ask for a reason in words and go on with it; an empty one is not taken."""

    def check(filled: Filled) -> None:
        if not is_in_words(filled["reason"]):
            raise Refused("reason", "no reason is written; write it in words")

    form = FormScreen(title, (Field("reason", label, example="in your own words"),), told, check)
    screen.ask(form, lambda filled: then(filled["reason"]))


@dataclass(frozen=True)
class Particulars:
    """What is recorded with an outcome besides the outcome."""

    amount_ml: float | None = None
    minutes: float | None = None
    note: str = ""
    photo_before: str = ""
    photo_after: str = ""


NUMBERS = {"amount_ml": "Amount used, mL", "minutes": "Minutes (empty: measured)"}
PHOTOS = {"photo_before": "Photo before, path", "photo_after": "Photo after, path"}
LABELS = {**NUMBERS, "note": "Note", **PHOTOS}


def particulars_of(filled: Filled) -> Particulars:
    """Return what was written; ``Refused`` for a number that is none."""
    amount_ml, minutes = (_number(name, filled[name]) for name in NUMBERS)
    return Particulars(amount_ml, minutes, *(filled[name] for name in ("note", *PHOTOS)))


def _number(name: str, text: str) -> float | None:
    if not text:
        return None
    try:
        found = float(text.replace(",", "."))
    except ValueError:
        raise Refused(name, f'{LABELS[name]}: "{text}" is no number; write digits') from None
    if not 0 <= found < math.inf:
        raise Refused(name, f'{LABELS[name]}: "{text}" cannot be; write what was used')
    return found


def particulars_form(
    held: Particulars,
    check_photo: Callable[[str], object],
    doubt: Callable[[float | None], str],
    newest: Mapping[str, str],
    key: str,
) -> FormScreen:
    """Return the form of a pass: the numbers must be numbers, the photos must be there.

    ``newest`` may be taken by the key ``key``. ``doubt`` asks about an amount that looks like a
    slip of the pen: once, Enter again takes it.
    """
    asked = ""

    def check(filled: Filled) -> None:
        nonlocal asked
        told = particulars_of(filled)
        for name in PHOTOS:
            try:
                if filled[name]:
                    check_photo(filled[name])
            except TriageError as fault:
                raise Refused(name, f"{LABELS[name]}: {fault.line()}") from None
        doubted, asked = asked, doubt(told.amount_ml)
        if asked and asked != doubted:
            raise Refused("amount_ml", f"{asked}. Enter again if it is so.")

    said = {
        name: f"{value:g}" if isinstance(value, float) else value or ""
        for name, value in asdict(held).items()
    }
    # Not the path itself: an empty line must not look as if it were filled in.
    offered = {name: f"{key} takes {Path(photo).name}" for name, photo in newest.items()}
    fields = (Field(name, text, said[name], offered.get(name, "")) for name, text in LABELS.items())
    title = "For this pass (Enter keeps all, down and up change the line)"
    return FormScreen(title, fields, check=check, newest=newest, first="note")
