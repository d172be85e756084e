"""How many questions come before the first useful step, as a user meets them.

A person has named the group, what is wanted, in what condition it came and from when, and where
something lies, and has photographed it; what these answer besides is not asked. Then the program
asks in its own order: at once (`one by one`), or behind the first look at the specimen, whose
lines are confirmed in one go and count as one question, with one more for each that is not as
usual. What the account tells is answered so, what it does not tell of the specimen as on a sound
one; of the place nothing more can be told. Useful is a step, a refusal, and that all is left.
"""

from collections.abc import Iterator
from statistics import mean, median
from typing import NamedTuple

from tests.casebook.entry import entered
from tests.casebook.model import Account, casebook
from tests.support.explaining import desk_on
from tests.support.intake import READY
from tests.support.knowledge import planner
from triage.case import changes
from triage.engine.casefacts import SPECIMEN
from triage.plan.model import Plan
from triage.plan.questions import with_told

TOLD = ("aim", "arrival", "age")
LOOKED = {"photographed-before": "yes"}
MOST = 60
# Where nothing has to move, "leave it" is all that there is to do.
AS_IT_IS = ("picture-as-it-stands", "only-cleaning", "check")


class Asked(NamedTuple):
    """The questions that were asked of one account, and the plan that they led to."""

    account: Account
    questions: tuple[str, ...]
    plan: Plan

    @property
    def leads(self) -> bool:
        return is_useful(self.account, self.plan)


def is_useful(account: Account, plan: Plan) -> bool:
    """Return whether a plan says what to do, or that nothing is to be done."""
    return bool(plan.steps or plan.refused) or (
        account.aim in AS_IT_IS
        and plan.stage != "intake"
        and all(finding.state in ("left", "stopped") for finding in plan.findings)
    )


def single() -> tuple[Account, ...]:
    """Return the accounts of one finding on which nothing was done yet."""
    return tuple(a for a in casebook()[0] if len(a.given.findings) == 1 and not a.records)


def asked_of(account: Account, *, first_look: bool = False) -> Asked:
    """Return what is asked until the plan is useful, or nothing is left to ask."""
    for asked in walk(account, first_look=first_look):
        if asked.leads or len(asked.questions) >= MOST:
            break
    return asked


def walk(account: Account, *, first_look: bool = False) -> Iterator[Asked]:
    """Yield the plan before the first question, and the one after each answer."""
    told, bench, _ = entered(account, planner())
    (finding,) = told.findings
    knowledge, known = planner().knowledge, {**READY, **told.answers}
    story = {q: answer for q, answer in told.answers.items() if q in TOLD} | LOOKED
    asked: list[str] = []
    if first_look:
        usual = {q.id: q.usual for q in knowledge.questions.values() if q.usual}
        looked = {q: known.get(q, answer) for q, answer in usual.items() if q not in story}
        asked = ["first look", *(q for q, answer in looked.items() if answer != usual[q])]
        story |= looked
    seen = ({"id": finding.id, "zone": finding.zone, "signs": {}},)
    case = changes.new_case(account.id, taxon=told.taxon, findings=seen)
    for question, answer in story.items():
        case = with_told(knowledge, case, question, answer)
    desk = desk_on(bench)
    untold: set[tuple[str, str]] = set()
    while True:
        yield Asked(account, tuple(asked), desk.shop.plan(case))
        found = desk.questions(case, untold)
        if not found:
            return
        line = found[0].line
        asked.append(line.question)
        if line.finding is not None and line.question in finding.signs:
            answer = finding.signs[line.question]
            case = changes.with_sign(case, line.finding, line.question, answer)
        elif line.finding is None and line.question in known:
            case = with_told(knowledge, case, line.question, known[line.question])
        else:
            untold.add((line.finding or SPECIMEN, line.question))


def asked_table(every: int) -> str:
    """Return how many questions came before the first useful step, of every so-many-th account."""
    accounts = single()[::every]
    lines = [f"questions before the first useful step, {len(accounts)} accounts of one finding:"]
    for name, first_look in (("one by one", False), ("behind the first look", True)):
        found = [asked_of(account, first_look=first_look) for account in accounts]
        all_ = [len(each.questions) for each in found]
        led = [len(each.questions) for each in found if each.leads]
        lines.append(
            f"{name}: median {median(all_):g}; {_spread(led)} of {len(led)} that led to one"
        )
    return "\n".join(lines)


def _spread(counts: list[int]) -> str:
    return f"median {median(counts):g}, mean {mean(counts):.1f}, most {max(counts)}"
