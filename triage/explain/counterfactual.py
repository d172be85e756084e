"""What would change the plan: the smallest changes that give another next step.

Complete for one change: every answer given or taken back, every change of the bench that matters
to a method on offer, every other outcome of an attempt on record or of the next step. Two changes
at once are searched only where no single one changes the next step; then among answers about one
finding and the specimen. Everything is found by working the changed case out, nothing by text.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from itertools import combinations
from typing import Any

from triage.case import changes
from triage.case.models import HARMFUL, OUTCOMES, Case
from triage.case.profile import Bench, Refused, Stock
from triage.engine.casefacts import BENCH, bench_fields
from triage.engine.many import with_values
from triage.engine.vocabulary import CONTROLS, UNKNOWN, agent_ids
from triage.explain.sweep import Change, Lookahead, Sweep
from triage.plan.ladder import equipment_at_hand
from triage.plan.ordering import Item
from triage.plan.outcomes import answers_after, condition_target
from triage.plan.skeleton import Outline

EPOCH = datetime(2000, 1, 1, tzinfo=UTC)
CONDITION = condition_target("").key


@dataclass(frozen=True, slots=True)
class Counterfactual:
    """Changes that together give another next step; none of them alone does, if several."""

    changes: tuple[Change, ...]
    before: str | None
    after: str | None
    sentence: str


# -- the bench ------------------------------------------------------------------------------------


def bench_variants(
    look: Lookahead, base: Outline, offered: Iterable[str]
) -> Iterator[tuple[Change, Bench]]:
    """Yield every change of the bench that could matter to a method on offer."""
    bench = look.bench
    methods, head = sorted(offered), base.first.method if base.first else None
    updates = (*_room_updates(look, head, methods), *_agent_updates(look, head, methods))
    for what, before, after, update in updates:
        yield Change("bench", None, what, before, after), bench.model_copy(update=update)


# What changes, from what to what, and the fields of the bench that are then other.
Update = tuple[str, str, str, dict[str, Any]]


def _room_updates(look: Lookahead, head: str | None, methods: list[str]) -> Iterator[Update]:
    """Yield other controls of the air and other equipment."""
    knowledge, bench = look.knowledge, look.bench
    for control in (*CONTROLS, UNKNOWN):
        if control != bench.room.control:
            room = bench.room.model_copy(update={"control": control})
            yield "control", bench.room.control, control, {"room": room}
    at_hand = equipment_at_hand(knowledge, bench)
    needs = {need for m in methods for need in knowledge.methods[m].needs}
    for need in sorted(needs - at_hand):
        lacking = tuple(x for x in bench.lacking if x != need)
        update = {"equipment": (*bench.equipment, need), "lacking": lacking}
        yield need, "missing", "at hand", update
    for need in sorted(set(knowledge.methods[head].needs) & at_hand) if head else ():
        yield need, "at hand", "missing", {"lacking": (*bench.lacking, need)}


def _agent_updates(look: Lookahead, head: str | None, methods: list[str]) -> Iterator[Update]:
    """Yield agents allowed, refused or bought, gloves that hold them, circumstances gone."""
    knowledge, bench = look.knowledge, look.bench
    for refused in bench.refused:
        rest = tuple(r for r in bench.refused if r != refused)
        yield refused.agent, "refused", "allowed", {"refused": rest}
    agents = sorted({a for m in methods for a in agent_ids(knowledge, m)})
    for agent in agents if bench.only_stock else ():
        if not bench.has_stock(agent):
            stock = (*bench.stock, Stock(agent=agent))
            yield agent, "not in stock", "in stock", {"stock": stock}
    held = {g.material for a in agents for g in knowledge.agents[a].gloves}
    for material in sorted(held - set(bench.gloves)) if bench.gloves else ():
        yield material, "no such gloves", "at hand", {"gloves": (*bench.gloves, material)}
    for agent in agent_ids(knowledge, head) if head else ():
        yield agent, "allowed", "refused", {"refused": (*bench.refused, Refused(agent=agent))}
    for circumstance in bench.circumstances:
        others = tuple(c for c in bench.circumstances if c != circumstance)
        yield "circumstance", circumstance, "none", {"circumstances": others}


# -- attempts -------------------------------------------------------------------------------------


def attempt_variants(look: Lookahead, case: Case, base: Outline) -> Iterator[tuple[Change, Case]]:
    """Yield other outcomes of attempts on record, and each outcome of the next step."""
    told = look.knowledge.outcome_words
    for attempt in case.effective_attempts():
        for outcome in _outcomes(look, attempt.method):
            if outcome != attempt.outcome:
                note = "what if" if attempt.outcome in HARMFUL else ""
                changed = changes.with_correction(
                    case, attempt.id, EPOCH, outcome=outcome, note=note
                )
                what = f"attempt {attempt.id}"
                was, said = (told(attempt.method, each) for each in (attempt.outcome, outcome))
                yield Change("attempt", attempt.finding, what, was, said), changed
    if base.first is None or base.held:
        return
    for outcome in _outcomes(look, base.first.method):
        finding = _finding(case, base.first)
        change = Change(
            "attempt", finding, base.first.step, "not tried", told(base.first.method, outcome)
        )
        yield change, tried(look, case, base.first, outcome)


def _outcomes(look: Lookahead, method: str | None) -> Iterable[str]:
    kind = look.knowledge.outcomes_at(method)
    return kind.words if kind else OUTCOMES


def _finding(case: Case, item: Item) -> str | None:
    return next((f.id for f in case.findings if f.id == item.target), None)


def tried(look: Lookahead, case: Case, item: Item, outcome: str) -> Case:
    """Return the case as it would be after one attempt at a step."""
    finding = _finding(case, item)
    fields: dict[str, Any] = {"finding": finding, "method": item.method, "observed": "what if"}
    if finding is None:
        fields["deposit"] = item.target.removeprefix(CONDITION)
    attempt = changes.new_attempt(case.next_attempt_id(), EPOCH, item.step, outcome, **fields)
    given = answers_after(look.knowledge, attempt, case.answers)
    return changes.with_answers(changes.with_attempt(case, attempt), given)


# -- the search -----------------------------------------------------------------------------------


class Searching:
    """Finds what would change the next step of one case."""

    def __init__(self, sweep: Sweep, offered: Iterable[str]) -> None:
        self.sweep = sweep
        self.look = sweep.look
        self.base = sweep.base
        self.offered = frozenset(offered)

    @cached_property
    def answers(self) -> dict[Change, Outline | None]:
        """Return every change of one answer with its outline, None if the next step stays."""
        looked = ((a, self.sweep.outline({a.place: a.after})) for a in self.sweep.answers())
        return {a: then if then.head != self.base.head else None for a, then in looked}

    def singles(self) -> tuple[Counterfactual, ...]:
        """Return every single change that gives another next step."""
        found = [(answer, then) for answer, then in self.answers.items() if then]
        for change, bench in bench_variants(self.look, self.base, self.offered):
            fields = bench_fields(bench, self.look.consultant.vocabulary)
            facts = with_values(self.sweep.facts, {(BENCH, k): v for k, v in fields.items()})
            there = self.look.on_bench(bench)
            found.append((change, there.outline(facts, there.work(self.sweep.case))))
        for change, case in attempt_variants(self.look, self.sweep.case, self.base):
            found.append((change, self.look.of_case(case)))
        return tuple(
            self._found((change,), then) for change, then in found if then.head != self.base.head
        )

    def pairs(self) -> tuple[Counterfactual, ...]:
        """Return pairs of answers that only together give another next step."""
        found = []
        answers = [answer for answer, then in self.answers.items() if then is None]
        for one, other in combinations(answers, 2):
            near = one.finding == other.finding or None in (one.finding, other.finding)
            if near and one.place != other.place:
                then = self.sweep.outline({one.place: one.after, other.place: other.after})
                if then.head != self.base.head:
                    found.append(self._found((one, other), then))
        return tuple(found)

    def smallest(self) -> tuple[Counterfactual, ...]:
        """Return all single changes; if there are none, all pairs."""
        return self.singles() or self.pairs()

    def _found(self, made: tuple[Change, ...], then: Outline) -> Counterfactual:
        parts = [f"{_whose(c)}{c.what} {c.after} instead of {c.before}" for c in made]
        sentence = f"{' and '.join(parts)}: {self._then(then)}"
        return Counterfactual(made, self.base.head.step, then.head.step, sentence)

    def _then(self, then: Outline) -> str:
        if then.refused:
            return f"the work would end. {self.look.knowledge.rule(then.refused[0]).because}"
        if then.held:
            return "the case would be held until a person releases it."
        if then.first is None:
            return f"there would be no step to do now (stage {then.stage})."
        name = self.look.knowledge.methods[then.first.method].name
        return f"the next step would be {name} [{then.first.step}]."


def _whose(change: Change) -> str:
    return f"{change.finding} " if change.finding and change.kind == "answer" else ""
