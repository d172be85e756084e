"""What one answer tells besides is not asked again; what was told itself stands."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.knowledge import consultant
from triage.case.profile import Bench
from triage.plan.questions import is_put
from triage.service.workshop import Workshop


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
