"""Stop: the tool off the specimen, the program at rest, nothing lost."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Static

from triage.tui.keysets import WORDS, KeySet, bind, keyset_of
from triage.tui.screens.base import Question
from triage.tui.widgets.keysline import KeysLine

if TYPE_CHECKING:
    from triage.plan.model import Step


def stop_text(step: Step | None, has_timers: bool, keys: KeySet = WORDS) -> str:
    """Return what to do now, with the stop points of the step at hand."""
    lines = [
        "Take the tool off the specimen. Put the lid on the liquid.",
        (
            f"{keys.sign('leave')}  go on where you were      "
            f"{keys.sign('end')}  end the program (all is on disk)"
        ),
    ]
    if step is not None:
        lines.append("")
        for point in step.stop_points:
            lines += [f"! {point.see}", f"  means: {point.means}", f"  then: {point.then}"]
    if has_timers:
        lines += ["", "A running timer goes on; its end stands in the case."]
    return "\n".join(lines)


class StopScreen(Question[bool]):
    """Everything stands still; going back goes on, ``Q`` ends the program. Enter does nothing."""

    BINDINGS: ClassVar[list[BindingType]] = [
        bind("leave", "resume", "Go on where you were"),
        bind("end", "app.quit"),
    ]

    def __init__(self, step: Step | None, has_timers: bool) -> None:
        super().__init__()
        self._step = step
        self._has_timers = has_timers

    def compose(self) -> ComposeResult:
        """Lay out the word and what to do."""
        with Vertical(classes="window -tall -stopped"):
            yield Static("STOPPED", id="stopped")
            with VerticalScroll(classes="window-told"):
                text = stop_text(self._step, self._has_timers, keyset_of(self.app))
                yield Static(Content(text))
        yield KeysLine()

    def action_resume(self) -> None:
        """Go on."""
        self.dismiss(True)
