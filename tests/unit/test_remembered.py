"""What is used again: only while file, bench, day and record are the same; never a stale list."""

from __future__ import annotations

import os
import time
from pathlib import Path

from triage.service.listing import first_lines
from triage.service.workshop import Workshop

CASE = "bumblebee-plate-3"
OLD_NS = 10_000_000_000


def _age(folder: Path) -> None:
    """Let all files look as if they were written a while ago."""
    then = time.time_ns() - OLD_NS
    for path in folder.glob("*.yaml"):
        os.utime(path, ns=(then, then))


def test_the_same_five_give_the_same_plan(workshop: Workshop) -> None:
    _age(workshop.cases)
    first = workshop.plan(workshop.load(CASE))
    assert workshop.plan(workshop.load(CASE)) is first
    workshop.save_bench(workshop.bench.model_copy(update={"name": "another"}))
    assert workshop.plan(workshop.load(CASE)).bench == "another"


def test_a_changed_file_is_read_again(workshop: Workshop) -> None:
    _age(workshop.cases)
    before = workshop.load(CASE)
    assert workshop.load(CASE) is before
    path = workshop.path_of(CASE)
    path.write_text(path.read_text().replace("title: ", "title: Not ", 1))
    after = workshop.load(CASE)
    assert after.title == f"Not {before.title}"
    assert workshop.plan(after).title == after.title


def test_the_first_list_is_of_names(workshop: Workshop) -> None:
    first = first_lines(workshop.cases)
    assert not any(line.is_planned for line in first)
    assert {line.id: line.title for line in first} == {
        line.id: line.title for line in workshop.list_cases()
    }
