"""What leaves as CSV or calendar runs nothing in the program that opens it."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime, timedelta

import icalendar
import pytest

from tests.support.hostile import FORGED, TEXTS, write
from triage.cli import main
from triage.history.calendar import Due, calendar_text
from triage.history.index import load_index
from triage.history.table import history, history_csv

NOW = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
# What starts a formula in a spreadsheet, the wide forms that some take for the same included;
# what a spreadsheet drops at the front of a cell; source: the advice on CSV injection of OWASP.
STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


@pytest.mark.parametrize("kind", TEXTS)
def test_no_cell_is_a_formula_and_each_row_is_one(kind, tmp_path):
    write(tmp_path, TEXTS[kind])
    text = history_csv(history(load_index(tmp_path)))
    rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert len(rows) == 3  # the head and two attempts
    assert {len(row) for row in rows} == {len(rows[0])}
    cells = [cell for row in rows[1:] for cell in row]
    assert not [cell for cell in cells if cell.startswith(STARTS)]
    assert not [cell for cell in cells if cell.strip().startswith(STARTS)]
    # The text itself is there, with an apostrophe before it at most.
    notes = [row[rows[0].index("note")] for row in rows[1:]]
    assert {note.removeprefix("'") for note in notes} == {TEXTS[kind]}


@pytest.mark.parametrize("kind", TEXTS)
def test_a_calendar_holds_one_event_for_each_thing_due(kind):
    text = TEXTS[kind]
    due = Due(f"card/{text}/look", f"card: {text}", NOW, NOW + timedelta(minutes=5), text)
    raw = calendar_text([due], NOW)
    assert raw.split(b"\r\n").count(b"BEGIN:VEVENT") == 1
    # RFC 5545, 3.1: lines end in CR LF and a folded line goes on behind a space.
    unfolded = raw.replace(b"\r\n ", b"")
    assert all(b"\n" not in line and b"\r" not in line for line in unfolded.split(b"\r\n"))
    names = {line.split(b":")[0].split(b";")[0] for line in unfolded.split(b"\r\n") if line}
    expected = calendar_text([Due("u", "t", NOW, NOW, "n")], NOW).replace(b"\r\n ", b"")
    assert names == {line.split(b":")[0].split(b";")[0] for line in expected.split(b"\r\n") if line}
    (event,) = icalendar.Calendar.from_ical(raw).walk("VEVENT")
    assert FORGED not in str(event["summary"]).split("\n")[:1]
    assert str(event["description"]) == text


@pytest.mark.parametrize("kind", TEXTS)
def test_the_calendar_of_a_hostile_case(kind, tmp_path, capsys):
    write(tmp_path, TEXTS[kind])
    for words in (["day", "card"], ["watch"]):
        target = tmp_path / f"{words[0]}.ics"
        assert main([*words, "--cases", str(tmp_path), "--ics", str(target)]) in (0, 2)
        capsys.readouterr()
        if target.exists():
            calendar = icalendar.Calendar.from_ical(target.read_bytes())
            for event in calendar.walk("VEVENT"):
                assert "\n" not in str(event["summary"])
