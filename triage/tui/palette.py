"""The palette: every act of the screen, every command, and whatever has a name."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.command import CommandPalette, Hit, Hits, Provider
from textual.content import Content
from textual.screen import Screen

from triage.errors import TriageError
from triage.tui.keysets import key_name
from triage.tui.screens.base import Leaving
from triage.tui.screens.detail import DetailScreen
from triage.tui.screens.entry import EntryScreen

if TYPE_CHECKING:
    from triage.service.commandline import Known
    from triage.tui.app import TriageApp

STOP_KEY = "escape"
# What only makes sense by its key: what records, answers and moves.
BY_KEY = (
    *("outcome(", "answer(", "tick(", "turn(", "scroll", "page", "view(", "cursor_", "select"),
    *("act", "first", "last", "into_list", "to_end", "screen.", "app.focus", "help_quit"),
    "command_palette",
)


class Palette(CommandPalette, Leaving[None], inherit_bindings=False):
    """The palette; it too is left once, also when Enter comes twice."""

    DEFAULT_CSS = "Palette SearchIcon { display: none; }"
    BINDINGS: ClassVar[list[BindingType]] = [
        *(each for each in Binding.make_bindings(CommandPalette.BINDINGS) if each.key != STOP_KEY),
        Binding("f9", "leave", "Back", key_display="F9"),
    ]

    def action_leave(self) -> None:
        """Go back to where one was."""
        self.dismiss(None)


def acts_of(screen: Screen[Any]) -> Iterator[SystemCommand]:
    """Yield what the keys of a screen do, but for what records: that stays on its own keys."""
    seen: set[str] = set()
    for key, active in screen.active_bindings.items():
        binding = active.binding
        ours = type(active.node).__module__.startswith("triage.") and binding.description
        if not ours or not active.enabled or binding.description in seen:
            continue
        if not binding.action.startswith(BY_KEY):
            seen.add(binding.description)
            act = partial(screen.app.run_action, binding.action, active.node)
            yield SystemCommand(binding.description, f"here by the key {key_name(key)}", act)


def commands_of(app: TriageApp, screen: Screen[Any]) -> Iterator[SystemCommand]:
    """Yield every command of the command line that can be run from here."""
    for known in app.inside.known() if app.inside else ():
        yield SystemCommand(
            f"{known.name}: {known.what}", "asks for its words", asking(app, screen, known)
        )


def asking(app: TriageApp, screen: Screen[Any], known: Known) -> Callable[[], None]:
    """Return what asks for the words behind a command, an example of them filled in."""
    case = getattr(screen, "case_id", None)
    words = known.words(case)

    def ask(words: str = words, fault: str = "") -> None:
        told = f"{known.what}\nWords behind {known.name}; --help tells them all. Enter runs it."
        app.push_screen(EntryScreen(f"{fault}\n{told}".strip(), words), run)

    def run(line: str | None) -> None:
        inside = app.inside
        if line is None or inside is None:
            return

        async def at_work() -> None:
            try:
                act = partial(inside.run, f"{known.name} {line}", app.services.workshop)
                said = await app.services.run(act)
            except (TriageError, OSError) as fault:
                ask(line, fault.line() if isinstance(fault, TriageError) else str(fault))
            else:
                app.push_screen(DetailScreen(known.name, Content(said)))

        app.run_worker(at_work(), group="service")

    return partial(app.when_open, ask)


class Finder(Provider):
    """Finds whatever has a name, once the rules are read."""

    _named: tuple[Any, ...] = ()

    async def startup(self) -> None:
        """Read the names once, while the first letters are typed."""
        app: Any = self.app
        if app.services.is_open:
            workshop, screen = app.services.workshop, self.screen

            def act() -> tuple[Any, ...]:
                found: Any = import_module("triage.tui.named")
                return tuple(found.named_things(app, screen, workshop))

            self._named = await app.services.run(act)

    async def search(self, query: str) -> Hits:
        """Yield what has the letters of the query in its name or words."""
        matcher = self.matcher(query)
        for each in self._named:
            score = matcher.match(each.text)
            if score > 0:
                yield Hit(
                    score, matcher.highlight(each.text), each.go, text=each.text, help=each.what
                )
