"""What a run of checks counted and found; tallies of several processes add up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from tests.proof.invariants import RESTS_ON, Invariant, T

# So many broken examples are kept for each promise.
EXAMPLES = 5


@dataclass
class Tally:
    """Counts of a sweep: combinations, distinct plans, walks, and each promise's checks."""

    combinations: int = 0
    # Classes of combinations that are the same but for names; one of each was planned in full.
    classes: int = 0
    walks: int = 0
    outcomes: int = 0
    plans: int = 0
    steps: int = 0
    checked: Counter[str] = field(default_factory=Counter)
    broken: Counter[str] = field(default_factory=Counter)
    examples: dict[str, list[str]] = field(default_factory=dict)
    promises: tuple[Invariant[Any], ...] = ()

    def note(self, name: str, fault: str, where: object, count: int = 1) -> None:
        """Count one check of a promise, and keep it as an example if it is broken.

        ``count`` says for how many combinations alike this one stands.
        """
        self.checked[name] += count
        if fault:
            self.broken[name] += count
            kept = self.examples.setdefault(name, [])
            if len(kept) < EXAMPLES:
                kept.append(f"{fault} [{where}]")

    def add(self, other: Tally) -> None:
        """Add the counts of another run."""
        for name in ("combinations", "classes", "walks", "outcomes", "plans", "steps"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.checked += other.checked
        self.broken += other.broken
        for name, lines in sorted(other.examples.items()):
            kept = self.examples.setdefault(name, [])
            kept.extend(lines[: EXAMPLES - len(kept)])

    def is_good(self) -> bool:
        """Return whether no promise is broken."""
        return not +self.broken

    def lines(self) -> list[str]:
        """Return the counts in lines for a person."""
        found = []
        for promise in self.promises:
            mark = "BROKEN" if self.broken[promise.name] else "holds"
            checked = self.checked[promise.name]
            rests = RESTS_ON[promise.name]
            found.append(f"{mark:6} {checked:>9}  {promise.name}: {promise.sentence} [{rests}]")
            found += [f"         {example}" for example in self.examples.get(promise.name, ())]
        found.append(
            f"{self.combinations} combinations in {self.classes} classes that differ in more than "
            f"names, {len(self.promises)} invariants; {self.walks} different ladders walked with "
            f"{self.outcomes} outcomes, {self.plans} whole plans with {self.steps} steps"
        )
        found.append(f"{sum(self.broken.values())} violations of {len(+self.broken)} invariants")
        return found


def check_all(
    invariants: Iterable[Invariant[T]], held: T, where: object, tally: Tally, count: int = 1
) -> None:
    """Check a value that stands for ``count`` combinations against promises; note each."""
    for invariant in invariants:
        tally.note(invariant.name, invariant.broken(held), where, count)
