"""How far unanswered questions reach: unknown is never permission."""

from __future__ import annotations

import pytest

from tests.support.knowledge import consultant
from triage.case.changes import new_case, new_finding
from triage.case.profile import Bench


def read(taxon: str, named: str | None, **signs: str):
    finding = new_finding("f1", "thorax-hairy", named=named, signs=signs)
    case = new_case("c", taxon=taxon, answers={"hydration": "dry"}, findings=(finding,))
    found = consultant().consult(case, Bench())
    return {f.get("deposit"): f.get("reach") for f in found.facts if f.kind == "reading"}


@pytest.mark.parametrize("named", ["oily-film", "loose-dust"])
def test_naming_a_deposit_does_not_answer_what_group_it_is(named):
    """Some groups wear a bloom of their own; an unknown group could be one of them.

    Naming the deposit once closed this as if the group were known, so that an unknown group
    permitted a touch that a known one forbids.
    """
    assert read("planthoppers-waxy", named).get("natural-bloom") == "yes"
    assert read("unknown", named).get("natural-bloom") == "yes"
    assert read("beetles", named).get("natural-bloom") is None


def test_naming_a_deposit_answers_the_open_signs_of_the_finding():
    """Without a name the open signs could still make it bloom; with a name they were looked at."""
    assert read("beetles", None).get("natural-bloom") == "yes"
    assert read("beetles", "oily-film").get("natural-bloom") is None
