"""Break the knowledge in many ways, and count by which check each fault is caught."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from tests.proof.axes import BEST, HYDRATION, Axes, axes_of, sturdiest_taxon
from tests.proof.breaking import OPERATORS, Mutant, mutants
from tests.proof.cores import leave_interrupts_to_the_parent, pool
from tests.proof.equivalent import same_rules, told_apart
from tests.proof.facts import broken_fact
from tests.proof.sweep import Sweeper
from tests.second_entry.tables import differences
from triage.check.rulebase import faults_of
from triage.engine.consult import Consultant
from triage.engine.rulecases import failed_cases
from triage.engine.vocabulary import UNKNOWN
from triage.errors import TriageError
from triage.knowledge.book import ATTRIBUTES, Knowledge
from triage.knowledge.checks import cross_check
from triage.knowledge.load import load_knowledge

Progress = Callable[[int, int], None]
SEED = 7
# What the project promises: every fault of an interlock or a limit, and this share of all.
PROMISED = 0.98


def _invalid(knowledge: Knowledge, sound: Knowledge) -> str:
    """Return what the models refuse among the entries that were changed, empty if nothing."""
    entries: list[BaseModel] = [
        entry
        for kind, attribute in ATTRIBUTES.items()
        for entry_id, entry in getattr(knowledge, attribute).items()
        if entry is not sound.table(kind).get(entry_id)
    ]
    entries += [r for rules in knowledge.rules.values() for r in rules]
    for entry in entries:
        try:
            type(entry).model_validate(entry.model_dump(by_alias=True))
        except ValidationError as error:
            return str(error.errors()[0]["msg"])
    return ""


SECOND = "second entry"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of one broken knowledge.

    ``check`` is the first check that finds it, ``same`` why nothing could: no case is different.
    """

    check: str = ""
    same: str = ""


def first_check(knowledge: Knowledge, sound: Knowledge) -> tuple[str, Consultant | None]:
    """Return the first check of the program itself that finds something, and the compiled rules."""
    if _invalid(knowledge, sound) or cross_check(knowledge):
        return "load", None
    try:
        consultant = Consultant(knowledge)
    except TriageError:
        return "load", None
    if failed_cases(consultant):
        return "rule cases", consultant
    return ("check" if faults_of(consultant) else ""), consultant


class Judge:
    """Holds broken knowledge against the sound one; compiled once for all mutants."""

    def __init__(self, sound: Knowledge) -> None:
        self.sound = sound
        self.consultant = Consultant(sound)

    @cached_property
    def axes(self) -> Axes:
        """Return the axes of the small sweep."""
        return small_axes(self.consultant)

    def verdict(self, knowledge: Knowledge) -> Verdict:
        """Return what finds the fault in a broken knowledge, the quickest check first."""
        check, consultant = first_check(knowledge, self.sound)
        if check or consultant is None:
            return Verdict(check)
        if next(differences(knowledge, consultant), None):
            return Verdict(SECOND)
        if broken_fact(consultant):
            return Verdict("facts of the trade")
        same = self._same(consultant)
        if same:
            return Verdict(same=same)
        return Verdict("promises" if _is_swept_up(consultant, self.axes) else "")

    def _same(self, consultant: Consultant) -> str:
        """Return why a broken knowledge is as good as the sound one, empty if it may not be."""
        broken = consultant.knowledge
        if replace(broken, rules=self.sound.rules) != self.sound:
            return ""
        if same_rules(self.consultant, consultant):
            return "the rules come down to the same normal form"
        if told_apart(self.consultant, consultant) is None:
            return "no case at all tells it apart"
        return ""


def small_axes(consultant: Consultant) -> Axes:
    """Return axes of a sweep that takes seconds: each zone, few groups, grades and benches."""
    axes = axes_of(consultant)
    taxa = (sturdiest_taxon(consultant), *axes.taxa[-3:])
    floors = [next(iter(axes.floors)), list(axes.floors)[-1]]
    return replace(
        axes,
        taxa=tuple(dict.fromkeys(taxa)),
        floors={name: axes.floors[name] for name in floors},
        hydrations=(axes.base[HYDRATION], UNKNOWN),
        benches={name: axes.benches[name] for name in (BEST, UNKNOWN)},
    )


def _is_swept_up(consultant: Consultant, axes: Axes) -> bool:
    """Return whether a small sweep, without walks, finds a promise broken."""
    sweeper = Sweeper(consultant, axes, walking=False)
    return any(+sweeper.sweep(deposit).broken for deposit in axes.deposits)


@dataclass
class Score:
    """How many mutants were caught, by which check, and which were not."""

    made: Counter[str] = field(default_factory=Counter)
    caught: Counter[str] = field(default_factory=Counter)
    checks: Counter[str] = field(default_factory=Counter)
    vital: Counter[str] = field(default_factory=Counter)
    survivors: list[tuple[str, str, bool]] = field(default_factory=list)
    same: list[tuple[str, str, str]] = field(default_factory=list)

    def note(self, kind: str, name: str, verdict: Verdict, *, is_vital: bool) -> None:
        """Count one mutant; one that changes nothing is listed but not counted."""
        if verdict.same:
            self.same.append((kind, name, verdict.same))
            return
        self.made[kind] += 1
        self.vital["made"] += is_vital
        if not verdict.check:
            self.survivors.append((kind, name, is_vital))
            return
        self.caught[kind] += 1
        self.checks[verdict.check] += 1
        self.vital["caught"] += is_vital

    def is_good(self) -> bool:
        """Return whether the promise holds: all vital faults, nearly all others."""
        made, caught = sum(self.made.values()), sum(self.caught.values())
        return self.vital["caught"] == self.vital["made"] and caught >= PROMISED * made

    def data(self) -> dict[str, Any]:
        """Return the score as plain data."""
        return {
            "kinds": len(self.made),
            "mutants": sum(self.made.values()),
            "caught": sum(self.caught.values()),
            "vital": self.vital["made"],
            "vital_caught": self.vital["caught"],
            "checks": dict(sorted(self.checks.items())),
            "by_kind": {k: [self.caught[k], self.made[k]] for k in self.made},
            "survivors": [list(s) for s in sorted(self.survivors)],
            "same": [list(s) for s in sorted(self.same)],
        }

    def lines(self) -> list[str]:
        """Return the score in lines for a person."""
        found = [f"{self.caught[k]:4} of {self.made[k]:4} caught  {k}" for k in self.made]
        found += [f"caught by {check}: {n}" for check, n in sorted(self.checks.items())]
        found += [f"not counted: {kind}: {name}: {why}" for kind, name, why in sorted(self.same)]
        for kind, name, is_vital in sorted(self.survivors):
            vital = " (VITAL)" if is_vital else ""
            found.append(
                f"survived{vital}: {kind}: {name}: a case may tell it apart, no check does"
            )
        made, caught = sum(self.made.values()), sum(self.caught.values())
        found.append(
            f"{caught} of {made} mutants of {len(self.made)} kinds caught; interlocks and limits "
            f"{self.vital['caught']} of {self.vital['made']}; {len(self.same)} more change nothing"
        )
        return found


def chosen(knowledge: Knowledge, most: int) -> list[Mutant]:
    """Return at most so many mutants of each kind, drawn with a fixed seed; 0 for all."""
    by_kind: dict[str, list[Mutant]] = {kind: [] for kind in OPERATORS}
    for mutant in mutants(knowledge):
        by_kind[mutant.kind].append(mutant)
    rng = random.Random(SEED)
    picked = []
    for made in by_kind.values():
        sample = rng.sample(made, most) if 0 < most < len(made) else made
        picked += sorted(sample, key=lambda mutant: mutant.name)
    return picked


_held: dict[str, Any] = {}


def _begin(rules: str, most: int) -> None:
    leave_interrupts_to_the_parent()
    sound = load_knowledge(rules)
    _held.update(judge=Judge(sound), mutants=chosen(sound, most))


def _run(place: int) -> tuple[str, str, bool, Verdict]:
    mutant: Mutant = _held["mutants"][place]
    verdict = _held["judge"].verdict(mutant.knowledge)
    return mutant.kind, mutant.name, mutant.is_vital, verdict


def run_all(
    rules: Path,
    most: int,
    jobs: int | None = None,
    progress: Progress | None = None,
) -> Score:
    """Return the score over a rules folder.

    Parameters
    ----------
    rules    rules folder
    most     most mutants of each kind, 0 for all there are
    jobs     number of processes, all cores by default
    progress called with mutants done and mutants in all

    Raises
    ------
    TriageError: the knowledge is not sound to begin with.
    """
    sound = load_knowledge(rules)
    check = Judge(sound).verdict(sound).check
    if check:
        raise TriageError(f"the knowledge itself is caught by: {check}", mend="mend it first")
    places: Sequence[int] = range(len(chosen(sound, most)))
    score = Score()
    with pool(jobs, _begin, (str(rules), most)) as workers:
        for done, found in enumerate(workers.imap(_run, places, chunksize=2), start=1):
            kind, name, is_vital, verdict = found
            score.note(kind, name, verdict, is_vital=is_vital)
            if progress is not None:
                progress(done, len(places))
    return score
