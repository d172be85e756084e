"""The exhaustive sweep: every combination against every promise, on all cores."""

import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from tests.proof.axes import (
    BEST,
    EMPTY_SHELF,
    EVERY_CIRCUMSTANCE,
    HYDRATION,
    TOO_WET,
    Answers,
    Axes,
    Combination,
    axes_of,
    contradicted,
)
from tests.proof.classes import Plane, controls_of, plane_of
from tests.proof.cores import Progress, work_out
from tests.proof.invariants import COMBINATION, PAIRS, SCENE, Pair
from tests.proof.scene import JudgedBenches, Scene, SceneMaker
from tests.proof.steps import END, STEPS, Shown
from tests.proof.tally import Tally, check_all
from tests.proof.walk import WALK, Walker
from triage.case.models import Case
from triage.engine.consult import Consultant
from triage.engine.vocabulary import NONE, UNKNOWN
from triage.exposure.day import DayLedger
from triage.knowledge.load import load_knowledge
from triage.knowledge.rules import Family

Places = npt.NDArray[np.int64]


def promises() -> tuple[Any, ...]:
    """Return every promise that the sweep checks."""
    return (*COMBINATION, *SCENE, *PAIRS.values(), *WALK, *STEPS, *END)


class Sweeper:
    """Sweeps one deposit after the other in one process.

    ``walking`` says whether ladders are walked and plans completed, which costs most of the time;
    ``judged`` holds the benches of the axes, and may hold more; None judges them now.
    """

    def __init__(
        self,
        consultant: Consultant,
        axes: Axes,
        *,
        walking: bool = True,
        judged: JudgedBenches | None = None,
    ) -> None:
        self.consultant = consultant
        self.axes = axes
        self.walking = walking
        self.controls = controls_of(axes)
        self.maker = SceneMaker(consultant, axes, judged)
        self.walker = Walker(consultant, self.maker.maker)
        self.planners = self.maker.judged.planners
        self.names = tuple(axes.benches)
        self.grades = tuple(consultant.knowledge.fragility)
        self._walked: set[tuple[object, ...]] = set()
        self._shown: set[tuple[str, str, frozenset[str]]] = set()

    def sweep(self, deposit: str) -> Tally:
        """Return the tally of every combination of one deposit."""
        tally = Tally()
        plane = plane_of(self.maker.drawer, deposit)
        scenes = self._scenes(plane)
        numbers = self._numbers(plane)
        counts = np.bincount(numbers.ravel(), minlength=len(scenes) or 1)
        for number, scene in scenes.items():
            self._check(scene, tally, int(counts[number]))
        tally.combinations += numbers.size
        tally.classes += len(scenes)
        self._check_groups(plane, scenes, tally)
        self._pairs(numbers, scenes, tally)
        if self.walking:
            self._show_cautions(plane, scenes, tally)
        return tally

    # -- classes ------------------------------------------------------------------------------

    def _scenes(self, plane: Plane) -> dict[int, Scene]:
        """Return the scene of one member of each class, at each bench of its control."""
        places = {name: place for place, name in enumerate(self.names)}
        found = {}
        for number, member in enumerate(plane.first):
            for scene in self.maker.scenes_at(member.combination, member.control):
                found[number * len(self.names) + places[scene.bench.name]] = scene
        return found

    def _numbers(self, plane: Plane) -> Places:
        """Return zone x taxon x floor x hydration x bench -> the number of the scene."""
        return self._at_benches(plane.numbers) * len(self.names) + np.arange(len(self.names))

    def _check(self, scene: Scene, tally: Tally, count: int) -> None:
        """Check the scene of one class, which stands for so many combinations."""
        check_all(SCENE, scene, scene.where, tally, count)
        key = (scene.settled, scene.walk_key)
        if self.walking and key not in self._walked:
            self._walked.add(key)
            self._walk(scene, tally)

    def _check_groups(self, plane: Plane, scenes: dict[int, Scene], tally: Tally) -> None:
        """Check what depends on the group itself, for each group, floor and grade there is."""
        grade = self._at_benches(plane.fragility)
        axes, size = self.axes, len(self.grades)
        taxa = np.arange(len(axes.taxa))[None, :, None, None, None]
        floors = np.arange(len(axes.floors))[None, None, :, None, None]
        places = (taxa * len(axes.floors) + floors) * size + grade
        some = next(iter(scenes.values()))
        for code, count in _counted(places):
            place, rank = divmod(code, size)
            taxon, floor = divmod(place, len(axes.floors))
            combination = replace(
                some.combination, taxon=axes.taxa[taxon], floor=list(axes.floors)[floor]
            )
            scene = some._replace(combination=combination, fragility=self.grades[rank])
            check_all(COMBINATION, scene, combination.words(), tally, count)

    def _at_benches(self, values: npt.NDArray[Any]) -> Places:
        """Return what is known of each control of the air for each bench."""
        controls = [self.controls.index(bench.room.control) for bench in self.axes.benches.values()]
        return values.astype(np.int64)[..., controls]

    # -- walks and complete plans -------------------------------------------------------------

    def _walk(self, scene: Scene, tally: Tally) -> None:
        """Walk one ladder to its end, then look at the complete plans of its beginning and end."""
        case = last = self.axes.case(scene.combination)
        judge = self.maker.judges[scene.bench.name]
        tally.walks += 1
        for walked, after in self.walker.walk(case, scene.bench, judge):
            last = after
            tally.outcomes += 1
            check_all(WALK, walked, scene.where, tally)
        self._show(case, scene, tally)
        if last is not case:
            self._show(last, scene, tally)

    def _show(self, case: Case, scene: Scene, tally: Tally) -> None:
        """Make the complete plan of a case and check each of its steps."""
        plan = self.planners[scene.bench.name].plan(case, scene.bench, DayLedger())
        tally.plans += 1
        for step in plan.steps:
            tally.steps += 1
            shown = Shown(self.consultant.knowledge, step)
            check_all(STEPS, shown, (step.id, *scene.where), tally)
        check_all(END, plan, scene.where, tally)

    def _show_cautions(self, plane: Plane, scenes: dict[int, Scene], tally: Tally) -> None:
        """Complete a plan for each method, bench and set of cautions on it that comes up."""
        wanted: dict[frozenset[tuple[str, str, frozenset[str]]], tuple[Scene, Combination]] = {}
        for number, drawn, member in plane.cautions:
            said = drawn.said[Family.CAUTION]
            for place in range(len(self.names)):
                scene = scenes.get(number * len(self.names) + place)
                if scene is not None:
                    keys = frozenset((scene.bench.name, m, said.rules(m)) for m in scene.steps)
                    wanted.setdefault(keys, (scene, member.combination))
        # The longest plans first: fewer of them show the same.
        for keys in sorted(wanted, key=len, reverse=True):
            if not keys <= self._shown:
                self._shown |= keys
                scene, combination = wanted[keys]
                shown = scene._replace(combination=combination)
                self._show(self.axes.case(combination), shown, tally)

    # -- pairs --------------------------------------------------------------------------------

    def _pairs(self, numbers: Places, scenes: dict[int, Scene], tally: Tally) -> None:
        """Compare each scene with those that are less known, frailer or worse equipped."""
        axes, benches = self.axes, self.names
        air = [n for n, b in axes.benches.items() if b.room.control == n]
        best = [BEST] if BEST in benches else []
        plain, wet = [next(iter(axes.floors))], axes.hydrations
        told = {*wet} - {TOO_WET, *contradicted(self.consultant, axes.base)}
        zone, taxon, floor, hydration, bench = range(5)
        for name, axis, values, less, more in (
            ("unknown-zone-permits-no-more", zone, axes.zones, UNKNOWN, axes.zones),
            ("unknown-group-permits-no-more", taxon, axes.taxa, UNKNOWN, axes.taxa),
            # What is too wet is seen to be so: its gate is first aid, and waits for no answer.
            ("unknown-hydration-permits-no-more", hydration, wet, UNKNOWN, told),
            ("unknown-air-permits-no-more", bench, benches, UNKNOWN, air),
            ("no-air-permits-no-more", bench, benches, NONE, air),
            ("circumstances-permit-no-more", bench, benches, EVERY_CIRCUMSTANCE, best),
            ("empty-shelf-permits-no-more", bench, benches, EMPTY_SHELF, best),
            *(("hazard-permits-no-more", floor, list(axes.floors), f, plain) for f in axes.floors),
        ):
            if less not in values:
                continue
            places = [place for place, v in enumerate(values) if v in more and v != less]
            worse = np.take(numbers, [list(values).index(less)], axis)
            size = max(scenes) + 1
            for code, count in _counted(worse * size + np.take(numbers, places, axis)):
                pair = Pair(scenes[code // size], scenes[code % size])
                tally.note(name, PAIRS[name].broken(pair), pair.more.where, count)


def _counted(codes: Places) -> Iterator[tuple[int, int]]:
    """Yield each code with the number of times that it comes up."""
    found, counts = np.unique(codes, return_counts=True)
    yield from zip(found.tolist(), counts.tolist(), strict=True)


# -- several processes ----------------------------------------------------------------------------


def _begin(rules: str, axes: Axes) -> Callable[[str], Tally]:
    return Sweeper(Consultant(load_knowledge(rules)), axes).sweep


def sweep_all(
    rules: Path, jobs: int | None, progress: Progress | None, told: Answers = MappingProxyType({})
) -> Tally:
    """Return the tally of the whole sweep over a rules folder, deposit by deposit."""
    axes = axes_of(Consultant(load_knowledge(rules)), told)
    total = Tally(promises=promises())
    work_out(axes.deposits, _begin, (str(rules), axes), total.add, jobs, progress)
    return total


def strata(axes: Axes, seed: int, size: int = 3) -> Iterator[Axes]:
    """Yield small parts of the axes in which each value of each dimension comes up.

    Each part holds ``size`` known values of each dimension, the unknown ones, and all deposits.
    """
    rng = random.Random(seed)
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
        yield replace(axes, **chosen)  # type: ignore[arg-type]
