"""How many questions come before the first useful step, asked in the order of the program.

A person has named the group, what is wanted, in what condition it came and from when, and where
something lies, and has photographed it; everything else is asked. What the account tells is answered so, what it
does not tell of the specimen as on a sound one; of the place nothing more can be told.
"""

from __future__ import annotations

from functools import partial
from statistics import mean, median
from types import SimpleNamespace
from typing import Any, NamedTuple

from tests.casebook.entry import entered
from tests.casebook.model import Account, casebook
from tests.support.intake import READY
from tests.support.knowledge import planner
from triage.case import changes
from triage.engine.casefacts import SPECIMEN
from triage.explain.desk import ExplainDesk
from triage.exposure.day import DayLedger

TOLD = ("aim", "arrival", "age")
LOOKED = {"photographed-before": "yes"}
MOST = 60


class Asked(NamedTuple):
    """The questions that were asked of one account, and whether they led to a step."""

    account: str
    questions: tuple[str, ...]
    leads: bool


def single() -> tuple[Account, ...]:
    """Return the accounts of one finding on which nothing was done yet."""
    return tuple(a for a in casebook()[0] if len(a.given.findings) == 1 and not a.records)


def asked_of(account: Account) -> Asked:
    """Return what is asked until there is a step, the work is refused, or nothing is left to ask."""
    told, bench, _ = entered(account, planner())
    (finding,) = told.findings
    story = {q: answer for q, answer in told.answers.items() if q in TOLD} | LOOKED
    seen = ({"id": finding.id, "zone": finding.zone, "signs": {}},)
    case = changes.new_case(account.id, taxon=told.taxon, answers=story, findings=seen)
    shop: Any = {"bench": bench, "consultant": planner().consultant, "planner": planner()}
    plan_of = partial(planner().plan, bench=bench)
    desk = ExplainDesk(SimpleNamespace(**shop, day=DayLedger, plan=plan_of))  # type: ignore[arg-type]
    known = {**READY, **told.answers}
    asked: list[str] = []
    untold: set[tuple[str, str]] = set()
    while len(asked) < MOST:
        plan = plan_of(case)
        if plan.steps or plan.refused:
            return Asked(account.id, tuple(asked), leads=True)
        found = desk.questions(case, untold)
        if not found:
            break
        line = found[0].line
        asked.append(line.question)
        if line.finding is not None and line.question in finding.signs:
            answer = finding.signs[line.question]
            case = changes.with_sign(case, line.finding, line.question, answer)
        elif line.finding is None and line.question in known:
            case = changes.with_answer(case, line.question, known[line.question])
        else:
            untold.add((line.finding or SPECIMEN, line.question))
    return Asked(account.id, tuple(asked), leads=False)


def asked_table(every: int) -> str:
    """Return how many questions came before the first useful step, of every so-many-th account."""
    found = [asked_of(account) for account in single()[::every]]
    led = [len(each.questions) for each in found if each.leads]
    rest = [len(each.questions) for each in found if not each.leads]
    head = f"median {median(led):g}, mean {mean(led):.1f}, most {max(led)}, of {len(led)} accounts"
    lines = [f"questions before the first useful step: {head} with one finding"]
    if rest:
        after = f"after a median of {median(rest):g} questions"
        lines.append(f"no step in the end, with what the account tells: {len(rest)}, {after}")
    return "\n".join(lines)
