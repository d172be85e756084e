"""What a case file says cannot steer the terminal nor forge a line of the program's own."""

from __future__ import annotations

import unicodedata
from functools import cache
from pathlib import Path

import pytest

from tests.support.hostile import FORGED, REFUSED, TEXTS, write
from triage.case.store import load_case
from triage.cli import main
from triage.errors import CONTROL, TriageError
from triage.service.workshop import open_workshop

COMMANDS = {
    "list": ["list"],
    "plan": ["plan", "card"],
    "explain": ["explain", "card"],
    "ask": ["ask", "card"],
    "change": ["change", "card"],
    "history": ["history"],
    "history-json": ["history", "--json"],
    "list-json": ["list", "--json"],
    "plan-json": ["plan", "card", "--json"],
    "day-json": ["day", "card", "--json"],
    "worked": ["worked"],
    "usage": ["usage"],
    "watch": ["watch"],
    "day": ["day", "card"],
    "sheet": ["sheet", "card"],
    "undo-none": ["release", "card", "a1", "--reason", "x"],
}


@pytest.fixture(autouse=True)
def one_workshop(monkeypatch: pytest.MonkeyPatch) -> None:
    """The commands of one test share a workshop, as the screens do."""
    monkeypatch.setattr("triage.service.workshop.open_workshop", cache(open_workshop))


def told(words: list[str], folder: Path, capsys: pytest.CaptureFixture[str]) -> str:
    code = main([*words, "--cases", str(folder)])
    captured = capsys.readouterr()
    assert code in (0, 2), captured.err
    assert "Traceback" not in captured.err
    return captured.out + captured.err


# What could begin a line of its own, or be taken for the marks of a terminal's library. What a
# spreadsheet, a browser or a calendar would act on is looked at where such files are written.
STEERING = (
    "terminal-markup",
    "markup-unclosed",
    "newline",
    "calendar",
    "formula-late",
    "format",
    "long",
)


@pytest.mark.parametrize("kind", STEERING)
def test_every_command_shows_text_as_text(kind, tmp_path, capsys):
    write(tmp_path, TEXTS[kind])
    for words in COMMANDS.values():
        text = told(words, tmp_path, capsys)
        assert CONTROL.search(text) is None, words
        if "--json" not in words:
            # A note of several lines stands in one, or indented: it cannot look like a line of
            # the program.
            assert not [line for line in text.splitlines() if line.startswith(FORGED)], words


@pytest.mark.parametrize("kind", REFUSED)
@pytest.mark.parametrize("written", ["raw", "quoted"])
def test_steering_signs_are_not_even_read(kind, written, tmp_path, capsys):
    sign = REFUSED[kind]
    if written == "raw":
        text = f"format: 1\nid: card\ntitle: 'x{sign}'\n"
    else:
        code = "".join(f"\\U{ord(letter):08x}" for letter in sign)
        text = f'format: 1\nid: card\ntitle: "x{code}"\n'
    (tmp_path / "card.yaml").write_bytes(text.encode("utf-8"))
    with pytest.raises(TriageError) as caught:
        load_case(tmp_path / "card.yaml")
    assert CONTROL.search(caught.value.line().replace("\n", " ")) is None
    for words in (["list"], ["plan", "card"], ["explain", "card"]):
        assert CONTROL.search(told(words, tmp_path, capsys)) is None


def test_names_of_files_and_folders_are_shown_without_steering_signs(tmp_path, capsys):
    folder = tmp_path / "x\x1b[2J\u202ey"
    write(folder, "plain")
    (folder / "z\x1b]0;t\x07.yaml").write_text("format: 1\nid: z\n", encoding="utf-8")
    for words in (["list"], ["plan", "gone"], ["plan", "card"]):
        assert CONTROL.search(told(words, folder, capsys)) is None, words


def test_every_format_sign_of_unicode_that_turns_text_is_refused():
    """The property Bidi_Control in the copy of Unicode that comes with Python."""
    turning = {"RLE", "LRE", "RLO", "LRO", "PDF", "RLI", "LRI", "FSI", "PDI"}
    marks = {"\u200e", "\u200f", "\u061c"}
    found = {chr(n) for n in range(0x110000) if unicodedata.bidirectional(chr(n)) in turning}
    missed = {sign for sign in found | marks if not CONTROL.search(sign)}
    assert found
    assert missed == set()


@pytest.mark.parametrize("kind", REFUSED)
def test_nothing_of_the_kind_is_written_either(kind, tmp_path, capsys):
    """Given on the command line, as a paste from elsewhere would be."""
    code = main(["new", f"x{REFUSED[kind]}", "--cases", str(tmp_path)])
    captured = capsys.readouterr()
    held = [path.read_text(encoding="utf-8") for path in tmp_path.glob("*.yaml")]
    assert code == 2
    assert held == []
    assert CONTROL.search(captured.out + captured.err) is None
