"""The day's ledger: what all attempts of one day, on all cases, released into the bench's room."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from triage.case.models import Attempt, Case
from triage.exposure.day import DayLedger, Release
from triage.exposure.substance import Substance
from triage.knowledge.book import Knowledge
from triage.plan.substances import release_min_of, strength_fraction, substance_of

MG_PER_G = 1000.0
ROUND_MIN = 5.0


def _released_mg(knowledge: Knowledge, attempt: Attempt, substance: Substance) -> float:
    """Return the mass that an attempt put down [mg]; all of it counts as evaporated."""
    if not attempt.amount_ml or substance.density_g_per_ml is None:
        return 0.0
    method = knowledge.methods.get(attempt.method or "")
    share = strength_fraction(method.strength) if method else 1.0
    if method and method.amount:
        share *= method.amount.open_share
    return attempt.amount_ml * substance.density_g_per_ml * share * MG_PER_G


def day_ledger(knowledge: Knowledge, cases: Iterable[Case], now: datetime) -> DayLedger:
    """Return the ledger of the day of ``now``, in its time zone.

    Attempts whose agent the knowledge does not have, or that put nothing into the air, are left
    out; corrected attempts count as corrected.
    """
    releases: list[Release] = []
    substances: dict[str, Substance] = {}
    for case in cases:
        for attempt in case.effective_attempts():
            local = attempt.at.astimezone(now.tzinfo)
            agent = knowledge.agents.get(attempt.agent or "")
            if local.date() != now.date() or agent is None or attempt.outcome == "not-done":
                continue
            substance = substances.setdefault(agent.id, substance_of(knowledge, agent))
            mass_mg = _released_mg(knowledge, attempt, substance)
            if mass_mg > 0 and substance.airborne != "none":
                method = knowledge.methods.get(attempt.method or "")
                lasting = release_min_of(knowledge, method, attempt.minutes)
                releases.append(Release(_minute(local), mass_mg, agent.id, lasting))
    used = {release.agent for release in releases}
    kept = tuple(substances[key] for key in sorted(used))
    return DayLedger(tuple(releases), kept, _now_min(releases, now))


def _minute(moment: datetime) -> float:
    return moment.hour * 60 + moment.minute + moment.second / 60


def _now_min(releases: list[Release], now: datetime) -> float | None:
    """Return the minute at which the next step begins, rounded down: less airing, never more.

    Within a span of a few minutes the plan stays the same to the byte; on a day without releases
    the time of day says nothing and is left out.
    """
    if not releases:
        return None
    rounded = _minute(now) // ROUND_MIN * ROUND_MIN
    return max(rounded, *(release.minute_of_day for release in releases))
