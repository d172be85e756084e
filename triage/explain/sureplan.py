"""A plan with how firm each step is, and its questions in the order of their value.

The plan itself is worked out below and knows nothing of look-ahead; what look-ahead adds is put
beside it here, for the JSON, the printed plan and the plain session.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from triage.explain.nextquestion import NextQuestion
from triage.explain.sensitivity import Firmness
from triage.plan.model import Plan, plan_data


@dataclass(frozen=True, slots=True)
class SurePlan:
    """A plan whose questions stand in the order of their value, with the firmness of each step."""

    plan: Plan
    firmness: tuple[Firmness, ...]

    def words(self) -> Mapping[str, str]:
        """Return step -> how firm it is, in words."""
        return {each.step: firmness_words(each) for each in self.firmness}


def sure_plan(plan: Plan, firmness: Iterable[Firmness], ranked: Sequence[NextQuestion]) -> SurePlan:
    """Return a plan with what look-ahead knows about it.

    Parameters
    ----------
    plan     the plan as planned
    firmness how firm each of its steps is
    ranked   the questions that could change the next step, the best first; the other questions
             of the plan follow in the order they had
    """
    first = {(q.line.finding, q.line.question) for q in ranked}
    rest = [q for q in plan.questions if (q.finding, q.question) not in first]
    questions = (*[replace(q.line, because=q.because) for q in ranked], *rest)
    return SurePlan(replace(plan, questions=questions), tuple(firmness))


def firmness_words(found: Firmness) -> str:
    """Return how firm a step is, in one line."""
    return f"{'firm' if found.firm else 'tentative'}. {found.because}"


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
