"""The table of the casebook: ``python -m tests.casebook.report [--why] [--rest] [CASE]``.

``--asked N`` counts the questions before the first useful step, of every N-th case with one finding
(a second or two each).

``--why`` names what fails most often; ``--rest`` judges the cases with what nobody told answered as
on a sound specimen, since few plans pass intake without.
"""

import argparse
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from typing import get_args

from tests.casebook.asking import asked_table
from tests.casebook.calibration import calibration
from tests.casebook.entry import entered
from tests.casebook.judge import Judging, Verdict
from tests.casebook.model import Strength, casebook
from tests.support.knowledge import planner

Verdicts = Sequence[Verdict]


def by_theme(head: str, verdicts: Verdicts, cells: Callable[[Verdicts], list[str]]) -> list[str]:
    """Return a table with a row for each theme and one for all."""
    lines = [f"| theme | {head} |", "|---" * (head.count("|") + 2) + "|"]
    for theme in (*sorted({v.account.theme for v in verdicts}), "all"):
        mine = [v for v in verdicts if theme in (v.account.theme, "all")]
        lines.append(f"| {' | '.join([theme, *cells(mine)])} |")
    return lines


def grades(verdicts: Verdicts) -> str:
    found = Counter(v.grade for v in verdicts)
    return f"{found['right']} / {found['partly']} / {found['wrong']}"


def judged(mine: Verdicts) -> list[str]:
    """Return the cells of the table of cases."""
    parts = [[v for v in mine if v.account.strength == each] for each in get_args(Strength)]
    return [str(len(mine)), grades(mine), *map(grades, parts), grades([v for v in mine if v.idle])]


def reasons(verdicts: Verdicts) -> list[str]:
    """Return what fails most often, each with its cases."""
    found: dict[str, set[str]] = defaultdict(set)
    for each in verdicts:
        for fault in each.faults:
            found[f"{fault.kind}: {fault.reason}"].add(each.account.id)
    ordered = sorted(found.items(), key=lambda item: (-len(item[1]), item[0]))
    return [f"{len(ids):4} {reason}: {', '.join(sorted(ids))}" for reason, ids in ordered]


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.casebook.report")
    for option in ("--why", "--rest"):
        parser.add_argument(option, action="store_true")
    parser.add_argument("--asked", type=int, default=0, metavar="N")
    parser.add_argument("cases", nargs="*", help="beginnings of ids: their verdicts in words")
    given = parser.parse_args()
    if given.asked:
        print(asked_table(given.asked))
        return
    chosen = [a for a in casebook()[0] if a.id.startswith(tuple(given.cases) or "")]
    told = [(a, entered(a, planner())) for a in chosen]
    told = [(a, e.with_the_rest(a.expect.ask_first) if given.rest else e) for a, e in told]
    verdicts = [Judging(*each).verdict() for each in told]
    head = f"cases | right / partly / wrong | {' | '.join(get_args(Strength))} | nothing acts yet"
    lines = [v.words() for v in verdicts] if given.cases else by_theme(head, verdicts, judged)
    if not given.cases:
        head = "settled | likely | settled, truth no deposit | likely, truth no deposit"
        lines += ["", f"| theme | {head} | line by the others | settled by it | likely by it |"]
        lines += ["|---" * 8 + "|"]
        lines += [f"| {' | '.join([row.theme, *row.cells()])} |" for row in calibration(told)]
    print("\n".join([*lines, *(["", *reasons(verdicts)] if given.why else [])]))


if __name__ == "__main__":
    main()
