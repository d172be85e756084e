"""Commands on the record: day, watch, looked, worked, history, usage, merge, bundle, unbundle."""

from __future__ import annotations

import argparse
import sys
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from triage.commands.common import Arguments, command, given, option, write_file
from triage.errors import TriageError

if TYPE_CHECKING:
    from triage.history.sharing import EntryResult
    from triage.service.workshop import Workshop

REFUSED_EXIT = 2
WORDS = ("case", "taxon", "method", "deposit", "zone", "agent", "outcome")


def _day(word: str) -> date:
    try:
        return date.fromisoformat(word)
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{word}" is not a day; write 2026-01-31') from None


def _minute(word: str) -> int:
    hour, sign, minute = word.partition(":")
    if hour.isdigit() and (not sign or minute.isdigit()):
        found = int(hour) * 60 + int(minute or 0)
        if found <= 24 * 60 and int(minute or 0) < 60:
            return found
    raise TriageError(f'"{word}" is not a time of the day', mend="write it as 9:00")


@command(
    "day --from 9:00 --until 17:30",
    option("case", "ids of the cases; the newest by default", nargs="*"),
    option("--from", "work begins; now if not said", dest="opens", metavar="TIME"),
    option("--until", "work ends; in the evening if not said", dest="closes", metavar="TIME"),
    option("--most", "most cases taken if none is named", type=int, default=60),
    option("--ics", "write due times as a calendar file", type=Path, metavar="FILE"),
    as_json=True,
)
def run_day(arguments: Arguments) -> None:
    """Plan the bench day over many cases."""
    from triage.history.calendar import due_of_day
    from triage.history.daytypes import sessions_of
    from triage.service.acts import bench_day, hours_from
    from triage.show.blocks import Line
    from triage.show.record import day_blocks, day_head

    workshop = arguments.workshop(arguments.case[0] if arguments.case else None)
    said = (None if word is None else _minute(word) for word in (arguments.opens, arguments.closes))
    hours = hours_from(workshop.clock(), *said)
    if hours.opens_min >= hours.closes_min:
        raise TriageError("work ends before it begins", mend="give --from before --until")
    if arguments.most < 1:
        raise TriageError(f"--most is {arguments.most}", mend="take at least one case")
    day = bench_day(workshop, arguments.case, hours, arguments.most)
    if arguments.ics:
        _write_calendar(arguments.ics, due_of_day(day), workshop)
    content = {
        "midnight": day.midnight.isoformat(),
        **asdict(day.plan),
        "sessions": sessions_of(day.plan),
    }
    arguments.show(content, lambda: (Line(f"bench day {day_head(day)}"), *day_blocks(day)))


def _write_calendar(path: Path, due: Any, workshop: Workshop) -> None:
    from triage.history.calendar import calendar_text

    _write(path, calendar_text(due, workshop.clock()))


def _write(path: Path, content: bytes) -> None:
    write_file(path, content)
    print(f"written: {path}", file=sys.stderr)


@command(
    "watch --ics looks.ics",
    option("--ics", "write looks as a calendar file", type=Path, metavar="FILE"),
    as_json=True,
)
def run_watch(arguments: Arguments) -> None:
    """Show the running chambers."""
    from triage.history.calendar import due_of_chambers
    from triage.service.acts import running_chambers
    from triage.show.record import chamber_blocks

    workshop = arguments.workshop()
    chambers = running_chambers(workshop)
    if arguments.ics:
        _write_calendar(arguments.ics, due_of_chambers(chambers), workshop)
    arguments.show(chambers, lambda: chamber_blocks(chambers))


@command(
    'looked beetle-07 --note "topped up water"',
    option("--note", "what was seen or topped up", default=""),
    on_case=True,
)
def run_looked(arguments: Arguments) -> None:
    """Record a look into the chamber of a case."""
    from triage.history.watch import chambers_of
    from triage.service.acts import note_look
    from triage.show.record import chamber_blocks

    workshop = arguments.workshop(arguments.case)
    case = note_look(workshop, arguments.case, arguments.note)
    chambers = chambers_of(workshop.knowledge, workshop.bench, case, workshop.clock())
    arguments.show(chambers, lambda: chamber_blocks(chambers))


@command(
    "worked wasp-02 --accept f1-blot-dry",
    option("case", "id or file of a case; the whole record without", nargs="?"),
    option("--accept", "skip this rung as suggested", metavar="STEP"),
    as_json=True,
)
def run_worked(arguments: Arguments) -> None:
    """Show how often methods worked here, and rungs that may be skipped."""
    from triage.history.table import Filter
    from triage.plan.names import own_record
    from triage.service import acts
    from triage.show.blocks import Line
    from triage.show.compared import attempt_photo_blocks, method_photo_blocks
    from triage.show.plan import skip_blocks
    from triage.show.record import evidence_blocks

    if arguments.case is None:
        if arguments.accept:
            raise TriageError("--accept needs a case", mend="name the case before it")
        workshop = arguments.workshop()
        evidence = workshop.folder_record.evidence()
        arguments.show(
            tuple(evidence.all_groups()),
            lambda: (
                *evidence_blocks(evidence),
                *method_photo_blocks(acts.attempts_on_record(workshop, Filter())),
            ),
        )
        return
    if arguments.accept:
        acts.accept_suggestion(arguments.workshop(arguments.case), arguments.case, arguments.accept)
        print(f"recorded: {arguments.accept} is skipped", file=sys.stderr)
    workshop, case = arguments.opened()
    plan = workshop.plan(case)
    skips = acts.suggestions_for(workshop, case, plan)
    steps = [{"step": step.id, "evidence": own_record(step)} for step in plan.steps]
    told = [f"{each['step']}: {each['evidence'] or 'nothing on record'}" for each in steps]
    arguments.show(
        {"steps": steps, "suggestions": skips},
        lambda: (
            *(Line(line) for line in told),
            *skip_blocks(skips, case.id),
            *attempt_photo_blocks(case),
        ),
    )


@command(
    "history --method ethanol-70-brush --since 2026-01-01 --csv attempts.csv",
    *(
        option(f"--{name}", f"only this {text}")
        for name, text in zip(WORDS, ("id of a case", "taxon group", *WORDS[2:]), strict=True)
    ),
    option("--since", "from this day on (2026-01-31)", type=_day, metavar="DAY"),
    option("--until", "up to this day", type=_day, metavar="DAY"),
    option("--word", "word in note or observation", action="append", default=[], dest="words"),
    option("--photos", "list photos before and after", action="store_true", dest="has_photos"),
    option("--csv", "write CSV; - prints it", metavar="FILE"),
    as_json=True,
)
def run_history(arguments: Arguments) -> None:
    """Filter and export the attempts on record."""
    from triage.history import table
    from triage.service.acts import attempts_on_record
    from triage.show.record import history_blocks, photo_blocks

    workshop = arguments.workshop()
    chosen = given(arguments, table.Filter, words=tuple(arguments.words))
    rows = attempts_on_record(workshop, chosen)
    if arguments.csv == "-":
        sys.stdout.write(table.history_csv(rows))
    elif arguments.csv:
        _write(Path(arguments.csv), table.history_csv(rows).encode("utf-8"))
    elif arguments.has_photos and not arguments.json:
        arguments.show((), lambda: photo_blocks(table.photo_pairs(rows)))
    else:
        arguments.show(rows, lambda: history_blocks(rows, workshop.knowledge))


@command("usage", as_json=True)
def run_usage(arguments: Arguments) -> None:
    """Show stock left, and what evaporated by agent and month."""
    from triage.service.acts import used_up
    from triage.show.record import usage_blocks

    months, stock = used_up(arguments.workshop())
    content = {"months": months, "stock": stock}
    arguments.show(content, lambda: usage_blocks(months, stock))


@command(
    "merge usb/cases",
    option("folder", "folder to take cases from; it is only read", type=Path),
    as_json=True,
)
def run_merge(arguments: Arguments) -> int:
    """Merge another folder of cases into this one."""
    from triage.history.sharing import merge_folders
    from triage.service.acts import usable_here

    workshop = arguments.workshop()
    found = merge_folders(workshop.cases, arguments.folder, check=usable_here(workshop))
    return _print_results(arguments, found)


@command(
    "bundle wasp-02 --to wasp-02.zip",
    option("case", "ids of the cases", nargs="+"),
    option("--to", "zip file to write", type=Path, required=True, metavar="FILE"),
    as_json=True,
)
def run_bundle(arguments: Arguments) -> int:
    """Write cases with their photos into one file."""
    from triage.history.bundle import write_bundle

    workshop = arguments.workshop(arguments.case[0])
    for case in arguments.case:
        workshop.path_of(case)
    names = [Path(case).stem if case.endswith(".yaml") else case for case in arguments.case]
    results = write_bundle(workshop.cases, names, arguments.to)
    print(f"written: {arguments.to}", file=sys.stderr)
    return _print_results(arguments, results)


@command(
    "unbundle wasp-02.zip",
    option("file", "zip file that triage bundle wrote", type=Path),
    as_json=True,
)
def run_unbundle(arguments: Arguments) -> int:
    """Bring the cases of a bundle in."""
    from triage.history.bundle import read_bundle
    from triage.service.acts import usable_here

    workshop = arguments.workshop()
    found = read_bundle(arguments.file, workshop.cases, check=usable_here(workshop))
    return _print_results(arguments, found)


def _print_results(arguments: Arguments, results: tuple[EntryResult, ...]) -> int:
    from triage.show.record import result_blocks

    arguments.show(results, lambda: result_blocks(results))
    return REFUSED_EXIT if any(each.standing == "refused" for each in results) else 0
