"""YAML is read as YAML 1.2 means it, with lines, and hostile text is refused early."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
import yaml

from triage import yamltext
from triage.errors import TriageError
from triage.yamltext import Parsed, dump_yaml, parse_yaml, read_text

# YAML 1.2.2, example 10.9 "Core Tag Resolution", with the values its table 10.3.2 gives.
CORE = """\
A null: null
Booleans: [ true, True, false, FALSE ]
Integers: [ 0, 0o7, 0x3A, -19 ]
Floats: [
  0., -0.0, .5, +12e03, -2E+05 ]
Also floats: [
  .inf, -.Inf, +.INF, .NAN ]
"""


def test_core_schema_example_of_the_standard() -> None:
    held = parse_yaml(CORE, "x").data
    assert held["A null"] is None
    assert [(word, type(word)) for word in held["Booleans"]] == [
        (True, bool),
        (True, bool),
        (False, bool),
        (False, bool),
    ]
    assert [(number, type(number)) for number in held["Integers"]] == [
        (0, int),
        (7, int),
        (58, int),
        (-19, int),
    ]
    assert held["Floats"] == [0.0, -0.0, 0.5, 12000.0, -200000.0]
    assert all(isinstance(number, float) for number in held["Floats"])
    assert held["Also floats"][:3] == [math.inf, -math.inf, math.inf]
    assert math.isnan(held["Also floats"][3])


@pytest.mark.parametrize(
    "word",
    [
        *("yes", "No", "ON", "off", "y", "n", "2026-03-02", "2026-03-02T10:15:00+01:00"),
        *("12:30:00", "1_000", "0012", "-007", "nUll", "tRUE", "1.2.3", "64-17-5", "+", ".", "e5"),
    ],
)
def test_what_other_readers_convert_stays_text(word: str) -> None:
    assert parse_yaml(f"a: {word}\n{word}: b", "x").data == {"a": word, word: "b"}
    # A reader of YAML 1.1 finds the same text in what is written here, dates excepted.
    if not word.startswith("2026"):
        assert yaml.safe_load(dump_yaml({"a": word})) == {"a": word}


def test_quoted_and_block_text_is_never_converted() -> None:
    held = parse_yaml("a: '1'\nb: \"true\"\nc: |\n  2\nd: ! 3\ne: ''", "x")
    assert held.data == {"a": "1", "b": "true", "c": "2\n", "d": "3", "e": ""}


def test_every_entry_knows_its_line() -> None:
    text = "# top\na: 1\n\nb:\n  - x: 1\n    y: |\n      two\n      lines\n  - {p: 1,\n     q: 2}\n  -\n    z: 3\nc: [1,\n  2]\n"
    parsed = parse_yaml(text, "x")
    expected = {
        (): 2,
        ("a",): 2,
        ("b",): 4,
        ("b", 0): 5,
        ("b", 0, "y"): 6,
        ("b", 1): 9,
        ("b", 1, "q"): 10,
        ("b", 2): 12,
        ("c", 1): 14,
        ("b", 0, "missing"): 5,
        ("missing", 3): 2,
    }
    assert {path: parsed.line_of(path) for path in expected} == expected
    assert Parsed(None).line_of() is None
    assert parse_yaml("# nothing\n", "x").data is None


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("a: 1\nb: [1, 2", "x:2: broken YAML"),
        ("a: 1\n\na: 2", 'x:3 a: "a" stands twice; keep one; the first is in line 1'),
        ("[" * 21 + "]" * 21, "x:1: nested deeper than 20 levels; flatten the entry"),
        ("[" * 100_000, "x:1: broken YAML"),
        ("a:\n  - &b 1", "x:2: anchors (&) and aliases (*) are not read; write the entry out"),
        ("\ud800", "x: not valid Unicode text; save the file as UTF-8"),
        ("a: " + "9" * 41, "x:1: a number with too many digits; shorten it or put it in quotes"),
        ("a: !x 1", "x:1: the tag '!x' is not read; remove it and put text in quotes"),
        ("a: b\n \t c: d", "x:2: a tab stands in the indentation; use spaces"),
        ("a: \u2028", "x:1: the text holds a control character (U+2028); remove it"),
    ],
)
def test_refusals_name_file_and_line(text: str, told: str) -> None:
    with pytest.raises(TriageError) as caught:
        parse_yaml(text, "x")
    assert caught.value.line().startswith(told)


@pytest.mark.parametrize(
    ("text", "limit", "most", "told"),
    [
        ("a: ü", "MAX_BYTES", 4, "larger than"),
        ("[[1]]", "MAX_DEPTH", 1, "nested deeper than 1 levels"),
        ("[1, 2]", "MAX_NODES", 2, "more than 2 entries"),
    ],
)
def test_what_is_at_its_limit_is_read_and_what_is_above_it_refused(
    monkeypatch, text, limit, most, told
) -> None:
    monkeypatch.setattr(yamltext, limit, most)
    with pytest.raises(TriageError, match=told):
        parse_yaml(text, "x")
    monkeypatch.setattr(yamltext, limit, most + 1)
    parse_yaml(text, "x")


def test_text_keeps_its_line_ends_and_loses_its_mark(tmp_path: Path, monkeypatch) -> None:
    path = tmp_path / "x.yaml"
    path.write_bytes(b"\xef\xbb\xbfa: 1\r\nb: 2\n")
    assert read_text(path, "x") == "a: 1\r\nb: 2\n"
    path.write_bytes(b"a: 1\nb: \xe9\n")
    with pytest.raises(TriageError) as caught:
        read_text(path, "x")
    assert caught.value.line() == "x:2: byte 0xE9 is not UTF-8 text; save the file as UTF-8"
    monkeypatch.setattr(yamltext, "MAX_BYTES", 3)
    with pytest.raises(TriageError, match="larger than"):
        read_text(path, "x")


def test_same_values_as_the_library_reads() -> None:
    text = "a: {b: [1, -2.5, x y], c: 'it''s', d: \"\\u00e9\\n\"}\ne: >\n  folded\n  text\n\nf: |-\n  kept\n"
    assert parse_yaml(text, "x").data == yaml.safe_load(text)
