"""What a case file may say: YAML 1.2 with its lines; every fault is one line with file, line and mend."""

import os
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.support.recording import append_attempt, attempt_for
from triage import yamltext
from triage.case.changes import new_case
from triage.case.entry import is_like, meant_key
from triage.case.models import Attempt, Case, Finding
from triage.case.profile import Bench, RoomProfile
from triage.case.reading import validated
from triage.case.store import load_case
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
    # By their written form: 1, 1.0 and true are equal, and are not the same.
    assert {name: repr(held) for name, held in parse_yaml(CORE, "x").data.items()} == {
        "A null": "None",
        "Booleans": "[True, True, False, False]",
        "Integers": "[0, 7, 58, -19]",
        "Floats": "[0.0, -0.0, 0.5, 12000.0, -200000.0]",
        "Also floats": "[inf, -inf, inf, nan]",
    }


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
    text = "a: {b: [1, -2.5, x y], c: 'it''s', d: \"\\u00e9\\n\"}\ne: >\n  folded\n  text\n\nf: |-\n  kept\n"
    assert parse_yaml(text, "x").data == yaml.safe_load(text)


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


FOLDER = Path(__file__).parents[2] / "bad_input" / "cases"


def table() -> list[tuple[str, str, str]]:
    rows = (FOLDER / "expected.txt").read_text(encoding="utf-8").splitlines()[1:]
    return [(name, line, part) for name, line, part in (row.split(" | ", 2) for row in rows)]


@pytest.mark.parametrize(("name", "line", "part"), table(), ids=[row[0] for row in table()])
def test_refused_in_one_line(name: str, line: str, part: str, tmp_path: Path) -> None:
    path = tmp_path / f"{name}.yaml"
    shutil.copyfile(FOLDER / f"{name}.yaml", path)
    before = path.read_bytes()
    with pytest.raises(TriageError) as caught:
        load_case(path)
    told = caught.value.line()
    place = f"{path}:" if line == "-" else f"{path}:{line}"
    assert told.startswith(place), told
    assert part in told, told
    assert "\n" not in told
    assert caught.value.mend
    assert caught.value.exit_code == 2
    with pytest.raises(TriageError) as again:
        append_attempt(path, lambda _: pytest.fail("nothing may be recorded into a broken file"))
    assert again.value.line() == told
    assert path.read_bytes() == before


def test_every_file_has_its_row() -> None:
    assert {path.stem for path in FOLDER.glob("*.yaml")} == {row[0] for row in table()}


@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("none.yaml", "no such file; check the name and the folder"),
        ("folder.yaml", "this is a folder, not a file; name a file in it"),
        ("dangling.yaml", "no such file"),
        ("loop.yaml", "cannot be read"),
        ("pipe.yaml", "this is not an ordinary file"),
        ("big.yaml", "larger than 2 MB; check that this is the right file"),
        ("n" * 300 + ".yaml", "cannot be read"),
        ("nul\0.yaml", "cannot be read: the name is not valid"),
    ],
)
def test_unreadable_paths_are_refused(name: str, part: str, tmp_path: Path) -> None:
    (tmp_path / "folder.yaml").mkdir()
    (tmp_path / "dangling.yaml").symlink_to(tmp_path / "gone")
    (tmp_path / "loop.yaml").symlink_to(tmp_path / "loop.yaml")
    os.mkfifo(tmp_path / "pipe.yaml")
    (tmp_path / "big.yaml").write_bytes(b"# " + b"x" * 2_000_000)
    present = sorted(tmp_path.iterdir())
    for act in (load_case, lambda path: append_attempt(path, lambda _: pytest.fail("called"))):
        with pytest.raises(TriageError) as caught:
            act(tmp_path / name)
        assert part in caught.value.line()
        assert "\n" not in caught.value.line()
    assert sorted(tmp_path.iterdir()) == present


def test_several_faults_are_told_each_on_its_line(tmp_path: Path) -> None:
    path = tmp_path / "two.yaml"
    path.write_text("format: 1\nid: two\nfindings:\n- id: F 1\n  zone: eye\n  side: up\n")
    with pytest.raises(TriageError) as caught:
        load_case(path)
    first, second = caught.value.line().splitlines()
    assert first.startswith(f'{path}:4 finding "F 1" id')
    assert second.startswith(f'{path}:6 finding "F 1" side: unknown value "up"')


@pytest.mark.parametrize(
    ("fields", "part"),
    [
        ({"amount_ml": -1.0}, "negative"),
        ({"amount_ml": float("nan")}, "finite"),
        ({"note": "\x1b[2J"}, "control character (U+001B)"),
        ({"photo_after": "../x.jpg"}, "leaves the folder"),
        ({"outcome": "clered"}, "did you mean"),
    ],
)
def test_new_attempts_are_checked_as_read_ones_are(fields: dict[str, Any], part: str) -> None:
    with pytest.raises(TriageError, match=re.escape(part)):
        attempt_for(new_case("x"), **fields)


@pytest.mark.parametrize("name", sorted(Bench.model_fields.keys() - Bench.FREE))
def test_every_key_of_a_bench_is_known_with_a_slip(name: str) -> None:
    """One letter dropped, doubled or swapped with its neighbour, in any place."""
    parts = [(name[:i], name[i], name[i + 1 :]) for i in range(len(name))]
    slips = {before + after for before, _, after in parts}
    slips |= {before + one + one + after for before, one, after in parts}
    slips |= {before + after[:1] + one + after[1:] for before, one, after in parts}
    for slip in sorted(slips - Bench.model_fields.keys()):
        with pytest.raises(TriageError, match="did you mean"):
            validated(Bench, {slip: "x"})


@pytest.mark.parametrize("name", sorted(RoomProfile.model_fields))
def test_every_key_of_the_room_is_known_by_its_first_word(name: str) -> None:
    first = name.split("_", maxsplit=1)[0]
    for key in {first, f"{first}_given"} - RoomProfile.model_fields.keys():
        with pytest.raises(TriageError, match="did you mean"):
            validated(Bench, {"room": {key: "x"}})


@pytest.mark.parametrize(
    ("one", "other", "alike"),
    [
        *((one, other, True) for one, other in (
            ("refuse", "refused"), ("refuses", "refused"), ("refusal", "refused"),
            ("pregnant", "pregnancy"), ("asthmatic", "asthma"), ("glove", "gloves"),
            ("allergic", "allergy"), ("child", "children"), ("pet", "pets"), ("lack", "lacking"),
        )),
        *((one, other, False) for one, other in (
            ("size", "side"), ("species", "specimen"), ("note", "zone"), ("at", "id"),
            ("seen", "side"), ("phone", "zone"), ("contact", "control"), ("floor", "room"),
            ("colour", "control"),
        )),
    ],
)  # fmt: skip
def test_forms_of_a_word_are_alike_and_other_words_are_not(
    one: str, other: str, alike: bool
) -> None:
    assert is_like(one, other) is alike
    assert is_like(other, one) is alike


def test_a_longer_key_beside_the_known_one_is_a_persons_own() -> None:
    known = Attempt.model_fields.keys() - Attempt.FREE
    assert meant_key("agent_lot", known, {"agent": "heptane"}) is None
    assert meant_key("agent_name", known, {"agent": None}) == "agent"
    # The same quantity in another unit contradicts, also beside the known one.
    assert meant_key("amount_litres", known, {"amount_ml": 2.0}) == "amount_ml"


def test_own_keys_of_a_case_are_kept() -> None:
    own = {"time": "noon", "size": "2 mm", "species": "Bombus", "site": [1, 2]}
    own |= {"remark": "x", "x note": "y"}
    finding = validated(Finding, {"id": "f1", "zone": "elytra", "zone_detail": "tip", **own})
    told = {"format": 1, "id": "x", "findings": [finding], "owner": "a friend", **own}
    held = validated(Case, told).plain()
    assert held["findings"][0]["zone_detail"] == "tip"
    assert own.items() <= held.items()
    assert all(held["findings"][0][key] == value for key, value in own.items())
