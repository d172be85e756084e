"""A plan with how firm each step is, and its questions in the order of their value.

The plan itself is worked out below and knows nothing of look-ahead; what look-ahead adds is put
beside it here, for the JSON, the printed plan and the plain session.
"""

from __future__ import annotations

import json
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from triage.explain.nextquestion import NextQuestion
from triage.explain.sensitivity import Firmness
from triage.plan.model import Plan, QuestionLine, plan_data


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
        return Agenda(
            tuple(q for q in self.worth if q.finding == finding),
            tuple(q for q in self.rest if q.finding == finding),
            self.chances,
        )

    def without(self, asked: Container[tuple[str | None, str]]) -> Agenda:
        """Return what is left when some (finding, question) are not to be asked again."""
        return Agenda(
            tuple(q for q in self.worth if (q.finding, q.question) not in asked),
            tuple(q for q in self.rest if (q.finding, q.question) not in asked),
            self.chances,
        )


def agenda(plan: Plan, ranked: Sequence[NextQuestion]) -> Agenda:
    """Return the questions of a plan, those that could change the next step first.

    Parameters
    ----------
    plan   the plan as planned
    ranked the questions that could change its next step, the best first
    """
    first = {(q.line.finding, q.line.question): q.chance for q in ranked}
    return Agenda(
        tuple(replace(q.line, because=q.because) for q in ranked),
        tuple(q for q in plan.questions if (q.finding, q.question) not in first),
        first,
    )


@dataclass(frozen=True, slots=True)
class SurePlan:
    """A plan whose questions stand in the order of their value, with the firmness of each step."""

    plan: Plan
    firmness: tuple[Firmness, ...]


def sure_plan(plan: Plan, firmness: Iterable[Firmness], ranked: Sequence[NextQuestion]) -> SurePlan:
    """Return a plan with what look-ahead knows about it.

    Parameters
    ----------
    plan     the plan as planned
    firmness how firm each of its steps is
    ranked   the questions that could change the next step, the best first; the other questions
             of the plan follow in the order they had
    """
    questions = agenda(plan, ranked).all
    return SurePlan(replace(plan, questions=questions), tuple(firmness))


def sure_plan_data(sure: SurePlan) -> dict[str, Any]:
    """Return the plan as plain data, each step with its ``firmness`` (None if not known)."""
    data = plan_data(sure.plan)
    known = {each.step: asdict(each) for each in sure.firmness}
    for step in data["steps"]:
        found = known.get(step["id"])
        step["firmness"] = found and {name: found[name] for name in found if name != "step"}
    return data


def sure_plan_json(sure: SurePlan) -> str:
    """Return the plan as JSON, the same bytes for the same plan."""
    return json.dumps(sure_plan_data(sure), indent=2, ensure_ascii=False, sort_keys=False) + "\n"
