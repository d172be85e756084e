"""What was used in one room, told by all who work there: one file, lines are only ever appended."""

from __future__ import annotations

import hashlib
import json
import platform
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from triage.case.changes import new_case
from triage.case.models import Attempt, Case
from triage.case.naming import shown_path
from triage.case.profile import RoomProfile
from triage.case.store import append_text
from triage.errors import TriageError

MOST_BYTES = 1_000_000
MOST_TOLD = 8
DAY = timedelta(hours=24)
# What a reader of the room needs to know of an attempt; what was seen stays with the case.
TOLD = ("at", "step", "method", "agent", "outcome", "amount_ml", "minutes")
Key = tuple[str, str, str]


@dataclass(frozen=True)
class RoomLedger:
    """The file of one room.

    Parameters
    ----------
    path  the file; its folder must be there
    mine  names this folder of cases on this machine, and says nothing else about it
    """

    path: Path
    mine: str

    def others(
        self, own: Iterable[Case], since: datetime
    ) -> tuple[tuple[Case, ...], tuple[str, ...]]:
        """Return what else was used in the room, as cases, and what cannot be read.

        Parameters
        ----------
        own   the cases of this folder: what stands in them counts as it stands there
        since what is older need not be read
        """
        if not self.path.parent.is_dir():
            return (), (f"the room's folder {shown_path(self.path.parent)} cannot be reached",)
        try:
            found, unread = self._read(since)
        except OSError as fault:
            return (), (f"{shown_path(self.path)}: {fault.strerror}",)
        held = {(self.mine, case.id, first) for case in own for first in case.counted()}
        cases: dict[tuple[str, str], list[Attempt]] = {}
        for key, attempt in found.items():
            if key not in held and attempt.at >= since:
                cases.setdefault(key[:2], []).append(attempt)
        made = tuple(
            new_case(name, attempts=[attempt.plain() for attempt in attempts])
            for (_, name), attempts in sorted(cases.items())
        )
        return made, self._told(unread)

    def _read(self, since: datetime) -> tuple[dict[Key, Attempt], list[int]]:
        """Return what the lines say, the later for the earlier, and the lines that say nothing.

        An attempt is told within a day, so what stands before one that is a day older than what
        counts is itself too old to count.
        """
        found: dict[Key, Attempt] = {}
        unread: list[int] = []
        for number, line in self._lines():
            try:
                key, attempt = _read(line)
            except (TriageError, ValueError, KeyError, TypeError, RecursionError):
                unread.append(number)
                continue
            if attempt.at < since - DAY:
                unread.clear()
            found[key] = attempt
        return found, unread

    def _told(self, unread: Sequence[int]) -> tuple[str, ...]:
        """Return the lines that cannot be read in words: each of a few, of many the first."""
        name = shown_path(Path(self.path.name))
        said = [f"{name} line {number} cannot be read" for number in unread[:MOST_TOLD]]
        if len(unread) > MOST_TOLD:
            said.append(f"{name}: {len(unread) - MOST_TOLD} more lines cannot be read")
        return tuple(said)

    def _lines(self) -> list[tuple[int, bytes]]:
        """Return the newest lines with their numbers, of a long file from the middle on."""
        if not self.path.exists():
            return []
        with self.path.open("rb") as stream:
            content = stream.read(MOST_BYTES)
            rest = stream.read()
        if rest:
            content = (content + rest)[-MOST_BYTES:].partition(b"\n")[2]
        numbered = enumerate(content.split(b"\n"), 1)
        return [(number, line) for number, line in numbered if line.strip()]

    def tell(self, cases: Iterable[Case], since: datetime) -> None:
        """Append what the cases of this folder used and the file does not say yet.

        Raises
        ------
        TriageError: the file cannot be written; what it lacks is appended the next time.
        """
        if not self.path.parent.is_dir():
            raise TriageError(
                f"the room's folder {shown_path(self.path.parent)} cannot be reached",
                mend="connect it; your case is recorded, but nobody else in the room sees it",
            )
        try:
            told, _ = self._read(since)
        except OSError as fault:
            what = f"{shown_path(self.path)}: {fault.strerror}"
            raise TriageError(what, mend="make the file readable") from None
        new = []
        for case in cases:
            for first, attempt in case.counted().items():
                said = _said(first, attempt)
                known = told.get((self.mine, case.id, first))
                if attempt.at >= since and (known is None or _said(first, known) != said):
                    whole = {"folder": self.mine, "case": case.id, "attempt": said}
                    new.append(json.dumps(whole) + "\n")
        if new:
            append_text(self.path, "".join(new))


def room_ledger(room: RoomProfile, beside: Path, cases: Path) -> RoomLedger | None:
    """Return the ledger that a room names, None if it names none.

    Parameters
    ----------
    beside folder of the bench file
    cases  folder of the cases
    """
    if not room.ledger:
        return None
    name = re.sub(r"[^a-z0-9]+", "-", room.name.lower()).strip("-")[:48] or "room"
    whose = f"{platform.node()}:{cases.resolve()}"
    mine = hashlib.sha256(whose.encode("utf-8", "replace")).hexdigest()[:12]
    return RoomLedger(beside / Path(room.ledger).expanduser() / f"{name}.room.jsonl", mine)


def _said(first: str, attempt: Attempt) -> dict[str, Any]:
    plain = attempt.plain()
    return {"id": first, **{key: plain[key] for key in TOLD if plain.get(key) is not None}}


def _read(line: bytes) -> tuple[Key, Attempt]:
    content = json.loads(line)
    said = {key: content["attempt"][key] for key in ("id", *TOLD) if key in content["attempt"]}
    case = new_case(content["case"], attempts=[said])
    folder = str(content["folder"])
    return (folder, case.id, case.attempts[0].id), case.attempts[0]
