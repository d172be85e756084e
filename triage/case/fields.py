"""The kinds of value a case file holds, each with a refusal that says what to write instead."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from datetime import datetime
from pathlib import PurePosixPath
from typing import Annotated, Any, NoReturn, TypeVar

from pydantic import BeforeValidator
from pydantic_core import PydanticCustomError

from triage.errors import did_you_mean

_ID = re.compile(r"[a-z0-9][a-z0-9-]{0,63}")
_ATTEMPT_ID = re.compile(r"a[1-9][0-9]{0,8}")
_DRIVE = re.compile(r"[A-Za-z]:")
_UNITS = {"amount_ml": "millilitres", "minutes": "minutes", "size_um": "micrometres"}
# What one pass at a bench can take. Beyond it a figure is a slip of the hand (a lost point, another
# unit), and in the air of the day it would speak for every other case as well. Judgement: ten
# litres would be a bath for whole drawers; the longest methods run for weeks, not for half a year.
MOST = {"amount_ml": 10_000.0, "minutes": 180 * 24 * 60.0, "size_um": 100_000.0}
# Years in which something can have been recorded: no record of this program is older, and a later
# one is a slip. Not held against the clock, which may be the one that is wrong: what is dated after
# the present moment is read, and the air counts it as released now.
FIRST_YEAR, LAST_YEAR = 2000, 2099
V = TypeVar("V")


class FrozenMap(dict[str, V]):
    """A mapping that cannot be changed: equal to a plain ``dict``, hashable, picklable."""

    def _refuse(self, *_: Any, **__: Any) -> NoReturn:
        raise TypeError("a frozen mapping cannot be changed; build a new one")

    __setitem__ = _refuse
    __delitem__ = _refuse
    __ior__ = _refuse
    clear = _refuse
    pop = _refuse
    popitem = _refuse
    setdefault = _refuse
    update = _refuse

    def __hash__(self) -> int:  # type: ignore[override]
        return hash(frozenset(self.items()))

    @classmethod
    def __get_pydantic_json_schema__(cls, *_: Any) -> dict[str, Any]:
        """Return what a mapping is in a JSON Schema."""
        return {"type": "object"}

    def __reduce__(self) -> tuple[Any, ...]:
        return (FrozenMap, (dict(self),))


def frozen(content: Any) -> Any:
    """Return plain values with every mapping and list made unchangeable."""
    if isinstance(content, dict):
        return FrozenMap({key: frozen(inner) for key, inner in content.items()})
    if isinstance(content, list | tuple):
        return tuple(frozen(inner) for inner in content)
    return content


def thawed(content: Any) -> Any:
    """Return plain dicts and lists, as a YAML writer wants them."""
    if isinstance(content, dict):
        return {key: thawed(inner) for key, inner in content.items()}
    if isinstance(content, list | tuple):
        return [thawed(inner) for inner in content]
    return content


def refusal(message: str, mend: str = "", path: tuple[Any, ...] = ()) -> PydanticCustomError:
    """Return an error for a validator to raise.

    Parameters
    ----------
    message what is wrong
    mend    what to do about it
    path    keys and indexes from the entry that is checked to the one that is at fault
    """
    # The template is filled by name so that braces in a user's text stay as they are.
    return PydanticCustomError("triage", "{fault}", {"fault": message, "mend": mend, "path": path})


def shown(content: Any) -> str:
    """Return a value as it is quoted in an error: short and on one line."""
    text = str(content)
    return text if len(text) <= 40 else f"{text[:37]}..."


def one_of(known: Iterable[str]) -> BeforeValidator:
    """Return a validator that lets only ``known`` words pass and names the nearest one."""
    words = tuple(known)

    def check(content: Any) -> Any:
        if content is None or (isinstance(content, str) and content in words):
            return content
        raise refusal(f'unknown value "{shown(content)}"', did_you_mean(str(content), words))

    return BeforeValidator(check)


def _check_id(content: Any) -> Any:
    if not isinstance(content, str):
        raise refusal(f'"{shown(content)}" is not an id', "write a word; put digits in quotes")
    if not _ID.fullmatch(content):
        raise refusal(
            f'"{shown(content)}" is not an id',
            "use small letters, digits and hyphens, at most 64, such as bumblebee-03",
        )
    return content


def _check_attempt_id(content: Any) -> Any:
    if not (isinstance(content, str) and _ATTEMPT_ID.fullmatch(content)):
        raise refusal(f'"{shown(content)}" is not an attempt id', "write a1, a2, a3 and so on")
    return content


def _check_word(content: Any) -> Any:
    if isinstance(content, str) and content.strip():
        # Words stand beside others on one line of every list; a break in one would forge a line.
        if len(content.splitlines()) > 1:
            raise refusal("a line break stands inside a word", "write it on one line")
        return content
    if isinstance(content, str):
        raise refusal("the text is empty", "name it, or remove the line")
    raise refusal(f"{_kind(content)} where a word belongs", "write a word, in quotes if need be")


def _to_text(content: Any) -> Any:
    if content is None:
        return ""
    if isinstance(content, bool):
        return "true" if content else "false"
    if isinstance(content, int | float):
        return str(content)
    if not isinstance(content, str):
        raise refusal(f"{_kind(content)} where text belongs", "write one text, in quotes")
    return content


def _to_answer(content: Any) -> Any:
    # A plain true is what many editors make of "yes"; both mean the same answer.
    if isinstance(content, bool):
        return "yes" if content else "no"
    if content is None:
        return "unknown"
    if isinstance(content, int) or (isinstance(content, float) and math.isfinite(content)):
        return str(content)
    return _check_word(content)


def _answers(content: dict[str, Any]) -> FrozenMap[str]:
    answers = {}
    for question, answer in content.items():
        try:
            answers[question] = _to_answer(answer)
        except PydanticCustomError as fault:
            context = fault.context or {}
            raise refusal(f"{question}: {context.get('fault')}", context.get("mend", "")) from None
    return FrozenMap(answers)


def _held(kind: Any, made: Callable[[Any], Any], what: str, mend: str) -> BeforeValidator:
    """Return a validator that makes something of a mapping or a list, of nothing an empty one."""

    def check(content: Any) -> Any:
        if content is not None and not isinstance(content, kind):
            raise refusal(f"{_kind(content)} where {what}", mend)
        return made(content or {})

    return BeforeValidator(check)


def _to_time(content: Any) -> Any:
    if isinstance(content, datetime):
        moment = content
    else:
        try:
            moment = datetime.fromisoformat(content)
        except (TypeError, ValueError):
            raise refusal(
                f'"{shown(content)}" is not a date with time',
                "write it as 2026-03-02T10:15:00+01:00",
            ) from None
    if moment.tzinfo is None:
        raise refusal(
            f'"{shown(content)}" has no time zone', "add the offset, such as +01:00 at the end"
        )
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise refusal(
            f'"{shown(content)}" is not in the years {FIRST_YEAR} to {LAST_YEAR}',
            "correct the date, or the clock of this machine",
        )
    return moment


def _to_photo(content: Any) -> Any:
    if content is None:
        return None
    if not isinstance(content, str) or not content.strip():
        raise refusal("a photo is named by its path", "write a path such as photos/before.jpg")
    path = PurePosixPath(content)
    if path.is_absolute() or _DRIVE.match(content) or "\\" in content or content.startswith("~"):
        raise refusal(
            f'the photo path "{shown(content)}" is not relative',
            "write it from the folder of the case, with /",
        )
    if ".." in path.parts:
        raise refusal(
            f'the photo path "{shown(content)}" leaves the folder of the case',
            "put the photo into that folder",
        )
    return content


def quantity(name: str) -> BeforeValidator:
    """Return a validator for a number that is finite and not negative, in the unit of ``name``."""
    unit = _UNITS[name]

    def check(content: Any) -> Any:
        if content is None:
            return None
        if isinstance(content, bool) or not isinstance(content, int | float):
            raise refusal(
                f'"{shown(content)}" is not a plain number', f"write the number of {unit} alone"
            )
        try:
            number = float(content)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            raise refusal(f"{shown(content)} is not a finite number", f"write it in {unit}")
        if number < 0.0:
            raise refusal(f"{shown(content)} is negative", f"write 0 or more {unit}")
        if number > MOST[name]:
            what = "a speck can be" if name == "size_um" else "one pass can take"
            raise refusal(
                f"{shown(content)} is more than {what}",
                f"write at most {MOST[name]:g} {unit}",
            )
        return number

    return BeforeValidator(check)


def _kind(content: Any) -> str:
    names = ((bool, "true or false"), (dict, "a mapping"), (tuple | list, "a list"))
    for kind, name in names:
        if isinstance(content, kind):
            return name
    return "nothing" if content is None else f'"{shown(content)}"'


Id = Annotated[str, BeforeValidator(_check_id)]
AttemptId = Annotated[str, BeforeValidator(_check_attempt_id)]
Word = Annotated[str, BeforeValidator(_check_word)]
Text = Annotated[str, BeforeValidator(_to_text)]
Answers = Annotated[
    FrozenMap[str], _held(dict, _answers, "answers belong", "write question: answer on a line")
]
FreeMap = Annotated[
    FrozenMap[Any], _held(dict, FrozenMap, "a mapping belongs", "write key: value, one a line")
]
Time = Annotated[datetime, BeforeValidator(_to_time)]
Photo = Annotated[str | None, BeforeValidator(_to_photo)]
ITEMS = _held(tuple | list, tuple, "a list belongs", "begin each entry with a hyphen")
