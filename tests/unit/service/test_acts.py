"""Outcomes in words of their kind, answers that tell others, and the last act taken back."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import ValidationError

from tests.support.builders import full_bench
from tests.support.intake import SOUND
from tests.support.knowledge import consultant, shipped
from triage.case.changes import new_case, new_finding, with_accepted
from triage.case.models import OUTCOMES
from triage.case.profile import Bench
from triage.case.store import create_case, load_case, update_case
from triage.errors import TriageError
from triage.history.table import Filter
from triage.knowledge.methods import Outcomes
from triage.plan.model import Step
from triage.plan.questions import is_put
from triage.service.acts import attempts_on_record
from triage.service.workshop import Workshop

STIFF = {
    **SOUND,
    "hydration": "dry",
    "joints-stuck": "none",
    "aim": "another-pose",
    "size": "small",
}


@pytest.fixture
def shop(tmp_path: Path) -> Workshop:
    """A workshop with a stiff beetle that is to take another pose, and a soft one."""
    seen = new_finding("f1", "elytra")
    for name, answers in (("stiff", STIFF), ("unseen", {**STIFF, "photographed-before": "no"})):
        case = new_case(name, "test", taxon="beetles", answers=answers, findings=(seen,))
        create_case(tmp_path, with_accepted(case, "f1", "clean"))
    return Workshop(consultant(), tmp_path, full_bench(shipped()))


def first(shop: Workshop, name: str = "stiff") -> Step:
    step = shop.plan(shop.load(name)).next_step()
    assert step is not None
    return step


def test_a_chamber_offers_supple_softer_stiff_and_too_wet(shop: Workshop) -> None:
    step = first(shop)
    assert step.stage == "rehydrate"
    assert [*step.outcomes.values()] == [
        "supple", "softer", "still stiff", "too wet", "damage", "not done",
    ]  # fmt: skip


def test_supple_opens_what_waited_for_it(shop: Workshop) -> None:
    shop.record("stiff", first(shop).id, "supple", observed="it gives")
    assert shop.load("stiff").answers["hydration"] == "supple"
    assert shop.plan(shop.load("stiff")).stage != "rehydrate"


@pytest.mark.parametrize("words", ["softer", "still stiff"])
def test_not_yet_supple_goes_on_in_the_chamber(shop: Workshop, words: str) -> None:
    shop.record("stiff", first(shop).id, words, observed="it creaks")
    assert shop.load("stiff").answers["hydration"] == "dry"
    assert first(shop).stage == "rehydrate"


def test_too_wet_holds_and_says_at_once_what_to_do(shop: Workshop) -> None:
    shop.record("stiff", first(shop).id, "too wet", observed="drops on the hairs")
    assert shop.load("stiff").answers["hydration"] == "too-wet"
    plan = shop.plan(shop.load("stiff"))
    assert [hold.words for hold in plan.held] == ["too wet"]
    assert not plan.steps
    assert "first-aid" in [notice.kind for notice in plan.notices]


def test_what_an_attempt_told_is_open_again_when_it_is_taken_back_later(shop: Workshop) -> None:
    """By another run, which no longer knows what was answered before."""
    shop.record("stiff", first(shop).id, "supple", observed="it gives")
    other = Workshop(shop.consultant, shop.cases, shop.bench)
    other.undo("stiff", "it does not give")
    assert "hydration" not in other.load("stiff").answers


def test_what_was_told_otherwise_since_stays_when_an_attempt_is_taken_back(shop: Workshop) -> None:
    shop.record("stiff", first(shop).id, "supple", observed="it gives")
    shop.answer("stiff", "hydration", "over-relaxed")
    Workshop(shop.consultant, shop.cases, shop.bench).undo("stiff", "wrong case")
    assert shop.load("stiff").answers["hydration"] == "over-relaxed"


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

    def cases(outcome: str) -> list[str]:
        return sorted(row.case for row in attempts_on_record(shop, Filter(outcome=outcome)))

    assert cases("supple") == ["stiff"]
    assert cases("photographed") == ["unseen"]
    assert cases("cleared") == ["stiff", "unseen"]
    assert cases("too wet") == []
    with pytest.raises(TriageError, match="suple"):
        cases("suple")


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
    with pytest.raises(ValidationError, match=fault):
        Outcomes.model_validate(
            {"id": "x", "name": "x", "source": "judgement", "cleared": "supple", **said}
        )


@pytest.fixture
def shop(tmp_path: Path) -> Workshop:
    """A workshop with one new wasp."""
    made = Workshop(consultant(), tmp_path, Bench(format=1))
    made.new("wasp", "bees-wasps", "wasp")
    return made


def words(shop: Workshop) -> str:
    act = shop.last_act("wasp")
    assert act is not None
    return act.words(shop.knowledge)


def test_a_zone_opened_by_mistake_is_withdrawn_with_what_was_answered(shop: Workshop) -> None:
    shop.see("wasp", "antenna")
    shop.answer("wasp", "sheen", "glassy", "f1")
    assert "How does the place shine?" in words(shop)
    shop.take_back("wasp", "wrong zone")
    assert "antenna" in words(shop)
    case = shop.take_back("wasp", "wrong zone")
    assert case.findings == ()
    held = load_case(shop.path_of("wasp")).withdrawn
    assert [(entry.finding.id, entry.finding.zone) for entry in held] == [("f1", "antenna")]
    # Its number is not given again: what was written about f1 elsewhere stays true.
    assert shop.see("wasp", "antenna")[1] == "f2"


def test_an_answer_is_as_it_was_before(shop: Workshop) -> None:
    shop.answer("wasp", "hydration", "dry")
    shop.answer("wasp", "hydration", "supple")
    shop.take_back("wasp", "misread")
    assert shop.load("wasp").answers["hydration"] == "dry"
    shop.take_back("wasp", "misread")
    assert "hydration" not in shop.load("wasp").answers


def test_an_answer_that_was_given_anew_outside_stays(shop: Workshop) -> None:
    shop.answer("wasp", "hydration", "dry")
    other = Workshop(shop.consultant, shop.cases, shop.bench)
    other.answer("wasp", "hydration", "too-wet")
    shop.take_back("wasp", "misread")
    assert shop.load("wasp").answers["hydration"] == "too-wet"


def test_clean_and_left_as_it_is_are_taken_back(shop: Workshop) -> None:
    shop.declare_clean("wasp", "antenna")
    assert "clean" in words(shop)
    assert shop.take_back("wasp", "not looked yet").findings == ()
    _, finding = shop.see("wasp", "antenna")
    shop.accept("wasp", finding, "does not show")
    assert "does not show" in words(shop)
    assert not shop.take_back("wasp", "it does").finding(finding).accepted


def test_a_finding_with_a_record_is_not_withdrawn(shop: Workshop) -> None:
    _, finding = shop.see("wasp", "antenna")
    shop.skip("wasp", finding, "puff-air", "tried elsewhere")
    with pytest.raises(TriageError, match="cannot be withdrawn"):
        shop.withdraw("wasp", finding, "entered by mistake")
    shop.take_back("wasp", "wrong key")
    assert [each.kind for each in shop.load("wasp").overrides] == [
        "skip-method",
        "offer-method-again",
    ]


def test_withdrawing_needs_a_reason(shop: Workshop) -> None:
    _, finding = shop.see("wasp", "antenna")
    with pytest.raises(TriageError, match="reason"):
        shop.withdraw("wasp", finding, " ")


def test_nothing_to_take_back_is_said(shop: Workshop) -> None:
    assert shop.last_act("wasp") is None
    with pytest.raises(TriageError, match="no attempt and no skip"):
        shop.take_back("wasp", "nothing")


def test_undoing_a_record_leaves_what_was_done_before_it_in_its_order(shop: Workshop) -> None:
    _, finding = shop.see("wasp", "antenna")
    shop.skip("wasp", finding, "puff-air", "tried elsewhere")
    shop.answer("wasp", "hydration", "dry")
    shop.skip("wasp", finding, "brush-dry-soft", "too soft")
    shop.undo("wasp", "wrong key")
    assert "tried elsewhere" not in words(shop)
    shop.take_back("wasp", "misread")
    assert "tried elsewhere" in words(shop)


def test_a_withdrawn_finding_is_never_lost(shop: Workshop) -> None:
    _, finding = shop.see("wasp", "antenna")
    shop.withdraw("wasp", finding, "wrong zone")
    with pytest.raises(TriageError, match="would lose or alter recorded withdrawn"):
        update_case(shop.path_of("wasp"), lambda old: old.model_copy(update={"withdrawn": ()}))


@pytest.fixture
def workshop(tmp_path: Path) -> Workshop:
    return Workshop(consultant(), tmp_path, Bench(format=1))


def answers(workshop: Workshop, *told: tuple[str, str | None]) -> dict[str, str]:
    case = workshop.new("one", "beetles").id
    for question, answer in told:
        workshop.answer(case, question, answer)
    return dict(workshop.load(case).answers)


def test_how_it_comes_tells_how_soft_it_is_until_that_is_felt(workshop: Workshop) -> None:
    pinned, damp = ("arrival", "set-on-pin"), ("hydration", "damp-not-ready")
    assert answers(workshop, pinned) == {"arrival": "set-on-pin", "hydration": "dry"}
    for told in ((pinned, damp), (damp, pinned), (damp, pinned, ("arrival", "fresh"))):
        assert answers(workshop, *told)["hydration"] == "damp-not-ready"
    # One just killed, thawed, or in its paper may be soft still.
    for arrival in ("fresh", "frozen", "papered"):
        assert "hydration" not in answers(workshop, pinned, ("arrival", arrival))
    assert answers(workshop, pinned, ("arrival", None)) == {}


def test_what_is_told_last_gives_way_to_no_earlier_guess(workshop: Workshop) -> None:
    told = answers(workshop, ("arrival", "in-fluid"), ("fluid", "dried-out"))
    assert told["hydration"] == "dry"
    assert (
        answers(workshop, ("storage-wanted", "dry"), ("aim", "keep-wet"))["storage-wanted"] == "dry"
    )
    assert "storage-wanted" not in answers(workshop, ("aim", "keep-dry")), "it cannot be undone"


def test_a_question_that_hangs_on_another_is_put_only_then(workshop: Workshop) -> None:
    knowledge = workshop.knowledge
    for arrival, is_asked in (("in-fluid", True), (None, True), ("set-on-pin", False)):
        case = workshop.new("one", "beetles").id
        workshop.answer(case, "arrival", arrival)
        _, finding = workshop.see(case, "elytra")
        assert is_put(knowledge, workshop.load(case), None, "fluid") is is_asked, arrival
        assert not is_put(knowledge, workshop.load(case), finding, "scale-match")
        workshop.answer(case, "texture", "flat-scales", finding)
        assert is_put(knowledge, workshop.load(case), finding, "scale-match")
