"""The dimensions of the sweep over the shipped knowledge, and its benches, made once a process."""

from __future__ import annotations

from functools import cache

from tests.proof.axes import Axes, axes_of
from tests.proof.judged import JudgedBenches
from tests.support.knowledge import consultant


@cache
def axes() -> Axes:
    """Return the dimensions of the sweep."""
    return axes_of(consultant())


@cache
def judged() -> JudgedBenches:
    """Return its benches with the air and the exclusions of each."""
    return JudgedBenches(consultant(), axes().benches)
