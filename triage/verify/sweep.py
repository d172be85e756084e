"""The exhaustive sweep: every combination against every promise, on all cores."""

from __future__ import annotations

import multiprocessing
import os
import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from triage.case.models import Case
from triage.engine.consult import Consultant
from triage.engine.vocabulary import NONE, UNKNOWN
from triage.exposure.day import DayLedger
from triage.knowledge.load import load_knowledge
from triage.plan.planner import Planner
from triage.verify.axes import (
    BEST,
    EMPTY_SHELF,
    EVERY_CIRCUMSTANCE,
    HYDRATION,
    Axes,
    Combination,
    axes_of,
)
from triage.verify.invariants import COMBINATION, PAIRS, SCENE, Pair
from triage.verify.scene import Scene, SceneMaker
from triage.verify.steps import END, STEPS, Shown
from triage.verify.tally import Tally, check_all
from triage.verify.walk import WALK, Walker

ZONES_A_TASK = 22
Progress = Callable[[int, int], None]
Place = tuple[str, str, str, str]


def promises() -> tuple[Any, ...]:
    """Return every promise that the sweep checks."""
    return (*COMBINATION, *SCENE, *PAIRS.values(), *WALK, *STEPS, *END)


@dataclass(frozen=True, slots=True)
class Task:
    """One deposit in some zones; the unknown zone is always looked at first, to compare with."""

    deposit: str
    zones: tuple[str, ...]


class Sweeper:
    """Sweeps parts of the axes in one process."""

    def __init__(self, consultant: Consultant, axes: Axes) -> None:
        self.consultant = consultant
        self.axes = axes
        self.maker = SceneMaker(consultant, axes)
        self.walker = Walker(consultant, self.maker.maker)
        self.planners = {name: Planner(consultant) for name in axes.benches}
        self._checked: set[tuple[object, ...]] = set()
        self._walked: set[tuple[object, ...]] = set()
        self._shown: set[tuple[str, str]] = set()

    def sweep(self, task: Task) -> Tally:
        """Return the tally of one deposit in some zones."""
        tally = Tally()
        unknown = self._zone(task.deposit, UNKNOWN, tally, counted=UNKNOWN in task.zones)
        for zone in task.zones:
            if zone != UNKNOWN:
                scenes = self._zone(task.deposit, zone, tally, counted=True)
                self._pair("unknown-zone-permits-no-more", unknown, scenes, lambda p: p, tally)
        return tally

    def _zone(self, deposit: str, zone: str, tally: Tally, *, counted: bool) -> dict[Place, Scene]:
        scenes: dict[Place, Scene] = {}
        for combination in self.axes.of_zone(deposit, zone):
            for scene in self.maker.scenes(combination):
                place = (
                    combination.taxon,
                    combination.floor,
                    combination.hydration,
                    scene.bench.name,
                )
                scenes[place] = scene
                if counted:
                    self._check(scene, tally)
        if counted:
            tally.combinations += len(scenes)
            self._pairs(scenes, tally)
            for invariant in SCENE:
                tally.checked[invariant.name] += tally.alike
            tally.alike = 0
        return scenes

    def _check(self, scene: Scene, tally: Tally) -> None:
        where = (scene.combination, scene.bench.name)
        check_all(COMBINATION, scene, where, tally)
        # Scenes that agree in all that these promises look at are checked once and counted each.
        key = (scene.kept.number, scene.combination.zone, scene.fragility, scene.is_soft, where[1])
        if key in self._checked:
            tally.alike += 1
            return
        before = sum(tally.broken.values())
        check_all(SCENE, scene, where, tally)
        if sum(tally.broken.values()) == before:
            self._checked.add(key)
        if (scene.settled, scene.kept.walk_key) not in self._walked:
            self._walked.add((scene.settled, scene.kept.walk_key))
            self._walk(scene, tally)
        elif not self._shown.issuperset((where[1], method) for method in scene.steps):
            self._show(self.axes.case(scene.combination), scene, tally)

    def _walk(self, scene: Scene, tally: Tally) -> None:
        """Walk one ladder to its end, then look at the complete plans of its beginning and end."""
        case = last = self.axes.case(scene.combination)
        where = (scene.combination, scene.bench.name)
        judge = self.maker.judges[scene.bench.name]
        tally.walks += 1
        for walked, after in self.walker.walk(case, scene.bench, judge):
            last = after
            tally.outcomes += 1
            check_all(WALK, walked, where, tally)
        self._show(case, scene, tally)
        if last is not case:
            self._show(last, scene, tally)

    def _show(self, case: Case, scene: Scene, tally: Tally) -> None:
        """Make the complete plan of a case and check each of its steps."""
        where = (scene.combination, scene.bench.name)
        plan = self.planners[scene.bench.name].plan(case, scene.bench, DayLedger())
        tally.plans += 1
        for step in plan.steps:
            tally.steps += 1
            self._shown.add((scene.bench.name, step.method))
            shown = Shown(self.consultant.knowledge, step)
            check_all(STEPS, shown, (step.id, *where), tally)
        check_all(END, plan, where, tally)

    # -- pairs --------------------------------------------------------------------------------

    def _pairs(self, scenes: dict[Place, Scene], tally: Tally) -> None:
        """Compare each scene with those that are less known, frailer or worse equipped."""
        known_air = {p: s for p, s in scenes.items() if s.bench.room.control == p[3]}
        best = {p: s for p, s in scenes.items() if p[3] == BEST}
        plain = next(iter(self.axes.floors))
        sturdy = {p: s for p, s in scenes.items() if p[1] == plain}
        for name, more, place, value in (
            ("unknown-group-permits-no-more", scenes, 0, UNKNOWN),
            ("unknown-hydration-permits-no-more", scenes, 2, UNKNOWN),
            ("unknown-air-permits-no-more", known_air, 3, UNKNOWN),
            ("no-air-permits-no-more", known_air, 3, NONE),
            ("circumstances-permit-no-more", best, 3, EVERY_CIRCUMSTANCE),
            ("empty-shelf-permits-no-more", best, 3, EMPTY_SHELF),
            *(("hazard-permits-no-more", sturdy, 1, floor) for floor in self.axes.floors),
        ):
            self._pair(name, scenes, more, _with(place, value), tally)

    def _pair(
        self,
        name: str,
        less: dict[Place, Scene],
        more: dict[Place, Scene],
        partner: Callable[[Place], Place],
        tally: Tally,
    ) -> None:
        invariant = PAIRS[name]
        count = 0
        for place, scene in more.items():
            worse = less.get(partner(place))
            if worse is None or worse is scene:
                continue
            count += 1
            if worse.kept.finding_steps and scene.ruled_out(worse.kept.finding_steps):
                pair = Pair(worse, scene)
                tally.note(name, invariant.broken(pair), (scene.combination, place[3]))
                count -= 1
        tally.checked[name] += count


def _with(at: int, value: str) -> Callable[[Place], Place]:
    """Return a function that puts a value into one part of a place."""

    def partner(place: Place) -> Place:
        parts = list(place)
        parts[at] = value
        return parts[0], parts[1], parts[2], parts[3]

    return partner


# -- several processes ----------------------------------------------------------------------------


def tasks_of(axes: Axes) -> list[Task]:
    """Return the parts into which a sweep is split."""
    zones = axes.zones
    parts = [zones[at : at + ZONES_A_TASK] for at in range(0, len(zones), ZONES_A_TASK)]
    return [Task(deposit, part) for deposit in axes.deposits for part in parts]


_sweeper: list[Sweeper] = []


def _begin(rules: str) -> None:
    consultant = Consultant(load_knowledge(rules))
    _sweeper[:] = [Sweeper(consultant, axes_of(consultant))]


def _run(task: Task) -> Tally:
    return _sweeper[0].sweep(task)


def sweep_all(rules: Path, jobs: int | None = None, progress: Progress | None = None) -> Tally:
    """Return the tally of the whole sweep over a rules folder.

    Parameters
    ----------
    rules    rules folder; each process loads it
    jobs     number of processes, all cores by default
    progress called with parts done and parts in all
    """
    axes = axes_of(Consultant(load_knowledge(rules)))
    tasks = tasks_of(axes)
    total = Tally()
    context = multiprocessing.get_context("spawn")
    with context.Pool(jobs or os.cpu_count() or 1, _begin, (str(rules),)) as pool:
        for done, tally in enumerate(pool.imap_unordered(_run, tasks), start=1):
            total.add(tally)
            if progress is not None:
                progress(done, len(tasks))
    return total


def strata(axes: Axes, seed: int, size: int = 3) -> Iterator[tuple[Axes, Sequence[Task]]]:
    """Yield small parts of the axes in which each value of each dimension comes up.

    Each part holds ``size`` known values of each dimension, the unknown ones, and all deposits.
    """
    rng = random.Random(seed)  # noqa: S311  (a sample, not a secret)
    mixed: dict[str, list[str]] = {
        "zones": [z for z in axes.zones if z != UNKNOWN],
        "taxa": [t for t in axes.taxa if t != UNKNOWN],
        "hydrations": [h for h in axes.hydrations if h != UNKNOWN],
    }
    for values in mixed.values():
        rng.shuffle(values)
    longest = max(len(values) for values in mixed.values())
    for start in range(0, longest, size):
        chosen = {
            name: (*(values[(start + i) % len(values)] for i in range(size)), UNKNOWN)
            for name, values in mixed.items()
        }
        chosen["hydrations"] = tuple(dict.fromkeys((axes.base[HYDRATION], *chosen["hydrations"])))
        part = replace(axes, **chosen)  # type: ignore[arg-type]
        yield part, [Task(deposit, part.zones) for deposit in part.deposits]


def describe(combination: Combination) -> str:
    """Return a combination in words."""
    return (
        f"{combination.deposit} on {combination.zone} of {combination.taxon}, "
        f"{combination.floor}, {combination.hydration}"
    )
