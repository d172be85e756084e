"""A disk that is full or fails, a folder or a file that cannot be written: nothing is lost, and told."""

from __future__ import annotations

import errno
import os
import shutil
import stat
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.support.recording import BY_HAND, append_attempt, attempt_for
from triage.case import store
from triage.case.changes import new_case
from triage.case.store import load_case
from triage.commands.common import write_file
from triage.errors import TriageError

ROOT = Path(__file__).parents[3]


def failing(code: int) -> Callable[..., int]:
    """Return a call of the system that fails."""

    def call(*_: object) -> int:
        raise OSError(code, os.strerror(code))

    return call


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
    with monkeypatch.context() as patch:
        patch.setattr(store.os, call, failing(code))
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
            timeout=600,
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


def test_a_read_only_file_is_left_alone(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Rights as another user has them: the superuser running this test may write anything.
    monkeypatch.setattr(store.os, "access", lambda _, mode: not mode & os.W_OK)
    with pytest.raises(TriageError, match="nothing was changed: the file is read-only"):
        append_attempt(path, attempt_for)
    assert path.read_text(encoding="utf-8") == BY_HAND


def test_a_full_disk_leaves_no_empty_file_of_a_case_that_was_not_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store.os, "write", failing(errno.ENOSPC))
    with pytest.raises(TriageError, match="the disk is full"):
        store.create_case(tmp_path, new_case("card-2"))
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_never_empties_an_older_sheet(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = tmp_path / "sheet.html"
    write_file(sheet, b"older")
    full = failing(errno.ENOSPC)
    with monkeypatch.context() as patch:
        # Whatever call writes: the file was open and empty by then, or never touched.
        patch.setattr(store.os, "write", full)
        patch.setattr(Path, "write_bytes", lambda path, _: full(path.open("wb")))
        with pytest.raises(TriageError) as caught:
            write_file(sheet, b"newer")
    assert "disk is full" in caught.value.line() or "No space" in caught.value.line()
    assert sheet.read_bytes() == b"older"
    assert [path.name for path in tmp_path.iterdir()] == ["sheet.html"]
