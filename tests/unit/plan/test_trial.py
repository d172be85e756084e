"""The hidden test spot names its liquid and its place, and protects as the step that it tries.

What is expected is read from the rule files; how bad each agent is has its source there.
"""

from __future__ import annotations

import functools
import itertools
import re
from datetime import UTC, datetime
from typing import Any

import pytest
import yaml

from tests.support.builders import OILY, case_with, full_bench
from tests.support.knowledge import RULES, planner, shipped
from triage.case.profile import Bench, RoomProfile
from triage.exposure.day import DayLedger, Release
from triage.history.benchday import DayMaker
from triage.plan.aircalc import airy_step, question_of_step
from triage.plan.airjudge import AirJudge
from triage.plan.liquids import as_done
from triage.plan.model import Plan, Step, plan_data
from triage.show.blocks import lines_of
from triage.show.html import markdown_of
from triage.show.plan import sheet_of
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


@functools.cache
def plan_for(agent: str) -> Plan:
    taxon, zone, signs, named = WORST[agent]
    return planner().plan(case_with(taxon, zone, signs, named=named), full_bench(shipped()))


def pair(agent: str) -> tuple[Step, Step]:
    """Return the test spot of an agent and the step right behind it."""
    steps = plan_for(agent).steps
    place = next(i for i, s in enumerate(steps) if s.method == SPOT and s.id.endswith(f"-{agent}"))
    return steps[place], steps[place + 1]


@pytest.mark.parametrize("agent", WORST)
def test_a_test_spot_names_its_liquid_and_the_hidden_spot_of_its_zone(agent: str) -> None:
    spot, tried = pair(agent)
    said = " ".join(spot.do)
    zone = ZONES[WORST[agent][1]]
    assert entry(f"agents/{agent}.yaml")["name"] in said
    assert zone["test_spot"] in said
    assert (spot.agent, spot.before) == (agent, tried.method)
    assert spot.make_up == tried.make_up


@pytest.mark.parametrize("agent", WORST)
def test_a_test_spot_carries_the_protection_of_the_agent_that_it_tries(agent: str) -> None:
    """Source: the agent's own file names its source for each of these."""
    spot, tried = pair(agent)
    held = entry(f"agents/{agent}.yaml")
    assert len(spot.protection.gloves) + len(spot.protection.gloves_fail) == len(held["gloves"]) > 0
    assert all(line["text"] in " ".join(spot.protection.breathing) for line in held["breathing"])
    assert [line["text"] for line in held["disposal"]] == list(spot.disposal) != []
    assert spot.protection == tried.protection
    assert spot.hazardous
    assert spot.harshness.person == tried.harshness.person >= 4
    said = {(line.kind, line.text) for line in spot.cautions}
    assert {(line.kind, line.text) for line in tried.cautions} <= said
    assert {"ventilation", "gloves"} <= {kind for kind, _ in said}
    assert {line.split(" (")[0] for line in tried.keep_away} <= {
        line.split(" (")[0] for line in spot.keep_away
    }
    assert set(tried.rinse) <= set(spot.rinse)


def test_tetrachloroethylene_on_a_test_spot_is_cautioned_about_heat_and_mixes() -> None:
    """Source: rules/caution.yaml, caution-ignition-chlorinated-heat, and the agent's own mixes."""
    spot, _ = pair("tetrachloroethylene")
    kinds = {line.kind for line in spot.cautions}
    assert "ignition" in kinds
    mixes = entry("agents/tetrachloroethylene.yaml").get("incompatible", [])
    assert ("mixing" in kinds) == bool(mixes)


@pytest.mark.parametrize("agent", WORST)
def test_the_air_of_a_test_spot_is_judged_for_its_own_small_amount(agent: str) -> None:
    spot, tried = pair(agent)
    assert spot.air is not None
    assert tried.air is not None
    assert spot.air.verdict == "ok"
    assert len(spot.air.limits) == len(tried.air.limits) > 0
    assert 0 < spot.amount_ml < tried.amount_ml
    assert 0 < spot.air.peak_mg_per_m3 < tried.air.peak_mg_per_m3
    question = question_of_step(shipped(), spot)
    assert question is not None
    assert (question.agent, question.amount_ml) == (agent, spot.amount_ml)


def test_the_air_picture_is_that_of_the_act_and_not_of_its_test_spot() -> None:
    step = airy_step(plan_for("tetrachloroethylene"))
    assert step is not None
    assert step.before is None


def test_two_test_spots_of_one_plan_are_judged_each_by_its_own_agent() -> None:
    """What is kept of one liquid's air must not serve another's."""
    spots = [s for s in plan_for("tetrachloroethylene").steps if s.method == SPOT]
    judged = {s.agent: s.air for s in spots if s.air is not None}
    assert {"ethanol", "tetrachloroethylene"} <= judged.keys()
    assert judged["ethanol"].limits != judged["tetrachloroethylene"].limits


@pytest.mark.parametrize("face", ["text", "json", "sheet", "step screen", "doing screen"])
@pytest.mark.parametrize("agent", WORST)
def test_every_face_shows_what_a_test_spot_needs(agent: str, face: str) -> None:
    plan, (spot, _) = plan_for(agent), pair(agent)
    shown = {
        "text": lambda: "\n".join(lines_of(step_blocks(spot))),
        "json": lambda: str(next(s for s in plan_data(plan)["steps"] if s["id"] == spot.id)),
        "sheet": lambda: markdown_of(sheet_of(plan, whole=True)),
        "step screen": lambda: screen_text(spot, plan).plain,
        "doing screen": lambda: doing_text(spot).plain,
    }[face]()
    words = re.sub(r"[\s\\]+", " ", shown)
    name = entry(f"agents/{agent}.yaml")["name"]
    assert f"Liquid that is tried: {name}" in words
    assert ZONES[WORST[agent][1]]["test_spot"] in words
    if face != "doing screen":
        glove = next(line for line in spot.protection.gloves).split(": ")[1].split(",")[0]
        assert glove in words


def benches() -> list[tuple[Bench, DayLedger]]:
    """Return rooms from a cupboard to a hall with every control, on clean and on used air."""
    found = []
    base = AirJudge(shipped(), Bench(), DayLedger())
    for volume, changes, control in itertools.product(
        (2.0, 20.0), (None, 2.0), (*shipped().controls, "unknown")
    ):
        bench = Bench(
            room=RoomProfile(volume_m3=volume, air_changes_per_h=changes, control=control)
        )
        for agent, mg in ((None, 0.0), ("tetrachloroethylene", 200.0), ("acetone", 2e5)):
            held = () if agent is None else (Release(600.0, mg, agent),)
            known = () if agent is None else (base.substance(agent),)
            found.append((bench, DayLedger(held, known, 605.0 if agent else None)))
    return found


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
    now = datetime(2026, 3, 2, 9, tzinfo=UTC)
    bench = full_bench(shipped())
    maker = DayMaker(planner(), bench, DayLedger(), now)
    spot = shipped().methods[SPOT]
    put_down = maker._put_down(spot, "tetrachloroethylene-brush")
    assert put_down is not None
    assert (put_down.agent, put_down.amount_ml) == ("tetrachloroethylene", spot.amount.typical_ml)
    assert maker.air.admit(put_down, 600).amount_ml == spot.amount.typical_ml
    maker.air.record(put_down, 600, put_down.amount_ml)
    density = shipped().agents["tetrachloroethylene"].physical.density.value
    (release,) = maker.air.ledger.releases
    # Mass is volume times density, in mg.
    assert release.amount_mg == pytest.approx(put_down.amount_ml * density * 1000)
