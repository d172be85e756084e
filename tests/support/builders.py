"""Cases, benches, records and workshops for tests, built in one line."""

from datetime import datetime
from pathlib import Path
from typing import Any

from tests.support.intake import SOUND
from tests.support.knowledge import NOON, planner, shipped
from triage.case import changes
from triage.case.models import Case
from triage.case.profile import Bench
from triage.case.store import create_case
from triage.knowledge.book import Knowledge
from triage.plan.model import Plan
from triage.service.workshop import Workshop, open_workshop

OILY = {"sheen": "wet-gloss", "setae": "points", "blotter": "oil-spot"}
Place = str | tuple[str, dict[str, str] | str]


def specimen(taxon: str, *places: Place, name: str = "x", **answers: str) -> Case:
    """Return a sound case; a place is a zone, alone, with its signs or with what it is named."""
    known = {**SOUND, **{name.replace("_", "-"): value for name, value in answers.items()}}
    findings = []
    for number, place in enumerate(places, start=1):
        zone, said = place if isinstance(place, tuple) else (place, {})
        seen = {"named": said} if isinstance(said, str) else {"signs": said}
        findings.append(changes.new_finding(f"f{number}", zone, **seen))
    return changes.new_case(name, "test", taxon=taxon, answers=known, findings=tuple(findings))


def case_with(
    taxon: str, zone: str, signs: dict[str, str], *, named: str | None = None, **answers: str
) -> Case:
    case = specimen(taxon, (zone, signs), **answers)
    (finding,) = case.findings
    return case.model_copy(update={"findings": (finding.model_copy(update={"named": named}),)})


def done(
    case: Case, method: str, *outcomes: str, deposit: str, at: datetime = NOON, **fields: Any
) -> Case:
    """Return the case after a method was done so often to a condition, or to the finding named."""
    step = f"{fields.get('finding', f'case-{deposit}')}-{method}"
    for outcome in outcomes:
        told = {"deposit": deposit, "method": method, **fields}
        attempt = changes.new_attempt(case.next_attempt_id(), at, step, outcome, **told)
        case = changes.with_attempt(case, attempt)
    return case


def full_bench(knowledge: Knowledge | None = None, **room: Any) -> Bench:
    """Return a laboratory bench with a hood, every tool, and the whole limit allowed."""
    given = {"control": "hood", "volume_m3": 60, "air_changes_per_h": 6, "place": "lab", **room}
    tools = tuple((knowledge or shipped()).equipment)
    told = {"name": "laboratory", "room": given, "equipment": tools, "margin": 1.0}
    return Bench.model_validate(told)


def planned(case: Case) -> Plan:
    return planner().plan(case, full_bench())


def opened(folder: Path, *cases: Case, at: datetime = NOON) -> Workshop:
    """Return the laboratory's workshop over a folder, begun anew at a time, with these cases."""
    for case in cases:
        create_case(folder, case)
    made = open_workshop(cases=folder, clock=lambda: at)
    made.bench = full_bench()
    return made


def rungs(plan: Plan) -> list[str]:
    """Return the methods of the first finding's ladder, without inserted steps."""
    return [s.method for s in plan.steps if s.finding == "f1" and "-before-" not in s.id]
