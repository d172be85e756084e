"""The proofs themselves: commands, coverage, broken rules and seeded faults, each in a sample."""

import io
import os
import random
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from tests.proof.__main__ import main
from tests.proof.breaking import OPERATORS, mutants
from tests.proof.cores import interrupts_held
from tests.proof.coverage import coverage_of, suggested_case
from tests.proof.equivalent import changed_rules, told_apart
from tests.proof.mutations import SECOND, Judge, Score, Verdict
from tests.proof.seeding import Plot, chosen, seed_all
from tests.proof.seeds import SEEDS
from tests.proof.texts import Texts
from tests.support.knowledge import consultant, shipped
from tests.support.sweeping import needed, reached
from triage.commands.common import BAR, progress_bar
from triage.engine.consult import Consultant
from triage.errors import TriageError
from triage.knowledge.rules import Family, Rule, RuleCase


@pytest.mark.parametrize(
    "words",
    [
        *("sweep --jobs 0", "mutations --jobs two", "faults --count -3", "mutations --each 0.5"),
        *("coverage --nope", "everything", "coverage --rules no-such-folder"),
    ],
)
def test_a_bad_option_is_one_line_and_exit_2(words, capsys):
    assert main(words.split()) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.strip().splitlines()) == 1


def test_coverage_is_printed_as_whole_numbers(monkeypatch, capsys):
    monkeypatch.setattr("tests.proof.coverage.coverage_of", lambda _: reached())
    monkeypatch.setattr("tests.proof.needed.needed_of", lambda _: needed())
    assert main(["coverage"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert sum("(100 %)" in line for line in lines) == 3
    assert not any("no case" in line for line in lines)


PROOFS = ("-m", "tests.proof")
# The same, without the long reckoning before the first worker.
AT_ONCE = (
    "-c",
    """if True:
    import sys
    from types import SimpleNamespace as Some
    from tests.proof import mutations, sweep
    from tests.proof.__main__ import main
    sweep.axes_of = lambda *_: Some(deposits=("mud", "mould", "pollen"))
    mutations.Judge = lambda _: Some(verdict=lambda _: Some(check=""))
    sys.exit(main())""",
)


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="needs /proc")
@pytest.mark.parametrize(
    ("program", "what"), [(AT_ONCE, "sweep"), (PROOFS, "faults"), (AT_ONCE, "mutations")]
)
def test_an_interrupt_ends_it_cleanly(program, what):
    """The interrupt key reaches all processes of a terminal; one line, no traceback, none left.

    It is pressed as soon as the first worker begins, when it was lost once.
    """
    started = subprocess.Popen(
        [sys.executable, *program, what, "--jobs", "1"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        text=True,
        # A suite that runs in the background hands down an ignored interrupt.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509
    )
    begun = Path(f"/proc/{started.pid}/task/{started.pid}/children")
    while started.poll() is None and not begun.read_text(encoding="ascii").split():
        time.sleep(0.01)
    os.killpg(started.pid, signal.SIGINT)
    out, err = started.communicate(timeout=300)
    assert started.returncode == 130, err
    assert err.strip().splitlines()[-1] == "stopped"
    assert "Traceback" not in out + err


def test_an_interrupt_while_the_workers_are_begun_is_not_lost():
    """It was: the key was ignored, not held back, and the work went on."""
    begun = []

    def begin() -> None:
        with interrupts_held():
            os.kill(os.getpid(), signal.SIGINT)
            begun.append("worker")

    with pytest.raises(KeyboardInterrupt):
        begin()
    assert begun == ["worker"]


class Screen(io.StringIO):
    """A standard error that is a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("ends", "code", "said"),
    [
        (KeyboardInterrupt(), 130, "stopped"),
        (TriageError("the rules changed", mend="start again"), 2, "the rules changed; start again"),
    ],
)
def test_what_ends_a_bar_early_is_said_on_a_line_of_its_own(ends, code, said, monkeypatch):
    """It used to stand behind the bar: ``2/200stopped``."""

    def sweep_all(_rules, _jobs, progress, _told):
        progress(1, 200)
        progress(2, 200)
        raise ends

    monkeypatch.setattr("tests.proof.sweep.sweep_all", sweep_all)
    monkeypatch.setattr("sys.stderr", screen := Screen())
    assert main(["sweep"]) == code
    bar, last = screen.getvalue().splitlines()[-2:]
    assert bar.endswith("] 2/200")
    assert last == said


def test_a_bar_that_ran_to_its_end_leaves_one_line(monkeypatch, capsys):
    monkeypatch.setattr("sys.stderr", screen := Screen())
    with progress_bar("count") as progress:
        for done in range(1, 4):
            progress(done, 3)
    assert screen.getvalue().count("\n") == 1
    assert screen.getvalue().endswith("[" + "#" * BAR + "] 3/3\n")
    monkeypatch.undo()
    with progress_bar("count") as progress:
        assert progress is None
    assert capsys.readouterr() == ("", "")


def with_rule(rule: Rule, *made: Rule) -> Consultant:
    """Return the shipped rules with others, or none, in the place of one."""
    rules = {
        family: tuple(each for one in held for each in (made if one.id == rule.id else (one,)))
        for family, held in shipped().rules.items()
    }
    return Consultant(replace(shipped(), rules=rules))


def with_cases(rule: Rule, *cases: RuleCase) -> Consultant:
    return with_rule(rule, rule.model_copy(update={"cases": cases}))


def test_every_rule_and_every_condition_is_covered():
    """As a whole number: 100 % of the rules, both ways, and of the conditions, each alone."""
    found = reached()
    assert [(c.rule.id, c.name) for c in found.missing] == []
    assert found.fired == found.silenced == found.rules == sum(map(len, shipped().rules.values()))
    assert found.covered == found.conditions - len(found.impossible)
    assert found.conditions > 600


def test_every_rule_is_needed_in_a_case_or_adds_only_its_reason():
    found = needed()
    assert found.missing == []
    assert found.needed + len(found.reasons) == found.rules


@pytest.mark.parametrize("place", range(0, 80, 16))
def test_a_condition_without_a_case_is_missed_and_one_is_suggested(place):
    """Each silent case that stood alone for a condition is taken out; the suggestion covers it."""
    rule = shipped().rules[Family.FORBID][place]
    fires = tuple(case for case in rule.cases if case.expect == "fires")
    broken = with_cases(rule, *fires)
    found = coverage_of(broken)
    mine = [c for c in found.missing if c.rule.id == rule.id]
    assert mine
    assert found.unsilenced == [rule.id]
    suggested = [suggested_case(broken, condition) for condition in mine]
    assert all(suggested)
    cases = [RuleCase(given=given, expect="silent") for given in suggested]
    assert coverage_of(with_cases(rule, *fires, *cases)).missing == []


def test_what_is_implied_by_the_other_conditions_is_worked_out():
    """Every condition counted as impossible: the rule without it comes down to the same."""
    assert reached().impossible
    for condition in reached().impossible:
        lacking = condition.without.model_copy(update={"id": condition.rule.id})
        broken = with_rule(condition.rule, lacking)
        assert not changed_rules(consultant(), broken), (condition.rule.id, condition.name)


# -- rules that change nothing --------------------------------------------------------------------


def test_only_a_rule_that_adds_no_more_than_its_reason_is_told_apart_by_no_case():
    for rule_id in needed().reasons[::3]:
        assert told_apart(consultant(), with_rule(shipped().rule(rule_id))) is None
    # Weights add up, so the search never calls a piece of evidence needless.
    first = shipped().rules[Family.RECOGNISE][0]
    rules = [r for r in shipped().rules[Family.FORBID] if r.id not in needed().reasons]
    for rule in (first, *rules[0:90:18]):
        assert told_apart(consultant(), with_rule(rule)) is not None, rule.id


# kind -> the check that must find every mutant of it, were there no other.
CAUGHT = {
    "limit-tenfold": SECOND,
    "drop-limit": SECOND,
    "vapour-a-tenth": SECOND,
    "allow-a-banned-agent": SECOND,
    "drop-condition-of-forbid": "rule cases",
    "drop-forbid-rule": "rule cases",
    "warmer-tenfold": "load",
    "flip-condition-of-gate": "rule cases",
    "unknown-source": "load",
}


@pytest.fixture(scope="module")
def judge() -> Judge:
    return Judge(shipped())


@pytest.mark.parametrize("kind", CAUGHT)
def test_a_mutant_is_caught_by_the_check_that_is_there_for_it(kind: str, judge: Judge) -> None:
    make, _ = OPERATORS[kind]
    name, broken = next(iter(make(shipped())))
    assert judge.verdict(broken).check == CAUGHT[kind], name


def test_a_value_that_the_rule_says_to_be_absent_changes_nothing(judge: Judge) -> None:
    """The gate asks what is open: which answers close the question its ``absent`` says alone."""
    make, _ = OPERATORS["narrow-values-of-gate"]
    found = dict(make(shipped()))
    name = "gate-rider-unasked {}finding.keep without wear"
    assert judge.verdict(found[name.format("")]).same
    assert judge.verdict(found[name.format("absent ")]).check == "rule cases"


def test_there_are_mutants_and_seeds_of_every_kind() -> None:
    assert {mutant.kind for mutant in mutants(shipped())} == set(OPERATORS)
    made = chosen(consultant(), FOLDER, 200)
    assert {seed.kind for seed in made} == set(SEEDS)
    assert len(made) == 200


def test_a_survivor_is_listed_and_one_of_an_interlock_breaks_the_promise() -> None:
    score = Score()
    score.note("any", "one", Verdict("load"), is_vital=True)
    assert score.is_good()
    score.note("any", "two", Verdict(), is_vital=True)
    assert not score.is_good()
    assert any("survived (VITAL): any: two" in line for line in score.lines())


FOLDER = shipped().root


@pytest.fixture(scope="module")
def plot(tmp_path_factory) -> Plot:
    return Plot(FOLDER, tmp_path_factory.mktemp("seeds"))


@pytest.mark.parametrize("kind", list(SEEDS))
def test_a_seeded_fault_is_found_at_its_line(kind, plot):
    seeds = list(SEEDS[kind](Texts(consultant(), FOLDER, random.Random(5))))
    seed = random.Random(7).choice(seeds)
    assert seed.kind == kind
    assert plot.missed(seed) == ""


def test_a_seed_that_changes_nothing_or_stands_at_another_line_is_missed(plot):
    """Or none of the above could fail: the same seed without its edit is not found."""
    seed = chosen(consultant(), FOLDER, 1)[0]
    text = (FOLDER / seed.file).read_text(encoding="utf-8")
    assert plot.missed(replace(seed, make=lambda: {seed.file: text})) == "not found"
    other = next(rule.id for rules in shipped().rules.values() for rule in rules)
    assert other != seed.entry
    assert plot.missed(replace(seed, entry=other)).startswith("found only")


@pytest.mark.slow
def test_two_hundred_seeded_faults_are_all_found():
    found = seed_all(FOLDER, 200)
    assert found.is_good(), found.missed
    assert sum(found.made.values()) == 200
