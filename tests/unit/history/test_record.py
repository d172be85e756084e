"""The index, the table, use of agents, chambers, suggestions, the calendar and the commands."""

import csv
import io
import json
import os
import zipfile
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from tests.support.builders import OILY
from tests.support.intake import TOLD
from triage.case.changes import new_attempt, new_case, with_attempt, with_timer
from triage.case.models import Timer
from triage.case.profile import Bench, RoomProfile, Stock
from triage.case.store import create_case, update_case
from triage.cli import main
from triage.errors import TriageError
from triage.history import calendar, table, usage
from triage.history.advice import crosses_a_grade, skip_suggestions, with_evidence
from triage.history.columns import columns_from, rows_of
from triage.history.evidence import Evidence, terms_of, trials_of
from triage.history.index import INDEX, load_index
from triage.history.watch import chambers_of, method_of_step, running_of
from triage.plan.day import day_ledger
from triage.plan.ownrecord import own_record
from triage.service import acts
from triage.service.workshop import open_workshop
from triage.show.lines import lines_of
from triage.show.record import day_blocks

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)


def greasy(case_id="bee", **answers):
    findings = [{"id": "f1", "zone": "thorax-hairy", "signs": OILY}]
    return new_case(
        case_id, "Bee", taxon="bees-wasps", answers={**TOLD, **answers}, findings=findings
    )


def tried(
    case, *outcomes, method="blot-dry", at=NOON - timedelta(days=2), deposit="grease", **more
):
    for outcome in outcomes:
        number = case.next_attempt_id()
        case = with_attempt(
            case,
            new_attempt(
                number, at + timedelta(minutes=int(number[1:])), f"f1-{method}", outcome, finding="f1",
                zone="thorax-hairy", deposit=deposit, method=method, **more,
            ),
        )  # fmt: skip
    return case


@pytest.fixture
def shop(tmp_path):
    folder = tmp_path / "cases"
    folder.mkdir()
    return open_workshop(cases=folder, clock=lambda: NOON)


def run(shop, capsys, *words):
    code = main([*words, "--cases", str(shop.cases)])
    return code, capsys.readouterr()


# -- index ------------------------------------------------------------------------------------


def old(folder):
    """Make every file old enough to be trusted."""
    for path in folder.glob("*.yaml"):
        os.utime(path, (1e9, 1e9))


def test_the_index_gives_the_rows_of_the_files_and_reads_only_what_changed(tmp_path, monkeypatch):
    for number in range(40):
        create_case(tmp_path, tried(greasy(f"bee-{number:02}"), "no-change", "cleared"))
    old(tmp_path)
    first = load_index(tmp_path)
    assert first.columns.size == 80
    assert (tmp_path / INDEX).is_file()
    read = []
    from triage.history import index as module

    true = module.load_case
    monkeypatch.setattr(
        module, "load_case", lambda path, **k: read.append(path.name) or true(path, **k)
    )
    again = load_index(tmp_path)
    assert read == []
    assert again.columns.method.tolist() == first.columns.method.tolist()
    update_case(tmp_path / "bee-07.yaml", lambda case: tried(case, "better"))
    (tmp_path / "bee-08.yaml").unlink()
    changed = load_index(tmp_path)
    assert read == ["bee-07.yaml"]
    monkeypatch.undo()
    (tmp_path / INDEX).unlink()
    rebuilt = load_index(tmp_path)
    assert changed.columns.size == rebuilt.columns.size == 79
    for name in ("case", "method", "outcome", "at_s"):
        assert getattr(changed.columns, name).tolist() == getattr(rebuilt.columns, name).tolist()
    assert changed.text_rows() == rebuilt.text_rows()


@pytest.mark.parametrize("damage", [b"", b"PK\x03\x04", b"\x00" * 500])
def test_a_damaged_index_is_rebuilt(tmp_path, damage):
    create_case(tmp_path, tried(greasy(), "cleared"))
    load_index(tmp_path)
    (tmp_path / INDEX).write_bytes(damage)
    assert load_index(tmp_path).columns.size == 1


def test_an_index_with_objects_in_it_is_never_unpickled(tmp_path):
    create_case(tmp_path, tried(greasy(), "cleared"))
    np.savez(tmp_path / "evil.npz", version=np.array([{"a": 1}], dtype=object))
    (tmp_path / "evil.npz").replace(tmp_path / INDEX)
    assert load_index(tmp_path).columns.size == 1


def test_a_broken_case_is_left_out(tmp_path):
    create_case(tmp_path, tried(greasy(), "cleared"))
    (tmp_path / "bad.yaml").write_text("format: [", encoding="utf-8")
    found = load_index(tmp_path)
    assert found.broken == {"bad.yaml"}
    assert found.columns.size == 1


# -- table ------------------------------------------------------------------------------------


def test_filter_export_and_photos(tmp_path):
    case = tried(greasy(), "no-change", note='=cmd, "quoted"', photo_before="p/b.jpg", minutes=5)
    case = tried(case, "cleared", method="wash-detergent", amount_ml=2.5, photo_after="p/a.jpg")
    create_case(tmp_path, case)
    create_case(tmp_path, tried(greasy("other"), "better", at=NOON - timedelta(days=40)))
    index = load_index(tmp_path)
    rows = table.history(index)
    assert [row.outcome for row in rows] == ["cleared", "no-change", "better"]
    since = table.history(index, table.Filter(since=date(2026, 3, 1)))
    assert [row.case for row in since] == ["bee", "bee"]
    assert len(table.history(index, table.Filter(method="blot-dry", until=date(2026, 2, 1)))) == 1
    assert len(table.history(index, table.Filter(outcome="cleared"))) == 1
    assert len(table.history(index, table.Filter(words=("CMD",)))) == 1
    assert len(table.history(index, table.Filter(has_photos=True))) == 2
    read = list(csv.DictReader(io.StringIO(table.history_csv(rows))))
    assert read[1]["note"] == '\'=cmd, "quoted"'
    assert float(read[0]["amount_ml"]) == 2.5
    assert read[0]["minutes"] == ""
    assert table.history_data(rows)[1]["note"] == '=cmd, "quoted"'
    assert table.photo_pairs(rows) == (table.PhotoPair("bee", "f1", "p/b.jpg", "p/a.jpg"),)


def test_a_day_is_the_day_where_the_work_was_done():
    # 23:30 on 31 January at UTC-5 is already February in UTC.
    at = datetime.fromisoformat("2026-01-31T23:29:00-05:00")
    columns = columns_from(rows_of(tried(greasy(), "cleared", at=at)))
    assert table.local_days(columns).astype(str).tolist() == ["2026-01-31"]


# -- use --------------------------------------------------------------------------------------


def test_evaporated_is_the_mass_of_the_ledger(knowledge):
    case = tried(
        greasy(),
        "better",
        "cleared",
        method="ethanol-70-brush",
        agent="ethanol",
        amount_ml=0.5,
        at=NOON,
    )
    case = tried(
        case, "not-done", method="ethanol-70-brush", agent="ethanol", amount_ml=9.0, at=NOON
    )
    line = usage.evaporated(knowledge, columns_from(rows_of(case)))[0]
    ledger = day_ledger(knowledge, [case], NOON)
    assert (line.month, line.agent, line.attempts, line.used_ml) == ("2026-03", "ethanol", 2, 1.0)
    assert line.evaporated_g * 1000 == pytest.approx(sum(r.amount_mg for r in ledger.releases))


def test_stock_left_by_strength_and_day_of_counting(knowledge):
    case = tried(greasy(), "better", method="ethanol-70-brush", agent="ethanol", amount_ml=9.6)
    case = tried(case, "better", method="ethanol-70-brush", agent="ethanol", amount_ml=9.6, at=NOON)
    columns = columns_from(rows_of(case))

    def line(**more):
        return usage.stock_left(knowledge, Bench(stock=(Stock(agent="ethanol", **more),)), columns)[
            0
        ]

    # C1 V1 = C2 V2: 9.6 mL of 70 % from 96 % takes 7.0 mL of the bottle.
    assert line(strength=96, ml=100).used_ml == pytest.approx(14.0)
    assert line(strength=96, ml=100).left_ml == pytest.approx(86.0)
    assert line(strength=96, ml=100, counted="2026-03-04").left_ml == pytest.approx(93.0)
    assert line(ml=100).left_ml is None
    assert line(strength=96).left_ml is None
    assert line(strength=96, ml=5).left_ml == 0.0


# -- chambers ---------------------------------------------------------------------------------


def in_chamber(method, hours_ago, hours):
    started = NOON - timedelta(hours=hours_ago)
    timer = Timer(
        step=f"case-brittle-{method}", started=started, ends=started + timedelta(hours=hours)
    )
    return with_timer(greasy("dry", hydration="dry"), timer)


def test_next_look_top_up_and_mould(knowledge):
    bench = Bench(room=RoomProfile(temp_c=20))
    (found,) = chambers_of(knowledge, bench, in_chamber("chamber-water-thymol", 30, 24), NOON)
    hours = [(look - found.running.started).total_seconds() / 3600 for look in found.looks]
    assert hours == [24, 36, 48]  # after a day, then twice a day
    assert found.is_overdue
    assert found.next_look == found.running.started + timedelta(hours=24)
    assert found.has_inhibitor
    assert len(found.top_up) == 2
    assert found.running.latest == found.running.started + timedelta(hours=48)
    # 10.4 days on clean wood at 20 C and 97 % (Hukka and Viitanen 1999, worked out by hand), by 3.
    assert found.mould.stay_days == pytest.approx(10.4 / 3, abs=0.02)
    (plain,) = chambers_of(knowledge, bench, in_chamber("chamber-water-plain", 1, 12), NOON)
    assert not plain.has_inhibitor
    assert plain.mould.stay_days == 3.0


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


def test_a_timer_past_the_longest_dwell_is_due_at_the_longest_dwell(knowledge):
    (running,) = running_of(knowledge, in_chamber("chamber-water-plain", 1, 99))
    assert running.latest == running.started + timedelta(hours=24)
    assert running.ends == running.latest
    assert method_of_step(knowledge, "f1-no-such-thing") is None


# -- suggestions ------------------------------------------------------------------------------


def record(knowledge, *cases):
    return Evidence(
        trials_of(columns_from(r for c in cases for r in rows_of(c))), terms_of(knowledge)
    )


def plan_and_rungs(shop, case):
    plan = shop.planner.plan(case, shop.bench)
    rungs = [s for s in plan.steps if s.finding == "f1" and "-before-" not in s.id]
    return plan, rungs


def failed(rung, count):
    return [
        tried(greasy(f"x{n}"), "no-change", method=rung.method, deposit=rung.deposit)
        for n in range(count)
    ]


def test_the_record_stands_beside_its_rung_and_the_plan_is_otherwise_the_same(shop):
    plan, rungs = plan_and_rungs(shop, greasy())
    told = with_evidence(plan, "bees-wasps", record(shop.knowledge, *failed(rungs[0], 6)))
    first = told.step(rungs[0].id)
    assert own_record(first).startswith("worked 0 of 6 times here, about ")
    assert first.evidence[1:] == rungs[0].evidence
    assert [s.id for s in told.steps] == [s.id for s in plan.steps]
    assert with_evidence(plan, "bees-wasps", record(shop.knowledge)) is plan


def every_rung_failed(shop):
    """Skip rung after rung as a person would, and yield plan and rungs with each one failing often."""
    case = greasy()
    plan, rungs = plan_and_rungs(shop, case)
    while len(rungs) > 1:
        yield plan, rungs, record(shop.knowledge, *failed(rungs[0], 30))
        override = {
            "at": NOON,
            "kind": "skip-method",
            "finding": "f1",
            "method": rungs[0].method,
            "reason": "x",
        }
        case = case.model_validate({**dict(case), "overrides": (*case.overrides, override)})
        plan, rungs = plan_and_rungs(shop, case)


def test_a_suggestion_never_crosses_a_grade_of_harshness_or_hazard(shop):
    suggested = 0
    for plan, rungs, evidence in every_rung_failed(shop):
        found = skip_suggestions(plan, "bees-wasps", evidence)
        assert [s.step for s in found] in ([], [rungs[0].id])
        assert bool(found) is not crosses_a_grade(rungs[0], rungs[1])
        for suggestion in found:
            before, after = rungs[0].harshness, rungs[1].harshness
            assert suggestion.instead == rungs[1].id
            assert after.person <= before.person
            assert after.worst <= before.worst
            suggested += 1
    assert suggested  # otherwise this test shows nothing


def test_few_failures_suggest_nothing(shop):
    for plan, rungs, _ in every_rung_failed(shop):
        assert (
            skip_suggestions(plan, "bees-wasps", record(shop.knowledge, *failed(rungs[0], 4))) == ()
        )


def test_an_accepted_suggestion_is_recorded_and_touches_no_interlock(shop):
    pair = next(
        (plan, rungs)
        for plan, rungs, _ in every_rung_failed(shop)
        if not crosses_a_grade(rungs[0], rungs[1])
    )
    first = pair[1][0]
    for case in failed(first, 30):
        create_case(shop.cases, case)
    case = greasy()
    earlier = [s.method for s in plan_and_rungs(shop, case)[1]]
    for method in earlier[: earlier.index(first.method)]:
        override = {
            "at": NOON,
            "kind": "skip-method",
            "finding": "f1",
            "method": method,
            "reason": "x",
        }
        case = case.model_validate({**dict(case), "overrides": (*case.overrides, override)})
    create_case(shop.cases, case)
    before = shop.plan(shop.load("bee"))
    acts.accept_suggestion(shop, "bee", first.id)
    override = shop.load("bee").overrides[-1]
    assert (override.kind, override.method, override.finding) == ("skip-method", first.method, "f1")
    assert "worked 0 of 30 times here" in override.reason
    after = shop.plan(shop.load("bee"))
    locks = lambda plan: {(e.method, e.rule) for e in plan.excluded if e.interlock}
    assert locks(after) == locks(before)
    assert {s.method for s in after.steps} <= {s.method for s in before.steps}
    with pytest.raises(TriageError, match="nothing suggests"):
        acts.accept_suggestion(shop, "bee", first.id)


# -- calendar and commands --------------------------------------------------------------------


def test_due_times_as_a_calendar(shop, tmp_path, capsys):
    icalendar = pytest.importorskip("icalendar")
    create_case(shop.cases, greasy())
    day = acts.bench_day(shop)
    due = calendar.due_of_day(day)
    text = calendar.calendar_text([*due, *due], NOON)
    read = icalendar.Calendar.from_ical(text)
    events = read.walk("VEVENT")
    assert len(events) == len(due) == len({str(e["uid"]) for e in events})
    assert events[0].decoded("dtstart") == due[0].begins
    # RFC 5545: lines end with CR LF and hold 75 octets at most; PRODID and VERSION are required.
    assert all(len(line) <= 75 for line in text.split(b"\r\n"))
    assert {"PRODID", "VERSION"} <= set(read)


def test_without_the_extra_the_error_says_what_to_install(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "icalendar", None)
    with pytest.raises(TriageError, match=r"pip install \"triage\[calendar\]\""):
        calendar.calendar_text((), NOON)


def test_the_commands(shop, tmp_path, capsys):
    create_case(shop.cases, tried(greasy(), "no-change", agent=None))
    create_case(shop.cases, in_chamber("chamber-water-thymol", 1, 24))
    code, out = run(shop, capsys, "day", "--json", "--from", "0:00", "--until", "24:00")
    assert code == 0
    assert {"entries", "ends_min", "sessions"} <= set(json.loads(out.out))
    for words, expected in (
        (("day",), "bench day"), (("watch",), "damp chamber"), (("worked",), "trial on record"),
        (("worked", "bee"), "f1-"), (("history",), "blot-dry"), (("usage",), "stock"),
        (("history", "--csv", "-"), "case,taxon"), (("looked", "dry", "--note", "x"), "damp chamber"),
    ):  # fmt: skip
        code, out = run(shop, capsys, *words)
        assert (code, expected in out.out) == (0, True), (words, out)
    for words in (("watch",), ("worked",), ("worked", "bee"), ("history",), ("usage",)):
        code, out = run(shop, capsys, *words, "--json")
        json.loads(out.out)
    target = tmp_path / "b.zip"
    assert run(shop, capsys, "bundle", "bee", "--to", str(target))[0] == 0
    assert zipfile.ZipFile(target).namelist()
    code, out = run(shop, capsys, "unbundle", str(target))
    assert (code, out.out) == (0, "same  bee.yaml\n")
    (tmp_path / "other").mkdir()
    (tmp_path / "other/bad.yaml").write_text("nothing", encoding="utf-8")
    code, out = run(shop, capsys, "merge", str(tmp_path / "other"))
    assert (code, out.out.startswith("refused  bad.yaml")) == (2, True)


@pytest.mark.parametrize(
    "words",
    [("day", "--from", "25:00"), ("day", "--from", "10", "--until", "9"), ("history", "--outcome", "fine"),
     ("history", "--since", "soon"), ("worked", "--accept", "x"), ("bundle", "none", "--to", "x.zip")],
)  # fmt: skip
def test_bad_words_give_one_line(shop, capsys, words):
    code, out = run(shop, capsys, *words)
    assert code == 2
    assert len(out.err.strip().splitlines()) == 1


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
        (
            ("history", "--zone", "thorax-hary"),
            'unknown zone "thorax-hary"; did you mean "thorax-hairy"?',
        ),
        (("history", "--method", "blot-dri"), 'unknown method "blot-dri"'),
        (("history", "--case", "be"), 'unknown case "be"'),
        (("history", "--agent", "no-such-agent"), 'unknown agent "no-such-agent"'),
        (("history", "--since", "2026-02-02", "--until", "2026-02-01"), "no day lies from"),
        (("day", "--most", "0"), "--most is 0; take at least one case"),
    ],
)
def test_a_filter_that_nothing_can_pass_is_refused(shop, capsys, words, says):
    create_case(shop.cases, tried(greasy(), "no-change"))
    code, out = run(shop, capsys, *words)
    assert (code, out.out) == (2, "")
    assert says in out.err
    assert out.err.count("\n") == 1


def test_the_history_is_a_table_with_a_head(shop, capsys):
    create_case(
        shop.cases, tried(greasy(), "no-change", note="grey\non paper", amount_ml=0.5, minutes=3.0)
    )
    code, out = run(shop, capsys, "history", "--method", "blot-dry")
    head, row = out.out.splitlines()
    assert code == 0
    for name, cell in (
        ("case", "bee"),
        ("zone", "thorax-hairy"),
        ("mL", "0.5"),
        ("note", "grey on paper"),
    ):
        assert row[head.index(name) :].startswith(cell)
    # A method that the knowledge no longer has can still be asked for.
    update_case(shop.cases / "bee.yaml", lambda case: tried(case, "better", method="of-old"))
    assert "of-old" in run(shop, capsys, "history", "--method", "of-old")[1].out


def test_the_day_says_when_it_ends_and_on_which_day_a_dwell_ends(shop, capsys):
    create_case(shop.cases, greasy())
    create_case(shop.cases, in_chamber("chamber-water-thymol", 1, 24))
    found = "\n".join(lines_of(day_blocks(acts.bench_day(shop))))
    assert "\nends 12:09" in found
    assert f"from {NOON + timedelta(hours=23):%a %Y-%m-%d}" in found


def test_an_answer_leaves_the_evidence_and_an_attempt_renews_it(shop):
    create_case(shop.cases, tried(greasy("bee-1"), "no-change"))
    before = shop.folder_record.evidence()
    assert before is not None
    shop.add_finding("bee-1", "compound-eye")
    assert shop.folder_record.evidence() is before
    create_case(shop.cases, tried(greasy("bee-2"), "no-change"))
    assert shop.folder_record.evidence() is not before
