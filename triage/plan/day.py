"""The day's ledger: what all attempts of one day, on all cases, released into the bench's room."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime

from triage.case.models import Attempt, Case
from triage.exposure.day import DayLedger, Release
from triage.exposure.substance import Substance
from triage.knowledge.book import Knowledge
from triage.plan.substances import further_of, release_min_of, strength_fraction, substance_of

MG_PER_G = 1000.0
ROUND_MIN = 5.0


def _released_mg(
    knowledge: Knowledge, attempt: Attempt, substances: dict[str, Substance]
) -> Iterator[tuple[str, float]]:
    """Yield (agent, mass that an attempt put down [mg]); all of it counts as evaporated.

    The further agents of the method's liquid count as well as its main one.
    """
    method = knowledge.methods.get(attempt.method or "")
    # Agent, its share of the liquid, and the density it is taken to have if none is known [g/mL].
    parts: list[tuple[str, float, float]] = []
    if attempt.agent is not None and attempt.agent in knowledge.agents:
        share = strength_fraction(method.strength) if method else 1.0
        open_share = method.amount.open_share if method and method.amount else 1.0
        parts.append((attempt.agent, share * open_share, 0.0))
    if method:
        parts += [(agent, share, 1.0) for agent, share in further_of(knowledge, method)]
    for agent, share, unknown in parts:
        substance = substances.setdefault(agent, substance_of(knowledge, knowledge.agents[agent]))
        density = substance.density_g_per_ml or unknown
        mass_mg = (attempt.amount_ml or 0.0) * density * share * MG_PER_G
        if mass_mg > 0 and substance.airborne != "none":
            yield agent, mass_mg


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
            if local.date() != now.date() or attempt.outcome == "not-done":
                continue
            lasting = release_min_of(
                knowledge, knowledge.methods.get(attempt.method or ""), attempt.minutes
            )
            for agent, mass_mg in _released_mg(knowledge, attempt, substances):
                releases.append(Release(_minute(local), mass_mg, agent, lasting))
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
