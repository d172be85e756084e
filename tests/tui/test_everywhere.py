"""What holds on every screen: stop, help, no colour, small terminals, no markup from files."""

import errno
import os
from dataclasses import replace
from pathlib import Path

import pytest

from tests.tui.conftest import Opened
from tests.tui.driving import colours, driven, filtered
from tests.tui.places import CASE, reached
from triage.plan.model import Notice
from triage.service.workshop import Workshop
from triage.tui.planrows import plan_rows
from triage.tui.screens.cases import CasesScreen
from triage.tui.screens.recording import recorded_text
from triage.tui.screens.windows import HelpScreen, StopScreen


async def test_stop_comes_out_of_the_palette_too(looking: Workshop) -> None:
    async with driven(looking, case=CASE) as driver:
        below = driver.screen
        await driver.press("ctrl+p", "escape", on=StopScreen)
        await driver.press("q")
        assert driver.screen is below


async def test_a_search_that_outlives_the_palette_breaks_nothing(looking: Workshop) -> None:
    """Its rows were styled by a palette that had lost its style: the program ended."""
    async with driven(looking, case=CASE) as driver:
        await driver.press("ctrl+p")
        palette = driver.screen
        palette._component_styles.clear()
        assert palette.get_component_styles("command-palette--help-text") is palette.styles


async def test_help_lists_every_key_of_the_screen(looking: Workshop) -> None:
    async with driven(looking, size=(100, 60)) as driver:
        for name in ("cases", "plan", "observe", "questions-whole", "walk", "bench"):
            await reached(driver, name)
            described = {
                active.binding.description
                for active in driver.screen.active_bindings.values()
                if active.enabled and active.binding.show
            }
            await driver.press("question_mark", on=HelpScreen)
            for what in described:
                assert what in driver.screen.plain, name
            assert "Esc" in driver.screen.plain


@pytest.mark.parametrize(
    ("value", "coloured"), [(None, True), ("", True), ("1", False), ("0", False)]
)
async def test_no_color_is_obeyed_exactly(
    looking: Workshop, monkeypatch: pytest.MonkeyPatch, value: str | None, coloured: bool
) -> None:
    """no-color.org: set and not empty, whatever the value, means no added colour."""
    monkeypatch.delenv("NO_COLOR", raising=False)
    if value is not None:
        monkeypatch.setenv("NO_COLOR", value)
    async with driven(looking, case=CASE) as driver:
        assert bool(colours(driver)) is coloured


async def test_without_colour_the_row_under_the_cursor_is_still_marked(
    looking: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    async with driven(looking, case=CASE) as driver:
        await reached(driver, "cases")

        def marked() -> list[int]:
            strips = driver.screen._compositor.render_strips()
            return [
                row
                for row, strip in enumerate(strips)
                if any(
                    s.style and s.style.reverse and s.text.strip() for s in filtered(driver, strip)
                )
            ]

        first = marked()
        assert first
        await driver.press("down")
        assert marked() != first


async def test_text_from_files_is_never_markup(tmp_path: Path, opened_on: Opened) -> None:
    workshop = opened_on(tmp_path)
    title = "[bold red]not red[/] [link=x]"
    case = workshop.new(title, "bees-wasps")
    async with driven(workshop) as driver:
        await driver.on(CasesScreen)
        assert title in driver.text
        await driver.press("enter")
        await driver.until(lambda: title in driver.text, "title on the plan")
        await driver.press("l")
        assert title in driver.text
        assert workshop.load(case.id).title == title


async def test_a_broken_case_is_named_with_its_fault_and_the_others_open(
    demo: Path, opened_on: Opened
) -> None:
    (demo / "broken.yaml").write_text("format: 1\nid: broken\ntitle: [\n", encoding="utf-8")
    async with driven(opened_on(demo)) as driver:
        await driver.on(CasesScreen)
        assert "CANNOT BE READ" in driver.text
        assert "broken.yaml" in driver.text
        assert "Bumblebee worker" in driver.text


async def test_filter_by_typing(workshop: Workshop) -> None:
    async with driven(workshop) as driver:
        await driver.on(CasesScreen)
        assert "HELD" in driver.text.splitlines()[1]
        await driver.press("slash")
        assert "Filter" not in driver.text.splitlines()[-1]  # a letter of the line now
        assert "New" not in driver.text.splitlines()[-1]
        await driver.write("bumble")
        await driver.settled()
        assert "Cases: 1 of" in driver.text
        assert "Hoverfly" not in driver.text
        await driver.press("f9")
        assert "Hoverfly" in driver.text


async def test_the_demo_is_offered_where_there_is_no_case(
    tmp_path: Path, opened_on: Opened
) -> None:
    workshop = opened_on(tmp_path / "none")
    async with driven(workshop) as driver:
        await driver.on(CasesScreen)
        assert "make a demo case" in driver.text
        await driver.press("D")
        assert len(workshop.list_cases()) >= 3
        assert "Bumblebee worker" in driver.text


async def test_the_bench_is_saved_and_a_wrong_value_is_refused(workshop: Workshop) -> None:
    async with driven(workshop) as driver:
        await driver.on(CasesScreen)
        await driver.press("o", "down", "enter")
        await driver.press(*["backspace"] * 5)
        await driver.write("42", "enter")
        assert workshop.bench.room.volume_m3 == 42
        await driver.press("enter", *["backspace"] * 5)
        await driver.write("huge", "enter")
        assert workshop.bench.room.volume_m3 == 42
        assert "huge" in driver.screen.query_one("#fault").text


@pytest.mark.parametrize("size", [(40, 12), (79, 24), (80, 23)])
async def test_a_small_terminal_says_so_and_keeps_step_and_stop(
    looking: Workshop, size: tuple[int, int]
) -> None:
    async with driven(looking, case=CASE, size=size) as driver:
        await driver.press("s")
        step = driver.screen.step
        assert "Window too small" in driver.text
        assert "80 x 24" in " ".join(driver.text.split())
        assert step.name in " ".join(driver.text.casefold().split())
        assert "Esc STOP" in " ".join(driver.text.split())
        await driver.press("escape", on=StopScreen)
        assert "Take the tool off" in " ".join(driver.text.split())


async def test_a_full_disk_and_a_read_only_folder_are_said_in_place_and_nothing_is_lost(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = (workshop.cases / f"{CASE}.yaml").read_bytes()
    async with driven(workshop, case=CASE) as driver:
        await driver.press("s")
        for code, words in ((errno.ENOSPC, "the disk is full"), (errno.EROFS, "cannot be written")):
            with monkeypatch.context() as patched:

                def full(*_: object, code: int = code) -> None:
                    raise OSError(code, os.strerror(code))

                patched.setattr("triage.case.store.os.write", full)
                await driver.press("n")
            flat = " ".join(driver.text.split())
            assert "CANNOT DO THAT" in flat
            assert words in flat
            assert "nothing was changed" in flat
            assert (workshop.cases / f"{CASE}.yaml").read_bytes() == before
        # Room again: the same key records.
        await driver.press("n")
        assert len(workshop.load(CASE).attempts) == 1


async def test_a_shut_gate_stands_before_the_questions(tmp_path: Path, opened_on: Opened) -> None:
    """Nothing can be done while its hairs sting: that is said first, and by the start key."""
    workshop = opened_on(tmp_path)
    case = workshop.new("a beetle", "beetles")
    answers = {
        "worth-it": "yes", "whole": "whole", "age": "since-1990", "lacquered": "no",
        "old-poison-signs": "no",
        "live-pest-signs": "no", "mouldy-smell": "no", "photographed-before": "yes",
        "urticating-hairs": "yes",
    }  # fmt: skip
    workshop.answer_all(case.id, None, answers)
    workshop.see(case.id, "thorax-hard", None)
    plan = workshop.plan(workshop.load(case.id))
    assert plan.next_step() is None
    gate = next(each for each in plan.notices if each.kind == "gate")
    async with driven(workshop, case=case.id) as driver:
        text = " ".join(driver.text.split())
        assert 0 < text.find(gate.text) < text.find("bare thorax")
        assert text.count(gate.text) == 1
        await driver.press("s")
        assert f"no step is open yet: {gate.text.rstrip('.')}" in " ".join(driver.text.split())


def test_what_keeps_the_next_step_shut_is_said_once_after_a_record(workshop: Workshop) -> None:
    case = workshop.load("skimmer-plate-8")
    plan = workshop.plan(case)
    step = plan.next_step()
    assert step is not None
    case = workshop.record(case.id, step.id, "better")
    gates = (
        Notice("gate", "Dry or wet keeping has to be chosen first.", "gate-a"),
        Notice("gate", "The work ends with a closed box.", "gate-b"),
    )
    shut = replace(plan, steps=(), held=(), refused=(), notices=gates)
    told = recorded_text(case, shut, step, "l").plain
    assert "No step is open yet: Dry or wet keeping has to be chosen first; press l" in told
    assert told.count("Dry or wet keeping") == 1
    assert "The work ends with a closed box." in told


def test_what_is_cleared_does_not_stay_and_one_method_is_one(workshop: Workshop) -> None:
    plan = workshop.plan(workshop.load(CASE))
    line = next(each for each in plan.findings if each.leave_it)
    out = next(each for each in plan.excluded if each.finding == line.id)

    def told(state: str) -> str:
        findings = (replace(line, state=state),)
        bare = replace(plan, steps=(), findings=findings, excluded=(out,), questions=())
        return "\n".join(row.prompt.plain for row in plan_rows(bare, frozenset()))

    assert "if it stays" in told("stopped")
    assert "if it stays" not in told("cleared")
    assert "1 method ruled out" in told("cleared")
