"""Ask on one stream, answer from another: numbered choices, words, numbers. Nothing is drawn."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TextIO

from triage.errors import TriageError


class Stopped(Exception):
    """The user asked to stop, or the input ended."""


class Dialogue:
    """One line in, plain lines out.

    Parameters
    ----------
    source where answers come from
    sink   where lines go
    """

    STOP = "stop"

    def __init__(self, source: TextIO, sink: TextIO) -> None:
        self.source = source
        self.sink = sink

    def say(self, *lines: str) -> None:
        """Print lines."""
        for line in lines:
            self.sink.write(line.rstrip() + "\n")
        self.sink.flush()

    def listen(self, prompt: str) -> str:
        """Return one line of input without its ends; ``stop`` works at every prompt.

        Raises
        ------
        Stopped: the word ``stop``, or the end of the input.
        """
        self.sink.write(f"{prompt} > ")
        self.sink.flush()
        line = self.source.readline()
        if not line:
            self.say("")
            raise Stopped
        word = line.strip()
        if word == self.STOP:
            raise Stopped
        return word

    def choose(self, title: str, choices: Sequence[tuple[str, str]]) -> str:
        """Return the key of the chosen line; asks again until a number of the list is given."""
        self.say("", title)
        self.say(*(f"  {number} {text}" for number, (_, text) in enumerate(choices, start=1)))
        while True:
            word = self.listen(f"number 1 to {len(choices)}, or stop")
            if word.isdigit() and 1 <= int(word) <= len(choices):
                return choices[int(word) - 1][0]
            self.say(f'"{word}" is not a number of the list')

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
