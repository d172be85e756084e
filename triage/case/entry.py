"""An entry of a file that people write: frozen, and it keeps the keys that it does not know.

An unknown key is kept for its author. One that was meant for a known key, written in another way,
would silently take a protection away, so it is refused instead.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sized
from datetime import datetime
from functools import cache
from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict, ValidationInfo, model_validator

from triage.case.fields import refusal, shown, thawed

_WORDS = re.compile(r"[_\-\s]+")
# Shorter words resemble too many others.
_LEAST = 4
# From this length on another letter is a slip of the hand; in a shorter word it is another word
# (size, side).
_LEAST_SLIP = 6
_LEAST_TWO_SLIPS = 9
_LONGEST_ENDING = 4
_SAME_STEM = 0.7


def squeezed(key: str) -> str:
    """Return a key without what only spells it: case, hyphens, underscores, spaces."""
    return _WORDS.sub("", key.casefold())


def words_in(key: str) -> tuple[str, ...]:
    """Return the words of a key in small letters."""
    return tuple(word for word in _WORDS.split(key.casefold()) if word)


def is_like(one: str, other: str) -> bool:
    """Return whether two words are one in another spelling, number or form, or with a slip."""
    return is_misspelt(one, other) or _is_one_stem(squeezed(one), squeezed(other))


def is_misspelt(one: str, other: str) -> bool:
    """Return whether two words are one in another spelling or number, or with a slip."""
    short, long = sorted((squeezed(one), squeezed(other)), key=len)
    if short == long:
        return True
    if len(short) < _LEAST - 1:
        return False
    return long in (f"{short}s", f"{short}es") or _is_slip(short, long)


def _is_one_stem(one: str, other: str) -> bool:
    short, long = sorted((one, other), key=len)
    common = next((n for n, (a, b) in enumerate(zip(short, long, strict=False)) if a != b), None)
    if common is None:
        return len(short) >= _LEAST and len(long) - len(short) <= _LONGEST_ENDING
    return common >= _LEAST and common >= _SAME_STEM * len(long)


def _is_slip(short: str, long: str) -> bool:
    if len(long) - len(short) > 2:
        return False
    if len(long) < _LEAST_SLIP and len(short) == len(long) and sorted(short) != sorted(long):
        return False
    return _changes(short, long) <= (2 if len(long) >= _LEAST_TWO_SLIPS else 1)


def _changes(one: str, other: str) -> int:
    """Return how many letters must be added, dropped, replaced or swapped with their neighbour."""
    before: list[int] = []
    last = list(range(len(other) + 1))
    for i, letter in enumerate(one, 1):
        row = [i]
        for j, wanted in enumerate(other, 1):
            cost = min(last[j] + 1, row[-1] + 1, last[j - 1] + (letter != wanted))
            if i > 1 and j > 1 and letter == other[j - 2] and one[i - 2] == wanted:
                cost = min(cost, before[j - 2] + 1)
            row.append(cost)
        before, last = last, row
    return last[-1]


def meant_key(key: str, known: Iterable[str], content: Mapping[str, Any]) -> str | None:
    """Return the known key that an unknown one was meant for, None if it resembles none.

    Parameters
    ----------
    key     the unknown key
    known   keys that may stand there
    content the entry; a known key that is written there already is not what a longer key was
            meant for (``agent_lot`` beside ``agent``), but the same quantity in another unit is
    """
    # A quantity is named by its first word: those with a unit behind it come first.
    names = sorted(known, key=lambda name: (len(words_in(name)) == 1, name))
    for name in names:
        as_long = len(words_in(key)) == len(words_in(name))
        if is_misspelt(key, name) or (as_long and is_like(key, name)):
            return name
    for name in names:
        first, *rest = words_in(name)
        held = content.get(name)
        is_free = held is None or (isinstance(held, Sized) and not held)
        if (rest or is_free) and any(is_like(word, first) for word in words_in(key)):
            return name
    return None


class Record(BaseModel):
    """A frozen entry of a case file that keeps the keys it does not know."""

    # Built when the first one is made: a model costs more to build than the program to start.
    model_config = ConfigDict(
        frozen=True, extra="allow", arbitrary_types_allowed=True, defer_build=True
    )

    # Keys that are written even when they hold their default, so that a reader sees them.
    ALWAYS: ClassVar[frozenset[str]] = frozenset()
    # Keys that protect nothing: others may resemble them.
    FREE: ClassVar[frozenset[str]] = frozenset()
    # Keys that belong to another entry, with the place of that entry in words.
    ELSEWHERE: ClassVar[Mapping[str, str]] = {}

    @model_validator(mode="before")
    @classmethod
    def _refuse_near_miss(cls, content: Any, info: ValidationInfo) -> Any:
        """Refuse an unknown key that was meant for a known one.

        Unknown keys are kept, but an ``amount_l`` beside a missing ``amount_ml`` would silently
        drop an amount from the day's exposure, and a ``circumstance`` what it should protect.
        """
        del info
        if not isinstance(content, dict) or content.keys() <= cls.model_fields.keys():
            return content
        unknown = [key for key in content if key not in cls.model_fields]
        known = {*cls.model_fields, *cls.ELSEWHERE}
        spelt = {squeezed(name): name for name in known}
        for key in unknown:
            meant = spelt.get(squeezed(key)) or meant_key(key, known - cls.FREE, content)
            if meant is not None:
                place = f" {cls.ELSEWHERE[meant]}" if meant in cls.ELSEWHERE else ""
                mend = f'did you mean "{meant}"{place}?'
                raise refusal(f'unknown key "{shown(key)}"', mend, (key,))
        return content

    def plain(self) -> dict[str, Any]:
        """Return the entry as YAML would hold it: defaults left out, unknown keys last."""
        held, left_out = self.__dict__, _defaults(type(self))
        content = {
            name: _plain(held[name])
            for name in type(self).model_fields
            if name not in left_out or held[name] != left_out[name]
        }
        content.update(thawed(self.model_extra or {}))
        return content

    def unknown_keys(self) -> Iterator[tuple[str | int, ...]]:
        """Yield the path of every key that is kept but not known."""
        yield from ((key,) for key in self.model_extra or {})
        for name in type(self).model_fields:
            held = getattr(self, name)
            for place, item in enumerate(held) if isinstance(held, tuple) else [(None, held)]:
                if isinstance(item, Record):
                    step = (name,) if place is None else (name, place)
                    yield from ((*step, *path) for path in item.unknown_keys())


@cache
def _defaults(model: type[Record]) -> Mapping[str, Any]:
    """Return field -> the value that need not be written."""
    return {
        name: field.get_default(call_default_factory=True)
        for name, field in model.model_fields.items()
        if name not in model.ALWAYS and not field.is_required()
    }


def _plain(held: Any) -> Any:
    if isinstance(held, Record):
        return held.plain()
    if isinstance(held, datetime):
        return held.isoformat()
    if isinstance(held, tuple):
        return [_plain(inner) for inner in held]
    return thawed(held)
