"""How sure each step is: firm, or tentative with the question that could move it.

A step is firm if no answer to any question still open, taken one at a time, removes it from its
ladder or, for the next step, puts another in its place.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from triage.explain.nextquestion import NextQuestion
from triage.explain.sweep import SPECIMEN, Answer, Sweep
from triage.plan.lookahead import Outlook
from triage.plan.ordering import Item


@dataclass(frozen=True, slots=True)
class Firmness:
    """Whether a step stands under every open answer; if not, the question that could move it."""

    step: str
    firm: bool
    finding: str | None
    question: str
    answer: str
    because: str


def firmness_of(
    sweep: Sweep, items: Sequence[Item], ranked: Iterable[NextQuestion]
) -> tuple[Firmness, ...]:
    """Return the firmness of every step, in plan order.

    Parameters
    ----------
    sweep  the open answers of the case with their outlooks
    items  the steps in order
    ranked open questions, the best first: of several that could move a step it names this one
    """
    order = {(q.line.finding or SPECIMEN, q.line.question): place for place, q in enumerate(ranked)}
    rungs = {(i.target, i.rung): i.method for i in items if not i.inserted}
    moved: dict[tuple[str, str], list[Answer]] = {}
    first: list[Answer] = []
    standing = {(i.target, rungs.get((i.target, i.rung), i.method)) for i in items}
    for answer, outlook in sweep.open:
        if outlook is sweep.base:
            continue
        if outlook.head != sweep.base.head:
            first.append(answer)
        there = _rungs(outlook)
        for step in standing:
            if step not in there:
                moved.setdefault(step, []).append(answer)
    found = []
    for place, item in enumerate(items):
        step = (item.target, rungs.get((item.target, item.rung), item.method))
        movers = [*moved.get(step, ()), *(first if place == 0 else ())]
        found.append(_firmness(sweep, item, movers, order))
    return tuple(found)


def _rungs(outlook: Outlook) -> frozenset[tuple[str, str]]:
    if outlook.refused or outlook.held:
        return frozenset()
    return frozenset((target, method) for target, rungs in outlook.rungs for method in rungs)


def _firmness(
    sweep: Sweep, item: Item, movers: Sequence[Answer], order: dict[tuple[str, str], int]
) -> Firmness:
    if not movers:
        because = "No answer that is still open would move it."
        return Firmness(item.step, True, None, "", "", because)
    last = len(order)
    mover = min(movers, key=lambda answer: (order.get(answer.place, last), answer))
    question = sweep.knowledge.questions.get(mover.question)
    asked = question.ask if question else "Which group is it?"
    because = f'{asked} "{mover.after}" would move it.'
    return Firmness(item.step, False, mover.finding, mover.question, mover.after, because)
