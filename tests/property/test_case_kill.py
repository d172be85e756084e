"""A program killed at any moment of its writing loses nothing; cases come back as they were written.

Whatever stands in them and however they are laid out; and ten thousand are listed while one waits.
"""

import random
import signal
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.case_gen import drawn
from tests.support.knowledge import ROOT, consultant
from tests.support.recording import append_attempt
from tests.support.running import process
from triage.case import changes
from triage.case.changes import new_attempt, new_case, with_attempt
from triage.case.folder import INDEX, list_cases
from triage.case.models import OUTCOMES, Case
from triage.case.store import case_text, create_case, load_case, update_case
from triage.yamltext import control_character, dump_yaml, parse_yaml

# Acknowledges an attempt (one line, flushed) only after the store has returned.
WRITER = """
import sys
sys.path.insert(0, sys.argv[1])
from datetime import UTC, datetime
from triage.case.changes import new_attempt, with_attempt
from triage.case.store import update_case
at = datetime(2026, 3, 2, tzinfo=UTC)
print("ready", flush=True)
while True:
    case = update_case(
        sys.argv[2],
        lambda case: with_attempt(
            case, new_attempt(case.next_attempt_id(), at, "s1", "better", note=sys.argv[3])
        ),
    )
    print(case.attempts[-1].id, flush=True)
"""


def kill_while_writing(path: Path, after: int, delay_s: float, label: str) -> list[str]:
    """Kill a writer ``delay_s`` after its attempt number ``after``; return all it acknowledged."""
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(ROOT), str(path), label],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert writer.stdout is not None
    assert writer.stdout.readline() == "ready\n"
    told = [writer.stdout.readline() for _ in range(after)]
    time.sleep(delay_s)
    writer.send_signal(signal.SIGKILL)
    told += writer.stdout.readlines()
    writer.stdout.close()
    assert writer.wait() == -signal.SIGKILL
    # A line that was cut off by the kill was not told to anybody.
    return [line.strip() for line in told if line.endswith("\n")]


def kills(folder: Path, count: int, seed: int) -> tuple[int, int]:
    """Kill ``count`` writers one after another; return acknowledged attempts and cut writes."""
    rng = random.Random(seed)
    path = create_case(folder, new_case("card", "Card"))
    with path.open("a", encoding="utf-8") as stream:
        stream.write("# a remark at the end\n")
    recorded: list[tuple[str, str]] = []
    acknowledged = cut = 0
    for number in range(count):
        if len(recorded) > 150:  # keep the file small, so that many writes meet each kill
            path.unlink()
            path = create_case(folder, new_case("card", "Card"))
            recorded = []
        told = kill_while_writing(path, rng.randint(1, 3), rng.uniform(0.0, 0.02), f"run-{number}")
        acknowledged += len(told)
        held = [(attempt.id, attempt.note) for attempt in load_case(path).attempts]
        own = [pair for pair in held[len(recorded) :] if pair[1] == f"run-{number}"]
        # What stood there before, then what this run told, then at most the one in flight.
        assert held[: len(recorded)] == recorded
        assert held[len(recorded) :] == own
        assert [pair[0] for pair in own][: len(told)] == told
        assert len(own) - len(told) in (0, 1)
        cut += len(own) > len(told) or (folder / ".card.yaml.tmp").exists()
        recorded = held
    # The next program finds neither a stale lock nor a stale temporary file in its way.
    append_attempt(
        path, lambda case: case.attempts[0].model_copy(update={"id": "a9999"}), timeout_s=5
    )
    return acknowledged, cut


@pytest.mark.parametrize(("count", "seed"), [(12, 1), pytest.param(200, 2, marks=pytest.mark.slow)])
def test_killed_writers_lose_nothing(tmp_path: Path, count: int, seed: int) -> None:
    acknowledged, cut = kills(tmp_path, count, seed)
    assert acknowledged >= count  # each writer had begun to record when it was killed
    print(f"{count} kills, {acknowledged} acknowledged attempts, 0 lost, 0 unreadable files;")
    print(f"{cut} kills fell between the first byte and the acknowledgement")
    assert cut or count < 200


# Kills itself at the n-th system call of the write, or half way through writing the bytes.
SELF_KILLER = """
import os, signal, sys
sys.path.insert(0, sys.argv[1])
from datetime import UTC, datetime
from pathlib import Path
from triage.case.changes import new_attempt, with_attempt
from triage.case.store import update_case
point, half = int(sys.argv[3]), sys.argv[4] == "half"
calls = 0
def watched(call):
    def run(*args, **kwargs):
        global calls
        calls += 1
        if calls == point:
            if half and call.__name__ == "write":
                call(args[0], bytes(args[1])[: len(args[1]) // 2])
            os.kill(os.getpid(), signal.SIGKILL)
        return call(*args, **kwargs)
    return run
at = datetime(2026, 3, 2, tzinfo=UTC)
def make(case):
    for name in ("open", "write", "fsync", "close", "unlink", "fchmod", "replace", "rename"):
        setattr(os, name, watched(getattr(os, name)))
    return with_attempt(case, new_attempt(case.next_attempt_id(), at, "s1", "better"))
update_case(sys.argv[2], make)
print(calls)
"""


def test_killed_at_every_step_of_a_write(tmp_path: Path) -> None:
    path = create_case(tmp_path, new_case("card", "Card"))
    before = path.read_bytes()
    states = []
    for point in range(1, 40):
        path.write_bytes(before)
        words = (SELF_KILLER, str(ROOT), str(path), str(point), "half")
        done = process("-c", *words, home=tmp_path)
        states.append(len(load_case(path).attempts))
        if done.returncode == 0:
            break
        assert done.returncode == -signal.SIGKILL, done.stderr
    assert done.returncode == 0
    assert int(done.stdout) == len(states) - 1
    # First the old file at every step, then the new one: never anything between.
    assert states == sorted(states)
    assert set(states) == {0, 1}
    assert states.count(0) >= 5


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
            renamed = lambda case: case.model_copy(update={"title": "Changed"})
            update_case(tmp_path / "card-00007.yaml", renamed)
        start, wall = time.process_time(), time.perf_counter()
        entries = list_cases(tmp_path)
        seconds[label] = (time.process_time() - start, time.perf_counter() - wall)
        assert len(entries) == COUNT
        faulty = [f"card-{number:05}" for number in range(0, COUNT, 100)]
        assert [entry.id for entry in entries if entry.error] == faulty
    assert entries[7].title == "Changed"
    assert (tmp_path / INDEX).is_file()
    with capsys.disabled():
        print(f"\n{COUNT} cases of {size / COUNT:.0f} bytes, 100 of them broken and named:")
        for label, (processor, taken) in seconds.items():
            print(f"{label} {processor:.2f} s of processor time, {taken:.2f} s")
    del seconds["rebuilt from the files"]  # every file is read in full, once
    assert all(processor < MOST_S for processor, _ in seconds.values())


AWKWARD = [
    *("yes", "no", "on", "off", "true", "null", "~", "NO", "Yes", ".inf", ".nan", "=", "<<"),
    *("1", "0012", "1e3", "1_0", "12:30", "2026-01-01", "0x1f", "+1", ".5", "0o17", "0b1"),
    *("-", "#", ":", "?", "!", "&", "*", "|", "%", "@", "`", "...", "---"),
]
texts = st.one_of(
    st.sampled_from(AWKWARD),
    st.sampled_from(
        ["", " lead", "trail ", "\n", "\n\nx", "x\n", " \n x", "a\r\nb", "a: b", "# x", "é ü 虫 🐝"]
    ),
    st.text(alphabet=" \n\tab:#-'\"{}[],&*!|>%@`0123.e+_~", max_size=14),
    st.text(max_size=30),
).filter(
    lambda text: not control_character(text) and not any("\ud800" <= c <= "\udfff" for c in text)
)
values = st.recursive(
    st.one_of(
        st.none(), st.booleans(), st.integers(-(10**30), 10**30), st.floats(allow_nan=False), texts
    ),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(texts.filter(bool), inner, max_size=3)
    ),
    max_leaves=8,
)
LETTERS = "abcdefghijklmnopqrstuvwxyz0123456789"
words = st.builds(
    str.__add__, st.sampled_from(LETTERS), st.text(alphabet=LETTERS + "-", max_size=12)
)
answers = st.dictionaries(words, words, max_size=4)
moments = st.builds(
    lambda moment, minutes: moment.replace(tzinfo=timezone(timedelta(minutes=minutes))),
    st.datetimes(min_value=datetime(2000, 1, 1), max_value=datetime(2099, 12, 31)),  # noqa: DTZ001
    st.integers(-720, 840),
)
amounts = st.none() | st.floats(0, 1e4) | st.integers(0, 1000).map(float)
# Letters apart: a word in them could be a slip of one that protects, and that is refused.
unknown_keys = st.dictionaries(
    texts.filter(bool).map(lambda text: " ".join(("x", *text.replace("\r\n", "\n")))),
    values,
    max_size=2,
)


@pytest.fixture
def no_wait_for_the_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is cut off here; that what is written is on the disk is the killed writers' test."""
    monkeypatch.setattr("triage.case.store.os.fsync", lambda _handle: None)


@st.composite
def cases(draw: st.DrawFn) -> Case:
    held = values.filter(lambda value: value is not None)
    specimen = draw(st.dictionaries(words, held, max_size=2))
    told = {"invented": draw(st.booleans()), "specimen": specimen, "answers": draw(answers)}
    case = changes.new_case(draw(words), draw(texts), **told, **draw(unknown_keys))
    for number in range(draw(st.integers(0, 3))):
        seen = {"side": draw(st.sampled_from([None, "left", "right", "both"]))}
        seen |= {"signs": draw(answers), **draw(unknown_keys)}
        finding = changes.new_finding(f"f{number}", draw(words), **seen)
        case = changes.with_finding(case, finding)
    for _ in range(draw(st.integers(0, 3))):
        case = changes.with_attempt(case, draw(attempts(case)))
    return case


@st.composite
def attempts(draw: st.DrawFn, case: Case) -> Any:
    findings = [None, *(finding.id for finding in case.findings)]
    told = {"finding": draw(st.sampled_from(findings)), "note": draw(texts)}
    told |= {"amount_ml": draw(amounts), "minutes": draw(amounts), **draw(unknown_keys)}
    outcome = draw(st.sampled_from(OUTCOMES))
    return changes.new_attempt(case.next_attempt_id(), draw(moments), draw(words), outcome, **told)


@settings(max_examples=120, deadline=None)
@given(values)
def test_plain_values_come_back(held: Any) -> None:
    back = parse_yaml(dump_yaml(held), "x").data
    assert back == held
    assert repr(back) == repr(held)  # 1, 1.0 and true are equal, and are not the same


@pytest.mark.usefixtures("no_wait_for_the_disk")
@settings(max_examples=40, deadline=None)
@given(cases())
def test_a_case_comes_back(case: Case) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = create_case(folder, case)
        back = load_case(path)
        assert back == case
        assert list(back.plain()) == list(case.plain())
        assert case_text(back) == case_text(case)


@pytest.mark.usefixtures("no_wait_for_the_disk")
@settings(max_examples=40, deadline=None)
@given(st.data(), cases())
def test_a_change_touches_only_what_it_says(data: st.DataObject, case: Case) -> None:
    attempt = data.draw(attempts(case))
    question, answer = data.draw(words), data.draw(words)

    def change(old: Case) -> Case:
        new = changes.with_answer(changes.with_attempt(old, attempt), question, answer)
        new = changes.with_finding(new, changes.new_finding("late", "antenna"))
        for held in new.held_by():
            new = changes.with_release(new, attempt.at, held, "looked again")
        return changes.with_sign(new, new.findings[0].id, question, answer)

    with tempfile.TemporaryDirectory() as folder:
        path = create_case(folder, case)
        marked = path.read_text(encoding="utf-8").replace("\nanswers:", "\n# by hand\nanswers:", 1)
        path.write_bytes(marked.encode())
        if load_case(path) != case:  # the mark fell into a text: nothing to compare then
            return
        expected = change(case)
        assert update_case(path, change) == expected
        assert load_case(path) == expected
        assert expected.attempts[:-1] == case.attempts
        assert b"# by hand" in path.read_bytes()


@settings(max_examples=60, deadline=None)
@given(cases(), st.lists(st.sampled_from(OUTCOMES), min_size=1, max_size=6))
def test_a_hold_ends_only_by_a_release(case: Case, outcomes: list[str]) -> None:
    at = datetime(2026, 3, 2, tzinfo=timezone.utc)  # noqa: UP017
    for outcome in outcomes:
        case = changes.with_attempt(
            case, changes.new_attempt(case.next_attempt_id(), at, "s", outcome)
        )
        last = case.attempts[-1].id
        assert (last in case.held_by()) == (outcome in {"worse", "damage"})
    for attempt_id in case.held_by():
        before = case.held_by()
        case = changes.with_release(case, at, attempt_id, "looked again")
        assert case.held_by() == tuple(held for held in before if held != attempt_id)
    assert case.held_by() == ()
