"""What was read a moment ago, used again only while no file was written since."""

from __future__ import annotations

import os
import time
from collections import OrderedDict
from pathlib import Path

from triage.case.models import Case
from triage.case.store import load_case

# A file changed this shortly before it was read may change again within one tick of the file
# system's clock and look the same. 2 s is the coarsest clock in use (FAT).
TICK_NS = 2_000_000_000
MOST_CASES = 64


class ReadCases:
    """Cases by their files, read again when a file was written since."""

    def __init__(self) -> None:
        self._known: OrderedDict[str, tuple[tuple[int, int, int], Case]] = OrderedDict()

    def load(self, path: Path) -> Case:
        """Return the case in a file.

        Raises
        ------
        TriageError: anything wrong with the file.
        """
        name = str(path)
        try:
            status = os.stat(name)  # noqa: PTH116  (every file of the folder, for every plan)
        except OSError:
            return load_case(path)  # says what is wrong, in words
        stamp = (status.st_mtime_ns, status.st_size, status.st_ino)
        known = self._known.get(name)
        if known is not None and known[0] == stamp:
            return known[1]
        now_ns = time.time_ns()
        case = load_case(path)
        if status.st_mtime_ns < now_ns - TICK_NS:
            self._known[name] = (stamp, case)
            if len(self._known) > MOST_CASES:
                self._known.popitem(last=False)
        return case
