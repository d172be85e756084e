"""The second entry tells what is forbidden of the whole insect from what is forbidden at one place."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.proof.breaking import with_rule
from tests.proof.golden import differences, load_golden
from tests.support.knowledge import consultant, shipped
from triage.engine.consult import Consultant
from triage.knowledge.rules import Family

GOLDEN = Path(__file__).parents[2] / "golden.yaml"


@pytest.mark.parametrize("name", ["forbid-bath-beside-own-wax", "forbid-harsh-bath-beside-eye"])
def test_a_whole_insect_interlock_narrowed_to_its_finding_shows(name: str) -> None:
    knowledge, golden = shipped(), load_golden(GOLDEN)
    assert not list(differences(consultant(), golden))
    rule = knowledge.rule(name)
    narrowed = rule.model_copy(update={"then": {"forbid": {"finding": "$f", "method": "$m"}}})
    changed = Consultant(with_rule(knowledge, Family.FORBID, rule, narrowed))
    assert any("everywhere" in line for line in differences(changed, golden))
