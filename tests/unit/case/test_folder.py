"""Lists of cases, settings and what else is remembered: quick, and never believed against the files."""

import json
import os
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from triage.case import store as store_module
from triage.case.changes import new_case
from triage.case.folder import INDEX, list_cases
from triage.case.store import create_case, update_case
from triage.errors import TriageError
from triage.service.listing import first_lines
from triage.service.settings import Settings, load_settings, save_settings
from triage.service.workshop import Workshop

LONG_AGO = 1_700_000_000


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for number in range(5):
        path = create_case(tmp_path, new_case(f"card-{number}", f"Card {number}"))
        os.utime(path, (LONG_AGO, LONG_AGO))
    return tmp_path


@pytest.fixture
def read_files(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    names: list[str] = []
    real = store_module.load_case

    def noted(path: Path, *, shown_as: str = "") -> object:
        names.append(path.name)
        return real(path, shown_as=shown_as)

    monkeypatch.setattr(store_module, "load_case", noted)
    return names


def titles(folder: Path) -> list[str]:
    return [entry.title for entry in list_cases(folder)]


def test_a_second_list_reads_no_case_file_but_a_changed_one(
    folder: Path, read_files: list[str]
) -> None:
    first = list_cases(folder)
    names = [(f"card-{n}", f"Card {n}") for n in range(5)]
    assert [(entry.id, entry.title) for entry in first] == names
    assert first[0].path == folder / "card-0.yaml"
    assert len(read_files) == 5
    assert list_cases(folder) == first
    assert len(read_files) == 5
    list_cases(folder)
    read_files.clear()
    update_case(folder / "card-2.yaml", lambda case: case.model_copy(update={"title": "Kard 2"}))
    assert titles(folder)[2] == "Kard 2"
    assert read_files == ["card-2.yaml"]
    # Same size and same time as before, changed all the same: the file's own clock tells.
    path = folder / "card-3.yaml"
    stamp = path.stat()
    path.write_text(path.read_text(encoding="utf-8").replace("Card", "Kard"), encoding="utf-8")
    os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    assert titles(folder)[3] == "Kard 3"


def test_a_file_as_young_as_the_index_is_not_believed(folder: Path, read_files: list[str]) -> None:
    path = create_case(folder, new_case("young", "Young"))
    list_cases(folder)
    read_files.clear()
    list_cases(folder)
    assert read_files == [path.name]


@pytest.mark.parametrize(
    "spoil",
    [
        lambda _: "",
        lambda _: "[]",
        lambda _: "{",
        lambda _: "[" * 100_000,
        lambda _: "\x00\xff",
        lambda text: text.replace('"version": "', '"version": "0'),
        lambda text: text.replace("Card 1", r"\u001b[2J"),
        lambda text: text.replace('"Card 1"', "7"),
        lambda text: json.dumps({**json.loads(text), "cases": {"card-1.yaml": [1]}}),
        lambda text: json.dumps({**json.loads(text), "cases": {"gone.yaml": [1, 2, 3, "", ""]}}),
    ],
)
def test_a_spoiled_index_is_rebuilt(folder: Path, spoil: Callable[[str], str]) -> None:
    expected = list_cases(folder)
    index = folder / INDEX
    index.write_text(spoil(index.read_text(encoding="utf-8")), encoding="utf-8")
    assert list_cases(folder) == expected
    content = json.loads(index.read_text(encoding="utf-8"))
    assert sorted(content["cases"]) == [f"card-{n}.yaml" for n in range(5)]


def test_an_index_that_cannot_be_written_is_done_without(folder: Path) -> None:
    (folder / INDEX).mkdir()
    assert titles(folder) == [f"Card {n}" for n in range(5)]
    assert (folder / INDEX).is_dir()
    assert not list(folder.glob(".*.tmp"))


def test_removed_and_renamed_files_leave_the_list(folder: Path) -> None:
    list_cases(folder)
    (folder / "card-0.yaml").unlink()
    (folder / "card-1.yaml").rename(folder / "card-9.yaml")
    entries = list_cases(folder)
    assert [entry.id for entry in entries] == ["card-2", "card-3", "card-4", "card-9"]
    assert "rename the file" in entries[-1].error


def test_broken_files_are_listed_with_their_fault(folder: Path) -> None:
    (folder / "bad.yaml").write_text("format: 1\nid: bad\ntitle: 'x\n", encoding="utf-8")
    (folder / "Big Name.yaml").write_text("format: 1\nid: Big Name\n", encoding="utf-8")
    (folder / "esc\x1b[2J.yaml").write_text("format: 1\nid: x\n", encoding="utf-8")
    os.mkfifo(folder / "pipe.yaml")
    for _ in range(2):
        faults = {entry.id: entry.error for entry in list_cases(folder) if entry.error}
        assert set(faults) == {"bad", "Big Name", "esc?[2J", "pipe"}
        assert faults["bad"].startswith("bad.yaml:")
        assert "broken YAML" in faults["bad"]
        assert "is not an id" in faults["Big Name"]
        assert not any("\x1b" in text or "\n" in text for text in faults.values())


def test_other_files_are_no_cases_and_a_missing_folder_is_told(
    folder: Path, tmp_path: Path
) -> None:
    for name in ("bench.yaml", ".hidden.yaml", "_draft.yaml", "notes.txt", "old.yml"):
        (folder / name).write_text("x", encoding="utf-8")
    (folder / "sub.yaml").mkdir()
    (folder / "gone.yaml").symlink_to(folder / "nowhere")
    assert [entry.id for entry in list_cases(folder)] == [f"card-{n}" for n in range(5)]
    with pytest.raises(TriageError, match="the folder cannot be read: No such file"):
        list_cases(tmp_path / "gone")
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(TriageError, match="the folder cannot be read: Not a directory"):
        list_cases(tmp_path / "file")


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


def test_settings_are_kept_with_what_is_not_known(tmp_path: Path) -> None:
    assert load_settings(tmp_path / "none.yaml") == Settings()
    place = tmp_path / "new" / "settings.yaml"
    save_settings(place, Settings(keys="left", sound="off"))
    place.write_text(place.read_text() + "window: {left: 3}\n")
    save_settings(place, Settings(keys="right", theme="nord"))
    assert load_settings(place) == Settings("right", "nord", "on", "on", {"window": {"left": 3}})
    place = tmp_path / "settings.yaml"
    place.write_text("sound: false\nmotion: true\n")
    assert load_settings(place) == Settings(sound="off", motion="on")
    (tmp_path / "file").write_text("")
    with pytest.raises(TriageError, match="cannot be kept"):
        save_settings(tmp_path / "file" / "settings.yaml", Settings())


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("keys: lefty\n", 'did you mean "left"'),
        ("- keys\n", "lines like keys: left"),
        ("keys: [\n", "settings.yaml:"),
        ("theme: 7\n", "write a word"),
        ("motion: 1.5\n", "write a word"),
    ],
)
def test_a_broken_file_is_told_and_never_written_over(tmp_path: Path, text: str, told: str) -> None:
    place = tmp_path / "settings.yaml"
    place.write_text(text)
    with pytest.raises(TriageError) as fault:
        load_settings(place)
    assert told in fault.value.line()
    with pytest.raises(TriageError):
        save_settings(place, Settings())
    assert place.read_text() == text
