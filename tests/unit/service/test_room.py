"""Folders that work in one room share its air and its agents; nothing of a case is told but that."""

import json
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.support.knowledge import CASES, consultant
from triage.case.changes import new_attempt, new_case
from triage.case.profile import Bench, RoomProfile, Stock
from triage.case.store import create_case
from triage.errors import TriageError
from triage.knowledge.book import Knowledge
from triage.plan.liquids import not_beside
from triage.service.workshop import Workshop

NOW = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)


@pytest.fixture
def one(tmp_path: Path) -> Workshop:
    return _folder(tmp_path, "one")


@pytest.fixture
def other(tmp_path: Path) -> Workshop:
    return _folder(tmp_path, "other")


@pytest.fixture
def ledger(tmp_path: Path) -> Path:
    return tmp_path / "shared" / "upper-workroom.room.jsonl"


def _folder(tmp_path: Path, name: str) -> Workshop:
    for folder in (name, "shared"):
        (tmp_path / folder).mkdir(exist_ok=True)
    profile = RoomProfile(name="Upper Workroom", ledger="../shared")
    bench = Bench(room=profile, stock=(Stock(agent="ammonia-solution", strength=10.0),))
    place = tmp_path / name
    return Workshop(consultant(), place, bench, place / "bench.yaml", lambda: NOW)


def _used(
    shop: Workshop, method: str, agent: str, amount_ml: float = 0.1, hours: float = 1
) -> None:
    """Put a case with one attempt into a folder and tell the room."""
    at = NOW - timedelta(hours=hours)
    told = {"agent": agent, "amount_ml": amount_ml, "note": "what nobody else is told"}
    attempt = new_attempt("a1", at, "s1", "better", method=method, **told)
    name = f"of-{shop.cases.name}"
    create_case(shop.cases, new_case(name, "a title", attempts=[attempt.plain()]))
    shop.tell_room()


def test_what_others_used_in_the_room_counts_in_its_air(one: Workshop, other: Workshop) -> None:
    _used(one, "heptane-brush", "heptane", 5.0)
    mine, theirs = one.day(), other.day()
    assert theirs.releases == mine.releases
    assert sum(r.amount_mg for r in theirs.releases) > 0
    # Told twice it is counted once, and a folder does not count its own lines again.
    one.tell_room()
    assert one.day() == mine
    assert other.day() == theirs
    # A case that was thrown away still hangs in the air.
    (one.cases / "of-one.yaml").unlink()
    assert one.day().releases == mine.releases


def test_what_is_recorded_and_taken_back_is_told_at_once(
    one: Workshop, other: Workshop, ledger: Path
) -> None:
    case = "bumblebee-plate-3"
    shutil.copy(CASES / f"{case}.yaml", one.cases)
    step = one.plan(one.load(case)).steps[0]
    one.record(case, step.id, "better", amount_ml=0.1, observed="it is dry")
    (told,) = [json.loads(line) for line in ledger.read_text("utf-8").splitlines()]
    assert (told["case"], told["attempt"]["method"]) == (case, step.method)
    one.undo(case, "it was another specimen")
    last = json.loads(ledger.read_text("utf-8").splitlines()[-1])
    assert last["attempt"]["outcome"] == "not-done"
    assert other.day().used == ()


def test_nothing_of_a_case_is_told_but_what_was_used(
    one: Workshop, ledger: Path, tmp_path: Path
) -> None:
    _used(one, "heptane-brush", "heptane")
    (line,) = ledger.read_text("utf-8").splitlines()
    assert "nobody else" not in line
    assert str(tmp_path) not in line
    told = {"id", "at", "step", "method", "agent", "outcome", "amount_ml"}
    assert set(json.loads(line)["attempt"]) == told


def test_a_room_whose_folder_is_gone_or_torn_is_not_known(
    one: Workshop, other: Workshop, ledger: Path, tmp_path: Path
) -> None:
    _used(one, "heptane-brush", "heptane")
    whole = ledger.read_bytes()
    ledger.write_bytes(whole[:-30])  # the machine lost its power while it wrote
    assert "upper-workroom.room.jsonl line 1 cannot be read" in other.day().unknown
    # The next one closes the line; an older torn line says nothing of today.
    _used(other, "heptane-brush", "heptane")
    assert len(ledger.read_bytes().splitlines()) == 2
    ledger.write_bytes(b'{"torn\n' + whole.replace(b"2026-05-04", b"2026-05-01"))
    assert other.day().unknown == ()
    ledger.parent.rename(tmp_path / "elsewhere")
    assert any("cannot be reached" in why for why in other.day().unknown)
    with pytest.raises(TriageError, match="cannot be reached"):
        other.tell_room()


def test_hostile_lines_are_told_and_nothing_ends(one: Workshop, ledger: Path) -> None:
    bad = [b"[]", b"{}", b"\xff\xfe", b"[" * 5000, b"null"]
    bad.append(b'{"folder": 1, "case": "../x", "attempt": {}}')
    ledger.write_bytes(b"\n".join(bad))
    assert len(one.day().unknown) == len(bad)
    # A file of nothing else is named in a few lines, not in as many as it has.
    ledger.write_bytes(b"- a\n" * 200_000)
    said = one.day().unknown
    assert len(said) < 20
    assert "199992 more lines" in said[-1]


def test_a_late_line_about_yesterday_hides_no_torn_line_before_it(
    one: Workshop, ledger: Path
) -> None:
    _used(one, "heptane-brush", "heptane", hours=20)
    told = ledger.read_bytes()
    # Torn an hour ago; behind it, said today, what was done a little longer ago than counts now.
    old = told.replace(b"2026-05-03", b"2026-05-02")
    assert old != told
    ledger.write_bytes(b'{"torn\n' + old)
    assert one.day().unknown


def test_agents_of_the_day_must_not_meet_those_of_a_step(
    one: Workshop, other: Workshop, knowledge: Knowledge
) -> None:
    _used(one, "ammonia-1-brush", "ammonia-solution")
    assert ("ammonia-solution", "case of-one") in other.day().used
    agents = [knowledge.agents["acetic-acid"]]
    (line,) = not_beside(knowledge, agents, other.day().used, ())
    assert "ammonia solution (case of-one)" in line.text
    assert line.text.startswith("Used in this room today")


def test_the_plan_says_whether_others_may_work_in_the_room(demo: Path, tmp_path: Path) -> None:
    said = {}
    for name in ("shared", "x"):
        (tmp_path / name).mkdir(exist_ok=True)
    for others, ledger in (("none", ""), ("some", ""), ("unknown", ""), ("none", "../shared")):
        bench = Bench(room={"control": "hood", "others": others, "ledger": ledger})
        shop = Workshop(consultant(), demo, bench, tmp_path / "x" / "bench.yaml", lambda: NOW)
        plans = [shop.plan(shop.load(entry.id)) for entry in shop.entries() if not entry.error]
        assert any(step.air for plan in plans for step in plan.steps)
        told = {n.text for plan in plans for n in plan.notices if n.rule == "air-room"}
        said[others, ledger] = " ".join(told)
    assert said["none", ""] == ""
    assert said["some", ""].startswith("Others work in this room")
    assert said["unknown", ""].startswith("It is not said whether others work")
    assert "what they record there counts" in said["none", "../shared"]
