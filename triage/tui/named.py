"""What has a name or words of its own, for the palette; slow to import, so not at the start."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

from textual.screen import Screen

from triage.history.table import Filter
from triage.service.acts import attempts_on_record
from triage.service.workshop import Workshop
from triage.show.entry import EntryText, entry_blocks, shelves
from triage.show.words import step_place
from triage.tui.app import TriageApp
from triage.tui.screens.base import Wanted
from triage.tui.screens.windows import DetailScreen
from triage.tui.shown import Reasons, step_text


@dataclass(frozen=True, slots=True)
class Named:
    """Something that can be found by its name or its words."""

    text: str
    what: str
    go: Callable[[], object]


def named_things(app: TriageApp, screen: Screen[Any], workshop: Workshop) -> Iterator[Named]:
    """Yield the cases, the steps of the plan at hand, the bottles, the handbook, the notes."""

    def opens(case: str) -> Callable[[], object]:
        return partial(screen.post_message, Wanted("plan", case))

    lines = {line.id: line for line in workshop.list_cases() if not line.fault}
    for line in lines.values():
        yield Named(f"{line.title or line.id} ({line.id})", "a case", opens(line.id))
    yield from _steps(app, screen)
    yield from _bottles(screen, workshop)
    for shelf in shelves(workshop.knowledge):
        for entry in shelf.entries if shelf.kind in ("agent", "deposit", "method") else ():
            made = partial(_read_screen, entry)
            yield Named(entry.name, f"the handbook, {shelf.kind}", _shows(app, made))
    for attempt in attempts_on_record(workshop, Filter()):
        title = lines[attempt.case].title if attempt.case in lines else attempt.case
        for words in filter(None, (attempt.note, attempt.observed)):
            yield Named(words, f"a note on {title}", opens(attempt.case))


def _steps(app: TriageApp, screen: Screen[Any]) -> Iterator[Named]:
    known = app.services.shown(getattr(screen, "case_id", None) or "")
    plan = known[1] if known else None
    for step in plan.steps if plan else ():
        made = partial(DetailScreen, step.name, step_text(step, plan))
        yield Named(f"{step.name}, {step_place(step)}", "a step", _shows(app, made))


def _bottles(screen: Screen[Any], workshop: Workshop) -> Iterator[Named]:
    for bottle in workshop.bench.stock:
        agent = workshop.knowledge.agents.get(bottle.agent)
        strength = "" if bottle.strength is None else f" {bottle.strength:g} %"
        left = "" if bottle.ml is None else f", {bottle.ml:g} mL"
        text = f"{agent.name if agent else bottle.agent}{strength}{left} {bottle.label}".rstrip()
        yield Named(text, "a bottle", partial(screen.post_message, Wanted("bench")))


def _shows(app: TriageApp, make: Callable[[], Screen[Any]]) -> Callable[[], object]:
    return lambda: app.push_screen(make())


def _read_screen(entry: EntryText) -> DetailScreen:
    return DetailScreen(entry.name, Reasons(entry_blocks(entry)))
