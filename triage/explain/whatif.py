"""What if: two plans side by side, each difference with its reason. Nothing is recorded."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from triage.plan.model import Excluded, FindingLine, Plan, Step

Kind = Literal[
    "stage",
    "next-step",
    "reading",
    "step-added",
    "step-gone",
    "step-changed",
    "ruled-out",
    "no-longer-ruled-out",
    "notice",
    "question",
    "contradiction",
]


@dataclass(frozen=True, slots=True)
class Difference:
    """One difference between two plans; ``rule`` names what decides it, where a rule does."""

    kind: Kind
    finding: str | None
    what: str
    before: str
    after: str
    because: str
    rule: str = ""


@dataclass(frozen=True, slots=True)
class WhatIf:
    """The plan as it is, the plan as it would be, and every difference."""

    now: Plan
    then: Plan
    differences: tuple[Difference, ...]


def compare(now: Plan, then: Plan) -> WhatIf:
    """Return two plans with their differences, each explained."""
    found = (*_head(now, then), *_readings(now, then), *_steps(now, then), *_said(now, then))
    return WhatIf(now, then, found)


def _head(now: Plan, then: Plan) -> Iterator[Difference]:
    """Yield what becomes of the stage, what is said anew of the whole, and of the next step."""
    gates = [n for n in (*then.refused, *then.notices) if n.kind in ("gate", "refused")]
    if now.stage != then.stage:
        because = gates[0].text if gates else "Every gate before it is open."
        rule = gates[0].rule if gates else ""
        yield Difference("stage", None, "stage", now.stage, then.stage, because, rule)
    old = {(n.kind, n.rule) for n in (*now.refused, *now.notices)}
    for notice in (*then.refused, *then.notices):
        if (notice.kind, notice.rule) not in old:
            yield Difference("notice", None, notice.kind, "", notice.text, notice.text, notice.rule)
    a, b = now.next_step(), then.next_step()
    before = a.name if a else "none"
    if b is None and a is not None:
        yield Difference("next-step", None, "next step", before, "none", _why_none(then))
    elif b is not None and (a is None or a.id != b.id):
        rule = _offer(b)
        yield Difference("next-step", b.finding, "next step", before, b.name, b.because, rule)


def _offer(step: Step) -> str:
    """Return the rule that offers a step; ids begin with their family."""
    return next((rule for rule in step.rules if rule.startswith("offer-")), "")


def _why_none(plan: Plan) -> str:
    texts = [n.text for n in plan.refused] or [h.sentence for h in plan.held]
    texts = texts or [n.text for n in plan.notices]
    return texts[0] if texts else "Nothing is left to do."


def _readings(now: Plan, then: Plan) -> Iterator[Difference]:
    old = {f.id: f for f in now.findings}
    for finding in then.findings:
        before = old.get(finding.id)
        if before is not None and _read(before) != _read(finding):
            is_worked = before.deposit == finding.deposit and before.state != finding.state
            because = f"It is {finding.state} now." if is_worked else _OTHERWISE
            change = (_read(before), _read(finding), because)
            yield Difference("reading", finding.id, "reading", *change)


_OTHERWISE = "The signs now add up otherwise."


def _read(finding: FindingLine) -> str:
    if finding.deposit is None:
        return f"not identified yet, {finding.state}"
    return f"{finding.deposit_name}, {finding.standing} {finding.certainty:.2f}, {finding.state}"


def _steps(now: Plan, then: Plan) -> Iterator[Difference]:
    old, new = {s.id: s for s in now.steps}, {s.id: s for s in then.steps}
    for step in then.steps:
        before = old.get(step.id)
        if before is None:
            change = ("", step.name, step.because, _offer(step))
            yield Difference("step-added", step.finding, step.id, *change)
        elif before.amount_ml != step.amount_ml:
            amounts = (f"{before.amount_ml} mL", f"{step.amount_ml} mL")
            because = step.amount_because or "The air allows the usual amount."
            yield Difference("step-changed", step.finding, step.id, *amounts, because)
    for step in now.steps:
        if step.id not in new:
            change = (step.name, "", *_why_gone(step, then))
            yield Difference("step-gone", step.finding, step.id, *change)


def _why_gone(step: Step, then: Plan) -> tuple[str, str]:
    for excluded in then.excluded:
        mine = excluded.method == step.method and excluded.finding in (None, step.finding)
        if mine and (excluded.offered or excluded.interlock):
            return excluded.because, excluded.rule
    finding = next((f for f in then.findings if f.id == step.finding), None)
    if then.refused or then.held:
        return _why_none(then), then.refused[0].rule if then.refused else ""
    if finding is not None and finding.deposit != step.deposit:
        return f"It is read as {finding.deposit_name} now, which it does not remove.", ""
    if then.stage != step.stage:
        return f"The stage is {then.stage} now.", ""
    return "Nothing calls for it any more.", ""


def _said(now: Plan, then: Plan) -> Iterator[Difference]:
    """Yield what is newly ruled out, no longer so, contradictory, or asked."""
    old, new = _ruled_out(now), _ruled_out(then)
    for key, out in new.items():
        if key not in old:
            change = ("", out.method_name, out.because, out.rule)
            yield Difference("ruled-out", out.finding, out.method, *change)
    for key, out in old.items():
        if key not in new:
            change = (out.method_name, "", f"This no longer holds: {out.because}", out.rule)
            yield Difference("no-longer-ruled-out", out.finding, out.method, *change)
    known = {(c.finding, c.deposit) for c in now.conflicts}
    for conflict in then.conflicts:
        if (conflict.finding, conflict.deposit) not in known:
            change = ("", conflict.sentence, conflict.sentence, conflict.speaks_against)
            yield Difference("contradiction", conflict.finding, conflict.deposit, *change)
    asked = {(q.finding, q.question) for q in now.questions}
    for question in then.questions:
        if (question.finding, question.question) not in asked:
            change = ("", question.ask, question.because, "")
            yield Difference("question", question.finding, question.question, *change)


def _ruled_out(plan: Plan) -> dict[tuple[str | None, str, str], Excluded]:
    return {(e.finding, e.method, e.rule): e for e in plan.excluded if e.offered}
