"""One plan to the byte in any process, and interlocks worked out anew at every act, also under -O.

For the latter the first evaluator is made to forget every interlock, as a fault in it would; then the
second one has to withhold the plan, on opening, resuming, undoing, releasing, skipping, and on every
record.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from tests.support.builders import case_with
from tests.support.case_gen import drawn
from tests.support.knowledge import CASES, ROOT, RULES, consultant, planner
from tests.support.metamorphic import interlocked
from triage.case.profile import Bench
from triage.case.store import create_case

SEEDS = tuple(range(6))


def in_process(words, hash_seed: int) -> bytes:
    environment = {**os.environ, "PYTHONHASHSEED": str(hash_seed), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, *words], cwd=ROOT, env=environment, capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr.decode()[-2000:]
    return done.stdout


@pytest.fixture
def rules(tmp_path):
    """A copy, so that all processes read the same knowledge while someone edits the files."""
    return shutil.copytree(RULES, tmp_path / "rules")


def outputs(rules, count: int) -> set[bytes]:
    def shuffled_plans(number: int) -> bytes:
        words = ["-m", "tests.support.plan_shuffled", str(rules), str(number), *map(str, SEEDS)]
        return in_process(words, 1000 + 7919 * number)

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return set(pool.map(shuffled_plans, range(count)))


@pytest.mark.parametrize("processes", [2, pytest.param(50, marks=pytest.mark.slow)])
def test_shuffled_facts_rules_and_hash_seeds_give_one_plan(rules, processes):
    found = outputs(rules, processes)
    assert len(found) == 1
    (printed,) = found
    # Something was planned, or the bytes would agree about nothing.
    assert printed.count(b'"method":') > len(SEEDS)


BOTH = """\
import sys
from triage.cli import main
main(["plan", sys.argv[1], "--json"])
main(["explain", "bumblebee-plate-3", "--method", "brush-suction"])
"""


def test_the_command_prints_the_same_in_each_process(tmp_path, monkeypatch):
    """A plan, and reasons of equal weight: of two things that the bench lacks one is told first."""
    shutil.copytree(CASES, tmp_path / "cases")
    case, _ = drawn(consultant(), 3)
    create_case(tmp_path / "cases", case)
    monkeypatch.setenv("TRIAGE_HOME", str(tmp_path))
    printed = {in_process(["-c", BOTH, case.id], seed) for seed in (1, 4242)}
    assert len(printed) == 1
    plan, _, explained = next(iter(printed)).partition(b"\n}\n")
    assert case.id.encode() in plan
    assert explained.count(b"bench") > 1


ACTS = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from triage.engine.consult import Consultant
from triage.knowledge.rules import Family
from triage.plan.ladder import InterlockBroken
from triage.service.workshop import open_workshop

assert False, "never reached under -O: asserts are gone"
folder, name = Path(sys.argv[1]), "oily"
clock = lambda: datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
sound = open_workshop(cases=folder, clock=clock)
plan = sound.plan(sound.load(name))
step = plan.steps[0].id
sound.record(name, step, "no-change")       # so that there is something to undo
sound.start_timer(name, step, 60, "dwell")  # and something to resume

from dataclasses import replace

def forgetful(chain):
    def forgets(self, facts, closed=()):
        found = chain(self, facts, closed)
        return replace(found, by_family={**found.by_family, Family.FORBID: ()})
    return forgets

Consultant.chain = forgetful(Consultant.chain)
opened = open_workshop(cases=folder, clock=clock)  # resumed in a new program
before = (folder / "oily.yaml").read_bytes()

def undone():
    opened.undo(name, "took it back")
    opened.plan(opened.load(name))

def damaged_and_released():
    from triage.case.changes import with_release, new_attempt, with_attempt
    from triage.case.store import update_case
    path = folder / "oily.yaml"
    update_case(path, lambda c: with_attempt(c, new_attempt("a77", clock(), step, "worse", finding="f1")))
    opened.release(name, "a77", "looked again")
    opened.plan(opened.load(name))

acts = {
    "resume": lambda: opened.plan(opened.load(name)),
    "record": lambda: opened.record(name, step, "cleared"),
    "put off": lambda: opened.extend_timer(name, step),
    "what if": lambda: opened.plan(opened.with_answer(opened.load(name), "f1", "sheen", "dull")),
    "undo": undone,
    "release": damaged_and_released,
    "skip": lambda: (opened.skip(name, "f1", "blot-dry", "no"), opened.plan(opened.load(name))),
}
for what, act in acts.items():
    try:
        act()
        print(what, "PLANNED")
    except InterlockBroken as fault:
        print(what, "withheld", fault.exit_code, "forbidden" in fault.line())
    if what in ("resume", "record", "put off", "what if"):
        print(what, "kept" if (folder / "oily.yaml").read_bytes() == before else "CHANGED")
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    signs = {"sheen": "wet-gloss", "setae": "points", "blotter": "oil-spot"}
    case = case_with("bees-wasps", "compound-eye", signs)
    create_case(tmp_path, case.model_copy(update={"id": "oily"}))
    # What is offered here is partly forbidden; without the interlocks it would be planned.
    offered = {m for e in planner().plan(case, Bench()).excluded if e.offered for m in [e.method]}
    assert offered & {m for _, m in interlocked(planner().plan(case, Bench()))}
    return tmp_path


def test_interlocks_are_worked_out_again_at_every_act(folder: Path) -> None:
    """Without any assert: what withholds the plan must not be one."""
    done = subprocess.run(
        [sys.executable, "-OO", "-c", ACTS, str(folder)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    told = done.stdout.splitlines()
    acts = ("resume", "record", "put off", "what if", "undo", "release", "skip")
    assert [line for line in told if "withheld" in line] == [f"{a} withheld 3 True" for a in acts]
    assert not any("PLANNED" in line or "CHANGED" in line for line in told)


def test_the_command_withholds_the_plan_and_says_so(folder: Path) -> None:
    """As a program: no plan on the output, one line on the other, the exit code of a fault."""
    program = ACTS.split("sound = ", maxsplit=1)[0] + (
        "from dataclasses import replace\n"
        "chain = Consultant.chain\n"
        "def forgets(self, facts, closed=()):\n"
        "    found = chain(self, facts, closed)\n"
        "    return replace(found, by_family={**found.by_family, Family.FORBID: ()})\n"
        "Consultant.chain = forgets\n"
        "from triage.cli import main\n"
        "sys.exit(main(['plan', 'oily', '--cases', sys.argv[1]]))\n"
    )
    done = subprocess.run(
        [sys.executable, "-O", "-c", program.replace("assert ", "_ = "), str(folder)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode == 3
    assert done.stdout == ""
    assert "is forbidden by" in done.stderr
    assert "the plan is withheld" in done.stderr
    assert "Traceback" not in done.stderr
