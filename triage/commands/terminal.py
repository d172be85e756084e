"""What the terminal can show."""

from __future__ import annotations

import os
from typing import TextIO


def has_colour(stream: TextIO) -> bool:
    """Return whether colour may be used: a terminal, not a dumb one, NO_COLOR unset or empty."""
    if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return False
    return stream.isatty()
