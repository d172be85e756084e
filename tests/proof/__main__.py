"""``python -m tests.proof sweep|mutations|faults|questions|coverage``: one proof in full.

The exit code is 0 if it holds, 2 if not or if the words or the rules are wrong, 130 if stopped.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from tests.proof import asking, coverage, mutations, needed, seeding, sweep
from triage import places
from triage.commands.common import Parser, print_json, progress_bar
from triage.engine.consult import Consultant
from triage.errors import TriageError
from triage.knowledge.load import load_knowledge

INTERRUPTED = 130


def at_least_one(word: str) -> int:
    """Return a word of the command line as a whole number above 0."""
    number = int(word) if word.isascii() and word.isdigit() else 0
    if number < 1:
        raise argparse.ArgumentTypeError(f'"{word}" is not a whole number above 0')
    return number


def build_parser() -> argparse.ArgumentParser:
    """Return the parser of the proofs."""
    parser = Parser(prog="python -m tests.proof", description="Prove the promises of the rules.")
    kinds = parser.add_subparsers(metavar="PROOF", required=True, parser_class=Parser)

    def proof(name: str, text: str, run: Callable[..., int], *, jobs: bool = True) -> Any:
        made = kinds.add_parser(name, help=text, description=text)
        made.set_defaults(run=run)
        made.add_argument("--rules", type=Path, metavar="DIR", help="rules folder to use instead")
        made.add_argument("--json", action="store_true", help="print JSON")
        if jobs:
            made.add_argument("--jobs", type=at_least_one, metavar="N", help="all cores by default")
        return made

    proof("sweep", "walk every ladder of every combination against every promise", run_sweep)
    text = "break the knowledge in many ways and count what is caught"
    broken = proof("mutations", text, run_mutations)
    broken.add_argument(
        "--each", type=at_least_one, default=12, metavar="N", help="most of one kind (default 12)"
    )
    text = "put faults of every class into copies of the rules and see that check finds each"
    faults = proof("faults", text, run_faults)
    faults.add_argument(
        "--count", type=at_least_one, default=200, metavar="N", help="how many (default 200)"
    )
    text = "count how many questions the next best order needs, on invented cases"
    asked = proof("questions", text, run_questions)
    asked.add_argument(
        "--count", type=at_least_one, default=200, metavar="N", help="how many (default 200)"
    )
    text = "count the rules and single conditions that the cases beside the rules reach"
    reached = proof("coverage", text, run_coverage, jobs=False)
    reached.add_argument(
        "--suggest", action="store_true", help="print a case for each condition that has none"
    )
    return parser


def _report(arguments: Any, started: float, found: Any) -> int:
    """Print what a proof found, as data or in lines; the exit code says whether it holds."""
    seconds = time.perf_counter() - started
    if arguments.json:
        print_json({**found.data(), "seconds": round(seconds, 1)})
    else:
        print("\n".join([*found.lines(), f"{seconds:.0f} seconds"]))
    return 0 if found.is_good() else 2


def run_sweep(arguments: Any) -> int:
    """Sweep all combinations against all promises."""
    start = time.perf_counter()
    with progress_bar("sweep") as progress:
        found = sweep.sweep_all(arguments.rules, arguments.jobs, progress)
    return _report(arguments, start, found)


def run_mutations(arguments: Any) -> int:
    """Break the knowledge and print the score."""
    start = time.perf_counter()
    with progress_bar("mutations") as progress:
        found = mutations.run_all(arguments.rules, arguments.each, arguments.jobs, progress)
    return _report(arguments, start, found)


def run_faults(arguments: Any) -> int:
    """Seed faults of every class and print how many were found."""
    start = time.perf_counter()
    with progress_bar("seeded faults") as progress:
        found = seeding.seed_all(arguments.rules, arguments.count, arguments.jobs, progress)
    return _report(arguments, start, found)


def run_questions(arguments: Any) -> int:
    """Ask invented cases to the end and print the share of the questions that was needed."""
    start = time.perf_counter()
    with progress_bar("questions") as progress:
        found = asking.measure_on_all_cores(
            arguments.rules, arguments.count, arguments.jobs, progress
        )
    return _report(arguments, start, found)


def run_coverage(arguments: Any) -> int:
    """Print how far the cases beside the rules reach."""
    consultant = Consultant(load_knowledge(arguments.rules))
    found, need = coverage.coverage_of(consultant), needed.needed_of(consultant)
    if arguments.json:
        print_json({**found.data(), **need.data()})
    else:
        print("\n".join([*found.lines(), *need.lines()]))
        for condition in found.missing if arguments.suggest else ():
            print(coverage.suggestion(consultant, condition))
    return 0 if found.is_whole() and not need.missing else 2


def main(words: Sequence[str] | None = None) -> int:
    """Run one proof; bad input and an interrupt become one line and an exit code."""
    try:
        arguments = build_parser().parse_args(words)
        arguments.rules = arguments.rules or places.rules_folder()
        code: int = arguments.run(arguments)
    except TriageError as fault:
        print(fault.line(), file=sys.stderr)
        return fault.exit_code
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return INTERRUPTED
    return code


if __name__ == "__main__":
    sys.exit(main())
