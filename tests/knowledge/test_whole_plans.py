"""Whole plans as the trade makes them: each row of ``whole_plans.yaml`` is planned and held to its source.

What a row may say stands at the head of that file. A word that nothing knows is a fault, so a slip in
a row cannot make it hold.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.support.builders import full_bench
from tests.support.intake import SOUND
from tests.support.knowledge import NOON
from triage.case import changes
from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.reading import Reading
from triage.engine.vocabulary import UNKNOWN, agent_ids
from triage.knowledge.specimen import STAGES
from triage.plan.model import Step
from triage.plan.outcomes import answers_after
from triage.plan.planner import Planner
from triage.show.plan import plan_text
from triage.yamltext import parse_yaml

TABLE = Path(__file__).with_name("whole_plans.yaml")
HELD = parse_yaml(TABLE.read_text(encoding="utf-8"), TABLE.name).data
SIGNS, METHODS = HELD["signs"], HELD["methods"]


def rows() -> list[dict[str, Any]]:
    """Return every row, one for each of its ``each``, whose answers come beside its own."""
    found = []
    for row in HELD["plans"]:
        for number, other in enumerate(row.get("each", [{}]), start=1):
            answers = {**row.get("answers", {}), **other.get("answers", {})}
            fact = f"{row['fact']}, {number}"
            found.append({**row, **other, "answers": answers, "each": (), "fact": fact})
    return found


def case_of(row: dict[str, Any]) -> Case:
    told = {q: a for q, a in {**SOUND, **row["answers"]}.items() if a != UNKNOWN}
    findings = []
    for number, (zone, said) in enumerate(row.get("seen", {}).items(), start=1):
        signs = dict(said if isinstance(said, dict) else SIGNS.get(said, {"named": said}))
        named = signs.pop("named", None)
        findings.append({"id": f"f{number}", "zone": zone, "named": named, "signs": signs})
    group = row.get("group", "beetles")
    return changes.new_case("x", "test", taxon=group, answers=told, findings=findings)


def recorded(planner: Planner, case: Case, bench: Bench, method: str, outcome: str) -> Case:
    """Return the case after a step of its plan, with what the outcome answers."""
    step = next(s for s in planner.plan(case, bench).steps if s.method == method)
    names = ("finding", "zone", "deposit", "method", "agent", "amount_ml")
    told = {name: getattr(step, name) for name in names}
    also = tuple(served.finding for served in step.also)
    name = case.next_attempt_id()
    attempt = changes.new_attempt(name, NOON, step.id, outcome, also=also, **told)
    after = answers_after(planner.knowledge, attempt, case.answers)
    return changes.with_answers(changes.with_attempt(case, attempt), after)


class Judged:
    """One plan beside its row; each key of a row is judged by ``ASKED`` or the method of its name."""

    def __init__(self, planner: Planner, case: Case, bench: Bench) -> None:
        self.planner, self.k = planner, planner.knowledge
        self.case, self.bench, self.plan = case, bench, planner.plan(case, bench)
        self.methods = list(dict.fromkeys(step.method for step in self.plan.steps))
        self.lines = {line.id: line for line in self.plan.findings}
        self.asked_for = {question.question for question in self.plan.questions}

    def is_meant(self, word: str, step: Step) -> bool:
        """Return whether a step is what a word means: a method, a list of them, or a mark."""
        if word == "harmless":
            return self.k.methods[step.method].harmless
        kind, _, value = word.partition(" ")
        if not value:
            assert word in METHODS or word in self.k.methods, word
            return step.method in METHODS.get(word, [word])
        technique, every = self.k.techniques[step.technique], self.k.techniques.values()
        agents = [self.k.agents[each] for each in agent_ids(self.k, step.method)]
        known, marks = {
            "stage": (STAGES, {step.stage}),
            "agent": (self.k.agents, {agent.id for agent in agents}),
            "class": (
                {agent.agent_class for agent in self.k.agents.values()},
                {agent.agent_class for agent in agents},
            ),
            "not-for": (self.k.circumstances, {who for agent in agents for who in agent.not_for}),
            "contact": ({each.contact for each in every}, {technique.contact}),
            "wet": ({each.wet for each in every}, {technique.wet}),
        }[kind]
        assert value in known, word
        return value in marks

    def meant(self, words: list[str], finding: str | None = None) -> list[Step]:
        """Return the steps that any of some words means; those of a finding are its rungs."""
        steps = [s for s in self.plan.steps if any(self.is_meant(word, s) for word in words)]
        return [s for s in steps if not finding or (finding in s.findings and s.before is None)]

    def of(self, finding: str) -> list[Step]:
        return [step for step in self.plan.steps if finding in step.findings]

    def rungs(self, wanted: list[str]) -> bool:
        found = [step.method for step in self.of("f1") if step.before is None]
        return found[: len(wanted)] == wanted if wanted else not found

    def repeated(self, method: str) -> bool:
        step = next(s for s in self.plan.steps if s.method == method)
        return step.passes > 1 and bool(step.rinse) and "brush" in step.tool

    def bathed_only_in(self, classes: list[str]) -> bool:
        baths = self.meant(["contact immersion"])
        most = min(self.k.zones[finding.zone].most_mechanical for finding in self.case.findings)
        used = {self.k.agents[a].agent_class for s in baths for a in agent_ids(self.k, s.method)}
        return used <= set(classes) and all(s.harshness.mechanical <= most for s in baths)

    def reading(self, deposit: str) -> Reading:
        said = self.planner.consultant.consult(self.case, self.bench).readings_of("f1")
        return next(r for r in said if r.deposit == deposit)

    def in_reach(self, deposit: str) -> bool:
        return self.reading(deposit).reach >= self.k.judgement.suspected.value

    def out_of_reach(self, deposit: str) -> bool:
        said = self.planner.consultant.consult(self.case, self.bench).facts
        read = [fact for fact in said if fact.kind == "reading" and fact.get("deposit") == deposit]
        return not any(fact.get("reach") == "yes" for fact in read)

    def gate_asks(self, wanted: list[str]) -> bool:
        shut = [notice.rule for notice in self.plan.notices if notice.kind == "gate"]
        return {self.k.rule(rule).ask for rule in shut} >= set(wanted)

    def not_asked(self, barred: list[str]) -> bool:
        assert set(barred) <= set(self.k.questions)
        return not self.asked_for & set(barred)

    def said(self, words: list[str]) -> bool:
        told = [notice.text for notice in (*self.plan.refused, *self.plan.notices)]
        text = " ".join([*told, *(question.ask for question in self.plan.questions)]).lower()
        return all(word in text for word in words)

    def shown(self, words: list[str], *, whole: bool = False) -> bool:
        text = " ".join(plan_text(self.plan, whole=whole).split())
        return all(word in text for word in words)

    def untested(self, wanted: list[str]) -> bool:
        told = {test.question: test.because for test in self.plan.untested}
        return (
            told.keys() >= set(wanted) and all(told.values()) and not told.keys() & self.asked_for
        )

    def barred(self, wanted: list[str]) -> bool:
        barred = {e.method for e in self.plan.excluded if e.interlock and e.finding in ("f1", None)}
        return barred >= {method for word in wanted for method in METHODS.get(word, [word])}

    def passed_over(self, wanted: list[str]) -> bool:
        offered = [e for e in self.plan.excluded if e.finding == "f1" and e.offered]
        return {e.method for e in offered if not e.interlock} >= set(wanted)

    def told_of(self, words: str) -> set[str]:
        """Return the methods of which the plan gives a reason with these words."""
        return {e.method for e in self.plan.excluded if words in e.because}

    def stops_without(self, words: list[str]) -> bool:
        stops = " ".join(stop.then for stop in self.plan.steps[0].stop_points).lower()
        return bool(stops) and not any(word in stops for word in words)


# What a row may ask of a plan in one expression; the rest are methods of the same kind.
ASKED: dict[str, Callable[[Judged, Any], bool]] = {
    "stage": lambda it, wanted: it.plan.stage == wanted,
    "not_stage": lambda it, barred: it.plan.stage != barred,
    "first": lambda it, wanted: it.methods[: len(wanted)] == wanted,
    "only": lambda it, wanted: it.methods == wanted,
    "at_most": lambda it, allowed: len(it.meant(allowed)) == len(it.plan.steps),
    "any_step": lambda it, wanted: bool(it.plan.steps) is wanted,
    "has": lambda it, wanted: all(it.meant([word]) for word in wanted),
    "none": lambda it, barred: not it.meant(barred),
    "offered": lambda it, wanted: all(it.meant([word], "f1") for word in wanted),
    "order": lambda it, wanted: [step.method for step in it.meant(wanted, "f1")] == wanted,
    "last": lambda it, wanted: (
        [step.method for step in it.of("f1")].index(wanted) == len(it.of("f1")) - 1
    ),
    "harmless": lambda it, finding: all(it.k.methods[s.method].harmless for s in it.of(finding)),
    "untouched": lambda it, finding: all(
        it.k.techniques[s.technique].contact == "none" for s in it.of(finding) if not s.before
    ),
    "shown_whole": lambda it, words: it.shown(words, whole=True),
    "first_of": lambda it, wanted: all(
        next(m for m in it.methods if m.startswith(begin)) == method
        for begin, method in wanted.items()
    ),
    "only_in_reach": lambda it, deposit: (
        it.reading(deposit).certainty < -0.4 and it.in_reach(deposit)
    ),
    "cautions": lambda it, kinds: {line.kind for line in it.plan.steps[0].cautions} >= set(kinds),
    "agents_at_most": lambda it, allowed: (
        {a for m in it.methods for a in agent_ids(it.k, m)} <= set(allowed)
    ),
    "refused": lambda it, wanted: bool(it.plan.refused) is wanted,
    "not_offered": lambda it, barred: not it.meant(barred, "f1"),
    "read": lambda it, wanted: {f: it.lines[f].deposit for f in wanted} == wanted,
    "suspected": lambda it, deposit: (
        it.reading(deposit).standing in ("suspected", "likely", "settled")
    ),
    "state": lambda it, wanted: it.lines["f1"].state == wanted,
    "asked": lambda it, wanted: bool(it.asked_for) and it.asked_for >= set(wanted),
    "notices": lambda it, kinds: set(kinds) <= {notice.kind for notice in it.plan.notices},
    "no_notices": lambda it, kinds: not set(kinds) & {notice.kind for notice in it.plan.notices},
    "all_may_be_tested": lambda it, wanted: (it.plan.untested == ()) is wanted,
    "not_excluded": lambda it, methods: not {e.method for e in it.plan.excluded} & set(methods),
    "because": lambda it, wanted: all(set(held) <= it.told_of(w) for w, held in wanted.items()),
    "because_any": lambda it, wanted: all(set(held) & it.told_of(w) for w, held in wanted.items()),
    "excluded_by": lambda it, rules: {e.rule for e in it.plan.excluded} >= set(rules),
}
GIVEN = {"each", "fact", "source", "group", "answers", "seen", "bench", "bench_but", "done", "then"}


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["fact"])
def test_the_plan_is_as_the_trade_makes_it(row: dict[str, Any], planner: Planner) -> None:
    full = full_bench(planner.knowledge).plain()
    bench = Bench.model_validate(row.get("bench", {**full, **row.get("bench_but", {})}))
    case = case_of(row)
    for method, outcome in row.get("done", {}).items():
        case = recorded(planner, case, bench, method, outcome)
    if "then" in row:
        planner.plan(case, bench)
        case = changes.with_answers(case, row["then"])
    judged = Judged(planner, case, bench)
    wrong = [
        key
        for key in row.keys() - GIVEN
        if not (ASKED.get(key) or getattr(Judged, key))(judged, row[key])
    ]
    assert row["source"].strip()
    assert row.keys() - GIVEN, "nothing is asked of the plan"
    assert not wrong, (sorted(wrong), judged.plan.stage, judged.methods)
