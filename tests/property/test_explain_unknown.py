"""Whoever cannot tell anything still gets a safe plan, and what to look for."""

from __future__ import annotations

import pytest

from tests.support.explaining import likelihood, plan_of, sweep_of
from tests.support.intake import OPEN
from tests.support.knowledge import shipped
from triage.case.changes import new_case, new_finding
from triage.case.profile import Bench
from triage.explain.nextquestion import ranked_questions

ZONES = sorted(shipped().zones)


def unknown_case(zones, taxon="unknown", answers=None):
    findings = tuple(new_finding(f"f{n + 1}", zone) for n, zone in enumerate(zones))
    return new_case("nothing-told", taxon=taxon, findings=findings, answers=answers or {})


def check_safe(case):
    plan = plan_of(case, Bench())
    methods = shipped().methods
    harsh = [s.id for s in plan.steps if s.finding is not None and not methods[s.method].harmless]
    assert harsh == []
    assert plan.questions, "it must say what to look for"
    assert all(q.ask and q.how for q in plan.questions)
    return plan


@pytest.mark.parametrize("zone", ZONES)
def test_nothing_told_gives_harmless_steps_only_also_behind_open_gates(zone):
    check_safe(unknown_case([zone]))
    plan = check_safe(unknown_case([zone], answers=OPEN))
    # On legs it may be what a bee gathered, whatever the group: that alone is asked before.
    shut = {notice.rule for notice in plan.notices if notice.kind == "gate"}
    assert plan.stage == "clean" or shut == {"gate-load-unasked"}


@pytest.mark.parametrize("taxon", [*sorted(shipped().taxa), "unknown"])
def test_nothing_told_of_any_group_gives_harmless_steps_only(taxon):
    plan = shipped().taxa[taxon].plan if taxon != "unknown" else None
    zones = [z.id for z in shipped().zones.values() if plan is None or plan in z.plans]
    check_safe(unknown_case(zones[:4], taxon, OPEN))


def test_cannot_tell_to_everything_ends_the_asking():
    case = unknown_case(["thorax-hairy"], answers=OPEN)
    declined: set[tuple[str, str]] = set()
    from triage.explain.sweep import Sweep

    look = sweep_of(case, Bench()).look
    for _ in range(60):
        found = ranked_questions(Sweep(look, case, frozenset(declined)), likelihood())
        if not found:
            break
        place = (found[0].line.finding or "specimen", found[0].line.question)
        assert place not in declined, "a question that was declined is not asked again"
        declined.add(place)
    else:
        pytest.fail("it never stops asking")
    check_safe(case)
