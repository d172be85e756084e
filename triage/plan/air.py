"""The air of a step: judged for this amount in this room, lowered, or left out with the mend."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from triage.case.profile import Bench
from triage.exposure.day import DayLedger, Release
from triage.exposure.inverse import cheapest_control
from triage.exposure.judge import judge_release
from triage.exposure.limits import is_silent
from triage.exposure.space import Room
from triage.exposure.substance import Substance
from triage.exposure.verdict import AirVerdict
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import AirControl, Amount, Method
from triage.plan.model import AirLine, LimitLine
from triage.plan.substances import (
    bare_room,
    controls_of,
    further_of,
    is_plain,
    limit_mg_per_m3,
    release_min_of,
    room_of,
    strength_fraction,
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
        room: Room,
        day: DayLedger | None = None,
    ) -> AirVerdict:
        """Return the verdict on one release in one room on top of the day."""
        terms = self.terms(self.day if day is None else day, share)
        return judge_release(substance, amount_ml, room, minutes, **terms)

    def terms(
        self,
        ledger: DayLedger,
        share: float,
        *,
        no_limit_ok: bool = True,
        ignition_source: bool = False,
    ) -> dict[str, Any]:
        """Return by what a release is judged, the same for a verdict and for its mend.

        A liquid that can flash near a flame is cautioned about in words on its step; the planner
        does not know whether the lamp is lit at that moment.
        """
        return {
            "ledger": ledger,
            "margin": self.margin,
            "judge_by": self.bench.authority,
            "no_limit_ok": no_limit_ok,
            "strength_fraction": share,
            "lel_share": self.knowledge.judgement.lel_share.value,
            "ignition_source": ignition_source,
        }

    def cheapest(
        self, substance: Substance, amount_ml: float, minutes: float, terms: dict[str, Any]
    ) -> AirControl | None:
        """Return the cheapest control under which an amount is acceptable, None if none is."""
        room = bare_room(self.knowledge, self.bench)
        controls = controls_of(self.knowledge)
        found = cheapest_control(controls, substance, amount_ml, room, minutes, **terms)
        return self.knowledge.controls[found.name] if found else None

    def release_min(self, method: Method) -> float:
        """Return the shortest time in which the liquid of one pass can evaporate [min]."""
        return release_min_of(self.knowledge, method)

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
        if self.substance(agent).airborne == "none" and not self.others(method, 1.0, 0.0)[0]:
            return ""
        first, *more = self.day.unknown
        others = f", and {len(more)} more" if more else ""
        return (
            f"What was released in the last 24 hours is not known ({first}{others}): perhaps "
            "much. Mend that first."
        )

    def others(
        self, method: Method, amount_ml: float, start_min: float, minutes: float = 0.0
    ) -> tuple[tuple[Release, ...], tuple[Substance, ...]]:
        """Return what the further agents in the liquid of a method give off, and these agents.

        Parameters
        ----------
        amount_ml working liquid [mL]; all of a further agent in it counts as evaporated
        start_min begin of the release [min of the day]
        minutes   how long it lasts [min]; 0 means at once
        """
        releases, substances = [], []
        for agent, share in further_of(self.knowledge, method):
            substance = self.substance(agent)
            if substance.airborne == "none":
                continue
            mass_mg = amount_ml * (substance.density_g_per_ml or 1.0) * share * 1000.0
            releases.append(Release(start_min, mass_mg, substance.key, minutes))
            substances.append(substance)
        return tuple(releases), tuple(substances)

    def _with_others(self, method: Method, amount_ml: float, minutes: float) -> DayLedger:
        """Return the day with what the further agents in the liquid give off at the same time."""
        now = self.day.now_min
        start = self.day.last_min if now is None else now
        releases, substances = self.others(method, amount_ml, start, minutes)
        if not releases:
            return self.day
        known = {s.key: s for s in (*self.day.substances, *substances)}
        return replace(
            self.day,
            releases=(*self.day.releases, *releases),
            substances=tuple(known.values()),
        )

    def _amounts(
        self, method: Method, agent: str, amount: Amount
    ) -> tuple[float | None, AirVerdict, AirVerdict]:
        """Return the allowed amount (None: not even the least), its verdict, the typical one's."""
        if method.id not in self._judged:
            substance = self.substance(agent)
            share = strength_fraction(method.strength) * amount.open_share
            minutes = self.release_min(method)
            day = self._with_others(method, amount.typical_ml, minutes)
            typical = self.judge(substance, amount.typical_ml, minutes, share, self.room, day)
            found: tuple[float | None, AirVerdict, AirVerdict] = (None, typical, typical)
            if typical.verdict != "over":
                found = (amount.typical_ml, typical, typical)
            else:
                # Rounded down to what a pipette can measure, never up over the limit.
                lowered = int((typical.largest_ok_ml or 0.0) * ROUND_DOWN) / ROUND_DOWN
                if lowered >= amount.least_ml:
                    smaller = self.judge(substance, lowered, minutes, share, self.room, day)
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
        share = strength_fraction(method.strength) * method.amount.open_share
        minutes = self.release_min(method)
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
