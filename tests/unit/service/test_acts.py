"""Outcomes in words of their kind, answers that tell others or speak against each other, and what is taken back.

A chamber's end is a supple insect, one still stiff or one too wet (its success and stop lines in
rules/methods); a picture cannot come out "better"; what only makes ready is done or not.
"""

from datetime import timedelta
from pathlib import Path

import pytest
from pydantic import ValidationError

from tests.support.builders import opened, specimen
from tests.support.intake import SOUND
from tests.support.knowledge import NOON, consultant, shipped
from triage.case import changes
from triage.case.changes import with_accepted
from triage.case.models import OUTCOMES
from triage.case.profile import Bench
from triage.case.store import create_case, load_case, update_case
from triage.errors import TriageError
from triage.history.table import Filter
from triage.knowledge.methods import Outcomes
from triage.plan.model import Plan, Step
from triage.plan.questions import is_put
from triage.service.acts import attempts_on_record
from triage.service.workshop import Workshop


@pytest.fixture
def shop(tmp_path: Path) -> Workshop:
    """A workshop with a stiff beetle that is to take another pose, and one not photographed."""
    stiff = {"hydration": "dry", "joints_stuck": "none", "aim": "another-pose", "size": "small"}
    cases = [
        specimen("beetles", "elytra", name=name, photographed_before=pictured, **stiff)
        for name, pictured in (("stiff", "yes"), ("unseen", "no"))
    ]
    return opened(tmp_path, *(with_accepted(case, "f1", "clean") for case in cases))


def first(shop: Workshop, name: str = "stiff") -> Step:
    step = shop.plan(shop.load(name)).next_step()
    assert step is not None
    return step


def test_a_chamber_offers_its_own_words_and_too_wet_holds_with_what_to_do(shop: Workshop) -> None:
    step = first(shop)
    assert step.stage == "rehydrate"
    offered = ["supple", "softer", "still stiff", "too wet", "damage", "not done"]
    assert [*step.outcomes.values()] == offered
    shop.record("stiff", first(shop).id, "too wet", observed="drops on the hairs")
    assert shop.load("stiff").answers["hydration"] == "too-wet"
    plan = shop.plan(shop.load("stiff"))
    assert [hold.words for hold in plan.held] == ["too wet"]
    assert not plan.steps
    assert "first-aid" in [notice.kind for notice in plan.notices]


@pytest.mark.parametrize(
    ("words", "answer", "waits"),
    [("supple", "supple", False), ("softer", "dry", True), ("still stiff", "dry", True)],
)
def test_supple_opens_what_waited_for_it_and_nothing_less(
    shop: Workshop, words: str, answer: str, waits: bool
) -> None:
    shop.record("stiff", first(shop).id, words, observed="it gives or creaks")
    assert shop.load("stiff").answers["hydration"] == answer
    assert (shop.plan(shop.load("stiff")).stage == "rehydrate") is waits


@pytest.mark.parametrize("since", [None, "over-relaxed"])
def test_what_an_attempt_told_is_open_again_when_it_is_taken_back_but_not_what_was_told_since(
    shop: Workshop, since: str | None
) -> None:
    """By another run, which no longer knows what was answered before."""
    shop.record("stiff", first(shop).id, "supple", observed="it gives")
    if since:
        shop.answer("stiff", "hydration", since)
    other = Workshop(shop.consultant, shop.cases, shop.bench)
    other.undo("stiff", "it does not give")
    assert other.load("stiff").answers.get("hydration") == since


def test_a_picture_comes_out_neither_better_nor_worse(shop: Workshop) -> None:
    step = first(shop, "unseen")
    assert step.method == "look-photograph"
    for wrong in ("better", "worse", "supple"):
        with pytest.raises(TriageError, match="does not come to") as told:
            shop.record("unseen", step.id, wrong)
        assert "photographed" in told.value.mend
    assert shop.load("unseen").attempts == ()
    shop.record("unseen", step.id, "photographed")
    assert shop.load("unseen").attempts[-1].outcome == "cleared"


def test_the_record_is_searched_by_the_words_of_its_kind(shop: Workshop) -> None:
    shop.record("unseen", first(shop, "unseen").id, "photographed")
    shop.record("stiff", first(shop).id, "supple", observed="it gives")
    for outcome, cases in (
        ("supple", ["stiff"]),
        ("photographed", ["unseen"]),
        ("cleared", ["stiff", "unseen"]),
        ("too wet", []),
    ):
        found = attempts_on_record(shop, Filter(outcome=outcome))
        assert sorted(row.case for row in found) == cases, outcome
    with pytest.raises(TriageError, match="suple"):
        attempts_on_record(shop, Filter(outcome="suple"))


def test_every_kind_of_step_can_end_well_in_harm_and_not_at_all() -> None:
    for kind in shipped().outcomes.values():
        assert {"cleared", "damage", "not-done"} <= set(kind.words) <= set(OUTCOMES), kind.id
        assert all(kind.meant(words) == outcome for outcome, words in kind.words.items())


@pytest.mark.parametrize(
    ("said", "fault"),
    [
        ({"better": "supple"}, "same words"),
        ({"closes": False, "no_change": "not yet"}, "done or not done"),
        ({"when_worse": {"hydration": "too-wet"}}, "worse outcome"),
    ],
)
def test_a_kind_that_would_mislead_is_refused(said: dict[str, object], fault: str) -> None:
    sound = {"id": "x", "name": "x", "source": "judgement", "cleared": "supple"}
    with pytest.raises(ValidationError, match=fault):
        Outcomes.model_validate({**sound, **said})


@pytest.fixture
def wasp(tmp_path: Path) -> Workshop:
    made = Workshop(consultant(), tmp_path, Bench(format=1))
    made.new("wasp", "bees-wasps", "wasp")
    return made


def words(wasp: Workshop) -> str:
    act = wasp.last_act("wasp")
    assert act is not None
    return act.words(wasp.knowledge)


def test_a_zone_opened_by_mistake_is_withdrawn_with_what_was_answered(wasp: Workshop) -> None:
    wasp.see("wasp", "antenna")
    wasp.answer("wasp", "sheen", "glassy", "f1")
    assert "How does the place shine?" in words(wasp)
    wasp.take_back("wasp", "wrong zone")
    assert "antenna" in words(wasp)
    case = wasp.take_back("wasp", "wrong zone")
    assert case.findings == ()
    held = load_case(wasp.path_of("wasp")).withdrawn
    assert [(entry.finding.id, entry.finding.zone) for entry in held] == [("f1", "antenna")]
    # Its number is not given again: what was written about f1 elsewhere stays true.
    assert wasp.see("wasp", "antenna")[1] == "f2"


def test_an_answer_is_as_it_was_before_unless_it_was_given_anew_outside(wasp: Workshop) -> None:
    wasp.answer("wasp", "hydration", "dry")
    wasp.answer("wasp", "hydration", "supple")
    wasp.take_back("wasp", "misread")
    assert wasp.load("wasp").answers["hydration"] == "dry"
    wasp.take_back("wasp", "misread")
    assert "hydration" not in wasp.load("wasp").answers
    wasp.answer("wasp", "hydration", "dry")
    Workshop(wasp.consultant, wasp.cases, wasp.bench).answer("wasp", "hydration", "too-wet")
    wasp.take_back("wasp", "misread")
    assert wasp.load("wasp").answers["hydration"] == "too-wet"


def test_clean_and_left_as_it_is_are_taken_back(wasp: Workshop) -> None:
    wasp.declare_clean("wasp", "antenna")
    assert "clean" in words(wasp)
    assert wasp.take_back("wasp", "not looked yet").findings == ()
    _, finding = wasp.see("wasp", "antenna")
    wasp.accept("wasp", finding, "does not show")
    assert "does not show" in words(wasp)
    assert not wasp.take_back("wasp", "it does").finding(finding).accepted


def test_a_finding_with_a_record_or_without_a_reason_is_not_withdrawn(wasp: Workshop) -> None:
    _, finding = wasp.see("wasp", "antenna")
    with pytest.raises(TriageError, match="reason"):
        wasp.withdraw("wasp", finding, " ")
    wasp.skip("wasp", finding, "puff-air", "tried elsewhere")
    with pytest.raises(TriageError, match="cannot be withdrawn"):
        wasp.withdraw("wasp", finding, "entered by mistake")
    wasp.take_back("wasp", "wrong key")
    kinds = [each.kind for each in wasp.load("wasp").overrides]
    assert kinds == ["skip-method", "offer-method-again"]


def test_nothing_to_take_back_is_said_and_a_withdrawn_finding_is_never_lost(wasp: Workshop) -> None:
    assert wasp.last_act("wasp") is None
    with pytest.raises(TriageError, match="no attempt and no skip"):
        wasp.take_back("wasp", "nothing")
    _, finding = wasp.see("wasp", "antenna")
    wasp.withdraw("wasp", finding, "wrong zone")
    with pytest.raises(TriageError, match="would lose or alter recorded withdrawn"):
        update_case(wasp.path_of("wasp"), lambda old: old.model_copy(update={"withdrawn": ()}))


def test_undoing_a_record_leaves_what_was_done_before_it_in_its_order(wasp: Workshop) -> None:
    _, finding = wasp.see("wasp", "antenna")
    wasp.skip("wasp", finding, "puff-air", "tried elsewhere")
    wasp.answer("wasp", "hydration", "dry")
    wasp.skip("wasp", finding, "brush-dry-soft", "too soft")
    wasp.undo("wasp", "wrong key")
    assert "tried elsewhere" not in words(wasp)
    wasp.take_back("wasp", "misread")
    assert "tried elsewhere" in words(wasp)


def answers(wasp: Workshop, *told: tuple[str, str | None]) -> dict[str, str]:
    case = wasp.new("one", "beetles").id
    for question, answer in told:
        wasp.answer(case, question, answer)
    return dict(wasp.load(case).answers)


def test_how_it_comes_tells_how_soft_it_is_until_that_is_felt(wasp: Workshop) -> None:
    pinned, damp = ("arrival", "set-on-pin"), ("hydration", "damp-not-ready")
    assert answers(wasp, pinned) == {"arrival": "set-on-pin", "hydration": "dry"}
    for told in ((pinned, damp), (damp, pinned), (damp, pinned, ("arrival", "fresh"))):
        assert answers(wasp, *told)["hydration"] == "damp-not-ready"
    # One just killed, thawed, or in its paper may be soft still.
    for arrival in ("fresh", "frozen", "papered"):
        assert "hydration" not in answers(wasp, pinned, ("arrival", arrival))
    assert answers(wasp, pinned, ("arrival", None)) == {}


def test_what_is_told_last_gives_way_to_no_earlier_guess(wasp: Workshop) -> None:
    told = answers(wasp, ("arrival", "in-fluid"), ("fluid", "dried-out"))
    assert told["hydration"] == "dry"
    told = answers(wasp, ("storage-wanted", "dry"), ("aim", "keep-wet"))
    assert told["storage-wanted"] == "dry"
    assert "storage-wanted" not in answers(wasp, ("aim", "keep-dry")), "it cannot be undone"


def test_a_question_that_hangs_on_another_is_put_only_then(wasp: Workshop) -> None:
    knowledge = wasp.knowledge
    for arrival, is_asked in (("in-fluid", True), (None, True), ("set-on-pin", False)):
        case = wasp.new("one", "beetles").id
        wasp.answer(case, "arrival", arrival)
        _, finding = wasp.see(case, "elytra")
        assert is_put(knowledge, wasp.load(case), None, "fluid") is is_asked, arrival
        assert not is_put(knowledge, wasp.load(case), finding, "scale-match")
        wasp.answer(case, "texture", "flat-scales", finding)
        assert is_put(knowledge, wasp.load(case), finding, "scale-match")


CASE, TEST = "gummed", "water-drop"
SEEN = {"ethanol-drop": "whitens", TEST: "dissolves"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    finding = changes.new_finding("f1", "elytra", named="sugar-honey", signs=SEEN)
    case = changes.new_case(CASE, taxon="beetles", answers=dict(SOUND), findings=(finding,))
    create_case(tmp_path, case)
    return tmp_path


def after(folder: Path, hours: float) -> Workshop:
    """Return the program begun anew so many hours after noon."""
    return opened(folder, at=NOON + timedelta(hours=hours))


def planned(shop: Workshop) -> Plan:
    return shop.plan(shop.load(CASE))


def named(plan: Plan) -> list[str]:
    return [notice.text for notice in plan.notices if notice.rule == "told-twice"]


def acting(plan: Plan) -> set[str]:
    methods = shipped().methods
    return {s.method for s in plan.steps if s.finding and not methods[s.method].harmless}


def test_both_answers_are_named_with_the_time_and_nothing_gets_harsher(folder: Path) -> None:
    before = acting(planned(after(folder, 0)))
    assert before
    shop = after(folder, 3)
    shop.answer(CASE, TEST, "nothing", "f1")
    plan = planned(shop)
    (text,) = named(plan)
    answers = {a.id: a.text for a in shipped().questions[TEST].answers}
    assert answers["dissolves"] in text
    assert answers["nothing"] in text
    assert "2026-03-04 15:00" in text
    assert acting(plan) <= before
    (kept,) = shop.load(CASE).restated
    assert (kept.before, kept.after) == ("dissolves", "nothing")


@pytest.mark.parametrize("answer", ["dissolves", "nothing"])
def test_one_more_answer_settles_it_and_all_stays_on_file(folder: Path, answer: str) -> None:
    after(folder, 3).answer(CASE, TEST, "nothing", "f1")
    shop = after(folder, 6)
    shop.answer(CASE, TEST, answer, "f1")
    case = shop.load(CASE)
    # Back to the first answer is a contradiction once more: it is asked again.
    assert bool(case.in_doubt()) is (answer == "dissolves")
    after(folder, 9).answer(CASE, TEST, answer, "f1")
    shop = after(folder, 12)
    assert named(planned(shop)) == []
    assert len(shop.load(CASE).restated) == (2 if answer == "nothing" else 3)


def test_a_slip_of_the_finger_and_a_place_that_was_worked_on_contradict_nothing(
    folder: Path,
) -> None:
    shop = after(folder, 3)
    shop.answer(CASE, "puff", "moves", "f1")
    shop.answer(CASE, "puff", "stays", "f1")
    assert named(planned(shop)) == []
    step = next(s for s in planned(shop).steps if s.finding == "f1")
    shop.record(CASE, step.id, "better")
    after(folder, 6).answer(CASE, TEST, "nothing", "f1")
    assert named(planned(after(folder, 7))) == []
