"""The checked rulebase kept between runs: the same as from the files, and never trusted blindly."""

from __future__ import annotations

import hashlib
import pickle
import shutil
from pathlib import Path

import pytest

from triage.errors import TriageError
from triage.knowledge.load import load_knowledge
from triage.service import rulestore
from triage.service.rulestore import HEAD, Rulebase, load_rulebase

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def rules(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("own") / "rules"
    shutil.copytree(ROOT / "rules", folder)
    return folder


@pytest.fixture(scope="module")
def first(rules: Path) -> Rulebase:
    return load_rulebase(rules, _kept(rules), _parsed(rules))


def _kept(rules: Path) -> Path:
    return rules.parent / "kept.bin"


def _parsed(rules: Path) -> Path:
    return rules.parent / "parsed.json"


def test_what_is_kept_is_what_the_files_say(
    rules: Path, first: Rulebase, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*_: object, **__: object) -> None:
        raise AssertionError("the files were loaded again")

    monkeypatch.setattr(rulestore, "load_knowledge", never)
    again = load_rulebase(rules, _kept(rules), _parsed(rules))
    assert again == first
    assert again.knowledge.places == first.knowledge.places
    assert again.knowledge.root == rules
    monkeypatch.undo()
    assert again.knowledge == load_knowledge(rules)


def test_one_changed_word_is_read_from_the_files(rules: Path, first: Rulebase) -> None:
    target = rules / "glossary.yaml"
    before = target.read_text()
    target.write_text(before + "\n# one more line\n")
    try:
        assert load_rulebase(rules, _kept(rules), _parsed(rules)).knowledge == first.knowledge
        target.write_text("- id: [broken\n")
        with pytest.raises(TriageError, match=r"glossary\.yaml"):
            load_rulebase(rules, _kept(rules), _parsed(rules))
    finally:
        target.write_text(before)
    assert load_rulebase(rules, _kept(rules), _parsed(rules)) == first


@pytest.mark.parametrize("damage", ["short", "flipped", "empty", "other"])
def test_a_damaged_file_is_not_used(rules: Path, first: Rulebase, damage: str) -> None:
    kept = _kept(rules)
    sound = kept.read_bytes()
    middle = len(sound) // 2
    kept.write_bytes(
        {
            "short": sound[:middle],
            "flipped": sound[:middle] + bytes([sound[middle] ^ 1]) + sound[middle + 1 :],
            "empty": b"",
            "other": b"something else",
        }[damage]
    )
    assert load_rulebase(rules, kept, _parsed(rules)) == first


class _Call:
    """A value that would run something when it is read."""

    def __init__(self, made: Path) -> None:
        self.made = made

    def __reduce__(self) -> tuple[object, tuple[object, ...]]:
        return Path.touch, (self.made,)


def test_a_kept_file_runs_nothing(rules: Path, first: Rulebase, tmp_path: Path) -> None:
    kept, made = _kept(rules), tmp_path / "made"
    body = pickle.dumps(_Call(made))
    key = rulestore._key(rules)
    kept.write_bytes(HEAD + key + hashlib.sha256(body).digest() + body)
    assert load_rulebase(rules, kept, _parsed(rules)) == first
    assert not made.exists()


def test_a_folder_that_cannot_be_written_to_does_not_matter(
    rules: Path, first: Rulebase, tmp_path: Path
) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    assert load_rulebase(rules, blocked / "kept.bin", blocked / "parsed.json") == first


def test_a_missing_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(TriageError, match="no such rules folder"):
        load_rulebase(tmp_path / "none", tmp_path / "kept", tmp_path / "parsed")
