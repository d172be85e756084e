"""The index, the table, use of agents, and suggestions."""

import csv
import io
import os
from datetime import date, datetime, timedelta

import numpy as np
import pytest

from tests.support.knowledge import NOON
from tests.support.recording import greasy, tried
from triage.case.changes import with_override
from triage.case.profile import Bench, Stock
from triage.case.store import create_case, update_case
from triage.errors import TriageError
from triage.history import index as index_module
from triage.history import table
from triage.history.advice import crosses_a_grade, skip_suggestions, with_evidence
from triage.history.columns import columns_from, rows_of
from triage.history.evidence import Evidence, terms_of, trials_of
from triage.history.index import INDEX, load_index
from triage.plan.names import own_record
from triage.plan.substances import day_ledger
from triage.service import acts

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
    read, true = [], index_module.load_case
    monkeypatch.setattr(
        index_module, "load_case", lambda path, **k: read.append(path.name) or true(path, **k)
    )
    again = load_index(tmp_path)
    assert read == []
    assert again.columns.method.tolist() == first.columns.method.tolist()
    update_case(tmp_path / "bee-07.yaml", lambda case: tried(case, "better"))
    (tmp_path / "bee-08.yaml").unlink()
    changed = load_index(tmp_path)
    assert read == ["bee-07.yaml"]
    (tmp_path / INDEX).unlink()
    rebuilt = load_index(tmp_path)
    assert changed.columns.size == rebuilt.columns.size == 79
    for name in ("case", "method", "outcome", "at_s"):
        assert getattr(changed.columns, name).tolist() == getattr(rebuilt.columns, name).tolist()
    assert changed.text_rows() == rebuilt.text_rows()


def pickled(folder):
    """An index with objects in it, which must never be unpickled."""
    np.savez(folder / "evil.npz", version=np.array([{"a": 1}], dtype=object))
    return (folder / "evil.npz").read_bytes()


@pytest.mark.parametrize("damage", [b"", b"PK\x03\x04", b"\x00" * 500, pickled])
def test_a_damaged_index_is_rebuilt(tmp_path, damage):
    create_case(tmp_path, tried(greasy(), "cleared"))
    load_index(tmp_path)
    (tmp_path / INDEX).write_bytes(damage(tmp_path) if callable(damage) else damage)
    assert load_index(tmp_path).columns.size == 1


def test_a_broken_case_is_left_out(tmp_path):
    create_case(tmp_path, tried(greasy(), "cleared"))
    (tmp_path / "bad.yaml").write_text("format: [", encoding="utf-8")
    found = load_index(tmp_path)
    assert found.broken == {"bad.yaml"}
    assert found.columns.size == 1


# -- table ------------------------------------------------------------------------------------


def test_filter_export_and_photos_by_the_day_where_the_work_was_done(tmp_path):
    case = tried(greasy(), "no-change", note='=cmd, "quoted"', photo_before="p/b.jpg", minutes=5)
    case = tried(case, "cleared", method="wash-detergent", amount_ml=2.5, photo_after="p/a.jpg")
    create_case(tmp_path, case)
    create_case(tmp_path, tried(greasy("other"), "better", at=NOON - timedelta(days=40)))
    index = load_index(tmp_path)
    rows = table.history(index)
    assert [row.outcome for row in rows] == ["cleared", "no-change", "better"]
    for wanted, found in (
        ({"since": date(2026, 3, 1)}, ["bee", "bee"]),
        ({"method": "blot-dry", "until": date(2026, 2, 1)}, ["other"]),
        ({"outcome": "cleared"}, ["bee"]),
        ({"words": ("CMD",)}, ["bee"]),
        ({"has_photos": True}, ["bee", "bee"]),
    ):
        assert [row.case for row in table.history(index, table.Filter(**wanted))] == found, wanted
    read = list(csv.DictReader(io.StringIO(table.history_csv(rows))))
    assert read[1]["note"] == '\'=cmd, "quoted"'
    assert (float(read[0]["amount_ml"]), read[0]["minutes"]) == (2.5, "")
    assert rows[1].note == '=cmd, "quoted"'
    assert table.photo_pairs(rows) == (table.PhotoPair("bee", "f1", "p/b.jpg", "p/a.jpg"),)
    # 23:30 on 31 January at UTC-5 is already February in UTC.
    at = datetime.fromisoformat("2026-01-31T23:29:00-05:00")
    columns = columns_from(rows_of(tried(greasy(), "cleared", at=at)))
    assert table.local_days(columns).astype(str).tolist() == ["2026-01-31"]


# -- use --------------------------------------------------------------------------------------


ETHANOL = {"method": "ethanol-70-brush", "agent": "ethanol"}


def test_evaporated_is_the_mass_of_the_ledger(knowledge):
    case = tried(greasy(), "better", "cleared", amount_ml=0.5, at=NOON, **ETHANOL)
    case = tried(case, "not-done", amount_ml=9.0, at=NOON, **ETHANOL)
    line = table.evaporated(knowledge, columns_from(rows_of(case)))[0]
    ledger = day_ledger(knowledge, [case], NOON)
    assert (line.month, line.agent, line.attempts, line.used_ml) == ("2026-03", "ethanol", 2, 1.0)
    assert line.evaporated_g * 1000 == pytest.approx(sum(r.amount_mg for r in ledger.releases))


@pytest.mark.parametrize(
    ("bottle", "left_ml"),
    [
        # C1 V1 = C2 V2: 9.6 mL of 70 % from 96 % takes 7.0 mL of the bottle, twice.
        ({"strength": 96, "ml": 100}, 86.0),
        ({"strength": 96, "ml": 100, "counted": "2026-03-04"}, 93.0),
        ({"ml": 100}, None),
        ({"strength": 96}, None),
        ({"strength": 96, "ml": 5}, 0.0),
    ],
)
def test_stock_left_by_strength_and_day_of_counting(knowledge, bottle, left_ml):
    case = tried(greasy(), "better", amount_ml=9.6, **ETHANOL)
    columns = columns_from(rows_of(tried(case, "better", amount_ml=9.6, at=NOON, **ETHANOL)))
    bench = Bench(stock=(Stock(agent="ethanol", **bottle),))
    (line,) = table.stock_left(knowledge, bench, columns)
    assert line.left_ml == (left_ml if left_ml is None else pytest.approx(left_ml))
    if bottle == {"strength": 96, "ml": 100}:
        assert line.used_ml == pytest.approx(14.0)


# -- suggestions ------------------------------------------------------------------------------


def record(knowledge, rung=None, failures=0):
    """What a record says in which a rung failed so often."""
    told = {"method": rung.method, "deposit": rung.deposit} if rung else {}
    cases = [tried(greasy(f"x{n}"), "no-change", **told) for n in range(failures)]
    rows = columns_from(row for case in cases for row in rows_of(case))
    return cases, Evidence(trials_of(rows), terms_of(knowledge))


def plan_and_rungs(shop, *methods):
    """The plan and its rungs after a person skipped some of them."""
    case = greasy()
    for method in methods:
        case = with_override(case, NOON, "skip-method", finding="f1", method=method, reason="x")
    plan = shop.planner.plan(case, shop.bench)
    return case, plan, [s for s in plan.steps if s.finding == "f1" and "-before-" not in s.id]


def test_the_record_stands_beside_its_rung_and_the_plan_is_otherwise_the_same(shop):
    _, plan, rungs = plan_and_rungs(shop)
    told = with_evidence(plan, "bees-wasps", record(shop.knowledge, rungs[0], 6)[1])
    first = told.step(rungs[0].id)
    assert own_record(first).startswith("worked 0 of 6 times here, about ")
    assert first.evidence[1:] == rungs[0].evidence
    assert [s.id for s in told.steps] == [s.id for s in plan.steps]
    assert with_evidence(plan, "bees-wasps", record(shop.knowledge)[1]) is plan


def every_rung(shop):
    """Skip rung after rung as a person would, and yield case, plan and rungs at each."""
    skipped = []
    case, plan, rungs = plan_and_rungs(shop)
    while len(rungs) > 1:
        yield case, plan, rungs
        skipped.append(rungs[0].method)
        case, plan, rungs = plan_and_rungs(shop, *skipped)


def test_a_suggestion_never_crosses_a_grade_of_harshness_or_hazard(shop):
    suggested = 0
    for _, plan, rungs in every_rung(shop):
        few, many = (record(shop.knowledge, rungs[0], times)[1] for times in (4, 30))
        assert skip_suggestions(plan, "bees-wasps", few) == ()
        found = skip_suggestions(plan, "bees-wasps", many)
        assert [s.step for s in found] in ([], [rungs[0].id])
        assert bool(found) is not crosses_a_grade(rungs[0], rungs[1])
        for suggestion in found:
            before, after = rungs[0].harshness, rungs[1].harshness
            assert suggestion.instead == rungs[1].id
            assert after.person <= before.person
            assert after.worst <= before.worst
            suggested += 1
    assert suggested  # otherwise this test shows nothing


def test_an_accepted_suggestion_is_recorded_and_touches_no_interlock(shop):
    case, first = next(
        (case, rungs[0])
        for case, _, rungs in every_rung(shop)
        if not crosses_a_grade(rungs[0], rungs[1])
    )
    for each in (case, *record(shop.knowledge, first, 30)[0]):
        create_case(shop.cases, each)
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
