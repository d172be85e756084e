"""The air of a planned day: each release judged on the ledger of the day, as a step would be."""

from __future__ import annotations

import copy
import math
from dataclasses import replace

from triage.case.profile import Bench
from triage.exposure.day import DayLedger, Release
from triage.history.daytypes import NEVER, Admitted, PutDown
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.plan.airjudge import AirJudge
from triage.plan.liquids import as_done
from triage.plan.substances import given_off


class DayAir:
    """The room's air on one day, with what was released before and what is planned.

    Parameters
    ----------
    knowledge, bench the limits and the room
    ledger           what was released in the last 24 hours already
    """

    def __init__(self, knowledge: Knowledge, bench: Bench, ledger: DayLedger) -> None:
        self.knowledge = knowledge
        self.bench = bench
        self.begun_with = ledger
        self.ledger = ledger
        self._base = AirJudge(knowledge, bench, ledger)
        self.trail: tuple[tuple[str, int, float], ...] = ()
        self._kept: dict[tuple[object, ...], Admitted] = {}

    def fresh(self) -> DayAir:
        """Return the air as it was before anything was planned; verdicts are shared."""
        made = copy.copy(self)
        made.ledger, made.trail = self.begun_with, ()
        return made

    def is_airborne(self, agent: str) -> bool:
        """Return whether an agent can reach the air."""
        return self._base.substance(agent).airborne != "none"

    def reaches(self, method: Method) -> bool:
        """Return whether any agent in the liquid of a method can reach the air."""
        main = method.agent is not None and self.is_airborne(method.agent)
        return main or bool(self._base.further(method, 1.0))

    def admit(self, put_down: PutDown, minute: int) -> Admitted:
        """Return the amount that the air allows at a minute, lowered if need be, and the airing."""
        key = (put_down.method, put_down.before, minute, self.trail)
        if key not in self._kept:
            self._kept[key] = self._admitted(put_down, minute)
        return self._kept[key]

    def _admitted(self, put_down: PutDown, minute: int) -> Admitted:
        method = as_done(self.knowledge, put_down.method, put_down.before)
        choice = AirJudge(self.knowledge, self.bench, self._at(put_down.agent, minute)).choose(
            method
        )
        if choice.refused or choice.amount_ml is None:
            return Admitted(0.0, 0, f"air: {choice.refused}")
        if choice.line is None:
            return Admitted(choice.amount_ml, 0)
        airing = choice.line.reentry_min
        if airing is None:
            # No limit to go by is no reason to wait; a level that never falls is.
            return Admitted(choice.amount_ml, NEVER if choice.line.binding else 0)
        return Admitted(choice.amount_ml, math.ceil(airing))

    def _at(self, agent: str, minute: int) -> DayLedger:
        """Return the ledger with an empty release at a minute: the next one is judged there."""
        marker = Release(max(float(minute), self.ledger.last_min), 0.0, agent)
        return replace(self.ledger, now_min=None).added((marker,), (self._base.substance(agent),))

    def record(self, put_down: PutDown, minute: int, amount_ml: float) -> None:
        """Record a planned release, the further agents in its liquid included."""
        method = as_done(self.knowledge, put_down.method, put_down.before)
        substance = self._base.substance
        made = given_off(self.knowledge, method, put_down.agent, amount_ml, substance)
        if made:
            releases = (Release(float(minute), mg, each.key) for each, mg in made)
            self.ledger = self.ledger.added(releases, (each for each, _ in made))
            self.trail = (*self.trail, (method.id, minute, amount_ml))

    def airing_min(self, agent: str, minute: int) -> int:
        """Return how long the room must be aired from a minute on by what was released [min]."""
        if not self.ledger.releases or agent not in self.knowledge.agents:
            return 0
        verdict = self._base.judge(
            self._base.substance(agent), 0.0, 0.0, 1.0, self._at(agent, minute)
        )
        if verdict.reentry_min is None:
            return NEVER if verdict.binding else 0
        return math.ceil(verdict.reentry_min)
