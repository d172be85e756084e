"""How sure a plan is: each step firm or tentative, and the questions in the order of their value.

The plan itself is worked out below and knows nothing of look-ahead; what look-ahead adds is put
beside it here, for the JSON, the printed plan and the plain session. A step is firm if no answer
to any question still open, taken one at a time, removes it from its ladder or, for the next step,
puts another in its place.
"""

from __future__ import annotations

import json
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field

from triage.engine.casefacts import SPECIMEN
from triage.explain.nextquestion import NextQuestion, answer_words
from triage.explain.sweep import Place, Sweep
from triage.plan.model import Plan, QuestionLine, plan_data
from triage.plan.ordering import Item
from triage.plan.skeleton import Outline


@dataclass(frozen=True, slots=True)
class Firmness:
    """Whether a step stands under every open answer; if not, the question that could move it."""

    step: str
    firm: bool
    finding: str | None
    question: str
    answer: str
    because: str


def firmness_of(sweep: Sweep, ranked: Iterable[NextQuestion]) -> tuple[Firmness, ...]:
    """Return the firmness of every step, in plan order.

    Parameters
    ----------
    sweep  the open answers of the case with their outlines
    ranked open questions, the best first: of several that could move a step it names this one
    """
    items = sweep.base.items
    order = {(q.line.finding or SPECIMEN, q.line.question): place for place, q in enumerate(ranked)}
    answers = sorted(
        (order.get((fact.key, name), len(order)), fact.key, name, after)
        for fact, name, afters in sweep.open_places()
        for after in afters
    )
    rungs = {(i.target, i.rung): i.method for i in items if not i.inserted}
    left = {
        place: (item.target, rungs.get((item.target, item.rung), item.method))
        for place, item in enumerate(items)
    }
    found: dict[int, Firmness] = {}
    for _, whose, question, answer in answers:
        if not left:
            break
        then = sweep.outline({(whose, question): answer})
        there = _rungs(then) if then is not sweep.base else left.values()
        moves_first = then.head != sweep.base.head
        for place, step in list(left.items()):
            if step not in there or (place == 0 and moves_first):
                found[place] = _moved(sweep, items[place], (whose, question), answer)
                del left[place]
    stands = "No answer that is still open would move it."
    return tuple(
        found.get(place) or Firmness(item.step, True, None, "", "", stands)
        for place, item in enumerate(items)
    )


def _rungs(then: Outline) -> frozenset[tuple[str, str]]:
    if then.refused or then.held:
        return frozenset()
    return frozenset((each.target.key, rung) for each in then.standing for rung in each.rungs)


def _moved(sweep: Sweep, item: Item, place: Place, answer: str) -> Firmness:
    finding = None if place[0] == SPECIMEN else place[0]
    question = sweep.knowledge.questions.get(place[1])
    asked = question.ask if question else "Which group is it?"
    said = answer_words(sweep.knowledge, place[1], answer)
    whose = f" ({finding})" if finding else ""
    because = f'"{said}" to "{asked}"{whose} would move it.'
    return Firmness(item.step, False, finding, place[1], answer, because)


@dataclass(frozen=True, slots=True)
class Agenda:
    """What is still to be asked, in order.

    ``worth``: what could change the next step, the best first; ``rest``: what the plan would also
    like to know, which can wait. ``chances`` are those of the first.
    """

    worth: tuple[QuestionLine, ...]
    rest: tuple[QuestionLine, ...]
    chances: Mapping[tuple[str | None, str], float] = field(default_factory=dict)

    def chance(self, question: QuestionLine) -> float | None:
        """Return the chance that an answer changes the next step, None if none can."""
        return self.chances.get((question.finding, question.question))

    @property
    def all(self) -> tuple[QuestionLine, ...]:
        """Return all questions in the order to ask them."""
        return (*self.worth, *self.rest)

    def about(self, finding: str | None) -> Agenda:
        """Return the questions about one finding, None: about the whole specimen."""
        others = (q for q in self.all if q.finding != finding)
        return self.without({(q.finding, q.question) for q in others})

    def without(self, asked: Container[tuple[str | None, str]]) -> Agenda:
        """Return what is left when some (finding, question) are not to be asked again."""

        def kept(lines: Iterable[QuestionLine]) -> Iterator[QuestionLine]:
            return (q for q in lines if (q.finding, q.question) not in asked)

        return Agenda(tuple(kept(self.worth)), tuple(kept(self.rest)), self.chances)


def agenda(plan: Plan, ranked: Sequence[NextQuestion]) -> Agenda:
    """Return the questions of a plan, those that could change the next step first.

    Parameters
    ----------
    plan   the plan as planned
    ranked the questions that could change its next step, the best first
    """
    first = {(q.line.finding, q.line.question): q.chance for q in ranked}
    return Agenda(
        tuple(q.line for q in ranked),
        tuple(q for q in plan.questions if (q.finding, q.question) not in first),
        first,
    )


@dataclass(frozen=True, slots=True)
class SurePlan:
    """A plan whose questions stand in the order of their value, with the firmness of each step."""

    plan: Plan
    firmness: tuple[Firmness, ...]


def sure_plan_json(sure: SurePlan) -> str:
    """Return the plan as JSON, each step with its ``firmness``; the same bytes for the same."""
    data = plan_data(sure.plan)
    known = {each.step: asdict(each) for each in sure.firmness}
    for step in data["steps"]:
        found = known.get(step["id"])
        step["firmness"] = found and {name: found[name] for name in found if name != "step"}
    return json.dumps(data, indent=2, ensure_ascii=False, sort_keys=False) + "\n"
