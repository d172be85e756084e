"""What if: two plans side by side, each difference with its reason. Nothing is recorded."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from triage.plan.model import FindingLine, Plan, Step

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
    found = (
        *_stage(now, then),
        *_next(now, then),
        *_readings(now, then),
        *_steps(now, then),
        *_excluded(now, then),
        *_contradictions(now, then),
        *_questions(now, then),
    )
    return WhatIf(now, then, found)


def _stage(now: Plan, then: Plan) -> Iterator[Difference]:
    if now.stage != then.stage:
        gates = [n for n in (*then.refused, *then.notices) if n.kind in ("gate", "refused")]
        because = gates[0].text if gates else "Every gate before it is open."
        rule = gates[0].rule if gates else ""
        yield Difference("stage", None, "stage", now.stage, then.stage, because, rule)
    old = {(n.kind, n.rule) for n in (*now.refused, *now.notices)}
    for notice in (*then.refused, *then.notices):
        if (notice.kind, notice.rule) not in old:
            yield Difference("notice", None, notice.kind, "", notice.text, notice.text, notice.rule)


def _next(now: Plan, then: Plan) -> Iterator[Difference]:
    a, b = now.next_step(), then.next_step()
    if (a.id if a else None) != (b.id if b else None):
        because = b.because if b else _why_none(then)
        yield Difference(
            "next-step",
            b.finding if b else None,
            "next step",
            a.name if a else "none",
            b.name if b else "none",
            because,
            _offer(b) if b else "",
        )


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
        if before is None or _read(before) == _read(finding):
            continue
        because = "The signs now add up otherwise."
        if before.deposit == finding.deposit and before.state != finding.state:
            because = f"It is {finding.state} now."
        yield Difference("reading", finding.id, "reading", _read(before), _read(finding), because)


def _read(finding: FindingLine) -> str:
    if finding.deposit is None:
        return f"not identified yet, {finding.state}"
    return f"{finding.deposit_name}, {finding.standing} {finding.certainty:.2f}, {finding.state}"


def _steps(now: Plan, then: Plan) -> Iterator[Difference]:
    old, new = {s.id: s for s in now.steps}, {s.id: s for s in then.steps}
    for step in then.steps:
        if step.id not in old:
            rule = _offer(step)
            yield Difference("step-added", step.finding, step.id, "", step.name, step.because, rule)
        else:
            yield from _changed(old[step.id], step)
    for step in now.steps:
        if step.id not in new:
            because, rule = _why_gone(step, then)
            yield Difference("step-gone", step.finding, step.id, step.name, "", because, rule)


def _changed(before: Step, after: Step) -> Iterator[Difference]:
    if before.amount_ml != after.amount_ml:
        yield Difference(
            "step-changed",
            after.finding,
            after.id,
            f"{before.amount_ml} mL",
            f"{after.amount_ml} mL",
            after.amount_because or "The air allows the usual amount.",
        )


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


def _excluded(now: Plan, then: Plan) -> Iterator[Difference]:
    old = {(e.finding, e.method, e.rule) for e in now.excluded if e.offered}
    new = {(e.finding, e.method, e.rule) for e in then.excluded if e.offered}
    for excluded in then.excluded:
        key = (excluded.finding, excluded.method, excluded.rule)
        if excluded.offered and key not in old:
            yield Difference(
                "ruled-out",
                excluded.finding,
                excluded.method,
                "",
                excluded.method_name,
                excluded.because,
                excluded.rule,
            )
    for excluded in now.excluded:
        key = (excluded.finding, excluded.method, excluded.rule)
        if excluded.offered and key not in new:
            yield Difference(
                "no-longer-ruled-out",
                excluded.finding,
                excluded.method,
                excluded.method_name,
                "",
                f"This no longer holds: {excluded.because}",
                excluded.rule,
            )


def _contradictions(now: Plan, then: Plan) -> Iterator[Difference]:
    old = {(c.finding, c.deposit) for c in now.conflicts}
    for conflict in then.conflicts:
        if (conflict.finding, conflict.deposit) not in old:
            yield Difference(
                "contradiction",
                conflict.finding,
                conflict.deposit,
                "",
                conflict.sentence,
                conflict.sentence,
                conflict.speaks_against,
            )


def _questions(now: Plan, then: Plan) -> Iterator[Difference]:
    old = {(q.finding, q.question) for q in now.questions}
    for question in then.questions:
        if (question.finding, question.question) not in old:
            yield Difference(
                "question",
                question.finding,
                question.question,
                "",
                question.ask,
                question.because,
            )
