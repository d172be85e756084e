"""What is said is said once, on every face, on screen and on paper."""

import importlib
import io
import random
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace
from unittest import mock

import pytest

from tests.support.case_gen import draw_case
from tests.support.knowledge import CASES, consultant, demo_bench, demo_plan, planner
from tests.support.running import Runner
from triage.case.changes import new_case
from triage.case.profile import Bench
from triage.case.store import load_case
from triage.errors import TriageError
from triage.exposure import wording
from triage.plan.model import Plan, Step
from triage.plan.planner import Planner
from triage.show import words
from triage.show.blocks import Heading, Listing, lines_of
from triage.show.html import html_of, markdown_of
from triage.show.plan import QUESTIONS_SHOWN, plan_text, sheet_of
from triage.show.step import step_blocks
from triage.show.words import alerts
from triage.tui.planrows import PlanRow, plan_rows
from triage.tui.shown import step_text

BEE, CHAFER = "bumblebee-plate-3", "rose-chafer-plate-1"
demo = cache(lambda: demo_plan(BEE))
chafer = cache(lambda: demo_plan(CHAFER))


@cache
def plan() -> Plan:
    """A demo plan of one step: one that has air, gloves, cautions, a mix and a rinse."""
    steps = (s for s in demo().steps if s.air and s.air.limits and s.rinse and s.make_up)
    return replace(demo(), steps=(replace(next(steps), status="next"),))


class Reader(HTMLParser):
    """Collect the text of a page; a standard-library parser stands for the browser."""

    def __init__(self) -> None:
        super().__init__()
        self.text: list[str] = []

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def read(page: str) -> str:
    reader = Reader()
    reader.feed(page)
    return " ".join(reader.text)


def of_pdf(held: Plan) -> str:
    """What the library of the PDF is told to set, word by word."""
    pytest.importorskip("reportlab", reason="the extra pdf is not installed")
    pdflib = importlib.import_module("triage.show.pdf")
    with mock.patch.object(pdflib, "text", wraps=pdflib.text) as told:
        list(pdflib.flow(sheet_of(held)))
    return unescape(" ".join(str(call.args[0]) for call in told.call_args_list))


FACES: dict[str, Callable[[Plan], str]] = {
    "terminal": plan_text,
    "plain session": lambda held: "\n".join(lines_of(step_blocks(held.steps[0]))),
    "screen": lambda held: step_text(held.steps[0], held).plain,
    "Markdown": lambda held: re.sub(r"\\(.)", r"\1", markdown_of(sheet_of(held))),
    "HTML": lambda held: read(html_of(sheet_of(held))),
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
        session._summary(held, load_case(CASES / "bumblebee-plate-3.yaml"))
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


def told(planner: Planner, **answers: str) -> tuple[str, ...]:
    return alerts(planner.plan(new_case("new", taxon="beetles", answers=answers), Bench()))


def test_what_nobody_told_is_asked_in_one_line_and_what_was_found_is_said_in_full(
    planner: Planner,
) -> None:
    ask = {name: question.ask for name, question in planner.knowledge.questions.items()}
    lines = told(planner)
    (first,) = [line for line in lines if line.startswith("TO GO ON: answer first")]
    assert ask["old-poison-signs"] in first
    assert ask["lacquered"] in first
    assert not [line for line in lines if "Mercury or arsenic may be on it" in line]
    lines = told(planner, **{"mouldy-smell": "yes"})
    assert f"FIRST: {planner.knowledge.rule('gate-mouldy').because}" in lines
    (first,) = [line for line in lines if line.startswith("TO GO ON: answer first")]
    assert ask["mouldy-smell"] not in first


@pytest.mark.parametrize("seed", range(12))
def test_every_stop_point_and_hold_is_on_the_paper(seed: int) -> None:
    plan = planner().plan(draw_case(consultant(), random.Random(seed)), demo_bench())
    sheet = sheet_of(plan, whole=True)
    text = read(html_of(sheet))
    assert sum(isinstance(block, Heading) for block in sheet.blocks) == len(plan.steps)
    for step in plan.steps:
        assert all(stop.see in text and stop.then in text for stop in step.stop_points)
        assert all(line in text for line in step.do)
        assert all(caution.text in text for caution in step.cautions)
        assert not step.hold or step.hold in text


def test_stop_points_stand_before_the_work_and_holds_have_a_line_to_write_on() -> None:
    sheet = sheet_of(chafer(), whole=True)
    listings = [b for b in sheet.blocks if isinstance(b, Listing)]
    held = [b for b in listings if b.kind == "hold"]
    assert held
    assert html_of(sheet).count("what was observed") == len(held)
    assert markdown_of(sheet).count("What was observed: ____") == len(held)
    labels = [b.label for b in listings if b.label in ("STOP if", "Do")]
    assert labels
    assert labels == ["STOP if", "Do"] * (len(labels) // 2)


def test_later_steps_are_named_and_not_printed_in_full() -> None:
    blocks, steps = sheet_of(chafer()).blocks, chafer().steps
    later = [s for s in steps if s.status == "if-needed"]
    assert later
    listings = (b for b in blocks if isinstance(b, Listing))
    named = next(b for b in listings if b.label == "Only if one before fails")
    assert len(named.lines) == len(later)
    assert sum(isinstance(block, Heading) for block in blocks) == len(steps) - len(later)


def test_same_plan_same_bytes() -> None:
    pytest.importorskip("reportlab", reason="the extra pdf is not installed")
    for form in (importlib.import_module("triage.show.pdf").pdf_of, html_of):
        assert form(sheet_of(chafer())) == form(sheet_of(demo_plan(CHAFER)))


def test_pdf_reads_back(tmp_path: Path) -> None:
    """pdftotext (poppler) reads the words back: an independent reader of the format."""
    pytest.importorskip("reportlab", reason="the extra pdf is not installed")
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    sheet = sheet_of(replace(chafer(), title="Käfer <b> & \u0416\u2603"), whole=True)
    path = tmp_path / "sheet.pdf"
    path.write_bytes(importlib.import_module("triage.show.pdf").pdf_of(sheet))
    words = " ".join(
        subprocess.check_output(["pdftotext", "-layout", path, "-"], text=True).split()
    )
    for part in ("Käfer <b> &", "STOP IF", "What did the hidden test spot show?", "page 2"):
        assert part in words


def test_pdf_without_its_library_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [n for n in sys.modules if n.startswith("reportlab")] + ["triage.show.pdf"]:
        monkeypatch.delitem(sys.modules, name, raising=False)
    monkeypatch.setitem(sys.modules, "reportlab", None)
    with pytest.raises(TriageError, match=r"pip install 'triage\[pdf\]'"):
        importlib.import_module("triage.show.pdf")


def test_form_follows_the_file(tmp_path: Path, triage: Runner) -> None:
    out = tmp_path / "sheet.html"
    assert triage("sheet", str(CASES / f"{CHAFER}.yaml"), "--out", str(out)).said().strip() == str(
        out
    )
    page = out.read_text(encoding="utf-8")
    assert page.startswith("<!DOCTYPE html>")
    assert "@media print" in page
