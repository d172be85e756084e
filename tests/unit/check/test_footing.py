"""What the knowledge rests on is counted mark by mark."""

from __future__ import annotations

import re
from pathlib import Path

from tests.support.knowledge import shipped
from triage.check.footing import footing, footing_lines

RULES = Path(__file__).parents[3] / "rules"
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
