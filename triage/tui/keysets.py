"""Which keys the main acts are on: letters of the words, or all under one hand.

One hand stays on the focus knob, so the other one must reach answers, outcomes, next, back and
stop. The letters of the two one-hand sets lie in the same half of the keyboard whether its first
letters read QWERTY, QWERTZ or AZERTY. Esc stops in every set, and does nothing else; the right hand
has a second stop. F9 goes back from everywhere, out of a line that is written too.

In each set the keys of the outcomes are used for nothing else, on any screen: a key that is pressed
once too often, or on the wrong screen, must never write a record.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from textual.app import App
from textual.keys import format_key

from triage.tui.words import OUTCOME_KEYS

# Keys by what is printed on them, one name each, however they were put on an act.
NAMES = {
    "escape": "Esc",
    "enter": "Enter",
    "space": "Space",
    "backspace": "Bksp",
    "delete": "Del",
    "tab": "Tab",
    "shift+tab": "Shift+Tab",
    "down": "Down",
    "up": "Up",
}
# What a key that is no letter is called in a binding.
SIGNS = {",": "comma", ".": "full_stop", "-": "minus"}


def key_name(key: str) -> str:
    """Return a key as the screens call it."""
    if key[:1] == "f" and key[1:].isdigit():
        return key.upper()
    return NAMES.get(key) or format_key(key)


@dataclass(frozen=True)
class KeySet:
    """The keys of the main acts.

    Parameters
    ----------
    id, name what it is called in the settings, and on the screen
    answers  one key for each answer of a question or choice, in order
    outcomes one key for each outcome, in the order in which they are shown
    others   keys of every other act by its id; those not named keep the keys they have
    """

    id: str
    name: str
    answers: str
    outcomes: str
    others: Mapping[str, str]

    def keys_of(self, act: str) -> tuple[str, ...]:
        """Return the names of the keys of an act."""
        return tuple(self.others[act].split(","))

    def answer_keys(self) -> tuple[str, ...]:
        """Return the names of the keys of the answers."""
        return tuple(SIGNS.get(sign, sign) for sign in self.answers)

    def sign(self, act: str) -> str:
        """Return the first key of an act as it is printed."""
        return key_name(self.keys_of(act)[0])

    def keymap(self) -> dict[str, str]:
        """Return the keys by the id of each act, as the framework takes them."""
        answers = {f"answer.{at}": key for at, key in enumerate(self.answer_keys(), 1)}
        outcomes = {
            f"outcome.{outcome}": key
            for key, (_, outcome, _) in zip(self.outcomes, OUTCOME_KEYS, strict=True)
        }
        return {**answers, **outcomes, **self.others}


# Letters that mean something else where questions are asked, and the outcomes, are no answers.
WORDS = KeySet(
    "words",
    "the first letters of the words",
    answers="123456789afghjkmoprstvy",
    outcomes="".join(key for key, _, _ in OUTCOME_KEYS),
    others={
        "stop": "escape",
        "leave": "q,f9",
        "end": "q",
        "choose": "enter",
        "question.cannot-tell": "u,0",
        "question.why": "e",
        "question.before": "z",
        "question.name": "i",
        "question.accept": "l",
        "observe.clean": "space",
        "observe.rest": "r",
        "walk.open": "enter",
        "walk.timer": "t",
        "walk.burst": "u",
        "walk.particulars": "m",
        "walk.details": "f",
        "walk.explain": "e",
        "walk.later": "plus",
        "walk.photos": "p",
        "walk.air": "a",
        "recorded.go-on": "enter",
        "recorded.undo": "z",
        "stopped.resume": "r,f9",
        "stopped.end": "Q",
        "plan.start": "s",
        "plan.look": "l",
        "plan.skip": "k",
        "looked": "i",
        "bench": "o",
        "handbook.kind": "k",
        "air.control": "v",
        "list.down": "down",
        "list.up": "up",
    },
)
# Every outcome but one is on the letter it has in the words.
LEFT = KeySet(
    "left",
    "all under the left hand",
    answers="12345asfgre",
    outcomes="cbvwdx",
    others={
        **WORDS.others,
        "choose": "space,enter",
        "list.down": "tab,down",
        "list.up": "shift+tab,up",
        "question.cannot-tell": "t,0",
        "question.why": "f2",
        "question.before": "f3",
        "question.name": "f4",
        "observe.clean": "r",
        "observe.rest": "f2",
        "walk.open": "space,enter",
        "walk.burst": "f2",
        "walk.particulars": "g",
        "walk.later": "r",
        "walk.photos": "f3",
        "recorded.go-on": "space,enter",
        "recorded.undo": "r,z",
        "plan.look": "g,l",
        "looked": "f4,i",
        "air.control": "g",
    },
)
RIGHT = KeySet(
    "right",
    "all under the right hand",
    answers="67890lpm,.-",
    outcomes="jknoiu",
    others={
        **WORDS.others,
        "stop": "escape,f12",
        "leave": "backspace,f9,q",
        "end": "backspace,q",
        "question.cannot-tell": "h",
        "question.why": "f6",
        "question.before": "f7",
        "question.name": "f8",
        "question.accept": "f10",
        "observe.rest": "f6",
        "walk.timer": "h",
        "walk.burst": "l",
        "walk.details": "minus",
        "walk.explain": "p",
        "walk.photos": "comma",
        "walk.air": "full_stop",
        "recorded.undo": "p,z",
        "stopped.resume": "m,r,f9",
        "stopped.end": "p,Q",
        "plan.start": "m,s",
        "plan.skip": "comma",
        "looked": "f8",
        "bench": "full_stop",
        "handbook.kind": "comma",
    },
)
SETS: Mapping[str, KeySet] = {each.id: each for each in (WORDS, LEFT, RIGHT)}


def keyset_of(app: App[Any]) -> KeySet:
    """Return the keys that the program is on."""
    held = getattr(app, "keyset", WORDS)
    return held if isinstance(held, KeySet) else WORDS
