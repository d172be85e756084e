"""The air of a step: judged for this amount in this room, lowered, or left out with the mend."""

from __future__ import annotations

from dataclasses import dataclass

from triage.case.profile import Bench
from triage.exposure.day import DayLedger, Release
from triage.exposure.judge import cheapest_control, judge_release
from triage.exposure.step import Terms
from triage.exposure.substance import AirVerdict, Substance, is_silent
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import AirControl, Amount, Method
from triage.plan.model import AirLine, LimitLine
from triage.plan.substances import (
    bare_room,
    given_off,
    is_plain,
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


@dataclass(frozen=True, slots=True)
class AirChoice:
    """What the air allows: an amount with its line, or nothing and the reason.

    ``amount_ml`` is None when the step has no volatile agent; ``refused`` is empty when it may
    be offered.
    """

    amount_ml: float | None
    because: str
    line: AirLine | None
    refused: str


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
        self._judged: dict[str, tuple[float | None, AirVerdict, AirVerdict]] = {}
        self._substances: dict[str, Substance] = {}

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

    def substance(self, agent: str) -> Substance:
        """Return an agent as the arithmetic sees it."""
        if agent not in self._substances:
            self._substances[agent] = substance_of(self.knowledge, self.knowledge.agents[agent])
        return self._substances[agent]

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

    def terms(
        self,
        ledger: DayLedger,
        share: float,
        *,
        no_limit_ok: bool = True,
        ignition_source: bool = False,
    ) -> Terms:
        """Return by what a release is judged, the same for a verdict and for its mend.

        A liquid that can flash near a flame is cautioned about in words on its step; the planner
        does not know whether the lamp is lit at that moment.
        """
        return Terms(
            ledger,
            self.margin,
            self.bench.authority,
            no_limit_ok,
            share,
            self.knowledge.judgement.lel_share.value,
            ignition_source,
        )

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

    def permits(self, method: Method) -> bool:
        """Return whether the air allows some amount of a method; the reason is not worked out."""
        if method.id in self._kept:
            return not self._kept[method.id].refused
        if method.agent is None or method.amount is None or self._is_plain(method.agent):
            return True
        if self._waiting(method, method.agent):
            return False
        return self._amounts(method, method.agent, method.amount)[0] is not None

    def _is_plain(self, agent: str) -> bool:
        return is_plain(self.knowledge, agent)

    def _waiting(self, method: Method, agent: str) -> str:
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

    def _with_others(self, method: Method, amount_ml: float, minutes: float) -> DayLedger:
        """Return the day with what the further agents in the liquid give off at the same time."""
        now = self.day.now_min
        start = self.day.last_min if now is None else now
        made = self.further(method, amount_ml)
        releases = (Release(start, mg, substance.key, minutes) for substance, mg in made)
        return self.day.added(releases, (substance for substance, _ in made))

    def _amounts(
        self, method: Method, agent: str, amount: Amount
    ) -> tuple[float | None, AirVerdict, AirVerdict]:
        """Return the allowed amount (None: not even the least), its verdict, the typical one's."""
        if method.id not in self._judged:
            substance = self.substance(agent)
            share = open_fraction(method)
            minutes = release_min_of(self.knowledge, method)
            day = self._with_others(method, amount.typical_ml, minutes)
            typical = self.judge(substance, amount.typical_ml, minutes, share, day)
            found: tuple[float | None, AirVerdict, AirVerdict] = (None, typical, typical)
            if typical.verdict != "over":
                found = (amount.typical_ml, typical, typical)
            else:
                # Rounded down to what a pipette can measure, never up over the limit.
                lowered = int((typical.largest_ok_ml or 0.0) * ROUND_DOWN) / ROUND_DOWN
                if lowered >= amount.least_ml:
                    smaller = self.judge(substance, lowered, minutes, share, day)
                    if smaller.verdict != "over":
                        found = (lowered, smaller, typical)
            self._judged[method.id] = found
        return self._judged[method.id]

    def _choose(self, method: Method) -> AirChoice:
        if method.agent is None or method.amount is None or self._is_plain(method.agent):
            amount = method.amount.typical_ml if method.amount else None
            return AirChoice(amount, "", None, "")
        waiting = self._waiting(method, method.agent)
        if waiting:
            return AirChoice(None, "", None, waiting)
        allowed, verdict, typical = self._amounts(method, method.agent, method.amount)
        line = self.line(method.agent, verdict)
        if allowed is not None:
            lowered = allowed < method.amount.typical_ml
            text = f"lowered from {method.amount.typical_ml:g} mL: {typical.sentence}"
            return AirChoice(allowed, text if lowered else "", line, "")
        share = open_fraction(method)
        minutes = release_min_of(self.knowledge, method)
        least = method.amount.least_ml
        day = self._with_others(method, least, minutes)
        terms = self.terms(day, share)
        control = self.cheapest(self.substance(method.agent), least, minutes, terms)
        mend = "No control listed here makes even the least amount acceptable; use another agent."
        if control is not None:
            mend = f"It becomes possible with: {control.name}, at most {least:g} mL a pass."
        return AirChoice(None, "", line, f"{verdict.sentence} {mend}")

    def line(self, agent_id: str, verdict: AirVerdict) -> AirLine:
        """Return a verdict as the plan shows it, with every published limit."""
        near, room = verdict.near, verdict.room
        mean = near.mean_8_h
        control = self.knowledge.controls.get(self.bench.room.control)
        ventilation = control.sentence if control else "Ventilation is not known: judged as none."
        binding = verdict.binding
        limits = self._limit_lines(agent_id, verdict)
        return AirLine(
            verdict=verdict.verdict,
            sentence=verdict.sentence,
            ventilation=ventilation,
            peak_mg_per_m3=short(near.peak.mg_per_m3.high),
            mean_15_min_mg_per_m3=short(near.mean_15_min.mg_per_m3.high),
            mean_8_h_mg_per_m3=short(mean.mg_per_m3.high),
            room_peak_mg_per_m3=short(room.peak.mg_per_m3.high),
            peak_ppm=short(near.peak.ppm.high) if near.peak.ppm else None,
            mean_8_h_ppm=short(mean.ppm.high) if mean.ppm else None,
            limits=limits,
            binding=f"{binding.limit.authority} {binding.limit.basis}" if binding else "",
            factor=short(verdict.exceeded_by),
            lel_fraction=short(verdict.lel_fraction),
            can_ignite=verdict.can_ignite,
            reentry_min=short(verdict.reentry_min),
            largest_ok_ml=short(verdict.largest_ok_ml),
            flags=verdict.flags,
            assumptions=verdict.assumptions,
        )

    def _limit_lines(self, agent_id: str, verdict: AirVerdict) -> tuple[LimitLine, ...]:
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
        lines = []
        for limit in vapour.limits:
            value = limit_mg_per_m3(self.knowledge, limit, mass) or 0.0
            found = by_key.get((limit.authority, limit.basis.value, value))
            lines.append(
                LimitLine(
                    authority=self.knowledge.authorities[limit.authority].name
                    + (instead if found and found.is_judged and limit.basis != "idlh" else ""),
                    basis=limit.basis.value,
                    value=limit.value,
                    unit=limit.unit,
                    edition=limit.edition,
                    level_mg_per_m3=short(found.level_mg_per_m3) if found else 0.0,
                    limit_mg_per_m3=short(value),
                    ratio=short(found.ratio) if found else 0.0,
                    judged=bool(found and found.is_judged),
                    source=limit.source,
                )
            )
        return tuple(lines)
