"""Nothing recorded is lost: locks, full disks, read-only folders, hand edits, two programs."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest
from filelock import FileLock

from tests.support.recording import BY_HAND, NOW, append_attempt, attempt_for
from triage.case import store
from triage.case.changes import (
    new_case,
    new_finding,
    with_answer,
    with_attempt,
    with_finding,
    with_release,
    with_sign,
)
from triage.case.models import Case
from triage.case.store import create_case, load_case, update_case
from triage.errors import TriageError

REMARKS = [line.split("#", 1)[1] for line in BY_HAND.splitlines() if "#" in line]


def test_comments_and_unknown_keys_survive_every_kind_of_change(path: Path) -> None:
    steps = (
        lambda case: with_attempt(case, attempt_for(case, finding="f1", note="a: b # no remark")),
        lambda case: with_sign(case, "f2", "puff", "moves"),
        lambda case: with_sign(case, "f2", "smell", "no"),
        lambda case: with_sign(case, "f1", "smell", "yes"),
        lambda case: with_answer(case, "hydration", "rehydrated"),
        lambda case: with_answer(case, "old-poison-label", "no"),
        lambda case: with_finding(case, new_finding("f3", "antenna", looked="twice")),
        lambda case: case.model_copy(update={"title": "Another: title"}),
        lambda case: with_attempt(case, attempt_for(case, finding="f3", outcome="worse")),
        lambda case: with_release(case, NOW, "a3", "seen before"),
        lambda case: with_attempt(case, attempt_for(case, finding="f3")),
    )
    for change in steps:
        expected = change(load_case(path))
        assert update_case(path, change) == expected
        assert load_case(path) == expected
        text = path.read_text(encoding="utf-8")
        assert [remark for remark in REMARKS if remark not in text] == []
    assert text.startswith("# plate of pollinators\nformat: 1\n")
    assert text.endswith("\n\n# end remark\n")
    assert "    lamp: {kind: ring}\n" in text


def test_only_the_new_lines_change_on_an_append(path: Path) -> None:
    append_attempt(path, lambda case: attempt_for(case, finding="f1"))
    after = path.read_text(encoding="utf-8")
    head, tail = BY_HAND.split("\n\n# end remark")
    assert after.startswith(f"{head}\n  - id: a2\n    at: 2026-03-02T10:15:00+00:00\n")
    assert after.endswith(f"\n\n# end remark{tail}")


@pytest.mark.parametrize(
    "layout",
    [
        "format: 1\nid: card\nattempts: []\n",
        "format: 1\nid: card\nattempts:\n",
        "format: 1\nid: card\nattempts:",
        "format: 1\r\nid: card\r\nattempts:\r\n- {id: a1, at: 2026-03-02T10:15:00Z, step: s, outcome: better}\r\n",
        "{format: 1, id: card}",
        "---\nformat: 1\nid: card\n...\n",
        "attempts:\n-\n  id: a1\n  at: 2026-03-02T10:15:00Z\n  step: s\n  outcome: better\nformat: 1\nid: card",
        '"format": 1\n? id\n: card\nnote: |+\n  kept\n\n\nanswers: {}\n',
        "\ufeffformat: 1\nid: card\n",
    ],
)
def test_every_layout_takes_an_attempt(layout: str, tmp_path: Path) -> None:
    path = tmp_path / "card.yaml"
    path.write_bytes(layout.encode())
    before = load_case(path)
    after = append_attempt(path, attempt_for)
    assert after.attempts[:-1] == before.attempts
    assert load_case(path) == after
    assert update_case(path, lambda case: with_answer(case, "a", "b")) == load_case(path)
    if "\r\n" in layout:
        assert b"\n" not in path.read_bytes().replace(b"\r\n", b"")


def test_an_edit_by_hand_between_two_records_is_kept(path: Path) -> None:
    append_attempt(path, attempt_for)
    text = path.read_text(encoding="utf-8").replace("Bumblebee worker", "Carder bee  # renamed")
    path.write_text(text.replace("  - id: f2", "  # look here\n  - id: f2"), encoding="utf-8")
    case = append_attempt(path, attempt_for)
    assert [a.id for a in case.attempts] == ["a1", "a2", "a3"]
    text = path.read_text(encoding="utf-8")
    assert "Carder bee  # renamed" in text
    assert "  # look here\n" in text


@pytest.mark.parametrize(
    "lossy",
    [
        lambda case: case.model_copy(update={"attempts": ()}),
        lambda case: case.model_copy(update={"attempts": tuple(reversed(case.attempts))}),
        lambda case: case.model_copy(
            update={
                "attempts": (case.attempts[0].model_copy(update={"note": "x"}), *case.attempts[1:])
            }
        ),
        lambda case: case.model_copy(update={"releases": ()}),
        lambda case: case.model_copy(update={"id": "other"}),
    ],
)
def test_a_change_that_would_lose_a_record_is_refused(lossy: object, path: Path) -> None:
    append_attempt(path, lambda case: attempt_for(case, outcome="worse"))
    update_case(path, lambda case: with_release(case, NOW, "a2", "seen"))
    before = path.read_bytes()
    with pytest.raises(TriageError, match=r"lose or alter|may not rename"):
        update_case(path, lossy)  # type: ignore[arg-type]
    assert path.read_bytes() == before


def test_an_error_in_the_change_leaves_file_and_lock_free(path: Path) -> None:
    before = path.read_bytes()

    def broken(_: Case) -> Case:
        raise RuntimeError("a fault of ours")

    with pytest.raises(RuntimeError):
        update_case(path, broken)
    assert path.read_bytes() == before
    append_attempt(path, attempt_for, timeout_s=0.1)


def test_a_held_lock_is_told_in_one_line(path: Path) -> None:
    before = path.read_bytes()
    with FileLock(path.parent / ".card.yaml.lock"), pytest.raises(TriageError) as caught:
        append_attempt(path, attempt_for, timeout_s=0.05)
    assert caught.value.line() == (
        f"{path}: another program has been writing this case for 0.05 s; "
        "wait for it or close it, then try again"
    )
    assert path.read_bytes() == before


def test_a_new_case_never_overwrites(tmp_path: Path) -> None:
    path = create_case(tmp_path, new_case("card", "First", invented=True))
    before = path.read_bytes()
    with pytest.raises(TriageError, match="this case exists already; choose another id"):
        create_case(tmp_path, new_case("card", "Second"))
    assert path.read_bytes() == before
    (tmp_path / "linked.yaml").symlink_to(tmp_path / "nowhere")
    with pytest.raises(TriageError, match="exists already"):
        create_case(tmp_path, new_case("linked"))
    with pytest.raises(TriageError, match="no such folder; create it first"):
        create_case(tmp_path / "gone", new_case("card"))
    with pytest.raises(TriageError, match="is not an id"):
        new_case("../card")


def test_rights_and_links_are_kept(path: Path, tmp_path: Path) -> None:
    path.chmod(0o640)
    elsewhere = tmp_path / "links"
    elsewhere.mkdir()
    (elsewhere / "card.yaml").symlink_to(path)
    append_attempt(elsewhere / "card.yaml", attempt_for)
    assert (elsewhere / "card.yaml").is_symlink()
    assert len(load_case(path).attempts) == 2
    assert stat.S_IMODE(path.stat().st_mode) == 0o640


def test_a_temporary_file_left_by_a_dead_program_is_no_obstacle(path: Path) -> None:
    (path.parent / ".card.yaml.tmp").write_bytes(b"half a rec")
    append_attempt(path, attempt_for)
    assert not (path.parent / ".card.yaml.tmp").exists()


def test_a_case_cannot_outgrow_what_is_read_back(path: Path) -> None:
    before = path.read_bytes()
    with pytest.raises(TriageError, match="would grow beyond 2 MB"):
        append_attempt(path, lambda case: attempt_for(case, note="x" * 2_000_000))
    assert path.read_bytes() == before


def test_a_value_no_case_file_can_hold_is_refused(path: Path) -> None:
    before = path.read_bytes()
    with pytest.raises(TriageError, match="that a case file cannot hold"):
        update_case(path, lambda case: case.model_copy(update={"specimen": {"seen": NOW}}))
    assert path.read_bytes() == before


# Microsoft, "Naming Files, Paths, and Namespaces": no file can be called so, whatever its ending.
@pytest.mark.parametrize("name", ["con", "aux", "nul", "prn", "com1", "lpt9"])
def test_a_name_that_a_platform_keeps_for_a_device_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(TriageError, match="device; choose another id"):
        store.create_case(tmp_path, new_case(name))
    assert list(tmp_path.iterdir()) == []
