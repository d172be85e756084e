"""Every way of being wrong is refused with one line that names file, line and mend."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.support.recording import append_attempt
from triage.case.changes import new_attempt
from triage.case.store import load_case
from triage.errors import TriageError

FOLDER = Path(__file__).parents[2] / "bad_input" / "cases"


def table() -> list[tuple[str, str, str]]:
    rows = []
    for row in (FOLDER / "expected.txt").read_text(encoding="utf-8").splitlines()[1:]:
        name, line, part = row.split(" | ", 2)
        rows.append((name, line, part))
    return rows


@pytest.mark.parametrize(("name", "line", "part"), table(), ids=[row[0] for row in table()])
def test_refused_in_one_line(name: str, line: str, part: str, tmp_path: Path) -> None:
    path = tmp_path / f"{name}.yaml"
    shutil.copyfile(FOLDER / f"{name}.yaml", path)
    before = path.read_bytes()
    with pytest.raises(TriageError) as caught:
        load_case(path)
    told = caught.value.line()
    place = f"{path}:" if line == "-" else f"{path}:{line}"
    assert told.startswith(place), told
    assert part in told, told
    assert "\n" not in told
    assert caught.value.mend
    assert caught.value.exit_code == 2
    with pytest.raises(TriageError) as again:
        append_attempt(path, lambda _: pytest.fail("nothing may be recorded into a broken file"))
    assert again.value.line() == told
    assert path.read_bytes() == before


def test_every_file_has_its_row() -> None:
    assert {path.stem for path in FOLDER.glob("*.yaml")} == {row[0] for row in table()}


@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("none.yaml", "no such file; check the name and the folder"),
        ("folder.yaml", "this is a folder, not a file; name a file in it"),
        ("dangling.yaml", "no such file"),
        ("loop.yaml", "cannot be read"),
        ("pipe.yaml", "this is not an ordinary file"),
        ("big.yaml", "larger than 2 MB; check that this is the right file"),
        ("n" * 300 + ".yaml", "cannot be read"),
        ("nul\0.yaml", "cannot be read: the name is not valid"),
    ],
)
def test_unreadable_paths_are_refused(name: str, part: str, tmp_path: Path) -> None:
    import os

    (tmp_path / "folder.yaml").mkdir()
    (tmp_path / "dangling.yaml").symlink_to(tmp_path / "gone")
    (tmp_path / "loop.yaml").symlink_to(tmp_path / "loop.yaml")
    os.mkfifo(tmp_path / "pipe.yaml")
    (tmp_path / "big.yaml").write_bytes(b"# " + b"x" * 2_000_000)
    present = sorted(tmp_path.iterdir())
    for act in (load_case, lambda path: append_attempt(path, lambda _: pytest.fail("called"))):
        with pytest.raises(TriageError) as caught:
            act(tmp_path / name)
        assert part in caught.value.line()
        assert "\n" not in caught.value.line()
    assert sorted(tmp_path.iterdir()) == present


def test_several_faults_are_told_each_on_its_line(tmp_path: Path) -> None:
    path = tmp_path / "two.yaml"
    path.write_text(
        "format: 1\nid: two\nfindings:\n  - id: F 1\n    zone: eye\n    side: up\n",
        encoding="utf-8",
    )
    with pytest.raises(TriageError) as caught:
        load_case(path)
    first, second = caught.value.line().splitlines()
    assert first.startswith(f'{path}:4 finding "F 1" id')
    assert second.startswith(f'{path}:6 finding "F 1" side: unknown value "up"')


def test_new_attempts_are_checked_as_read_ones_are() -> None:
    from datetime import UTC, datetime

    now = datetime(2026, 3, 2, tzinfo=UTC)
    for fields, part in (
        ({"amount_ml": -1.0}, "negative"),
        ({"amount_ml": float("nan")}, "finite"),
        ({"note": "\x1b[2J"}, "control character (U+001B)"),
        ({"photo_after": "../x.jpg"}, "leaves the folder"),
    ):
        with pytest.raises(
            TriageError, match=part.replace("(", r"\(").replace(")", r"\)").replace("+", r"\+")
        ):
            new_attempt("a1", now, "first", "cleared", **fields)
    with pytest.raises(TriageError, match="did you mean"):
        new_attempt("a1", now, "first", "clered")
