"""How often a reading that is called settled, or likely, is the true deposit; cross-validated.

The line of certainty from which a reading may be settled or likely is fitted on nine themes and
judged on the tenth, for each theme in turn. It is the lowest line that leaves a fifth of the
errors that are allowed unused on the nine. The weights of the signs are not fitted anew: they were
written with these cases at hand.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple

from tests.casebook.entry import Entered
from tests.casebook.model import Account, table
from tests.support.knowledge import planner, shipped
from triage.engine.facts import Fact
from triage.engine.reading import Scale, standings_among

# Of the readings called so, this share must be the true deposit.
GOALS = {"settled": 0.95, "likely": 0.75}
TO_SPARE = 0.2
LINES = tuple(step / 100 for step in range(40, 90, 5))


class Told(NamedTuple):
    """One finding of which the account tells the truth, as the signs speak for each deposit."""

    theme: str
    truth: str
    fact: Fact
    scales: tuple[Scale, ...]

    def called(self, line: float) -> str:
        """Return how the first reading is called where this line begins what is settled."""
        knowledge = shipped()
        settled = knowledge.judgement.settled.model_copy(update={"value": line})
        judgement = knowledge.judgement.model_copy(update={"settled": settled})
        reach = planner().consultant.reach
        moved = replace(knowledge, judgement=judgement)
        return standings_among(moved, reach, self.fact, self.scales)[0]

    @property
    def is_true(self) -> bool:
        return self.scales[0][1] == self.truth


class Row(NamedTuple):
    """The readings of one theme, or of all: (called, is true) -> how many."""

    theme: str
    by_rules: Counter[tuple[str, bool]]
    nameless: Counter[tuple[str, bool]]
    lines: tuple[float, ...]
    by_lines: Counter[tuple[str, bool]]

    def cells(self) -> list[str]:
        fitted = " to ".join(f"{line:g}" for line in sorted({min(self.lines), max(self.lines)}))
        nameless = [str(self.nameless[called, False]) for called in GOALS]
        return [*_shares(self.by_rules), *nameless, fitted, *_shares(self.by_lines)]


def told_of(cases: Iterable[tuple[Account, Entered]]) -> list[Told]:
    """Return every finding whose truth is told and for which something speaks."""
    found = []
    for account, told in cases:
        said = planner().consultant.consult(told.case, told.bench, plain=True)
        for finding, words in account.truth.items():
            scales = tuple((-r.certainty, r.deposit, r.reach) for r in said.readings_of(finding))
            if scales:
                truth = table().deposit_of(words)
                found.append(Told(account.theme, truth, said.fact(finding), scales))
    return found


def calibration(cases: Iterable[tuple[Account, Entered]]) -> list[Row]:
    """Return a row for each theme, and one for all."""
    told = told_of(cases)
    known = [each for each in told if each.truth in shipped().deposits]
    called = {line: [(each, each.called(line)) for each in known] for line in LINES}
    rows = []
    for theme in sorted({each.theme for each in told}):
        others = {
            line: _counted((each, word) for each, word in all_ if each.theme != theme)
            for line, all_ in called.items()
        }
        line = next((line for line in LINES if _holds(others[line])), LINES[-1])
        mine = [each for each in told if each.theme == theme]
        rule = shipped().judgement.settled.value
        read = [(each, each.called(rule)) for each in mine]
        by_rules, nameless = (
            _counted((e, word) for e, word in read if (e.truth in shipped().deposits) is is_named)
            for is_named in (True, False)
        )
        judged = _counted((each, word) for each, word in called[line] if each.theme == theme)
        rows.append(Row(theme, by_rules, nameless, (line,), judged))
    by_rules, nameless, by_lines = (
        sum((getattr(row, name) for row in rows), Counter())
        for name in ("by_rules", "nameless", "by_lines")
    )
    lines = tuple(line for row in rows for line in row.lines)
    return [*rows, Row("all", by_rules, nameless, lines, by_lines)]


def share(found: Counter[tuple[str, bool]], called: str) -> float:
    """Return which share of the readings called so is true; 1 if there are none."""
    true, all_ = found[called, True], found[called, True] + found[called, False]
    return true / all_ if all_ else 1.0


def _counted(called: Iterable[tuple[Told, str]]) -> Counter[tuple[str, bool]]:
    return Counter((word, each.is_true) for each, word in called)


def _holds(found: Counter[tuple[str, bool]]) -> bool:
    return all(
        1 - share(found, called) <= (1 - goal) * (1 - TO_SPARE) for called, goal in GOALS.items()
    )


def _shares(found: Counter[tuple[str, bool]]) -> Sequence[str]:
    return [
        f"{found[called, True]} of {found[called, True] + found[called, False]}" for called in GOALS
    ]
