"""The interface at the scope."""

import os

# How often a second the framework may draw; it waits a whole period before it draws at all, so
# its 60 would add 17 ms to every step of an answer. It is read when the framework is imported.
FRAMES_A_SECOND = 240
os.environ.setdefault("TEXTUAL_FPS", str(FRAMES_A_SECOND))
