"""How often a method worked here: k of n with an honest interval, leaning on coarser groups.

A trial is one finding treated with one method, all its passes together: three passes on one eye
are not three witnesses. It worked if a pass cleared or bettered the finding and none harmed it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from triage.case.models import HARMFUL, OUTCOMES
from triage.history.columns import Columns, Flags, Ints, Reals
from triage.history.rates import (
    BetaPrior,
    Rate,
    Terms,
    carried_strength,
    credible_interval,
    learnt_lean,
    told_upward,
)
from triage.knowledge.book import Knowledge
from triage.plan.answers import dose
from triage.plan.outcomes import PASSES

#: what each level adds, coarsest first
LEVELS = ("method", "deposit", "zone", "taxon")
#: what the nearest coarser group with other trials holds beside the group's own
COARSER = (
    "on other deposits",
    "on this deposit in other zones",
    "on this deposit and zone in other groups of animals",
)
Key = tuple[str, ...]


def terms_of(knowledge: Knowledge) -> Terms:
    """Return the terms that stand in the knowledge."""
    each_way = dose(knowledge, "rate-prior-each-way").least
    bounds = dose(knowledge, "rate-lean-bounds")
    return Terms(
        top=BetaPrior(each_way, each_way, "uniform" if each_way == 1.0 else "even"),
        level=dose(knowledge, "rate-level").least,
        least_trials=int(dose(knowledge, "rate-least-trials").least),
        lean=dose(knowledge, "rate-lean").least,
        least_lean=bounds.least,
        most_lean=bounds.most,
        skip_below=dose(knowledge, "rate-skip-below").least,
    )


@dataclass(frozen=True, slots=True)
class Trials:
    """Trials as columns: group words of each level and whether it worked, shape (n,) each."""

    words: tuple[Any, ...]
    worked: Flags


def trials_of(columns: Columns) -> Trials:
    """Return the trials that the attempts amount to.

    Notes
    -----
    Steps that stand before another (test spots) and passes that were not done are no trials.
    Demo cases are left out beside real ones; a folder of demo cases only speaks for itself.
    """
    kept = _ended(columns, PASSES) & ~columns.inserted & (columns.method != "")
    if not columns.invented.all():
        kept &= ~columns.invented
    some = columns.taken(kept)
    # A condition of the whole specimen has no finding: its deposit tells the targets apart.
    number = _codes_of(some.case)
    for words in (some.finding, some.deposit, some.method):
        number = _joint(number, _codes_of(words))
    _, first, group = np.unique(number, return_index=True, return_inverse=True)
    good, bad = _ended(some, ("cleared", "better")), _ended(some, HARMFUL)
    return Trials(
        tuple(getattr(some, level)[first] for level in LEVELS),
        (np.bincount(group, good) > 0) & ~(np.bincount(group, bad) > 0),
    )


def _ended(columns: Columns, outcomes: Iterable[str]) -> Flags:
    return np.isin(columns.outcome, [OUTCOMES.index(word) for word in sorted(outcomes)])


def _codes_of(words: Any) -> Ints:
    """Return the number of each word among the distinct ones, shape (n,)."""
    # A dictionary: sorting a hundred thousand words takes ten times as long.
    known: dict[str, int] = {}
    return np.array([known.setdefault(word, len(known)) for word in words.tolist()], dtype=np.int64)


def _joint(number: Ints, codes: Ints) -> Ints:
    """Return one number for each distinct pair, dense, so that no product can overflow."""
    paired = number * (int(codes.max(initial=0)) + 1) + codes
    _, dense = np.unique(paired, return_inverse=True)
    return np.asarray(dense, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class _Level:
    """Groups of one level: their keys, counts, and the number of each one's parent."""

    keys: tuple[Key, ...]
    worked: Reals
    tried: Reals
    parent: Ints


def _levels(trials: Trials) -> tuple[_Level, ...]:
    levels = []
    above: Ints = np.zeros(trials.worked.size, dtype=np.int64)
    for depth in range(len(LEVELS)):
        number = _joint(above, _codes_of(trials.words[depth]))
        _, first, group = np.unique(number, return_index=True, return_inverse=True)
        columns = [trials.words[level][first].tolist() for level in range(depth + 1)]
        levels.append(
            _Level(
                tuple(zip(*columns, strict=True)),
                np.bincount(group, trials.worked, first.size).astype(np.float64),
                np.bincount(group, minlength=first.size).astype(np.float64),
                above[first],
            )
        )
        above = group
    return tuple(levels)


@dataclass(frozen=True, slots=True)
class Group:
    """The rate of one method in one group, with what it leans on."""

    method: str
    deposit: str
    zone: str
    taxon: str
    rate: Rate
    coarser: tuple[int, int]
    coarser_name: str
    text: str


class Evidence:
    """Counts of a folder at every level, and rates from them; made once, asked often."""

    def __init__(self, trials: Trials, terms: Terms) -> None:
        self.terms = terms
        self._made = _levels(trials)
        self.leans = tuple(
            learnt_lean(level.parent, level.worked, level.tried, terms) for level in self._made[1:]
        )

    @cached_property
    def _at(self) -> tuple[Mapping[Key, int], ...]:
        return tuple({key: n for n, key in enumerate(level.keys)} for level in self._made)

    @property
    def size(self) -> int:
        """Number of trials."""
        return int(self._made[0].tried.sum())

    @property
    def groups(self) -> tuple[Key, ...]:
        """Every group of the finest level that was tried: method, deposit, zone, taxon."""
        return self._made[-1].keys

    def counts(self, *key: str) -> tuple[int, int]:
        """Return (worked, tried) of a group; fewer words name a coarser one."""
        number = self._at[len(key) - 1].get(key)
        if number is None:
            return 0, 0
        level = self._made[len(key) - 1]
        return int(level.worked[number]), int(level.tried[number])

    def group(self, method: str, deposit: str | None, zone: str | None, taxon: str) -> Group:
        """Return the rate of a method for this deposit, zone and taxon group."""
        key = (method, deposit or "", zone or "", taxon)
        a, b = self._prior_of(key)
        worked, tried = self.counts(*key)
        low, high = credible_interval(a + worked, b + tried - worked, self.terms.level)
        return self._group(key, (a, b), (float(low), float(high)))

    def all_groups(self) -> tuple[Group, ...]:
        """Return every group that was tried, the most often tried first."""
        _, low, high = self.intervals()
        prior_a, prior_b = self._priors[-1]
        found = [
            self._group(
                key, (float(prior_a[n]), float(prior_b[n])), (float(low[n]), float(high[n]))
            )
            for n, key in enumerate(self.groups)
        ]
        return tuple(
            sorted(found, key=lambda g: (-g.rate.tried, g.method, g.deposit, g.zone, g.taxon))
        )

    def _group(self, key: Key, prior: tuple[float, float], ends: tuple[float, float]) -> Group:
        chain = [self.counts(*key[: depth + 1]) for depth in range(len(LEVELS))]
        worked, tried = chain[-1]
        a, b = prior[0] + worked, prior[1] + tried - worked
        coarser, name = _coarser(chain)
        mean = a / (a + b)
        text = _text(chain[-1], (mean, *ends), _wider(coarser, name), self.terms)
        before = BetaPrior(*prior, "coarser group")
        found = Rate(worked, tried, before, a, b, mean, *ends, self.terms.level, text)
        method, deposit, zone, taxon = key
        return Group(method, deposit, zone, taxon, found, coarser, name, text)

    def _prior_of(self, key: Key) -> tuple[float, float]:
        """Return the prior (a, b) of a finest group, tried or not."""
        known = [at.get(key[: depth + 1]) for depth, at in enumerate(self._at)]
        depth = sum(number is not None for number in known) - 1
        if depth < 0:
            return self.terms.top.a, self.terms.top.b
        number = known[depth]
        a, b = (prior[number] for prior in self._priors[depth])
        if depth < len(self.leans):
            # Nothing is known below here: what the groups of this one say is handed down.
            told = self._told[depth]
            a, b = _handed_down(a + told[0][number], b + told[1][number], self.leans[depth])
        return float(a), float(b)

    @cached_property
    def _told(self) -> tuple[tuple[Reals, Reals], ...]:
        """Return what the groups below say of each group: worked and not, per level above."""
        found: list[tuple[Reals, Reals]] = []
        worked, failed = self._made[-1].worked, self._made[-1].tried - self._made[-1].worked
        for level, above, lean in zip(
            self._made[:0:-1], self._made[-2::-1], self.leans[::-1], strict=True
        ):
            share = told_upward(worked + failed, lean)
            size = above.tried.size
            worked = np.bincount(level.parent, worked * share, size).astype(np.float64)
            failed = np.bincount(level.parent, failed * share, size).astype(np.float64)
            found.append((worked, failed))
        return tuple(found[::-1])

    @cached_property
    def _priors(self) -> tuple[tuple[Reals, Reals], ...]:
        """Return the prior (a, b) of every group of every level, from all but its own trials."""
        top = self.terms.top
        size = self._made[0].tried.size
        found = [(np.full(size, top.a), np.full(size, top.b))]
        finest = self._made[-1]
        own_counts = (finest.worked, finest.tried - finest.worked)
        for depth, (level, lean) in enumerate(zip(self._made[1:], self.leans, strict=True)):
            own = self._told[depth + 1] if depth + 1 < len(self._told) else own_counts
            share = told_upward(own[0] + own[1], lean)
            above_a, above_b = found[depth]
            told = self._told[depth]
            a = above_a[level.parent] + np.maximum(told[0][level.parent] - own[0] * share, 0.0)
            b = above_b[level.parent] + np.maximum(told[1][level.parent] - own[1] * share, 0.0)
            handed = _handed_down(a, b, lean)
            # An only child is its parent under a longer name: nothing spreads between them.
            alone = np.bincount(level.parent)[level.parent] == 1
            found.append(
                (
                    np.where(alone, above_a[level.parent], handed[0]),
                    np.where(alone, above_b[level.parent], handed[1]),
                )
            )
        return tuple(found)

    def intervals(self) -> tuple[Reals, Reals, Reals]:
        """Return mean and interval ends [fractions] of every finest group, shape (groups,) each."""
        finest = self._made[-1]
        a = self._priors[-1][0] + finest.worked
        b = self._priors[-1][1] + finest.tried - finest.worked
        return a / (a + b), *credible_interval(a, b, self.terms.level)


def _handed_down(a: Any, b: Any, lean: float) -> tuple[Any, Any]:
    weight = a + b
    strength = carried_strength(weight, lean)
    return a / weight * strength, b / weight * strength


def _coarser(chain: list[tuple[int, int]]) -> tuple[tuple[int, int], str]:
    """Return what the nearest coarser group with other trials adds, and its name."""
    for depth in range(len(chain) - 2, -1, -1):
        worked, tried = chain[depth][0] - chain[-1][0], chain[depth][1] - chain[-1][1]
        if tried:
            return (worked, tried), COARSER[depth]
    return (0, 0), ""


def _wider(coarser: tuple[int, int], name: str) -> str:
    return f"{coarser[0]} of {coarser[1]} {name}" if name else ""


def _text(own: tuple[int, int], shown: tuple[float, float, float], wider: str, terms: Terms) -> str:
    """Return counts, mean and interval, and what they lean on; ``shown``: mean, low, high."""
    worked, tried = own
    if tried == 0:
        return f"not tried on this yet; {wider}" if wider else ""
    times = "time" if tried == 1 else "times"
    text = f"worked {worked} of {tried} {times} here"
    if tried < terms.least_trials:
        return f"{text}, too few for a percentage" + (f"; {wider}" if wider else "")
    mean, low, high = (f"{100 * each:.0f}" for each in shown)
    text += f", about {mean} % ({100 * terms.level:.0f} % interval {low} to {high} %)"
    return text + (f"; leans on {wider}" if wider else "")
