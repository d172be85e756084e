"""The bench by questions, health first: what is not known counts as the worst."""

from __future__ import annotations

from triage.case.profile import BENCH_FILE, Bench
from triage.errors import TriageError, did_you_mean
from triage.knowledge.book import Knowledge
from triage.plain.dialogue import Dialogue
from triage.service.benchasked import ASKED, changed_bench
from triage.service.workshop import Workshop


def ask_bench(ask: Dialogue, workshop: Workshop) -> None:
    """Ask for the whole bench and write it once, when all is answered."""
    ask.say("Enter keeps what is shown; the word stop ends without writing.")
    bench = _health(ask, workshop.bench, workshop.knowledge)
    bench = _stock(ask, _room(ask, bench), workshop.knowledge)
    workshop.save_bench(bench)
    ask.say(f"written: {workshop.bench_path or workshop.cases / BENCH_FILE}")


def _health(ask: Dialogue, bench: Bench, knowledge: Knowledge) -> Bench:
    """Return the bench with the circumstances of person and room; not known counts as yes."""
    ask.say("", "About the people and the room: what is not known counts as yes.")
    kept = []
    for entry in knowledge.circumstances.values():
        now = "yes" if entry.id in bench.circumstances else ""
        asked = f"{entry.ask} yes, no or u{f' ({now})' if now else ''}"
        while (word := ask.listen(asked) or now) not in ("yes", "no", "u"):
            ask.say("write yes, no, or u if it is not known")
        if word != "no":
            kept.append(entry.id)
    return bench.model_copy(update={"circumstances": tuple(kept)})


def _room(ask: Dialogue, bench: Bench) -> Bench:
    for each in ASKED:
        value = each.value(bench)
        if each.choices:
            ask.say("", *(f"  {key}: {text}" for key, text in each.choices if key != text))
        words = f" [{', '.join(key for key, _ in each.choices)}]" if each.choices else ""
        while True:
            word = ask.listen(f"{each.ask}{words} ({value or each.empty})")
            if word and each.choices and word not in dict(each.choices):
                mend = did_you_mean(word, [key for key, _ in each.choices])
                ask.fault(TriageError(f'unknown answer "{word}"', mend=mend))
                continue
            try:
                bench = changed_bench(bench, each.path, word) if word else bench
                break
            except TriageError as fault:
                ask.fault(fault)
    return bench


def _stock(ask: Dialogue, bench: Bench, knowledge: Knowledge) -> Bench:
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
            agent, _, strength = word.partition(" ")
            knowledge.require("agent", agent)
            bench = changed_bench(bench, ("stock", "new"), {"agent": agent, "strength": strength})
        except TriageError as fault:
            ask.fault(fault)
