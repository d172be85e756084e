"""The air of a step: judged for this amount in this room, lowered, or left out with the mend."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property

from triage.case.profile import Bench
from triage.exposure.day import DayLedger, Release
from triage.exposure.judge import cheapest_control, judge_release
from triage.exposure.step import Terms
from triage.exposure.substance import AirVerdict, Substance, is_silent
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import AirControl, Method
from triage.plan.model import AirLine, LimitLine
from triage.plan.substances import (
    bare_room,
    given_off,
    gives_nothing,
    limit_mg_per_m3,
    open_fraction,
    release_min_of,
    room_of,
    substance_of,
)
from triage.units import short

ROUND_DOWN = 100.0
# More benches than one sweep through the controls asks for.
MOST_JUDGES = 16


@dataclass(frozen=True)
class AirChoice:
    """What the air allows of a method: an amount, or nothing; what is not asked is not worked out.

    ``amount_ml`` is None when nothing may be put down, or the method puts nothing down;
    ``because`` says why it is less than usual. ``verdict`` is that of the amount, else of the usual
    one; None where nothing volatile is in it, or where it waits, with the reason in ``waits``.
    """

    judge: AirJudge
    method: Method
    amount_ml: float | None
    because: str = ""
    verdict: AirVerdict | None = None
    waits: str = ""

    @property
    def is_open(self) -> bool:
        """Whether the method may be offered."""
        return not self.waits and (self.verdict is None or self.amount_ml is not None)

    @cached_property
    def line(self) -> AirLine | None:
        """The verdict as the plan shows it."""
        held = self.verdict
        return None if held is None else self.judge.line(self.method.agent or "", held)

    @cached_property
    def refused(self) -> str:
        """Why the method may not be offered, with the mend; empty when it may."""
        method, amount = self.method, self.method.amount
        if self.is_open or self.verdict is None or method.agent is None or amount is None:
            return self.waits
        substance, least = self.judge.substance(method.agent), amount.least_ml
        minutes, terms = self.judge.of_pass(method, least)
        control = self.judge.cheapest(substance, least, minutes, terms)
        mend = "No control listed here makes even the least amount acceptable; use another agent."
        if control is not None:
            mend = f"It becomes possible with: {control.name}, at most {least:g} mL a pass."
        return f"{self.verdict.sentence} {mend}"


class AirJudge:
    """Judges the releases of one bench on one day; results are kept for the life of a plan."""

    def __init__(self, knowledge: Knowledge, bench: Bench, day: DayLedger) -> None:
        self.knowledge = knowledge
        self.bench = bench
        self.day = day
        self.room = room_of(knowledge, bench)
        margin = knowledge.judgement.margin.value
        self.margin = bench.margin if bench.margin is not None else margin
        # The judges of the same day on other benches; all of them share one list.
        self._others: list[AirJudge] = [self]
        self._kept: dict[str, AirChoice] = {}
        # An agent as the arithmetic sees it.
        self.substance = cache(lambda agent: substance_of(knowledge, knowledge.agents[agent]))

    def beside(self, bench: Bench) -> AirJudge:
        """Return the judge of another bench on the same day; the air is judged once for each."""
        air = (bench.room, bench.margin, bench.judge_by)
        for other in self._others:
            if (other.bench.room, other.bench.margin, other.bench.judge_by) == air:
                return other
        made = AirJudge(self.knowledge, bench, self.day)
        made._others = self._others
        if len(self._others) >= MOST_JUDGES:
            del self._others[1:]
        self._others.append(made)
        return made

    def judge(
        self,
        substance: Substance,
        amount_ml: float,
        minutes: float,
        share: float,
        day: DayLedger | None = None,
    ) -> AirVerdict:
        """Return the verdict on one release in the bench's room on top of the day."""
        terms = self.terms(self.day if day is None else day, share)
        return judge_release(substance, amount_ml, self.room, minutes, terms)

    def terms(self, ledger: DayLedger, share: float) -> Terms:
        """Return by what a release is judged, the same for a verdict and for its mend.

        A liquid that can flash near a flame is cautioned about in words on its step; the planner
        does not know whether the lamp is lit at that moment.
        """
        lel_share = self.knowledge.judgement.lel_share.value
        return Terms(ledger, self.margin, self.bench.authority, True, share, lel_share)

    def cheapest(
        self, substance: Substance, amount_ml: float, minutes: float, terms: Terms
    ) -> AirControl | None:
        """Return the cheapest control under which an amount is acceptable, None if none is."""
        room, controls = bare_room(self.knowledge, self.bench), self.knowledge.controls.values()
        return cheapest_control(controls, substance, amount_ml, room, minutes, terms)

    def choose(self, method: Method) -> AirChoice:
        """Return the amount of a method's main agent that the air allows, and how it is judged."""
        if method.id not in self._kept:
            self._kept[method.id] = self._choose(method)
        return self._kept[method.id]

    def _waits(self, method: Method, agent: str) -> str:
        """Return why a method waits until the last 24 hours are known, empty if it need not."""
        if not self.day.unknown:
            return ""
        if self.substance(agent).airborne == "none" and not self.further(method, 1.0):
            return ""
        first, *more = self.day.unknown
        others = f", and {len(more)} more" if more else ""
        return (
            f"What was released in the last 24 hours is not known ({first}{others}): perhaps "
            "much. Mend that first."
        )

    def further(self, method: Method, amount_ml: float) -> list[tuple[Substance, float]]:
        """Return the further agents in a method's liquid that reach the air, and mass [mg]."""
        return given_off(self.knowledge, method, None, amount_ml, self.substance)

    def of_pass(self, method: Method, amount_ml: float) -> tuple[float, Terms]:
        """Return how long a pass gives off [min], and by what its main agent is judged.

        What the further agents in the liquid give off at the same time counts with the day.
        """
        minutes, now = release_min_of(self.knowledge, method), self.day.now_min
        start = self.day.last_min if now is None else now
        made = self.further(method, amount_ml)
        releases = (Release(start, mg, substance.key, minutes) for substance, mg in made)
        day = self.day.added(releases, (substance for substance, _ in made))
        return minutes, self.terms(day, open_fraction(method))

    def _choose(self, method: Method) -> AirChoice:
        amount, agent = method.amount, method.agent
        if agent is None or amount is None or gives_nothing(self.knowledge, method):
            return AirChoice(self, method, amount.typical_ml if amount else None)
        waits = self._waits(method, agent)
        if waits:
            return AirChoice(self, method, None, waits=waits)
        substance, usual = self.substance(agent), amount.typical_ml
        minutes, terms = self.of_pass(method, usual)
        typical = judge_release(substance, usual, self.room, minutes, terms)
        if typical.verdict != "over":
            return AirChoice(self, method, usual, "", typical)
        # Rounded down to what a pipette can measure, never up over the limit.
        lowered = int((typical.largest_ok_ml or 0.0) * ROUND_DOWN) / ROUND_DOWN
        if lowered >= amount.least_ml:
            smaller = judge_release(substance, lowered, self.room, minutes, terms)
            if smaller.verdict != "over":
                because = f"lowered from {usual:g} mL: {typical.sentence}"
                return AirChoice(self, method, lowered, because if lowered < usual else "", smaller)
        return AirChoice(self, method, None, "", typical)

    def line(self, agent_id: str, verdict: AirVerdict) -> AirLine:
        """Return a verdict as the plan shows it, with every published limit."""
        near, ppm = verdict.near, verdict.ppm_per_mg
        control = self.knowledge.controls.get(self.bench.room.control)
        ventilation = control.sentence if control else "Ventilation is not known: judged as none."
        binding = verdict.binding
        return AirLine(
            verdict=verdict.verdict,
            sentence=verdict.sentence,
            ventilation=ventilation,
            peak_mg_per_m3=short(near.peak.high),
            mean_15_min_mg_per_m3=short(near.mean_15_min.high),
            mean_8_h_mg_per_m3=short(near.mean_8_h.high),
            room_peak_mg_per_m3=short(verdict.room.peak.high),
            peak_ppm=None if ppm is None else short(near.peak.high * ppm),
            mean_8_h_ppm=None if ppm is None else short(near.mean_8_h.high * ppm),
            limits=tuple(self._limit_lines(agent_id, verdict)),
            binding=f"{binding.limit.authority} {binding.limit.basis}" if binding else "",
            factor=short(verdict.exceeded_by),
            lel_fraction=short(verdict.lel_fraction),
            can_ignite=verdict.can_ignite,
            reentry_min=short(verdict.reentry_min),
            largest_ok_ml=short(verdict.largest_ok_ml),
            flags=verdict.flags,
            assumptions=verdict.assumptions,
        )

    def _limit_lines(self, agent_id: str, verdict: AirVerdict) -> Iterator[LimitLine]:
        agent = self.knowledge.agents[agent_id]
        vapour = self.knowledge.agents[agent.vapour_of] if agent.vapour_of else agent
        mass = self.substance(agent_id).molar_mass_g_per_mol
        # Two editions of one authority differ in their value only.
        by_key = {
            (r.limit.authority, str(r.limit.basis), r.limit.value_mg_per_m3): r
            for r in verdict.ratios
        }
        chosen = self.knowledge.authorities.get(self.bench.authority or "")
        instead = ""
        if chosen and is_silent(self.substance(agent_id), chosen.id):
            instead = f", instead of {chosen.short}"
        for limit in vapour.limits:
            value = limit_mg_per_m3(self.knowledge, limit, mass) or 0.0
            found = by_key.get((limit.authority, limit.basis.value, value))
            judged = found is not None and found.is_judged
            name = self.knowledge.authorities[limit.authority].name
            yield LimitLine(
                authority=name + (instead if judged and limit.basis != "idlh" else ""),
                basis=limit.basis.value,
                value=limit.value,
                unit=limit.unit,
                edition=limit.edition,
                level_mg_per_m3=short(found.level_mg_per_m3) if found else 0.0,
                limit_mg_per_m3=short(value),
                ratio=short(found.ratio) if found else 0.0,
                judged=judged,
                source=limit.source,
            )
