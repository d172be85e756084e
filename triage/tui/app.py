"""The program at the scope: services in, screens wired, timers rung; nothing else."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from functools import lru_cache, partial
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.color import Color as RichColor
from rich.segment import Segment
from rich.style import Style
from textual.app import App, SystemCommand
from textual.color import Color
from textual.command import CommandPalette
from textual.content import Content
from textual.filter import LineFilter, Monochrome
from textual.screen import Screen
from textual.theme import Theme

from triage.errors import TriageError
from triage.places import settings_file
from triage.service.settings import Settings, chosen, save_settings
from triage.tui.keysets import SETS, WORDS, KeySet, bind
from triage.tui.palette import Finder, Palette, acts_of, commands_of
from triage.tui.ringing import Ringing, TimerWatch
from triage.tui.screens.base import CaseChanged, ServiceScreen, Wanted
from triage.tui.screens.cases import CasesScreen
from triage.tui.screens.windows import HelpScreen, StopScreen, keys_text
from triage.tui.services import Services
from triage.tui.typedahead import TypedAhead

if TYPE_CHECKING:
    from triage.service.commandline import CommandLine
    from triage.service.workshop import Workshop

NAME = "triage"
DEFAULT_THEME = "textual-dark"
# The screens by their places; imported in the background when the first one stands.
PLACES = {
    "plan": "plan.PlanScreen",
    "observe": "observe.ObserveScreen",
    "intake": "observe.IntakeScreen",
    "questions": "questions.QuestionScreen",
    "walk": "walk.WalkScreen",
    "bench": "bench.BenchScreen",
    "handbook": "handbook.HandbookScreen",
    "air": "air.AirScreen",
    "photos": "photos.PhotosScreen",
    "today": "today.TodayScreen",
}
# Slow to import, and first asked for by the air of a step.
LATER = ("triage.explain.desk", "scipy.optimize")
GET_READY_S = 0.5
# Commands of the framework that do here what nobody looks for, or under a name of our own.
NOT_OURS = frozenset({"Keys", "Maximize", "Minimize"})
HELP_MORE = (
    "Small letters act, and mean the same on every screen; digits and capital letters choose "
    "the line, the box or the zone that bears them. The keys that record do nothing else.\n"
    "Arrows, PgUp and PgDn move; Enter acts on the row under the cursor; ctrl+p finds anything.\n"
    "F9 goes back from everywhere, out of help, ctrl+p and a line that is written too.\n"
    "Esc stops everything, on every screen. It never goes on; Enter never stops.\n"
    "Nothing is kept in the program: what was recorded is on disk at once.\n"
    "Signs: X held or refused, ! caution, @ timer, ? to be answered, > where you stand."
)


class TriageApp(TypedAhead):
    """Wire screens and services together.

    ``case`` is opened at once; ``inside`` are the commands, each to be found in the palette.
    """

    TITLE = NAME
    CSS_PATH = "app.tcss"
    ESCAPE_TO_MINIMIZE = False  # that key stops, and nothing else
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (100, "-wide")]
    COMMANDS = App.COMMANDS | {Finder}
    BINDINGS = [
        bind("stop", "stop", priority=True),
        bind("keys", "keys"),
        bind("find", "command_palette", show=False, priority=True),
        bind("quit", "quit", show=False),
    ]

    def __init__(
        self,
        services: Services,
        case: str | None = None,
        settings: Settings | None = None,
        inside: CommandLine | None = None,
    ) -> None:
        super().__init__()
        self.services, self.inside = services, inside
        self.settings = settings or Settings()
        self.keyset = SETS[self.settings.keys]
        # The convention: NO_COLOR counts only when it is set and not empty.
        self.no_color = bool(os.environ.get("NO_COLOR"))
        if os.environ.get("TRIAGE_REDUCED_MOTION") or self.settings.motion == "off":
            self.animation_level = "none"
        self.watch_timers = TimerWatch()
        self._first_case = case
        self._title_shown = ""
        self._ringing = Ringing(self)
        self._looked_at: datetime | None = None

    def get_line_filters(self) -> Sequence[LineFilter]:
        """Return the filters of each line; without colour, grey is a colour too."""
        filters = [item for item in super().get_line_filters() if not isinstance(item, Monochrome)]
        return [*filters, PlainLines()] if self.no_color else filters

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Return what the palette does, each name once: acts here, places, commands, settings."""
        named = {each.title: each for each in (*self._everywhere(screen), *acts_of(screen))}
        named.pop("Keys", None)  # told by its longer name
        return tuple(named.values())

    def _everywhere(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        yield SystemCommand("Cases", "All cases", self._to_cases)
        for name, what in (
            ("today", "The bench day, the chambers, the record"),
            ("bench", "Room, stock, gloves"),
            ("handbook", "Look things up"),
        ):
            goes = partial(self.when_open, partial(self.go, name))
            yield SystemCommand(name.capitalize(), what, goes)
        yield from commands_of(self, screen)
        yield SystemCommand("Motion", "Switch movement on the screen on or off", self._motion)
        yield SystemCommand("Sound", "Switch the bell of the timers on or off", self._sound)
        for keyset in SETS.values():
            takes, what = partial(self.take_keys, keyset), f"Answer, record, go on: {keyset.name}"
            yield SystemCommand(f"Keys: {keyset.id}", what, takes)
        yield SystemCommand("Keys that work here", "What each key does", self.action_keys)
        for command in super().get_system_commands(screen):
            if command.title not in NOT_OURS:
                yield command

    def _motion(self) -> None:
        is_on = self.animation_level != "none"
        self.animation_level = "none" if is_on else "full"
        self._keep(motion="off" if is_on else "on")

    def _sound(self) -> None:
        is_on = self.settings.sound == "on"
        self._keep(sound="off" if is_on else "on")
        self.notify("The bell is off; timers are still shown." if is_on else "The bell is on.")

    def take_keys(self, keyset: KeySet) -> None:
        """Put the main acts on other keys, from now on and next time."""
        self._use_keys(keyset)
        self._keep(keys=keyset.id)
        self.notify(f"Keys: {keyset.name}. ? shows them.")

    def _use_keys(self, keyset: KeySet) -> None:
        self.keyset = keyset
        self.set_keymap({} if keyset is WORDS else keyset.keymap())
        for screen in self.screen_stack:
            if isinstance(screen, ServiceScreen):
                screen.keys_changed()

    def _keep(self, **changes: Any) -> None:
        """Keep what was chosen; say so if it cannot be kept, it holds until the end anyway."""
        self.settings = replace(self.settings, **changes)
        if self.settings.place is not None:
            self.run_worker(self._keeping(self.settings.place, self.settings), group="settings")

    async def _keeping(self, place: Path, settings: Settings) -> None:
        try:
            await self.services.run(lambda: save_settings(place, settings))
        except (TriageError, OSError) as fault:
            self._say_fault(f"not kept for next time: {fault}")

    def _say_fault(self, text: str) -> None:
        self.notify(text, severity="warning", timeout=15, markup=False)

    def _theme_chosen(self, theme: Theme) -> None:
        if theme.name != (self.settings.theme or DEFAULT_THEME):
            self._keep(theme=theme.name)

    def bell(self) -> None:
        """Ring, if the bell is on."""
        if self.settings.sound == "on":
            super().bell()

    def on_mount(self) -> None:
        """Open the first screen and begin to watch the timers."""
        theme = self.settings.theme
        if theme in self.available_themes:
            self.theme = theme
        elif theme:
            self._say_fault(f'there is no theme "{theme}"; ctrl+p, Theme shows those there are')
        if self.settings.fault:
            self._say_fault(f"settings not used, and left as they are: {self.settings.fault}")
        self.theme_changed_signal.subscribe(self, self._theme_chosen)
        if self.keyset is not WORDS:
            self._use_keys(self.keyset)
        first = CasesScreen(self.services)
        self.push_screen(first)
        if self._first_case is not None:
            first.when_open(partial(self.go, "plan", self._first_case))
        self.set_interval(0.25, self.look_at_timers)
        # What the next keys will need is imported in the background.
        modules = [each.split(".")[0] for each in PLACES.values()]
        needed = (*(f"triage.tui.screens.{module}" for module in modules), *LATER)
        self.set_timer(GET_READY_S, partial(self.services.get_ready, needed))

    def on_unmount(self) -> None:
        """Let the last act end."""
        self.services.close()

    def on_wanted(self, event: Wanted) -> None:
        """Go to the screen that is wanted."""
        self.go(event.place, *event.about)

    def go(self, place: str, *about: str | None) -> None:
        """Open a screen; each is imported when it is first gone to, so that the start is fast."""
        module, name = PLACES[place].split(".")
        made: Any = getattr(import_module(f"triage.tui.screens.{module}"), name)
        self.push_screen(made(self.services, *about))

    def when_open(self, then: Callable[[], object]) -> None:
        """Go on when the rules are read; until then the list of cases is below all."""
        first = next(each for each in self.screen_stack if isinstance(each, CasesScreen))
        first.when_open(then)

    def _to_cases(self) -> None:
        while len(self.screen_stack) > 2:  # the default screen, the cases
            self.pop_screen()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Leave the stop key to itself when all is stopped."""
        if action == "stop":
            return not self.is_stopped
        return super().check_action(action, parameters)

    def action_stop(self) -> None:
        """Stop everything."""
        if isinstance(self.screen, CommandPalette):
            self.pop_screen()  # stop comes before whatever was looked for
        running = self.watch_timers.running(self.services.clock())
        steps = [each.step for each in self.screen_stack if isinstance(each, ServiceScreen)]
        step = next((each for each in reversed(steps) if each is not None), None)
        self.push_screen(StopScreen(step, has_timers=bool(running)))

    def action_command_palette(self) -> None:
        """Find anything."""
        if not any(isinstance(each, CommandPalette) for each in self.screen_stack):
            asks = "a case, an act, a bottle, a word of a note"
            self.push_screen(Palette(placeholder=asks, id="--command-palette"))

    def action_keys(self) -> None:
        """Show the keys that work here."""
        if not isinstance(self.screen, HelpScreen):
            keys = keys_text(self.screen.active_bindings)
            told = Content(f"{keys}\n\n{HELP_MORE}")
            self.push_screen(HelpScreen("Keys that work here", told))

    def on_case_changed(self, event: CaseChanged) -> None:
        """Watch the timers of the case as they are now."""
        self.watch_timers.see(event.case)
        self.look_at_timers()

    def look_at_timers(self) -> None:
        """Say what is running; warn and ring once each; nothing once all closes."""
        if not self.is_running or not self.screen_stack:
            return
        now = self.services.clock()
        # The machine may have slept, or the program been stopped, with a step open.
        before, self._looked_at = self._looked_at, now
        if before is not None and isinstance(self.screen, ServiceScreen):
            self.screen.interrupted((now - before).total_seconds())
        running = self.watch_timers.running(now)
        self._ringing.say_running(running)
        for alarm in self.watch_timers.news(now):
            self._ringing.ring(alarm)
        self._ringing.ask({alarm.at for alarm in running if alarm.is_over})

    def open_step(self, case: str, step: str) -> None:
        """Go to a step of a case, its plan behind."""
        self.go("plan", case)
        self.go("walk", case, step)

    def set_terminal_title(self, running: str) -> None:
        """Show in the title of the terminal window what is running."""
        title = f"{running} {NAME}".strip()
        if title == self._title_shown:
            return
        self._title_shown = title
        self.title = title
        # The framework has no call for the title of the terminal window (OSC 2).
        if self._driver is not None and not self.is_headless:
            self._driver.write(f"\x1b]2;{title}\x07")


def run_app(
    workshop: Workshop | Callable[[], Workshop],
    case: str | None = None,
    cases: Path | None = None,
    keys: str | None = None,
    inside: CommandLine | None = None,
) -> None:
    """Run the interface until the user ends it; open a case at once if one is named.

    ``keys`` is a set of keys for this run, in place of the one in the settings; ``inside`` runs the
    commands.

    Raises
    ------
    TriageError: the workshop could not be opened behind the first screen.
    """
    app = TriageApp(Services(workshop, cases), case, chosen(settings_file(), keys), inside)
    fault = app.run()
    if fault is not None:
        raise fault


# How much lighter or darker (0-1) a background must be than the screen to mean something.
STANDS_OUT = 0.2
NO_COLOURS = Style.from_color(RichColor.default(), RichColor.default())
REVERSED = Style(reverse=True)


@lru_cache(2048)
def without_colour(style: Style, background: Color) -> Style:
    """Return a style without colours; what stood out by its background is reversed instead.

    The framework's own filter leaves greys, or drops the mark of the row under the cursor.
    """
    plain = style + NO_COLOURS
    ground = style.bgcolor
    if ground is None or ground.is_default:
        return plain
    difference = Color.from_rich_color(ground).brightness - background.brightness
    return plain + REVERSED if abs(difference) > STANDS_OUT else plain


class PlainLines(LineFilter):
    """Take every colour out of a line."""

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """Return the segments without colour."""
        return [
            Segment(text, None if style is None else without_colour(style, background), control)
            for text, style, control in segments
        ]
