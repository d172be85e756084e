"""How the garbage collector is kept out of a consultation's way."""

from __future__ import annotations

import gc

# A consultation makes some thousands of objects and lets go of nearly all without help; looking
# through them every 700 objects, as is usual, took a fifth of its time.
YOUNG = 20_000
MIDDLE = 10
OLD = 10


def spare_loaded() -> None:
    """Leave what is loaded out of every later collection, and collect seldom.

    To be called when the knowledge of a process is loaded: all of it stays to the end. Only the
    first call leaves anything out; a later one would keep what a closed session left behind.
    """
    # To ask how many objects are left out would go through all of them.
    if gc.get_threshold() != (YOUNG, MIDDLE, OLD):
        gc.freeze()
        gc.set_threshold(YOUNG, MIDDLE, OLD)
