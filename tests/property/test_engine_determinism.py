"""One plan to the byte in any process, and interlocks worked out anew at every act, also under -O.

For the latter the first evaluator is made to forget every interlock, as a fault in it would; then the
second one has to withhold the plan, on opening, resuming, undoing, releasing, skipping, and on every
record.
"""

import os
import shutil
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from tests.support.builders import OILY, case_with
from tests.support.case_gen import drawn
from tests.support.knowledge import RULES, consultant, planner
from tests.support.metamorphic import interlocked
from tests.support.running import process
from triage.case.profile import Bench
from triage.case.store import create_case

SEEDS = tuple(map(str, range(6)))


def printed_by(*words: str, home: Path, seed: int) -> str:
    done = process(*words, home=home, PYTHONHASHSEED=str(seed))
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


@pytest.mark.parametrize("processes", [2, pytest.param(50, marks=pytest.mark.slow)])
def test_shuffled_facts_rules_and_hash_seeds_give_one_plan(processes: int, tmp_path: Path) -> None:
    # A copy, so that all processes read the same knowledge while someone edits the files.
    rules = shutil.copytree(RULES, tmp_path / "rules")

    def shuffled(number: int) -> str:
        words = ("-m", "tests.support.plan_shuffled", str(rules), str(number), *SEEDS)
        return printed_by(*words, home=tmp_path, seed=1000 + 7919 * number)

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        (printed,) = set(pool.map(shuffled, range(processes)))
    # Something was planned, or the bytes would agree about nothing.
    assert printed.count('"method":') > len(SEEDS)


BOTH = """\
import sys
from triage.cli import main
main(["plan", sys.argv[1], "--json"])
main(["explain", "bumblebee-plate-3", "--method", "brush-suction"])
"""


def test_the_command_prints_the_same_in_each_process(demo: Path, tmp_path: Path) -> None:
    """A plan, and reasons of equal weight: of two things that the bench lacks one is told first."""
    case, _ = drawn(consultant(), 3)
    create_case(demo, case)
    words = ("-c", BOTH, case.id)
    (printed,) = {printed_by(*words, home=tmp_path, seed=seed) for seed in (1, 4242)}
    plan, _, explained = printed.partition("\n}\n")
    assert case.id in plan
    assert explained.count("bench") > 1


FORGETS = """
import sys
from dataclasses import replace
from triage.engine.consult import Consultant
from triage.knowledge.rules import Family

chain = Consultant.chain
def forgets(self, facts, closed=()):
    found = chain(self, facts, closed)
    return replace(found, by_family={**found.by_family, Family.FORBID: ()})
"""
COMMAND = """
Consultant.chain = forgets
from triage.cli import main
sys.exit(main(["plan", "oily", "--cases", sys.argv[1]]))
"""
ACTS = """
from datetime import UTC, datetime
from pathlib import Path
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

Consultant.chain = forgets
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
    case = case_with("bees-wasps", "compound-eye", OILY)
    create_case(tmp_path, case.model_copy(update={"id": "oily"}))
    # What is offered here is partly forbidden; without the interlocks it would be planned.
    plan = planner().plan(case, Bench())
    assert {e.method for e in plan.excluded if e.offered} & {m for _, m in interlocked(plan)}
    return tmp_path


def test_interlocks_are_worked_out_again_at_every_act(folder: Path) -> None:
    """Without any assert: what withholds the plan must not be one."""
    done = process("-OO", "-c", FORGETS + ACTS, str(folder), home=folder)
    assert done.returncode == 0, done.stderr[-2000:]
    told = done.stdout.splitlines()
    acts = ("resume", "record", "put off", "what if", "undo", "release", "skip")
    assert [line for line in told if "withheld" in line] == [f"{a} withheld 3 True" for a in acts]
    assert not any("PLANNED" in line or "CHANGED" in line for line in told)


def test_the_command_withholds_the_plan_and_says_so(folder: Path) -> None:
    """As a program: no plan on the output, one line on the other, the exit code of a fault."""
    done = process("-O", "-c", FORGETS + COMMAND, str(folder), home=folder)
    assert (done.returncode, done.stdout) == (3, "")
    assert "is forbidden by" in done.stderr
    assert "the plan is withheld" in done.stderr
    assert "Traceback" not in done.stderr
