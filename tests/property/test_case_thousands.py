"""A folder of ten thousand cases is listed while a person waits; figures are printed."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from triage.case.changes import new_case, with_title
from triage.case.folder import INDEX, list_cases
from triage.case.store import case_text, update_case

COUNT = 10_000


@pytest.mark.slow
def test_ten_thousand_cases(tmp_path: Path) -> None:
    for number in range(COUNT):
        case = new_case(f"card-{number:05}", f"Card {number}")
        (tmp_path / f"{case.id}.yaml").write_text(case_text(case), encoding="utf-8")
    seconds = {}
    for label in ("rebuilt from the files", "from the index", "with one changed case"):
        if label.startswith("with"):
            update_case(tmp_path / "card-00007.yaml", lambda case: with_title(case, "Changed"))
        start = time.perf_counter()
        entries = list_cases(tmp_path)
        seconds[label] = time.perf_counter() - start
        assert len(entries) == COUNT
        assert not any(entry.error for entry in entries)
    assert entries[7].title == "Changed"
    assert (tmp_path / INDEX).is_file()
    print("; ".join(f"{COUNT} cases {label}: {taken:.2f} s" for label, taken in seconds.items()))
    assert seconds["from the index"] < 2.0
    assert seconds["with one changed case"] < 2.0
