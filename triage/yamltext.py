"""Read YAML text as plain values with line numbers, and write it back for people.

Only what a person means by it is read: mappings, lists, text, numbers, ``true``/``false`` and
``null`` (YAML 1.2 core). ``yes``, ``no``, ``on``, ``off`` and dates stay text. Nothing is ever
constructed from a tag, and every way to make a small file huge is refused.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NoReturn

import yaml

from triage.errors import CONTROL, TriageError, Where, control_character

MAX_BYTES = 2_000_000
MAX_DEPTH = 20
MAX_NODES = 200_000
_MAX_DIGITS = 40

_Parser: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_Dumper: Any = getattr(yaml, "CSafeDumper", yaml.SafeDumper)

_INT = re.compile(r"[-+]?(?:0|[1-9][0-9]*)")
_HEX = re.compile(r"0x[0-9a-fA-F]+|0o[0-7]+")
_FLOAT = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")
_LEADING_ZERO = re.compile(r"[-+]?0[0-9]+")
_SPECIAL: dict[str, Any] = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL")),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
    **dict.fromkeys((".inf", ".Inf", ".INF", "+.inf", "+.Inf", "+.INF"), float("inf")),
    **dict.fromkeys(("-.inf", "-.Inf", "-.INF"), float("-inf")),
    **dict.fromkeys((".nan", ".NaN", ".NAN"), float("nan")),
}
_TAB_INDENT = re.compile(r"^ *\t[ \t]*[^\s#]", re.MULTILINE)


@dataclass(slots=True)
class Place:
    """Where an entry stands, with everything below it in the order of the text.

    ``line`` counts from 1 and ``column`` from 0: of the key in a mapping, of the content in a
    list. ``flow`` tells ``{a: 1}`` from the block style.
    """

    line: int
    column: int = 0
    flow: bool = False
    below: dict[Any, Place] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Parsed:
    """Plain values of one YAML document, and where each stands in the text."""

    data: Any
    place: Place | None = None

    def line_of(self, path: tuple[Any, ...] = ()) -> int | None:
        """Return the line (1-based) of the entry at ``path``, a tuple of keys and list indexes.

        The nearest enclosing entry answers for one that is not there, so a missing key is
        reported where its owner begins. None only for an empty text.
        """
        place = self.place
        if place is None:
            return None
        for step in path:
            deeper = place.below.get(step)
            if deeper is None:
                break
            place = deeper
        return place.line


def read_text(path: str | os.PathLike[str], shown_as: str) -> str:
    """Return a file's text without changing its line ends.

    Raises
    ------
    TriageError: missing, not a file, not readable, too large, or not UTF-8.
    """
    where = Where(shown_as)
    source = Path(path)
    try:
        if source.is_dir():
            raise TriageError("this is a folder, not a file", where, "name a file in it")
        if source.exists() and not source.is_file():
            raise TriageError("this is not an ordinary file", where, "name a YAML file")
        with source.open("rb") as stream:
            raw = stream.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise TriageError("no such file", where, "check the name and the folder") from None
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or "the name is not valid"
        raise TriageError(f"cannot be read: {reason}", where, "check the name and rights") from None
    _refuse_size(len(raw), where)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = raw.count(b"\n", 0, fault.start) + 1
        raise TriageError(
            f"byte 0x{raw[fault.start]:02X} is not UTF-8 text",
            Where(shown_as, line),
            "save the file as UTF-8",
        ) from None


def parse_yaml(text: str, shown_as: str) -> Parsed:
    """Return the one document in ``text`` as plain values with their lines.

    Parameters
    ----------
    text      YAML text
    shown_as  file name as shown to the user in an error

    Returns
    -------
    Parsed; keys are always text, an empty text gives ``data`` None.

    Raises
    ------
    TriageError: broken YAML, second document, tag, anchor, alias, merge key, key twice, key that
    is not text, tab as indentation, control character, too large, too deep, too many entries.

    Source
    ------
    Scalars: YAML 1.2.2, section 10.3 (core schema), with one departure: digits with a leading
    zero stay text, because a catalogue number 0012 must not come back as 12.
    """
    where = Where(shown_as)
    try:
        size = len(text.encode("utf-8"))
    except UnicodeEncodeError:
        raise TriageError("not valid Unicode text", where, "save the file as UTF-8") from None
    _refuse_size(size, where)
    _refuse_raw_characters(text, shown_as)
    builder = _Builder(shown_as)
    parser = _Parser(text)
    try:
        event = parser.get_event()
        while event is not None and not isinstance(event, yaml.StreamEndEvent):
            builder.take(event)
            event = parser.get_event()
    except yaml.YAMLError as fault:
        _refuse_broken(fault, text, shown_as)
    finally:
        parser.dispose()
    return Parsed(builder.data, builder.place)


def locator(path: Path) -> Callable[[tuple[str | int, ...]], Where]:
    """Return a function that gives the line of an entry of a file, read only when asked."""

    def locate(entry: tuple[str | int, ...]) -> Where:
        label = " ".join(str(step) for step in entry)
        try:
            line = parse_yaml(read_text(path, path.name), path.name).line_of(entry)
        except TriageError:
            return Where(path.name, None, label)
        return Where(path.name, line, label)

    return locate


def dump_yaml(content: Any) -> str:
    """Return plain values as YAML for people: block style, keys in their order, UTF-8.

    Text that another YAML reader could take for a truth value or a number is quoted.
    """
    text: str = yaml.dump(
        content,
        Dumper=_PlainDumper,
        sort_keys=False,
        allow_unicode=True,
        default_flow_style=False,
        width=100,
    )
    return text


class _Builder:
    """Build values and lines from parser events without recursion."""

    def __init__(self, shown_as: str) -> None:
        self.data: Any = None
        self.place: Place | None = None
        self._shown_as = shown_as
        self._nodes = 0
        self._documents = 0
        # Each open collection with its place; the innermost, and the key that waits for its value.
        self._open: list[tuple[Any, Place]] = []
        self._owner: Any = None
        self._below: dict[Any, Place] = {}
        self._is_in_map = False
        self._key: str | None = None
        self._key_place = Place(0)

    def take(self, event: Any) -> None:
        """Take the next event of the stream; told apart by type, the commonest first."""
        kind = type(event)
        if kind is yaml.ScalarEvent:
            self._nodes += 1
            if event.tag is not None or event.anchor is not None or self._nodes > MAX_NODES:
                self._check_node(event)
            if self._is_in_map and self._key is None:
                self._take_key(event)
            else:
                self._put(self._scalar(event), event, flow=False)
        elif kind in (yaml.MappingEndEvent, yaml.SequenceEndEvent):
            self._close()
        elif kind in (yaml.MappingStartEvent, yaml.SequenceStartEvent):
            self._nodes += 1
            self._check_node(event)
            self._begin(event, {} if kind is yaml.MappingStartEvent else [])
        elif kind is yaml.AliasEvent:
            self._check_node(event)  # refuses it
        elif kind is yaml.DocumentStartEvent:
            self._documents += 1
            if self._documents > 1:
                self._refuse("a second document begins here", event, "keep one document")

    def _check_node(self, event: Any) -> None:
        if self._nodes > MAX_NODES:
            self._refuse(f"more than {MAX_NODES} entries", event, "split the file")
        if event.anchor is not None:
            self._refuse("anchors (&) and aliases (*) are not read", event, "write the entry out")
        if event.tag is not None and event.tag != "!":
            mend = "remove it and put text in quotes"
            self._refuse(f"the tag {event.tag!r} is not read", event, mend)

    def _begin(self, event: Any, content: Any) -> None:
        if self._is_in_map and self._key is None:
            self._refuse("a key must be one word", event, "quote it if it holds : , [ ] { or }")
        place = self._put(content, event, flow=bool(event.flow_style))
        if len(self._open) >= MAX_DEPTH:
            self._refuse(f"nested deeper than {MAX_DEPTH} levels", event, "flatten the entry")
        self._open.append((content, place))
        self._owner, self._below = content, place.below
        self._is_in_map = type(content) is dict

    def _close(self) -> None:
        self._open.pop()
        self._key = None
        if self._open:
            self._owner, place = self._open[-1]
            self._below = place.below
            self._is_in_map = type(self._owner) is dict

    def _take_key(self, event: Any) -> None:
        key, mark = event.value, event.start_mark
        self._check_text(event)
        if not key:
            self._refuse("a key is missing before the colon", event, "name the entry")
        if key == "<<" and _is_plain(event):
            self._refuse("merge keys (<<) are not read", event, "write the entry out")
        if key in self._owner:
            mend = f"keep one; the first is in line {self._below[key].line}"
            self._refuse(f'"{key}" stands twice', event, mend, key)
        self._key = key
        self._key_place = Place(mark.line + 1, mark.column)

    def _put(self, content: Any, event: Any, *, flow: bool) -> Place:
        key = self._key
        if key is not None:
            place = self._key_place
            self._key = None
            self._owner[key] = content
            self._below[key] = place
        else:
            mark = event.start_mark
            place = Place(mark.line + 1, mark.column)
            if self._open:
                self._below[len(self._owner)] = place
                self._owner.append(content)
            else:
                self.data, self.place = content, place
        place.flow = flow
        return place

    def _scalar(self, event: Any) -> Any:
        text = event.value
        if not _is_plain(event):
            self._check_text(event)
            return text
        if text in _SPECIAL:
            return _SPECIAL[text]
        if text[0] not in "+-.0123456789":
            return text
        is_int, is_hex = _INT.fullmatch(text), _HEX.fullmatch(text)
        if not (is_int or is_hex or (_FLOAT.fullmatch(text) and not _LEADING_ZERO.match(text))):
            return text
        if len(text) > _MAX_DIGITS:
            self._refuse("a number with too many digits", event, "shorten it or put it in quotes")
        if is_int:
            return int(text)
        return int(text, 0) if is_hex else float(text)

    def _check_text(self, event: Any) -> None:
        # Only a double-quoted text can hold what the raw text does not.
        found = control_character(event.value) if event.style == '"' else ""
        if found:
            self._refuse(f"the text holds a control character ({found})", event, "remove it")

    def _refuse(self, message: str, event: Any, mend: str, entry: str = "") -> NoReturn:
        raise TriageError(message, Where(self._shown_as, event.start_mark.line + 1, entry), mend)


def _is_plain(event: Any) -> bool:
    return event.style in (None, "") and event.tag is None


class _PlainDumper(_Dumper):  # type: ignore[misc]
    """Writes dates unquoted (this reader keeps them as text) and long text as a block."""

    def ignore_aliases(self, data: Any) -> bool:  # noqa: ARG002  (signature of the base class)
        """Write a value out wherever it stands: this reader takes no aliases."""
        return True


def _dump_text(dumper: Any, text: str) -> Any:
    style = None
    if "\n" in text:
        # A block is easiest to read, but not where blanks or line ends at its edges matter.
        style = '"' if text[0] in " \t\n" or text.endswith("\n\n") else "|"
    return dumper.represent_scalar("tag:yaml.org,2002:str", text, style=style)


_PlainDumper.add_representer(str, _dump_text)
_PlainDumper.yaml_implicit_resolvers = {
    first: [(tag, rule) for tag, rule in rules if not tag.endswith(":timestamp")]
    for first, rules in _Dumper.yaml_implicit_resolvers.items()
}
for _tag, _rule, _first in (
    ("float", _FLOAT, "-+.0123456789"),
    ("int", _HEX, "0"),
    ("int", _LEADING_ZERO, "-+0"),
):
    _PlainDumper.add_implicit_resolver(
        f"tag:yaml.org,2002:{_tag}", re.compile(f"(?:{_rule.pattern})$"), list(_first)
    )


def _refuse_size(size: int, where: Where) -> None:
    if size > MAX_BYTES:
        mend = "check that this is the right file"
        raise TriageError(f"larger than {MAX_BYTES / 1e6:g} MB", where, mend)


def _refuse_raw_characters(text: str, shown_as: str) -> None:
    for pattern, message, mend in (
        (CONTROL, "the text holds a control character ({})", "remove it"),
        (_TAB_INDENT, "a tab stands in the indentation", "use spaces"),
    ):
        found = pattern.search(text)
        if found:
            line = text.count("\n", 0, found.start()) + 1
            told = message.format(control_character(found.group()))
            raise TriageError(told, Where(shown_as, line), mend)


def _refuse_broken(fault: yaml.YAMLError, text: str, shown_as: str) -> NoReturn:
    mark = getattr(fault, "problem_mark", None) or getattr(fault, "context_mark", None)
    problem = getattr(fault, "problem", None) or getattr(fault, "reason", None) or "unreadable"
    line = None
    if mark is not None:
        # A fault at the very end is marked behind the last line, where nobody can look.
        line = min(mark.line + 1, max(1, len(text.splitlines())))
    raise TriageError(
        f"broken YAML: {problem}",
        Where(shown_as, line),
        "check the indentation, colons and quotes here and in the line above",
    ) from None
