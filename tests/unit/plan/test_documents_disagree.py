"""Where documents disagree on a step all of them are shown, and only a person follows another.

What is expected is read from the entry and from the case; the figures have their sources there.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from pydantic import ValidationError

from tests.support.builders import full_bench
from tests.support.intake import SOUND
from tests.support.knowledge import planner, shipped
from triage.case.changes import new_case, with_override
from triage.case.models import Case, Timer
from triage.errors import TriageError
from triage.history.watch import running_of
from triage.knowledge.methods import Method
from triage.plan.model import Plan, Step
from triage.plan.outcomes import FOLLOW
from triage.show.blocks import lines_of
from triage.show.step import page_blocks, step_blocks

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
FREEZE = "freeze-quarantine"
OTHER = "leps-list-freezing-2000"


def pest_case() -> Case:
    return new_case(
        "x", "t", taxon="beetles", answers={**SOUND, "hydration": "dry", "live-pest-signs": "yes"}
    )


def following(source: str, case: Case) -> Case:
    told = {"method": FREEZE, "reading": source, "reason": "the freezer here is colder"}
    return with_override(case, NOW, FOLLOW, **told)


def plan_of(case: Case) -> Plan:
    return planner().plan(case, full_bench(shipped()))


def freeze_of(plan: Plan) -> Step:
    return next(step for step in plan.steps if step.method == FREEZE)


def test_all_are_shown_side_by_side_and_the_entrys_own_is_followed() -> None:
    entry, step = shipped().methods[FREEZE], freeze_of(plan_of(pest_case()))
    assert [line.source for line in step.readings] == [
        entry.source,
        *(r.source for r in entry.also),
    ]
    assert [line.source for line in step.readings if line.followed] == [entry.source]
    assert (step.dwell_s, step.dwell_most_s) == (entry.dwell_s.start, entry.dwell_s.most)
    for blocks in (step_blocks(step), page_blocks(step)):
        text = " ".join(line.strip() for line in lines_of(blocks))
        assert all(reading.text.rstrip(".") in text for reading in entry.also)


def test_a_person_follows_another_and_the_record_keeps_it() -> None:
    case = following(OTHER, pest_case())
    plan, before = plan_of(case), plan_of(pest_case())
    step, read = (
        freeze_of(plan),
        next(r for r in shipped().methods[FREEZE].also if r.source == OTHER),
    )
    assert [line.source for line in step.readings if line.followed] == [OTHER]
    assert (step.dwell_s, step.temp_c) == (
        read.dwell_s.start,
        (read.temp_c.start, read.temp_c.most),
    )
    assert case.plain()["overrides"][0]["reading"] == OTHER
    # What is forbidden, and the air, know nothing of it.
    assert plan.excluded == before.excluded
    assert [s.air for s in plan.steps] == [s.air for s in before.steps]


def test_the_newest_choice_counts_and_the_entrys_own_goes_back() -> None:
    case = following(shipped().methods[FREEZE].source, following(OTHER, pest_case()))
    assert freeze_of(plan_of(case)) == freeze_of(plan_of(pest_case()))


def test_a_timer_ends_by_the_document_that_is_followed() -> None:
    timer = Timer(step=f"case-live-pests-{FREEZE}", started=NOW, ends=NOW + timedelta(hours=72))
    case = following(OTHER, pest_case()).model_copy(update={"timers": (timer,)})
    read = next(r for r in shipped().methods[FREEZE].also if r.source == OTHER)
    assert running_of(shipped(), case)[0].latest == NOW + timedelta(seconds=read.dwell_s.most)


@pytest.mark.parametrize("source", ["no-such-document", "hampshire-freezing"])
def test_what_cannot_be_followed_is_never_silently_left(source: str) -> None:
    with pytest.raises(TriageError, match=source):
        plan_of(following(source, pest_case()))


def method_with(**fields: Any) -> Method:
    held = shipped().methods["degrease-jar-acetone"].model_dump(by_alias=True)
    return Method.model_validate({**held, "stands": "its own", **fields})


@pytest.mark.parametrize(
    ("also", "says"),
    [
        (
            [{"text": "an hour", "source": "a", "dwell_s": {"start": 60, "most": 3600}}],
            "ends earlier",
        ),
        ([{"text": "x", "source": "a"}, {"text": "y", "source": "a"}], "one reading a document"),
        ([], "say why its own"),
    ],
)
def test_an_entry_under_which_less_would_be_protected_is_refused(
    also: list[Any], says: str
) -> None:
    with pytest.raises(ValidationError, match=says):
        method_with(also=also)
