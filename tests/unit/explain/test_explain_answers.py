"""Why, why not, contrast, what if, contradictions and firmness on cases a reader can follow."""

from __future__ import annotations

import pytest

from tests.support.builders import OILY
from tests.support.explaining import (
    demo_bench,
    desk_on,
    likelihood,
    look_on,
    maker,
    open_outlines,
    plan_of,
    sweep_of,
    trail_of,
)
from tests.support.intake import SOUND
from tests.support.knowledge import consultant, shipped
from triage.case import changes
from triage.case.profile import Bench, Refused
from triage.errors import TriageError
from triage.explain.nextquestion import ranked_questions
from triage.explain.sureplan import firmness_of
from triage.explain.sweep import Sweep
from triage.explain.whatif import compare
from triage.explain.whynot import methods_named
from triage.show.blocks import lines_of
from triage.show.reasons import why_lines


def case_of(zone="thorax-hairy", signs=OILY, taxon="bees-wasps", **answers):
    finding = changes.new_finding("f1", zone, signs=signs)
    return changes.new_case(
        "oily", "oily bee", taxon=taxon, answers={**SOUND, **answers}, findings=(finding,)
    )


@pytest.fixture(scope="module")
def oily():
    return case_of()


@pytest.fixture(scope="module")
def desk():
    return desk_on(demo_bench())


def test_why_leads_from_the_step_to_what_was_seen(desk, oily):
    (node,) = desk.why(oily)
    assert {"offer-oily-film", "recognise-blotter-oil-spot"} <= {n.rule for n in node.walk()}
    text = "\n".join(lines_of(why_lines((node,), desk.shop.plan(oily))))
    assert "oil-spot" in text
    assert "blotter" in text
    assert all(len(line) <= 92 for line in text.splitlines())


def test_why_names_an_unknown_step_and_the_nearest(desk, oily):
    with pytest.raises(TriageError, match="f1-blot-dri") as fault:
        desk.why(oily, "f1-blot-dri")
    assert "f1-blot-dry" in fault.value.mend


def test_at_a_closed_gate_the_gate_is_among_the_reasons(desk):
    nodes = desk.why(case_of(**{"old-poison-signs": "unknown", "age": "before-1990"}))
    assert "gate-old-poison" in {n.rule for node in nodes for n in node.walk()}


def test_how_a_finding_is_read_names_evidence_for_and_against(desk, oily):
    nodes = desk.how(oily, "f1")
    assert nodes[0].text.startswith("f1: oily film")
    weights = [child.text for child in nodes[0].children]
    assert any("for it" in text for text in weights)


def test_why_not_gives_interlocks_before_the_bench():
    bench = Bench(refused=(Refused(agent="tetrachloroethylene", because="not in this house"),))
    case = case_of(
        "compound-eye", {"sheen": "dull", "lens-look": "drying-rings", "colour": "clear"}
    )
    (found,) = trail_of(case, bench).why_not("tetrachloroethylene-brush", "f1")
    assert found.state == "excluded"
    kinds = [reason.interlock for reason in found.reasons]
    assert kinds == sorted(kinds, reverse=True)
    assert found.reasons[-1].rule == "bench-refused"
    assert any(reason.rule.startswith("forbid-") for reason in found.reasons)


def test_why_not_of_a_permitted_method_names_the_milder_ones_before_it(oily):
    (found,) = trail_of(oily, demo_bench()).why_not("heptane-brush", "f1")
    assert found.state == "later"
    assert "blot-dry" in found.before
    assert "must leave something behind" in found.first


def test_why_not_answers_for_every_known_method(oily):
    """Whatever method is named, there is an answer: a state, and a reason or what must happen."""
    trail = trail_of(oily, demo_bench())
    for method in shipped().methods:
        for found in trail.why_not(method):
            assert found.reasons or found.first, method


def test_why_not_takes_an_agent_for_all_its_methods(oily):
    found = trail_of(oily, demo_bench()).why_not("heptane", "f1")
    assert {each.method for each in found} == set(methods_named(shipped(), "heptane"))
    assert len(found) > 1


def test_why_not_of_something_unknown_names_the_nearest(oily):
    with pytest.raises(TriageError, match="heptan-brush") as fault:
        trail_of(oily, demo_bench()).why_not("heptan-brush")
    assert "heptane-brush" in fault.value.mend


def test_contrast_gives_the_one_grade_that_decides(oily):
    trail = trail_of(oily, demo_bench())
    ladder = trail.skeleton.ladder("f1")
    found = trail.contrast("heptane-brush", "blot-dry", ladder)
    assert (found.first, found.second) == ("blot-dry", "heptane-brush")
    mine, yours = (shipped().methods[m].harshness for m in ("blot-dry", "heptane-brush"))
    worst = [max(h.mechanical.grade, h.chemical.grade, h.person.grade) for h in (mine, yours)]
    assert found.decided_by == "worst"
    assert f"{worst[0]}, not {worst[1]}" in found.sentence


def test_contrast_names_the_interlock_where_one_is_ruled_out():
    case = case_of(
        "compound-eye", {"sheen": "dull", "lens-look": "drying-rings", "colour": "clear"}
    )
    trail = trail_of(case, demo_bench())
    found = trail.contrast("heptane-brush", "puff-air", trail.skeleton.ladder("f1"))
    assert found.first == "puff-air"
    assert found.decided_by.startswith("forbid-")


def test_what_if_shows_both_plans_and_explains_each_difference(desk, oily):
    found = desk.what_if(oily, {"hydration": "dry"})
    assert (found.now.stage, found.then.stage) == ("clean", "rehydrate")
    assert any(d.kind == "stage" and d.rule == "gate-supple" for d in found.differences)
    gone = {d.what for d in found.differences if d.kind == "step-gone"}
    stay = {step.id for step in found.then.steps}
    assert gone == {step.id for step in found.now.steps} - stay
    assert all(d.because for d in found.differences)


def test_what_if_without_a_change_has_no_difference(desk, oily):
    assert desk.what_if(oily, {"hydration": "supple"}).differences == ()


def test_what_if_needs_a_finding_for_a_sign(desk, oily):
    with pytest.raises(TriageError, match="blotter"):
        desk.what_if(oily, {"blotter": "nothing"})


def test_what_if_explains_a_smaller_amount(oily):
    roomy = Bench(room={"volume_m3": 60, "air_changes_per_h": 8, "control": "hood"})
    tight = Bench(room={"volume_m3": 12, "air_changes_per_h": 0, "control": "none"})
    found = compare(plan_of(oily, roomy), plan_of(oily, tight))
    changed = [d for d in found.differences if d.kind in ("step-changed", "step-gone", "ruled-out")]
    assert changed
    assert all(d.because for d in changed)


def test_contradictions_name_the_two_facts():
    case = case_of(signs={"sheen": "wet-gloss", "texture": "threads", "smell": "musty"})
    trail = trail_of(case, Bench())
    found = trail.contradictions()
    assert found
    for each in found:
        assert each.for_it.rule != each.against_it.rule
        named = [child.text for node in (each.for_it, each.against_it) for child in node.children]
        assert all(text in each.sentence for text in named)
    assert {(c.finding, c.deposit) for c in found} == {
        (c.finding, c.deposit) for c in plan_of(case, Bench()).conflicts
    }


def test_firm_steps_stand_under_every_open_answer(oily):
    sweep = sweep_of(oily, demo_bench())
    items = maker().skeleton(oily, demo_bench(), look_on(demo_bench()).judge).items
    found = firmness_of(sweep, ranked_questions(sweep, likelihood()))
    assert [each.step for each in found] == [item.step for item in items]
    first = found[0]
    if first.firm:
        assert all(then.head.step == first.step for _, then in open_outlines(sweep))
    else:
        moved = [
            o
            for a, o in open_outlines(sweep)
            if (a.what, a.after) == (first.question, first.answer)
        ]
        assert any(then.head.step != first.step for then in moved)


def test_a_case_with_every_answer_given_is_firm_throughout():
    signs = {q.id: q.answers[0].id for q in shipped().questions.values() if q.about == "zone"}
    answers = {
        q.id: SOUND.get(q.id, q.answers[0].id)
        for q in shipped().questions.values()
        if q.about == "specimen"
    }
    finding = changes.new_finding("f1", "elytra", signs=signs)
    case = changes.new_case("told", taxon="beetles", answers=answers, findings=(finding,))
    sweep = sweep_of(case, Bench())
    assert open_outlines(sweep) == []
    assert ranked_questions(sweep, likelihood()) == ()
    assert all(each.firm for each in firmness_of(sweep, ()))


def test_the_case_file_is_not_touched_by_any_question(tmp_path, oily):
    from triage.case.store import create_case
    from triage.service.workshop import Workshop

    path = create_case(tmp_path, oily) or tmp_path / "oily.yaml"
    before = (tmp_path / "oily.yaml").read_bytes()
    shop = Workshop(consultant(), tmp_path, demo_bench())
    case = shop.load("oily")
    shop.desk.what_if(case, {"hydration": "dry"})
    shop.desk.changes(case)
    shop.desk.questions(case)
    shop.desk.firmness(case)
    assert path is not None
    assert (tmp_path / "oily.yaml").read_bytes() == before
    assert [p.name for p in tmp_path.glob("*.yaml")] == ["oily.yaml"]


def test_the_desk_keeps_its_look_ahead_until_the_bench_changes(oily):
    mine = desk_on(Bench())
    first = mine.look()
    assert mine.look() is first
    mine.shop.bench = demo_bench()
    assert mine.look() is not first
    assert mine.look().bench == demo_bench()


def test_a_declined_question_is_not_asked_again(oily):
    look = look_on(demo_bench())
    found = ranked_questions(Sweep(look, oily), likelihood())
    assert found
    place = (found[0].line.finding or "specimen", found[0].line.question)
    again = ranked_questions(Sweep(look, oily, frozenset({place})), likelihood())
    assert place not in {(q.line.finding or "specimen", q.line.question) for q in again}
