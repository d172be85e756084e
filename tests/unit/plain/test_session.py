from __future__ import annotations

import io
import re

import pytest

from tests.support.intake import TOLD
from triage.plain.dialogue import Dialogue, Stopped
from triage.plain.session import PlainSession
from triage.service import Workshop


def play(workshop: Workshop, case: str | None, *words: str) -> str:
    sink = io.StringIO()
    PlainSession(workshop, Dialogue(io.StringIO("\n".join(words) + "\n"), sink)).run(case)
    return sink.getvalue()


def number_of(text: str, choice: str) -> str:
    """Return the number of the last list line that begins with these words."""
    found = re.findall(rf"^  (\d+) {re.escape(choice)}", text, re.MULTILINE)
    assert found, f"{choice!r} is not offered in:\n{text[-2000:]}"
    return str(found[-1])


def test_step_is_shown_whole_and_recorded(workshop: Workshop) -> None:
    text = play(workshop, "skimmer-plate-8", "1", "3", "blew twice", "stop")
    assert "STOP if" in text
    assert "Done when" in text
    case = workshop.load("skimmer-plate-8")
    assert [(a.step, a.outcome, a.note) for a in case.attempts] == [
        ("f2-puff-air", "no-change", "blew twice")
    ]


def test_nothing_is_recorded_when_the_input_ends_in_the_middle(workshop: Workshop) -> None:
    text = play(workshop, "skimmer-plate-8", "1", "3")
    assert "everything recorded is on disk" in text
    assert workshop.load("skimmer-plate-8").attempts == ()


def test_stop_works_at_every_prompt(workshop: Workshop) -> None:
    for before in ([], ["1"], ["1", "1"], ["2"], ["2", "1"]):
        assert "stopped" in play(workshop, "skimmer-plate-8", *before, "stop", "1", "1")
        assert workshop.load("skimmer-plate-8").attempts == ()


def test_no_box_characters_no_escapes(workshop: Workshop) -> None:
    text = play(workshop, None, "1", "3", "stop")
    assert not re.search(r"[\u2500-\u259f\x1b]", text)


def test_hold_is_shown_and_released_with_words_only(workshop: Workshop) -> None:
    opening = play(workshop, "hoverfly-plate-2", "stop")
    release = number_of(opening, "release the hold")
    text = play(workshop, "hoverfly-plate-2", release, "1", "", "a seta only, seen at x40", "stop")
    assert "this needs words" in text
    assert workshop.load("hoverfly-plate-2").held_by() == ()


def test_new_case_to_first_recorded_attempt(workshop: Workshop) -> None:
    opening = play(workshop, None, "stop")
    new = number_of(opening, "begin a new case")
    listing = play(workshop, None, new, "Hoverfly for the lid", "stop")
    flies = number_of(listing, "flies")
    text = play(workshop, None, new, "Second hoverfly", flies, "stop")
    assert "stage: intake" in text
    case = "second-hoverfly"
    for question, answer in TOLD.items():
        workshop.answer(case, question, answer)
    seen = workshop.see(case, zone="thorax-hairy", signs={"texture": "grains", "colour": "mixed-grains", "puff": "moves"})
    assert seen == "f1"
    play(workshop, case, "1", "1", "", "stop")
    assert workshop.load(case).attempts[0].outcome == "cleared"


def test_cannot_tell_and_why_are_always_there(workshop: Workshop) -> None:
    workshop.answer("skimmer-plate-8", "hydration", "unknown")
    opening = play(workshop, "skimmer-plate-8", "stop")
    text = play(workshop, "skimmer-plate-8", number_of(opening, "answer questions"), "stop")
    number_of(text, "cannot tell")
    why = number_of(text, "why do you ask")
    asked = play(workshop, "skimmer-plate-8", number_of(opening, "answer questions"), why, "stop")
    assert "how: " in asked


def test_dialogue_asks_again_for_what_it_cannot_use() -> None:
    sink = io.StringIO()
    dialogue = Dialogue(io.StringIO("x\n9\n2\nabc\n1.5\n"), sink)
    assert dialogue.choose("which?", [("a", "A"), ("b", "B")]) == "b"
    assert dialogue.number("mL", 2.0) == pytest.approx(1.5)
    with pytest.raises(Stopped):
        dialogue.listen("more")
    assert "not a number" in sink.getvalue()
