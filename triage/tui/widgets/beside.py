"""What stands beside rows and questions: the page of a step, the animal, how a finding is read."""

from __future__ import annotations

from textual.content import Content

from triage.plan.model import FindingLine, Plan
from triage.show.words import NOTICE_SIGNS, STATE_SIGNS, less_or, stage_word


def reading_of(line: FindingLine, conflicts: tuple[str, ...]) -> Content:
    """Return the reading of one finding in words."""
    parts: list[Content | str | tuple[str, str]] = [("Reading now\n", "bold")]
    others = [f"{other.name}, {less_or(other.standing)}" for other in line.alternatives]
    is_told = line.standing != "open"
    if is_told:
        parts += [(f"{line.deposit_name}\n", "bold"), f"{line.standing}\n"]
    elif line.deposit:
        others = [line.deposit_name, *(other.name for other in line.alternatives)]
    parts.append(f"{STATE_SIGNS[line.state]}\n")
    if others:
        parts.append(("\nIt could also be\n" if is_told else "\nIt could be\n", "bold"))
        parts += [f"{other}\n" for other in others]
    if conflicts:
        parts.append(("\n! These do not agree\n", "bold"))
        parts += [f"{sentence}\n" for sentence in conflicts]
    parts.append(f"\nFragility: {line.fragility}\n")
    if line.leave_it and is_told:
        parts.append(f"\nIf it stays: {line.leave_it}")
    return Content.assemble(*parts)


def reading_of_whole(plan: Plan) -> Content:
    """Return stage, gates and notices of the whole specimen in words."""
    parts: list[Content | str | tuple[str, str]] = [
        ("Stage\n", "bold"),
        f"{stage_word(plan.stage)}\n",
    ]
    for notice in (*plan.refused, *plan.notices):
        parts.append((f"\n{NOTICE_SIGNS.get(notice.kind, notice.kind)}\n", "bold"))
        parts.append(f"{notice.text}\n")
    return Content.assemble(*parts)


def reading(plan: Plan, finding: str | None) -> Content:
    """Return how one finding is read, or what holds of the whole specimen, and the next step."""
    line = next((line for line in plan.findings if line.id == finding), None)
    if line is None:
        text = reading_of_whole(plan)
    else:
        conflicts = [item.sentence for item in plan.conflicts if item.finding == finding]
        text = reading_of(line, tuple(conflicts))
    step = plan.next_step()
    if step is None:
        return text
    return Content.assemble(text, "\n\n", ("Next step as it stands\n", "bold"), f"{step.name}\n")
