"""A folder of ten thousand cases is listed while a person waits; figures are printed."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.support.case_gen import drawn
from tests.support.knowledge import consultant
from triage.case.changes import new_attempt, with_attempt
from triage.case.folder import INDEX, list_cases
from triage.case.store import case_text, update_case

COUNT = 10_000
MOST_S = 2.0


def worked_texts():
    """Cases with findings, signs, answers and two attempts, 1 to 3 kB each; 200 different ones."""
    at = datetime(2024, 3, 2, 10, 15, tzinfo=UTC)
    made = []
    for seed in range(200):
        case = drawn(consultant(), seed)[0].model_copy(update={"id": "card", "title": "Worked"})
        for outcome in ("better", "cleared"):
            attempt = new_attempt(
                case.next_attempt_id(), at, "whole-step", outcome, minutes=3.0, note="left as told"
            )
            case = with_attempt(case, attempt)
        made.append(case_text(case))
    return (made[number % 200] for number in range(COUNT))


def broken(text: str, number: int) -> str:
    """Every hundredth file has a fault, each kind of fault in turn."""
    if number % 100:
        return text
    faults = (
        text.replace("answers:", "answers: [", 1),
        text.replace("attempts:", "attempts: {}\nattempts:", 1),
        text.replace("format: 1", "format: 9", 1),
        text.replace("taxon: ", "taxon: \x1b", 1),
        text[: len(text) // 2] + "\n: x",
    )
    return faults[number // 100 % len(faults)]


@pytest.mark.slow
def test_ten_thousand_cases(tmp_path: Path, capsys) -> None:
    size = 0
    for number, sound in enumerate(worked_texts()):
        text = broken(sound, number).replace("id: card", f"id: card-{number:05}", 1)
        size += len(text)
        (tmp_path / f"card-{number:05}.yaml").write_text(text, encoding="utf-8")
    seconds = {}
    for label in ("rebuilt from the files", "from the index", "with one changed case"):
        if label.startswith("with"):
            update_case(
                tmp_path / "card-00007.yaml",
                lambda case: case.model_copy(update={"title": "Changed"}),
            )
        start, wall = time.process_time(), time.perf_counter()
        entries = list_cases(tmp_path)
        seconds[label] = (time.process_time() - start, time.perf_counter() - wall)
        assert len(entries) == COUNT
        assert [entry.id for entry in entries if entry.error] == [
            f"card-{number:05}" for number in range(0, COUNT, 100)
        ]
    assert entries[7].title == "Changed"
    assert (tmp_path / INDEX).is_file()
    with capsys.disabled():
        print(
            f"\n{COUNT} cases of {size / COUNT:.0f} bytes, 100 of them broken and named: ", end=""
        )
        for label, (processor, taken) in seconds.items():
            print(f"{label} {processor:.2f} s of processor time, {taken:.2f} s; ", end="")
    del seconds["rebuilt from the files"]  # every file is read in full, once
    assert all(processor < MOST_S for processor, _ in seconds.values())
