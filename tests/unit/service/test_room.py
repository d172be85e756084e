"""Folders that work in one room share its air and its agents; nothing of a case is told but that."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.support.knowledge import RULES, consultant
from triage.case.changes import new_attempt, new_case
from triage.case.profile import Bench, RoomProfile, Stock
from triage.case.store import create_case
from triage.errors import TriageError
from triage.knowledge.book import Knowledge
from triage.plan.liquids import not_beside
from triage.service.workshop import Workshop

NOW = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)


def _folder(tmp_path: Path, name: str, **room: object) -> Workshop:
    """Return the workshop of one person in the room."""
    (tmp_path / name).mkdir()
    (tmp_path / "shared").mkdir(exist_ok=True)
    profile = RoomProfile.model_validate({"name": "Upper Workroom", "ledger": "../shared", **room})
    bench = Bench(room=profile, stock=(Stock(agent="ammonia-solution", strength=10.0),))
    return Workshop(
        consultant(), tmp_path / name, bench, tmp_path / name / "bench.yaml", lambda: NOW
    )


def _used(
    shop: Workshop, method: str, agent: str, amount_ml: float = 0.1, hours: float = 1
) -> None:
    """Put a case with one attempt into a folder and tell the room."""
    attempt = new_attempt(
        "a1", NOW - timedelta(hours=hours), "s1", "better",
        method=method, agent=agent, amount_ml=amount_ml, note="what nobody else is told",
    )  # fmt: skip
    create_case(
        shop.cases, new_case(f"of-{shop.cases.name}", "a title", attempts=[attempt.plain()])
    )
    shop.tell_room()


def test_what_others_used_in_the_room_counts_in_its_air(tmp_path: Path) -> None:
    one, other = (_folder(tmp_path, name) for name in ("one", "other"))
    _used(one, "heptane-brush", "heptane", 5.0)
    mine, theirs = one.day(), other.day()
    assert theirs.releases == mine.releases
    assert sum(r.amount_mg for r in theirs.releases) > 0
    # Told twice it is counted once, and a folder does not count its own lines again.
    one.tell_room()
    assert one.day() == mine
    assert other.day() == theirs


def test_what_is_recorded_and_taken_back_is_told_at_once(tmp_path: Path) -> None:
    one, other = (_folder(tmp_path, name) for name in ("one", "other"))
    shutil.copy(RULES.parent / "cases" / "bumblebee-plate-3.yaml", one.cases)
    step = one.plan(one.load("bumblebee-plate-3")).steps[0]
    one.record("bumblebee-plate-3", step.id, "better", amount_ml=0.1, observed="it is dry")
    (ledger,) = (tmp_path / "shared").glob("*.jsonl")
    (told,) = [json.loads(line) for line in ledger.read_text("utf-8").splitlines()]
    assert (told["case"], told["attempt"]["method"]) == ("bumblebee-plate-3", step.method)
    one.undo("bumblebee-plate-3", "it was another specimen")
    assert (
        json.loads(ledger.read_text("utf-8").splitlines()[-1])["attempt"]["outcome"] == "not-done"
    )
    assert other.day().used == ()


def test_a_case_that_was_thrown_away_still_hangs_in_the_air(tmp_path: Path) -> None:
    shop = _folder(tmp_path, "one")
    _used(shop, "heptane-brush", "heptane", 5.0)
    before = shop.day().releases
    (shop.cases / "of-one.yaml").unlink()
    assert shop.day().releases == before


def test_nothing_of_a_case_is_told_but_what_was_used(tmp_path: Path) -> None:
    shop = _folder(tmp_path, "one")
    _used(shop, "heptane-brush", "heptane")
    (line,) = (tmp_path / "shared" / "upper-workroom.room.jsonl").read_text("utf-8").splitlines()
    assert "nobody else" not in line
    assert str(tmp_path) not in line
    assert set(json.loads(line)["attempt"]) == {
        "id",
        "at",
        "step",
        "method",
        "agent",
        "outcome",
        "amount_ml",
    }


def test_a_room_whose_folder_is_gone_or_torn_is_not_known(tmp_path: Path) -> None:
    one, other = (_folder(tmp_path, name) for name in ("one", "other"))
    _used(one, "heptane-brush", "heptane")
    ledger = tmp_path / "shared" / "upper-workroom.room.jsonl"
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


def test_hostile_lines_are_told_and_nothing_ends(tmp_path: Path) -> None:
    shop = _folder(tmp_path, "one")
    ledger = tmp_path / "shared" / "upper-workroom.room.jsonl"
    bad = [
        b"[]",
        b"{}",
        b"\xff\xfe",
        b"[" * 5000,
        b'{"folder": 1, "case": "../x", "attempt": {}}',
        b"null",
    ]
    ledger.write_bytes(b"\n".join(bad))
    assert len(shop.day().unknown) == len(bad)
    # A file of nothing else is named in a few lines, not in as many as it has.
    ledger.write_bytes(b"- a\n" * 200_000)
    said = shop.day().unknown
    assert len(said) < 20
    assert "199992 more lines" in said[-1]


def test_a_late_line_about_yesterday_hides_no_torn_line_before_it(tmp_path: Path) -> None:
    shop = _folder(tmp_path, "one")
    ledger = tmp_path / "shared" / "upper-workroom.room.jsonl"
    _used(shop, "heptane-brush", "heptane", hours=20)
    told = ledger.read_bytes()
    # Torn an hour ago; behind it, said today, what was done a little longer ago than counts now.
    old = told.replace(b"2026-05-03", b"2026-05-02")
    assert old != told
    ledger.write_bytes(b'{"torn\n' + old)
    assert shop.day().unknown


def test_agents_of_the_day_must_not_meet_those_of_a_step(
    tmp_path: Path, knowledge: Knowledge
) -> None:
    one, other = (_folder(tmp_path, name) for name in ("one", "other"))
    _used(one, "ammonia-1-brush", "ammonia-solution")
    assert ("ammonia-solution", "case of-one") in other.day().used
    agents = [knowledge.agents["acetic-acid"]]
    (line,) = not_beside(knowledge, agents, other.day().used, ())
    assert "ammonia solution (case of-one)" in line.text
    assert line.text.startswith("Used in this room today")


def test_the_plan_says_whether_others_may_work_in_the_room(tmp_path: Path) -> None:
    demo = tmp_path / "demo"
    shutil.copytree(RULES.parent / "cases", demo)
    said = {}
    for others, ledger in (("none", ""), ("some", ""), ("unknown", ""), ("none", "../shared")):
        room = RoomProfile.model_validate({"control": "hood", "others": others, "ledger": ledger})
        for name in ("shared", "x"):
            (tmp_path / name).mkdir(exist_ok=True)
        shop = Workshop(
            consultant(), demo, Bench(room=room), tmp_path / "x" / "bench.yaml", lambda: NOW
        )
        plans = [shop.plan(shop.load(entry.id)) for entry in shop.entries() if not entry.error]
        told = {n.text for plan in plans for n in plan.notices if n.rule == "air-room"}
        aired = any(step.air for plan in plans for step in plan.steps)
        assert aired
        said[others, ledger] = " ".join(told)
    assert said["none", ""] == ""
    assert said["some", ""].startswith("Others work in this room")
    assert said["unknown", ""].startswith("It is not said whether others work")
    assert "what they record there counts" in said["none", "../shared"]
