"""The rules say what the documents say: every row of the second entry."""

from __future__ import annotations

from collections import Counter

import pytest

from tests.second_entry.tables import CHECKS, READ, name_of, rows
from triage.engine.consult import Consultant
from triage.knowledge.book import Knowledge

ROWS = [(table, row) for table in CHECKS for row in rows(table)]


@pytest.mark.parametrize("table", CHECKS)
def test_the_rules_say_what_the_document_says(
    table: str, knowledge: Knowledge, consultant: Consultant
) -> None:
    held = ((row, CHECKS[table](row, (knowledge, consultant))) for row in rows(table))
    wrong = [f"{name_of(r)} ({r['document']}, {r['at']}): {said}" for r, said in held if said]
    assert not wrong, "\n".join(wrong)


def test_every_row_has_its_document_its_place_and_how_it_was_read() -> None:
    documents = {document["id"] for document in rows("documents")}
    for table, row in ROWS:
        assert row["document"] in documents, (table, row)
        assert row["at"].strip(), (table, row)
        assert row["read"] in READ, (table, row)
        # What was remembered is not called a document.
        assert (row["document"] == "trade-note") <= (row["read"] == "from-memory"), (table, row)


def test_every_limit_of_the_rules_stands_in_the_second_entry(knowledge: Knowledge) -> None:
    typed = {
        (r["agent"], r["authority"], r["basis"], r.get("in_force", True)) for r in rows("limits")
    }
    held = {
        (agent.id, x.authority, str(x.basis), x.in_force)
        for agent in knowledge.agents.values()
        for x in agent.limits
        if x.authority != "ontario"  # from the library; held as copied, not as true
    }
    assert sorted(held - typed) == []


def test_no_row_stands_twice() -> None:
    assert [row for row, count in Counter(map(str, ROWS)).items() if count > 1] == []
