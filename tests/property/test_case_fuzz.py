"""Any bytes as a case, a bench or a knowledge file: read, or refused in a line; never worse.

Each input has to be dealt with in a few seconds and in little memory; the long run prints both.
"""

from __future__ import annotations

import hashlib
import io
import json
import random
import re
import resource
import shutil
import signal
import sys
import time
import zipfile
from collections import Counter
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import pytest

from tests.support.hostile import REFUSED, TEXTS, content
from tests.support.knowledge import CASES, RULES, planner
from triage.case.changes import with_answer
from triage.case.models import Case
from triage.case.profile import Bench, load_bench
from triage.case.roomledger import RoomLedger
from triage.case.store import load_case, update_case
from triage.errors import CONTROL, MOST_LETTERS, TriageError
from triage.history.bundle import FORMAT, MANIFEST, read_bundle
from triage.knowledge.book import KINDS
from triage.knowledge.load import _Reader, load_knowledge
from triage.knowledge.rules import BY_ROOM, FAMILIES, Rule
from triage.yamltext import dump_yaml, locator

SINCE = datetime(2000, 1, 1, tzinfo=UTC)
MOST_S = 2.0  # of processor time for each input, and the memory it may take
MOST_MB = 200
LAUGHS = b"a: &a [x,x,x,x,x,x,x,x,x]\n" + b"".join(
    b"%c: &%c [%s]\n" % (n + 1, n + 1, b",".join([b"*%c" % n] * 9)) for n in range(97, 112)
)
BOMBS = [
    LAUGHS,
    b"[" * 100_000,
    b"{a: " * 50_000,
    b"- " * 100_000,
    b"? " * 50_000,
    b"a:\n" + b"".join(b" " * n + b"a:\n" for n in range(1, 1500)),
    b"a: " + b"9" * 1_000_000,
    b"a: 1e" + b"9" * 100_000,
    b"a: 0x" + b"f" * 1_000_000,
    b"x" * 3_000_000,
    b"- a\n" * 400_000,
    b"'" + b"\\x41" * 200_000,
    b'"' + b"\\U0001F41D" * 100_000,
    b"a: |\n" + b" x\n" * 300_000,
    b"!!python/object/apply:os.system ['x']\n",
    b"a: !!binary " + b"A" * 1_000_000,
    b"%TAG ! tag:x,2000:\n---\n!x {}\n",
    b"#" * 1_900_000,
    b"\n" * 1_900_000,
    b"k: v\n" * 200_000,
    b"\xff\xfe" + "a: b".encode("utf-16-le"),
    b"\x00" * 1_000_000,
    b"<<: {a: b}\n" * 1000,
]
PIECES = [
    *(sign.encode() for sign in REFUSED.values()),
    *(text.encode() for text in TEXTS.values()),
    *(b"\t", b"\xff", b"\n", b"\r", b"\xf0\x9f", b": ", b"- ", b"'", b'"', b"#", b"? ", b"|", b">"),
    *(b"&a ", b"*a", b"[", b"]", b"{", b"}", b"<<: ", b"!!str ", b"---\n", b"...", b"%YAML 9.9\n"),
    *(b"null", b"true", b"~", b".nan", b".inf", b"-1", b"1e999", b"0x", b"99999999999999999999"),
    *(b"[" * 30, b"{a: " * 30, b"- " * 30, b"9" * 5000, b"x" * 20_000),
]


def table_of(folder: Path, target: str) -> None:
    """Read one file of the knowledge as the loader does, without the files around it."""
    reader = _Reader(folder)
    reader.table(*TABLES[target])
    if reader.faults:
        raise reader.faults[0]


TABLES = {target: (kind, model, target) for kind, (model, target) in KINDS.items()} | {
    f"{family}.yaml": ("rule", Rule, f"{family}.yaml")
    for family in FAMILIES
    if family not in BY_ROOM
}
SMALL = [
    (target, file)
    for target in TABLES
    for file in sorted(
        (RULES / target).glob("*.yaml") if (RULES / target).is_dir() else [RULES / target]
    )
    if file.stat().st_size < 30_000
]


def seeds(kind: str) -> list[tuple[str, bytes]]:
    """Return (file name, sound content) pairs of a kind of file."""
    if kind == "case":
        carried = sorted((CASES).glob("*-*.yaml"))
        whole = dump_yaml(content("a note", "card")).encode()
        return [("card.yaml", whole), *((p.name, p.read_bytes()) for p in carried)]
    if kind == "bundle":
        return [("x.zip", raw) for _, raw in seeds("case")]
    if kind == "room":
        line = (
            '{"folder": "ab12", "case": "card", "attempt": {"id": "a1", "at": '
            '"2026-03-04T10:00:00+00:00", "step": "s", "method": "heptane-brush", "agent": '
            '"heptane", "outcome": "better", "amount_ml": 0.5, "minutes": 2}}\n'
        )
        return [("up.room.jsonl", (line + line.replace("a1", "a2")).encode())]
    if kind == "bench":
        return [("bench.yaml", (CASES / "bench.yaml").read_bytes())]
    return [(f"{t}\0{f.relative_to(RULES)}", f.read_bytes()) for t, f in SMALL]


def mutated(rng: random.Random, raw: bytes) -> bytes:
    """Return bytes altered in one to four places: cut, doubled, moved, replaced, lengthened."""
    for _ in range(rng.choice((1, 1, 2, 4))):
        lines = raw.split(b"\n")
        at, start = rng.randrange(len(lines)), rng.randrange(len(raw) + 1)
        what = rng.randrange(8)
        if what == 0:
            raw = raw[:start] + rng.choice(PIECES) + raw[start + rng.randint(0, 12) :]
        elif what == 1:
            raw = raw[:start] + rng.randbytes(rng.randint(1, 6)) + raw[start:]
        elif what == 2:
            raw = raw[:start] + raw[start + rng.randint(1, 60) :]
        elif what == 3:
            lines.insert(rng.randrange(len(lines)), lines[at])
            raw = b"\n".join(lines)
        elif what == 4:
            lines[at] = lines[at].split(b":")[0] + b": " + rng.choice(PIECES)
            raw = b"\n".join(lines)
        elif what == 5:
            lines[at] = b" " * rng.randint(1, 4) + lines[at]
            raw = b"\n".join(lines)
        elif what == 6:
            del lines[at]
            raw = b"\n".join(lines)
        else:
            lines[at] = lines[at][: rng.randint(0, len(lines[at]))]
            raw = b"\n".join(lines)
    return raw


@contextmanager
def at_most(seconds: float):
    """Raise where the block takes longer: a hang is a fault, not a long test."""

    def over(*_: object) -> None:
        raise AssertionError(f"took longer than {seconds} s")

    before = signal.signal(signal.SIGALRM, over)
    signal.setitimer(signal.ITIMER_REAL, 100 * seconds)  # of the wall: others work here too
    start = time.process_time()
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
    assert time.process_time() - start < seconds


@dataclass
class Report:
    """What a run met."""

    read: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    slowest_s: float = 0.0
    slowest: str = ""
    longest_line: int = 0


def zipped(raw: bytes, at: int) -> bytes:
    """Return a bundle with this as its one case; every third with the bytes of the zip altered."""
    held, said = io.BytesIO(), re.search(rb"^id: ([a-z0-9-]{1,60})$", raw, re.MULTILINE)
    name = f"{said[1].decode()}.yaml" if said else "card.yaml"  # else every other case is refused
    with zipfile.ZipFile(held, "w") as packed:
        digests = {name: hashlib.sha256(raw).hexdigest()}
        packed.writestr(MANIFEST, json.dumps({"format": FORMAT, "entries": digests}))
        packed.writestr(name, raw)
    return held.getvalue() if at % 3 else mutated(random.Random(at), held.getvalue())


def impossible(case: Case) -> list[str]:
    """Return what of a case cannot have been at a bench; bounds typed by hand, not the reader's."""
    found = [a.id for a in case.attempts if not 2000 <= a.at.year < 2100]
    found += [a.id for a in case.attempts if not 0 <= (a.amount_ml or 0) <= 10_000]
    return found + [a.id for a in case.attempts if not 0 <= (a.minutes or 0) <= 400_000]


def impossible_bench(bench: Bench) -> list[str]:
    """Return what no bench can be; written so that what is no number fails."""
    room = bench.room
    whole = [
        0 < (room.volume_m3 or 1) <= 100_000,
        0 <= (room.air_changes_per_h or 0) <= 200,
        -50 < room.temp_c < 60,
        0 < (bench.margin or 1) <= 1,
        all(0 < (s.strength or 1) <= 100 and (s.ml or 0) >= 0 for s in bench.stock),
    ]
    return [str(at) for at, holds in enumerate(whole) if not holds]


def bundled(path: Path, raw: bytes) -> None:
    """Read a bundle: what it brings is a case, in the folder and nowhere else."""
    ours = path.parent / "ours"
    shutil.rmtree(ours, ignore_errors=True)
    path.write_bytes(zipped(raw, len(raw)))
    outside = sorted(each.name for each in path.parent.iterdir() if each != ours)
    for result in read_bundle(path, ours):
        if result.standing == "refused":
            raise TriageError(f"{path.name}: {result.because}")
    assert outside == sorted(each.name for each in path.parent.iterdir() if each != ours)
    for each in ours.glob("*.yaml"):
        assert not impossible(load_case(each))


def roomed(path: Path) -> None:
    """Read what others of the room tell."""
    cases, unread = RoomLedger(path, "mine").others((), SINCE)
    assert not [said for case in cases for said in impossible(case)]
    if unread:
        raise TriageError("; ".join(unread[:3]))


@cache
def demo() -> Case:
    """Return a case with work to do."""
    return load_case(CASES / "bumblebee-plate-3.yaml")


def feed(kind: str, folder: Path, name: str, raw: bytes, report: Report) -> None:
    """Give one input to the reader of its kind; anything but a load or a clear line raises."""
    target, _, inside = name.partition("\0")
    path = folder / (inside or name)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(raw)
    start = time.process_time()
    try:
        with at_most(MOST_S):
            if kind == "case":
                case = load_case(path)
                assert not impossible(case)
                grown = update_case(path, lambda old: with_answer(old, "fuzz", "yes"))
                assert load_case(path) == grown
                assert grown.attempts == case.attempts
                raw = path.read_bytes()  # the plan below may still refuse it
                planner().plan(case, Bench(), locate=locator(path))
            elif kind == "bench":
                bench = load_bench(path)
                assert not impossible_bench(bench)
                planner().plan(demo(), bench)
            elif kind == "bundle":
                bundled(path, raw)
            elif kind == "room":
                roomed(path)
            else:
                table_of(folder, target)
        report.read[kind] += 1
    except TriageError as fault:
        line = fault.line()
        assert line.strip()
        assert path.name in line
        assert kind == "bundle" or path.read_bytes() == raw, "what is refused stays as it is"
        assert CONTROL.search(line.replace("\n", " ")) is None
        report.longest_line = max(report.longest_line, *map(len, line.splitlines()))
        report.refused[kind] += 1
    finally:
        took = time.process_time() - start
        if took > report.slowest_s:
            report.slowest_s, report.slowest = took, f"{kind} {len(raw)} bytes {raw[:30]!r}"
        if inside:
            path.unlink()


def memory_mb() -> float:
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / (1e6 if sys.platform == "darwin" else 1e3)


def fuzz(folder: Path, counts: dict[str, int], seed: int, every: int = 1) -> Report:
    """Feed each kind of file with bombs, all or each ``every``th, and with altered files."""
    report, rng = Report(), random.Random(seed)
    for first, (kind, count) in enumerate(counts.items()):
        held = seeds(kind)
        place = folder / kind
        bombs = BOMBS[first % every :: every]
        for bomb in bombs:
            feed(kind, place, held[0][0], bomb, report)
        for _ in range(count - len(bombs)):
            name, raw = rng.choice(held)
            feed(kind, place, name, mutated(rng, raw), report)
    return report


def test_any_case_bench_and_knowledge_file_sample(tmp_path):
    planner()
    before = memory_mb()
    counts = {"case": 50, "bench": 50, "knowledge": 50, "bundle": 50, "room": 50}
    report = fuzz(tmp_path, counts, seed=1, every=3)  # each bomb is read as some kind
    for kind in counts:
        assert report.refused[kind] > 10
        assert report.read[kind]
    assert memory_mb() - before < MOST_MB


@pytest.mark.slow
def test_any_case_bench_and_knowledge_file(tmp_path, capsys):
    planner()
    before = memory_mb()
    counts = {"case": 6_000, "bench": 4_000, "knowledge": 4_000, "bundle": 3_000, "room": 3_000}
    report = fuzz(tmp_path, counts, seed=2)
    grown = memory_mb() - before
    with capsys.disabled():
        print(f"\n{sum(counts.values())} inputs, 0 tracebacks: read {dict(report.read)}, refused")
        print(f"in words {dict(report.refused)}; slowest {report.slowest_s:.2f} s of processor ")
        print(f"time ({report.slowest}), longest line {report.longest_line} letters, ")
        print(f"memory grown by {grown:.0f} MB in all")
    assert report.longest_line <= MOST_LETTERS
    assert sum(report.read.values()) + sum(report.refused.values()) == sum(counts.values())
    assert grown < MOST_MB


def whole_folder(folder: Path, count: int, seed: int) -> tuple[int, int]:
    """Load the whole knowledge with one file altered: the checks between files see it too."""
    rng, tally = random.Random(seed), [0, 0]
    shutil.copytree(RULES, folder)
    load_knowledge(folder)
    files = sorted(folder.rglob("*.yaml"))
    for _ in range(count):
        path = rng.choice(files)
        sound = path.read_bytes()
        path.write_bytes(mutated(rng, sound))
        try:
            with at_most(30 * MOST_S):
                load_knowledge(folder)
            tally[1] += 1
        except TriageError as fault:
            told = fault.line()
            tally[0] += "rules/" in told
        path.write_bytes(sound)
    return tally[0], tally[1]


@pytest.mark.slow
def test_a_whole_rules_folder_with_one_altered_file(tmp_path, capsys):
    refused, read = whole_folder(tmp_path / "rules", 60, seed=3)
    with capsys.disabled():
        print(f"\nwhole folders with one altered file: {refused} refused in words, {read} read")
    assert refused + read == 60
    assert refused
