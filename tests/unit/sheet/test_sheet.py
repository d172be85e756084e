"""The bench sheet: what a step needs is on the paper, in every form.

That nothing is taken for markup, tests/injection holds.
"""

from __future__ import annotations

import random
import shutil
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from tests.support.case_gen import draw_case
from tests.support.knowledge import consultant, planner
from triage.case.profile import load_bench
from triage.case.store import load_case
from triage.cli import main
from triage.errors import TriageError
from triage.plan.model import Plan
from triage.show.blocks import Heading, Listing, Paper
from triage.show.html import html_of, markdown_of
from triage.show.plan import sheet_of

ROOT = Path(__file__).resolve().parents[3]


def demo_plan(name: str = "rose-chafer-plate-1") -> Plan:
    bench = load_bench(ROOT / "cases" / "bench.yaml")
    return planner().plan(load_case(ROOT / "cases" / f"{name}.yaml"), bench)


def steps_of(sheet: Paper) -> list[Heading]:
    return [block for block in sheet.blocks if isinstance(block, Heading)]


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


@pytest.mark.parametrize("seed", range(12))
def test_every_stop_point_and_hold_is_on_the_paper(seed: int) -> None:
    plan = planner().plan(
        draw_case(consultant(), random.Random(seed)), load_bench(ROOT / "cases" / "bench.yaml")
    )
    sheet = sheet_of(plan, whole=True)
    text = read(html_of(sheet))
    assert len(steps_of(sheet)) == len(plan.steps)
    for step in plan.steps:
        assert all(stop.see in text and stop.then in text for stop in step.stop_points)
        assert all(line in text for line in step.do)
        assert all(caution.text in text for caution in step.cautions)
        assert not step.hold or step.hold in text


def test_hold_point_has_a_line_to_write_what_was_observed() -> None:
    sheet = sheet_of(demo_plan(), whole=True)
    held = [b for b in sheet.blocks if isinstance(b, Listing) and b.kind == "hold"]
    assert held
    assert html_of(sheet).count("what was observed") == len(held)
    assert markdown_of(sheet).count("What was observed: ____") == len(held)


def test_stop_points_stand_before_the_work() -> None:
    blocks = sheet_of(demo_plan(), whole=True).blocks
    labels = [b.label for b in blocks if isinstance(b, Listing) and b.label in ("STOP if", "Do")]
    assert labels
    assert labels == ["STOP if", "Do"] * (len(labels) // 2)


def test_later_steps_are_named_and_not_printed_in_full() -> None:
    plan = demo_plan()
    sheet = sheet_of(plan)
    later = [s for s in plan.steps if s.status == "if-needed"]
    assert later
    named = next(
        b for b in sheet.blocks if isinstance(b, Listing) and b.label == "Only if one before fails"
    )
    assert len(named.lines) == len(later)
    assert len(steps_of(sheet)) == len(plan.steps) - len(later)


def test_same_plan_same_bytes() -> None:
    pytest.importorskip("reportlab", reason="the extra pdf is not installed")
    from triage.show.pdf import pdf_of

    plan = demo_plan()
    assert pdf_of(sheet_of(plan)) == pdf_of(sheet_of(plan))
    assert html_of(sheet_of(plan)) == html_of(sheet_of(plan))


def test_pdf_reads_back(tmp_path: Path) -> None:
    """pdftotext (poppler) reads the words back: an independent reader of the format."""
    pytest.importorskip("reportlab", reason="the extra pdf is not installed")
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    from triage.show.pdf import pdf_of

    sheet = sheet_of(replace(demo_plan(), title="Käfer <b> & \u0416\u2603"), whole=True)
    path = tmp_path / "sheet.pdf"
    path.write_bytes(pdf_of(sheet))
    done = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    )
    words = " ".join(done.stdout.split())
    assert "Käfer <b> &" in words
    assert "STOP IF" in words
    assert "What did the hidden test spot show?" in words
    assert "page 2" in words


def test_pdf_without_its_library_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    from triage.show.pdf import pdf_of

    for name in [n for n in sys.modules if n.startswith("reportlab")] + ["triage.show.pdflib"]:
        monkeypatch.delitem(sys.modules, name, raising=False)
    monkeypatch.setitem(sys.modules, "reportlab", None)
    with pytest.raises(TriageError, match=r"pip install 'triage\[pdf\]'"):
        pdf_of(sheet_of(demo_plan()))


def test_form_follows_the_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "sheet.html"
    assert main(["sheet", str(ROOT / "cases" / "rose-chafer-plate-1.yaml"), "--out", str(out)]) == 0
    page = out.read_text(encoding="utf-8")
    assert page.startswith("<!DOCTYPE html>")
    assert "@media print" in page
    assert capsys.readouterr().out.strip() == str(out)
