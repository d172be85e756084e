"""A random walker over cases and bench: whatever a person does, the safety goals hold of each plan.

Answers, findings, records, skips, releases, undoing, what-if, edits of the bench, broken files,
clocks that go on and back, several cases at once. A failure is shrunk to its shortest walk and
printed with what reproduces it. Long form, some 20,000 plans:
``pytest tests/property/test_random_walker.py -m slow -s``, walks of 60 acts, ten of each seed from
``TRIAGE_SEED`` on, until ``TRIAGE_PLANS`` plans were judged. And no plan ends in silence: without a
step it is finished, refused, held, or says why it rests, so that whoever has nothing left to answer,
or cannot tell, is never left with "no step" alone.
"""

import os
import random
import shutil
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import count
from pathlib import Path
from typing import ClassVar

import hypothesis
import pytest
from hypothesis import HealthCheck, Phase, Verbosity, settings, stateful
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from tests.casebook import asking
from tests.casebook.entry import entered
from tests.casebook.model import casebook
from tests.support.case_gen import draw_case, drawn, speaking_signs
from tests.support.hostile import TEXTS
from tests.support.knowledge import RULES, consultant, planner
from tests.support.safety import CHECKS, Seen, broken
from triage.case.models import OUTCOMES, Attempt, Case
from triage.case.profile import Bench
from triage.case.store import create_case, load_case
from triage.engine.vocabulary import CONTROLS, UNKNOWN
from triage.errors import TriageError
from triage.plan.model import Plan
from triage.plan.outcomes import SKIP
from triage.plan.skeleton import CLEAN_STAGES, DONE
from triage.service.workshop import Workshop

DEMOS = sorted((RULES.parent / "cases").glob("*-*.yaml"))
START = datetime(2026, 3, 4, 8, 0, tzinfo=UTC)
SEEDS = st.integers(0, 2**32 - 1)
CASES = st.sampled_from(("one", "one", "two"))
WORDS = st.sampled_from(sorted(TEXTS.values()))


class Walker(RuleBasedStateMachine):
    tally: ClassVar[Counter[str]] = Counter()

    def __init__(self) -> None:
        super().__init__()
        self.home = Path(tempfile.mkdtemp(prefix="walk-"))
        self.now = START
        self.shop = Workshop(
            consultant(), self.home, Bench(), self.home / "bench.yaml", lambda: self.now
        )
        self.k = self.shop.knowledge
        self.attempts: dict[str, tuple[Attempt, ...]] = {}
        self.touched = ["one", "two"]

    def teardown(self) -> None:
        shutil.rmtree(self.home)

    @initialize(seed=SEEDS)
    def begin(self, seed: int) -> None:
        rng = random.Random(seed)
        # One case with work to do at once, of the demo; one that is drawn.
        self.demo = load_case(rng.choice(DEMOS)).model_copy(update={"id": "one"})
        create_case(self.home, self.demo)
        create_case(self.home, draw_case(self.shop.consultant, rng, "two"))
        self._bench(rng)

    def _bench(self, rng: random.Random) -> None:
        agents = sorted(self.k.agents)
        some = rng.sample(agents, 8)
        content = {
            "room": {
                "control": rng.choice((*CONTROLS, UNKNOWN)),
                "volume_m3": rng.choice((None, 12, 30, 300)),
                "air_changes_per_h": rng.choice((None, 0, 0.5, 6)),
                "ignition_sources": rng.random() < 0.5,
                "place": rng.choice(("home", "lab")),
                "others": rng.choice(("none", "some", "unknown")),
            },
            "margin": rng.choice((None, 0.1, 1.0)),
            "only_stock": rng.random() < 0.2,
            "stock": [{"agent": a, "strength": rng.choice((None, 50, 96))} for a in some[:6]],
            "refused": [{"agent": a} for a in some[6:] if rng.random() < 0.5],
            "circumstances": [c for c in self.k.circumstances if rng.random() < 0.15],
            "gloves": rng.choice(([], ["nitrile-thin"], ["nitrile-thick", "butyl"])),
            "equipment": [e for e in self.k.equipment if rng.random() < 0.8],
        }
        self.shop.save_bench(Bench.model_validate(content))

    def _try(self, name: str, what: str, act: Callable[[], object]) -> None:
        """Do what a person may or may not do; a refusal is one clear line and changes nothing."""
        path = self.home / f"{name}.yaml"
        before = path.read_bytes()
        said = None
        try:
            act()
        except TriageError as fault:
            said = fault.line()
        if said is not None:
            assert said.strip()
            assert path.read_bytes() == before, f"{what} was refused and still changed the file"
        self.tally[what if said is None else f"{what}: refused"] += 1
        self.touched = [name]

    # -- acts ---------------------------------------------------------------------------------

    @rule(name=CASES, seed=SEEDS)
    def answer(self, name: str, seed: int) -> None:
        rng = random.Random(seed)
        question = rng.choice([q for q in self.k.questions.values() if q.about == "specimen"])
        word = rng.choice((*(a.id for a in question.answers), "unknown", None))
        if name == "one" and rng.random() < 0.7:  # or most walks end behind the gate of the intake
            word = self.demo.answers.get(question.id)
        self._try(name, "answer", lambda: self.shop.answer(name, question.id, word))

    @rule(name=CASES, seed=SEEDS)
    def see(self, name: str, seed: int) -> None:
        rng = random.Random(seed)
        speaks = speaking_signs(self.shop.consultant)
        pairs = speaks[rng.choice(sorted(speaks))]
        signs = dict(rng.sample(pairs, min(len(pairs), 5)))
        zone = rng.choice(sorted(self.k.zones))
        self._try(name, "see", lambda: self.shop.see(name, zone=zone, signs=signs))

    @rule(name=CASES, seed=SEEDS, text=WORDS)
    def withdraw_or_accept(self, name: str, seed: int, text: str) -> None:
        findings = self._load(name)
        if findings:
            finding = random.Random(seed).choice(findings)
            what = self.shop.accept if seed % 3 else self.shop.withdraw
            self._try(name, "accept or withdraw", lambda: what(name, finding, text))

    def _load(self, name: str) -> list[str]:
        return [finding.id for finding in load_case(self.home / f"{name}.yaml").findings]

    @rule(name=CASES, seed=SEEDS, outcome=st.sampled_from(OUTCOMES), text=WORDS)
    def record(self, name: str, seed: int, outcome: str, text: str) -> None:
        rng = random.Random(seed)
        for _ in range(rng.choice((1, 2, 5))):
            if rng.random() < 0.8:  # or most walks end at their first damage
                self.release(name, text)
            steps = self.shop.plan(self.shop.load(name)).steps
            if not steps:
                self.tally["record: nothing to do"] += 1
                return
            step = steps[0] if rng.random() < 0.8 else rng.choice(steps)
            told = {
                "amount_ml": rng.choice((None, None, 0.0, 0.01, 5.0, 1e6, -1.0)),
                "note": text,
                "observed": "seen",
                "sure": rng.random() < 0.9,
            }
            came_to = outcome if outcome in step.outcomes else rng.choice([*step.outcomes])
            act = partial(self.shop.record, name, step.id, came_to, **told)
            self._try(name, "record", act)
            self.the_goals_hold()
            outcome = rng.choice(OUTCOMES)

    @rule(name=CASES, seed=SEEDS, text=WORDS)
    def skip(self, name: str, seed: int, text: str) -> None:
        steps = self.shop.plan(self.shop.load(name)).steps
        if steps:
            step = random.Random(seed).choice(steps)
            self._try(name, SKIP, lambda: self.shop.skip(name, step.finding, step.method, text))

    @rule(name=CASES, text=WORDS)
    def release(self, name: str, text: str) -> None:
        held = self.shop.load(name).held_by()
        if held:
            self._try(name, "release", lambda: self.shop.release(name, held[0], text))

    @rule(name=CASES, text=WORDS)
    def take_back(self, name: str, text: str) -> None:
        self._try(name, "take back", lambda: self.shop.take_back(name, text))

    @rule(name=CASES, seed=SEEDS)
    def only_ask(self, name: str, seed: int) -> None:
        """A what-if makes a plan of its own and changes nothing."""
        before = {path.name: path.read_bytes() for path in self.home.glob("*.yaml")}
        rng = random.Random(seed)
        question = rng.choice([q for q in self.k.questions.values() if q.about == "specimen"])
        case = self.shop.load(name)
        self._check(self.shop.with_answer(case, None, question.id, rng.choice(question.answers).id))
        assert before == {path.name: path.read_bytes() for path in self.home.glob("*.yaml")}

    @rule(seed=SEEDS)
    def change_the_bench(self, seed: int) -> None:
        self._bench(random.Random(seed))
        self.touched = ["one", "two"]
        self.tally["bench"] += 1

    @rule(minutes=st.sampled_from((1, 20, 240, 1500, -90, -2000)))
    def clock(self, minutes: int) -> None:
        self.now += timedelta(minutes=minutes)
        self.touched = ["one"]

    @rule()
    def spoil_or_mend_a_file(self) -> None:
        other = self.home / "three.yaml"
        if other.exists():
            other.unlink()
        else:
            other.write_bytes(b"format: 1\nid: three\nattempts: [\xff")
        self.touched = ["one", "two"]

    # -- what must hold -------------------------------------------------------------------------

    @invariant()
    def the_goals_hold(self) -> None:
        for name in self.touched:
            path = self.home / f"{name}.yaml"
            if path.exists():
                case = load_case(path)
                attempts = case.attempts
                known = self.attempts.get(name, ())
                assert attempts[: len(known)] == known, "something recorded was lost or altered"
                self.attempts[name] = attempts
                self._check(case)
        self.touched = []

    def _check(self, case: Case) -> None:
        plan = self.shop.plan(case)
        again = self.shop.planner.plan(case, self.shop.bench, self.shop.day())
        assert [s.id for s in again.steps] == [s.id for s in plan.steps], "not the same plan twice"
        unread = (self.home / "three.yaml").exists()
        day = self.shop.day()
        found = broken(Seen(self.k, case, self.shop.bench, day, plan, unread))
        assert not found, "\n".join(found)
        self.tally["plans"] += 1
        self.tally["steps"] += len(plan.steps)


def walk(walks: int, acts: int, number: int | None = None) -> Counter[str]:
    """Walk, always the same walks of one number; the suite draws its own few and shrinks nothing."""
    Walker.tally.clear()
    phases = (Phase.generate,) if number is None else (Phase.generate, Phase.shrink)
    own = type(f"Walker{number}", (Walker,), {})
    how = settings(
        max_examples=walks,
        stateful_step_count=acts,
        deadline=None,
        derandomize=number is None,
        verbosity=Verbosity.normal,
        suppress_health_check=list(HealthCheck),
        database=None,
        phases=phases,
    )
    seeded = Walker if number is None else hypothesis.seed(number)(own)
    stateful.run_state_machine_as_test(seeded, settings=how)
    return Counter(Walker.tally)


def test_a_short_random_walk() -> None:
    assert len(CHECKS) >= 25
    tally = walk(4, 10)
    assert tally["plans"] > 10
    assert tally["steps"] > 0


@pytest.mark.slow
def test_a_long_random_walk(capsys: pytest.CaptureFixture[str]) -> None:
    wanted, tally = int(os.environ.get("TRIAGE_PLANS", "20000")), Counter[str]()
    first = int(os.environ.get("TRIAGE_SEED", "1"))
    for number in count(first):
        tally += walk(10, 60, number)
        with capsys.disabled():
            print(f"seeds {first} to {number}: {tally['plans']} plans, {tally['steps']} steps")
        if tally["plans"] >= wanted:
            break
    with capsys.disabled():
        print(f"no goal broken; {dict(tally)}")


# Says only that something is left; which, and why it rests, has to stand beside it.
GENERAL = "gate-cleaned"
# What a person may yet tell, or do, of a finding in these states.
RESTING = ("unsettled", "waiting", "stopped")


def told(every: int) -> Iterator[tuple[str, Plan]]:
    for account in casebook()[0][::every]:
        as_told = entered(account, planner())
        for each in (as_told, as_told.with_the_rest(account.expect.ask_first)):
            yield account.id, planner().plan(each.case, each.bench)


def generated(every: int) -> Iterator[tuple[str, Plan]]:
    for case, bench in (drawn(consultant(), seed) for seed in range(0, 150, every)):
        yield case.id, planner().plan(case, bench)


def asked(every: int) -> Iterator[tuple[str, Plan]]:
    """Yield the plan after each answer, until nothing is left to ask."""
    for account in asking.single()[::every]:
        for each in asking.walk(account):
            yield account.id, each.plan
            if each.leads:
                break


def unsaid(plan: Plan) -> list[str]:
    """Return what rests without a word where a plan has no step."""
    said = [notice for notice in plan.notices if notice.rule != GENERAL]
    found = [] if said else ["nothing is said"]
    if plan.stage in CLEAN_STAGES:
        texts = " ".join(notice.text for notice in said)
        resting = [f for f in plan.findings if f.state in RESTING]
        found += [f"{f.id} {f.state}" for f in resting if f.zone_name not in texts]
    return found


slow = partial(pytest.param, marks=pytest.mark.slow)
SOURCES = (
    pytest.param(partial(told, 10), id="told"),
    pytest.param(partial(generated, 5), id="generated"),
    pytest.param(partial(asked, 240), id="asked"),
    *(slow(partial(each, 1), id=f"{each.__name__}, all") for each in (told, generated, asked)),
)


@pytest.mark.parametrize("plans", SOURCES)
def test_a_plan_without_a_step_says_why(plans: Callable[[], Iterator[tuple[str, Plan]]]) -> None:
    seen, wrong = 0, {}
    for case, plan in plans():
        if plan.steps or plan.refused or plan.held or plan.stage == DONE:
            continue
        seen += 1
        if silent := unsaid(plan):
            wrong[case] = silent
    assert wrong == {}
    assert seen
