"""The same account told of a like animal, or in a like room, leads to a plan that it accepts.

``alike.yaml`` says which animals and circumstances change nothing, and, with the trade's reason, which
cases they do change.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from itertools import product
from typing import Any, Literal

import pytest
from pydantic import Field

from tests.casebook.entry import entered
from tests.casebook.judge import Judging
from tests.casebook.model import HERE, Account, Given, Strict, casebook, not_yet
from tests.support.knowledge import planner, shipped
from triage.yamltext import parse_yaml, read_text


class Reasoned(Strict):  # every row says why, and where that stands
    because: str = Field(min_length=1)
    source: str


class Kin(Reasoned):  # any of them may stand for any other
    alike: list[str]


class Told(Reasoned):  # what may be told instead
    of: Literal["answers", "bench"]
    what: str
    was: str | None = None
    now: str


class But(Reasoned):  # cases that come out otherwise with any of these
    now: list[str]
    cases: list[str]


class Alike(Strict):
    kin: list[Kin]
    sizes: dict[str, list[str]]
    told: list[Told]
    but: list[But]

    def excepted(self) -> list[tuple[str, str]]:
        return [pair for row in self.but for pair in product(row.cases, row.now)]


@cache
def alike() -> Alike:
    return Alike.model_validate(parse_yaml(read_text(HERE / "alike.yaml", ""), "").data)


def retold(given: Given) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield what may be told instead of what is given, each by its name."""
    size, zones = given.answers.get("size"), shipped().zones
    kin = {taxon for row in alike().kin if given.taxon in row.alike for taxon in row.alike}
    for taxon in sorted(kin - {given.taxon}):
        plan = shipped().taxa[taxon].plan
        has_parts = all(s.zone in zones and plan in zones[s.zone].plans for s in given.findings)
        if has_parts and (not size or size in alike().sizes.get(taxon, [size])):
            yield taxon, {"taxon": taxon}
    room = given.bench
    control = room.control or ("hood" if "fume-hood" in room.equipment else "window")
    for row in alike().told:
        if row.of == "answers" and given.answers.get(row.what) == row.was:
            yield f"{row.what}={row.now}", {"answers": {**given.answers, row.what: row.now}}
        elif row.what == "control" and control == row.was:
            yield row.now, {"bench": room.model_copy(update={"control": row.now})}
        elif row.what == "circumstances" and row.now not in (*room.circumstances, f"no-{control}"):
            more = {"circumstances": [*room.circumstances, row.now]}
            yield row.now, {"bench": room.model_copy(update=more)}


@cache
def variants() -> tuple[tuple[str, str, Account], ...]:
    """Return each case that holds, by theme and number, with each thing that is told instead."""
    found = []
    for account in (a for a in casebook()[0] if a.id not in not_yet()):
        number = "-".join(account.id.split("-")[:2])
        for now, changed in retold(account.given):
            given = account.given.model_copy(update=changed)
            found.append((number, now, account.model_copy(update={"given": given})))
    return tuple(found)


@pytest.mark.parametrize("every", [61, pytest.param(1, marks=pytest.mark.slow)])
def test_what_is_alike_is_treated_alike(every: int) -> None:
    told, excepted, wrong = variants()[::every], {*alike().excepted()}, []
    for number, now, account in told:
        found = Judging(account, entered(account, planner())).verdict()
        if bool(found.faults) is not ((number, now) in excepted):
            wrong.append(f"{now}: {found.words()}")
    assert len(told) > 70
    assert not wrong, "\n".join(wrong)


def test_every_exception_is_of_something_that_may_be_told_and_has_a_source() -> None:
    known, excepted = {(number, now) for number, now, _ in variants()}, alike().excepted()
    assert len(excepted) == len({*excepted})
    for row in alike().but:
        pairs = known & {*product(row.cases, row.now)}
        assert {number for number, _ in pairs} == {*row.cases}, row.because
        assert {now for _, now in pairs} == {*row.now}, row.because
    rows = (*alike().kin, *alike().told, *alike().but)
    assert {row.source for row in rows} <= {*shipped().sources}
