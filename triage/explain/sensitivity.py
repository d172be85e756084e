"""How sure each step is: firm, or tentative with the question that could move it.

A step is firm if no answer to any question still open, taken one at a time, removes it from its
ladder or, for the next step, puts another in its place.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from triage.engine.casefacts import SPECIMEN
from triage.engine.vocabulary import UNKNOWN
from triage.explain.nextquestion import NextQuestion, answer_words
from triage.explain.sweep import Answer, Sweep
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
    last = len(order)
    answers = sorted(
        (
            Answer(fact.key, question, UNKNOWN, after)
            for fact, question, afters in sweep.open_places()
            for after in afters
        ),
        key=lambda answer: (order.get(answer.place, last), answer),
    )
    movers = _movers(sweep, items, answers)
    return tuple(_firmness(sweep, item, movers.get(place)) for place, item in enumerate(items))


def _movers(sweep: Sweep, items: Sequence[Item], answers: Iterable[Answer]) -> dict[int, Answer]:
    """Return the first answer that moves each step, by its place; a firm step has none."""
    rungs = {(i.target, i.rung): i.method for i in items if not i.inserted}
    left = {
        place: (item.target, rungs.get((item.target, item.rung), item.method))
        for place, item in enumerate(items)
    }
    found: dict[int, Answer] = {}
    for answer in answers:
        if not left:
            break
        outlook = sweep.outlook({answer.place: answer.after})
        if outlook is sweep.base:
            continue
        there = _rungs(outlook)
        moves_first = outlook.head != sweep.base.head
        for place, step in list(left.items()):
            if step not in there or (place == 0 and moves_first):
                found[place] = answer
                del left[place]
    return found


def _rungs(outlook: Outlook) -> frozenset[tuple[str, str]]:
    if outlook.refused or outlook.held:
        return frozenset()
    return frozenset((target, method) for target, rungs in outlook.rungs for method in rungs)


def _firmness(sweep: Sweep, item: Item, mover: Answer | None) -> Firmness:
    if mover is None:
        because = "No answer that is still open would move it."
        return Firmness(item.step, True, None, "", "", because)
    question = sweep.knowledge.questions.get(mover.question)
    asked = question.ask if question else "Which group is it?"
    said = answer_words(sweep.knowledge, mover.question, mover.after)
    whose = f" ({mover.finding})" if mover.finding else ""
    because = f'"{said}" to "{asked}"{whose} would move it.'
    return Firmness(item.step, False, mover.finding, mover.question, mover.after, because)
