"""The cases on the shelf: listed, read, begun, changed; and what this session did to them."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from triage.case import changes
from triage.case.folder import CaseEntry, list_cases
from triage.case.models import Case
from triage.case.naming import SUFFIX, is_case_name, is_reserved
from triage.case.store import create_case, load_case, make_folder, update_case
from triage.errors import TriageError, Where, did_you_mean
from triage.service.takeback import Act
from triage.yamltext import parse_yaml, read_text

if TYPE_CHECKING:
    from triage.service.workshop import Workshop

# An answer that is changed within this time corrects a slip of the finger: nothing was seen anew.
SLIP = timedelta(minutes=10)


def locator(path: Path) -> Callable[[tuple[str | int, ...]], Where]:
    """Return a function that gives the line of an entry of a case file, read only when asked."""

    def locate(entry: tuple[str | int, ...]) -> Where:
        label = " ".join(str(step) for step in entry)
        try:
            line = parse_yaml(read_text(path, path.name), path.name).line_of(entry)
        except TriageError:
            return Where(path.name, None, label)
        return Where(path.name, line, label)

    return locate


class Shelf:
    """The cases of a folder, and the acts on them that this session can take back."""

    def __init__(self, shop: Workshop) -> None:
        self.shop = shop
        self._acts: dict[Path, list[Act]] = {}

    def change(self, case: str | Path, change: Callable[[Case], Case]) -> Case:
        """Change the newest case through the store, and remember the act until the program ends."""
        path = self.path_of(case)
        acts: list[Act] = []

        def noted(old: Case) -> Case:
            new = change(old)
            acts[:] = [Act(old, new, self.shop.clock())]
            return new

        made = update_case(path, noted)
        self._acts.setdefault(path, []).extend(act for act in acts if act.can_be_taken_back)
        return made

    def just_told(self, case: str | Path, finding: str, question: str) -> bool:
        """Return whether a question was answered so lately that another answer corrects a slip."""
        acts = self._acts.get(self.path_of(case), ())
        return any(
            act.told(finding, question) and self.shop.clock() - act.at <= SLIP
            for act in reversed(acts)
        )

    def last_act(self, case: str | Path) -> Act | None:
        """Return the last act on a case in this session that was not taken back."""
        acts = self._acts.get(self.path_of(case))
        return acts[-1] if acts else None

    def entries(self) -> tuple[CaseEntry, ...]:
        """Return the quick list of cases, without stage or next step."""
        return list_cases(self.shop.cases) if self.shop.cases.is_dir() else ()

    def path_of(self, case: str | Path) -> Path:
        """Return the file of a case given by id or by path.

        Raises
        ------
        TriageError: no such case; the mend names the nearest id.
        """
        given = Path(case)
        if given.is_file() or isinstance(case, Path) or given.suffix == SUFFIX:
            return given
        path = self.shop.cases / f"{case}{SUFFIX}"
        if path.is_file() and is_case_name(path.name):
            return path
        known = [entry.id for entry in self.entries()]
        if not known:
            raise TriageError(
                f'no case "{case}": there are none in {self.shop.cases} yet',
                mend='begin one with: triage new "what is on the bench", or try triage --demo',
            )
        raise TriageError(
            f'no case "{case}" in {self.shop.cases}', mend=did_you_mean(str(case), known)
        )

    def load(self, case: str | Path) -> Case:
        """Return a case from its file."""
        return load_case(self.path_of(case))

    def new(self, title: str, taxon: str = "unknown", case_id: str | None = None) -> Case:
        """Create a case and return it; the id is made from the title if none is given."""
        if taxon != "unknown":
            self.shop.knowledge.require("taxon", taxon)
        make_folder(self.shop.cases)
        name = case_id or self._free_id(title)
        case = changes.new_case(name, title, taxon=taxon)
        create_case(self.shop.cases, case)
        return case

    def _free_id(self, title: str) -> str:
        stem = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:48].strip("-") or "case"
        taken = {entry.id for entry in self.entries()}
        number = 2
        name = stem
        while name in taken or is_reserved(name) or not is_case_name(f"{name}{SUFFIX}"):
            name = f"{stem}-{number}"
            number += 1
        return name

    def undone(self, path: Path) -> None:
        """Forget the newest record of this session on a case: it was taken back."""
        acts = self._acts.get(path, [])
        newest = next((act for act in reversed(acts) if act.is_recorded), None)
        if newest is not None:
            acts.remove(newest)

    def taken_back(self, path: Path, act: Act) -> None:
        """Forget an act that was taken back."""
        self._acts[path].remove(act)

    def stamp(self, case: str | Path) -> tuple[int, int, int]:
        """Return what tells whether the file of a case was written since; zeros if it is gone."""
        try:
            status = self.path_of(case).stat()
        except (OSError, TriageError):
            return (0, 0, 0)
        return (status.st_mtime_ns, status.st_size, status.st_ino)
