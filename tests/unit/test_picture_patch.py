"""A reference patch in both photographs: the light is evened by it, and what is left is the surface."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.proof.pictures import ground, limits
from triage.picture.colour import Patch, encoded_srgb, linear_srgb
from triage.picture.pair import Comparison, compare
from triage.picture.register import CannotTell
from triage.show.compared import offered

pytest.importorskip("skimage", reason="the extra picture is not installed")

SIDE = 460
CARD = (40, 50, 60, 44)  # left, top, width, height in the first photo
LAMP = np.array([1.15, 1.0, 0.72])  # a lamp in the place of daylight
MOVED = (11, 7)


def pair(surface: Any, lamp: Any) -> tuple[Any, Any]:
    """Return before and after: the same field moved, the surface multiplied (light), the lamp changed."""
    rng = np.random.default_rng(7)
    scene = ground("gravel")[:, :, :]
    before = linear_srgb(scene)
    after = before * surface
    left, top, wide, high = CARD
    card = slice(top + 60, top + 60 + high), slice(left + 60, left + 60 + wide)
    for each in (before, after):
        each[card] = 0.25
    down, right = MOVED
    shown = [
        encoded_srgb(before[60 : 60 + SIDE, 60 : 60 + SIDE]),
        encoded_srgb(
            np.clip(
                (after * lamp)[60 - down : 60 - down + SIDE, 60 - right : 60 - right + SIDE], 0, 1
            )
        ),
    ]
    first, second = (np.clip(each + rng.normal(0, 0.006, each.shape), 0, 1) for each in shown)
    return first.astype(np.float32), second.astype(np.float32)


def found(surface: Any, lamp: Any, patch: Patch | None) -> Comparison:
    return compare(*pair(surface, lamp), limits(), patch=patch)


def test_another_lamp_is_no_harm_where_a_patch_shows_it() -> None:
    assert offered(found(1.0, LAMP, None), limits())[0] == "damage"  # nothing tells lamp from dye
    with_patch = found(1.0, LAMP, Patch(CARD))
    assert with_patch.harm.colour_median < 1.0
    assert offered(with_patch, limits())[0] == "no-change"


@pytest.mark.parametrize("surface", [np.array([1.0, 0.96, 0.75]), np.array([0.8, 0.8, 0.8])])
def test_a_change_of_the_surface_is_seen_through_another_lamp(surface: Any) -> None:
    """A dye that ran, and an even darkening that the surface alone could not tell from less light."""
    kept = found(surface, LAMP, Patch(CARD)).harm.colour_median
    assert kept == pytest.approx(found(surface, 1.0, Patch(CARD)).harm.colour_median, abs=0.5)
    assert kept > limits().colour_seen.value


def test_a_patch_that_did_not_move_with_the_specimen_is_named_in_both() -> None:
    down, right = MOVED
    left, top, wide, high = CARD
    apart = Patch(CARD, (left + right, top + down, wide, high))
    assert found(1.0, LAMP, apart).harm.colour_median < 1.0


@pytest.mark.parametrize(
    ("box", "why"),
    [((440, 50, 60, 44), "outside"), ((40, 50, 5, 5), "small"), ((200, 200, 60, 60), "even")],
)
def test_a_patch_that_cannot_be_read_is_refused(box: Any, why: str) -> None:
    with pytest.raises(CannotTell, match=why):
        found(1.0, LAMP, Patch(box))
