"""Mould and old poison that are seen, from the intake to the plan, as a user types it.

Beside each check stands its source. Where two sources are named, the first gives the fact and the
second the practice.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.support.running import Runner, runner
from triage.knowledge.book import Knowledge

# All that is asked of a specimen before the work, answered so that nothing stands in its way.
HARMLESS = {
    "worth-it": "yes",
    "photographed-before": "yes",
    "whole": "whole",
    "lacquered": "no",
    "old-poison-signs": "no",
    "live-pest-signs": "no",
    "urticating-hairs": "no",
    "mouldy-smell": "no",
    "age": "since-1990",
    "size": "medium",
    "cracks": "none",
    "missing-parts": "none",
    "pest-holes": "none",
    "hydration": "dry",
    "joints-stuck": "none",
    "pin": "none",
    "storage-wanted": "dry",
    "relaxed-before": "never",
    "old-ethanol-strong": "no",
}
ISOLATE, REFER = "isolate-dry-mould", "refer-poison"
THREADS = ("texture=threads", "colour=rust-red", "symmetry=irregular")
GRAINS = ("colour=white", "texture=grains")
#: what blows, brushes or picks in the open room, and so stirs up what lies loose
RAISES_DUST = {
    "puff-air",
    "puff-extract",
    "brush-dry-soft",
    "brush-single-hair",
    "brush-suction",
    "pick-sticky",
    "pick-dry",
    "air-out",
    "dry-hair-moving-air",
    "ultrasonic-burst",
}
OPEN_AIR = RAISES_DUST - {
    "puff-extract",
    "brush-suction",
    "air-out",
    "pick-dry",
    "ultrasonic-burst",
}
Plan = dict[str, Any]


class User:
    """Types commands about one specimen and reads the plan."""

    def __init__(self, run: Runner, home: Path) -> None:
        self.run, self.home = run, home

    def type(self, *words: str) -> str:
        ran = self.run(*words)
        assert ran.returncode == 0, (words, ran.stderr)
        return ran.stdout

    def takes_in(self, taxon: str = "butterflies-moths", **answers: str) -> None:
        given = HARMLESS | {name.replace("_", "-"): answer for name, answer in answers.items()}
        known = [f"{name}={answer}" for name, answer in given.items() if answer != "unknown"]
        self.type("new", "Specimen", "--taxon", taxon, "--id", "one")
        self.type("answer", "one", *known)

    def sees(self, zone: str, *signs: str) -> Plan:
        self.type("see", "one", "--zone", zone, *signs)
        return self.plan()

    def plan(self) -> Plan:
        found: Plan = json.loads(self.type("plan", "one", "--json"))
        return found

    def bench(self, **told: Any) -> None:
        folder = self.home / "cases"
        folder.mkdir()
        text = yaml.safe_dump({"format": 1, "name": "bench", **told})
        (folder / "bench.yaml").write_text(text, encoding="utf-8")


@pytest.fixture
def user(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> User:
    return User(runner(tmp_path, monkeypatch, capsys), tmp_path)


def methods(plan: Plan) -> list[str]:
    return [step["method"] for step in plan["steps"]]


def said(plan: Plan) -> str:
    """All that the plan tells about gates and questions, in lower case."""
    words = [n["text"] for n in plan["notices"]] + [q["ask"] for q in plan["questions"]]
    return " ".join(words).lower()


def is_damp(knowledge: Knowledge, method: str) -> bool:
    return knowledge.techniques[knowledge.methods[method].technique].wet != "dry"


# --- mould -------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("smell", "hydration", "signs"),
    [
        ("no", "dry", THREADS),
        ("no", "supple", THREADS),
        ("unknown", "unknown", THREADS),
        ("yes", "dry", THREADS),
        ("no", "dry", ("texture=threads",)),
        ("no", "supple", ("dry-brush=springs-back",)),
        ("no", "dry", ("smell=musty",)),
        ("unknown", "dry", ("smell=musty",)),
        ("no", "dry", ("--named", "mould")),
    ],
)
def test_mould_that_is_seen_is_isolated_and_dried_before_anything_else(
    user: User, smell: str, hydration: str, signs: tuple[str, ...]
) -> None:
    # The National Archives (UK), Mould in archive collections: nothing is treated while mould is
    # active; it is first dried for 48 h or more below 50 % relative humidity, away from the rest.
    user.takes_in(mouldy_smell=smell, hydration=hydration)
    plan = user.sees("wing-scaled", *signs)
    assert plan["stage"] == "intake"
    assert methods(plan)[:1] == [ISOLATE]
    assert set(methods(plan)) <= {ISOLATE}
    assert "isolate and dry it" in said(plan)


def test_a_dry_moth_with_rusty_threads_goes_into_no_damp_chamber(
    user: User, knowledge: Knowledge
) -> None:
    # Texas conservation emergency group on mould, 2019: it grows above 65 % relative humidity.
    user.takes_in()
    plan = user.sees("wing-scaled", *THREADS)
    assert not [m for m in methods(plan) if is_damp(knowledge, m)]
    assert plan["steps"][0]["method"] == ISOLATE
    told = user.type("plan", "one")
    assert "NOW: isolate and dry" in told
    assert "damp would feed mould" in " ".join(told.split())


def test_that_it_does_not_smell_musty_does_not_take_the_isolation_back(user: User) -> None:
    # judgement: threads are seen, a smell is only missed.
    user.takes_in(mouldy_smell="yes")
    assert methods(user.sees("antenna", *THREADS)) == [ISOLATE]
    user.type("answer", "one", "mouldy-smell=no")
    assert methods(user.plan()) == [ISOLATE]


def test_that_there_is_no_mould_does_not_outvote_threads_that_are_seen(user: User) -> None:
    # judgement: of two answers that contradict each other the careful one holds.
    user.takes_in(mould_dried="no-mould")
    assert methods(user.sees("antenna", *THREADS)) == [ISOLATE]


def test_once_it_is_dried_the_work_goes_on_without_open_air_on_the_growth(user: User) -> None:
    # The National Archives (UK): treatment follows when the mould is dry. National Park Service,
    # Preservation Matters, Mold: spores spread by air movement and by contact.
    user.bench(room={"control": "hood"}, equipment=["hepa-suction", "respirator-particle"])
    user.takes_in(taxon="bees-wasps", hydration="supple")
    step = user.sees("thorax-hairy", *THREADS)["steps"][0]
    user.type("record", "one", "--step", step["id"], "--outcome", "cleared")
    plan = user.plan()
    assert plan["stage"] == "clean"
    assert methods(plan)[0] == "puff-extract"
    assert "brush-suction" in methods(plan)
    assert not OPEN_AIR & set(methods(plan))


@pytest.mark.parametrize("outcome", ["better", "no-change", "not-done"])
def test_growth_that_is_not_dry_yet_still_bars_the_way(user: User, outcome: str) -> None:
    # The National Archives (UK): treatment should not be undertaken while mould is active.
    user.bench(room={"control": "hood"}, equipment=["hepa-suction", "respirator-particle"])
    user.takes_in(taxon="bees-wasps", hydration="supple")
    step = user.sees("thorax-hairy", *THREADS)["steps"][0]
    user.type("record", "one", "--step", step["id"], "--outcome", outcome)
    plan = user.plan()
    assert plan["stage"] == "intake"
    assert set(methods(plan)) <= {ISOLATE}


@pytest.mark.parametrize(
    ("room", "equipment", "lacking"),
    [
        ({"control": "hood"}, ["hepa-suction"], "respirator"),
        ({"control": "hood"}, ["respirator-particle"], "suction"),
        ({"control": "window"}, [], "extract"),
    ],
)
def test_dried_mould_is_brushed_only_with_mask_and_filtered_suction(
    user: User, room: dict[str, str], equipment: list[str], lacking: str
) -> None:
    # National Park Service, Preservation Matters, Mold: protective equipment is imperative. The
    # National Archives (UK): a soft brush toward the nozzle of a vacuum with high-efficiency filter.
    user.bench(room=room, equipment=equipment)
    user.takes_in(taxon="bees-wasps", hydration="supple", mould_dried="dried")
    plan = user.sees("thorax-hairy", *THREADS)
    assert not {"brush-suction", *OPEN_AIR} & set(methods(plan))
    reasons = [
        e["because"] for e in plan["excluded"] if e["method"] in ("brush-suction", "puff-extract")
    ]
    assert any(lacking in because for because in reasons)


@pytest.mark.parametrize(
    "signs",
    [
        ("colour=white", "symmetry=irregular"),
        ("damp-before=yes",),
        ("texture=grains", "damp-before=yes"),
    ],
)
@pytest.mark.parametrize("hydration", ["dry", "supple"])
def test_where_mould_is_only_suspected_it_is_asked_and_nothing_gets_damp_or_is_blown(
    user: User, knowledge: Knowledge, signs: tuple[str, ...], hydration: str
) -> None:
    # Texas conservation emergency group on mould, 2019, for the damp; National Park Service,
    # Preservation Matters, Mold, for the air. That a gap is asked about first is judgement.
    user.takes_in(taxon="bees-wasps", hydration=hydration)
    plan = user.sees("thorax-hairy", *signs)
    assert not [m for m in methods(plan) if is_damp(knowledge, m) or m in RAISES_DUST]
    assert "may be mould" in said(plan)
    assert plan["questions"]
    user.type("answer", "one", "mould-dried=not-yet")
    assert methods(user.plan()) == [ISOLATE]
    user.type("answer", "one", "mould-dried=no-mould")
    assert user.plan()["stage"] != "intake"


def test_while_mould_dries_no_stop_sign_sends_for_damp(user: User) -> None:
    # Texas conservation emergency group on mould, 2019: damp makes it grow.
    user.takes_in()
    step = user.sees("wing-scaled", *THREADS)["steps"][0]
    advice = " ".join(stop["then"] for stop in step["stop_points"]).lower()
    assert "humid air" not in advice
    assert "isolate and dry" not in advice  # this is that step


# --- old poison --------------------------------------------------------------------------------
PLACES = [
    ("leg-joint", ()),
    ("wing-hinge", ()),
    ("pin-contact", ()),
    ("thorax-hairy", ("where-on-body=underside-too",)),
    ("thorax-hairy", ("where-on-body=at-pin-or-card",)),
    ("thorax-hairy", ("where-on-body=suture-membranes",)),
]


@pytest.mark.parametrize(
    ("age", "texture", "zone", "where"),
    [
        *[("before-1990", "grains", *place) for place in PLACES],
        *[("unknown", "grains", *place) for place in PLACES],
        *[("before-1990", "crust", *place) for place in PLACES[2:4]],
    ],
)
def test_white_grains_on_what_is_old_may_be_poison_although_no_sign_was_seen(
    user: User, age: str, texture: str, zone: str, where: tuple[str, ...]
) -> None:
    # University of Melbourne, Procedures for identification of arsenic: look for powdery or
    # crystalline deposits; test all from before the 1980s. Browne, Practical Taxidermy: the mercury
    # bath for insects dries to a white stain; it was touched to the underside of doubtful ones.
    user.takes_in(taxon="bees-wasps", hydration="supple", age=age, old_poison_signs="no")
    plan = user.sees(zone, "colour=white", f"texture={texture}", *where)
    found = plan["findings"][0]
    standings = {a["deposit"]: a["standing"] for a in found["alternatives"]} | {
        found["deposit"]: found["standing"]
    }
    assert standings.get("old-poison-salt") in ("suspected", "likely", "settled")
    assert methods(plan) == [REFER]
    assert not RAISES_DUST & set(methods(plan))
    barred = {e["method"] for e in plan["excluded"] if e["interlock"]}
    assert barred >= RAISES_DUST
    assert "old poison is in question" in said(plan)
    asked = [q["question"] for q in plan["questions"]]
    assert "laboratory-result" in asked
    assert ("age" in asked) == (age == "unknown")


@pytest.mark.parametrize(
    ("zone", "signs", "answers"),
    [
        ("leg-joint", GRAINS, {"age": "since-1990"}),
        ("leg-joint", GRAINS, {"age": "before-1990", "laboratory_result": "clear"}),
        ("leg-joint", ("colour=brown-black", "texture=grains"), {"age": "before-1990"}),
        ("elytra", (*GRAINS, "where-on-body=upper-side-only"), {"age": "before-1990"}),
    ],
)
def test_other_grains_and_cleared_specimens_are_not_sent_to_a_laboratory(
    user: User, zone: str, signs: tuple[str, ...], answers: dict[str, str]
) -> None:
    # Cleaning protocol for mercuric chloride, Collection Forum 30: its use ended in the mid-1980s.
    # Strekopytov, Spectroscopy Europe 27(4), 2015: a laboratory can tell.
    user.takes_in(taxon="beetles", hydration="supple", **answers)
    plan = user.sees(zone, *signs)
    assert plan["stage"] != "intake"
    assert REFER not in methods(plan)


def test_the_age_opens_the_way_where_it_was_only_not_known(user: User) -> None:
    # Cleaning protocol for mercuric chloride, Collection Forum 30: its use ended in the mid-1980s.
    user.takes_in(taxon="beetles", hydration="supple", age="unknown")
    assert methods(user.sees("leg-joint", *GRAINS)) == [REFER]
    user.type("answer", "one", "age=since-1990")
    plan = user.plan()
    assert plan["stage"] == "clean"
    assert REFER not in methods(plan)


def test_grains_on_one_part_bar_the_puffer_from_all_of_the_insect(user: User) -> None:
    # Environmental Monitoring and Assessment, doi 10.1007/s10661-019-7495-z: poison travels in dust.
    user.takes_in(taxon="beetles", hydration="supple", age="before-1990")
    user.sees("elytra", "colour=mixed-grains", "texture=grains", "puff=moves")
    plan = user.sees("leg-joint", *GRAINS)
    assert methods(plan) == [REFER]
    barred = {e["method"] for e in plan["excluded"] if e["interlock"] and e["finding"] == "f1"}
    assert "puff-air" in barred


def test_a_box_that_may_be_poisoned_is_shut_before_its_mould_is_dried(user: User) -> None:
    # judgement: what may be poisoned is labelled and shut before it is carried.
    user.takes_in(age="before-1990")
    user.sees("wing-hinge", *GRAINS)
    assert methods(user.sees("antenna", *THREADS)) == [REFER, ISOLATE]
