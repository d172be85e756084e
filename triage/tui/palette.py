"""The palette: every act of the screen, every command, and whatever has a name."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import TYPE_CHECKING, Any

from textual.app import SystemCommand
from textual.binding import Binding
from textual.command import CommandPalette, Hit, Hits, Provider
from textual.content import Content
from textual.css.styles import RenderStyles
from textual.screen import Screen

from triage.errors import TriageError
from triage.show.blocks import WIDTH
from triage.show.words import step_place
from triage.tui.keysets import bind, key_name
from triage.tui.screens.base import Leaving, Wanted
from triage.tui.screens.form import Field, Filled, FormScreen, Refused
from triage.tui.screens.windows import DetailScreen
from triage.tui.shown import Reasons, step_text
from triage.tui.widgets.frame import FaultLine

if TYPE_CHECKING:
    from triage.service.commandline import Known, Word
    from triage.tui.app import TriageApp

STOP_KEY = "escape"
# Columns of a window that are not its text.
WINDOW = 9
TOLD = ("Enter reckons or runs it; what is empty is left out. Right takes what is suggested.",)
# Words of commands that name an entry of the knowledge: those there are can be suggested.
KINDS = {"fumigant": "agent"} | {
    name: name for name in ("agent", "control", "salt", "gel", "zone", "taxon", "method", "deposit")
}
# What only makes sense by its key: what records, answers and moves.
BY_KEY = (
    *("outcome(", "answer(", "tick(", "turn(", "scroll", "page", "view(", "cursor_", "select"),
    *("act", "first", "last", "into_list", "to_end", "screen.", "app.focus", "help_quit"),
    "command_palette",
)


class Palette(CommandPalette, Leaving[None], inherit_bindings=False):
    """The palette; it too is left once, also when Enter comes twice."""

    DEFAULT_CSS = "Palette SearchIcon { display: none; }"
    BINDINGS = [
        *(each for each in Binding.make_bindings(CommandPalette.BINDINGS) if each.key != STOP_KEY),
        bind("leave", "leave"),
    ]

    def action_leave(self) -> None:
        """Go back to where one was."""
        self.dismiss(None)

    def get_component_styles(self, *names: str) -> RenderStyles:
        """Return styles of parts; the search may go on when the palette is styled no longer."""
        try:
            return super().get_component_styles(*names)
        except KeyError:
            return self.styles


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
    case = getattr(screen, "case_id", None)
    for known in app.inside.known() if app.inside else ():
        opens = partial(app.when_open, partial(_open_form, app, known, case))
        yield SystemCommand(f"{known.name}: {known.what}", "a form", opens)


def _open_form(app: TriageApp, known: Known, case: str | None) -> None:
    if known.words:
        app.push_screen(CommandForm(app, known, case))
    else:
        app.run_worker(_said(app, known, {}, lambda why: app.notify(why, markup=False)))


async def _said(
    app: TriageApp, known: Known, given: Filled, failed: Callable[[str], object]
) -> None:
    inside: Any = app.inside
    try:
        width = min(WIDTH, app.size.width - WINDOW)
        act = partial(inside.run, known.line(given), app.services.workshop, width)
        said = await app.services.run(act)
    except (TriageError, OSError) as fault:
        failed(fault.line() if isinstance(fault, TriageError) else str(fault))
    else:
        app.push_screen(DetailScreen(known.name, Content(said)))


class CommandForm(FormScreen):
    """What a command may be given; it stays open behind what the command says."""

    def __init__(self, app: TriageApp, known: Known, case: str | None) -> None:
        self._known = known
        knowledge = app.services.workshop.knowledge

        def field(word: Word) -> Field:
            kind = KINDS.get(word.name)
            choices = word.choices or (tuple(knowledge.table(kind)) if kind else ())
            value = case if word.name == "case" and case else ""
            example = f"as {word.example}" if word.example else ""
            return Field(word.name, word.what, value, example, choices)

        super().__init__(known.what, map(field, known.words), TOLD, self._complete)

    def _complete(self, filled: Filled) -> None:
        for word in self._known.words:
            if word.is_needed and not filled[word.name]:
                raise Refused(word.name, f"nothing is written for: {word.what}")

    def refuse(self, why: str, field: str = "") -> None:
        """Say what cannot be taken, by the names of the lines instead of those of the options."""
        why = why.removeprefix(f"triage {self._known.name}: ").partition("; see triage ")[0]
        for word in sorted(self._known.words, key=lambda each: -len(each.flag)):
            why = why.replace(word.flag, f'"{word.what}"') if word.flag else why
        super().refuse(why, field)

    def taken(self, filled: Filled) -> None:
        """Run it; what is wrong is said here, what it says stands above."""
        self.query_one("#fault", FaultLine).show("")
        app: Any = self.app
        app.run_worker(_said(app, self._known, filled, self.refuse), group="service")


class Finder(Provider):
    """Finds whatever has a name or words of its own, once the rules are read."""

    _named: tuple[SystemCommand, ...] = ()

    async def startup(self) -> None:
        """Read the names once, while the first letters are typed."""
        app: Any = self.app
        if app.services.is_open:
            self._named = await app.services.run(lambda: tuple(named_things(app, self.screen)))

    async def search(self, query: str) -> Hits:
        """Yield what has the letters of the query in its name or words."""
        matcher = self.matcher(query)
        for each in self._named:
            score = matcher.match(each.title)
            if score > 0:  # an act of that name comes before what is only called so
                shown = matcher.highlight(each.title)
                yield Hit(score / 2, shown, each.callback, text=each.title, help=each.help)


def named_things(app: TriageApp, screen: Screen[Any]) -> Iterator[SystemCommand]:
    """Yield the cases, the steps of the plan at hand, the bottles, the handbook, the notes."""
    # Slow to import, so not at the start.
    from triage.history.table import Filter  # noqa: PLC0415
    from triage.service.acts import attempts_on_record  # noqa: PLC0415
    from triage.show.entry import entry_blocks, shelves  # noqa: PLC0415

    workshop = app.services.workshop

    def goes(place: str, *about: str) -> Callable[[], object]:
        return partial(screen.post_message, Wanted(place, *about))

    def shows(name: str, told: Callable[[], Reasons]) -> Callable[[], object]:
        return lambda: app.push_screen(DetailScreen(name, told()))

    titles = {each.id: each.title or each.id for each in workshop.list_cases() if not each.fault}
    for case, title in titles.items():
        yield SystemCommand(f"{title} ({case})", "a case", goes("plan", case))
    known = app.services.shown(getattr(screen, "case_id", None) or "")
    for step in known[1].steps if known else ():
        told = partial(step_text, step, known[1] if known else None)
        yield SystemCommand(f"{step.name}, {step_place(step)}", "a step", shows(step.name, told))
    for bottle in workshop.bench.stock:
        agent = workshop.knowledge.agents.get(bottle.agent)
        strength = "" if bottle.strength is None else f" {bottle.strength:g} %"
        left = "" if bottle.ml is None else f", {bottle.ml:g} mL"
        text = f"{agent.name if agent else bottle.agent}{strength}{left} {bottle.label}".rstrip()
        yield SystemCommand(text, "a bottle", goes("bench"))
    for shelf in shelves(workshop.knowledge):
        for entry in shelf.entries if shelf.kind in ("agent", "deposit", "method") else ():
            read = shows(entry.name, partial(lambda one: Reasons(entry_blocks(one)), entry))
            yield SystemCommand(entry.name, f"the handbook, {shelf.kind}", read)
    for attempt in attempts_on_record(workshop, Filter()):
        what = f"a note on {titles.get(attempt.case, attempt.case)}"
        for words in filter(None, (attempt.note, attempt.observed)):
            yield SystemCommand(words, what, goes("plan", attempt.case))
