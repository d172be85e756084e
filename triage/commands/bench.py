"""The command that makes a bench by questions."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from triage.commands.common import Arguments, command, one_of, workshop_of
from triage.errors import TriageError

if TYPE_CHECKING:
    from triage.case.profile import Bench
    from triage.knowledge.book import Knowledge
    from triage.plain.dialogue import Dialogue

NOT_DONE = "nothing was written: not all questions were answered"


@command("bench")
def run_bench(arguments: Arguments) -> None:
    """Make or change the bench by questions: health first, then room, air and stock."""
    from triage.case.profile import BENCH_FILE
    from triage.plain.dialogue import Dialogue, Stopped

    workshop = workshop_of(arguments)
    path = workshop.bench_path or arguments.bench or workshop.cases / BENCH_FILE
    workshop.bench_path = path
    ask = Dialogue(sys.stdin, sys.stdout)
    ask.say("Enter keeps what is shown; the word stop ends without writing.")
    try:
        bench = _health(ask, workshop.bench, workshop.knowledge)
        bench = _stock(ask, _room(ask, bench), workshop.knowledge)
    except Stopped:
        raise TriageError(NOT_DONE, mend="begin again: triage bench") from None
    workshop.save_bench(bench)
    ask.say(f"written: {path}")


def _health(ask: Dialogue, bench: Bench, knowledge: Knowledge) -> Bench:
    """Return the bench with the circumstances of person and room; not known counts as yes."""
    ask.say("", "About the people and the room: what is not known counts as yes.")
    kept = []
    for entry in knowledge.circumstances.values():
        now = "yes" if entry.id in bench.circumstances else ""
        if _yes_or_no(ask, entry.ask, now):
            kept.append(entry.id)
    return bench.model_copy(update={"circumstances": tuple(kept)})


def _yes_or_no(ask: Dialogue, question: str, now: str) -> bool:
    while True:
        word = ask.listen(f"{question} yes, no or u{f' ({now})' if now else ''}") or now
        if word in ("yes", "no", "u"):
            return word != "no"
        ask.say("write yes, no, or u if it is not known")


def _room(ask: Dialogue, bench: Bench) -> Bench:
    from triage.service.benchasked import ASKED, changed_bench

    for each in ASKED:
        value = each.value(bench)
        if each.choices:
            ask.say("", *(f"  {key}: {text}" for key, text in each.choices if key != text))
        words = f" [{', '.join(key for key, _ in each.choices)}]" if each.choices else ""
        while True:
            word = ask.listen(f"{each.ask}{words} ({value or each.empty})")
            try:
                if word and each.choices:
                    one_of(word, [key for key, _ in each.choices], "answer")
                bench = changed_bench(bench, each.path, word) if word else bench
                break
            except TriageError as fault:
                ask.fault(fault)
    return bench


def _stock(ask: Dialogue, bench: Bench, knowledge: Knowledge) -> Bench:
    from triage.service.benchasked import changed_bench

    for bottle in bench.stock:
        strength = "strength not known" if bottle.strength is None else f"{bottle.strength:g} %"
        ask.say(f"  in stock: {bottle.agent}, {strength}")
    while True:
        word = ask.listen(
            "Another bottle: agent and strength in percent, as ethanol 96 (Enter: no more)"
        )
        if not word:
            return bench
        try:
            knowledge.require("agent", word.split()[0])
            bench = changed_bench(bench, ("stock", "new"), word)
        except TriageError as fault:
            ask.fault(fault)
