"""Cases with attempts and running chambers, for the record and the bench day."""

from datetime import timedelta

from tests.support.builders import OILY
from tests.support.intake import TOLD
from tests.support.knowledge import NOON
from triage.case.changes import new_attempt, new_case, with_attempt, with_timer
from triage.case.models import Timer


def greasy(case_id="bee", **answers):
    findings = [{"id": "f1", "zone": "thorax-hairy", "signs": OILY}]
    return new_case(
        case_id, "Bee", taxon="bees-wasps", answers={**TOLD, **answers}, findings=findings
    )


def tried(
    case, *outcomes, method="blot-dry", at=NOON - timedelta(days=2), deposit="grease", **more
):
    for outcome in outcomes:
        number = case.next_attempt_id()
        case = with_attempt(
            case,
            new_attempt(
                number, at + timedelta(minutes=int(number[1:])), f"f1-{method}", outcome, finding="f1",
                zone="thorax-hairy", deposit=deposit, method=method, **more,
            ),
        )  # fmt: skip
    return case


def in_chamber(method, hours_ago, hours):
    started = NOON - timedelta(hours=hours_ago)
    timer = Timer(
        step=f"case-brittle-{method}", started=started, ends=started + timedelta(hours=hours)
    )
    return with_timer(greasy("dry", hydration="dry"), timer)
