"""Each warning and each end of a timer is said once, also after a restart or a moved clock."""

from datetime import timedelta

import pytest

from tests.tui.driving import NOON
from triage.case.changes import new_case, with_timer
from triage.case.models import Finding, Timer
from triage.knowledge.book import Knowledge
from triage.tui.ringing import TimerWatch, alarm_words


def timer_of(seconds: float, step: str = "s", label: str = "soak") -> Timer:
    return Timer(step=step, started=NOON, ends=NOON + timedelta(seconds=seconds), label=label)


@pytest.mark.parametrize(
    ("dwell_s", "looks"),
    [
        # WCAG 2.2.1 asks for a warning at least 20 s before a time limit ends.
        (300, {279: [], 280: [False], 290: [], 300: [True], 900: []}),
        (30, {15: [], 30: [True]}),
        (300, {300: [True], 100: [], 301: []}),
        (300, {4000: [True]}),
    ],
    ids=[
        "warned, then over, each once",
        "short: only over",
        "clock moved back",
        "closed meanwhile",
    ],
)
def test_a_warning_before_the_end_then_the_end_each_once(
    dwell_s: float, looks: dict[float, list[bool]]
) -> None:
    watch, case = TimerWatch(), with_timer(new_case("one", "one"), timer_of(dwell_s))
    watch.see(case)
    for at_s, wanted in looks.items():
        news = watch.news(NOON + timedelta(seconds=at_s))
        assert [alarm.is_over for alarm in news] == wanted, at_s
    assert watch.running(NOON)[0].seconds == dwell_s  # a clock moved back shows the longer time
    # A stopped timer is forgotten.
    watch.see(new_case("one", "one"))
    assert watch.running(NOON) == ()
    assert list(watch.news(NOON + timedelta(seconds=dwell_s + 100))) == []


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
    watch = TimerWatch()
    watch.see(with_timer(case, timer_of(300, step, label)))
    for at_s in (280, 300):
        alarm = watch.news(NOON + timedelta(seconds=at_s))[0]
        said = alarm_words(alarm, None, knowledge.zones)
        assert said.count("Bee, plate 7") == 1
        assert said.count(place) == 1, said
        assert (label or step).partition(":")[0] in said


def test_a_specimen_without_a_title_is_called_by_its_id(knowledge: Knowledge) -> None:
    timer, watch = timer_of(30), TimerWatch()
    watch.see(with_timer(new_case("bee-7", ""), timer))
    assert "bee-7: soak" in alarm_words(watch.news(timer.ends)[0], None, knowledge.zones)
