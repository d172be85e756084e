"""Each warning and each end of a timer is said once, also after a restart or a moved clock."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.tui.driving import NOON
from triage.case.changes import new_case, with_timer
from triage.case.models import Case, Finding, Timer
from triage.knowledge.book import Knowledge
from triage.tui.ringing import TimerWatch, alarm_words


def case_with(seconds: float) -> Case:
    timer = Timer(step="s", started=NOON, ends=NOON + timedelta(seconds=seconds), label="soak")
    return with_timer(new_case("one", "one"), timer)


def said(watch: TimerWatch, at_s: float) -> list[bool]:
    return [alarm.is_over for alarm in watch.news(NOON + timedelta(seconds=at_s))]


def test_a_warning_20_s_before_the_end_then_the_end_each_once() -> None:
    """WCAG 2.2.1 asks for a warning at least 20 s before a time limit ends."""
    watch = TimerWatch()
    watch.see(case_with(300))
    assert said(watch, 279) == []
    assert said(watch, 280) == [False]
    assert said(watch, 290) == []
    assert said(watch, 300) == [True]
    assert said(watch, 900) == []


def test_a_short_dwell_is_not_warned_of_but_rings() -> None:
    watch = TimerWatch()
    watch.see(case_with(30))
    assert said(watch, 15) == []
    assert said(watch, 30) == [True]


def test_a_clock_moved_back_does_not_ring_again_and_shows_the_longer_time() -> None:
    watch = TimerWatch()
    watch.see(case_with(300))
    assert said(watch, 300) == [True]
    assert said(watch, 100) == []
    assert said(watch, 301) == []
    assert watch.running(NOON)[0].seconds == 300


def test_an_end_that_passed_while_the_program_was_closed_rings_at_once() -> None:
    watch = TimerWatch()
    watch.see(case_with(300))
    assert said(watch, 4000) == [True]


def test_a_stopped_timer_is_forgotten() -> None:
    watch = TimerWatch()
    watch.see(case_with(300))
    watch.see(new_case("one", "one"))
    assert watch.running(NOON) == ()
    assert said(watch, 400) == []


@pytest.mark.parametrize(
    ("step", "label", "place"),
    [
        ("f1-blot-dry", "blot", "hairy thorax"),
        ("f11-blot-dry", "blot", "antenna, left"),
        ("f11-blot-dry", "blot: antenna, left: grease", "antenna, left"),
        ("case-dry-damp-chamber", "damp chamber", "whole specimen"),
        ("f1-blot-dry", "", "hairy thorax"),
    ],
)
def test_an_alarm_names_specimen_step_and_place_from_the_case_alone(
    knowledge: Knowledge, step: str, label: str, place: str
) -> None:
    findings = (
        Finding(id="f1", zone="thorax-hairy"),
        Finding(id="f11", zone="antenna", side="left"),
    )
    case = new_case("bee-7", "Bee, plate 7", findings=findings)
    timer = Timer(step=step, started=NOON, ends=NOON + timedelta(seconds=300), label=label)
    watch = TimerWatch()
    watch.see(with_timer(case, timer))
    for at_s in (280, 300):
        alarm = watch.news(NOON + timedelta(seconds=at_s))[0]
        said = alarm_words(alarm, None, knowledge.zones)
        assert said.count("Bee, plate 7") == 1
        assert said.count(place) == 1, said
        assert (label or step).partition(":")[0] in said


def test_a_specimen_without_a_title_is_called_by_its_id(knowledge: Knowledge) -> None:
    timer = Timer(step="s", started=NOON, ends=NOON + timedelta(seconds=30), label="soak")
    watch = TimerWatch()
    watch.see(with_timer(new_case("bee-7", ""), timer))
    assert "bee-7: soak" in alarm_words(watch.news(timer.ends)[0], None, knowledge.zones)
