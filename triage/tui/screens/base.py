"""What every screen has: the services, the title line, a place for faults, and the footer."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import ClassVar, TypeVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.css.query import NoMatches
from textual.screen import ModalScreen, Screen
from textual.widget import Widget
from textual.widgets import Footer, Input, Static

from triage.errors import TriageError
from triage.tui.services import Services
from triage.tui.widgets.faultline import FaultLine
from triage.tui.widgets.titlebar import TitleBar

Held = TypeVar("Held")
Answered = TypeVar("Answered")

LEAST_WIDTH, LEAST_HEIGHT = 80, 24
DISK_MEND = "see that the disk has room and the folder may be written, then try again"


class Served:
    """Act through the workshop in the background; show what goes wrong in place."""

    services: Services

    async def served(self, act: Callable[[], Held], then: Callable[[Held], None]) -> None:
        """Run one act of the workshop, then hand its result on; say a fault in words."""
        try:
            held = await self.services.run(act)
        except TriageError as fault:
            self.show_fault(fault.line())
        except OSError as fault:
            self.show_fault(f"{fault.strerror or fault}; {DISK_MEND}")
        else:
            then(held)

    def show_fault(self, text: str) -> None:
        """Show what went wrong and what to do."""
        raise NotImplementedError


class ServiceScreen(Screen[None], Served):
    """A full screen: title line, fault line, the screen's own parts, footer."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("q", "leave", "Back"),
        Binding("f9", "leave_line", "Out of the line", key_display="F9"),
    ]
    PLACE = ""

    def __init__(self, services: Services) -> None:
        super().__init__()
        self.services = services

    def compose(self) -> ComposeResult:
        """Lay out the frame around the parts."""
        yield TitleBar(self.PLACE)
        yield Static("", id="too-small")
        yield FaultLine(id="fault")
        yield from self.parts()
        yield Footer(compact=True, show_command_palette=False)

    def on_resize(self, event: events.Resize) -> None:
        """Say so where the window is too small to show the screen whole."""
        small = self.query_one("#too-small", Static)
        small.display = event.size.width < LEAST_WIDTH or event.size.height < LEAST_HEIGHT
        small.update(
            Content(
                f"Window too small: {event.size.width} x {event.size.height}; "
                f"make it {LEAST_WIDTH} x {LEAST_HEIGHT} or more, or scroll."
            )
        )

    def parts(self) -> Iterable[Widget]:
        """Return the screen's own widgets."""
        return ()

    def serve(self, act: Callable[[], Held], then: Callable[[Held], None]) -> None:
        """Start one act of the workshop; acts run one after the other."""

        def shown(held: Held) -> None:
            if self.is_attached:
                self.query_one("#fault", FaultLine).clear()
                then(held)

        self.run_worker(self.served(act, shown), group="service")

    def show_fault(self, text: str) -> None:
        """Show what went wrong and what to do, above the parts."""
        if self.is_attached:
            self.query_one("#fault", FaultLine).show(text)

    def show_place(self, place: str) -> None:
        """Say where one is in the title line."""
        self.query_one(TitleBar).show_place(place)

    def show_running(self, text: str) -> None:
        """Say in the title line what is running."""
        try:
            self.query_one(TitleBar).show_running(text)
        except NoMatches:
            return

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer the key that leaves a line only while a line is written."""
        if action == "leave_line":
            return isinstance(self.focused, Input)
        return super().check_action(action, parameters)

    def action_leave(self) -> None:
        """Go back to the screen before."""
        self.dismiss()

    def action_leave_line(self) -> None:
        """Leave the line that is being written; letters are keys again."""
        self.action_leave()


class Question(ModalScreen[Answered]):
    """A window over the screen that asks one thing; the stop key works here too."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "app.stop", "STOP", key_display="Esc"),
        Binding("question_mark", "app.keys", "Keys", show=False),
    ]
