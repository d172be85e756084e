"""What a plan says beside its steps: of the air, the room, the files, and what is not told yet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from triage.case.entry import Record
from triage.case.fields import shown
from triage.case.models import Case
from triage.case.profile import Bench
from triage.exposure.day import DayLedger
from triage.plan.model import FindingLine, Notice, Step
from triage.plan.skeleton import CLEAN_STAGES, Skeleton


def room_notices(bench: Bench, steps: Sequence[Step]) -> Iterator[Notice]:
    """Yield whether others may be working in the room, where something reaches its air."""
    room = bench.room
    reaches = any(step.air and step.air.peak_mg_per_m3 for step in steps)
    if not reaches or (room.others == "none" and not room.ledger):
        return
    if room.ledger:
        text = (
            f"Others may work in {room.name or 'this room'}: what they record there counts in its "
            "air. What they use and do not record is not known; ask."
        )
    elif room.others == "some":
        text = (
            "Others work in this room, and what they use is not counted: ask before a bottle is "
            "opened, or name a folder that you share (room: ledger in the bench file)."
        )
    else:
        text = (
            "It is not said whether others work in this room (room: others in the bench file). "
            "What they use is not counted: ask before a bottle is opened."
        )
    yield Notice("air", text, "air-room")


def not_told(skeleton: Skeleton, findings: Sequence[FindingLine]) -> Iterator[Notice]:
    """Yield what rests because nobody can tell yet what it is, and how that is ended."""
    worked = {target for item in skeleton.items for target in (item.target, *item.also)}
    for finding in findings:
        if (
            finding.state == "unsettled"
            and finding.id not in worked
            and skeleton.stage in CLEAN_STAGES
        ):
            text = (
                f"{finding.zone_name}: it is not told yet what this is, and until then nothing is "
                "done to it. If no more can be seen of it, accept it as it is, with the reason."
            )
            yield Notice("look-again", text, "not-identified")


def unread_keys(what: str, record: Record) -> Iterator[Notice]:
    """Yield the keys of a file that nothing reads: they are kept, and say nothing to this plan."""
    named = [".".join(shown(step) for step in path) for path in record.unknown_keys()]
    if named:
        text = f"Kept in the {what} file, but not read: {', '.join(named)}."
        yield Notice("bench" if what == "bench" else "note", text, f"unread-{what}")


def missing_attempts(case: Case) -> Iterator[Notice]:
    """Yield the attempts that were recorded and are no longer in the file."""
    missing = case.missing_attempts()
    if missing:
        text = (
            f"No longer in the record: attempt {', '.join(missing)}. What was done then is not "
            "known to this plan; put it back from a copy, if there is one."
        )
        yield Notice("note", text, "missing-attempts")


def air_notices(day: DayLedger) -> Iterator[Notice]:
    """Yield what is not known of the air, and what is dated after the present moment."""
    if day.unknown:
        text = (
            f"What was released in the last 24 hours is not known: {'; '.join(day.unknown)}. It "
            "may be much: nothing that evaporates is offered until this is mended, or the file "
            "is moved out of the folder."
        )
        yield Notice("air", text, "air-unknown")
    if day.ahead:
        text = (
            f"Dated after the present moment: {'; '.join(day.ahead)}. It counts as released now; "
            "check the date and the clock of this machine."
        )
        yield Notice("air", text, "air-ahead")
