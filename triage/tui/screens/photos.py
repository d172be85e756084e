"""The photos of a case, before and after each attempt, side by side."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from textual.containers import Horizontal
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from triage.case.models import Attempt, Case
from triage.errors import TriageError
from triage.service.photographs import view_photo
from triage.show.compared import measured_words
from triage.show.lines import lines_of
from triage.show.words import OUTCOME_WORDS
from triage.tui.keysets import bind
from triage.tui.screens.base import ServiceScreen
from triage.tui.services import Services
from triage.tui.widgets.photoview import PhotoView

NONE = "No photo is recorded yet. While you work on a step, {key} names the photos of that pass."
MARKS = "ring: it left; cross: it came; square: fine structure is gone"
Placed = tuple[str, Path | None]


class PhotosScreen(ServiceScreen):
    """One attempt at a time, the newest first."""

    PLACE = "Photos"
    BINDINGS = [
        bind("down", "turn(1)", "Older"),
        bind("up", "turn(-1)", "Newer"),
        bind("choose", "view", "Open in the viewer"),
        bind("compare", "compare"),
    ]

    def __init__(self, services: Services, case_id: str) -> None:
        super().__init__(services)
        self.case_id = case_id
        self.attempts: tuple[Attempt, ...] = ()
        self._at = 0
        self._places: dict[str, Placed] = {}

    def parts(self) -> Iterable[Widget]:
        """Return what was recorded, and the pair."""
        yield Static("", id="photo-about")
        yield Static("", id="photo-told")
        yield Horizontal(PhotoView(id="before"), PhotoView(id="after"), id="pair")

    def on_mount(self) -> None:
        """Read the case."""
        self.serve(self._read, self._take)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer to turn only where there is more than one attempt, to compare where both are."""
        if action == "turn":
            return len(self.attempts) > 1
        if action == "compare":
            return None not in self._pair()
        if action == "view":
            return any(self._pair())
        return super().check_action(action, parameters)

    def _read(self) -> tuple[Case, dict[str, Placed]]:
        case = self.workshop.load(self.case_id)
        places: dict[str, Placed] = {}
        for attempt in case.attempts:
            for photo in (attempt.photo_before, attempt.photo_after):
                if photo is not None:
                    places[photo] = self._placed(photo)
        return case, places

    def _placed(self, photo: str) -> Placed:
        try:
            place = self.workshop.check_photo(self.case_id, photo)
        except TriageError as fault:
            return f"{photo}\nNOT THERE: {fault.line()}", None
        return f"{photo}\n{place.stat().st_size / 1e6:.2g} MB", place

    def _take(self, read: tuple[Case, dict[str, Placed]]) -> None:
        case, self._places = read
        shown = [each for each in case.attempts if each.photo_before or each.photo_after]
        self.attempts = tuple(reversed(shown))
        self.show_place(f"{case.title or case.id}: photos")
        self.refresh_bindings()
        self._show()

    def _show(self) -> None:
        about = self.query_one("#photo-about", Static)
        if not self.attempts:
            key = self.sign("pass")
            about.update(Content(NONE.format(key=key)))
            self.query_one("#pair").display = False
            return
        attempt = self.attempts[self._at]
        outcome = OUTCOME_WORDS.get(attempt.outcome, attempt.outcome)
        method = self.knowledge.methods.get(attempt.method or "")
        about.update(
            Content(
                f"{self._at + 1}/{len(self.attempts)}  {attempt.id}  "
                f"{method.name if method else attempt.step}: {outcome}, "
                f"{attempt.at:%Y-%m-%d %H:%M}"
                + (f"\n{kept}" if (kept := measured_words(attempt.measured)) else "")
            )
        )
        for name, photo in (("before", attempt.photo_before), ("after", attempt.photo_after)):
            words, place = self._places.get(photo or "", ("no photo", None))
            self.query_one(f"#{name}", PhotoView).show(f"{name.upper()}  {words}", place)

    def _pair(self) -> tuple[Path | None, Path | None]:
        """Return the places of both photos that are shown."""
        if not self.attempts:
            return None, None
        attempt = self.attempts[self._at]
        names = attempt.photo_before, attempt.photo_after
        before, after = (self._places.get(name or "", ("", None))[1] for name in names)
        return before, after

    def action_view(self) -> None:
        """Show both photos in the viewer of the system."""
        pair = [place for place in self._pair() if place is not None]

        def act() -> None:
            for place in pair:
                view_photo(place)

        self.serve(act, lambda _: None)

    def action_compare(self) -> None:
        """Say what left, what came and whether it did harm; meanwhile, how far it is."""
        before, after = self._pair()
        if before is None or after is None:
            return
        about = self.query_one("#photo-told", Static)
        about.update("Comparing ...")
        seen: list[str] = []

        def told(words: str) -> None:
            if words.startswith("at a glance"):
                seen.append(words)
            self.app.call_from_thread(about.update, "\n".join([*seen, f"Comparing: {words} ..."]))

        views = [self.query_one(f"#{name}", PhotoView) for name in ("before", "after")]
        wide = max(view.points_wide for view in views)

        def act() -> tuple[str, tuple[Any, Any]]:
            from triage.service.measuring import measured  # noqa: PLC0415  (loads arrays)

            found = measured(self.knowledge, before, after, told=told, glanced=told)
            return "\n".join(lines_of(found.lines())), found.marked(wide)

        def show(read: tuple[str, tuple[Any, Any]]) -> None:
            about.update("\n".join((read[0], MARKS)))
            for view, points in zip(views, read[1], strict=True):
                view.draw(points)

        self.serve(act, show, about.update)

    def action_turn(self, by: int) -> None:
        """Go to an older or a newer attempt."""
        if self.attempts:
            self._at = max(0, min(len(self.attempts) - 1, self._at + by))
            self.query_one("#photo-told", Static).update("")
            self.refresh_bindings()
            self._show()
