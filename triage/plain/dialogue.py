"""Ask on one stream, answer from another: numbered choices, words, numbers. Nothing is drawn."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Callable, Iterable, Sequence
from typing import TextIO, TypeVar

from triage.errors import TriageError
from triage.show.blocks import Block, lines_of

T = TypeVar("T")
# Narrower than this nothing could be read.
LEAST_WIDTH = 20
# Fewer say nothing.
FEWEST_LETTERS = 3


def wrapped(line: str, width: int) -> list[str]:
    """Return a line as lines of that width, each further one set in by what it is set in itself.

    A number or a sign in front stands out.
    """
    body = line.lstrip()
    lead = len(line) - len(body)
    mark = body.split(" ", 1)[0]
    hang = lead + (len(mark) + 1 if mark.isdigit() or len(mark) == 1 else 2)
    return textwrap.wrap(line, width, subsequent_indent=" " * hang) or [""]


class Stopped(Exception):
    """The user asked to stop, or the input ended."""


class Dialogue:
    """One line in, plain lines out."""

    STOP, HELP = "stop", "?"

    def __init__(self, source: TextIO, sink: TextIO) -> None:
        self.source = source
        self.sink = sink
        # What can be typed where a number is asked for, and what takes other words there.
        self.help: tuple[str, ...] = ()
        self.take: Callable[[str], bool] = lambda _: False

    def say(self, *lines: str) -> None:
        """Print lines, none wider than the terminal; what is carried over stands set in."""
        for line in lines:
            for each in line.rstrip().splitlines() or [""]:
                self.sink.write("\n".join(wrapped(each, self.width)) + "\n")
        self.sink.flush()

    def show(self, blocks: Iterable[Block]) -> None:
        """Print blocks as lines of the width of the terminal."""
        self.say(*lines_of(blocks, self.width))

    @property
    def width(self) -> int:
        """Columns of the terminal, as it is now."""
        return max(LEAST_WIDTH, shutil.get_terminal_size().columns)

    def listen(self, prompt: str) -> str:
        """Return one line of input without its ends; ``stop`` and ``?`` work at every prompt.

        Raises
        ------
        Stopped: the word ``stop``, or the end of the input.
        """
        *above, last = wrapped(f"{prompt} >", self.width - 1)
        while True:
            self.say(*above)
            self.sink.write(f"{last} ")
            self.sink.flush()
            line = self.source.readline()
            if not line:
                self.say("")
                raise Stopped
            word = line.strip()
            if word == self.STOP:
                raise Stopped
            if word != self.HELP:
                return word
            self.say("stop ends, here as everywhere; nothing that was recorded is lost", *self.help)

    def choose(self, title: str, choices: Sequence[tuple[T, str]]) -> T:
        """Return the key of the chosen line; asks again until a number of the list is given."""
        listed = [f"  {number} {text}" for number, (_, text) in enumerate(choices, start=1)]
        self.say("", title, *listed)
        while True:
            word = self.listen(f"number 1 to {len(choices)}, ?, or stop")
            if word.isdigit() and 1 <= int(word) <= len(choices):
                return choices[int(word) - 1][0]
            if self.take(word):
                self.say("", title, *listed)
            else:
                self.say(f'"{word}" is not a number of the list; ? says what can be typed')

    def words(self, prompt: str, least: int = 1) -> str:
        """Return words that are not empty; asks again until they hold enough letters."""
        while True:
            word = self.listen(prompt)
            if word and sum(sign.isalpha() for sign in word) >= least:
                return word
            self.say("this needs words; Enter alone does not do")

    def number(self, prompt: str, default: float | None) -> float | None:
        """Return a number, or the default for an empty line."""
        shown = "" if default is None else f" (Enter for {default:g})"
        while True:
            word = self.listen(f"{prompt}{shown}")
            if not word:
                return default
            try:
                return float(word)
            except ValueError:
                self.say(f'"{word}" is not a number')

    def yes(self, prompt: str) -> bool:
        """Return whether the answer is yes; anything else is no."""
        return self.listen(f"{prompt} yes or no") == "yes"

    def fault(self, fault: TriageError) -> None:
        """Print a fault in place, in words."""
        self.say(*(f"not done: {line}" for line in fault.line().splitlines()))
