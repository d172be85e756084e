"""A case and a bench as facts: one wide fact each, every field present, ``unknown`` included."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.facts import Fact
from triage.engine.vocabulary import NONE, UNKNOWN, Vocabulary
from triage.errors import TriageError, Where, did_you_mean, raise_faults

SPECIMEN = "specimen"
# The group of the animal: a field of the specimen, asked like a question.
TAXON = "taxon"
BENCH = "bench"
WORDS = frozenset({"zone", "taxon", "side", "named"})
Locate = Callable[[tuple[str | int, ...]], Where]


def _filled(vocabulary: Vocabulary, kind: str, known: Mapping[str, str]) -> dict[str, str]:
    return {
        name: known.get(name, UNKNOWN if slot.askable else NONE)
        for name, slot in vocabulary.kinds[kind].items()
        if (kind, name) not in vocabulary.derived
    }


class _Checker:
    """Takes over answers that the knowledge has, and notes the others as faults."""

    def __init__(self, vocabulary: Vocabulary, locate: Locate) -> None:
        self.kinds = vocabulary.kinds
        self.locate = locate
        self.faults: list[TriageError] = []

    def take(
        self, kind: str, given: Mapping[str, str], path: tuple[str | int, ...]
    ) -> dict[str, str]:
        """Return the answers that are known questions with known answers."""
        slots = self.kinds[kind]
        good: dict[str, str] = {}
        for name, value in given.items():
            slot = slots.get(name)
            if slot is None or (not slot.askable and name != "named"):
                known = [n for n, s in slots.items() if s.askable]
                mend = did_you_mean(name, known)
                self.faults.append(
                    TriageError(f'unknown question "{name}"', self.locate((*path, name)), mend)
                )
            elif value != UNKNOWN and value not in (slot.values or ()):
                mend = did_you_mean(value, (*(slot.values or ()), UNKNOWN))
                what = (
                    f'unknown {name} "{value}"'
                    if name in WORDS
                    else f'"{value}" does not answer {name}'
                )
                self.faults.append(TriageError(what, self.locate((*path, name)), mend))
            else:
                good[name] = value
        return good


def nowhere(path: tuple[str | int, ...]) -> Where:
    """Return a place without file or line, for a case that was never in a file."""
    return Where(entry=" ".join(str(step) for step in path))


def bench_fields(bench: Bench, vocabulary: Vocabulary) -> dict[str, str]:
    """Return what rules read of a bench: the best of its room and of what it owns.

    A hood among the equipment counts; the air is judged by the room's control alone, the less
    favourable one.
    """
    owned = [vocabulary.counts.get(e, {}) for e in bench.equipment if e not in bench.lacking]
    fields = {}
    for name, slot in vocabulary.kinds[BENCH].items():
        ranked = (UNKNOWN, *(slot.values or ()))
        told = bench.room.control if name == "control" else NONE
        fields[name] = max({told, *(o[name] for o in owned if name in o)}, key=ranked.index)
    return fields


def facts_from(
    case: Case, bench: Bench, vocabulary: Vocabulary, locate: Locate = nowhere
) -> tuple[Fact, ...]:
    """Return the facts of a case and a bench before anything is concluded.

    ``locate`` gives the place in the case file for a path of keys and list indexes.

    Raises
    ------
    TriageError: an answer, zone, taxon or deposit that the knowledge does not have; all of them.
    """
    checker = _Checker(vocabulary, locate)
    answers = checker.take(SPECIMEN, case.answers, ("answers",))
    answers |= checker.take(SPECIMEN, {"taxon": case.taxon}, ())
    facts = [
        Fact(SPECIMEN, SPECIMEN, _filled(vocabulary, SPECIMEN, answers)),
        Fact(BENCH, BENCH, bench_fields(bench, vocabulary)),
    ]
    doubted = case.in_doubt()
    for index, finding in enumerate(case.findings):
        given = {"zone": finding.zone}
        if finding.side is not None:
            given["side"] = finding.side
        if finding.named is not None:
            given["named"] = finding.named
        signs = checker.take("finding", given, ("findings", index))
        signs |= checker.take("finding", finding.signs, ("findings", index, "signs"))
        # Told in two ways is not told: nothing rests on it until it is answered once more.
        signs = {q: UNKNOWN if (finding.id, q) in doubted else a for q, a in signs.items()}
        if finding.is_clean:
            signs = {**vocabulary.clean, **signs}
        signs["id"] = finding.id
        if finding.accepted:
            signs["accepted"] = "yes"
        facts.append(Fact("finding", finding.id, _filled(vocabulary, "finding", signs)))
    raise_faults(checker.faults)
    return tuple(facts)
