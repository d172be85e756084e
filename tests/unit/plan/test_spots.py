"""Trial spots and acts on the whole insect: one step, wherever they serve."""

import itertools
import re
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.support.builders import OILY, case_with, full_bench, opened, planned, specimen
from tests.support.explaining import sweep_of
from tests.support.knowledge import NOON, RULES, planner, shipped
from triage.case import changes
from triage.case.models import Case
from triage.case.profile import Bench
from triage.errors import TriageError
from triage.exposure.day import DayLedger, Release
from triage.history.benchday import DayMaker
from triage.plan.aircalc import airy_step, question_of_step
from triage.plan.airjudge import AirJudge
from triage.plan.liquids import as_done
from triage.plan.model import Plan, Step, plan_data
from triage.plan.outcomes import closed_findings
from triage.service.workshop import Workshop
from triage.show.blocks import lines_of
from triage.show.html import markdown_of
from triage.show.plan import plan_text, sheet_of
from triage.show.step import step_blocks
from triage.tui.shown import doing_text
from triage.tui.shown import step_text as screen_text

SPOT = "test-spot"
# A finding whose ladder ends with each of the two agents that are worst for the person.
WORST = {
    "tetrachloroethylene": ("beetles", "elytra", OILY, "oily-film"),
    "ethoxyethanol-2": ("bees-wasps", "thorax-hairy", {}, "waxy-matting"),
}


def entry(file: str) -> Any:
    return yaml.safe_load((RULES / file).read_text(encoding="utf-8"))


ZONES = {zone["id"]: zone for zone in entry("zones.yaml")}
NEEDING = sorted(
    m.id
    for m in shipped().methods.values()
    if m.stage == "clean" and m.harshness.chemical.grade >= 2
)


@cache
def plan_for(agent: str) -> Plan:
    taxon, zone, signs, named = WORST[agent]
    return planned(case_with(taxon, zone, signs, named=named))


def pair(agent: str) -> tuple[Step, Step, dict[str, Any]]:
    """Return the test spot of an agent, the step right behind it, and the agent's own file."""
    steps = plan_for(agent).steps
    place = next(i for i, s in enumerate(steps) if s.method == SPOT and s.id.endswith(f"-{agent}"))
    return steps[place], steps[place + 1], entry(f"agents/{agent}.yaml")


each_worst = pytest.mark.parametrize("agent", WORST)


@each_worst
def test_a_test_spot_names_its_liquid_and_carries_the_protection_of_the_agent_that_it_tries(
    agent: str,
) -> None:
    """Source: the agent's own file names its source for each of these."""
    spot, tried, held = pair(agent)
    assert held["name"] in " ".join(spot.do)
    assert ZONES[WORST[agent][1]]["test_spot"] in " ".join(spot.do)
    assert (spot.agent, spot.before) == (agent, tried.method)
    assert spot.make_up == tried.make_up
    assert len(spot.protection.gloves) + len(spot.protection.gloves_fail) == len(held["gloves"]) > 0
    assert all(line["text"] in " ".join(spot.protection.breathing) for line in held["breathing"])
    assert [line["text"] for line in held["disposal"]] == list(spot.disposal) != []
    assert spot.protection == tried.protection
    assert spot.hazardous
    assert spot.harshness.person == tried.harshness.person >= 4
    said = {(line.kind, line.text) for line in spot.cautions}
    assert {(line.kind, line.text) for line in tried.cautions} <= said
    kinds = {kind for kind, _ in said}
    assert {"ventilation", "gloves"} <= kinds
    if agent == "tetrachloroethylene":  # caution-ignition-chlorinated-heat, and its own mixes
        assert "ignition" in kinds
        assert ("mixing" in kinds) == bool(held.get("incompatible"))
    away = [{line.split(" (")[0] for line in each.keep_away} for each in (tried, spot)]
    assert away[0] <= away[1]
    assert set(tried.rinse) <= set(spot.rinse)


@each_worst
def test_the_air_of_a_test_spot_is_judged_for_its_own_small_amount(agent: str) -> None:
    spot, tried, _ = pair(agent)
    assert spot.air is not None
    assert tried.air is not None
    assert spot.air.verdict == "ok"
    assert len(spot.air.limits) == len(tried.air.limits) > 0
    assert 0 < spot.amount_ml < tried.amount_ml
    assert 0 < spot.air.peak_mg_per_m3 < tried.air.peak_mg_per_m3
    question = question_of_step(shipped(), spot)
    assert question is not None
    assert (question.agent, question.amount_ml) == (agent, spot.amount_ml)


def test_the_air_picture_is_that_of_the_act_and_each_spot_is_judged_by_its_own_agent() -> None:
    """What is kept of one liquid's air must not serve another's."""
    plan = plan_for("tetrachloroethylene")
    step = airy_step(plan)
    assert step is not None
    assert step.before is None
    judged = {s.agent: s.air.limits for s in plan.steps if s.method == SPOT and s.air is not None}
    assert judged["ethanol"] != judged["tetrachloroethylene"]


@pytest.mark.parametrize("face", ["text", "json", "sheet", "step screen", "doing screen"])
@each_worst
def test_every_face_shows_what_a_test_spot_needs(agent: str, face: str) -> None:
    plan, (spot, _, held) = plan_for(agent), pair(agent)
    shown = {
        "text": lambda: "\n".join(lines_of(step_blocks(spot))),
        "json": lambda: str(next(s for s in plan_data(plan)["steps"] if s["id"] == spot.id)),
        "sheet": lambda: markdown_of(sheet_of(plan, whole=True)),
        "step screen": lambda: screen_text(spot, plan).plain,
        "doing screen": lambda: doing_text(spot).plain,
    }[face]()
    words = re.sub(r"[\s\\]+", " ", shown)
    assert f"Liquid that is tried: {held['name']}" in words
    assert ZONES[WORST[agent][1]]["test_spot"] in words
    if face != "doing screen":
        assert spot.protection.gloves[0].split(": ")[1].split(",")[0] in words


def benches() -> Iterator[tuple[Bench, DayLedger]]:
    """Yield rooms from a cupboard to a hall with every control, on clean and on used air."""
    base = AirJudge(shipped(), Bench(), DayLedger())
    used = [
        DayLedger((Release(600.0, mg, agent),), (base.substance(agent),), 605.0)
        for agent, mg in (("tetrachloroethylene", 200.0), ("acetone", 2e5))
    ]
    controls = (*shipped().controls, "unknown")
    for volume, air, control in itertools.product((2.0, 20.0), (None, 2.0), controls):
        room = {"volume_m3": volume, "air_changes_per_h": air, "control": control}
        yield from ((Bench(room=room), day) for day in (DayLedger(), *used))


def test_where_a_step_is_permitted_its_test_spot_is_within_the_limits_too() -> None:
    permitted = refused = 0
    for bench, day in benches():
        judge = AirJudge(shipped(), bench, day)
        for method in NEEDING:
            if not judge.choose(shipped().methods[method]).is_open:
                refused += 1
                continue
            permitted += 1
            choice = judge.choose(as_done(shipped(), SPOT, method))
            assert not choice.refused, (method, bench.room, choice.refused)
            assert choice.line is None or choice.line.verdict != "over", (method, bench.room)
    assert permitted > 100
    assert refused > 100


def test_the_bench_day_counts_what_a_test_spot_gives_off() -> None:
    maker = DayMaker(planner(), full_bench(), DayLedger(), NOON)
    spot, agent = shipped().methods[SPOT], "tetrachloroethylene"
    put_down = maker._put_down(spot, f"{agent}-brush")
    assert put_down is not None
    assert (put_down.agent, put_down.amount_ml) == (agent, spot.amount.typical_ml)
    assert maker.air.admit(put_down, 600).amount_ml == spot.amount.typical_ml
    maker.air.record(put_down, 600, put_down.amount_ml)
    density = shipped().agents[agent].physical.density.value
    (release,) = maker.air.ledger.releases
    # Mass is volume times density, in mg.
    assert release.amount_mg == pytest.approx(put_down.amount_ml * density * 1000)


# -- once for each liquid and kind of surface, as the order rule of the test spot asks -------------

BEFORE = "test-spot-before-"
# Two of one kind of surface, and one with structural colour, which is another.
ONE, SAME, OTHER = "thorax-hard", "abdomen-hard", "elytra"


def greasy(*zones: str) -> Case:
    return specimen("beetles", *((zone, OILY) for zone in zones))


def spots(plan: Plan, finding: str) -> set[str]:
    return {s.id.split(BEFORE)[1] for s in plan.steps if s.finding == finding and BEFORE in s.id}


def test_a_surface_is_tried_once_with_each_liquid() -> None:
    surface = {name: set(shipped().zones[name].surface) for name in (ONE, SAME, OTHER)}
    assert surface[ONE] == surface[SAME] != surface[OTHER]
    plan = planned(greasy(ONE, SAME, OTHER))
    assert spots(plan, "f1")
    assert not spots(plan, "f1") & spots(plan, "f2")
    assert spots(planned(greasy(SAME)), "f1") <= spots(plan, "f1") | spots(plan, "f2")
    assert spots(plan, "f3") == spots(planned(greasy(OTHER)), "f1"), "another surface has its own"
    order = [step.id for step in plan.steps]
    for spot in (s for s in plan.steps if BEFORE in s.id and s.finding != "f3"):
        agent = spot.id.split(BEFORE)[1]
        served = [s.id for s in plan.steps if s.agent == agent and s.finding in ("f1", "f2")]
        wet = [each for each in served if each.split("-", 1)[1] == spot.before]
        assert wet
        assert all(order.index(spot.id) < order.index(each) for each in wet)


@pytest.mark.parametrize("outcome", ["no-change", "damage"])
def test_what_a_spot_showed_counts_wherever_the_surface_is_the_same(outcome: str) -> None:
    case = greasy(ONE, SAME, OTHER)
    step = next(s for s in planned(case).steps if s.finding == "f1" and BEFORE in s.id)
    told = {name: getattr(step, name) for name in ("finding", "zone", "method", "agent")}
    case = changes.with_attempt(case, changes.new_attempt("a1", NOON, step.id, outcome, **told))
    if outcome == "damage":
        case = changes.with_release(case, NOON, "a1", "looked at it")
    plan, method = planned(case), str(step.before)
    offered = {s.finding for s in plan.steps if s.method == method and BEFORE not in s.id}
    agent = shipped().methods[method].agent
    assert offered == ({"f3"} if outcome == "damage" else {"f1", "f2", "f3"})
    assert {s.finding for s in plan.steps if s.id.endswith(f"{BEFORE}{agent}")} == {"f3"}
    ahead = sweep_of(case, full_bench()).base.standing
    assert {ladder.target.key for ladder in ahead if method in ladder.rungs} == offered


# -- a bath, a chamber or a round of puffs reaches the whole insect at once: common practice --------

DEPOSITS = ("loose-dust", "oily-film", "sugar-honey", "glue-gum-residue", "fingerprint")
FINDINGS, PLACES, MOST_LINES = 60, 14, 150


@cache
def large() -> tuple[Case, Plan]:
    """Return a bee with sixty findings over fourteen zones, of several deposits, and its plan."""
    kind = shipped().taxa["bees-wasps"].plan
    zones = [zone.id for zone in shipped().zones.values() if kind in zone.plans][:PLACES]
    deposits = [each for each in DEPOSITS if each in shipped().deposits]
    places = (
        (zones[n % PLACES], deposits[(5 * n + n // PLACES) % len(deposits)])
        for n in range(FINDINGS)
    )
    case = specimen("bees-wasps", *places)
    return case, planned(case)


def acts(plan: Plan) -> list[Step]:
    """Return the steps for findings that are done to the whole insect."""
    techniques = shipped().techniques
    return [s for s in plan.steps if techniques[s.technique].whole and s.finding and not s.before]


def test_an_act_on_the_whole_insect_is_one_step_so_the_plan_of_sixty_findings_is_short() -> None:
    case, plan = large()
    lines = plan_text(plan).splitlines()
    assert len(lines) <= MOST_LINES
    for number in range(1, FINDINGS + 1):
        assert any(f" f{number} " in f" {line} " for line in lines), "each finding is named"
    found = acts(plan)
    # Eyes are worked apart: what is done to the rest does not serve them.
    eyes = {f.id for f in case.findings if "lens" in shipped().zones[f.zone].surface}
    many = Counter((step.method, step.findings[0] in eyes) for step in found)
    assert max(many.values()) == 1
    assert max(len(step.findings) for step in found) > PLACES
    assert all(eyes.issuperset(s.findings) or eyes.isdisjoint(s.findings) for s in found)
    served = Counter((step.method, finding) for step in found for finding in step.findings)
    assert max(served.values()) == 1


def test_no_ladder_is_turned_round_by_an_act_that_it_shares() -> None:
    case, plan = large()
    judge = planner().judge(full_bench(), DayLedger())
    skeleton = planner().maker.skeleton(case, full_bench(), judge)
    for ladder in (each for each in skeleton.ladders if each.target.finding):
        mine = [s for s in plan.steps if ladder.target.key in s.findings and not s.before]
        assert [step.method for step in mine] == list(ladder.rungs)
    assert sweep_of(case, full_bench()).base.first.step == plan.steps[0].id


@pytest.fixture
def shop(tmp_path: Path) -> Workshop:
    zones = ("thorax-hairy", "leg", "compound-eye")
    return opened(tmp_path, specimen("bees-wasps", *((zone, "loose-dust") for zone in zones)))


def puff(shop: Workshop) -> Step:
    step = next(s for s in acts(shop.plan(shop.load("x"))) if s.method == "puff-air")
    assert set(step.findings) == {"f1", "f2"}, "the eye has its own"
    return step


def test_what_is_recorded_counts_for_every_finding_and_is_taken_back_at_once(
    shop: Workshop,
) -> None:
    case = shop.record("x", puff(shop).id, "cleared")
    assert len(case.attempts) == 1, "one act, one record"
    assert closed_findings(shipped(), shop.load("x")) == {"f1", "f2"}
    assert closed_findings(shipped(), shop.undo("x", "looked again")) == set()
    other = changes.new_attempt("a1", NOON, "f1-puff-air", "better", finding="f1", also=("f99",))
    with pytest.raises(TriageError, match='unknown finding "f99"'):
        changes.with_attempt(large()[0], other)


def test_what_it_harmed_it_harms_wherever_it_serves(shop: Workshop) -> None:
    shop.record("x", puff(shop).id, "damage")
    shop.release("x", "a1", "a hair moved; no more of it")
    left = acts(shop.plan(shop.load("x")))
    assert {f for s in left if s.method == "puff-air" for f in s.findings} == {"f3"}
