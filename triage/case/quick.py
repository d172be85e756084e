"""Tell quickly that a case file is sound, for lists of thousands of cases.

Only files in exactly the plain layout that the store writes are known here, by one expression
over the whole text; of any other file nothing is said and it has to be read in full. So a file
that is wrong in any way is never taken for sound, and one laid out by hand only takes longer.
"""

from __future__ import annotations

import os
import re
import stat

# Beyond this a file is read in full; the layouts below then need no other limit.
_MOST_BYTES = 100_000

# Texts that mean themselves in YAML. A plain one begins with a letter or with a count and a space,
# and what could end or change it (": ", " #", tabs, reordering characters) is not in it.
_NO_WORD = r"(?!(?:null|true|false)(?![\w-]))"
_WORD = rf"{_NO_WORD}[a-z][a-z0-9-]*+"
_ID = rf"(?=[a-z0-9-]{{1,64}}\n){_NO_WORD}(?:[a-z]|[0-9]++-)[a-z0-9-]*+"
_INSIDE = r"(?:[\w,.()/;'+=%-]|:(?=\w)|[ ](?=[\w(.,/+=%-]))*+"
_LINES = rf"(?:[A-Za-z]|[0-9]++ (?=[A-Za-z%])){_INSIDE}(?:\n {{4,12}}[A-Za-z]{_INSIDE})*+"
_QUOTED = r"'[ -&(-~\w]*+'"
_BLOCK = r"\|-?(?:\n    [!-~\w][ -~\w]*+)++"
_TEXT = rf"(?:(?i:{_NO_WORD}){_LINES}|{_QUOTED}|\"\"|{_BLOCK})"
_COUNT = r"(?:0|[1-9][0-9]{0,8})"
_NUMBER = rf"{_COUNT}(?:\.[0-9]{{1,17}})?"
# Below what one pass can take (``fields.MOST``).
_ML = r"(?:0|[1-9][0-9]{0,3})(?:\.[0-9]{1,17})?"
_MINUTES = r"(?:0|[1-9][0-9]{0,4})(?:\.[0-9]{1,17})?"
_ANSWER = rf"(?:{_WORD}|{_COUNT}|'[a-z0-9][a-z0-9-]*+')"
_KEY = r"[a-z][a-z0-9_-]*+"
_DAY = (
    r"20\d\d-(?:(?:0[1-9]|1[0-2])-(?:0[1-9]|1\d|2[0-8])"
    r"|(?:0[13-9]|1[0-2])-(?:29|30)|(?:0[13578]|1[02])-31)"
)
_TIME = rf"{_DAY}T(?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d(?:\.\d{{6}})?[+-](?:0\d|1\d|2[0-3]):[0-5]\d"
_OUTCOMES = "cleared|better|no-change|worse|damage|not-done"
_PHOTO = r"(?![A-Za-z]:)(?:[A-Za-z0-9_][A-Za-z0-9_.-]*+/)*+[A-Za-z0-9_][A-Za-z0-9_.-]*+"

_FINDING = rf"""- id: {_ID}
  zone: {_WORD}
(?:  side: (?:left|right|both)
)?+(?:  named: {_WORD}
)?+  signs:(?: {{}}
|
(?:    {_KEY}: {_ANSWER}
)++)"""
_ATTEMPT = rf"""- id: a[1-9][0-9]{{0,8}}
  at: (?:{_TIME}|'{_TIME}')
  step: {_WORD}
  finding:(?: null| {_WORD})?+
  zone:(?: null| {_WORD})?+
  deposit:(?: null| {_WORD})?+
  method:(?: null| {_WORD})?+
  agent:(?: null| {_WORD})?+
  outcome: (?:{_OUTCOMES})
  amount_ml:(?: null| {_ML})?+
  minutes:(?: null| {_MINUTES})?+
(?:  note: {_TEXT}
)?+(?:  photo_before: {_PHOTO}
)?+(?:  photo_after: {_PHOTO}
)?+(?:  observed: {_TEXT}
)?+(?:  knowledge: {_TEXT}
)?+"""
_CASE = re.compile(
    rf"""(?:\#[\w ,.:;()"'/+=-]*+
)*+format: 1
id: (?P<id>{_ID})
title: (?P<title>(?!\|){_TEXT})
(?:invented: true
)?+taxon: {_WORD}
(?:specimen:
(?P<specimen>(?:  {_KEY}: (?:{_WORD}|{_NUMBER}|{_QUOTED})
)++))?+answers:(?: {{}}
|
(?P<answers>(?:  {_KEY}: {_ANSWER}
)++))findings:(?: \[\]
|
(?P<findings>(?:{_FINDING})++))attempts:(?: \[\]
|
(?P<attempts>(?:{_ATTEMPT})++))"""
)
_KEYS = re.compile(rf"^ +({_KEY}):", re.MULTILINE)
_NAMES = re.compile(r"^(?:- id|  finding): ?(.*)$", re.MULTILINE)


def sound_title(text: str, name: str) -> str | None:
    """Return the title of a case that is sound for certain, None if that is not known.

    Parameters
    ----------
    text content of a case file
    name name of the file without its ending
    """
    found = _CASE.fullmatch(text)
    if found is None or found["id"] != name or not _holds_together(found):
        return None
    title: str = found["title"]
    if title[0] in "'\"":
        return title[1:-1]
    return " ".join(title.split())


def _holds_together(found: re.Match[str]) -> bool:
    """Return whether no key and no id stands twice and every attempt names a known finding."""
    for part in ("specimen", "answers"):
        if _has_twice(_KEYS.findall(found[part] or "")):
            return False
    findings = (found["findings"] or "").split("- id: ")[1:]
    if any(_has_twice(_KEYS.findall(finding)) for finding in findings):
        return False
    known = [finding.split("\n", 1)[0] for finding in findings]
    attempts = found["attempts"] or ""
    lines = _NAMES.findall(attempts)
    named = set(lines[1::2]) - {"null", ""}
    return not _has_twice(known) and not _has_twice(lines[::2]) and named <= set(known)


def _has_twice(words: list[str]) -> bool:
    return len(set(words)) != len(words)


def quick_title(path: str, name: str) -> str | None:
    """Return the title of the case in a file if it is sound for certain, else None.

    Raises nothing: whatever is wrong with the file is found and told by reading it in full.
    """
    try:
        # Without O_NONBLOCK a pipe of that name would hang the list.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
        try:
            status = os.fstat(handle)
            if not stat.S_ISREG(status.st_mode) or status.st_size > _MOST_BYTES:
                return None
            raw = os.read(handle, _MOST_BYTES + 1)
        finally:
            os.close(handle)
        if len(raw) != status.st_size:  # cut short by a slow disk, or growing at this moment
            return None
        return sound_title(raw.decode("utf-8"), name)
    except (OSError, ValueError):
        return None
