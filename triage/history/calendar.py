"""Due times as a calendar file (iCalendar, RFC 5545) for a phone or a desktop."""

from __future__ import annotations

import importlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from triage.errors import TriageError
from triage.history.benchday import BenchDay
from triage.history.watch import ChamberWatch

PRODUCT = "-//triage//bench day//EN"
REMINDER = timedelta(minutes=5)
LOOK_TIME = timedelta(minutes=5)


@dataclass(frozen=True, slots=True)
class Due:
    """Something to do at a time; ``uid`` stays the same when the day is planned anew."""

    uid: str
    title: str
    begins: datetime
    ends: datetime
    note: str = ""


def due_of_day(day: BenchDay) -> tuple[Due, ...]:
    """Return every stretch of work of a day, and the ends of dwells on later days."""
    found = [
        Due(
            f"{e.case}/{e.step}/{e.kind}/{day.midnight:%Y%m%d}",
            f"{e.case}: {e.name} ({e.kind})",
            _moment(day, e.begin_min),
            _moment(day, e.end_min),
            "" if e.amount_ml is None else f"{e.amount_ml:g} mL",
        )
        for e in day.plan.entries
    ]
    found += [
        Due(
            f"{e.case}/{e.step}/{e.kind}",
            f"{e.case}: {e.name} ({e.kind})",
            _moment(day, e.first_min),
            max(_moment(day, e.first_min) + LOOK_TIME, _moment(day, min(e.last_min, _A_WEEK_MIN))),
            "between these times; the later one is its stop time",
        )
        for e in day.plan.later
    ]
    return tuple(found)


_A_WEEK_MIN = 7 * 1440


def _moment(day: BenchDay, minute: int) -> datetime:
    return day.midnight + timedelta(minutes=minute)


def due_of_chambers(chambers: Iterable[ChamberWatch]) -> tuple[Due, ...]:
    """Return the looks into running chambers that are still to come."""
    return tuple(
        Due(
            f"{each.running.case}/{each.running.step}/look/{look:%Y%m%d%H%M}",
            f"{each.running.case}: look into {each.running.name}",
            look,
            look + LOOK_TIME,
            f"top up {', '.join(each.top_up)}; look for mould, drops and slack joints",
        )
        for each in chambers
        for look in each.looks
        if look > (each.looked or each.running.started)
    )


def calendar_text(due: Iterable[Due], now: datetime) -> bytes:
    """Return due times as an iCalendar file.

    Parameters
    ----------
    due what is due; the same uid twice stands once
    now present moment, the stamp of every entry

    Raises
    ------
    TriageError: the extra ``calendar`` is not installed.

    Source
    ------
    RFC 5545: UID, DTSTAMP and DTSTART for each event; times are written in UTC.
    """
    try:
        library: Any = importlib.import_module("icalendar")
    except ImportError:
        raise TriageError(
            "a calendar file needs one more package",
            mend='install it with: pip install "triage[calendar]"',
        ) from None
    made: Any = library.Calendar()
    made.add("prodid", PRODUCT)
    made.add("version", "2.0")
    for each in {item.uid: item for item in due}.values():
        event: Any = library.Event()
        event.add("uid", f"{each.uid}@triage")
        event.add("dtstamp", now.astimezone(UTC))
        event.add("dtstart", each.begins.astimezone(UTC))
        event.add("dtend", each.ends.astimezone(UTC))
        event.add("summary", each.title)
        if each.note:
            event.add("description", each.note)
        alarm: Any = library.Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", each.title)
        alarm.add("trigger", -REMINDER)
        event.add_component(alarm)
        made.add_component(event)
    content: bytes = made.to_ical()
    return content
