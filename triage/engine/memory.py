"""How the garbage collector is kept out of a consultation's way."""

from __future__ import annotations

import gc

# A consultation makes some thousands of objects and lets go of nearly all without help; looking
# through them every 700 objects, as is usual, took a fifth of its time.
YOUNG = 20_000
MIDDLE = 20
OLD = 50


def spare_loaded() -> None:
    """Leave what is loaded out of every later collection, and collect seldom.

    To be called once, when the knowledge of a process is loaded: all of it stays to the end.
    """
    gc.freeze()
    gc.set_threshold(YOUNG, MIDDLE, OLD)
