"""The day's ledger: what all attempts of the last 24 hours released into the bench's room."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from functools import cache

from triage.case.models import Attempt, Case
from triage.case.naming import SUFFIX
from triage.exposure.day import DayLedger, Release
from triage.exposure.substance import Substance
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.plan.substances import (
    LONGEST_RELEASE_MIN,
    further_of,
    given_off,
    is_plain,
    release_min_of,
    substance_of,
)

ROUND_MIN = 5.0
WINDOW = timedelta(hours=24)
ACT = ("at", "step", "method", "agent", "outcome", "amount_ml", "minutes")


def earliest(now: datetime) -> datetime:
    """Return the moment before which no attempt can still count."""
    return now - WINDOW - timedelta(minutes=LONGEST_RELEASE_MIN)


def _not_known(
    knowledge: Knowledge, attempt: Attempt, method: Method | None, main: str | None
) -> str:
    """Return why it is not known what an attempt released, empty if it is known."""
    if attempt.agent is not None and attempt.agent not in knowledge.agents:
        return f'agent "{attempt.agent}" is not known'
    if attempt.method is not None and method is None:
        return f'method "{attempt.method}" is not known'
    if attempt.amount_ml is None:
        agents = [main] if main is not None and not is_plain(knowledge, main) else []
        agents += [agent for agent, _ in further_of(knowledge, method)] if method else []
        for agent in agents:
            entry = knowledge.agents[agent]
            if substance_of(knowledge, entry).airborne != "none":
                return f"no amount of {entry.name} is written down"
    elif attempt.amount_ml > 0 and main is None and method is None:
        return "it is not written down what was used"
    return ""


def day_ledger(
    knowledge: Knowledge, cases: Iterable[Case], now: datetime, unread: Iterable[str] = ()
) -> DayLedger:
    """Return the ledger of the last 24 hours before ``now``.

    Parameters
    ----------
    cases  every case that may hold an attempt of that time
    now    the present moment; minutes count from midnight in its time zone
    unread files that may hold further attempts, each with its fault in words

    Returns
    -------
    Ledger with every attempt whose release had not ended 24 h ago. What lies after ``now`` (a clock
    set back, another time zone) counts as released now. An attempt that does not say what it
    released is named among the unknown. Corrected attempts count as corrected.
    """
    midnight = now.replace(hour=0, minute=0, second=0, microsecond=0).astimezone(UTC)
    moment = now.astimezone(UTC)
    releases: list[Release] = []
    late: list[Release] = []
    unknown = list(unread)
    ahead: list[str] = []
    by_case: set[tuple[str, str]] = set()
    told: dict[tuple[object, ...], str] = {}

    @cache
    def substance(agent: str) -> Substance:
        return substance_of(knowledge, knowledge.agents[agent])

    for case in cases:
        for attempt in case.effective_attempts():
            if attempt.outcome == "not-done":
                continue
            # Two records of one specimen, merged or told in the room, may both hold one act.
            act = (case.origin, *(getattr(attempt, name) for name in ACT))
            if told.setdefault(act, case.id) != case.id:
                continue
            at, method = attempt.at.astimezone(UTC), knowledge.methods.get(attempt.method or "")
            # The main agent: as written down, else that of the method.
            main = attempt.agent or (method.agent if method else None)
            lasting = release_min_of(knowledge, method, attempt.minutes)
            if at + timedelta(minutes=lasting) < moment - WINDOW:
                continue
            name = f"{case.id}{SUFFIX} attempt {attempt.id}"
            why = _not_known(knowledge, attempt, method, main)
            if why:
                unknown.append(f"{name}: {why}")
            known = main if main in knowledge.agents else None
            agents = {known, *(part.agent for part in method.with_)} if method else {known}
            by_case |= {(agent, f"case {case.id}") for agent in agents if agent is not None}
            minute = _minutes_between(midnight, min(at, moment))
            masses = given_off(knowledge, method, known, attempt.amount_ml or 0.0, substance)
            made = [Release(minute, mg, each.key, lasting) for each, mg in masses]
            if at > moment:
                late += made
                # Clocks of two machines differ a little.
                if made and at - moment > timedelta(minutes=ROUND_MIN):
                    ahead.append(name)
            else:
                releases += made
    now_min = _now_min(releases, late, _minutes_between(midnight, moment))
    releases += [Release(now_min or 0.0, r.amount_mg, r.agent, r.release_min) for r in late]
    used = {release.agent for release in releases}
    kept = tuple(substance(key) for key in sorted(used))
    return DayLedger(
        tuple(releases), kept, now_min, tuple(unknown), tuple(ahead), tuple(sorted(by_case))
    )


def _minutes_between(start: datetime, end: datetime) -> float:
    # Whole seconds: the same release is the same number whenever it is looked at.
    return (end - start) // timedelta(seconds=1) / 60


def _now_min(releases: list[Release], late: list[Release], now_min: float) -> float | None:
    """Return the minute at which the next step begins, rounded down: less airing, never more.

    Within a span of a few minutes the plan stays the same to the byte; on a day without releases
    the time of day says nothing and is left out.
    """
    if not releases and not late:
        return None
    rounded = now_min // ROUND_MIN * ROUND_MIN
    return max([rounded, *(release.minute_of_day for release in releases)])
