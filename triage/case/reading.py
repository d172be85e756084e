"""Turn plain values into a case, and every fault into one line with its place."""

from __future__ import annotations

from difflib import get_close_matches
from typing import Any, TypeVar

from pydantic import ValidationError

from triage.case.entry import Record
from triage.case.fields import frozen, shown
from triage.case.models import Case
from triage.errors import TriageError, Where, control_character, raise_faults
from triage.yamltext import Parsed

MOST_FAULTS = 20
R = TypeVar("R", bound=Record)
_ENTRIES = {
    "findings": "finding",
    "attempts": "attempt",
    "releases": "release",
    "overrides": "override",
    "timers": "timer",
    "withdrawn": "withdrawn finding",
    "restated": "sign told again",
}
# pydantic's word for a fault -> what is wrong, what to do.
_TEXTS = {
    "bool_parsing": ("is neither true nor false", "write true or false"),
    "bool_type": ("is neither true nor false", "write true or false"),
    "model_type": ("is not an entry with keys", "write key: value, one a line"),
}


def case_from(parsed: Parsed, shown_as: str) -> Case:
    """Return the case in a parsed file.

    Raises
    ------
    TriageError: the file is not a case; ``Faults`` if there are several, at most 20.
    """
    if not isinstance(parsed.data, dict):
        empty = parsed.data is None
        raise TriageError(
            "the file is empty" if empty else "this is not a case: the file holds no keys",
            Where(shown_as, parsed.line_of()),
            "a case begins with format: 1 and id:",
        )
    return record_from(Case, parsed, shown_as)


def validated(model: type[R], content: dict[str, Any]) -> R:
    """Return a record built in the program, with the same refusals as one that was read."""
    _refuse_control_characters(content)
    return record_from(model, Parsed(content), "")


def record_from(model: type[R], parsed: Parsed, shown_as: str) -> R:
    """Return a record of what was read, every fault of it as a line with its place.

    Raises
    ------
    TriageError: place, entry, fault, mend; ``Faults`` if there are several, at most 20.
    """
    try:
        return model.model_validate(frozen(parsed.data))
    except ValidationError as fault:
        raise_faults(_faults_of(fault, parsed, shown_as))
        raise  # unreachable: a ValidationError holds at least one fault


def _faults_of(fault: ValidationError, parsed: Parsed, shown_as: str) -> list[TriageError]:
    found = []
    for error in fault.errors(include_url=False)[:MOST_FAULTS]:
        path = (*error["loc"], *(error.get("ctx") or {}).get("path", ()))
        message, mend = _told(error, path, parsed)
        where = Where(shown_as, parsed.line_of(path), _entry(path, parsed.data))
        found.append(TriageError(message, where, mend))
    return found


def _told(error: Any, path: tuple[Any, ...], parsed: Parsed) -> tuple[str, str]:
    kind, context = error["type"], error.get("ctx") or {}
    name = path[-1] if path else ""
    if kind == "triage":
        return str(context.get("fault", "")), str(context.get("mend", ""))
    if kind == "missing":
        owner = _at(parsed.data, path[:-1])
        near = get_close_matches(str(name), owner if isinstance(owner, dict) else (), n=1)
        mend = f'is it written as "{shown(near[0])}"?' if near else "add it"
        return f'"{name}" is missing', mend
    if kind == "literal_error" and path == ("format",):
        return f"format {shown(error['input'])} is not known", "write format: 1, or update triage"
    text, mend = _TEXTS.get(kind, (str(error["msg"]), "see the file format in the README"))
    return f'"{name}" {text}', mend


def _entry(path: tuple[Any, ...], content: Any) -> str:
    """Return a path as words: ``attempt "a3" amount_ml``."""
    words: list[str] = []
    if len(path) > 1 and path[0] in _ENTRIES and isinstance(path[1], int):
        item = _at(content, path[:2])
        name = item.get("id") if isinstance(item, dict) else None
        label = f'"{shown(name)}"' if name else str(path[1] + 1)
        words.append(f"{_ENTRIES[path[0]]} {label}")
        path = path[2:]
    words.extend(shown(step) for step in path)
    return " ".join(words)


def _at(content: Any, path: tuple[Any, ...]) -> Any:
    for step in path:
        try:
            content = content[step]
        except (KeyError, IndexError, TypeError):
            return None
    return content


def _refuse_control_characters(content: Any) -> None:
    if isinstance(content, str):
        found = control_character(content)
        if found:
            raise TriageError(f"the text holds a control character ({found})", mend="remove it")
    elif isinstance(content, dict):
        for key, inner in content.items():
            _refuse_control_characters(key)
            _refuse_control_characters(inner)
    elif isinstance(content, list | tuple):  # a record in it was looked through when it was made
        for inner in content:
            _refuse_control_characters(inner)
