"""Bench days made by chance, every rule of a day checked anew, and the shortest day by an exact solver."""

import itertools
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from triage.history.daytypes import NEVER, Admitted, PutDown, Task, Visit, chains_of


@dataclass
class PlainAir:
    """Air with a fixed airing for each agent and a cap on the day's millilitres of each."""

    airing: dict[str, int]
    cap_ml: float = float("inf")
    used: dict[str, float] = field(default_factory=dict)

    def admit(self, put_down, minute):
        del minute
        left = self.cap_ml - self.used.get(put_down.agent, 0.0)
        if left < put_down.least_ml:
            return Admitted(0.0, 0, "the air of the day is used up")
        return Admitted(min(put_down.amount_ml, left), self.airing.get(put_down.agent, 0))

    def record(self, put_down, minute, amount_ml):
        del minute
        self.used[put_down.agent] = self.used.get(put_down.agent, 0.0) + amount_ml

    def airing_min(self, agent, minute):
        del agent, minute
        return 0

    def fresh(self):
        return PlainAir(self.airing, self.cap_ml)


AGENTS = ("one", "two", "three")


def random_task(random, case, number, *, airs):
    kind = random.integers(0, 4)
    hands = int(random.integers(2, 16))
    agent = str(random.choice(AGENTS)) if random.random() < 0.6 else None
    put_down = PutDown(agent, 1.0, 0.3) if agent and airs and random.random() < 0.7 else None
    visits = [Visit("whole", hands)]
    if kind >= 2:
        dwell = int(random.integers(15, 120))
        slack = int(random.choice([0, 5, 30, 240]))
        visits = [Visit("start", hands)]
        if random.random() < 0.2:
            visits.append(Visit("look", 3, dwell // 2, dwell // 2 + 10))
        visits.append(Visit("finish", int(random.integers(2, 8)), dwell, dwell + slack))
    rest = int(random.choice([0, 0, 20]))
    return Task(case, f"s{number}", f"step {number}", tuple(visits), agent, put_down, rest)


def random_day(random, cases, *, most_steps=3, airs=True):
    return [
        random_task(random, f"c{case}", number, airs=airs)
        for case in range(cases)
        for number in range(int(random.integers(1, most_steps + 1)))
    ]


def faults_of_day(plan, tasks, hours, now_min=0):
    """Return every rule of the day that a plan breaks; written from the rules, not from the planner."""
    faults = []
    entries = plan.entries
    for one, two in itertools.pairwise(entries):
        if two.begin_min < one.end_min:
            faults.append(f"two things at once: {one} {two}")
    by_step = {}
    for entry in entries:
        by_step.setdefault((entry.case, entry.step), []).append(entry)
        if entry.begin_min < max(hours.opens_min, now_min):
            faults.append(f"before the day begins: {entry}")
        if entry.end_min > hours.closes_min and not entry.late_min:
            faults.append(f"after hours: {entry}")
    out = {(left.case, left.step) for left in plan.left_out}
    later = {}
    for each in plan.later:
        later.setdefault((each.case, each.step), []).append(each)
    for case, chain in chains_of(tasks).items():
        ready, over = 0, False
        for task in chain:
            key = (case, task.step)
            if (key in by_step) == (key in out):
                faults.append(f"neither done nor left out, or both: {key}")
            if key in out:
                over = True
                continue
            if over:
                faults.append(f"done although a step before it is not: {key}")
            done = by_step[key]
            if done[0].begin_min < ready:
                faults.append(f"order or rest within the case broken: {key}")
            if done[0].begin_min < task.from_min:
                faults.append(f"too early: {key}")
            if len(done) + len(later.get(key, ())) != len(task.visits):
                faults.append(f"visits missing: {key}")
            first_end = done[0].begin_min + task.visits[0].hands_min
            for visit, entry in zip(task.visits, done, strict=False):
                if entry.end_min - entry.begin_min != visit.hands_min:
                    faults.append(f"hands-on time cut: {entry}")
                if visit is task.visits[0]:
                    continue
                waited = entry.begin_min - first_end
                if waited < visit.after_min:
                    faults.append(f"dwell cut short: {entry}")
                if waited > visit.until_min:
                    faults.append(f"waited past its stop time: {entry}")
            for each in later.get(key, ()):
                over = True
                if each.kind == "look":
                    continue
                if not any(
                    max(each.first_min, day * 1440 + hours.opens_min)
                    <= min(each.last_min, day * 1440 + hours.closes_min)
                    for day in range(1, 8)
                ):
                    faults.append(f"nobody there when it must end: {each}")
            ready = done[-1].end_min + task.rest_min
    for airing in plan.airings:
        faults += [
            f"at work while the room is aired: {entry} {airing}"
            for entry in entries
            if entry.agent != airing.agent
            and entry.begin_min < airing.end_min
            and entry.end_min > airing.begin_min
            and not entry.late_min
        ]
    return faults


def shortest_day_min(tasks, airing, begins_min, horizon_min=2000):
    """Return the least end of a day [min] by mixed-integer programming: every order is considered.

    Independent of the planner: one variable for each begin, one binary for each pair of visits of
    different cases, and the airing of an agent as a gap before anything that does not use it.
    """
    visits, before = [], []
    for chain in chains_of(tasks).values():
        past = []
        for task in chain:
            own = range(len(visits), len(visits) + len(task.visits))
            for place, visit in enumerate(task.visits):
                airs = airing.get(task.agent, 0) if task.put_down else 0
                ends = place in (0, len(task.visits) - 1)
                visits.append((task, visit, airs if ends else 0))
                if place:
                    low = visits[own[0]][1].hands_min + visit.after_min
                    high = visits[own[0]][1].hands_min + visit.until_min
                    before.append((own[0], own[place], low, high))
                    last_hands = visits[own[place - 1]][1].hands_min
                    before.append((own[place - 1], own[place], last_hands, NEVER))
            for number, last in past:
                earlier, visit, airs = visits[number]
                rest = earlier.rest_min if last else 0
                alike = earlier.agent == task.agent
                gap = visit.hands_min + (0 if alike else airs)
                waits = rest if alike or not airs else 0
                before.append((number, own[0], gap + waits, NEVER))
                before.append((number, own[0], visit.hands_min + rest, NEVER))
            past += [(number, number == own[-1]) for number in own]
    count = len(visits)
    pairs = [
        (a, b)
        for a, b in itertools.combinations(range(count), 2)
        if visits[a][0].case != visits[b][0].case
    ]
    size = count + len(pairs) + 1
    rows, low, high = [], [], []

    def add(terms, least, most):
        row = np.zeros(size)
        for place, factor in terms:
            row[place] += factor
        rows.append(row)
        low.append(least)
        high.append(most)

    def gap(a, b):
        same = visits[a][0].agent == visits[b][0].agent
        return visits[a][1].hands_min + (0 if same else visits[a][2])

    for a, b, least, most in before:
        add([(b, 1), (a, -1)], least, np.inf if most >= NEVER else most)
    for place, (a, b) in enumerate(pairs):
        flag = count + place
        add([(b, 1), (a, -1), (flag, -horizon_min)], gap(a, b) - horizon_min, np.inf)
        add([(a, 1), (b, -1), (flag, horizon_min)], gap(b, a), np.inf)
    for number, (_, visit, _) in enumerate(visits):
        add([(size - 1, 1), (number, -1)], visit.hands_min, np.inf)
    cost = np.zeros(size)
    cost[-1] = 1
    whole = np.ones(size)
    lower = np.concatenate([np.full(count, begins_min), np.zeros(len(pairs)), [begins_min]])
    upper = np.concatenate([np.full(count, horizon_min), np.ones(len(pairs)), [horizon_min]])
    found = milp(
        cost,
        integrality=whole,
        bounds=Bounds(lower, upper),
        constraints=LinearConstraint(np.array(rows), low, high),
        options={"time_limit": 600},
    )
    assert found.success, found.message
    return round(found.fun)
