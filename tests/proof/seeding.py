"""Put seeded faults into copies of the rules, and count which the verifier finds at their line."""

import random
import shutil
import tempfile
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from tests.proof.cores import Progress, work_out
from tests.proof.seeds import LOAD, SEEDS, Seed
from tests.proof.texts import Texts
from triage.check.rulebase import FAULTS, REMARKS, Rulebase
from triage.engine.consult import Consultant
from triage.errors import Faults, TriageError
from triage.knowledge.load import load_knowledge

SEED = 11


@dataclass
class Found:
    """How many seeded faults of each class were made and found at their file and line."""

    made: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)
    missed: list[str] = field(default_factory=list)

    def note(self, seed: Seed, why: str) -> None:
        """Count one seed; ``why`` says how it was missed, empty if it was found."""
        self.made[seed.kind] += 1
        self.found[seed.kind] += not why
        if why:
            self.missed.append(f"{seed.kind}: {seed.file}: {seed.entry}: {why}")

    def is_good(self) -> bool:
        """Return whether all were found."""
        return not self.missed

    def lines(self) -> list[str]:
        """Return the counts in lines for a person."""
        found = [f"{self.found[k]:4} of {self.made[k]:4} found  {k}" for k in sorted(self.made)]
        found += [f"missed: {line}" for line in sorted(self.missed)]
        found.append(
            f"{sum(self.found.values())} of {sum(self.made.values())} seeded faults of "
            f"{len(self.made)} classes found, each at its file and line"
        )
        return found


def chosen(consultant: Consultant, folder: Path, count: int) -> list[Seed]:
    """Return so many seeds, spread evenly over all classes, drawn with a fixed seed."""
    rng = random.Random(SEED)
    texts = Texts(consultant, folder, rng)
    waiting = []
    for make in SEEDS.values():
        made = list(make(texts))
        rng.shuffle(made)
        waiting.append(made)
    picked: list[Seed] = []
    # Class by class in turn, so that those with few possible faults give all they have.
    while len(picked) < count and any(waiting):
        for made in waiting:
            if made and len(picked) < count:
                picked.append(made.pop())
    return picked


class Plot:
    """A copy of the rules folder into which one seed after the other is put."""

    def __init__(self, folder: Path, scratch: Path) -> None:
        self.folder = folder
        self.copy = scratch / folder.name
        shutil.copytree(folder, self.copy)

    def missed(self, seed: Seed) -> str:
        """Return how a seed is missed, empty if it is found at its file and line."""
        changed = seed.make()
        for file, text in changed.items():
            (self.copy / file).write_text(text, encoding="utf-8")
        texts = {seed.file: (self.folder / seed.file).read_text(encoding="utf-8"), **changed}
        try:
            return self._missed(seed, texts)
        finally:
            for file in changed:
                shutil.copyfile(self.folder / file, self.copy / file)

    def _missed(self, seed: Seed, texts: Mapping[str, str]) -> str:
        try:
            base = Rulebase(Consultant(load_knowledge(self.copy)))
        except TriageError as refusal:
            faults = refusal.faults if isinstance(refusal, Faults) else (refusal,)
            if seed.check != LOAD:
                return f"refused at load: {faults[0].line()}"
            return self._place(seed, texts, faults)
        if seed.check == LOAD:
            return "it loads"
        check = dict([*FAULTS, *REMARKS])[seed.check]
        return self._place(seed, texts, check(base))

    def _place(self, seed: Seed, texts: Mapping[str, str], faults: Iterable[TriageError]) -> str:
        places = []
        for where in (fault.where for fault in faults):
            if where is not None and where.line is not None:
                file = where.file.split("/", maxsplit=1)[-1]
                places.append(f"{file}:{where.line}")
                if seed.is_at(texts, file, where.line):
                    return ""
        return f"found only {', '.join(places[:3])}" if places else "not found"


def _begin(rules: str, scratch: str, count: int) -> Callable[[int], str]:
    folder = Path(rules)
    plot = Plot(folder, Path(tempfile.mkdtemp(dir=scratch)))
    seeds = chosen(Consultant(load_knowledge(folder)), folder, count)
    return lambda place: plot.missed(seeds[place])


def seed_all(
    rules: Path, count: int, jobs: int | None = None, progress: Progress | None = None
) -> Found:
    """Return what became of so many seeded faults, spread evenly over all classes.

    Only copies of the rules are changed; they must be sound to begin with.
    """
    seeds = chosen(Consultant(load_knowledge(rules)), rules, count)
    found, waiting = Found(), iter(seeds)
    with tempfile.TemporaryDirectory() as scratch:
        given = (str(rules), scratch, count)
        take = lambda why: found.note(next(waiting), why)
        work_out(range(len(seeds)), _begin, given, take, jobs, progress)
    return found
