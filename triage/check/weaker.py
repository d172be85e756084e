"""Where a person's copy of the rules protects less than the rules that come with the program.

Entries are compared field by field, in the fields that protect; rules by their words: a rule that
protects must still fire wherever the carried one does. What the carried rules do not know, such as
a new agent, is not judged.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from enum import StrEnum
from typing import Any

from pydantic import BaseModel

from triage.errors import TriageError, Where
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Family, Rule


class Way(StrEnum):
    """How a value protects less than another."""

    MORE = "larger is weaker"
    LESS = "smaller is weaker"
    OTHER = "any change counts"
    FEWER = "what is left out is missed"


MORE, LESS, OTHER, FEWER = Way
Spec = Mapping[str, Any]
# Items of a list that stand for the same thing; a list without such a key is counted too.
KEYS: Mapping[str, tuple[str, ...]] = {
    "limits": ("authority", "basis", "unit"),
    "gloves": ("material",),
    "incompatible": ("with_",),
    "attacks": ("material",),
    "vapour_pressure": ("temp_c",),
    "h_statements": ("code",),
    "with_": ("agent",),
    "carcinogen": ("body", "category"),
    "answers": ("id",),
    "disposal": (),
    "also": ("source",),
}
# Lists of sentences, which may be worded anew; in any other list each word stands for itself.
SENTENCES = ("rinse", "do")
MORE_VALUE, LESS_VALUE, OTHER_VALUE = {"value": MORE}, {"value": LESS}, {"value": OTHER}
MOST = {"most": MORE}
GRADE = {"grade": LESS}


def _all(way: Way | Spec, names: str) -> Spec:
    """Return that each of some fields protects in the same way."""
    return dict.fromkeys(names.split(), way)


# kind -> what protects in an entry of it.
PROTECTS: Mapping[str, Spec] = {
    "agent": {
        **_all(OTHER, "agent_class form water evaporating vapour_of strength_basis"),
        "vapour_share": LESS_VALUE,
        "physical": {
            "formula": {"text": OTHER},
            **_all(OTHER_VALUE, "molar_mass boiling_point"),
            **_all(MORE_VALUE, "flash_point lower_explosive_limit autoignition"),
            **_all(LESS_VALUE, "density odour_threshold"),
            "vapour_pressure": {"kpa": LESS},
        },
        "limits": {"value": MORE, "averaging_min": MORE, "in_force": LESS},
        "gloves": {"verdict": OTHER},
        **_all({}, "incompatible attacks h_statements carcinogen"),
        "disposal": {"drain": MORE},
        **_all(FEWER, "hazards skin breathing first_aid dispute notices not_for ask_label"),
        "never": LESS,
    },
    "method": {
        **_all(OTHER, "stage outcomes technique agent"),
        "with_": {"strength": MORE_VALUE},
        "strength": {"value": MORE, "unit": OTHER},
        **_all(MOST, "temp_c dwell_s burst_s"),
        "also": _all(MOST, "temp_c dwell_s"),
        "passes": MORE,
        "amount": {"typical_ml": MORE, "open_share": LESS},
        "look_after_h": OTHER,
        **_all(FEWER, "do drying stop_signs rinse keep_away needs not_for"),
        "harshness": _all(GRADE, "mechanical chemical person lasting"),
        **_all(MORE, "harmless while_dry"),
        **_all(LESS, "test_spot tries_next"),
    },
    "outcomes": {"worse": FEWER, "closes": MORE, "when_worse": OTHER},
    "technique": {**_all(OTHER, "wet contact whole shows"), "water_free": MORE},
    "zone": {**_all(FEWER, "surface hurts gentle"), **_all(MORE, "most_mechanical most_chemical")},
    "taxon": {
        **_all(OTHER, "plan fragility"),
        **_all(FEWER, "traits changes"),
        "most_chemical_dry": MORE,
    },
    "fragility": _all(MORE, "most_mechanical most_chemical"),
    "deposit": _all(OTHER, "guard kind alike"),
    "condition": _all(OTHER, "stage when_cleared"),
    "question": {
        **_all(OTHER, "liquid risk gives usual clean"),
        "alone": LESS,
        "answers": {"implies": OTHER},
    },
    "stop": _all(FEWER, "shows_at always_at always_with always_of"),
    "hazard": _all(LESS, "grade flammable needs_eye_protection no_drain needs_ventilation"),
    "circumstance": _all(FEWER, "always_with always_of"),
    "authority": {"converts_at": OTHER_VALUE},
    "material": {"role": OTHER},
    "equipment": {"assumed": MORE, "counts": OTHER},
    "element": {"weight": OTHER},
    "salt": {"caution": FEWER},
    "gel": {"caution": FEWER, "is_fit_for_drying": MORE},
    "control": _all(MORE, "air_changes_per_h captured_fraction air_speed_m_per_min outdoors"),
    "dose": {"agent": OTHER, "kind": OTHER, "figure": MORE_VALUE, "span": MOST},
    "judgement": {
        "harshness_order": {"keys": OTHER},
        **_all(LESS_VALUE, "settled lead mixing_factor"),
        **_all(
            MORE_VALUE,
            "margin lel_share suspected rival disproves named room_volume_m3 near_field_radius_m "
            "air_speed_m_per_min least_release_min burst_budget_s unchanged_passes release_again_s",
        ),
    },
}
# Families of which each rule protects; of the rest only what is told of a guarded deposit, a
# condition or a grade of fragility does.
KEPT = (Family.GATE, Family.FORBID, Family.ORDER, Family.CAUTION, Family.ADVISE)
MEND = "put it back, or mean it: nothing else stands in its place"
Lost = tuple[tuple[str | int, ...], str]


def weaker(carried: Knowledge, copy: Knowledge) -> list[TriageError]:
    """Return where ``copy`` protects less than ``carried``, each with file, line and mend."""
    return [
        TriageError(f"weaker than the carried rules: {said}", where, MEND)
        for where, said in (*_entries_lost(carried, copy), *_rules_lost(carried, copy))
    ]


def _entries_lost(carried: Knowledge, copy: Knowledge) -> Iterator[tuple[Where, str]]:
    for kind, spec in PROTECTS.items():
        for entry_id, entry in _entries(carried, kind).items():
            theirs = _entries(copy, kind).get(entry_id)
            if theirs is not None:
                for path, said in lost_in(entry, theirs, spec):
                    yield copy.where(kind, entry_id, *path), said
            elif kind in ("agent", "hazard", "circumstance") or _guards(entry):
                yield _gone(copy, "", f'{kind} "{entry_id}"')


def _gone(copy: Knowledge, file: str, entry: str) -> tuple[Where, str]:
    return Where(f"{copy.root.name if copy.root else ''}/{file}", None, entry), "it is gone"


def _guards(entry: BaseModel) -> bool:
    return getattr(entry, "guard", "none") != "none"


def _entries(k: Knowledge, kind: str) -> Mapping[str, BaseModel]:
    return {"": k.judgement} if kind == "judgement" else k.table(kind)


def lost_in(mine: BaseModel, theirs: BaseModel, spec: Spec) -> Iterator[Lost]:
    """Yield path and words of each field in which ``theirs`` protects less."""
    for name, way in spec.items():
        key = type(mine).model_fields[name].alias or name
        here, there = getattr(mine, name), getattr(theirs, name)
        if isinstance(way, Way):
            if said := _less(key, here, there, way):
                yield (key,), said
        elif isinstance(here, tuple):
            yield from _lost_items(name, key, (here, there), way)
        elif here is not None and there is None:
            yield (key,), f"{key} is gone"
        elif here is not None:
            for path, said in lost_in(here, there, way):
                yield (key, *path), f"{key}, {said}"


def _lost_items(name: str, key: str, lists: tuple[Any, Any], spec: Spec) -> Iterator[Lost]:
    """Yield the items of a list of which none in the other list says at least as much."""
    left = list(enumerate(lists[1]))
    for item in lists[0]:
        named = [getattr(item, part) for part in KEYS[name]]
        same = [
            (at, other)
            for at, other in left
            if [getattr(other, part) for part in KEYS[name]] == named
        ]
        lost = [[((key, at, *p), said) for p, said in lost_in(item, o, spec)] for at, o in same]
        if not same:
            yield (key,), f"{key} no longer has {' '.join(map(str, named)) or 'as many entries'}"
        elif all(lost):
            called = ", ".join([key, " ".join(map(str, named))]).rstrip(", ")
            for path, said in lost[0]:
                yield path, f"{called}: {said}"
        elif not KEYS[name]:  # without a key each stands for one, the most alike first
            fit = [each for each, less in zip(same, lost, strict=True) if not less]
            left.remove(min(fit, key=lambda each: each[1] != item))


def _less(key: str, mine: Any, theirs: Any, way: Way) -> str:
    """Return in what way a value protects less than the carried one, empty if it does not."""
    if way is FEWER:
        if isinstance(mine, str):
            return f"{key} is gone" if mine and not theirs else ""
        if mine and isinstance(mine[0], str) and key not in SENTENCES:
            gone = [name for name in mine if name not in theirs]
            return f"{key} no longer has {', '.join(gone)}" if gone else ""
        return (
            f"{key} has {len(theirs)} of {len(mine)} sentences" if len(theirs) < len(mine) else ""
        )
    if mine == theirs:
        return ""
    both = mine is not None and theirs is not None
    if way is not OTHER and both and ((theirs < mine) if way is MORE else (theirs > mine)):
        return ""
    return f"{key} is {_shown(theirs)}, there {_shown(mine)}"


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return ", ".join(map(str, value))
    return "nothing" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


# -- rules ----------------------------------------------------------------------------------------


def _rules_lost(carried: Knowledge, copy: Knowledge) -> Iterator[tuple[Where, str]]:
    theirs = {was: rule for rules in copy.rules.values() for rule in rules for was in rule.was}
    theirs |= copy.rule_index
    guards = {d.id for d in carried.deposits.values() if _guards(d)}
    for family in (Family.RECOGNISE, *KEPT):
        for rule in carried.rules[family]:
            kept = [
                said
                for said in rule.conclusions()
                if family in KEPT or "evidence" not in said or said["evidence"]["deposit"] in guards
            ]
            other = theirs.get(rule.id)
            if kept and other is None:
                stands = carried.where("rule", rule.id).file.partition("/")[2]
                yield _gone(copy, stands, f'rule "{rule.id}"')
            elif kept and other is not None:
                for path, said in _rule_lost(rule, other, kept):
                    yield copy.where("rule", other.id, *path), said
    for rule in copy.rules[Family.RECOGNISE]:
        known = carried.rule_index.get(rule.id)
        held = {} if known is None else _against(known, guards)
        for deposit, (weight, at) in _against(rule, guards).items():
            if weight < held.get(deposit, (0, 0))[0]:
                where = copy.where("rule", rule.id, "then", at, "evidence")
                yield where, f"it now speaks against {deposit} by {-weight:g}"


def _against(rule: Rule, guards: set[str]) -> Mapping[str, tuple[float, int]]:
    """Return what a rule of recognition speaks against, of the guarded deposits, and where."""
    told = [(c["evidence"], at) for at, c in enumerate(rule.conclusions()) if "evidence" in c]
    return {
        e["deposit"]: (e["weight"], at)
        for e, at in told
        if e["deposit"] in guards and e["weight"] < 0
    }


def _rule_lost(mine: Rule, theirs: Rule, kept: Sequence[Mapping[str, Any]]) -> Iterator[Lost]:
    """Yield the conditions that may keep the copy's rule silent, and what it no longer says."""
    for at, pattern in enumerate(theirs.when):
        if not any(_follows(held, pattern) for held in mine.when):
            yield ("when", at), "this condition does not follow from the carried rule's"
    for conclusion in kept:
        if not any(_says(other, conclusion) for other in theirs.conclusions()):
            (what, said), *_ = conclusion.items()
            told = ", ".join(f"{k} {v}" for k, v in said.items() if not str(v).startswith("$"))
            yield _place(theirs, what, said), f"it no longer concludes {what} {told}".rstrip()


def _place(theirs: Rule, what: str, said: Mapping[str, Any]) -> tuple[str | int, ...]:
    """Return where a rule still concludes something of the kind on the same deposit."""
    for at, other in enumerate(theirs.conclusions()):
        if what in other and other[what].get("deposit") == said.get("deposit"):
            return ("then", at, what)
    return ("then",)


def _follows(held: Mapping[str, Any], pattern: Mapping[str, Any]) -> bool:
    """Return whether ``pattern`` holds wherever ``held`` does."""
    if held == pattern:
        return True
    (kind, fields), *_ = held.items()
    wanted = pattern.get(kind)
    if kind == "absent" or wanted is None or len(held) != len(pattern):
        return False
    return all(name in fields and _wider(value, fields[name]) for name, value in wanted.items())


def _wider(value: Any, held: Any) -> bool:
    """Return whether what a condition allows holds all that the carried one allows."""
    if value == held or not isinstance(value, Mapping):
        return bool(value == held)
    ((how, theirs),) = value.items()
    if not isinstance(held, Mapping):
        return how == "one_of" and held in theirs
    mine = held.get(how)
    if how == "one_of" and mine is not None:
        return set(mine) <= set(theirs)
    if how == "not" and mine is not None:
        return _listed(theirs) <= _listed(mine)
    if not isinstance(mine, int | float) or not isinstance(theirs, int | float):
        return False
    return bool(theirs <= mine if how in ("at_least", "above") else theirs >= mine)


def _listed(value: Any) -> set[Any]:
    return set(value) if isinstance(value, list | tuple) else {value}


def _says(other: Mapping[str, Any], conclusion: Mapping[str, Any]) -> bool:
    """Return whether a conclusion says at least as much; a weight of evidence may be larger."""
    if other == conclusion:
        return True
    mine, theirs = conclusion.get("evidence"), other.get("evidence")
    if mine is None or theirs is None:
        return False
    return bool(mine["deposit"] == theirs["deposit"] and theirs["weight"] >= mine["weight"])
