"""Each printed figure comes out as it is printed; its document stands beside it in the table."""

from __future__ import annotations

import pytest

from tests.external.count import counted
from tests.external.figures import FIGURES, Row, figures, wrong_figure
from tests.second_entry.tables import CHECKS, READ, rows

ROWS = tuple(figures())


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['figure']} {row['given']}")
def test_the_figure_comes_out_as_printed(row: Row) -> None:
    assert not wrong_figure(row), f"{row['document']}, {row['at']}"


def test_every_group_has_its_document_its_place_and_how_it_was_read() -> None:
    entered = [row for table in CHECKS for row in rows(table)]
    assert {row["document"] for row in (*ROWS, *entered)} == {d["id"] for d in rows("documents")}
    assert all(row["at"].strip() and row["read"] in READ for row in ROWS)
    assert {row["figure"] for row in ROWS} == set(FIGURES)


def test_five_hundred_rows_and_more_stand_against_a_document_that_was_opened() -> None:
    assert sum(opened for table, (opened, _) in counted().items() if table != "whole cases") >= 500
