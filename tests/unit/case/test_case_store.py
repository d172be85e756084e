"""Nothing recorded is lost: locks, full disks, read-only folders, hand edits, two programs."""

from __future__ import annotations

import errno
import multiprocessing
import os
import shutil
import stat
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from filelock import FileLock

from tests.support.recording import append_attempt
from triage.case import store
from triage.case.changes import (
    new_attempt,
    new_case,
    new_finding,
    with_answer,
    with_attempt,
    with_finding,
    with_release,
    with_sign,
)
from triage.case.models import Attempt, Case
from triage.case.store import create_case, load_case, update_case
from triage.commands.common import write_file
from triage.errors import TriageError

NOW = datetime(2026, 3, 2, 10, 15, tzinfo=UTC)
ROOT = Path(__file__).parents[3]

BY_HAND = """\
# plate of pollinators
format: 1
id: card            # = file name
owner: {shelf: 3}   # a key of our own
title: Bumblebee worker
answers:
  hydration: dry    # looked twice
  # to be answered: smell
findings:
  - id: f1          # the worst
    zone: thorax-hairy
    signs: {sheen: wet}
  - id: f2
    zone: compound-eye
    signs:
      puff: stays   # by eye

# what was tried
attempts:
  - id: a1          # careful
    at: 2026-03-02T10:15:00+01:00
    step: s1
    finding: f1
    outcome: no-change
    amount_ml: 2    # by pipette
    lamp: {kind: ring}
    note: |
      two
      lines

# end remark
"""
REMARKS = [line.split("#", 1)[1] for line in BY_HAND.splitlines() if "#" in line]


def attempt_for(case: Case, **fields: object) -> Attempt:
    outcome = str(fields.pop("outcome", "better"))
    return new_attempt(case.next_attempt_id(), NOW, "s1", outcome, **fields)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "card.yaml"
    path.write_text(BY_HAND, encoding="utf-8")
    return path


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


@pytest.mark.parametrize("call", ["write", "fsync"])
@pytest.mark.parametrize(
    ("code", "part"),
    [
        (errno.ENOSPC, "nothing was changed: the disk is full; free some space"),
        (errno.EDQUOT, "nothing was changed: the disk is full"),
        (errno.EIO, "nothing was changed: Input/output error; check the disk"),
    ],
)
def test_a_full_or_failing_disk_leaves_the_file(
    path: Path, monkeypatch: pytest.MonkeyPatch, call: str, code: int, part: str
) -> None:
    before = path.read_bytes()

    def fails(*_: object) -> int:
        raise OSError(code, os.strerror(code))

    with monkeypatch.context() as patch:
        patch.setattr(store.os, call, fails)
        with pytest.raises(TriageError) as caught:
            append_attempt(path, attempt_for)
    assert part in caught.value.line()
    assert path.read_bytes() == before
    assert not list(path.parent.glob(".*.tmp"))
    append_attempt(path, attempt_for)


def test_a_short_write_is_continued(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.write
    monkeypatch.setattr(store.os, "write", lambda handle, left: real(handle, bytes(left[:7])))
    case = append_attempt(path, attempt_for)
    assert load_case(path) == case


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs the always-full device of Linux")
def test_the_device_that_is_always_full(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = path.read_bytes()
    real = os.open

    def opened(name: object, flags: int, *rest: int) -> int:
        return (
            real("/dev/full", os.O_WRONLY)
            if str(name).endswith(".tmp")
            else real(name, flags, *rest)
        )

    monkeypatch.setattr(store.os, "open", opened)
    monkeypatch.setattr(store, "_copy_rights", lambda *_: None)
    with pytest.raises(TriageError, match="the disk is full"):
        append_attempt(path, attempt_for)
    assert path.read_bytes() == before


def test_a_folder_that_cannot_be_flushed_is_told_apart(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = os.fsync

    def fails(handle: int) -> None:
        if stat.S_ISDIR(os.fstat(handle).st_mode):
            raise OSError(errno.EIO, "Input/output error")
        real(handle)

    monkeypatch.setattr(store.os, "fsync", fails)
    with pytest.raises(TriageError, match="written, but the disk did not confirm it"):
        append_attempt(path, attempt_for)
    assert len(load_case(path).attempts) == 2


# Root may write anywhere; without its capabilities it has the rights of the owner, as anybody else
# has them. To become another user instead would take away the program and the folder as well,
# where either stands in a folder of its owner only, or is made so meanwhile by another run.
READ_ONLY = """
import ctypes, os, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from datetime import UTC, datetime
from triage.case.changes import new_attempt, new_case, with_attempt
from triage.case.folder import list_cases
from triage.case.store import create_case, load_case, update_case
from triage.commands.common import write_file
from triage.errors import TriageError

VERSION = 0x20080522  # _LINUX_CAPABILITY_VERSION_3, capset(2)
at = datetime(2026, 3, 2, tzinfo=UTC)

def work_in(folder):
    for act in (
        lambda: update_case(
            folder / "card.yaml",
            lambda case: with_attempt(case, new_attempt("a9", at, "s", "better")),
            timeout_s=0.5,
        ),
        lambda: create_case(folder, new_case("fresh"), timeout_s=0.5),
    ):
        try:
            act()
            yield "written"
        except TriageError as fault:
            yield fault.line()
    yield str([entry.id for entry in list_cases(folder)])

# All that is imported late is imported now, while it can be.
assert list(work_in(Path(sys.argv[3]))) == ["written", "written", "['card', 'fresh']"]
folder = Path(sys.argv[2])
if os.geteuid() == 0:
    head, none = (ctypes.c_uint32 * 2)(VERSION, 0), (ctypes.c_uint32 * 6)()
    if ctypes.CDLL(None, use_errno=True).capset(head, none):
        sys.exit(f"cannot: root keeps its rights: {os.strerror(ctypes.get_errno())}")
if not os.access(folder, os.R_OK | os.X_OK):
    sys.exit(f"cannot: {folder} stands in a folder that this user may not enter")
if os.access(folder, os.W_OK):
    sys.exit(f"cannot: {folder} can be written to although it is read-only")
print("\\n".join(work_in(folder)))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="rights of folders as on Unix")
def test_a_read_only_folder_is_told_and_untouched(path: Path, tmp_path: Path) -> None:
    if os.geteuid() == 0 and sys.platform != "linux":
        pytest.skip("root can give its rights up like this on Linux only")
    rehearsal = tmp_path / "rehearsal"
    rehearsal.mkdir()
    shutil.copyfile(path, rehearsal / path.name)
    folder = tmp_path / "read-only"
    folder.mkdir()
    path = path.rename(folder / path.name)
    folder.chmod(0o555)
    try:
        done = subprocess.run(
            [sys.executable, "-c", READ_ONLY, str(ROOT), str(folder), str(rehearsal)],
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
    finally:
        folder.chmod(0o755)
    if done.stderr.startswith("cannot: "):
        pytest.skip(done.stderr.strip())
    assert done.returncode == 0, done.stderr
    appended, created, listed = done.stdout.splitlines()
    told = "nothing was changed: the folder cannot be written to; make it writable or copy the case"
    assert appended == f"{path}: {told}"
    assert created == f"{path.parent / 'fresh.yaml'}: {told}"
    assert listed == "['card']"
    assert path.read_text(encoding="utf-8") == BY_HAND
    assert list(folder.iterdir()) == [path]


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


def test_a_read_only_file_is_left_alone(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Rights as another user has them: the superuser running this test may write anything.
    monkeypatch.setattr(store.os, "access", lambda _, mode: not mode & os.W_OK)
    with pytest.raises(TriageError, match="nothing was changed: the file is read-only"):
        append_attempt(path, attempt_for)
    assert path.read_text(encoding="utf-8") == BY_HAND


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


def _record_many(path: str, label: str, count: int) -> None:
    for number in range(count):
        append_attempt(path, lambda case: attempt_for(case, note=f"{label}{number}"), timeout_s=60)  # noqa: B023


def test_two_programs_at_once_lose_nothing(path: Path) -> None:
    spawn = multiprocessing.get_context("spawn")
    writers = [spawn.Process(target=_record_many, args=(str(path), label, 25)) for label in "xyz"]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(120)
        assert writer.exitcode == 0
    case = load_case(path)
    notes = [attempt.note for attempt in case.attempts[1:]]
    assert sorted(notes) == sorted(f"{label}{number}" for label in "xyz" for number in range(25))
    for label in "xyz":
        own = [note for note in notes if note.startswith(label)]
        assert own == [f"{label}{number}" for number in range(25)]
    assert [attempt.id for attempt in case.attempts] == [f"a{n}" for n in range(1, 77)]
    assert "# end remark" in path.read_text(encoding="utf-8")


def test_a_full_disk_leaves_no_empty_file_of_a_case_that_was_not_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(store.os, "write", full)
    with pytest.raises(TriageError, match="the disk is full"):
        store.create_case(tmp_path, new_case("card-2"))
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_never_empties_an_older_sheet(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = tmp_path / "sheet.html"
    write_file(sheet, b"older")

    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        # Whatever call writes: the file was open and empty by then, or never touched.
        patch.setattr(store.os, "write", full)
        patch.setattr(Path, "write_bytes", lambda path, _: full(path.open("wb")))
        with pytest.raises(TriageError) as caught:
            write_file(sheet, b"newer")
    assert "disk is full" in caught.value.line() or "No space" in caught.value.line()
    assert sheet.read_bytes() == b"older"
    assert [path.name for path in tmp_path.iterdir()] == ["sheet.html"]


# Microsoft, "Naming Files, Paths, and Namespaces": no file can be called so, whatever its ending.
@pytest.mark.parametrize("name", ["con", "aux", "nul", "prn", "com1", "lpt9"])
def test_a_name_that_a_platform_keeps_for_a_device_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(TriageError, match="device; choose another id"):
        store.create_case(tmp_path, new_case(name))
    assert list(tmp_path.iterdir()) == []
