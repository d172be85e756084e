"""What is said of a step, a finding or a limit is said once: every face shows what the blocks say."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace
from unittest import mock

import pytest

from tests.support.knowledge import planner
from triage.case.profile import load_bench
from triage.case.store import load_case
from triage.exposure import wording
from triage.plan.model import Plan, Step
from triage.show import words
from triage.show.blocks import Listing, lines_of
from triage.show.html import html_of, markdown_of
from triage.show.plan import QUESTIONS_SHOWN, plan_text, sheet_of
from triage.show.step import step_blocks
from triage.tui.planrows import PlanRow, plan_rows
from triage.tui.shown import step_text

ROOT = Path(__file__).resolve().parents[3]


@cache
def demo() -> Plan:
    bench = load_bench(ROOT / "cases" / "bench.yaml")
    return planner().plan(load_case(ROOT / "cases" / "bumblebee-plate-3.yaml"), bench)


@cache
def plan() -> Plan:
    """A demo plan of one step: one that has air, gloves, cautions, a mix and a rinse."""
    found = demo()
    step = next(
        each for each in found.steps if each.air and each.air.limits and each.rinse and each.make_up
    )
    return replace(found, steps=(replace(step, status="next"),))


class Words(HTMLParser):
    """The text of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_data(self, data: str) -> None:
        self.found.append(data)


def of_html(held: Plan) -> str:
    reader = Words()
    reader.feed(html_of(sheet_of(held)))
    return " ".join(reader.found)


def of_pdf(held: Plan) -> str:
    """What the library of the PDF is told to set, word by word."""
    pdflib = pytest.importorskip("triage.show.pdflib", reason="the extra pdf is not installed")
    with mock.patch.object(pdflib, "text", wraps=pdflib.text) as told:
        list(pdflib.flow(sheet_of(held)))
    return unescape(" ".join(str(call.args[0]) for call in told.call_args_list))


FACES: dict[str, Callable[[Plan], str]] = {
    "terminal": plan_text,
    "plain session": lambda held: "\n".join(lines_of(step_blocks(held.steps[0]))),
    "screen": lambda held: step_text(held.steps[0], held).plain,
    "Markdown": lambda held: re.sub(r"\\(.)", r"\1", markdown_of(sheet_of(held))),
    "HTML": of_html,
    "PDF": of_pdf,
}


def bare(text: str) -> str:
    """Letters and figures only: faces break, mark and fold lines in their own way."""
    return re.sub(r"[\W_]+", "", text).casefold()


@pytest.mark.parametrize("face", FACES)
def test_every_face_says_what_the_blocks_of_a_step_say(face: str) -> None:
    blocks = step_blocks(plan().steps[0])
    assert {"Air in this room", "Make ready", "STOP if", "Rinse and dry", "Waste"} <= {
        b.label for b in blocks
    }
    shown = bare(FACES[face](plan()))
    for block in blocks:
        for line in block.lines:
            assert bare(line) in shown, (block.label, line)


@pytest.mark.parametrize("face", FACES)
def test_a_word_more_in_the_limit_line_is_on_every_face(
    face: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = wording.limit_words
    monkeypatch.setattr(
        "triage.show.step.limit_words",
        lambda authority, limit: f"{told(authority, limit)}, zweites Blatt",
    )
    air = plan().steps[0].air
    assert air is not None
    assert air.limits
    assert FACES[face](plan()).replace("\n", " ").count("zweites") >= len(air.limits)


@pytest.mark.parametrize("face", sorted(FACES.keys() - {"plain session"}))
def test_a_block_more_in_a_step_is_on_every_face(
    face: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def more(step: Step, sure: str = "") -> tuple[Listing, ...]:
        return (*step_blocks(step, sure), Listing("Neues Feld", (step.technique,)))

    for place in ("triage.show.plan", "triage.tui.shown"):
        monkeypatch.setattr(f"{place}.step_blocks", more)
    assert "neuesfeld" in bare(FACES[face](plan()))


def rows_of(held: Plan, opened: frozenset[str] = frozenset()) -> list[PlanRow]:
    """The rows of the plan's screen without its titles."""
    return [row for row in plan_rows(held, opened) if isinstance(row, PlanRow)]


def test_what_is_asked_of_several_places_is_one_row_and_the_rest_is_folded() -> None:
    """Does it smell? stood there three times, and forty questions behind it."""
    held = demo()
    one = held.questions[0]
    alike = [replace(one, finding=found.id) for found in held.findings]
    others = [replace(one, question=f"other-{number}") for number in range(QUESTIONS_SHOWN)]
    asked = replace(held, questions=(alike[0], *others, *alike[1:]))

    def told(opened: str = "") -> list[str]:
        rows = rows_of(asked, frozenset({opened}))
        return [" ".join(row.prompt.plain.split()) for row in rows if row.question]

    names = ", ".join(dict.fromkeys(found.zone_name for found in held.findings))
    assert told()[0].startswith(f"? {names}: {one.ask}")
    assert len(told()) == QUESTIONS_SHOWN
    assert len(told("more")) == 1 + len(others)


@pytest.mark.parametrize("face", ["terminal", "plain", "screen"])
def test_a_finding_is_told_in_the_same_words(face: str) -> None:
    from triage.plain.dialogue import Dialogue
    from triage.plain.session import PlainSession

    held = plan()
    if face == "plain":
        sink = io.StringIO()
        known = SimpleNamespace(knowledge=planner().knowledge)
        session = PlainSession(known, Dialogue(io.StringIO(), sink))  # type: ignore[arg-type]
        session._summary(held, load_case(ROOT / "cases" / "bumblebee-plate-3.yaml"))
        shown = sink.getvalue()
    elif face == "screen":
        shown = "\n".join(row.prompt.plain for row in rows_of(held))
    else:
        shown = plan_text(held)
    for line in held.findings:
        assert bare(words.finding_line(line)) in bare(shown)


def test_no_face_of_the_plan_names_rules_or_grades() -> None:
    """What a preparator reads is in sentences; ids of rules and grades stand behind "why"."""
    held = plan()
    rules = {rule for step in held.steps for rule in step.rules} | {e.rule for e in held.excluded}
    opened = frozenset({"later", "out"})
    rows = "\n".join(row.prompt.plain + row.detail for row in rows_of(held, opened))
    for shown in (plan_text(held, whole=True), markdown_of(sheet_of(held, whole=True)), rows):
        assert not [rule for rule in rules if f"[{rule}]" in shown or f"Rule: {rule}" in shown]
        assert "of 5" not in shown
        assert not re.search(r"(mechanical|chemical|rub|attack|hazard) \d", shown)
        assert not re.search(r"\b(tentative|firm)\b", shown)


def test_the_plan_stands_on_one_screen_and_opens() -> None:
    """The step now, up to three behind it; the others, and what was ruled out, behind a row each."""

    def shown(*opened: str) -> list[str]:
        return [row.step.id for row in rows_of(demo(), frozenset(opened)) if row.step]

    every = [step.id for step in demo().steps]
    near = shown()
    assert near[0] == every[0]
    assert 1 < len(near) <= 4 < len(every)
    assert sorted(shown("later")) == sorted(every)
    (later,) = (row for row in rows_of(demo()) if row.opens == "later")
    assert f"{len(every) - len(near)} harsher" in later.prompt.plain
    reasons = [row for row in rows_of(demo(), frozenset({"out"})) if "never: " in row.detail]
    assert reasons
    assert not [row for row in rows_of(demo()) if "never: " in row.detail]
