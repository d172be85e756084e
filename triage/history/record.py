"""The record of one folder as the faces ask for it: evidence that is read again only if it must."""

from __future__ import annotations

from pathlib import Path

from triage.case.folder import Stamp, folder_stamps
from triage.history.columns import Columns, columns_from, same_columns
from triage.history.evidence import Evidence, terms_of, trials_of
from triage.history.index import Index, load_index
from triage.knowledge.book import Knowledge


class FolderRecord:
    """Evidence of a folder, kept as long as no case file changes.

    Parameters
    ----------
    folder    folder of the cases; one that is not there yet has an empty record
    knowledge says how counts become rates
    """

    def __init__(self, folder: Path, knowledge: Knowledge) -> None:
        self.folder = folder
        self.knowledge = knowledge
        self._stamps: dict[str, Stamp] | None = None
        self._evidence: Evidence | None = None
        self._index: Index | None = None

    def index(self) -> Index | None:
        """Return the index of the folder, None without a folder."""
        self._refresh()
        return self._index

    def columns(self) -> Columns:
        """Return the attempts of the folder, none without a folder."""
        index = self.index()
        return columns_from(()) if index is None else index.columns

    def evidence(self) -> Evidence:
        """Return the evidence of the folder as it stands now."""
        columns = self.columns()
        if self._evidence is None:
            self._evidence = Evidence(trials_of(columns), terms_of(self.knowledge))
        return self._evidence

    def _refresh(self) -> None:
        if not self.folder.is_dir():
            if self._index is not None:
                self._index = self._evidence = self._stamps = None
            return
        stamps = folder_stamps(self.folder)
        if self._index is None or stamps != self._stamps:
            index = load_index(self.folder)
            # An answer changes a file but no attempt: then the evidence is the same object.
            if self._index is None or not same_columns(index.columns, self._index.columns):
                self._evidence = None
            self._index, self._stamps = index, stamps
