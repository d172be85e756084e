"""From open cases to a bench day: what each case asks for today, as tasks with visits; its air."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from triage.case.models import Case
from triage.case.naming import one_line
from triage.case.profile import Bench
from triage.errors import TriageError
from triage.exposure.day import DayLedger, Release
from triage.history.columns import Columns
from triage.history.daytypes import (
    DAY_MIN,
    NEVER,
    Admitted,
    Airing,
    DayPlan,
    Hours,
    Later,
    LeftOut,
    PutDown,
    Task,
    Visit,
)
from triage.history.schedule import RUNS_ON, plan_day
from triage.history.timeline import Timeline
from triage.history.watch import Running, chambers_of, running_of
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.plan.airjudge import AirJudge
from triage.plan.answers import dose
from triage.plan.liquids import as_done
from triage.plan.ordering import Item
from triage.plan.outcomes import as_followed
from triage.plan.planner import Planner
from triage.plan.skeleton import Skeleton
from triage.plan.substances import given_off

BAD_INPUT = TriageError.exit_code
LEAST_MINUTES_ON_RECORD = 3
HELD = "held by an attempt that ended badly; release it with a reason first"
REFUSED = "not accepted for work"


def _medians(columns: Columns) -> dict[str, float]:
    known = columns.taken(~np.isnan(columns.minutes) & (columns.minutes > 0))
    found = {}
    for method in np.unique(known.method).tolist():
        minutes = known.minutes[known.method == method]
        if minutes.size >= LEAST_MINUTES_ON_RECORD:
            found[method] = float(np.median(minutes))
    return found


@dataclass(frozen=True)
class BenchDay:
    """The day with the cases it was made from.

    All minutes count from ``midnight``. ``running`` is what runs now, the first end first.
    """

    plan: DayPlan
    midnight: datetime
    hours: Hours
    cases: int
    now: datetime
    running: tuple[Running, ...] = ()


class DayMaker:
    """Makes bench days with one planner, on this bench, on top of what the day released.

    ``columns`` are this bench's own records: the median times in them stand before those of the
    knowledge.
    """

    def __init__(
        self,
        planner: Planner,
        bench: Bench,
        ledger: DayLedger,
        now: datetime,
        columns: Columns | None = None,
    ) -> None:
        self.planner, self.knowledge, self.bench, self.now = planner, planner.knowledge, bench, now
        self.midnight = now.replace(hour=0, minute=0, second=0, microsecond=0)
        self.judge = AirJudge(self.knowledge, bench, ledger)
        self.air = DayAir(self.knowledge, bench, ledger)
        self.medians = {} if columns is None else _medians(columns)

        def whole_min(name: str) -> int:
            return math.ceil(dose(self.knowledge, f"day-{name}").least)

        contacts = {each.contact for each in self.knowledge.techniques.values()}
        self.hands_on = {contact: whole_min(f"hands-on-{contact}") for contact in contacts}
        self.finish, self.rest, self.look = map(whole_min, ("finish", "rest", "look"))
        self.look_window = whole_min("look-window")
        self.stay_beside_min = dose(self.knowledge, "day-stay-beside").least

    def make(
        self, cases: Iterable[Case], hours: Hours, set_aside: Iterable[LeftOut] = ()
    ) -> BenchDay:
        """Return what to do today with these cases in which order; say what was set aside."""
        tasks: list[Task] = []
        notes = list(set_aside)
        later: list[Later] = []
        running: list[Running] = []
        count = 0
        for case in cases:
            count += 1
            running += running_of(self.knowledge, case)
            try:
                own, not_today, runs = self.tasks_of(case)
            except TriageError as fault:
                if fault.exit_code != BAD_INPUT:
                    raise
                # One case with a fault must not stop the day of the others.
                because = fault.line().splitlines()[0]
                notes.append(LeftOut(case.id, "", one_line(case.title), because))
                continue
            tasks += own
            notes += not_today
            later += runs
        now_min = self._minute(self.now)
        # The airing that what was released before still asks for.
        released = [release.agent for release in self.air.ledger.releases]
        airing = self.air.airing_min(released[-1], now_min) if released else 0
        airings = [Airing(now_min, now_min + airing, released[-1])] if airing else ()
        made = plan_day(tasks, Timeline(hours, now_min, self.air, airings))
        runs_on = sorted((*made.later, *later), key=lambda e: (e.first_min, e.case, e.step))
        plan = replace(made, later=tuple(runs_on), left_out=(*notes, *made.left_out))
        first = tuple(sorted(running, key=lambda each: (each.ends, each.case, each.step)))
        return BenchDay(plan, self.midnight, hours, count, self.now, first)

    def _minute(self, moment: datetime, rounded: Callable[[float], int] = math.ceil) -> int:
        return rounded((moment - self.midnight).total_seconds() / 60.0)

    def tasks_of(self, case: Case) -> tuple[list[Task], list[LeftOut], list[Later]]:
        """Return a case's tasks for today, what it cannot do, and what runs on to another day."""
        running = running_of(self.knowledge, case)
        tasks = [*self._looks(case), *self._ends(running)]
        skeleton = self.planner.maker.skeleton(case, self.bench, self.judge)
        if skeleton.refused or skeleton.held:
            because = HELD if skeleton.held else REFUSED
            return tasks, [LeftOut(case.id, "", one_line(case.title), because)], []
        later = [
            Later(
                self._minute(each.ends), self._minute(each.latest), case.id, each.step, each.name,
                "finish",
            )
            for each in running
            if self._minute(each.ends) >= DAY_MIN
        ]  # fmt: skip
        items = _first_rungs(skeleton, {each.step for each in running})
        if later:
            names = [(item.step, self.knowledge.methods[item.method].name) for item in items]
            return tasks, [LeftOut(case.id, *each, RUNS_ON) for each in names], later
        return tasks + [self._task(case, item) for item in items], [], []

    def _looks(self, case: Case) -> list[Task]:
        found = []
        for chamber in chambers_of(self.knowledge, self.bench, case, self.now):
            running, looked = chamber.running, chamber.looked
            # What fell due before now is one look, not several.
            missed = sum(look <= self.now for look in chamber.looks) - 1
            for number, look in enumerate(chamber.looks, start=1):
                due, is_made = self._minute(look), looked is not None and look <= looked
                if is_made or number <= missed or due >= DAY_MIN or look >= running.ends:
                    continue
                found.append(
                    Task(
                        case.id,
                        f"{running.step}-look-{number}",
                        f"look into the chamber: {running.name}",
                        (Visit("look", self.look),),
                        from_min=max(due, 0),
                        until_min=max(due, 0) + self.look_window,
                    )
                )
        return found

    def _ends(self, running: Sequence[Running]) -> list[Task]:
        found = []
        for each in running:
            ends = self._minute(each.ends)
            if ends >= DAY_MIN:
                continue
            method = self.knowledge.methods.get(each.method)
            agent = method.agent if method and method.agent else None
            found.append(
                Task(
                    each.case,
                    each.step,
                    each.name,
                    (Visit("finish", self.finish),),
                    agent=agent,
                    rest_min=self._rest(method),
                    from_min=max(ends, 0),
                    until_min=max(self._minute(each.latest, math.floor), ends, 0),
                )
            )
        return found

    def _rest(self, method: Method | None) -> int:
        wet = method and self.knowledge.techniques[method.technique].wet == "wet"
        return self.rest if wet else 0

    def _task(self, case: Case, item: Item) -> Task:
        method = self.knowledge.methods[item.method]
        put_down = self._put_down(method, item.before)
        return Task(
            case.id,
            item.step,
            method.name,
            self.visits(as_followed(self.knowledge, case, item.method)[0]),
            agent=put_down.agent if put_down else method.agent,
            put_down=put_down,
            rest_min=self._rest(method),
        )

    def visits(self, method: Method) -> tuple[Visit, ...]:
        """Return the hands-on stretches of one pass of a method.

        A dwell that is short enough is waited for at the bench; a longer one leaves the hands
        free between its start and its end, which must come before the longest dwell is over.
        """
        hands = self.hands_on[self.knowledge.techniques[method.technique].contact]
        dwell = method.dwell_s
        if dwell is None or dwell.start / 60.0 <= self.stay_beside_min:
            minutes = hands + (dwell.start / 60.0 if dwell else 0.0)
            return (Visit("whole", max(1, math.ceil(self.medians.get(method.id, minutes)))),)
        most = math.floor(dwell.most / 60.0)
        least = min(math.ceil(dwell.start / 60.0), most)
        looks = (
            Visit("look", self.look, round(hour * 60), round(hour * 60) + self.look_window)
            for hour in method.look_after_h
            if hour * 60 + self.look + self.look_window < least
        )
        return (Visit("start", hands), *looks, Visit("finish", self.finish, least, most))

    def _put_down(self, method: Method, before: str | None = None) -> PutDown | None:
        name = method.id
        method = method if before is None else as_done(self.knowledge, name, before)
        if method.agent is None or method.amount is None or not self.air.reaches(method):
            return None
        agent = self.knowledge.agents[method.agent]
        if not agent.hazards and not agent.limits:
            return None  # such as water: its vapour is no matter
        amount = method.amount
        return PutDown(method.agent, amount.typical_ml, amount.least_ml, name, before)


def _first_rungs(skeleton: Skeleton, running: set[str]) -> list[Item]:
    """Return the first rung of each target with the steps that stand before it, in order.

    What stands behind it depends on its outcome and is not planned. A target whose step runs
    already is left to that.
    """
    busy = {item.target for item in skeleton.items if item.step in running}
    found: list[Item] = []
    done: set[str] = set()
    for item in skeleton.items:
        if item.target in busy or item.target in done:
            continue
        found.append(item)
        if not item.inserted:
            done.add(item.target)
    return found


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

    def reaches(self, method: Method) -> bool:
        """Return whether any agent in the liquid of a method can reach the air."""
        main = method.agent is not None and self._base.substance(method.agent).airborne != "none"
        return main or bool(self._base.further(method, 1.0))

    def admit(self, put_down: PutDown, minute: int) -> Admitted:
        """Return the amount that the air allows at a minute, lowered if need be, and the airing."""
        key = (put_down.method, put_down.before, minute, self.trail)
        if key not in self._kept:
            self._kept[key] = self._admitted(put_down, minute)
        return self._kept[key]

    def _admitted(self, put_down: PutDown, minute: int) -> Admitted:
        method = as_done(self.knowledge, put_down.method, put_down.before)
        there = AirJudge(self.knowledge, self.bench, self._at(put_down.agent, minute))
        choice = there.choose(method)
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
