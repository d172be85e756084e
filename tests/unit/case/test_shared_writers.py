"""Eight writers of one case wait their turn, and a lock is its folder's own matter."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from filelock import FileLock

from tests.support.recording import append_attempt
from triage.case import store
from triage.case.changes import new_attempt, new_case
from triage.case.models import Case
from triage.case.store import create_case, load_case, update_case
from triage.service.listing import local_now
from triage.service.workshop import open_workshop

ROOT = Path(__file__).parents[3]
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
def folder(tmp_path: Path) -> Path:
    shutil.copy(ROOT / "cases" / f"{CASE}.yaml", tmp_path)
    return tmp_path


def write_together(folder: Path, writers: int, each: int) -> None:
    """Let writers record attempts on one case at once and hold that every one is in the file."""
    before = len(load_case(folder / f"{CASE}.yaml").attempts)
    words = [sys.executable, "-c", WRITER, str(ROOT), str(folder), CASE, str(each)]
    running = [
        subprocess.Popen([*words, f"w{number}"], stderr=subprocess.PIPE, text=True)
        for number in range(writers)
    ]
    said = [writer.communicate()[1] for writer in running]
    assert [writer.returncode for writer in running] == [0] * writers, said
    attempts = load_case(folder / f"{CASE}.yaml").attempts[before:]
    wanted = {f"w{writer} {number}" for writer in range(writers) for number in range(each)}
    notes = [attempt.note for attempt in attempts]
    assert sorted(notes) == sorted(wanted)
    for writer in range(writers):
        own = [note for note in notes if note.startswith(f"w{writer} ")]
        assert own == [f"w{writer} {number}" for number in range(each)], "each in its own order"
    first = before + 1
    assert [a.id for a in attempts] == [f"a{n}" for n in range(first, first + len(wanted))]


def test_writers_of_one_case_all_get_their_turn(folder: Path) -> None:
    write_together(folder, 3, 6)


@pytest.mark.slow
def test_eight_writers_of_fifty_attempts_each_lose_none(folder: Path) -> None:
    write_together(folder, 8, 50)


def test_nothing_is_planned_while_other_writers_wait(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop = open_workshop(cases=folder)
    step = shop.plan(shop.load(CASE)).next_step()
    assert step is not None
    lock = folder / f".{CASE}.yaml.lock"
    planned: list[bool] = []
    plan = shop.plan

    def watched(case: Case) -> object:
        planned.append(is_locked(lock))
        return plan(case)

    monkeypatch.setattr(shop, "plan", watched)
    shop.record(CASE, step.id, "not-done")
    assert planned
    assert not any(planned)


def test_a_text_is_parsed_once_however_often_a_record_reads_it(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop = open_workshop(cases=folder)
    step = shop.plan(shop.load(CASE)).next_step()
    assert step is not None
    shop.record(CASE, step.id, "not-done", note="first")
    parsed: list[str] = []
    parse = store.parse_yaml

    def counted(text: str, *rest: str) -> object:
        parsed.append(text)
        return parse(text, *rest)

    monkeypatch.setattr(store, "parse_yaml", counted)
    shop.record(CASE, step.id, "not-done", note="second")
    # What is written is read back once, before it takes the place of the old; nothing else is.
    assert [text.count("second") for text in parsed] == [1]


def test_a_writer_waits_on_while_others_get_their_turn(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A long queue is no fault: only a lock under which nothing is written for so long is.
    path = folder / f"{CASE}.yaml"
    held = FileLock(folder / f".{CASE}.yaml.lock")
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
    """Return whether somebody holds the kernel's lock on a file."""
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
    tmp_path: Path, rights: int, lock: int
) -> None:
    path = create_case(tmp_path, new_case("card", "on card"))
    side = tmp_path / ".card.yaml.lock"
    if side.exists():
        side.unlink()
    path.chmod(rights)
    append_attempt(
        path, lambda case: new_attempt(case.next_attempt_id(), local_now(), "s1", "better")
    )
    if side.exists():
        assert stat.S_IMODE(side.stat().st_mode) == lock
