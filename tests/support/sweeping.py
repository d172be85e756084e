"""What proofs of the shipped knowledge begin with, made once a process: axes, benches, coverage."""

from functools import cache

from tests.proof.axes import Axes, axes_of
from tests.proof.coverage import Coverage, coverage_of
from tests.proof.needed import Needed, needed_of
from tests.proof.scene import JudgedBenches
from tests.support.knowledge import consultant


@cache
def axes() -> Axes:
    return axes_of(consultant())


@cache
def judged() -> JudgedBenches:
    return JudgedBenches(consultant(), axes().benches)


@cache
def reached() -> Coverage:
    return coverage_of(consultant())


@cache
def needed() -> Needed:
    return needed_of(consultant())
