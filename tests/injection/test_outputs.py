"""What a case, a bench or a copy of the rules says is text in every output of every command.

It cannot steer the terminal, forge a line of the program's own or act in what is written. One bench
and one copy carry all the texts at once, each in another entry, in every field that takes free words.
"""

import base64
import csv
import io
import json
import re
import shutil
import unicodedata
import zlib
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import cycle
from pathlib import Path

import icalendar
import pytest
import yaml

from tests.injection.test_sheets import ACTIVE, acting_in, elements
from tests.support.hostile import FORGED, REFUSED, TEXTS, write
from tests.support.knowledge import RULES, shipped
from tests.tui.conftest import opened_on  # noqa: F401  (a fixture)
from tests.tui.driving import CASE as DEMO
from tests.tui.driving import driven
from triage.case.profile import load_bench
from triage.case.roomledger import RoomLedger
from triage.case.store import load_case
from triage.cli import main
from triage.errors import CONTROL, TriageError
from triage.history.calendar import Due, calendar_text
from triage.history.index import load_index
from triage.history.table import history, history_csv
from triage.service.workshop import open_workshop
from triage.show import pdf

NOW = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
OUTPUTS = {
    "list": ["list"],
    "list-json": ["list", "--json"],
    "plan": ["plan", DEMO, "--whole"],
    "plan-json": ["plan", DEMO, "--json"],
    "explain": ["explain", DEMO],
    "ask": ["ask", DEMO],
    "change": ["change", DEMO],
    "day": ["day"],
    "day-json": ["day", "--json"],
    "usage": ["usage"],
    "worked": ["worked"],
    "history": ["history"],
    "history-json": ["history", "--json"],
    "watch": ["watch"],
    "air": ["air", "heptane", "--ml", "1", "--minutes", "10"],
    "day-air": ["day-air"],
    "mix": ["mix", "ethanol", "--to", "70", "--stock", "96", "--ml", "100"],
    "shows": ["shows", "--setup", "gone"],
    "handbook": ["handbook", "agent", "heptane"],
    "handbook-method": ["handbook", "method", "blot-dry"],
    "undo-none": ["release", DEMO, "a1", "--reason", "x"],
    "sheet": ["sheet", DEMO, "--whole"],
    "html": ["sheet", DEMO, "--whole", "--format", "html"],
    "pdf": ["sheet", DEMO, "--whole", "--format", "pdf"],
}
# What speaks of no case, and what each text has a test of its own for.
NOT_OF_A_CASE = {"air", "mix", "shows", "handbook", "handbook-method", "html", "pdf"}
# What could begin a line of its own, or be taken for the marks of a terminal's library. What a
# spreadsheet, a browser or a calendar would act on is looked at where such files are written.
PLAIN = ("terminal-markup", "markup-unclosed", "newline", "format", "long")
STEERING = (*PLAIN, "calendar", "formula-late")
SHOWN = (*PLAIN, "html", "markdown")
# What starts a formula in a spreadsheet, the wide forms that some take for the same included;
# what a spreadsheet drops at the front of a cell; source: the advice on CSV injection of OWASP.
STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
Capture = pytest.CaptureFixture[str]
EVERY_TEXT = pytest.mark.parametrize("kind", TEXTS)
EVERY_SIGN = pytest.mark.parametrize("kind", REFUSED)


def cases(folder: Path) -> Path:
    """A folder with a case that has work to do and one that carries a text itself."""
    write(folder, TEXTS["newline"])
    shutil.copy(RULES.parent / "cases" / f"{DEMO}.yaml", folder)
    return folder


def bench(folder: Path) -> None:
    agents = sorted(shipped().agents)
    texts = list(TEXTS.values())
    content = {
        "format": 1,
        "name": TEXTS["newline"],
        "room": {"name": TEXTS["newline"], "control": "hood", "others": "some"},
        "stock": [{"agent": a, "label": t} for a, t in zip(agents, cycle(texts), strict=False)],
        "refused": [{"agent": a, "because": t} for a, t in zip(agents, texts, strict=False)],
        "setups": [{"name": t, "magnification": 5} for t in texts],
        **{" ".join(t.split())[:60]: t for t in texts},
    }
    text = yaml.safe_dump(content, allow_unicode=True, sort_keys=False)
    (folder / "bench.yaml").write_text(text, encoding="utf-8")


def rules(folder: Path) -> Path:
    """A copy of the rules, each sentence of whose agents and methods is a text of ours."""
    copy = folder / "mine"
    shutil.copytree(RULES, copy)
    texts = cycle(json.dumps(text) for text in TEXTS.values())
    for name in ("agents/heptane", "agents/ethanol", "methods/clean-dry", "deposits/oily-film"):
        path = copy / f"{name}.yaml"
        held = re.sub(
            r"(?m)^( *(?:- )?(?:do|success|looks|because|leave_it|text|how|product): )(?![>|\[{]).*$",
            lambda found: found[1] + next(texts),
            path.read_text(encoding="utf-8"),
        )
        path.write_text(held, encoding="utf-8")
    return copy


def text_of_pdf(content: bytes) -> str:
    """Return what a reader of a bench sheet can take out as text, by its fonts' own tables.

    Source: ISO 32000-1, 9.10 (ToUnicode); only the operators that reportlab writes.
    """
    objects = dict(re.findall(rb"(?s)(\d+) 0 obj\s(.*?)endobj", content))

    def stream(held: bytes) -> bytes:
        length = re.search(rb"/Length (\d+)", held)
        assert length is not None
        data = (
            held[held.index(b"\nstream") + 7 :].lstrip(b"\r").removeprefix(b"\n")[: int(length[1])]
        )
        if b"ASCII85Decode" in held:
            data = base64.a85decode(data.strip().removesuffix(b"~>"))
        return zlib.decompress(data) if b"FlateDecode" in held else data

    fonts: dict[bytes, dict[int, str]] = {}
    for name, number in re.findall(rb"/(F\d+\+\d+) (\d+) 0 R", content):
        unicode = re.search(rb"/ToUnicode (\d+) 0 R", objects[number])
        assert unicode is not None
        table = stream(objects[unicode[1]]).partition(b"beginbfchar")[2]
        pairs = re.findall(rb"<([0-9A-F]+)> <([0-9A-F]+)>", table)
        fonts[name] = {int(code, 16): chr(int(point, 16)) for code, point in pairs}
    said, font = [], {}
    for held in objects.values():
        if b"\nstream" not in held or b"/Length1" in held or b"ToUnicode" in held:
            continue
        for name, shown in re.findall(
            rb"(?s)/(F\d+\+\d+) [\d.]+ Tf|\(((?:\\.|[^\\)])*)\) Tj", stream(held)
        ):
            if name:
                font = fonts[name]
                continue
            plain = re.sub(
                rb"\\([0-7]{3}|.)",
                lambda m: (
                    bytes([int(m[1], 8)])
                    if len(m[1]) == 3
                    else {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}.get(
                        m[1], m[1]
                    )
                ),
                shown,
            )
            said.append("".join(font.get(byte, "\x00") for byte in plain))
    return "\n".join(said)


def told(words: list[str], folder: Path, capsys: Capture, *more: str) -> str:
    """Return what a command says and writes, looked at for all that must not be in it."""
    out = folder / "out.pdf"
    if words[-1] == "pdf":
        words = [*words, "--out", str(out)]
    code = main([*words, "--cases", str(folder), *more])
    captured = capsys.readouterr()
    assert code in (0, 2), captured.err
    assert "fault of the program" not in captured.err
    text = captured.out + captured.err
    if words[-1] == str(out):
        assert code == 0, captured.err
        assert not acting_in(out.read_bytes())
        text = text_of_pdf(out.read_bytes())
        assert len(text) > 1000
    assert CONTROL.search(text) is None, words
    if words[-1] != "html":  # where a break in the source is only a space
        # A note of several lines stands in one, or indented: it is no line of the program.
        assert not [line for line in text.splitlines() if line.startswith(FORGED)], words
    if words[-1] == "--json" and code == 0:
        json.loads(captured.out)
    if words[-1] == "html":
        assert not elements(captured.out).tags & ACTIVE
        assert "onerror" not in elements(captured.out).attributes
    return text


@pytest.mark.parametrize("kind", STEERING)
def test_a_case_is_text_in_every_output(
    kind: str, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The commands of one test share a workshop, as the screens do.
    monkeypatch.setattr("triage.service.workshop.open_workshop", cache(open_workshop))
    write(tmp_path, TEXTS[kind])
    for name in OUTPUTS.keys() - NOT_OF_A_CASE:
        told(["card" if word == DEMO else word for word in OUTPUTS[name]], tmp_path, capsys)


@pytest.mark.parametrize("output", OUTPUTS)
def test_a_bench_is_text_in_every_output(output: str, tmp_path: Path, capsys: Capture) -> None:
    bench(cases(tmp_path))
    told(OUTPUTS[output], tmp_path, capsys)


def test_a_copy_of_the_rules_is_text_in_every_output(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = rules(tmp_path)
    folder = cases(tmp_path / "cases")
    told(OUTPUTS["list"], folder, capsys, "--rules", str(copy))
    # It was checked as ever; the outputs below need not check it again.
    monkeypatch.setattr("triage.check.whole.require_sound", lambda _: None)
    said = {
        name: told(words, folder, capsys, "--rules", str(copy)) for name, words in OUTPUTS.items()
    }
    # It is in the outputs, as words: the test does not pass because nothing came.
    html = " ".join(" ".join(elements(said["html"]).text).split())
    assert TEXTS["html"] in html or TEXTS["markdown"] in html or TEXTS["pdf-markup"] in html


@EVERY_TEXT
def test_what_a_pdf_shows_can_be_taken_out_as_it_was_written(
    kind: str, tmp_path: Path, capsys: Capture
) -> None:
    write(tmp_path, TEXTS[kind])
    text = told(["sheet", "card", "--format", "pdf"], tmp_path, capsys)
    wanted = pdf.shown("".join(TEXTS[kind].split()))[:1000]  # a page may end within a longer one
    assert wanted in "".join(text.split())


@pytest.mark.parametrize("kind", SHOWN)
async def test_list_and_plan_of_the_interface_show_it_as_it_is(kind, tmp_path, opened_on):  # noqa: F811
    """No markup, no link, no key of its own."""
    write(tmp_path, TEXTS[kind])
    bench(tmp_path)
    async with driven(opened_on(tmp_path)) as driver:
        await driver.on("cases")
        start = " ".join(TEXTS[kind].split())[:24].strip()
        assert start in driver.text
        strips = driver.screen._compositor.render_strips()
        assert "@click" not in str([x.style.meta for line in strips for x in line if x.style])
        await driver.press("enter", on="plan")
        assert start in driver.text


# -- signs that steer -----------------------------------------------------------------------------


@EVERY_SIGN
def test_steering_signs_are_read_from_no_file_and_written_to_none(
    kind: str, tmp_path: Path, capsys: Capture
) -> None:
    """Raw or quoted in a case, in a bench, in the ledger of a room, on the command line."""
    sign = REFUSED[kind]
    code = "".join(f"\\U{ord(letter):08x}" for letter in sign)
    path = tmp_path / "card.yaml"
    for title in (f"'x{sign}'", f'"x{code}"'):
        path.write_bytes(f"format: 1\nid: card\ntitle: {title}\n".encode())
        with pytest.raises(TriageError) as caught:
            load_case(path)
        assert CONTROL.search(caught.value.line().replace("\n", " ")) is None
        for words in (["list"], ["plan", "card"], ["explain", "card"]):
            told(words, tmp_path, capsys)
    path.unlink()
    assert main(["new", f"x{sign}", "--cases", str(tmp_path)]) == 2
    said = capsys.readouterr()
    assert CONTROL.search(said.out + said.err) is None
    assert list(tmp_path.glob("*.yaml")) == []
    path = tmp_path / "bench.yaml"
    path.write_text(f'format: 1\nroom: {{name: "x{code}"}}\n', encoding="utf-8")
    with pytest.raises(TriageError):
        load_bench(path)
    attempt = {"id": "a1", "at": "2026-03-04T10:00:00+00:00", "step": f"x{sign}"}
    line = {"folder": "ab", "case": "card", "attempt": {**attempt, "outcome": "better"}}
    ledger = tmp_path / "room.jsonl"
    ledger.write_text(json.dumps(line) + "\n", encoding="utf-8")
    found, unread = RoomLedger(ledger, "mine").others((), datetime(2026, 1, 1, tzinfo=UTC))
    assert found == ()
    assert len(unread) == 1


def test_names_of_files_and_folders_are_shown_without_steering_signs(
    tmp_path: Path, capsys: Capture
) -> None:
    folder = tmp_path / "x\x1b[2J\u202ey"
    write(folder, "plain")
    (folder / "z\x1b]0;t\x07.yaml").write_text("format: 1\nid: z\n", encoding="utf-8")
    for words in (["list"], ["plan", "gone"], ["plan", "card"]):
        told(words, folder, capsys)


def test_every_format_sign_of_unicode_that_turns_text_is_refused() -> None:
    """The property Bidi_Control in the copy of Unicode that comes with Python."""
    turning = {"RLE", "LRE", "RLO", "LRO", "PDF", "RLI", "LRI", "FSI", "PDI"}
    marks = {"\u200e", "\u200f", "\u061c"}
    found = {chr(n) for n in range(0x110000) if unicodedata.bidirectional(chr(n)) in turning}
    assert found
    assert {sign for sign in found | marks if not CONTROL.search(sign)} == set()


# -- what leaves as CSV or calendar runs nothing in the program that opens it ---------------------


@EVERY_TEXT
def test_no_cell_is_a_formula_and_each_row_is_one(kind: str, tmp_path: Path) -> None:
    write(tmp_path, TEXTS[kind])
    text = history_csv(history(load_index(tmp_path)))
    head, *rows = csv.reader(io.StringIO(text, newline=""), strict=True)
    assert len(rows) == 2  # two attempts
    assert {len(row) for row in rows} == {len(head)}
    cells = [cell for row in rows for cell in row]
    assert not [cell for cell in cells if cell.startswith(STARTS)]
    assert not [cell for cell in cells if cell.strip().startswith(STARTS)]
    # The text itself is there, with an apostrophe before it at most.
    assert {row[head.index("note")].removeprefix("'") for row in rows} == {TEXTS[kind]}


def names_in(calendar: bytes) -> set[bytes]:
    """Return the names of the properties; RFC 5545, 3.1: a folded line goes on behind a space."""
    lines = calendar.replace(b"\r\n ", b"").split(b"\r\n")
    assert all(b"\n" not in line and b"\r" not in line for line in lines)
    return {line.split(b":")[0].split(b";")[0] for line in lines if line}


@EVERY_TEXT
def test_a_calendar_holds_one_event_for_each_thing_due(
    kind: str, tmp_path: Path, capsys: Capture
) -> None:
    text = TEXTS[kind]
    due = Due(f"card/{text}/look", f"card: {text}", NOW, NOW + timedelta(minutes=5), text)
    raw = calendar_text([due], NOW)
    assert raw.split(b"\r\n").count(b"BEGIN:VEVENT") == 1
    assert names_in(raw) == names_in(calendar_text([Due("u", "t", NOW, NOW, "n")], NOW))
    (event,) = icalendar.Calendar.from_ical(raw).walk("VEVENT")
    assert FORGED not in str(event["summary"]).split("\n")[:1]
    assert str(event["description"]) == text
    # And as the commands write it.
    write(tmp_path, text)
    for words in (["day", "card"], ["watch"]):
        target = tmp_path / f"{words[0]}.ics"
        told([*words, "--ics", str(target)], tmp_path, capsys)
        if target.exists():
            for event in icalendar.Calendar.from_ical(target.read_bytes()).walk("VEVENT"):
                assert "\n" not in str(event["summary"])
