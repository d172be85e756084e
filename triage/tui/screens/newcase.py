"""Begin a case: the kind of animal, then a name that is already filled in."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from triage.tui.hanging import hanging
from triage.tui.keysets import WORDS, keyset_of
from triage.tui.screens.base import Question, Served
from triage.tui.screens.choice import KEYS
from triage.tui.services import Services
from triage.tui.widgets.actionlist import ActionList
from triage.tui.widgets.faultline import FaultLine
from triage.tui.widgets.keysline import KeysLine

if TYPE_CHECKING:
    from triage.case.models import Case


class NewCaseScreen(Question[str | None], Served):
    """Ask for taxon group and title; the answer is the id of the new case."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("q,f9", "leave", "Back, no case", id="leave"),
    ]

    def __init__(self, services: Services) -> None:
        super().__init__()
        self.services = services
        self._taxon = "unknown"
        self._keys = KEYS

    def compose(self) -> ComposeResult:
        """Lay out the groups, then the name."""
        taxa = self.services.workshop.knowledge.taxa.values()
        groups = {
            "unknown": "not known (the plan is then as careful as it can be)",
            **{taxon.id: f"{taxon.name}{_examples(taxon.examples)}" for taxon in taxa},
        }
        keys = keyset_of(self.app)
        self._keys = KEYS if keys is WORDS else keys.answers
        with Vertical(classes="window -tall"):
            yield Static(Content("New case: what is it?"), classes="window-title")
            yield FaultLine(id="fault")
            yield ActionList(
                *(
                    Option(hanging(self._keys[at : at + 1], text, width=3), taxon)
                    for at, (taxon, text) in enumerate(groups.items())
                ),
                id="taxa",
            )
            yield Static(Content("Name (Enter begins the case)"), id="title-label")
            yield Input(self._suggested(), id="title")
        yield KeysLine()

    def _suggested(self) -> str:
        return f"specimen {self.services.clock():%Y-%m-%d %H%M%S}"

    def on_key(self, event: events.Key) -> None:
        """Take the key of a group, unless the name is written."""
        groups = self.query_one("#taxa", OptionList)
        at = self._keys.find(event.character) if event.character else -1
        if groups.has_focus and 0 <= at < groups.option_count:
            event.stop()
            self._take(groups.get_option_at_index(at).id)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Take the group under the cursor."""
        self._take(event.option.id)

    def _take(self, taxon: str | None) -> None:
        """Take the group, go on to the name."""
        self._taxon = taxon or "unknown"
        title = self.query_one("#title", Input)
        title.focus()
        title.action_select_all()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Begin the case."""
        title, taxon = event.value.strip(), self._taxon
        self.run_worker(
            self.served(lambda: self.services.workshop.new(title, taxon), self._begun),
            group="service",
        )

    def _begun(self, case: Case) -> None:
        self.dismiss(case.id)

    def show_fault(self, text: str) -> None:
        """Show what went wrong."""
        self.query_one("#fault", FaultLine).show(text)

    def action_leave(self) -> None:
        """Begin nothing."""
        self.dismiss(None)


def _examples(examples: str) -> str:
    return f" ({examples})" if examples else ""
