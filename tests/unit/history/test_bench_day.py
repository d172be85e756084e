"""Running chambers, the bench day and its air, the calendar, and the commands on the record."""

import dataclasses
import sys
import zipfile
from datetime import timedelta

import pytest

from tests.support.knowledge import NOON
from tests.support.recording import greasy, in_chamber, tried
from triage.case.profile import Bench, RoomProfile
from triage.case.store import create_case, update_case
from triage.errors import TriageError
from triage.exposure.day import DayLedger
from triage.history import calendar
from triage.history.benchday import DayAir, DayMaker
from triage.history.daytypes import PutDown
from triage.history.watch import chambers_of, method_of_step, running_of
from triage.service import acts
from triage.show.blocks import lines_of
from triage.show.record import day_blocks, day_head


def test_next_look_top_up_and_mould(knowledge):
    bench = Bench(room=RoomProfile(temp_c=20))
    (found,) = chambers_of(knowledge, bench, in_chamber("chamber-water-thymol", 30, 24), NOON)
    begun = found.running.started
    # After a day, then twice a day.
    assert found.looks == tuple(begun + timedelta(hours=h) for h in (24, 36, 48))
    assert found.is_overdue
    assert found.next_look == begun + timedelta(hours=24)
    assert found.has_inhibitor
    assert len(found.top_up) == 2
    assert found.running.latest == begun + timedelta(hours=48)
    # 10.4 days on clean wood at 20 C and 97 % (Hukka and Viitanen 1999, worked out by hand), by 3.
    assert found.mould.stay_days == pytest.approx(10.4 / 3, abs=0.02)
    (plain,) = chambers_of(knowledge, bench, in_chamber("chamber-water-plain", 1, 12), NOON)
    assert not plain.has_inhibitor
    assert plain.mould.stay_days == 3.0
    (running,) = running_of(knowledge, in_chamber("chamber-water-plain", 1, 99))
    assert running.latest == running.started + timedelta(hours=24)
    assert running.ends == running.latest
    assert method_of_step(knowledge, "f1-no-such-thing") is None


def test_a_look_that_is_noted_moves_the_next_one(shop):
    create_case(shop.cases, in_chamber("chamber-water-thymol", 25, 24))
    assert acts.running_chambers(shop)[0].is_overdue
    acts.note_look(shop, "dry", "topped up")
    found = acts.running_chambers(shop)[0]
    assert not found.is_overdue
    assert found.next_look == found.running.started + timedelta(hours=36)
    create_case(shop.cases, greasy("none"))
    with pytest.raises(TriageError, match="no chamber runs"):
        acts.note_look(shop, "none")


def test_due_times_as_a_calendar(shop, monkeypatch):
    icalendar = pytest.importorskip("icalendar")
    create_case(shop.cases, greasy())
    due = calendar.due_of_day(acts.bench_day(shop))
    text = calendar.calendar_text([*due, *due], NOON)
    read = icalendar.Calendar.from_ical(text)
    events = read.walk("VEVENT")
    assert len(events) == len(due) == len({str(e["uid"]) for e in events})
    assert events[0].decoded("dtstart") == due[0].begins
    # RFC 5545: lines end with CR LF and hold 75 octets at most; PRODID and VERSION are required.
    assert all(len(line) <= 75 for line in text.split(b"\r\n"))
    assert {"PRODID", "VERSION"} <= set(read)
    monkeypatch.setitem(sys.modules, "icalendar", None)
    with pytest.raises(TriageError, match=r"pip install \"triage\[calendar\]\""):
        calendar.calendar_text((), NOON)


def test_the_commands(shop, tmp_path, triage):
    create_case(shop.cases, tried(greasy(), "no-change", agent=None))
    create_case(shop.cases, in_chamber("chamber-water-thymol", 1, 24))
    day = triage("day", "--json", "--from", "0:00", "--until", "24:00").held()
    assert {"entries", "ends_min", "sessions"} <= set(day)
    for words, expected, has_json in (
        ("day", "bench day", False), ("watch", "damp chamber", True),
        ("worked", "trial on record", True), ("worked bee", "f1-", True),
        ("history", "blot-dry", True), ("usage", "stock", True),
        ("history --csv -", "case,taxon", False), ("looked dry --note x", "damp chamber", False),
    ):  # fmt: skip
        told = triage(*words.split())
        assert (told.returncode, expected in told.stdout) == (0, True), (words, told)
        if has_json:
            triage(*words.split(), "--json").held()
    target = tmp_path / "b.zip"
    triage("bundle", "bee", "--to", str(target)).said()
    assert zipfile.ZipFile(target).namelist()
    assert triage("unbundle", str(target)).said() == "same  bee.yaml\n"
    (tmp_path / "other").mkdir()
    (tmp_path / "other/bad.yaml").write_text("nothing", encoding="utf-8")
    told = triage("merge", str(tmp_path / "other"))
    assert (told.returncode, told.stdout.startswith("refused  bad.yaml")) == (2, True)


def test_a_held_case_and_a_faulty_one_do_not_stop_the_day(shop):
    create_case(shop.cases, tried(greasy("held"), "damage"))
    create_case(shop.cases, greasy("odd", hydration="no-such-answer"))
    create_case(shop.cases, greasy("good"))
    plan = acts.bench_day(shop).plan
    because = {left.case: left.because for left in plan.left_out}
    assert "release" in because["held"]
    assert "no-such-answer" in because["odd"]
    assert {entry.case for entry in plan.entries} == {"good"}


def test_a_running_dwell_is_ended_in_its_time_and_looks_fall_due(shop):
    create_case(shop.cases, in_chamber("chamber-water-thymol", 22, 24))
    create_case(shop.cases, greasy("other"))
    day = acts.bench_day(shop)
    kinds = {(e.case, e.kind): e for e in day.plan.entries}
    # Begun at 14:00 yesterday: to be ended from 14:00 today on, by 14:00 tomorrow at the latest.
    assert kinds["dry", "finish"].begin_min >= 14 * 60
    assert kinds["dry", "finish"].late_min == 0
    assert all(e.begin_min >= 12 * 60 for e in day.plan.entries)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("day --from 25:00", ""),
        ("day --from 10 --until 9", ""),
        ("history --outcome fine", ""),
        ("history --since soon", ""),
        ("worked --accept x", ""),
        ("bundle none --to x.zip", ""),
        ("history --zone thorax-hary", 'unknown zone "thorax-hary"; did you mean "thorax-hairy"?'),
        ("history --method blot-dri", 'unknown method "blot-dri"'),
        ("history --case be", 'unknown case "be"'),
        ("history --agent no-such-agent", 'unknown agent "no-such-agent"'),
        ("history --since 2026-02-02 --until 2026-02-01", "no day lies from"),
        ("day --most 0", "--most is 0; take at least one case"),
    ],
)
def test_bad_words_and_a_filter_that_nothing_can_pass_are_refused(shop, triage, words, says):
    create_case(shop.cases, tried(greasy(), "no-change"))
    assert says in triage(*words.split()).refusal()


def test_the_history_is_a_table_with_a_head(shop, triage):
    told = {"note": "grey\non paper", "amount_ml": 0.5, "minutes": 3.0}
    create_case(shop.cases, tried(greasy(), "no-change", **told))
    head, row = triage("history", "--method", "blot-dry").stdout.splitlines()
    cells = {"case": "bee", "zone": "thorax-hairy", "mL": "0.5", "note": "grey on paper"}
    for name, cell in cells.items():
        assert row[head.index(name) :].startswith(cell)
    # A method that the knowledge no longer has can still be asked for.
    update_case(shop.cases / "bee.yaml", lambda case: tried(case, "better", method="of-old"))
    assert "of-old" in triage("history", "--method", "of-old").stdout


def test_the_day_says_when_it_ends_and_on_which_day_a_dwell_ends(shop):
    create_case(shop.cases, greasy())
    create_case(shop.cases, in_chamber("chamber-water-thymol", 1, 24))
    day = acts.bench_day(shop)
    assert day_head(day).endswith("; ends 12:09")
    found = "\n".join(lines_of(day_blocks(day)))
    assert f"from {NOON + timedelta(hours=23):%a %Y-%m-%d}" in found


def test_an_answer_leaves_the_evidence_and_an_attempt_renews_it(shop):
    create_case(shop.cases, tried(greasy("bee-1"), "no-change"))
    before = shop.folder_record.evidence()
    assert before is not None
    shop.see("bee-1", "compound-eye")
    assert shop.folder_record.evidence() is before
    create_case(shop.cases, tried(greasy("bee-2"), "no-change"))
    assert shop.folder_record.evidence() is not before


BENCH = Bench(room=RoomProfile(volume_m3=30, air_changes_per_h=0.5))


@pytest.fixture
def acid_joint(knowledge):
    """An enzyme that gives off nothing, in water with 0.1 % of an acid that does."""
    method = knowledge.methods["pepsin-joint"]
    (part,) = (p for p in method.with_ if p.strength)
    assert (part.agent, part.strength.value) == ("hydrochloric-acid-dilute", 0.1)
    return method


def put_down(method):
    return PutDown(method.agent, method.amount.typical_ml, method.amount.least_ml, method.id)


def test_the_further_agent_is_booked_with_its_share(knowledge, acid_joint):
    air = DayAir(knowledge, BENCH, DayLedger())
    air.record(put_down(acid_joint), 600, 0.5)
    density = knowledge.agents["hydrochloric-acid-dilute"].physical.density.value
    (release,) = air.ledger.releases
    assert (release.agent, release.minute_of_day) == ("hydrochloric-acid-dilute", 600)
    # 0.1 % of 0.5 mL, by its density, in mg: mass = volume x density x share.
    assert release.amount_mg == pytest.approx(0.5 * density * 1000 * 0.001)
    assert air.trail == (("pepsin-joint", 600, 0.5),)


def test_a_main_agent_and_the_further_one_stand_side_by_side(knowledge, acid_joint):
    """The acid in the liquid of a volatile main agent: both are in the ledger, each once."""
    method = acid_joint.model_copy(update={"id": "tried", "agent": "ethanol"})
    book = dataclasses.replace(knowledge, methods={**knowledge.methods, "tried": method})
    air = DayAir(book, BENCH, DayLedger())
    air.record(put_down(method), 600, 0.5)
    assert [r.agent for r in air.ledger.releases] == ["ethanol", "hydrochloric-acid-dilute"]
    assert {s.key for s in air.ledger.substances} == {"ethanol", "hydrochloric-acid-dilute"}
    air.record(put_down(method), 660, 0.5)
    assert len(air.ledger.releases) == 4
    assert len(air.ledger.substances) == 2


def test_such_a_step_is_put_down_on_the_day(knowledge, planner, acid_joint):
    """Its main agent gives off nothing, yet the day has to judge and book it."""
    maker = DayMaker(planner, BENCH, DayLedger(), NOON)
    assert maker._put_down(acid_joint) == put_down(acid_joint)
    assert maker._put_down(knowledge.methods["blot-dry"]) is None
