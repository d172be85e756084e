"""What is used again: only while file, bench, day and record are the same; never a stale list."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from triage.service.listing import first_lines, remember
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


def test_the_first_list_says_what_the_last_one_said(workshop: Workshop, tmp_path: Path) -> None:
    memory = tmp_path / "new" / "list.json"
    assert not any(line.is_planned for line in first_lines(workshop.cases, memory))
    lines = workshop.list_cases()
    remember(workshop.cases, memory, lines)
    said = first_lines(workshop.cases, memory)
    assert {line.id: line for line in said} == {line.id: line for line in lines}
    assert [line.held for line in said] == sorted((line.held for line in said), reverse=True)


def test_a_changed_case_has_its_name_only(workshop: Workshop, tmp_path: Path) -> None:
    memory = tmp_path / "list.json"
    remember(workshop.cases, memory, workshop.list_cases())
    os.utime(workshop.path_of(CASE), ns=(1, 1))
    planned = {line.id: line.is_planned for line in first_lines(workshop.cases, memory)}
    assert not planned.pop(CASE)
    assert all(planned.values())


@pytest.mark.parametrize("text", ["", "[]", "{", '{"version": "0", "folder": "", "cases": {}}'])
def test_a_damaged_memory_is_not_used(workshop: Workshop, tmp_path: Path, text: str) -> None:
    memory = tmp_path / "list.json"
    memory.write_text(text)
    assert not any(line.is_planned for line in first_lines(workshop.cases, memory))
