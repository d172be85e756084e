"""What every screen has: the services, the title line, a place for faults, and the footer."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from textual import events
from textual.app import ComposeResult, ScreenStackError
from textual.await_complete import AwaitComplete
from textual.content import Content
from textual.message import Message
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Input, Static

from triage.errors import TriageError
from triage.tui.hanging import ActionList
from triage.tui.keysets import bind, keyset_of
from triage.tui.services import Services
from triage.tui.widgets.frame import FaultLine, KeysLine, TitleBar

if TYPE_CHECKING:
    from triage.case.models import Case
    from triage.knowledge.book import Knowledge
    from triage.plan.model import Step
    from triage.service.workshop import Workshop

Held = TypeVar("Held")
Answered = TypeVar("Answered")

LEAST_WIDTH, LEAST_HEIGHT = 80, 24
# From here on two things stand side by side.
BROAD_WIDTH = 120
# Places that are about the case at hand.
OF_A_CASE = ("air", "photos", "intake")
# What records, and what answers an alarm, counts only when it has stood so long: a key that comes
# sooner was typed before it could be seen [s of the pulse].
OPENING_S = 0.5
DISK_MEND = "see that the disk has room and the folder may be written, then try again"


@dataclass
class CaseChanged(Message):
    """A case was read or changed; its timers may be new."""

    case: Case


class Wanted(Message):
    """The user wants a screen: its place, then what it is about (a case, a finding, a step)."""

    def __init__(self, place: str, *about: str | None) -> None:
        super().__init__()
        self.place, self.about = place, about


class Leaving(Screen[Answered]):
    """A screen that is left once, whatever was typed ahead, and never takes another one with it.

    The framework takes the topmost screen away, whichever screen asked to be left: a second key
    that was on its way already left the screen below, and that one's answer was given twice.
    """

    _waits_with: tuple[Answered | None] | None = None
    _to_show: tuple[tuple[Screen[Any], Callable[[Any], None]], ...] = ()

    def sign(self, act: str) -> str:
        """Return the key of an act as it is printed."""
        return keyset_of(self.app).sign(act)

    @property
    def is_topmost(self) -> bool:
        """Whether nothing stands above this screen, no window either."""
        try:
            return bool(self.app.screen is self)
        except ScreenStackError:  # the program is closing
            return False

    def dismiss(self, result: Answered | None = None) -> AwaitComplete:
        """Leave the screen with an answer; under another one, STOP before all, leave it later."""
        if self.is_topmost:
            self._waits_with = None
            return super().dismiss(result)
        if self in self.app.screen_stack:
            self._waits_with = (result,)
        return AwaitComplete()

    def ask(self, window: Screen[Held | None], then: Callable[[Held], object]) -> None:
        """Open a window and go on with its answer; nothing follows one that was only left."""

        def answered(answer: Held | None) -> None:
            if answer is not None:
                then(answer)

        self.show_window(window, answered)

    def show_window(
        self, window: Screen[Held | None], answered: Callable[[Held | None], None]
    ) -> None:
        """Open a window; above another screen it would cover STOP: then once that one has gone."""
        if self.is_topmost:
            self.app.push_screen(window, answered)
        elif self in self.app.screen_stack:
            self._to_show = (*self._to_show, (window, answered))

    def on_screen_resume(self) -> None:
        """Do now what waited while another screen stood above: leave, or open a window."""
        if self._waits_with is not None:
            self.dismiss(*self._waits_with)
        elif self._to_show:
            (window, answered), *rest = self._to_show
            self._to_show = tuple(rest)
            self.app.push_screen(window, answered)


class ServiceScreen(Leaving[None]):
    """A full screen: title line, fault line, the screen's own parts, footer."""

    BINDINGS = [bind("leave", "leave")]
    PLACE = ""
    step: Step | None = None
    _busy = False
    _pending = 0

    def __init__(self, services: Services, case_id: str | None = None) -> None:
        super().__init__()
        self.services = services
        self.case_id = case_id

    @property
    def workshop(self) -> Workshop:
        """The services of every face; open wherever a screen needs them."""
        return self.services.workshop

    @property
    def knowledge(self) -> Knowledge:
        """What is known."""
        return self.workshop.knowledge

    def compose(self) -> ComposeResult:
        """Lay out the frame around the parts."""
        yield TitleBar(self.PLACE)
        yield Static("", id="too-small")
        yield FaultLine(id="fault")
        yield from self._parts()
        yield KeysLine()

    def on_resize(self, event: events.Resize) -> None:
        """Say so where the window is too small to show the screen whole."""
        small = self.query_one("#too-small", Static)
        self.set_class(event.size.width >= BROAD_WIDTH, "-broad")
        small.display = event.size.width < LEAST_WIDTH or event.size.height < LEAST_HEIGHT
        small.update(
            Content(
                f"Window too small: {event.size.width} x {event.size.height}; "
                f"make it {LEAST_WIDTH} x {LEAST_HEIGHT} or more, or scroll. Esc STOP."
            )
        )

    def _parts(self) -> Iterable[Widget]:
        return ()

    def action_go(self, place: str) -> None:
        """Go to the bench, the day, the handbook, the air or the photos."""
        self.post_message(Wanted(place, *((self.case_id,) if place in OF_A_CASE else ())))

    @property
    def fault_line(self) -> FaultLine | None:
        """Where faults are shown; None while its parts are not there: a screen outlives them."""
        return (
            next(iter(self.query("#fault").results(FaultLine)), None) if self.is_attached else None
        )

    @property
    def is_whole(self) -> bool:
        """Whether the parts are there."""
        return self.fault_line is not None

    def serve(
        self,
        act: Callable[[], Held],
        then: Callable[[Held], object],
        failed: Callable[[str], object] | None = None,
    ) -> None:
        """Start one act of the workshop, then hand its result on; say a fault in words."""

        def shown(held: Held) -> None:
            if self.is_whole:
                with self.app.batch_update():
                    self.clear_fault()
                    then(held)

        async def at_work() -> None:
            say = failed or self.show_fault
            try:
                shown(await self.services.run(act))
            except TriageError as fault:
                say(fault.line())
            except OSError as fault:
                say(f"{fault.strerror or fault}; {DISK_MEND}")
            finally:
                self._pending -= 1

        self._pending += 1
        # The program's, not the screen's: a fault is told also when the screen is left before.
        self.app.run_worker(at_work(), group="service")

    @property
    def is_at_work(self) -> bool:
        """Whether an act of this screen is under way, or its outcome not yet shown."""
        return self._pending > 0 or self._busy

    @property
    def is_waiting(self) -> bool:
        """Whether its keys have nothing to act on yet: they are kept until then."""
        return False

    def show_fault(self, text: str) -> None:
        """Show what went wrong and what to do, above the parts; or where one is, if left."""
        if self.fault_line is None:
            self.app.notify(text, severity="error", timeout=15, markup=False)
        else:
            self.fault_line.show(text)

    def clear_fault(self) -> None:
        """Take away what went wrong: it is mended."""
        self.tell("")

    def tell(self, text: str) -> None:
        """Say something that is no fault but must be seen, above the parts."""
        if self.fault_line is not None:
            self.fault_line.show(text, "NOTE")

    def show_place(self, place: str) -> None:
        """Say where one is in the title line."""
        self.query_one(TitleBar).place.show(place)

    def show_running(self, text: str) -> None:
        """Say in the title line what is running."""
        for bar in self.query(TitleBar):
            bar.show_running(text)

    def keys_changed(self) -> None:
        """Show the other keys where keys are written on the screen; most screens show none."""

    def interrupted(self, away_s: float) -> None:
        """Take note that nobody worked here for some seconds; most screens need not care."""

    def action_leave(self) -> None:
        """Go back to the screen before."""
        self.dismiss()


class FilteredScreen(ServiceScreen):
    """A list with a line above it that is opened to narrow the list."""

    AUTO_FOCUS = "#rows"
    BINDINGS = [
        bind("search", "filter"),
        bind("down", "into_list", "Into the list", show=False),
    ]
    HINT = ""

    def _parts(self) -> Iterable[Widget]:
        line = Input(placeholder=self.HINT, id="filter")
        line.display = False
        yield from (line, ActionList(id="rows"))

    @property
    def line(self) -> Input:
        """The line above the list."""
        return self.query_one("#filter", Input)

    @property
    def words(self) -> list[str]:
        """What is written in the line, without capitals."""
        return self.line.value.casefold().split()

    @property
    def row(self) -> Any:
        """The row under the cursor, None if there is none."""
        return self.query_one("#rows", ActionList).row

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer the line where it is not open already."""
        if action == "filter":
            return not isinstance(self.focused, Input)
        return super().check_action(action, parameters)

    def action_filter(self) -> None:
        """Open the line."""
        self.line.display = True
        self.line.focus()

    def action_into_list(self) -> None:
        """Leave the line for the list."""
        self.query_one("#rows").focus()

    def is_line_left(self) -> bool:
        """Leave the line and what is written in it, if it is open; return whether it was."""
        if not self.line.display:
            return False
        self.line.value = ""
        self.line.display = False
        self.action_into_list()
        return True

    def action_leave(self) -> None:
        """Leave the line first, then the screen."""
        if not self.is_line_left():
            self.dismiss()
