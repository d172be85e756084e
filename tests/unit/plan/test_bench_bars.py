"""What the bench refuses, lacks or cannot wear stays out of the plan, with the reason."""

from __future__ import annotations

from typing import Any

import pytest

from tests.support.builders import case_with
from tests.support.intake import SOUND
from triage.case.changes import new_case, new_finding
from triage.case.profile import Bench
from triage.errors import TriageError
from triage.knowledge.book import Knowledge
from triage.plan.ladder import check_bench
from triage.plan.planner import Planner


def test_unknown_ids_of_a_bench_are_refused_together(knowledge: Knowledge) -> None:
    bench = Bench.model_validate({"gloves": ("rubbr",), "circumstances": ("pregnant",)})
    with pytest.raises(TriageError) as told:
        check_bench(knowledge, bench)
    assert "rubbr" in told.value.line()
    assert 'did you mean "pregnancy"' in told.value.line()


def test_where_only_the_bench_keeps_the_next_step_away_the_plan_says_what_is_missing(
    planner: Planner,
) -> None:
    # Pests are killed by cold (museum-freezing-1999), and only a dry insect is frozen.
    case = case_with("beetles", "elytra", {}, live_pest_signs="yes", hydration="dry")
    equipped, bare = (planner.plan(case, b) for b in (Bench(), Bench(lacking=("freezer",))))
    assert equipped.steps
    assert bare.steps == ()
    missing = [[n.text for n in p.notices if n.rule == "bench-lacks"] for p in (equipped, bare)]
    assert missing[0] == []
    (text,) = missing[1]
    assert "freezer" in text
    assert equipped.steps[0].name in text


MOULDY = {"texture": "threads", "likeness": "hyphae", "colour": "white", "nature": "lies-on"}
MOULDY |= {"damp-before": "yes", "setae": "none", "symmetry": "irregular", "uv-look": "dark"}
FRASS = {"texture": "pellets", "dry-brush": "moves", "colour": "brown-black", "puff": "part-moves"}


@pytest.mark.parametrize(
    ("signs", "answers", "without", "wearing"),
    [
        (MOULDY, {"mould-dried": "dried", "hydration": "supple"}, set(), {"ethanol-70-brush"}),
        (FRASS, {"live-pest-signs": "frozen"}, {"pick-sticky"}, {"brush-dry-soft", "pick-sticky"}),
    ],
)
def test_a_step_whose_mask_the_bench_lacks_is_not_next_and_what_lacks_is_told(
    planner: Planner, signs: Any, answers: Any, without: set[str], wearing: set[str]
) -> None:
    # Protective gear is imperative for mould: nps-mold. Hairs of skins fly: carpet-beetles-cutis.
    found = new_finding("f1", "elytra", signs={**signs, "keep": "no"})
    told = {**SOUND, "arrival": "set-on-pin", "aim": "only-cleaning", "hydration": "dry", **answers}
    case = new_case("m", "m", taxon="beetles", answers=told, findings=(found,))
    room = {"control": "window", "place": "home"}
    bare = planner.plan(case, Bench.model_validate({"name": "b", "room": room}))
    mask = {"name": "b", "room": room, "equipment": ("respirator-particle",)}
    worn = planner.plan(case, Bench.model_validate(mask))
    assert {s.method for s in bare.steps if s.stage == "clean"} == without
    assert wearing <= {s.method for s in worn.steps}
    said = [n.text for n in bare.notices if n.kind == "bench"]
    said += [e.because for e in bare.excluded if e.offered]
    assert any("particle mask" in text for text in said)
