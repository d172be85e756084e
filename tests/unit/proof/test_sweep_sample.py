"""A stratified sample of the sweep: each value of each dimension comes up, all promises hold.

The whole runs as a command: ``python -m tests.proof sweep``.
"""

import random
from dataclasses import replace

import pytest

from tests.proof.axes import FINDING, HYDRATION, Combination
from tests.proof.classes import controls_of, plane_of
from tests.proof.scene import SceneMaker
from tests.proof.sweep import Sweeper, promises, strata
from tests.proof.tally import Tally
from tests.support.knowledge import consultant, planner, shipped
from tests.support.sweeping import axes as shipped_axes
from tests.support.sweeping import judged
from triage.engine.vocabulary import UNKNOWN


@pytest.fixture(scope="module")
def axes():
    return shipped_axes()


@pytest.fixture(scope="module")
def sample(axes) -> Tally:
    """Every part of the strata with one or two deposits, the next ones in the next part.

    In every other part the ladders are walked and the plans completed as well.
    """
    total = Tally()
    for place, part in enumerate(strata(axes, seed=3, size=2)):
        sweeper = Sweeper(consultant(), part, judged=judged(), walking=place % 2 == 0)
        for deposit in part.deposits[place % 44 :: 44]:
            total.add(sweeper.sweep(deposit))
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


@pytest.mark.parametrize("count", [25, pytest.param(200, marks=pytest.mark.slow)])
def test_shared_scenes_are_what_the_planner_says(axes, count):
    """A scene is shared by many combinations; each must be what its own plan would be."""
    rng = random.Random(11)
    maker = SceneMaker(consultant(), axes, judged())
    combinations = [c for d in axes.deposits for c in axes.of_deposit(d, rng.choice(axes.zones))]
    for combination in rng.sample(combinations, count):
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


def same(ladder, other) -> bool:
    """Return whether two ladders are the same but for the sentences that bar methods."""
    mine, theirs = (
        (each.rungs, each.problem, each.offered, {b.method for b in each.barred} & each.offered)
        for each in (ladder, other)
    )
    return mine == theirs


@pytest.mark.parametrize(
    ("deposits", "members", "values"),
    [(4, 8, 8), pytest.param(4, 25, None, marks=pytest.mark.slow)],
)
def test_members_of_a_class_have_one_plan_apart_from_names(axes, deposits, members, values):
    """The classes are sound: a random member, planned in full, is like the one that stands for it.

    The member goes the whole way: facts, all rules, ladders, order of work. Only its class is
    taken from the classes, of the whole axes or of so many zones and groups.
    """
    rng = random.Random(23)
    if values:
        zones, taxa = (tuple(rng.sample(held, values)) for held in (axes.zones, axes.taxa))
        axes = replace(axes, zones=zones, taxa=taxa)
    controls, maker = controls_of(axes), SceneMaker(consultant(), axes, judged())
    others = 0
    for deposit in rng.sample(axes.deposits, deposits):
        plane = plane_of(maker.drawer, deposit)
        for _ in range(members):
            place = tuple(rng.randrange(size) for size in plane.numbers.shape)
            number = int(plane.numbers[place])
            alike = list(zip(*(plane.numbers == number).nonzero(), strict=True))
            zone, taxon, floor, hydration, control = rng.choice(alike)
            first = plane.first[number]
            assert controls[control] == first.control
            names = (axes.zones[zone], axes.taxa[taxon], [*axes.floors][floor])
            member = Combination(deposit, *names, axes.hydrations[hydration])
            others += member != first.combination
            grades = list(shipped().fragility)
            for scene in maker.scenes_at(first.combination, first.control):
                own = planner().maker.skeleton(
                    axes.case(member), scene.bench, maker.judges[scene.bench.name], plain=True
                )
                assert own.stage == scene.skeleton.stage
                assert bool(own.refused) == bool(scene.skeleton.refused)
                assert [i.step for i in own.items] == [i.step for i in scene.skeleton.items]
                assert same(own.ladder(FINDING), scene.ladder), member
                fact = own.conclusions.fact(FINDING)
                assert fact.get("fragility") == scene.fragility
                assert grades[plane.fragility[place]] == scene.fragility
    assert others > deposits * members / 2


def test_classes_tell_apart_what_the_rules_tell_apart(axes):
    """Combinations with different ladders are never of one class: looked at along one whole row."""
    floors = {"robust": axes.floors["robust"]}
    axes = replace(axes, taxa=axes.taxa[1:2], floors=floors, hydrations=("supple",))
    controls, maker = controls_of(axes), SceneMaker(consultant(), axes, judged())
    # Grease has rungs of every kind, so its ladders differ from zone to zone.
    assert "oily-film" in axes.deposits
    plane = plane_of(maker.drawer, "oily-film")
    ladders: dict[int, set[tuple[str, ...]]] = {}
    for place, zone in enumerate(axes.zones):
        combination = Combination("oily-film", zone, axes.taxa[0], "robust", "supple")
        for scene in maker.scenes_at(combination, controls[0]):
            number = int(plane.numbers[place, 0, 0, 0, 0])
            ladders.setdefault(number, set()).add(scene.ladder.rungs)
    assert len({rungs for held in ladders.values() for rungs in held}) > 3
    assert all(len(held) == 1 for held in ladders.values())
