"""Commands on the record: day, watch, looked, worked, history, usage, merge, bundle, unbundle."""

from __future__ import annotations

import argparse
import sys
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from triage.commands.common import (
    Arguments,
    Subparsers,
    command,
    print_json,
    workshop_of,
)
from triage.errors import TriageError

if TYPE_CHECKING:
    from triage.history.daytypes import Hours
    from triage.history.sharing import EntryResult
    from triage.service import Workshop

REFUSED_EXIT = 2


def add_commands(subparsers: Subparsers) -> None:
    """Add the commands of this module."""
    day = command(
        subparsers,
        "day",
        "plan the bench day over many cases",
        "day --from 9:00 --until 17:30",
        run_day,
        as_json=True,
    )
    day.add_argument("case", nargs="*", help="ids of the cases; the newest by default")
    day.add_argument("--from", dest="opens", default="9:00", metavar="TIME", help="work begins")
    day.add_argument("--until", dest="closes", default="18:00", metavar="TIME", help="work ends")
    day.add_argument("--most", type=int, default=60, help="most cases taken if none is named")
    day.add_argument("--ics", type=Path, metavar="FILE", help="write due times as a calendar file")

    watch = command(
        subparsers,
        "watch",
        "show the running chambers",
        "watch --ics looks.ics",
        run_watch,
        as_json=True,
    )
    watch.add_argument("--ics", type=Path, metavar="FILE", help="write looks as a calendar file")

    looked = command(
        subparsers,
        "looked",
        "record a look into the chamber of a case",
        'looked beetle-07 --note "topped up water"',
        run_looked,
        on_case=True,
    )
    looked.add_argument("--note", default="", help="what was seen or topped up")

    worked = command(
        subparsers,
        "worked",
        "show how often methods worked here, and rungs that may be skipped",
        "worked wasp-02 --accept f1-blot-dry",
        run_worked,
        as_json=True,
    )
    worked.add_argument("case", nargs="?", help="id or file of a case; the whole record without")
    worked.add_argument("--accept", metavar="STEP", help="skip this rung as suggested")
    _add_history(subparsers)
    _add_sharing(subparsers)


def _add_history(subparsers: Subparsers) -> None:
    history = command(
        subparsers,
        "history",
        "filter and export the attempts on record",
        "history --method ethanol-70-brush --since 2026-01-01 --csv attempts.csv",
        run_history,
        as_json=True,
    )
    for name, text in (
        ("case", "id of the case"),
        ("taxon", "taxon group"),
        ("method", "method"),
        ("deposit", "deposit"),
        ("zone", "zone"),
        ("agent", "agent"),
        ("outcome", "outcome"),
    ):
        history.add_argument(f"--{name}", help=f"only this {text}")
    history.add_argument("--since", type=_day, metavar="DAY", help="from this day on (2026-01-31)")
    history.add_argument("--until", type=_day, metavar="DAY", help="up to this day")
    history.add_argument("--word", action="append", default=[], help="word in note or observation")
    history.add_argument("--photos", action="store_true", help="list photos before and after")
    history.add_argument("--csv", metavar="FILE", help="write CSV; - prints it")

    command(
        subparsers,
        "usage",
        "show stock left, and what evaporated by agent and month",
        "usage",
        run_usage,
        as_json=True,
    )


def _add_sharing(subparsers: Subparsers) -> None:
    merge = command(
        subparsers,
        "merge",
        "merge another folder of cases into this one",
        "merge usb/cases",
        run_merge,
        as_json=True,
    )
    merge.add_argument("folder", type=Path, help="folder to take cases from; it is only read")

    bundle = command(
        subparsers,
        "bundle",
        "write cases with their photos into one file",
        "bundle wasp-02 --to wasp-02.zip",
        run_bundle,
        as_json=True,
    )
    bundle.add_argument("case", nargs="+", help="ids of the cases")
    bundle.add_argument("--to", type=Path, required=True, metavar="FILE", help="zip file to write")

    unbundle = command(
        subparsers,
        "unbundle",
        "bring the cases of a bundle in",
        "unbundle wasp-02.zip",
        run_unbundle,
        as_json=True,
    )
    unbundle.add_argument("file", type=Path, help="zip file that triage bundle wrote")


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


def _hours(arguments: Arguments) -> Hours:
    from triage.history.daytypes import Hours

    opens, closes = _minute(arguments.opens), _minute(arguments.closes)
    if opens >= closes:
        raise TriageError("work ends before it begins", mend="give --from before --until")
    return Hours(opens, closes)


def run_day(arguments: Arguments) -> int:
    """Print the bench day, and write it as a calendar file if asked."""
    from triage.history.calendar import due_of_day
    from triage.history.daytypes import sessions_of
    from triage.history.words import day_text
    from triage.service.acts import bench_day

    hours = _hours(arguments)
    workshop = workshop_of(arguments, arguments.case[0] if arguments.case else None)
    if arguments.most < 1:
        raise TriageError(f"--most is {arguments.most}", mend="take at least one case")
    day = bench_day(workshop, arguments.case, hours, arguments.most)
    if arguments.ics:
        _write_calendar(arguments.ics, due_of_day(day), workshop)
    if arguments.json:
        plan = asdict(day.plan)
        sessions = [asdict(session) for session in sessions_of(day.plan)]
        print_json({"midnight": day.midnight.isoformat(), **plan, "sessions": sessions})
    else:
        sys.stdout.write(day_text(day))
    return 0


def _write_calendar(path: Path, due: Any, workshop: Workshop) -> None:
    from triage.history.calendar import calendar_text

    _write(path, calendar_text(due, workshop.clock()))


def _write(path: Path, content: bytes) -> None:
    try:
        path.write_bytes(content)
    except OSError as fault:
        raise TriageError(
            f"{path} could not be written: {fault.strerror}", mend="check the folder and its rights"
        ) from None
    print(f"written: {path}", file=sys.stderr)


def run_watch(arguments: Arguments) -> int:
    """Print the running chambers."""
    from triage.history.calendar import due_of_chambers
    from triage.history.words import chambers_text
    from triage.service.acts import running_chambers

    workshop = workshop_of(arguments)
    chambers = running_chambers(workshop)
    if arguments.ics:
        _write_calendar(arguments.ics, due_of_chambers(chambers), workshop)
    if arguments.json:
        print_json([asdict(each) for each in chambers])
    else:
        sys.stdout.write(chambers_text(chambers))
    return 0


def run_looked(arguments: Arguments) -> int:
    """Record a look into a chamber and print when the next one is due."""
    from triage.history.watch import chambers_of
    from triage.history.words import chambers_text
    from triage.service.acts import note_look

    workshop = workshop_of(arguments, arguments.case)
    case = note_look(workshop, arguments.case, arguments.note)
    chambers = chambers_of(workshop.knowledge, workshop.bench, case, workshop.clock())
    sys.stdout.write(chambers_text(chambers))
    return 0


def run_worked(arguments: Arguments) -> int:
    """Print how often methods worked here; with a case, each rung and what may be skipped."""
    from triage.service.acts import accept_suggestion, evidence_of

    workshop = workshop_of(arguments, arguments.case)
    if arguments.case is None:
        if arguments.accept:
            raise TriageError("--accept needs a case", mend="name the case before it")
        return _print_record(evidence_of(workshop), as_json=arguments.json)
    if arguments.accept:
        accept_suggestion(workshop, arguments.case, arguments.accept)
        print(f"recorded: {arguments.accept} is skipped", file=sys.stderr)
    return _print_case_record(workshop, arguments.case, as_json=arguments.json)


def _print_record(evidence: Any, *, as_json: bool) -> int:
    from triage.history.words import evidence_text

    if as_json:
        print_json([asdict(group) for group in evidence.all_groups()])
    else:
        sys.stdout.write(evidence_text(evidence))
    return 0


def _print_case_record(workshop: Workshop, name: str, *, as_json: bool) -> int:
    from triage.history.advice import skip_lines
    from triage.plan.ownrecord import own_record
    from triage.service.acts import suggestions_for

    case = workshop.load(name)
    plan = workshop.plan(case)
    suggestions = suggestions_for(workshop, case, plan)
    if as_json:
        steps = [{"step": step.id, "evidence": own_record(step)} for step in plan.steps]
        print_json({"steps": steps, "suggestions": [asdict(each) for each in suggestions]})
        return 0
    for step in plan.steps:
        print(f"{step.id}: {own_record(step) or 'nothing on record'}")
    for line in skip_lines(suggestions, case.id):
        print(line)
    return 0


def run_history(arguments: Arguments) -> int:
    """Print or export the attempts on record."""
    from triage.history import table, words
    from triage.service.acts import attempts_on_record

    workshop = workshop_of(arguments)
    chosen = table.Filter(
        case=arguments.case,
        taxon=arguments.taxon,
        method=arguments.method,
        deposit=arguments.deposit,
        zone=arguments.zone,
        agent=arguments.agent,
        outcome=arguments.outcome,
        since=arguments.since,
        until=arguments.until,
        words=tuple(arguments.word),
        has_photos=arguments.photos,
    )
    rows = attempts_on_record(workshop, chosen)
    if arguments.csv == "-":
        sys.stdout.write(table.history_csv(rows))
    elif arguments.csv:
        _write(Path(arguments.csv), table.history_csv(rows).encode("utf-8"))
    elif arguments.json:
        print_json(table.history_data(rows))
    elif arguments.photos:
        sys.stdout.write(words.photos_text(table.photo_pairs(rows)))
    else:
        sys.stdout.write(words.history_text(rows))
    return 0


def run_usage(arguments: Arguments) -> int:
    """Print stock left and what evaporated."""
    from triage.history.words import usage_text
    from triage.service.acts import used_up

    months, stock = used_up(workshop_of(arguments))
    if arguments.json:
        content = {"months": [asdict(m) for m in months], "stock": [asdict(s) for s in stock]}
        print_json(content)
    else:
        sys.stdout.write(usage_text(months, stock))
    return 0


def run_merge(arguments: Arguments) -> int:
    """Merge another folder into this one."""
    from triage.history.sharing import merge_folders
    from triage.service.acts import usable_here

    workshop = workshop_of(arguments)
    found = merge_folders(workshop.cases, arguments.folder, check=usable_here(workshop))
    return _print_results(found, as_json=arguments.json)


def run_bundle(arguments: Arguments) -> int:
    """Write cases with their photos into one file."""
    from triage.history.bundle import write_bundle

    workshop = workshop_of(arguments, arguments.case[0])
    for case in arguments.case:
        workshop.path_of(case)
    names = [Path(case).stem if case.endswith(".yaml") else case for case in arguments.case]
    results = write_bundle(workshop.cases, names, arguments.to)
    print(f"written: {arguments.to}", file=sys.stderr)
    return _print_results(results, as_json=arguments.json)


def run_unbundle(arguments: Arguments) -> int:
    """Bring the cases of a bundle in."""
    from triage.history.unbundle import read_bundle
    from triage.service.acts import usable_here

    workshop = workshop_of(arguments)
    found = read_bundle(arguments.file, workshop.cases, check=usable_here(workshop))
    return _print_results(found, as_json=arguments.json)


def _print_results(results: tuple[EntryResult, ...], *, as_json: bool) -> int:
    from triage.history.words import results_text

    if as_json:
        print_json([asdict(each) for each in results])
    else:
        sys.stdout.write(results_text(results))
    return REFUSED_EXIT if any(each.standing == "refused" for each in results) else 0
