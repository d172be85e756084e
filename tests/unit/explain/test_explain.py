"""Why, why not, what if, how firm: answers on cases a reader can follow, and as they leave the program."""

import json
from dataclasses import replace

import pytest

from tests.support import explaining
from tests.support.builders import OILY, opened, specimen
from tests.support.intake import SOUND
from tests.support.knowledge import CASES, DEMO, consultant, demo_bench, shipped
from triage.case.profile import Bench, Refused
from triage.explain.nextquestion import ranked_questions
from triage.explain.sureplan import firmness_of, sure_plan_json
from triage.explain.sweep import Sweep
from triage.explain.whatif import compare
from triage.explain.whynot import methods_named
from triage.plan.model import Notice
from triage.service.workshop import Workshop
from triage.show.blocks import lines_of
from triage.show.plan import plan_text
from triage.show.reasons import firmness_lines, why_lines
from triage.show.words import sure_by_step

BEE = specimen("bees-wasps", ("thorax-hairy", OILY), name="oily")
RINGED = {"sheen": "dull", "lens-look": "drying-rings", "colour": "clear"}


@pytest.fixture(scope="module")
def desk():
    return explaining.desk_on(demo_bench())


def test_why_leads_from_the_step_to_what_was_seen_and_names_gates_and_evidence(desk):
    (node,) = desk.why(BEE)
    assert {"offer-oily-film", "recognise-blotter-oil-spot"} <= {n.rule for n in node.walk()}
    text = "\n".join(lines_of(why_lines((node,), desk.shop.plan(BEE))))
    assert "oil-spot" in text
    assert "blotter" in text
    assert all(len(line) <= 92 for line in text.splitlines())
    case = specimen("bees-wasps", "leg", old_poison_signs="unknown", age="before-1990")
    assert "gate-old-poison" in {n.rule for node in desk.why(case) for n in node.walk()}
    first = desk.how(BEE, "f1")[0]
    assert first.text.startswith("f1: oily film")
    assert any("for it" in child.text for child in first.children)


def test_what_is_ruled_out_is_told_by_its_interlocks_before_the_bench():
    bench = Bench(refused=(Refused(agent="tetrachloroethylene", because="not in this house"),))
    case = specimen("bees-wasps", ("compound-eye", RINGED))
    (found,) = explaining.trail_of(case, bench).why_not("tetrachloroethylene-brush", "f1")
    assert found.state == "excluded"
    kinds = [reason.interlock for reason in found.reasons]
    assert kinds == sorted(kinds, reverse=True)
    assert found.reasons[-1].rule == "bench-refused"
    assert any(reason.rule.startswith("forbid-") for reason in found.reasons)
    trail = explaining.trail_of(case, demo_bench())
    contrast = trail.contrast("heptane-brush", "puff-air", trail.skeleton.ladder("f1"))
    assert contrast.first == "puff-air"
    assert contrast.decided_by.startswith("forbid-")


def test_why_not_of_a_permitted_method_names_the_milder_ones_before_it():
    (found,) = explaining.trail_of(BEE, demo_bench()).why_not("heptane-brush", "f1")
    assert found.state == "later"
    assert "blot-dry" in found.before
    assert "must leave something behind" in found.first


def test_why_not_answers_for_every_known_method_and_takes_an_agent_for_all_of_its():
    """Whatever method is named, there is an answer: a state, and a reason or what must happen."""
    trail = explaining.trail_of(BEE, demo_bench())
    for method in shipped().methods:
        for found in trail.why_not(method):
            assert found.reasons or found.first, method
    of_agent = [each.method for each in trail.why_not("heptane", "f1")]
    assert set(of_agent) == set(methods_named(shipped(), "heptane"))
    assert len(of_agent) > 1


def test_contrast_gives_the_one_grade_that_decides():
    trail = explaining.trail_of(BEE, demo_bench())
    ladder = trail.skeleton.ladder("f1")
    found = trail.contrast("heptane-brush", "blot-dry", ladder)
    assert (found.first, found.second) == ("blot-dry", "heptane-brush")
    mine, yours = (shipped().methods[m].harshness for m in ("blot-dry", "heptane-brush"))
    worst = [max(h.mechanical.grade, h.chemical.grade, h.person.grade) for h in (mine, yours)]
    assert found.decided_by == "worst"
    assert f"{worst[0]}, not {worst[1]}" in found.sentence


def test_what_if_shows_both_plans_and_explains_each_difference(desk):
    found = desk.what_if(BEE, {"hydration": "dry"})
    assert (found.now.stage, found.then.stage) == ("clean", "rehydrate")
    assert any(d.kind == "stage" and d.rule == "gate-supple" for d in found.differences)
    gone = {d.what for d in found.differences if d.kind == "step-gone"}
    assert gone == {s.id for s in found.now.steps} - {s.id for s in found.then.steps}
    assert all(d.because for d in found.differences)
    assert desk.what_if(BEE, {"hydration": "supple"}).differences == ()


def test_what_if_explains_a_smaller_amount():
    roomy = Bench(room={"volume_m3": 60, "air_changes_per_h": 8, "control": "hood"})
    tight = Bench(room={"volume_m3": 12, "air_changes_per_h": 0, "control": "none"})
    found = compare(explaining.plan_of(BEE, roomy), explaining.plan_of(BEE, tight))
    changed = [d for d in found.differences if d.kind in ("step-changed", "step-gone", "ruled-out")]
    assert changed
    assert all(d.because for d in changed)


def test_contradictions_name_the_two_facts():
    signs = {"sheen": "wet-gloss", "texture": "threads", "smell": "musty"}
    case = specimen("bees-wasps", ("thorax-hairy", signs))
    found = explaining.trail_of(case, Bench()).contradictions()
    assert found
    for each in found:
        assert each.for_it.rule != each.against_it.rule
        named = [child.text for node in (each.for_it, each.against_it) for child in node.children]
        assert all(text in each.sentence for text in named)
    conflicts = explaining.plan_of(case, Bench()).conflicts
    assert {(c.finding, c.deposit) for c in found} == {(c.finding, c.deposit) for c in conflicts}


def test_firm_steps_stand_under_every_open_answer():
    sweep = explaining.sweep_of(BEE, demo_bench())
    items = (
        explaining.maker().skeleton(BEE, demo_bench(), explaining.look_on(demo_bench()).judge).items
    )
    found = firmness_of(sweep, ranked_questions(sweep, explaining.likelihood()))
    assert [each.step for each in found] == [item.step for item in items]
    first, outlines = found[0], explaining.open_outlines(sweep)
    moving = [(a.what, a.after) for a, then in outlines if then.head.step != first.step]
    assert not moving if first.firm else (first.question, first.answer) in moving


def test_a_case_with_every_answer_given_is_firm_throughout():
    given = {about: {} for about in ("zone", "specimen")}
    for question in shipped().questions.values():
        given[question.about][question.id] = SOUND.get(question.id, question.answers[0].id)
    case = specimen("beetles", ("elytra", given["zone"]), **given["specimen"])
    sweep = explaining.sweep_of(case, Bench())
    assert explaining.open_outlines(sweep) == []
    assert ranked_questions(sweep, explaining.likelihood()) == ()
    assert all(each.firm for each in firmness_of(sweep, ()))


def test_the_case_file_is_not_touched_by_any_question(tmp_path):
    shop = opened(tmp_path, BEE)
    before = {path.name: path.read_bytes() for path in tmp_path.glob("*.yaml")}
    case = shop.load("oily")
    shop.desk.what_if(case, {"hydration": "dry"})
    for ask in (shop.desk.changes, shop.desk.questions, shop.desk.firmness):
        ask(case)
    assert {path.name: path.read_bytes() for path in tmp_path.glob("*.yaml")} == before
    assert [*before] == ["oily.yaml"]


def test_the_desk_keeps_its_look_ahead_until_the_bench_changes():
    mine = explaining.desk_on(Bench())
    first = mine.look()
    assert mine.look() is first
    mine.shop.bench = demo_bench()
    assert mine.look() is not first
    assert mine.look().bench == demo_bench()


def test_a_declined_question_is_not_asked_again():
    look = explaining.look_on(demo_bench())
    found = ranked_questions(Sweep(look, BEE), explaining.likelihood())
    assert found
    place = (found[0].line.finding or "specimen", found[0].line.question)
    again = ranked_questions(Sweep(look, BEE, frozenset({place})), explaining.likelihood())
    assert place not in {(q.line.finding or "specimen", q.line.question) for q in again}


CASE = "bumblebee-plate-3"
WORDS = [
    ["explain", CASE],
    ["explain", CASE, "--finding", "f1"],
    ["explain", CASE, "--method", "heptane"],
    ["explain", CASE, "--method", "blot-dry", "--rather-than", "heptane-brush"],
    ["ask", CASE],
    ["ask", CASE, "--all", "--cannot-tell", "f1:symmetry"],
    ["whatif", CASE, "hydration=dry"],
    ["whatif", CASE, "--finding", "f1", "blotter=nothing"],
    ["change", CASE],
]


@pytest.mark.parametrize("words", WORDS, ids=" ".join)
def test_text_and_json_say_something(words, triage):
    told = triage(*words, "--cases", str(CASES))
    assert (told.returncode, told.stderr) == (0, "")
    assert told.stdout.strip()
    assert all(len(line) <= 100 for line in told.stdout.splitlines())
    if "hydration=dry" in words:
        for part in ("as it is: clean: ", "as it would be: rehydrate: ", "gate-supple"):
            assert part in told.stdout
    told = triage(*words, "--cases", str(CASES), "--json")
    assert (told.returncode, told.stderr) == (0, "")
    assert told.held()


each_demo = pytest.mark.parametrize("name", [path.stem for path in DEMO])


@pytest.fixture(scope="module")
def shop():
    return Workshop(consultant(), CASES, demo_bench())


@each_demo
def test_every_step_says_whether_it_is_firm(shop, name):
    case = shop.load(name)
    steps = json.loads(sure_plan_json(shop.desk.sure_plan(case)))["steps"]
    assert [step["id"] for step in steps] == [step.id for step in shop.plan(case).steps]
    for step in steps:
        firmness = step["firmness"]
        assert set(firmness) == {"firm", "finding", "question", "answer", "because"}
        # Tentative means: there is a question that could move it, and it is named.
        assert firmness["firm"] == (firmness["question"] == "")


@each_demo
def test_the_question_named_could_really_move_the_step(shop, name):
    case = shop.load(name)
    sure = shop.desk.sure_plan(case)
    seen = set()
    for place, each in enumerate(sure.firmness):
        key = (each.finding, each.question, each.answer)
        if each.firm or key in seen:
            continue
        seen.add(key)
        then = shop.plan(shop.with_answer(case, each.finding, each.question, each.answer))
        there = [step.id for step in then.steps]
        assert each.step not in there or (place == 0 and there[0] != each.step)


@each_demo
def test_questions_stand_in_the_order_of_their_value(shop, name):
    case = shop.load(name)
    plan = shop.desk.sure_plan(case).plan
    ranked = shop.desk.questions(case)
    asked = [(q.finding, q.question) for q in plan.questions]
    assert asked[: len(ranked)] == [(q.line.finding, q.line.question) for q in ranked]
    assert len(set(asked)) == len(asked)
    assert set(asked) >= {(q.finding, q.question) for q in shop.plan(case).questions}


def test_the_printed_plan_says_it_beside_each_step(shop):
    sure = shop.desk.sure_plan(shop.load("bumblebee-plate-3"))
    short = plan_text(sure.plan, sure=sure_by_step(sure))
    whole = plan_text(sure.plan, whole=True, sure=sure_by_step(sure))
    first = sure.firmness[0]
    assert not first.firm
    assert short.count('may change: "') == 1
    assert whole.count("may change: ") == sum(not each.firm for each in sure.firmness)


def test_steps_moved_by_one_answer_are_named_together(shop):
    found = shop.desk.firmness(shop.load("bumblebee-plate-3"))
    lines = firmness_lines(found, shop.plan(shop.load("bumblebee-plate-3")))
    reasons = {(each.firm, each.because) for each in found}
    assert sum(line.text.startswith(("settled: ", "may change: ")) for line in lines) == len(
        reasons
    )


def test_the_command_prints_the_same_as_the_desk(shop, triage):
    printed = triage("plan", "skimmer-plate-8", "--json", "--cases", str(CASES)).held()
    mine = json.loads(sure_plan_json(shop.desk.sure_plan(shop.load("skimmer-plate-8"))))
    assert printed["steps"] == mine["steps"]
    assert printed["questions"] == mine["questions"]


def test_a_held_case_names_the_hold_first(shop):
    case = shop.load("hoverfly-plate-2")
    first, *_ = shop.desk.why(case)
    assert "held by attempt a2" in first.text
    assert "HELD: Held" not in plan_text(shop.plan(case))
    plan = shop.plan(shop.load("bumblebee-plate-3"))
    notices = (Notice("leave-it", "It is part of the insect.", "deposit:bloom"),)
    text = plan_text(replace(plan, notices=notices))
    assert "LEAVE IT: It is part of the insect." in text
    assert "LEAVE-IT" not in text
