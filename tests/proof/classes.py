"""Combinations that are the same plan apart from names, told apart exactly and counted.

Two combinations are of one class if their plans can depend on nothing in which they differ: what
the rules say, the reading, what the body part can stand, fragility, softness, control of the air.
One member of each is then planned in full; tests hold others, planned one by one, against it.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from tests.proof.axes import HYDRATION, Axes, Combination
from tests.proof.drawn import Drawer, Drawn
from triage.knowledge.rules import Family

Key = tuple[object, ...]
Numbers = npt.NDArray[np.int32]


class Member(NamedTuple):
    """One combination of a class at one control of the air."""

    combination: Combination
    control: str


@dataclass(frozen=True)
class Plane:
    """All combinations of one deposit, each with the number of its class.

    ``numbers`` has the axes zone, taxon, floor, hydration, control; ``first`` holds one member of
    each class, ``fragility`` the grade of each, and ``cautions`` (class, what is said, member)
    where cautions differ.
    """

    numbers: Numbers
    first: tuple[Member, ...]
    fragility: npt.NDArray[np.int8]
    cautions: tuple[tuple[int, Drawn, Member], ...]


def plane_of(drawer: Drawer, deposit: str) -> Plane:
    """Return the classes of one deposit."""
    axes = drawer.axes
    drawn = [
        (Member(combination, control), found)
        for combination in axes.of_deposit(deposit)
        for control, found in drawer.of(combination).items()
    ]
    # What is said of a method that nothing here ever offers or inserts changes no plan.
    said = [found.said[family] for _, found in drawn for family in (Family.OFFER, Family.ORDER)]
    relevant = frozenset().union(*{saying.methods for saying in said})
    standing = {zone: _standing(drawer, zone) for zone in axes.zones}
    known: dict[Key, int] = {}
    first: list[Member] = []
    cautions: dict[tuple[int, int], tuple[Drawn, Member]] = {}
    numbers = np.empty(len(drawn), dtype=np.int32)
    fragility = np.empty(len(drawn), dtype=np.int8)
    forbids: dict[int, tuple[frozenset[str], frozenset[str]]] = {}
    for place, (member, found) in enumerate(drawn):
        forbid = found.said[Family.FORBID]
        if forbid.number not in forbids:
            forbids[forbid.number] = forbid.methods & relevant, forbid.whole & relevant
        key = (
            found.settled,
            found.seen,
            found.states,
            found.grade,
            *[found.said[f].number for f in (Family.GATE, Family.OFFER, Family.ORDER)],
            forbids[forbid.number],
            member.combination.hydration == axes.base[HYDRATION],
            standing[member.combination.zone],
            member.control,
        )
        number = known.setdefault(key, len(first))
        if number == len(first):
            first.append(member)
        numbers[place], fragility[place] = number, found.grade
        cautions.setdefault((number, found.said[Family.CAUTION].number), (found, member))
    shape = (*axes.shape, len(drawer.benches))
    where_cautions_differ = tuple((key[0], *held) for key, held in cautions.items())
    return Plane(
        numbers.reshape(shape), tuple(first), fragility.reshape(shape), where_cautions_differ
    )


def _standing(drawer: Drawer, zone: str) -> Key:
    """Return what a body part can stand, and how its rank lies to work on the whole."""
    known = drawer.consultant.knowledge.zones.get(zone)
    if known is None:
        return (None, None, 0)
    return known.most_mechanical, known.most_chemical, (known.rank > 0) - (known.rank < 0)


def controls_of(axes: Axes) -> tuple[str, ...]:
    """Return the controls of the air, in the order of the last axis of a plane."""
    return tuple(dict.fromkeys(bench.room.control for bench in axes.benches.values()))
