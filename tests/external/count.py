"""How many checks stand against values from outside: ``python -m tests.external.count``.

A row counts when its document was opened: then the figure was read where somebody else printed it.
What is only remembered guards against slips and does not count. A case of the casebook counts when
it rests on a document.
"""

from __future__ import annotations

from collections import Counter

from tests.casebook.model import casebook
from tests.external.figures import figures
from tests.second_entry.tables import CHECKS, rows


def counted() -> dict[str, tuple[int, int]]:
    """Return for each table how many rows count, and how many do not."""
    tables = {table: list(rows(table)) for table in CHECKS} | {"figures": list(figures())}
    read = {table: Counter(row["read"] for row in found) for table, found in tables.items()}
    found = {table: (each["opened"], each.total() - each["opened"]) for table, each in read.items()}
    known = Counter(account.strength != "common-practice" for account in casebook()[0])
    return found | {"whole cases": (known[True], known[False])}


def main() -> None:
    print("| table | document opened | from memory or practice |\n|---|---|---|")
    for table, (opened, other) in counted().items():
        print(f"| {table} | {opened} | {other} |")
    ours = [pair for table, pair in counted().items() if table != "whole cases"]
    print("| all rows | {} | {} |".format(*map(sum, zip(*ours, strict=True))))


if __name__ == "__main__":
    main()
