"""The handbook leaves nothing out, and what the knowledge rests on is counted mark by mark."""

import re
from pathlib import Path

import pytest

from tests.support.knowledge import RULES, shipped
from tests.support.running import Runner
from triage.check.footing import footing, footing_lines
from triage.errors import TriageError
from triage.exposure.wording import limit_words
from triage.handbook import KINDS, handbook

KNOWLEDGE = shipped()


def test_nothing_is_left_out() -> None:
    """Every entry has its heading, every cited source is listed, every rule says why and whence."""
    whole = handbook(KNOWLEDGE)
    headings = set(re.findall(r"^#+ (?:.*\()?`([^`]+)`\)?$", whole, re.MULTILINE))
    for kind in KINDS:
        table = KNOWLEDGE.rule_index if kind == "rule" else KNOWLEDGE.table(kind)
        assert set(table) <= headings, kind
    cited = {m.split(";")[0] for m in re.findall(r"\[([a-z0-9.-]+(?:; [^\]]*)?)\]", whole)}
    assert "common-practice" in cited
    assert {each for each in cited if not each.isdigit()} <= set(KNOWLEDGE.sources)
    for rule in KNOWLEDGE.rule_index.values():
        assert f"{rule.because} [{rule.source}" in whole, rule.id


def test_deposit_page_has_its_whole_ladder_least_harsh_first() -> None:
    """The ladder is read from the offer rule's own YAML, not through the engine."""
    page = handbook(KNOWLEDGE, "deposit", "loose-dust")
    methods = KNOWLEDGE.rule("offer-loose-dust").conclusions()[0]["offer"]["method"]
    shown = sorted(methods, key=lambda method: page.index(f"`{method}`: rubbing"))
    grades = [KNOWLEDGE.methods[method].harshness for method in shown]
    worst = [max(grade.mechanical.grade, grade.chemical.grade) for grade in grades]
    assert worst == sorted(worst)


def test_pages_name_the_interlocks_of_the_eye_and_evidence_that_excludes() -> None:
    page = handbook(KNOWLEDGE, "zone", "compound-eye")
    for liquid in ("chlorinated", "glycol-ether", "solvent"):
        assert f"`forbid-{liquid}-on-eye`" in page
    page = handbook(KNOWLEDGE, "deposit", "lacquer")
    assert re.search(r"excludes it \(-1\): .*`recognise-sheen-dull`", page)


def test_agent_page_has_every_limit_with_edition_and_source() -> None:
    pages = handbook(KNOWLEDGE, "agent").split("\n## ")[1:]
    for page, agent in zip(pages, KNOWLEDGE.agents.values(), strict=True):
        assert f"`{agent.id}`" in page.splitlines()[0]
        for limit in agent.limits:
            told = limit_words(KNOWLEDGE.authorities[limit.authority].name, limit)
            assert " ".join(told.split()) in page
            assert limit.source in page


@pytest.mark.parametrize(
    ("kind", "entry", "mend"),
    [
        ("depost", None, "deposit"),
        ("deposit", "oily", "oily-film"),
        ("rule", "forbid-x", "use one of|did you mean"),
    ],
)
def test_unknown_kind_or_entry_names_the_nearest(kind: str, entry: str | None, mend: str) -> None:
    with pytest.raises(TriageError, match=mend):
        handbook(KNOWLEDGE, kind, entry)


def test_command_writes_a_file(tmp_path: Path, triage: Runner) -> None:
    out = tmp_path / "book.md"
    assert triage("handbook", "zone", "--out", str(out)).said().strip() == str(out)
    assert out.read_text(encoding="utf-8").startswith("# Zones")


MARK = re.compile(r"(?:^|[{,-])\s*(?:source|range_source|caution_source): ")


def test_every_mark_of_the_rules_is_counted_once() -> None:
    """Counted a second way: by the words as they stand in the files."""
    files = [p for p in RULES.rglob("*.yaml") if p.parent.name != "sources"]
    lines = [line for p in files for line in p.read_text("utf-8").splitlines()]
    written = sum(
        len(MARK.findall(line.split(" # ")[0]))
        for line in lines
        if not line.lstrip().startswith("#")
    )
    assert sum(c.total() for c in footing(shipped(), RULES).values()) == written


def test_limits_stand_apart_and_rest_on_documents() -> None:
    """Each limit of an agent is one mark, each authority two (itself, its temperature)."""
    knowledge = shipped()
    found = footing(knowledge, RULES)
    limits = sum(len(agent.limits) for agent in knowledge.agents.values())
    assert found["limits"].total() == limits + 2 * len(knowledge.authorities)
    rows = {line.split(" | ")[0].strip("| "): line for line in footing_lines(found)}
    assert {"limits", "hazards", "forbids", "signs", "methods", "all"} <= set(rows)
    assert all(re.search(r" \d+% \|$", line) for name, line in rows.items() if name in found)
