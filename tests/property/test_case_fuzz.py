"""Any bytes as a case, a bench or a knowledge file: read, or refused in a line; never worse.

Each input has to be dealt with in a few seconds and in little memory; the long run prints both.
"""

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
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import pytest

from tests.support.hostile import REFUSED, TEXTS, content
from tests.support.knowledge import CASES, DEMO, RULES, planner
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


def small() -> Iterator[tuple[str, Path]]:
    """Yield the tables of the knowledge with those of their files that are small."""
    for target in TABLES:
        place = RULES / target
        for file in sorted(place.glob("*.yaml")) if place.is_dir() else [place]:
            if file.stat().st_size < 30_000:
                yield target, file


def seeds(kind: str) -> list[tuple[str, bytes]]:
    """Return (file name, sound content) pairs of a kind of file."""
    if kind == "case":
        whole = dump_yaml(content("a note", "card")).encode()
        return [("card.yaml", whole), *((p.name, p.read_bytes()) for p in DEMO)]
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
    return [(f"{t}\0{f.relative_to(RULES)}", f.read_bytes()) for t, f in small()]


def mutated(rng: random.Random, raw: bytes) -> bytes:
    """Return bytes altered in one to four places: cut, doubled, moved, replaced, lengthened."""
    for _ in range(rng.choice((1, 1, 2, 4))):
        lines = raw.split(b"\n")
        at, start = rng.randrange(len(lines)), rng.randrange(len(raw) + 1)
        what = rng.randrange(8)
        if what < 3:
            # A piece in the place of some letters, some bytes between, some letters left out.
            put = (rng.choice(PIECES), rng.randbytes(rng.randint(1, 6)), b"")[what]
            gone = (rng.randint(0, 12), 0, rng.randint(1, 60))[what]
            raw = raw[:start] + put + raw[start + gone :]
            continue
        if what == 3:
            lines.insert(rng.randrange(len(lines)), lines[at])
        elif what == 4:
            lines[at] = lines[at].split(b":")[0] + b": " + rng.choice(PIECES)
        elif what == 5:
            lines[at] = b" " * rng.randint(1, 4) + lines[at]
        elif what == 6:
            del lines[at]
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
    read: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    slowest_s: float = 0.0
    slowest: str = ""
    longest_line: int = 0
    grown_mb: float = 0.0


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


def fuzz(folder: Path, counts: dict[str, int], seed: int, every: int = 1) -> Report:
    """Feed each kind of file with bombs, all or each ``every``th, and with altered files."""
    planner()
    report, rng, before = Report(), random.Random(seed), resource.getrusage(resource.RUSAGE_SELF)
    for first, (kind, count) in enumerate(counts.items()):
        held = seeds(kind)
        bombs = [(held[0][0], bomb) for bomb in BOMBS[first % every :: every]]
        drawn = (rng.choice(held) for _ in range(count - len(bombs)))
        for name, raw in (*bombs, *((name, mutated(rng, raw)) for name, raw in drawn)):
            feed(kind, folder / kind, name, raw, report)
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before.ru_maxrss
    report.grown_mb = grown / (1e6 if sys.platform == "darwin" else 1e3)
    assert report.grown_mb < MOST_MB
    return report


KINDS_OF_FILE = ("case", "bench", "knowledge", "bundle", "room")


@pytest.mark.parametrize(
    ("counts", "every"),
    [
        ((50,) * 5, 3),  # each bomb is read as some kind
        pytest.param((6_000, 4_000, 4_000, 3_000, 3_000), 1, marks=pytest.mark.slow),
    ],
)
def test_any_case_bench_and_knowledge_file(tmp_path, capsys, counts, every):
    report = fuzz(tmp_path, dict(zip(KINDS_OF_FILE, counts, strict=True)), 2, every)
    with capsys.disabled():
        print(f"\n{sum(counts)} inputs, 0 tracebacks: read {dict(report.read)}, refused")
        print(f"in words {dict(report.refused)}; slowest {report.slowest_s:.2f} s of processor ")
        print(f"time ({report.slowest}), longest line {report.longest_line} letters, ")
        print(f"memory grown by {report.grown_mb:.0f} MB in all")
    for kind in KINDS_OF_FILE:
        assert report.refused[kind] > 10
        assert report.read[kind]
    assert report.longest_line <= MOST_LETTERS
    assert report.read.total() + report.refused.total() == sum(counts)


@pytest.mark.slow
def test_a_whole_rules_folder_with_one_altered_file(tmp_path, capsys):
    """The checks between files see it too."""
    folder, rng, tally = tmp_path / "rules", random.Random(3), Counter[str]()
    shutil.copytree(RULES, folder)
    load_knowledge(folder)
    files = sorted(folder.rglob("*.yaml"))
    for _ in range(60):
        path = rng.choice(files)
        sound = path.read_bytes()
        path.write_bytes(mutated(rng, sound))
        try:
            with at_most(30 * MOST_S):
                load_knowledge(folder)
            tally["read"] += 1
        except TriageError as fault:
            tally["refused in words"] += "rules/" in fault.line()
        path.write_bytes(sound)
    with capsys.disabled():
        print(f"\nwhole folders with one altered file: {dict(tally)}")
    assert tally.total() == 60
    assert tally["refused in words"]
