"""Full disks, files that cannot be written, and many writers of one case: nothing is lost, and told."""

import errno
import os
import shutil
import stat
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from filelock import FileLock

from tests.support.knowledge import CASES, ROOT
from tests.support.recording import BY_HAND, append_attempt, attempt_for
from tests.support.running import process
from triage.case import store
from triage.case.changes import new_case
from triage.case.models import Case
from triage.case.store import load_case, update_case
from triage.commands.common import write_file
from triage.errors import TriageError
from triage.service.workshop import Workshop, open_workshop


def failing(code: int) -> Callable[..., int]:
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
    assert append_attempt(path, attempt_for) == load_case(path)


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
    rehearsal, folder = tmp_path / "rehearsal", tmp_path / "read-only"
    for each in (rehearsal, folder):
        each.mkdir()
        shutil.copyfile(path, each / path.name)
    path = folder / path.name
    folder.chmod(0o555)
    try:
        done = process("-c", READ_ONLY, str(ROOT), str(folder), str(rehearsal), home=tmp_path)
    finally:
        folder.chmod(0o755)
    if done.stderr.startswith("cannot: "):
        pytest.skip(done.stderr.strip())
    told = "nothing was changed: the folder cannot be written to; make it writable or copy the case"
    said = [f"{path}: {told}", f"{folder / 'fresh.yaml'}: {told}", "['card']"]
    assert done.said().splitlines() == said
    assert path.read_text(encoding="utf-8") == BY_HAND
    assert list(folder.iterdir()) == [path]


def test_a_read_only_file_is_left_alone(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Rights as another user has them: the superuser running this test may write anything.
    monkeypatch.setattr(store.os, "access", lambda _, mode: not mode & os.W_OK)
    with pytest.raises(TriageError, match="nothing was changed: the file is read-only"):
        append_attempt(path, attempt_for)
    assert path.read_text(encoding="utf-8") == BY_HAND


def test_a_full_disk_leaves_no_empty_case_and_never_empties_an_older_sheet(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet, full = tmp_path / "sheet.html", failing(errno.ENOSPC)
    write_file(sheet, b"older")
    with monkeypatch.context() as patch:
        # Whatever call writes: the file was open and empty by then, or never touched.
        patch.setattr(store.os, "write", full)
        patch.setattr(Path, "write_bytes", lambda path, _: full(path.open("wb")))
        with pytest.raises(TriageError, match=r"disk is full|No space"):
            write_file(sheet, b"newer")
        with pytest.raises(TriageError, match="the disk is full"):
            store.create_case(tmp_path, new_case("card-2"))
    assert sheet.read_bytes() == b"older"
    assert [path.name for path in tmp_path.iterdir()] == ["sheet.html"]


CASE = "bumblebee-plate-3"
# Each writer plans, then records; an outcome that is "not done" leaves the step in the plan.
WRITER = """
import sys
sys.path.insert(0, sys.argv[1])
from pathlib import Path
from triage.service.workshop import open_workshop
shop = open_workshop(cases=Path(sys.argv[2]))
step = shop.plan(shop.load(sys.argv[3])).next_step().id
for number in range(int(sys.argv[4])):
    shop.record(sys.argv[3], step, "not-done", note=f"{sys.argv[5]} {number}")
"""


@pytest.fixture
def shop(tmp_path: Path) -> Workshop:
    shutil.copy(CASES / f"{CASE}.yaml", tmp_path)
    return open_workshop(cases=tmp_path)


def next_step(shop: Workshop) -> str:
    step = shop.plan(shop.load(CASE)).next_step()
    assert step is not None
    return step.id


@pytest.mark.parametrize(("writers", "each"), [(3, 6), pytest.param(8, 50, marks=pytest.mark.slow)])
def test_writers_of_one_case_all_get_their_turn_and_lose_nothing(
    shop: Workshop, writers: int, each: int
) -> None:
    before = len(shop.load(CASE).attempts)
    words = [sys.executable, "-c", WRITER, str(ROOT), str(shop.cases), CASE, str(each)]
    running = [
        subprocess.Popen([*words, f"w{number}"], stderr=subprocess.PIPE, text=True)
        for number in range(writers)
    ]
    said = [writer.communicate()[1] for writer in running]
    assert [writer.returncode for writer in running] == [0] * writers, said
    attempts = load_case(shop.path_of(CASE)).attempts[before:]
    for writer in range(writers):
        own = [a.note for a in attempts if (a.note or "").startswith(f"w{writer} ")]
        assert own == [f"w{writer} {number}" for number in range(each)], "each in its own order"
    ids = [f"a{n}" for n in range(before + 1, before + 1 + writers * each)]
    assert [a.id for a in attempts] == ids


def test_nothing_is_planned_while_other_writers_wait(
    shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    step, plan, planned = next_step(shop), shop.plan, []

    def watched(case: Case) -> object:
        planned.append(is_locked(shop.cases / f".{CASE}.yaml.lock"))
        return plan(case)

    monkeypatch.setattr(shop, "plan", watched)
    shop.record(CASE, step, "not-done")
    assert planned
    assert not any(planned)


def test_a_text_is_parsed_once_however_often_a_record_reads_it(
    shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    step, parse, parsed = next_step(shop), store.parse_yaml, []
    shop.record(CASE, step, "not-done", note="first")

    def counted(text: str, *rest: str) -> object:
        parsed.append(text)
        return parse(text, *rest)

    monkeypatch.setattr(store, "parse_yaml", counted)
    shop.record(CASE, step, "not-done", note="second")
    # What is written is read back once, before it takes the place of the old; nothing else is.
    assert [text.count("second") for text in parsed] == [1]


def test_a_writer_waits_on_while_others_get_their_turn(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A long queue is no fault: only a lock under which nothing is written for so long is.
    held = FileLock(path.parent / ".card.yaml.lock")
    held.acquire()
    looks: list[Path] = []
    stamp = store._stamp

    def written_to(looked: Path) -> object:
        """Between any two looks at the file somebody has written; the last one lets go."""
        looks.append(looked)
        os.utime(path, ns=(len(looks), len(looks)))
        if len(looks) == 9:
            held.release()
        return stamp(looked)

    monkeypatch.setattr(store, "_stamp", written_to)
    update_case(path, lambda old: old, timeout_s=0.02)
    assert set(looks) == {path}
    assert len(looks) >= 9


def is_locked(lock: Path) -> bool:
    fcntl = pytest.importorskip("fcntl")
    if not lock.exists():
        return False
    handle = os.open(lock, os.O_RDWR)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return True
    finally:
        os.close(handle)
    return False


@pytest.mark.skipif(os.name == "nt", reason="rights of POSIX")
@pytest.mark.parametrize(("rights", "lock"), [(0o600, 0o600), (0o660, 0o660), (0o666, 0o660)])
def test_a_lock_can_be_held_only_by_who_may_write_the_case(
    path: Path, rights: int, lock: int
) -> None:
    side = path.parent / ".card.yaml.lock"
    path.chmod(rights)
    append_attempt(path, attempt_for)
    if side.exists():
        assert stat.S_IMODE(side.stat().st_mode) == lock
