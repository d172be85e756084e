"""The one table of acts and keys: a key has one meaning in the whole program.

Every screen takes its bindings from here by the name of the act (``bind``), so a key with a second
meaning cannot be written: the table is refused when it is read. Small letters act; digits and
capital letters choose the line, the box or the zone that bears them; the keys of the outcomes
record, and do nothing else anywhere.

One hand stays on the focus knob, so the other one must reach answers, outcomes, next, back and
stop. The letters of the two one-hand sets lie in the same half of the keyboard whether its first
letters read QWERTY, QWERTZ or AZERTY. Esc stops in every set, and does nothing else; the right hand
has a second stop. F9 goes back from everywhere, out of a line that is written too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from textual.app import App
from textual.binding import Binding
from textual.keys import format_key

from triage.case.models import OUTCOMES

# Of each outcome its id and its key; the step says what it is called there.
OUTCOME_KEYS = dict(zip(OUTCOMES, "cbnwdx", strict=True))

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


@dataclass(frozen=True, slots=True)
class Act:
    """What a key does, by the name the screens give it, and its keys: in the other sets too."""

    name: str
    words: str
    left: str = ""
    right: str = ""


# Of these the screens say where they lead; every other act has one name everywhere.
TOLD_BY_THE_SCREEN = frozenset({"leave", "choose", "down", "up"})
# In the order in which the last line shows them.
ACTS: Mapping[str, Act] = {
    "choose": Act("Choose", "enter", left="space,enter"),
    "down": Act("Down", "down", left="tab,down"),
    "up": Act("Up", "up", left="shift+tab,up"),
    "leave": Act("Back", "q,f9", right="backspace,f9,q"),
    "start": Act("Start", "s", right="m,s"),
    "look": Act("Look", "l", left="g,l"),
    "clean": Act("Clean here", "space", left="f4"),
    "rest": Act("All the rest", "r", left="m"),
    "looked": Act("I looked", "i", right="f6"),
    "timer": Act("Timer", "t", right="minus,t"),
    "pass": Act("Amount, note, photo", "m", left="f2", right="f8"),
    "later": Act("Give time", "g", left="f3", right="f7"),
    "cannot-tell": Act("Can't tell", "u", left="a", right="comma"),
    "full": Act("In full", "f", right="f10,f"),
    "why": Act("Why", "e", right="full_stop,e"),
    "undo": Act("Take back", "z", left="r,z", right="p,z"),
    "release": Act("Release", "ctrl+r"),
    "name": Act("Name it yourself", "y"),
    "accept": Act("Leave as it is", "ctrl+l"),
    "skip": Act("Skip this method", "k", right="g"),
    "search": Act("Search", "slash"),
    "new": Act("New", "plus"),
    "remove": Act("Take away", "delete,minus", right="delete"),
    "today": Act("Jobs today", "j", right="f2"),
    "photos": Act("Photos", "p", right="ctrl+o"),
    "compare": Act("What changed", "equals_sign"),
    "newest": Act("Newest picture", "f4", left="f6"),
    "bench": Act("Bench", "o", right="f3"),
    "handbook": Act("Handbook", "h"),
    "air": Act("Air", "a", left="u"),
    "demo": Act("Demo case", "D"),
    "reload": Act("Read again", "f5"),
    "further": Act("Further", "pagedown"),
    "back-up": Act("Back up", "pageup"),
    "last": Act("Last", "end"),
    "end": Act("End the program", "Q"),
    "quit": Act("End", "ctrl+q"),
    "find": Act("Find anything", "ctrl+p"),
    "stop": Act("STOP", "escape", right="escape,f12"),
    "keys": Act("Keys", "question_mark"),
}
# Lines, boxes and views that a screen binds; behind them one goes by the arrows.
PICKS = 15
PICK = "Choose by its sign"


def key_name(key: str) -> str:
    """Return a key as the screens call it."""
    if key[:1] == "f" and key[1:].isdigit():
        return key.upper()
    return NAMES.get(key) or format_key(key)


@dataclass(frozen=True)
class KeySet:
    """The keys of all acts: one for each answer, choice, box or view, one for each outcome.

    Raises
    ------
    ValueError: a key has two meanings.
    """

    id: str
    name: str
    answers: str
    outcomes: str

    def __post_init__(self) -> None:
        """Refuse a second meaning of a key."""
        meant: dict[str, str] = {}
        for act, keys in self.keymap().items():
            for key in keys.split(","):
                if meant.setdefault(key, act) != act:
                    raise ValueError(f"keys {self.id}: {key} is {meant[key]} and {act}")

    def keys_of(self, act: str) -> tuple[str, ...]:
        """Return the names of the keys of an act."""
        return tuple(self.keymap()[act].split(","))

    def sign(self, act: str) -> str:
        """Return the first key of an act as it is printed."""
        return key_name(self.keys_of(act)[0])

    def pick(self, at: int) -> str:
        """Return the key of the line at a place, none where the keys do not go so far."""
        return self.answers[at : at + 1]

    def outcome_keys(self) -> dict[str, str]:
        """Return the key of each outcome."""
        return dict(zip(OUTCOME_KEYS, self.outcomes, strict=True))

    def keymap(self) -> dict[str, str]:
        """Return the keys by the id of each act, as the framework takes them."""
        held = {act: getattr(each, self.id) or each.words for act, each in ACTS.items()}
        answers = {f"answer.{at}": key for at, key in enumerate(self.answers, 1)}
        outcomes = {f"outcome.{each}": key for each, key in self.outcome_keys().items()}
        return {**held, **answers, **outcomes}


# No capital letter that does something, or stands for an outcome, is an answer.
WORDS = KeySet(
    "words",
    "the first letters of the words",
    answers="1234567890AEFGHIJKLMOPRSTUVYZ",
    outcomes="".join(OUTCOME_KEYS.values()),
)
# Every outcome but one is on the letter it has in the words.
LEFT = KeySet("left", "all under the left hand", "12345WERTASFGXCVB", "cbvwdx")
RIGHT = KeySet("right", "all under the right hand", "67890UIOPHJKLMN", "jknoiu")
SETS: Mapping[str, KeySet] = {each.id: each for each in (WORDS, LEFT, RIGHT)}


def bind(
    act: str, does: str, told: str = "", *, show: bool = True, priority: bool = False
) -> Binding:
    """Return the binding of an act of the table to what a screen does.

    Raises
    ------
    KeyError: no such act. ValueError: another name for an act that has one everywhere.
    """
    if told and act not in TOLD_BY_THE_SCREEN:
        raise ValueError(f"{act} is called {ACTS[act].name} on every screen")
    name = told or ACTS[act].name
    return Binding(ACTS[act].words, does, name, show=show, priority=priority, id=act)


def pick(does: str, count: int = PICKS, start: int = 1) -> list[Binding]:
    """Return the bindings of the lines, boxes or views of a screen, counted from ``start``."""
    return [
        Binding(key, f"{does}({at + start})", PICK, show=False, id=f"answer.{at + 1}")
        for at, key in enumerate(WORDS.answers[:count])
    ]


def recording() -> list[Binding]:
    """Return the bindings of the outcomes."""
    return [
        Binding(key, f"outcome('{each}')", f"Record: {told}", show=False, id=f"outcome.{each}")
        for each, key in OUTCOME_KEYS.items()
        for told in (each.replace("-", " "),)
    ]


def keyset_of(app: App[Any]) -> KeySet:
    """Return the keys that the program is on."""
    held: KeySet = getattr(app, "keyset", WORDS)
    return held
