"""What a bench or a copy of the rules says is text in every output, as what a case says is.

One bench and one copy carry all the texts at once, each in another entry, in every field that
takes free words.
"""

from __future__ import annotations

import base64
import json
import re
import shutil
import zlib
from datetime import UTC, datetime
from itertools import cycle
from pathlib import Path

import pytest
import yaml

from tests.injection.test_sheets import acting_in, elements
from tests.support.hostile import FORGED, REFUSED, TEXTS, write
from tests.support.knowledge import RULES, shipped
from triage.case.profile import load_bench
from triage.case.roomledger import RoomLedger
from triage.cli import main
from triage.errors import CONTROL, TriageError
from triage.show import pdf

DEMO = "bumblebee-plate-3"
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
    "watch": ["watch"],
    "air": ["air", "heptane", "--ml", "1", "--minutes", "10"],
    "day-air": ["day-air"],
    "mix": ["mix", "ethanol", "--to", "70", "--stock", "96", "--ml", "100"],
    "shows": ["shows", "--setup", "gone"],
    "handbook": ["handbook", "agent", "heptane"],
    "handbook-method": ["handbook", "method", "blot-dry"],
    "sheet": ["sheet", DEMO, "--whole"],
    "html": ["sheet", DEMO, "--whole", "--format", "html"],
    "pdf": ["sheet", DEMO, "--whole", "--format", "pdf"],
}


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


def told(words: list[str], folder: Path, capsys: pytest.CaptureFixture[str], *more: str) -> str:
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
        assert not [line for line in text.splitlines() if line.startswith(FORGED)], words
    if words[-1] == "--json":
        json.loads(captured.out)
    if words[-1] == "html":
        assert not elements(captured.out).tags & {"script", "img", "a", "iframe", "link", "object"}
        assert "onerror" not in elements(captured.out).attributes
    return text


@pytest.mark.parametrize("output", OUTPUTS)
def test_a_bench_is_text_in_every_output(
    output: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bench(cases(tmp_path))
    told(OUTPUTS[output], tmp_path, capsys)


def test_a_copy_of_the_rules_is_text_in_every_output(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
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


@pytest.mark.parametrize("kind", TEXTS)
def test_what_a_pdf_shows_can_be_taken_out_as_it_was_written(
    kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(tmp_path, TEXTS[kind])
    text = told(["sheet", "card", "--format", "pdf"], tmp_path, capsys)
    wanted = pdf.shown("".join(TEXTS[kind].split()))[:1000]  # a page may end within a longer one
    assert wanted in "".join(text.split())


@pytest.mark.parametrize("kind", REFUSED)
def test_steering_signs_are_read_from_no_file(kind: str, tmp_path: Path) -> None:
    code = "".join(f"\\U{ord(letter):08x}" for letter in REFUSED[kind])
    path = tmp_path / "bench.yaml"
    path.write_text(f'format: 1\nroom: {{name: "x{code}"}}\n', encoding="utf-8")
    with pytest.raises(TriageError):
        load_bench(path)
    attempt = {
        "id": "a1",
        "at": "2026-03-04T10:00:00+00:00",
        "step": f"x{REFUSED[kind]}",
        "outcome": "better",
    }
    line = json.dumps({"folder": "ab", "case": "card", "attempt": attempt})
    ledger = tmp_path / "room.jsonl"
    ledger.write_text(line + "\n", encoding="utf-8")
    found, unread = RoomLedger(ledger, "mine").others((), datetime(2026, 1, 1, tzinfo=UTC))
    assert found == ()
    assert len(unread) == 1
