import io
import re
from itertools import pairwise

import pytest

from tests.support.intake import TOLD
from tests.support.scripted import Script, number_of
from triage import cli
from triage.cli import build_parser, commands
from triage.commands.common import HELD
from triage.plain.dialogue import Dialogue, Stopped, wrapped
from triage.plain.session import PlainSession
from triage.service.commandline import NOT_INSIDE, CommandLine
from triage.service.workshop import Workshop


def play(workshop: Workshop, case: str | None, *words: str) -> str:
    script = Script(*words)
    dialogue = Dialogue(script, script.sink)
    PlainSession(workshop, dialogue, CommandLine(lambda: build_parser().by_name, cli.run)).run(case)
    return script.sink.getvalue()


def test_step_is_shown_whole_and_recorded_and_a_hold_released_with_words_only(
    workshop: Workshop,
) -> None:
    text = play(workshop, "skimmer-plate-8", "1", "3", "blew twice", "stop")
    assert "STOP if" in text
    assert "Done when" in text
    (attempt,) = workshop.load("skimmer-plate-8").attempts
    told = (attempt.step, attempt.outcome, attempt.note)
    assert told == ("f2-puff-air", "no-change", "blew twice")
    # No box characters and no escapes.
    assert not re.search(r"[\u2500-\u259f\x1b]", text + play(workshop, None, "1", "3", "stop"))
    words = ("#release the hold", "1", "", "a seta only, seen at x40", "stop")
    text = play(workshop, "hoverfly-plate-2", *words)
    assert "this needs words" in text
    assert workshop.load("hoverfly-plate-2").held_by() == ()
    workshop.answer("skimmer-plate-8", "hydration", "unknown")
    asked = play(workshop, "skimmer-plate-8", "#answer questions", "#why ask", "stop")
    number_of(asked, "cannot tell")
    assert "how: " in asked


def test_nothing_is_recorded_when_the_input_ends_in_the_middle(workshop: Workshop) -> None:
    text = play(workshop, "skimmer-plate-8", "1", "3")
    assert "everything recorded is on disk" in text
    assert workshop.load("skimmer-plate-8").attempts == ()


@pytest.mark.parametrize("before", [[], ["1"], ["1", "1"], ["2"], ["2", "1"]])
def test_stop_and_a_question_mark_work_at_every_prompt(
    workshop: Workshop, before: list[str]
) -> None:
    assert "stopped" in play(workshop, "skimmer-plate-8", *before, "stop", "1", "1")
    assert workshop.load("skimmer-plate-8").attempts == ()
    if before[:1] != ["2"]:
        text = play(workshop, "hoverfly-plate-2", *before, "?", "stop")
        assert "stop ends, here as everywhere" in " ".join(text.split())
        assert len(workshop.load("hoverfly-plate-2").attempts) == 2


def test_new_case_to_first_recorded_attempt(workshop: Workshop) -> None:
    text = play(workshop, None, "#begin a new case", "Second hoverfly", "#flies", "stop")
    assert "stage: intake" in text
    case = "second-hoverfly"
    for question, answer in TOLD.items():
        workshop.answer(case, question, answer)
    dusty = {"texture": "grains", "colour": "mixed-grains", "puff": "moves"}
    assert workshop.see(case, zone="thorax-hairy", signs=dusty)[1] == "f1"
    play(workshop, case, "1", "1", "", "stop")
    assert workshop.load(case).attempts[0].outcome == "cleared"


def test_dialogue_asks_again_for_what_it_cannot_use() -> None:
    sink = io.StringIO()
    dialogue = Dialogue(io.StringIO("x\n9\n2\nabc\n1.5\n"), sink)
    assert dialogue.choose("which?", [("a", "A"), ("b", "B")]) == "b"
    assert dialogue.number("mL", 2.0) == pytest.approx(1.5)
    with pytest.raises(Stopped):
        dialogue.listen("more")
    assert "not a number" in sink.getvalue()


@pytest.mark.parametrize("width", [40, 72, 100])
def test_no_line_is_wider_than_the_terminal(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch, width: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    lines = play(workshop, "skimmer-plate-8", "1", "?", "stop").splitlines()
    assert max(len(line) for line in lines if " > " not in line) <= width
    # And none ends before it must: what a step says is wrapped once, at this width.
    for line, after in pairwise(lines):
        if line.startswith("    - ") and after.startswith("      "):
            assert len(line) + 1 + len(after.split()[0]) > width, (line, after)
    assert wrapped("  12 a long line of words", 14) == ["  12 a long", "     line of", "     words"]


def test_whatever_a_command_does_can_be_done_here(workshop: Workshop) -> None:
    """By its number in the list, or typed where a number is asked for; faults are one line."""
    listed = play(workshop, "skimmer-plate-8", "#anything else", "stop")
    for name in set(commands()) - NOT_INSIDE:
        number_of(listed, f"{name}: ")
    words = ("#drops: ", "5", "ethanol", "", "", "", "drops 5 --agnt x", "stop")
    text = play(workshop, "skimmer-plate-8", "#anything else", *words)
    assert "how many drops (as 5.0) >" in text
    assert re.search(r"5 drops", text), text
    assert "agnt" in text.split("not done: ")[1]


def test_the_looks_and_the_day_stand_in_the_lists(workshop: Workshop) -> None:
    day = play(workshop, None, "#the bench day", "stop")
    assert "Hoverfly, water meadow plate, place 2: HELD, " in " ".join(day.split())
    assert "bench day" in day.split("planned from now", 1)[1]
    play(workshop, "skimmer-plate-8", "#skip a method", "1", "no bulb at hand", "stop")
    (override,) = workshop.load("skimmer-plate-8").overrides
    assert override.reason == "no bulb at hand"
    play(workshop, "skimmer-plate-8", "#take back", "it was found again", "stop")
    assert workshop.plan(workshop.load("skimmer-plate-8")).next_step().name == "puff of air"


def test_a_specimen_that_is_ready_for_the_camera_is_said_to_be(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The plan tells it on the command line too, with what was left and why."""
    asked, name = set(), "skimmer-plate-8"
    ready = lambda _knowledge, case, _plan: asked.add(case.id) is None
    monkeypatch.setattr("triage.show.plan.is_ready_for_camera", ready)
    workshop.accept(name, "f1", "it belongs to the animal")
    assert "Ready for the camera" in play(workshop, name, "stop")
    token = HELD.set(workshop)
    cli.main(["plan", name])
    HELD.reset(token)
    said = capsys.readouterr().out
    assert said.startswith("Ready for the camera")
    assert "It belongs to the animal" in said
    assert asked == {name}


class Asked(io.StringIO):
    """Answers each list with the line that begins with the first of some words that it has."""

    def __init__(self, sink: io.StringIO, *words: str) -> None:
        super().__init__()
        self.sink, self.words = sink, words

    def readline(self, _size: int | None = -1, /) -> str:
        listed = self.sink.getvalue().rsplit(" > ", 2)[-2]
        found = (re.search(rf"^  (\d+) {word}", listed, re.MULTILINE) for word in self.words)
        return next((f"{each[1]}\n" for each in found if each), "stop\n")


def test_cannot_tell_to_everything_ends_with_what_to_look_for_and_what_is_harmless(
    workshop: Workshop,
) -> None:
    """Of a finding in its zone, and of a whole specimen of which nothing is known."""
    bare = workshop.new("Bare", "flies").id
    workshop.see("bumblebee-plate-3", "thorax-hairy", None)
    for case, place, words in (
        ("bumblebee-plate-3", "hairy thorax", "What it is cannot be told yet."),
        (bare, "", "Nothing is left to ask here."),
    ):
        sink = io.StringIO()
        answers = Asked(sink, "cannot tell", "ask on all the same", "back to the case", "answer q")
        PlainSession(workshop, Dialogue(answers, sink))._answer(workshop.load(case))
        before, _, end = sink.getvalue().rpartition(words)
        assert before, sink.getvalue()
        assert re.search(r"Harmless meanwhile: |Next step now: ", end), end
        assert "Look for next:\n- " in end
        assert place in before.splitlines()[-1]


def test_the_bench_is_asked_line_by_line(workshop: Workshop) -> None:
    """Typed under the other commands its questions went where nobody could read them."""
    text = play(workshop, None, "#the bench: ", *["no"] * 40, "stop")
    assert "Enter keeps what is shown" in text
    assert "yes, no or u" in text
