"""The index, the table, use of agents, and suggestions."""

import csv
import io
import os
from datetime import date, datetime, timedelta

import numpy as np
import pytest

from tests.support.records import NOON, greasy, tried
from triage.case.changes import with_override
from triage.case.profile import Bench, Stock
from triage.case.store import create_case, update_case
from triage.errors import TriageError
from triage.history import table
from triage.history.advice import crosses_a_grade, skip_suggestions, with_evidence
from triage.history.columns import columns_from, rows_of
from triage.history.evidence import Evidence, terms_of, trials_of
from triage.history.index import INDEX, load_index
from triage.plan.names import own_record
from triage.plan.substances import day_ledger
from triage.service import acts
from triage.service.workshop import open_workshop


@pytest.fixture
def shop(tmp_path):
    (tmp_path / "cases").mkdir()
    return open_workshop(cases=tmp_path / "cases", clock=lambda: NOON)


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
    assert rows[1].note == '=cmd, "quoted"'
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
    line = table.evaporated(knowledge, columns_from(rows_of(case)))[0]
    ledger = day_ledger(knowledge, [case], NOON)
    assert (line.month, line.agent, line.attempts, line.used_ml) == ("2026-03", "ethanol", 2, 1.0)
    assert line.evaporated_g * 1000 == pytest.approx(sum(r.amount_mg for r in ledger.releases))


def test_stock_left_by_strength_and_day_of_counting(knowledge):
    case = tried(greasy(), "better", method="ethanol-70-brush", agent="ethanol", amount_ml=9.6)
    case = tried(case, "better", method="ethanol-70-brush", agent="ethanol", amount_ml=9.6, at=NOON)
    columns = columns_from(rows_of(case))

    def line(**more):
        return table.stock_left(knowledge, Bench(stock=(Stock(agent="ethanol", **more),)), columns)[
            0
        ]

    # C1 V1 = C2 V2: 9.6 mL of 70 % from 96 % takes 7.0 mL of the bottle.
    assert line(strength=96, ml=100).used_ml == pytest.approx(14.0)
    assert line(strength=96, ml=100).left_ml == pytest.approx(86.0)
    assert line(strength=96, ml=100, counted="2026-03-04").left_ml == pytest.approx(93.0)
    assert line(ml=100).left_ml is None
    assert line(strength=96).left_ml is None
    assert line(strength=96, ml=5).left_ml == 0.0


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


def skipped(case, method):
    return with_override(case, NOON, "skip-method", finding="f1", method=method, reason="x")


def every_rung_failed(shop):
    """Skip rung after rung as a person would, and yield plan and rungs with each one failing often."""
    case = greasy()
    plan, rungs = plan_and_rungs(shop, case)
    while len(rungs) > 1:
        yield plan, rungs, record(shop.knowledge, *failed(rungs[0], 30))
        case = skipped(case, rungs[0].method)
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
        case = skipped(case, method)
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
