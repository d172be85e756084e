"""The very last act is taken back, whatever it was, and nothing is deleted from the file."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.knowledge import consultant
from triage.case.profile import Bench
from triage.case.store import load_case, update_case
from triage.errors import TriageError
from triage.service.workshop import Workshop


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
