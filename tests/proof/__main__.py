"""``python -m tests.proof sweep|mutations|faults|coverage``: one proof in full.

The exit code is 0 if it holds, 2 if not or if the words or the rules are wrong, 130 if stopped.
"""

import argparse
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tests.proof import coverage, mutations, needed, seeding, sweep
from triage import places
from triage.commands.common import Parser, progress_bar
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


def pair(word: str) -> tuple[str, str]:
    """Return a word of the command line as a question and its answer."""
    question, equals, answer = word.partition("=")
    if not equals:
        raise argparse.ArgumentTypeError(f'"{word}" is not QUESTION=ANSWER')
    return question, answer


def build_parser() -> argparse.ArgumentParser:
    """Return the parser of the proofs."""
    parser = Parser(prog="python -m tests.proof", description="Prove the promises of the rules.")
    kinds = parser.add_subparsers(metavar="PROOF", required=True, parser_class=Parser)

    def proof(name: str, text: str, **defaults: Any) -> Any:
        made = kinds.add_parser(name, help=text, description=text)
        made.set_defaults(bar=name, **{"run": run_long, **defaults})
        made.add_argument("--rules", type=Path, metavar="DIR", help="rules folder to use instead")
        if "prove" in defaults:
            made.add_argument("--jobs", type=at_least_one, metavar="N", help="all cores by default")
        return made

    def number(made: Any, word: str, default: int, text: str) -> None:
        text = f"{text} (default {default})"
        made.add_argument(word, type=at_least_one, default=default, metavar="N", help=text)

    swept = proof(
        "sweep",
        "walk every ladder of every combination against every promise",
        prove=lambda given, bar: sweep.sweep_all(given.rules, given.jobs, bar, dict(given.told)),
    )
    text = "told of every specimen, in place of what leaves least in the way of work"
    swept.add_argument(
        "--told", nargs="+", type=pair, default=(), metavar="QUESTION=ANSWER", help=text
    )
    broken = proof(
        "mutations",
        "break the knowledge in many ways and count what is caught",
        prove=lambda given, bar: mutations.run_all(
            given.rules, given.each, given.jobs, bar, given.log
        ),
    )
    text = "file of verdicts; what stands there is not judged again"
    broken.add_argument("--log", type=Path, metavar="FILE", help=text)
    number(broken, "--each", 12, "most of one kind")
    faults = proof(
        "faults",
        "put faults of every class into copies of the rules and see that check finds each",
        prove=lambda given, bar: seeding.seed_all(given.rules, given.count, given.jobs, bar),
    )
    number(faults, "--count", 200, "how many")
    reached = proof(
        "coverage",
        "count the rules and single conditions that the cases beside the rules reach",
        run=run_coverage,
    )
    reached.add_argument(
        "--suggest", action="store_true", help="print a case for each condition that has none"
    )
    return parser


def run_long(arguments: Any) -> int:
    """Run a proof that takes its time, with a bar, and print what it found."""
    start = time.perf_counter()
    with progress_bar(arguments.bar) as progress:
        found = arguments.prove(arguments, progress)
    print("\n".join([*found.lines(), f"{time.perf_counter() - start:.0f} seconds"]))
    return 0 if found.is_good() else 2


def run_coverage(arguments: Any) -> int:
    """Print how far the cases beside the rules reach."""
    consultant = Consultant(load_knowledge(arguments.rules))
    found, need = coverage.coverage_of(consultant), needed.needed_of(consultant)
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
