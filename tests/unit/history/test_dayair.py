"""The air of a planned day holds every agent in the liquid that was put down, not the main one only."""

import dataclasses

import pytest

from triage.case.profile import Bench, RoomProfile
from triage.exposure.day import DayLedger
from triage.history.benchday import DayAir
from triage.history.daytypes import PutDown

BENCH = Bench(room=RoomProfile(volume_m3=30, air_changes_per_h=0.5))


def put_down(method, agent=None):
    return PutDown(
        agent or method.agent, method.amount.typical_ml, method.amount.least_ml, method.id
    )


@pytest.fixture
def acid_joint(knowledge):
    """An enzyme that gives off nothing, in water with 0.1 % of an acid that does."""
    method = knowledge.methods["pepsin-joint"]
    assert [(p.agent, p.strength.value) for p in method.with_ if p.strength] == [
        ("hydrochloric-acid-dilute", 0.1)
    ]
    return method


def test_the_further_agent_is_booked_with_its_share(knowledge, acid_joint):
    air = DayAir(knowledge, BENCH, DayLedger())
    air.record(put_down(acid_joint), 600, 0.5)
    density = knowledge.agents["hydrochloric-acid-dilute"].physical.density.value
    (release,) = air.ledger.releases
    assert (release.agent, release.minute_of_day) == ("hydrochloric-acid-dilute", 600)
    # 0.1 % of 0.5 mL, by its density, in mg: mass = volume x density x share.
    assert release.amount_mg == pytest.approx(0.5 * density * 1000 * 0.001)
    assert air.trail == (("pepsin-joint", 600, 0.5),)


def test_a_main_agent_and_the_further_one_stand_side_by_side(knowledge, acid_joint):
    """The acid in the liquid of a volatile main agent: both are in the ledger, each once."""
    method = acid_joint.model_copy(update={"id": "tried", "agent": "ethanol"})
    book = dataclasses.replace(knowledge, methods={**knowledge.methods, "tried": method})
    air = DayAir(book, BENCH, DayLedger())
    air.record(put_down(method), 600, 0.5)
    assert [r.agent for r in air.ledger.releases] == ["ethanol", "hydrochloric-acid-dilute"]
    assert {s.key for s in air.ledger.substances} == {"ethanol", "hydrochloric-acid-dilute"}
    air.record(put_down(method), 660, 0.5)
    assert len(air.ledger.releases) == 4
    assert len(air.ledger.substances) == 2


def test_such_a_step_is_put_down_on_the_day(knowledge, planner, acid_joint):
    """Its main agent gives off nothing, yet the day has to judge and book it."""
    from datetime import UTC, datetime

    from triage.history.benchday import DayMaker

    now = datetime(2026, 3, 2, 9, tzinfo=UTC)
    maker = DayMaker(planner, BENCH, DayLedger(), now)
    assert maker._put_down(acid_joint) == put_down(acid_joint)
    assert maker._put_down(knowledge.methods["blot-dry"]) is None
