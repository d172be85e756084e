"""A copy of the rules that protects less than the carried ones says where, with file and line."""

import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, get_args

import pytest
import yaml
from pydantic import BaseModel

from tests.support.knowledge import RULES
from tests.support.running import Runner
from triage.check.weaker import KEYS, PROTECTS, Way, lost_in, weaker
from triage.errors import Faults, TriageError
from triage.knowledge.agents import PROTECTIVE
from triage.knowledge.book import KINDS, Knowledge
from triage.knowledge.judgement import Judgement
from triage.knowledge.load import load_knowledge

SOLVENTS = "alcohol, ester, ketone, aliphatic, aromatic, terpene, ether"
BROKEN = {
    name: tuple(copy.values())
    for name, copy in yaml.safe_load(
        Path(__file__).with_name("weaker_copies.yaml").read_text(encoding="utf-8")
    ).items()
}


def _lines(faults: list[TriageError]) -> list[str]:
    return [fault.line() for fault in faults]


def _broken(copy: Path, name: str) -> int:
    """Break a copy in one way, and return the line that was changed."""
    file, after, old, new, _ = BROKEN[name]
    path = copy / file
    text = path.read_text(encoding="utf-8")
    at = text.index(old, text.index(after))
    path.write_text(text[:at] + new + text[at + len(old) :], encoding="utf-8")
    return text.count("\n", 0, at + len(old) - old.endswith("\n")) + 1


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    return shutil.copytree(RULES, tmp_path / "mine")


@pytest.mark.parametrize("name", BROKEN)
def test_a_weaker_copy_is_told_with_file_and_line(
    name: str, knowledge: Knowledge, copy: Path
) -> None:
    file, _, _, new, says = BROKEN[name]
    line = _broken(copy, name)
    try:
        told = _lines(weaker(knowledge, load_knowledge(copy)))
    except TriageError as fault:
        told = _lines(list(fault.faults) if isinstance(fault, Faults) else [fault])
    named = [said for said in told if says in said]
    assert named, told
    assert all(said.startswith(f"mine/{file}") for said in named)
    if new and "is gone" not in says:
        shown = int(named[0].split(":")[1].split()[0])
        assert 0 <= line - shown <= 1  # of an entry over several lines, its first


def test_the_carried_rules_and_a_stricter_copy_are_not_weaker(
    knowledge: Knowledge, copy: Path
) -> None:
    for file, old, new in (
        ("forbid.yaml", f"{SOLVENTS}, siloxane]", f"{SOLVENTS}, siloxane, glycol]"),
        ("judgement.yaml", "value: 0.1\n", "value: 0.05\n"),
        ("zones.yaml", "most_chemical: 3", "most_chemical: 2"),
        ("agents/heptane.yaml", "value: 85\n", "value: 80\n"),
        ("agents/heptane.yaml", "gloves:\n", "not_for: [asthma]\ngloves:\n"),
    ):
        text = (copy / file).read_text(encoding="utf-8")
        assert old in text
        (copy / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    assert _lines(weaker(knowledge, load_knowledge(copy))) == []


# What protects nobody by itself, by kind. Words: a person reads them and no act is decided by them.
# Signs, ladders and what raises a grade are rules, and rules are compared as such.
WORDS = {"id", "source", "at", "note", "was", "name", "because", "status", "examples"}
FREE: dict[str, set[str]] = {
    "agent": {
        *("cas", "no_limit_because", "hansen"),  # hansen: shown beside what it may dissolve
        "physical.upper_explosive_limit",  # of no judgement
        # What stands beside the own figure protects less than it.
        *(f"physical.{name}.also" for name in ("vapour_pressure", *PROTECTIVE)
          if name != "upper_explosive_limit"),
        *("limits.edition", "gloves.minutes", "incompatible.product", "attacks.how"),
    },
    # The amount planned is judged in the air; what a rung is taken for is said by its interlocks.
    "method": {"tool", "success", "evidence", "stands", "amount.least_ml"},
    # What holds, what closes and what is told by them is compared; the other words are words.
    "outcomes": {"cleared", "better", "no_change"},
    "technique": {"how", "tool"},
    "zone": {"plans", "rank", "ceiling_because", "test_spot"},
    "fragility": {"typical", "raised_by"},
    "deposit": {"looks", "speaks_for", "leave_it", "hansen", "confused_with", "signs", "ladder", "cases"},
    "condition": {"full_stop", "signs", "ladder"},
    # Of whom and when it is asked: what is not asked stays unknown, and unknown permits nothing.
    "question": {
        *("about", "ask", "how", "seconds", "rank", "stage", "last", "after_cleaning"),
        *("traits", "surfaces", "when"),
    },
    "stop": {"see", "means", "then"},
    "hazard": {"sentence"},
    "circumstance": {"ask"},
    "authority": {"short", "jurisdiction", "legal"},
    "material": {"hansen"},
    "element": {"symbol"},
    "control": {"cost_rank", "sentence"},
    "salt": {"formula", "polynomial", "exponential", "points", "caution_source"},
    "gel": {"capacity", "held_when_fresh", "caution_source"},
    "dose": {"suggestion"},
    "judgement": {
        *("picture", "wavelength_um", "eye_acuity_arcmin", "stack_overlap"),  # of photographs
        "most_certain",  # caps what is said; nothing is decided at it
    },
    # Only names and meanings.
    **{kind: {"*"} for kind in ("source", "body-plan", "trait", "term", "sign")},
}  # fmt: skip
QUANTITY = {"unit", "start", "least"}  # beside the value or the most of one that is compared
MODELS = {**{kind: model for kind, (model, _) in KINDS.items()}, "judgement": Judgement}


def _inner(annotation: Any) -> type[BaseModel] | None:
    """Return the model of the entries of a field, None where it holds plain values."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for each in get_args(annotation) if (found := _inner(each))), None)


def _fields(model: type[BaseModel], spec: Mapping[str, Any], before: str = "") -> Iterator[str]:
    """Yield each field of a model that is not compared, with those of what is compared in it."""
    for name, field in model.model_fields.items():
        if name not in spec:
            yield before + name
        elif spec[name] is not None and not isinstance(spec[name], Way):
            inner = _inner(field.annotation)
            assert inner is not None, name
            keyed = dict.fromkeys(KEYS.get(name, ()))
            yield from _fields(inner, {**keyed, **spec[name]}, f"{before}{name}.")


@pytest.mark.parametrize("kind", MODELS)
def test_every_field_protects_or_is_named_as_one_that_does_not(kind: str) -> None:
    free = FREE.get(kind, set())
    if free == {"*"}:
        assert kind not in PROTECTS
        return
    inner = {*WORDS, *QUANTITY, "text"}
    left = {
        path
        for path in _fields(MODELS[kind], PROTECTS.get(kind, {}))
        if path.rpartition(".")[2] not in (inner if "." in path else WORDS)
    }
    assert left == free


def _leaves(spec: Mapping[str, Any], before: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    for name, way in spec.items():
        if isinstance(way, Way) or not way:
            yield (*before, name)
        else:
            yield from _leaves(way, (*before, name))


def _worse(value: Any, way: Any) -> Any:
    """Return a value that protects less in a way; None where this one leaves nothing to lose."""
    if not isinstance(way, Way) or way is Way.FEWER:
        return ("" if isinstance(value, str) else value[:-1]) if value else None
    if isinstance(value, bool):
        return not value if way is Way.OTHER or value is (way is Way.LESS) else None
    if isinstance(value, int | float):
        return value + (-1 if way is Way.LESS else 1)
    return "another" if way is Way.OTHER else None


def _weakened(entry: BaseModel, path: tuple[str, ...], spec: Mapping[str, Any]) -> BaseModel | None:
    name, *rest = path
    value, way = getattr(entry, name), spec[name]
    if not rest:
        made = _worse(value, way)
    elif isinstance(value, tuple):
        items = [_weakened(item, tuple(rest), way) for item in value]
        # Of a pair for one thing the better counts, so each of them is made worse.
        each = (new or old for new, old in zip(items, value, strict=True))
        made = tuple(each) if any(items) else None
    else:
        made = _weakened(value, tuple(rest), way) if value is not None else None
    return None if made is None else entry.model_copy(update={name: made})


@pytest.mark.parametrize(
    ("kind", "path"),
    [(kind, path) for kind, spec in PROTECTS.items() for path in _leaves(spec)],
    ids=lambda each: each if isinstance(each, str) else ".".join(each),
)
def test_a_field_that_protects_is_missed_where_it_is_weakened(
    kind: str, path: tuple[str, ...], knowledge: Knowledge
) -> None:
    table = {"": knowledge.judgement} if kind == "judgement" else knowledge.table(kind)
    tried = 0
    for entry in table.values():
        other = _weakened(entry, path, PROTECTS[kind])
        if other is not None and other != entry:
            tried += 1
            assert list(lost_in(entry, other, PROTECTS[kind])), (entry, path)
    assert tried or (kind, path) in NOWHERE


# Fields that no carried entry fills today.
NOWHERE: set[tuple[str, tuple[str, ...]]] = set()


def test_check_says_it_in_words_and_json_and_by_its_exit(copy: Path, triage: Runner) -> None:
    line = _broken(copy, "the eye's chemical bound")
    told = triage("check", "--rules", str(copy))
    assert told.returncode == 1
    lines = told.stdout.splitlines()
    head = lines.index("This copy protects less than the carried rules in 1 place:")
    said = f'mine/zones.yaml:{line} zone "compound-eye": weaker than the carried rules: most_chemical is 4'
    assert [each.startswith(said) for each in lines[head + 1 :]] == [True]
    (lost,) = triage("check", "--rules", str(copy), "--json", "--meant").held()["protects_less"]
    assert (lost["file"], lost["line"]) == ("mine/zones.yaml", line)
    assert "most_chemical is 4, there 3" in lost["message"]
