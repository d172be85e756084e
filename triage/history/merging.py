"""Two records of one specimen become one, or stand side by side: nothing of either is lost."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from triage.case.models import Attempt, Case, Finding
from triage.case.reading import validated
from triage.errors import TriageError

#: what a case says once; two different values cannot both stand in one file
_SINGLE = ("title", "taxon", "invented", "merged_from")
_MAPS = ("specimen", "answers")
_EMPTY = {
    "title": "",
    "merged_from": "",
    "taxon": "unknown",
    "named": None,
    "side": None,
    "reason": "",
}


class CannotMerge(Exception):
    """The two records contradict each other; the text names the first place."""


def merged(ours: Case, theirs: Case) -> Case:
    """Return one case that holds everything of both.

    Parameters
    ----------
    ours   stays as it is: its attempts keep their ids and their order
    theirs what it adds: answers, signs, findings, attempts, releases, overrides, timers

    Raises
    ------
    CannotMerge: both say different things where only one can stand.

    Notes
    -----
    Attempts that stand in both files alike are one. Others keep their order behind ours; an id in
    use for something else is renamed, and with it what refers to it. Merging twice changes
    nothing.
    """
    content: dict[str, Any] = {name: _single(ours, theirs, name) for name in _SINGLE}
    for name in _MAPS:
        content[name] = _united(getattr(ours, name), getattr(theirs, name), name)
    content["attempts"], renamed = _attempts(ours, theirs)
    for name in ("releases", "overrides", "restated", "withdrawn"):
        added = _plains(getattr(theirs, name))
        for each in added if name == "releases" else ():
            each["attempt"] = renamed.get(each["attempt"], each["attempt"])
        mine = _plains(getattr(ours, name))
        content[name] = mine + [each for each in added if each not in mine]
    content["timers"] = _timers(ours, theirs)
    content["findings"] = _standing(_findings(ours, theirs), content["withdrawn"])
    extra = _united(ours.model_extra or {}, theirs.model_extra or {}, "key")
    try:
        made: Case = validated(Case, {"format": 1, "id": ours.id, **content, **extra})
    except TriageError as fault:
        raise CannotMerge(fault.message) from None
    return made


def _single(ours: Any, theirs: Any, name: str) -> Any:
    mine, other = getattr(ours, name), getattr(theirs, name)
    empty = _EMPTY.get(name)
    if other in (mine, empty):
        return mine
    if mine == empty:
        return other
    raise CannotMerge(f'{name} is "{mine}" here and "{other}" there')


def _united(mine: Mapping[str, Any], other: Mapping[str, Any], what: str) -> dict[str, Any]:
    for key in sorted(mine.keys() & other.keys()):
        if mine[key] != other[key]:
            raise CannotMerge(f'{what} {key} is "{mine[key]}" here and "{other[key]}" there')
    return {**mine, **other}


def _findings(ours: Case, theirs: Case) -> list[dict[str, Any]]:
    other = {finding.id: finding for finding in theirs.findings}
    found = [
        _finding(finding, other.pop(finding.id)) if finding.id in other else finding.plain()
        for finding in ours.findings
    ]
    return found + [finding.plain() for finding in theirs.findings if finding.id in other]


def _standing(
    findings: list[dict[str, Any]], withdrawn: list[dict[str, Any]]
) -> list[dict[str, Any]]:
    """Return the findings without those that one of the two took back as they stand here.

    What was seen since on one that the other took back is a contradiction.
    """
    kept = []
    for finding in findings:
        gone = [w["finding"] for w in withdrawn if w["finding"]["id"] == finding["id"]]
        same = [each for each in gone if each["zone"] == finding["zone"]]
        if any(finding.get("signs", {}).items() <= each.get("signs", {}).items() for each in same):
            continue
        if same:
            raise CannotMerge(f'finding "{finding["id"]}" is withdrawn in one record only')
        kept.append(finding)
    return kept


def _finding(mine: Finding, other: Finding) -> dict[str, Any]:
    if mine.zone != other.zone:
        raise CannotMerge(f'finding "{mine.id}" is in {mine.zone} here and {other.zone} there')
    made: dict[str, Any] = {"id": mine.id, "zone": mine.zone}
    for name in ("side", "named", "reason"):
        made[name] = _single(mine, other, name)
    if mine.accepted != other.accepted and mine.reason and other.reason:
        raise CannotMerge(f'finding "{mine.id}" is accepted in one record only')
    made["accepted"] = mine.accepted or other.accepted
    made["signs"] = _united(mine.signs, other.signs, f"sign of {mine.id}")
    return {**made, **_united(mine.model_extra or {}, other.model_extra or {}, "key")}


def _attempts(ours: Case, theirs: Case) -> tuple[list[dict[str, Any]], dict[str, str]]:
    """Return ours, then what is new of theirs, and how the ids of theirs read now."""
    mine = _plains(ours.attempts)
    taken = (attempt.id for attempt in (*ours.attempts, *theirs.attempts))
    newest = max((int(name[1:]) for name in taken), default=0)
    renamed: dict[str, str] = {}
    added: list[dict[str, Any]] = []
    known = [(attempt["id"], _bare(attempt)) for attempt in mine]
    for attempt in theirs.attempts:
        content = attempt.plain()
        if content.get("corrects"):
            content["corrects"] = renamed.get(content["corrects"], content["corrects"])
        same = next((name for name, bare in known if bare == _bare(content)), None)
        if same is not None:
            renamed[attempt.id] = same
            continue
        if attempt.id in dict(known):
            newest += 1
            content["id"] = f"a{newest}"
        renamed[attempt.id] = content["id"]
        added.append(content)
    return mine + added, renamed


def _bare(content: Mapping[str, Any]) -> dict[str, Any]:
    """Return an attempt without its id: what was done, when, and with what result."""
    return {key: held for key, held in content.items() if key != "id"}


def _timers(ours: Case, theirs: Case) -> list[dict[str, Any]]:
    other = {timer.step: timer for timer in theirs.timers}
    for timer in ours.timers:
        if timer.step in other and other.pop(timer.step) != timer:
            raise CannotMerge(f'a timer of "{timer.step}" runs differently in each')
    return _plains(ours.timers) + [timer.plain() for timer in other.values()]


def _plains(records: Any) -> list[dict[str, Any]]:
    return [record.plain() for record in records]


def photos_of(case: Case) -> tuple[str, ...]:
    """Return every photo that a case names, sorted."""
    named = {a.photo_before for a in case.attempts} | {a.photo_after for a in case.attempts}
    return tuple(sorted(photo for photo in named if photo))


def with_photos_renamed(case: Case, names: Mapping[str, str]) -> Case:
    """Return the case with photos under other names."""
    if not any(photo in names for photo in photos_of(case)):
        return case
    content = {**dict(case), "attempts": tuple(_renamed(a, names) for a in case.attempts)}
    return validated(Case, content)


def _renamed(attempt: Attempt, names: Mapping[str, str]) -> Attempt:
    changed = {
        side: names.get(getattr(attempt, side) or "", getattr(attempt, side))
        for side in ("photo_before", "photo_after")
    }
    return validated(Attempt, {**dict(attempt), **changed})
