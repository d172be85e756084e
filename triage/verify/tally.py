"""What a run of checks counted and found; tallies of several processes add up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from triage.verify.invariants import Invariant, T

# So many broken examples are kept for each promise.
EXAMPLES = 5


@dataclass
class Tally:
    """Counts of a sweep: combinations, distinct plans, walks, and each promise's checks."""

    combinations: int = 0
    # Scenes whose plan was already checked for a scene like them, not yet counted as checked.
    alike: int = 0
    walks: int = 0
    outcomes: int = 0
    plans: int = 0
    steps: int = 0
    checked: Counter[str] = field(default_factory=Counter)
    broken: Counter[str] = field(default_factory=Counter)
    examples: dict[str, list[str]] = field(default_factory=dict)

    def note(self, name: str, fault: str, where: object) -> None:
        """Count one check of a promise, and keep it as an example if it is broken."""
        self.checked[name] += 1
        if fault:
            self.broken[name] += 1
            kept = self.examples.setdefault(name, [])
            if len(kept) < EXAMPLES:
                kept.append(f"{fault} [{where}]")

    def add(self, other: Tally) -> None:
        """Add the counts of another run."""
        self.combinations += other.combinations
        self.walks += other.walks
        self.outcomes += other.outcomes
        self.plans += other.plans
        self.steps += other.steps
        self.checked += other.checked
        self.broken += other.broken
        for name, lines in sorted(other.examples.items()):
            kept = self.examples.setdefault(name, [])
            kept.extend(lines[: EXAMPLES - len(kept)])


def check_all(invariants: Iterable[Invariant[T]], held: T, where: object, tally: Tally) -> None:
    """Check a value against promises and note each in the tally."""
    for invariant in invariants:
        tally.note(invariant.name, invariant.broken(held), where)
