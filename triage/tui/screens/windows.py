"""Windows over a screen: one thing to read, to choose, to answer; everything stopped."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from textual import events
from textual.app import ComposeResult
from textual.binding import ActiveBinding
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.visual import Visual
from textual.widget import Widget
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from triage.plan.model import Step
from triage.tui.hanging import ActionList, hanging
from triage.tui.keysets import bind, key_name, keyset_of
from triage.tui.screens.base import OPENING_S, Answered, Leaving
from triage.tui.shown import Reasons
from triage.tui.widgets.frame import KeysLine

# Keys that lists and inputs bring along and that need no line in the help.
MOVING = ("cursor_", "page_", "scroll", "first", "last")
QUIET = frozenset({"tab", "shift+tab", "ctrl+c", "super+c", "ctrl+q"})


class Question(ModalScreen[Answered], Leaving[Answered]):
    """A window over the screen that asks one thing; the stop key works here too."""

    BINDINGS = [
        bind("stop", "app.stop"),
        bind("keys", "app.keys", show=False),
    ]
    WINDOW = ""

    def __init__(self, title: str = "") -> None:
        super().__init__()
        self._title = title

    def compose(self) -> ComposeResult:
        """Lay out the window: its title, then its parts."""
        titled = [Static(Content(self._title), classes="window-title")] if self._title else []
        yield Vertical(*titled, *self._parts(), classes=f"window {self.WINDOW}")
        yield KeysLine()

    def _parts(self) -> Iterable[Widget]:
        return ()

    def action_leave(self) -> None:
        """Answer nothing."""
        self.dismiss(None)


def told(text: Visual | Content, *, can_focus: bool = False) -> VerticalScroll:
    """Return what a window says, to be scrolled where it is long."""
    return VerticalScroll(Static(text), classes="window-told", can_focus=can_focus)


class ChoiceScreen(Question[str | None]):
    """Ask for one of several things, by key, mouse or list; the answer is its id, None if left.

    ``choices`` are id and text of each, in order.
    """

    BINDINGS = [bind("leave", "leave", "Back without choosing")]

    def __init__(self, title: str, choices: Sequence[tuple[str, str]]) -> None:
        super().__init__(title)
        self._choices = tuple(choices)

    def _parts(self) -> Iterable[Widget]:
        keys = keyset_of(self.app)
        rows = (
            Option(hanging(keys.pick(at), text, width=3), id=choice)
            for at, (choice, text) in enumerate(self._choices)
        )
        yield ActionList(*rows, id="choices")

    def on_key(self, event: events.Key) -> None:
        """Take the key of a choice."""
        sign = event.character or ""
        at = keyset_of(self.app).answers.find(sign) if sign else -1
        if 0 <= at < len(self._choices):
            event.stop()
            self.dismiss(self._choices[at][0])

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Take the choice under the cursor."""
        self.dismiss(event.option.id)


def confirm(
    screen: Leaving[Any], asked: str, stays: str, goes: str, then: Callable[[], object]
) -> None:
    """Ask before something is done; the first line leaves all as it is."""
    choices = (("stay", stays), ("go", goes))
    screen.ask(ChoiceScreen(asked, choices), lambda answer: then() if answer == "go" else None)


class DetailScreen(Question[None]):
    """Show a text that scrolls."""

    BINDINGS = [
        bind("leave", "leave"),
        bind("choose", "leave", "Back", show=False),
        bind("down", "scroll(1)", show=False),
        bind("up", "scroll(-1)", show=False),
        bind("further", "scroll(10)", show=False),
        bind("back-up", "scroll(-10)", show=False),
    ]
    WINDOW = "-tall"

    def __init__(self, title: str, text: Content | Reasons) -> None:
        super().__init__(title)
        self._text = text

    @property
    def plain(self) -> str:
        """The text in plain words."""
        return self._text.plain

    def _parts(self) -> Iterable[Widget]:
        yield told(self._text if isinstance(self._text, Content) else self._text.drawn())

    def action_scroll(self, lines: int) -> None:
        """Scroll by some lines."""
        self.query_one(VerticalScroll).scroll_relative(y=lines, animate=False)


class HelpScreen(DetailScreen):
    """The keys that work on the screen below."""


def keys_text(bindings: Mapping[str, ActiveBinding]) -> str:
    """Return one line for each thing a key does, all its keys before it; STOP comes first."""
    doing: dict[str, list[str]] = {}
    for key, active in bindings.items():
        what = active.binding.description
        ours = type(active.node).__module__.startswith("triage.")
        is_moving = active.binding.action.startswith(MOVING)
        if active.enabled and key not in QUIET and what and ours and not is_moving:
            doing.setdefault(what, []).append(key_name(key))
    signs = {
        what: " ".join(keys if len(keys) < 5 else (keys[0], "...")) for what, keys in doing.items()
    }
    width = max(map(len, signs.values()), default=0)
    first = sorted(signs.items(), key=lambda each: each[0].upper() != each[0])
    return "\n".join(f"{sign:<{width}}  {what}" for what, sign in first)


class AlarmScreen(Question[bool]):
    """The time of a step is over; stands until it is answered: go there, or leave it running over.

    No outcome is taken while it stands, and no key that was on its way when it came.
    """

    BINDINGS = [
        bind("choose", "answer(True)", "Go there"),
        bind("leave", "leave", "Later"),
    ]

    def __init__(self, words: str, pulse: Callable[[], float]) -> None:
        super().__init__(words)
        self._pulse, self._since = pulse, pulse()

    def action_answer(self, goes: bool) -> None:
        """Go to the step, or let it wait; the title line goes on saying that it is over."""
        if self._pulse() - self._since >= OPENING_S:
            self.dismiss(goes)

    def action_leave(self) -> None:
        """Let it wait."""
        self.action_answer(False)


class StopScreen(Question[bool]):
    """Everything stands still; going back goes on. Enter does nothing."""

    BINDINGS = [
        bind("leave", "leave", "Go on where you were"),
        bind("end", "app.quit"),
    ]
    WINDOW = "-tall -stopped"

    def __init__(self, step: Step | None, has_timers: bool) -> None:
        super().__init__()
        self._step, self._has_timers = step, has_timers

    def _parts(self) -> Iterable[Widget]:
        yield Static("STOPPED", id="stopped")
        goes_on = f"{self.sign('leave')}  go on where you were"
        ends = f"{self.sign('end')}  end the program (all is on disk)"
        lines = [
            "Take the tool off the specimen. Put the lid on the liquid.",
            f"{goes_on}      {ends}",
            *([""] if self._step else []),
        ]
        for point in self._step.stop_points if self._step else ():
            lines += [f"! {point.see}", f"  means: {point.means}", f"  then: {point.then}"]
        if self._has_timers:
            lines += ["", "A running timer goes on; its end stands in the case."]
        yield told(Content("\n".join(lines)), can_focus=True)
