"""What a step comes to is said in words of its kind, and means the same to the plan as before.

A chamber's end is a supple insect, one still stiff or one too wet (its success and stop lines in
rules/methods); a picture cannot come out "better"; what only makes ready is done or not.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import ValidationError

from tests.support.builders import full_bench
from tests.support.intake import SOUND
from tests.support.knowledge import consultant, shipped
from triage.case.changes import new_case, new_finding, with_accepted
from triage.case.models import OUTCOMES
from triage.case.store import create_case
from triage.errors import TriageError
from triage.history.table import Filter
from triage.knowledge.methods import Outcomes
from triage.plan.model import Step
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
