"""Cases and benches for tests, built in one line."""

from __future__ import annotations

from typing import Any

from tests.support.intake import SOUND
from triage.case import changes
from triage.case.models import Case
from triage.case.profile import Bench
from triage.knowledge.book import Knowledge
from triage.plan.model import Plan

OILY = {"sheen": "wet-gloss", "setae": "points", "blotter": "oil-spot"}


def case_with(
    taxon: str, zone: str, signs: dict[str, str], *, named: str | None = None, **answers: str
) -> Case:
    """Return a sound case with one finding."""
    known = {**SOUND, **{name.replace("_", "-"): value for name, value in answers.items()}}
    finding: dict[str, Any] = {"id": "f1", "zone": zone, "signs": signs}
    if named:
        finding["named"] = named
    return changes.new_case("x", "test", taxon=taxon, answers=known, findings=[finding])


def full_bench(knowledge: Knowledge, **room: Any) -> Bench:
    """Return a laboratory bench with a hood, every tool, and the whole limit allowed."""
    given = {"control": "hood", "volume_m3": 60, "air_changes_per_h": 6, "place": "lab", **room}
    return Bench.model_validate(
        {
            "name": "laboratory",
            "room": given,
            "equipment": tuple(knowledge.equipment),
            "margin": 1.0,
        }
    )


def rungs(plan: Plan) -> list[str]:
    """Return the methods of the first finding's ladder, without inserted steps."""
    return [s.method for s in plan.steps if s.finding == "f1" and "-before-" not in s.id]
