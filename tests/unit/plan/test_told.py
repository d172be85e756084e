"""What stands open, what documents say otherwise and what only makes ready, in the plan.

Figures of documents have their sources in the entry. A rinse says nothing of whether the joint
moves, nor dry hair of whether the body is firm: their success lines in rules/methods say so. Whole
cases of the trade that wait for an answer stand in tests/casebook and in whole_plans.yaml.
"""

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from tests.support.builders import done, full_bench, opened, planned, specimen
from tests.support.intake import READY
from tests.support.knowledge import NOON, consultant, shipped
from triage.case import changes
from triage.case.models import Case, Timer
from triage.errors import TriageError
from triage.explain.counterfactual import tried
from triage.explain.sweep import Lookahead
from triage.history.watch import running_of
from triage.knowledge.methods import Method
from triage.knowledge.rules import Family
from triage.plan.model import Step
from triage.plan.outcomes import FOLLOW, answers_after, condition_target, progress_of
from triage.service.workshop import Workshop
from triage.show.blocks import lines_of
from triage.show.step import page_blocks, step_blocks

FREEZE, OTHER = "freeze-quarantine", "leps-list-freezing-2000"
READ = next(r for r in shipped().methods[FREEZE].also if r.source == OTHER)
PESTS = specimen("beetles", hydration="dry", live_pest_signs="yes")


def following(source: str, case: Case = PESTS) -> Case:
    told = {"method": FREEZE, "reading": source, "reason": "the freezer here is colder"}
    return changes.with_override(case, NOON, FOLLOW, **told)


def freeze_of(case: Case) -> Step:
    return next(step for step in planned(case).steps if step.method == FREEZE)


def test_all_are_shown_side_by_side_and_the_entrys_own_is_followed() -> None:
    entry, step = shipped().methods[FREEZE], freeze_of(PESTS)
    shown = [line.source for line in step.readings]
    assert shown == [entry.source, *(r.source for r in entry.also)]
    assert [line.source for line in step.readings if line.followed] == [entry.source]
    assert (step.dwell_s, step.dwell_most_s) == (entry.dwell_s.start, entry.dwell_s.most)
    for blocks in (step_blocks(step), page_blocks(step)):
        text = " ".join(line.strip() for line in lines_of(blocks))
        assert all(reading.text.rstrip(".") in text for reading in entry.also)


def test_a_person_follows_another_and_the_newest_choice_counts() -> None:
    case, step = following(OTHER), freeze_of(following(OTHER))
    assert [line.source for line in step.readings if line.followed] == [OTHER]
    assert step.dwell_s == READ.dwell_s.start
    assert step.temp_c == (READ.temp_c.start, READ.temp_c.most)
    assert case.plain()["overrides"][0]["reading"] == OTHER
    # What is forbidden, and the air, know nothing of it.
    plan, before = planned(case), planned(PESTS)
    assert plan.excluded == before.excluded
    assert [s.air for s in plan.steps] == [s.air for s in before.steps]
    timer = Timer(step=f"case-live-pests-{FREEZE}", started=NOON, ends=NOON + timedelta(hours=72))
    (running,) = running_of(shipped(), case.model_copy(update={"timers": (timer,)}))
    assert running.latest == NOON + timedelta(seconds=READ.dwell_s.most)
    assert freeze_of(following(shipped().methods[FREEZE].source, case)) == freeze_of(PESTS)


@pytest.mark.parametrize("source", ["no-such-document", "hampshire-freezing"])
def test_what_cannot_be_followed_is_never_silently_left(source: str) -> None:
    with pytest.raises(TriageError, match=source):
        planned(following(source))


HOUR = {"text": "an hour", "source": "a", "dwell_s": {"start": 60, "most": 3600}}


@pytest.mark.parametrize(
    ("also", "says"),
    [
        ([HOUR], "ends earlier"),
        ([{"text": "x", "source": "a"}, {"text": "y", "source": "a"}], "one reading a document"),
        ([], "say why its own"),
    ],
)
def test_an_entry_under_which_less_would_be_protected_is_refused(also: Any, says: str) -> None:
    held = shipped().methods["degrease-jar-acetone"].model_dump(by_alias=True)
    with pytest.raises(ValidationError, match=says):
        Method.model_validate({**held, "stands": "its own", "also": also})


# -- what only makes ready ---------------------------------------------------------------------


def at_relaxing() -> Case:
    """Return a case whose joints stay stuck after the milder step was used up."""
    case, dip = specimen("beetles", "elytra", joints_stuck="some"), "dip-ammonia-surfactant"
    agent, passes = shipped().methods[dip].agent, shipped().methods[dip].passes
    used = {"deposit": "stuck-joints", "agent": agent, "amount_ml": 10.0}
    return done(case, dip, *["no-change"] * passes, **used)


def next_step(shop: Workshop) -> Step:
    step = shop.plan(shop.load("x")).next_step()
    assert step is not None
    return step


def test_a_neutral_rinse_recorded_cleared_does_not_say_that_the_joints_move(tmp_path: Path) -> None:
    shop = opened(tmp_path, at_relaxing())
    rinse = next_step(shop)
    assert (rinse.method, rinse.before) == ("rinse-neutral", "pepsin-joint")
    case = shop.record("x", rinse.id, "cleared", observed="the strip is neutral")
    assert case.answers["joints-stuck"] == "some"
    act = next_step(shop)
    assert (act.method, act.before) == ("pepsin-joint", None)
    case = shop.record("x", act.id, "cleared", observed="it gives")
    assert case.answers["joints-stuck"] == "none"


def test_what_if_a_preparation_went_well_closes_nothing_either() -> None:
    look, case = Lookahead(consultant(), full_bench()), at_relaxing()
    item = look.of_case(case).first
    assert item is not None
    assert item.method == "rinse-neutral"
    assert tried(look, case, item, "cleared").answers == case.answers


DRY, POSE = "dry-hair-moving-air", "set-pins-mesh"


def set_by(*methods: str) -> Case:
    """Return a hairy insect that is clean and to be set, after some acts that went well."""
    case = specimen("bees-wasps", "thorax-hairy", set_firm="moves", size="medium")
    case = changes.with_accepted(case, "f1", "a stain that stays")
    for method in methods:
        case = done(case, method, "cleared", deposit="unset")
    return case


@pytest.mark.parametrize(
    ("methods", "closed_by"), [((DRY,), None), ((POSE,), "a1"), ((POSE, DRY), "a1")]
)
def test_the_act_closes_its_condition_and_a_preparation_never(
    methods: tuple[str, ...], closed_by: str | None
) -> None:
    progress = progress_of(shipped(), set_by(*methods), condition_target("unset"))
    assert progress.cleared_by == closed_by
    assert progress.done(DRY) == methods.count(DRY)


def test_dry_hair_recorded_cleared_leads_on_to_the_pose() -> None:
    first, after = planned(set_by()), planned(set_by(DRY))
    assert first.stage == after.stage == "set-and-dry"
    assert DRY in [step.method for step in first.steps]
    methods = [step.method for step in after.steps]
    assert DRY not in methods
    assert POSE in methods


def test_every_method_that_stands_before_another_is_called_a_preparation() -> None:
    said = [rule.then.get("insert") for rule in shipped().rules[Family.ORDER]]
    kinds = {shipped().methods[each["first"]].outcomes for each in said if each}
    assert kinds
    assert not any(shipped().outcomes[kind].closes for kind in kinds)


@pytest.mark.parametrize(
    ("outcome", "told", "after"),
    [
        ("no-change", {}, {"whole": "whole"}),
        ("no-change", {"whole": "parts-loose"}, {}),
        ("damage", {}, {}),
        ("not-done", {}, {}),
    ],
)
def test_what_came_through_a_jar_without_harm_is_whole(
    outcome: str, told: dict[str, str], after: dict[str, str]
) -> None:
    # What hangs loose comes off in the jar (judgement); what a person told stands.
    jar = changes.new_attempt("a1", NOON, "f1-jar", outcome, method="degrease-jar-acetone-hour")
    assert answers_after(shipped(), jar, told) == after


# -- what waits for an answer ------------------------------------------------------------------

STICKY = {"came-from": "sticky-trap", "texture": "smooth-film", "sheen": "wet-gloss"}
STICKY |= {"dry-brush": "sticks"}
CRUST = {"texture": "crust", "colour": "grey", "water-drop": "nothing", "acid-fizz": "nothing"}
CRUST |= {"dry-brush": "ticks-hard"}
# Whether whole, cracks, holes, losses and size are not told.
PASSED = ("age", "lacquered", "old-poison-signs", "live-pest-signs", "mouldy-smell", "hydration")
PASSED += ("joints-stuck", "aim", "photographed-before")


def beetle(signs: dict[str, str], **more: str) -> Case:
    findings = (changes.new_finding("f1", "elytra", signs=signs),)
    answers = {**{name: READY[name] for name in PASSED}, **more}
    return changes.new_case("b", "b", taxon="beetles", answers=answers, findings=findings)


def glued(**more: str) -> Case:
    return beetle(STICKY, arrival="set-on-pin", **more)


def test_open_answers_are_named_and_open_the_step_that_was_named() -> None:
    plan = planned(glued())
    assert plan.findings[0].state == "waiting"
    (line,) = plan.waiting
    assert line.finding == "f1"
    assert {question.question for question in line.questions} <= set(shipped().questions)
    (notice,) = [n for n in plan.notices if n.kind == "waiting"]
    assert all(question.ask in notice.text for question in line.questions)
    assert line.method_name in notice.text
    assert not {"leave-it", "full-stop"} & {notice.kind for notice in plan.notices}
    told = {q.question: READY[q.question] for q in line.questions if q.finding is None}
    assert len(told) == len(line.questions), "only questions about the specimen were open"
    after = planned(changes.with_answers(glued(), told))
    assert line.method in {step.method for step in after.steps if step.finding == "f1"}
    assert after.waiting == ()


def test_a_bar_that_is_known_is_no_open_answer_and_what_is_used_up_no_way_on() -> None:
    """Open cracks and many holes are told: then the way is closed, and the plan says so."""
    told = {"cracks": "open", "pest-holes": "many", "missing-parts": "many"}
    waits = {q.question for line in planned(glued(**told)).waiting for q in line.questions}
    assert not waits & told.keys()
    # The one way on for a crust is its pick; made as often as it is made, nothing waits any more.
    assert [step.method for step in planned(beetle(CRUST)).steps] == ["pick-dry"]
    told = {"finding": "f1", "zone": "elytra", "deposit": "lime-crust"}
    outcomes = ["no-change"] * shipped().methods["pick-dry"].passes
    assert planned(done(beetle(CRUST), "pick-dry", *outcomes, **told)).waiting == ()
