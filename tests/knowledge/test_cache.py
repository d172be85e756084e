"""The cache of parsed rules never changes what is loaded, and is never trusted when damaged."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.support.knowledge import shipped
from tests.support.running import share_parsed
from triage.errors import TriageError
from triage.knowledge.load import load_knowledge
from triage.yamltext import Parsed, parse_yaml

ROOT = Path(__file__).resolve().parents[2]


def test_cached_knowledge_equals_parsed(tmp_path: Path) -> None:
    cache = tmp_path / "cache.json"
    first = load_knowledge(ROOT / "rules", cache=cache)
    assert cache.is_file()
    second = load_knowledge(ROOT / "rules", cache=cache)
    plain = load_knowledge(ROOT / "rules")
    assert first == second == plain
    assert second.digest == plain.digest
    assert second.places == plain.places


@pytest.mark.parametrize("damage", [b"", b"{", b"[]", b'{"x": 1}', b'{"x": [[], "y"]}', b"\xff\xfe"])
def test_damaged_cache_is_not_used(
    tmp_path: Path, damage: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    share_parsed(monkeypatch)  # what is read in place of the cache is the same for every damage
    cache = tmp_path / "cache.json"
    cache.write_bytes(damage)
    assert load_knowledge(ROOT / "rules", cache=cache) == shipped()


def test_changed_file_is_read_anew_and_faults_keep_their_line(tmp_path: Path) -> None:
    rules = tmp_path / "rules"
    shutil.copytree(ROOT / "rules", rules)
    cache = tmp_path / "cache.json"
    before = load_knowledge(rules, cache=cache)
    zones = rules / "zones.yaml"
    text = zones.read_text(encoding="utf-8")
    zones.write_text(text.replace("id: compound-eye", "id: compound-eye\n  colour: red", 1), encoding="utf-8")
    line = text[: text.index("id: compound-eye")].count("\n") + 2
    with pytest.raises(TriageError) as plain:
        load_knowledge(rules)
    with pytest.raises(TriageError) as cached:
        load_knowledge(rules, cache=cache)
    assert cached.value.line() == plain.value.line()
    assert f"zones.yaml:{line}" in cached.value.line()
    zones.write_text(text, encoding="utf-8")
    assert load_knowledge(rules, cache=cache) == before


def test_unwritable_place_is_no_fault(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("x", encoding="utf-8")
    load_knowledge(ROOT / "rules", cache=blocked / "cache.json")


@pytest.mark.parametrize("cache", [None, "new.json"])
def test_a_fault_read_from_the_text_is_not_read_twice(
    tmp_path: Path, cache: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only a fault in what the cache gave, which knows fewer lines, is looked at again."""
    rules = tmp_path / "rules"
    shutil.copytree(ROOT / "rules", rules)
    zones = rules / "zones.yaml"
    text = zones.read_text(encoding="utf-8")
    zones.write_text(text.replace("id: compound-eye", "id: compound-eye\n  colour: red", 1), encoding="utf-8")
    read: list[str] = []

    def parse(text: str, shown_as: str) -> Parsed:
        read.append(shown_as)
        return parse_yaml(text, shown_as)

    monkeypatch.setattr("triage.knowledge.cache.parse_yaml", parse)
    with pytest.raises(TriageError, match="colour"):
        load_knowledge(rules, cache=tmp_path / cache if cache else None)
    assert "rules/zones.yaml" in read
    assert len(read) == len(set(read))
