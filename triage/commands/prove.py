"""Commands that prove the promises: sweep every combination, break the knowledge on purpose."""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from triage.commands.common import (
    Arguments,
    Subparsers,
    command,
    print_json,
    progress_bar,
)


def add_commands(subparsers: Subparsers) -> None:
    """Add the commands of this module."""
    prove = command(
        subparsers, "prove", "check the safety promises over everything there is", "prove sweep"
    )
    kinds = prove.add_subparsers(title="what to prove", metavar="WHAT", dest="what", required=True)
    _add_sweep(kinds)
    _add_mutations(kinds)
    _add_faults(kinds)
    _add_coverage(kinds)
    _add_golden(kinds)


def _add_sweep(kinds: Subparsers) -> None:
    sweep = command(
        kinds,
        "sweep",
        "walk every ladder of every combination against every promise",
        "prove sweep --jobs 2",
        run_sweep,
        as_json=True,
    )
    _add_jobs(sweep)


def _add_mutations(kinds: Subparsers) -> None:
    mutations = command(
        kinds,
        "mutations",
        "break the knowledge in many ways and count what is caught",
        "prove mutations --each 12",
        run_mutations,
        as_json=True,
    )
    _add_jobs(mutations)
    mutations.add_argument(
        "--each",
        type=at_least_one,
        default=12,
        metavar="N",
        help="most mutations of one kind (default 12)",
    )
    mutations.add_argument(
        "--sweep",
        action="store_true",
        help="sweep, on a small scale, what only the second entry catches (long)",
    )


def _add_faults(kinds: Subparsers) -> None:
    faults = command(
        kinds,
        "faults",
        "put faults of every class into copies of the rules and see that the verifier finds each",
        "prove faults --count 200",
        run_faults,
        as_json=True,
    )
    _add_jobs(faults)
    faults.add_argument(
        "--count", type=at_least_one, default=200, metavar="N", help="how many (default 200)"
    )


def _add_coverage(kinds: Subparsers) -> None:
    coverage = command(
        kinds,
        "coverage",
        "count the rules and single conditions that the cases beside the rules reach",
        "prove coverage --suggest",
        run_coverage,
        as_json=True,
    )
    coverage.add_argument(
        "--suggest", action="store_true", help="print a case for each condition that has none"
    )


def _add_golden(kinds: Subparsers) -> None:
    golden = command(
        kinds,
        "golden",
        "hold the knowledge against its second entry, or write that anew after a review",
        "prove golden --write",
        run_golden,
    )
    golden.add_argument("--write", action="store_true", help="write what holds now")


def _add_jobs(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--jobs", type=at_least_one, metavar="N", help="processes; all cores by default"
    )


def at_least_one(word: str) -> int:
    """Return a word of the command line as a whole number above 0."""
    number = int(word) if word.isascii() and word.isdigit() else 0
    if number < 1:
        raise argparse.ArgumentTypeError(f'"{word}" is not a whole number above 0')
    return number


def _rules(arguments: Arguments) -> Path:
    from triage import places

    folder: Path = arguments.rules or places.rules_folder()
    return folder


def run_sweep(arguments: Arguments) -> int:
    """Sweep all combinations; the exit code is 2 if a promise is broken."""
    from triage.verify.sweep import promises, sweep_all

    start = time.perf_counter()
    with progress_bar("sweep") as progress:
        tally = sweep_all(_rules(arguments), arguments.jobs, progress)
    seconds = time.perf_counter() - start
    known = promises()
    broken = {name: count for name, count in sorted(tally.broken.items()) if count}
    if arguments.json:
        print_json(
            {
                "combinations": tally.combinations,
                "classes": tally.classes,
                "invariants": len(known),
                "walks": tally.walks,
                "outcomes": tally.outcomes,
                "plans": tally.plans,
                "steps": tally.steps,
                "seconds": round(seconds, 1),
                "checked": {i.name: tally.checked[i.name] for i in known},
                "broken": broken,
                "examples": tally.examples,
            }
        )
        return 2 if broken else 0
    for invariant in known:
        mark = "BROKEN" if invariant.name in broken else "holds"
        print(
            f"{mark:6} {tally.checked[invariant.name]:>9}  {invariant.name}: {invariant.sentence}"
        )
        for example in tally.examples.get(invariant.name, ()):
            print(f"         {example}")
    print(
        f"{tally.combinations} combinations in {tally.classes} classes that differ in more than "
        f"names, {len(known)} invariants, {seconds:.0f} seconds; "
        f"{tally.walks} different ladders walked with {tally.outcomes} outcomes, "
        f"{tally.plans} whole plans with {tally.steps} steps"
    )
    print(
        f"{sum(broken.values())} violations" + (f" of {len(broken)} invariants" if broken else "")
    )
    return 2 if broken else 0


def run_mutations(arguments: Arguments) -> int:
    """Break the knowledge and print the score; the exit code is 2 if it is below the promise."""
    from triage import places
    from triage.verify.mutations import run_all

    start = time.perf_counter()
    golden = places.golden_file()
    with progress_bar("mutations") as progress:
        score = run_all(
            _rules(arguments),
            golden,
            arguments.each,
            arguments.jobs,
            progress,
            sweeping=arguments.sweep,
        )
    seconds = time.perf_counter() - start
    if arguments.json:
        print_json({**score.data(), "seconds": round(seconds, 1)})
        return 0 if score.is_good() else 2
    for line in score.lines():
        print(line)
    print(f"{seconds:.0f} seconds")
    return 0 if score.is_good() else 2


def run_faults(arguments: Arguments) -> int:
    """Seed faults of every class and print how many were found; the exit code is 2 if not all."""
    from triage.verify.seeding import seed_all

    start = time.perf_counter()
    with progress_bar("seeded faults") as progress:
        found = seed_all(_rules(arguments), arguments.count, arguments.jobs, progress)
    seconds = time.perf_counter() - start
    if arguments.json:
        print_json({**found.data(), "seconds": round(seconds, 1)})
        return 0 if found.is_good() else 2
    for line in found.lines():
        print(line)
    print(f"{seconds:.0f} seconds")
    return 0 if found.is_good() else 2


def run_coverage(arguments: Arguments) -> int:
    """Print the coverage of the rule cases; the exit code is 2 if it is not whole."""
    from triage.engine.consult import Consultant
    from triage.knowledge.load import load_knowledge
    from triage.verify.coverage import coverage_of, suggestion
    from triage.verify.needed import needed_of

    consultant = Consultant(load_knowledge(_rules(arguments)))
    found, needed = coverage_of(consultant), needed_of(consultant)
    is_whole = found.is_whole() and not needed.missing
    if arguments.json:
        print_json({**found.data(), **needed.data()})
        return 0 if is_whole else 2
    for line in (*found.lines(), *needed.lines()):
        print(line)
    for condition in found.missing if arguments.suggest else ():
        print(suggestion(consultant, condition))
    return 0 if is_whole else 2


def run_golden(arguments: Arguments) -> int:
    """Compare the knowledge with its second entry, or write that anew."""
    from triage import places
    from triage.engine.consult import Consultant
    from triage.knowledge.load import load_knowledge
    from triage.verify.golden import differences, golden_text, load_golden

    folder = _rules(arguments)
    consultant = Consultant(load_knowledge(folder))
    path = places.golden_file()
    if arguments.write:
        path.write_text(golden_text(consultant), encoding="utf-8")
        print(f"written: {path}; review the difference before it is kept")
        return 0
    found = list(differences(consultant, load_golden(path)))
    for line in found:
        print(line)
    print(f"{len(found)} differences")
    return 2 if found else 0
