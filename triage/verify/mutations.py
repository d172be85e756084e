"""Break the knowledge in many ways, and count by which check each fault is caught."""

from __future__ import annotations

import multiprocessing
import os
import random
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from triage.engine.consult import Consultant
from triage.engine.rulecases import failed_cases
from triage.errors import TriageError
from triage.knowledge.book import ATTRIBUTES, Knowledge
from triage.knowledge.checks import cross_check
from triage.knowledge.load import load_knowledge
from triage.verify.breaking import OPERATORS, Mutant, mutants
from triage.verify.golden import differences, load_golden
from triage.verify.rulebase import faults_of

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


def caught_by(knowledge: Knowledge, sound: Knowledge, golden: Mapping[str, Any]) -> str:
    """Return the name of the first check that finds something wrong, empty if none does.

    Parameters
    ----------
    knowledge the broken knowledge
    sound     the knowledge it was made from
    golden    the second entry
    """
    if _invalid(knowledge, sound):
        return "load"
    if cross_check(knowledge):
        return "load"
    try:
        consultant = Consultant(knowledge)
    except TriageError:
        return "load"
    if failed_cases(consultant):
        return "rule cases"
    if faults_of(consultant):
        return "verifier"
    return "second entry" if next(differences(consultant, golden), None) else ""


@dataclass
class Score:
    """How many mutants were caught, by which check, and which were not."""

    made: Counter[str] = field(default_factory=Counter)
    caught: Counter[str] = field(default_factory=Counter)
    checks: Counter[str] = field(default_factory=Counter)
    vital: Counter[str] = field(default_factory=Counter)
    survivors: list[tuple[str, str, bool]] = field(default_factory=list)

    def note(self, kind: str, name: str, check: str, *, is_vital: bool) -> None:
        """Count one mutant."""
        self.made[kind] += 1
        self.vital["made" if is_vital else "other"] += 1
        if check:
            self.caught[kind] += 1
            self.checks[check] += 1
            if is_vital:
                self.vital["caught"] += 1
        else:
            self.survivors.append((kind, name, is_vital))

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
        }

    def lines(self) -> list[str]:
        """Return the score in lines for a person."""
        found = [f"{self.caught[k]:4} of {self.made[k]:4} caught  {k}" for k in self.made]
        found += [f"caught by {check}: {n}" for check, n in sorted(self.checks.items())]
        for kind, name, is_vital in sorted(self.survivors):
            found.append(f"survived{' (VITAL)' if is_vital else ''}: {kind}: {name}")
        made, caught = sum(self.made.values()), sum(self.caught.values())
        found.append(
            f"{caught} of {made} mutants of {len(self.made)} kinds caught; interlocks and limits "
            f"{self.vital['caught']} of {self.vital['made']}"
        )
        return found


def chosen(knowledge: Knowledge, most: int) -> list[Mutant]:
    """Return at most so many mutants of each kind, drawn with a fixed seed; 0 for all."""
    by_kind: dict[str, list[Mutant]] = {kind: [] for kind in OPERATORS}
    for mutant in mutants(knowledge):
        by_kind[mutant.kind].append(mutant)
    rng = random.Random(SEED)  # noqa: S311  (a sample, not a secret)
    picked = []
    for made in by_kind.values():
        sample = rng.sample(made, most) if 0 < most < len(made) else made
        picked += sorted(sample, key=lambda mutant: mutant.name)
    return picked


_held: dict[str, Any] = {}


def _begin(rules: str, golden: str, most: int) -> None:
    sound = load_knowledge(rules)
    _held.update(sound=sound, golden=load_golden(Path(golden)), mutants=chosen(sound, most))


def _run(place: int) -> tuple[str, str, bool, str]:
    mutant: Mutant = _held["mutants"][place]
    check = caught_by(mutant.knowledge, _held["sound"], _held["golden"])
    return mutant.kind, mutant.name, mutant.is_vital, check


def run_all(
    rules: Path,
    golden: Path,
    most: int,
    jobs: int | None = None,
    progress: Progress | None = None,
) -> Score:
    """Return the score over a rules folder.

    Parameters
    ----------
    rules    rules folder
    golden   file of its second entry
    most     most mutants of each kind, 0 for all there are
    jobs     number of processes, all cores by default
    progress called with mutants done and mutants in all

    Raises
    ------
    TriageError: the knowledge is not sound to begin with.
    """
    sound = load_knowledge(rules)
    if check := caught_by(sound, sound, load_golden(golden)):
        raise TriageError(f"the knowledge itself is caught by: {check}", mend="mend it first")
    places: Sequence[int] = range(len(chosen(sound, most)))
    score = Score()
    context = multiprocessing.get_context("spawn")
    with context.Pool(jobs or os.cpu_count() or 1, _begin, (str(rules), str(golden), most)) as pool:
        results: Iterable[tuple[str, str, bool, str]] = pool.imap(_run, places, chunksize=4)
        for done, (kind, name, is_vital, check) in enumerate(results, start=1):
            score.note(kind, name, check, is_vital=is_vital)
            if progress is not None:
                progress(done, len(places))
    return score
