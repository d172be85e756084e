"""A stratified sample of the sweep: each value of each dimension comes up, all promises hold.

The whole runs as a command: ``triage prove sweep``.
"""

from __future__ import annotations

import random

import pytest

from tests.support.knowledge import consultant, planner, shipped
from triage.engine.vocabulary import UNKNOWN
from triage.verify.axes import FINDING, HYDRATION, axes_of
from triage.verify.scene import SceneMaker
from triage.verify.sweep import Sweeper, promises, strata
from triage.verify.tally import Tally


@pytest.fixture(scope="module")
def axes():
    return axes_of(consultant())


@pytest.fixture(scope="module")
def sample(axes) -> Tally:
    """Every part of the strata with one deposit each, the next one in the next part."""
    total = Tally()
    for place, (part, tasks) in enumerate(strata(axes, seed=3, size=1)):
        sweeper = Sweeper(consultant(), part)
        for task in tasks[place % 30 :: 30]:
            total.add(sweeper.sweep(task))
    return total


def test_no_promise_is_broken(sample):
    assert not +sample.broken, sample.examples


def test_every_promise_was_checked(sample):
    """A promise that is never looked at would hold for nothing."""
    silent = [promise.name for promise in promises() if not sample.checked[promise.name]]
    assert silent == []
    assert len(promises()) >= 20
    assert sample.combinations > 5000
    assert sample.walks > 30


def test_axes_hold_every_value(axes):
    knowledge = shipped()
    assert set(axes.deposits) > set(knowledge.deposits)
    assert set(axes.zones) == {*knowledge.zones, UNKNOWN}
    assert set(axes.taxa) == {*knowledge.taxa, UNKNOWN}
    assert set(axes.floors) == set(knowledge.fragility)
    assert axes.base[HYDRATION] == "supple"
    assert axes.count() > 100_000


def test_shared_scenes_are_what_the_planner_says(axes):
    """A scene is shared by many combinations; each must be what its own plan would be."""
    rng = random.Random(11)
    maker = SceneMaker(consultant(), axes)
    combinations = [c for d in axes.deposits for c in axes.of_zone(d, rng.choice(axes.zones))]
    for combination in rng.sample(combinations, 80):
        for scene in maker.scenes(combination):
            own = planner().maker.skeleton(
                axes.case(combination), scene.bench, maker.judges[scene.bench.name], plain=True
            )
            ladder = own.ladder(FINDING)
            assert scene.ladder.rungs == ladder.rungs, combination
            assert scene.settled == ladder.problem
            assert scene.skeleton.stage == own.stage
            assert scene.steps == tuple(item.method for item in own.items)
            assert bool(scene.skeleton.refused) == bool(own.refused)
