"""A form: one line for each thing to be written, with what may be written; Enter keeps all."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.suggester import SuggestFromList
from textual.widget import Widget
from textual.widgets import Input, Static

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
