"""What an entry must state to be whole, beyond what its model asks; every gap is a fault."""

from __future__ import annotations

from collections.abc import Iterator

from triage.case.changes import new_case, new_finding
from triage.case.profile import Bench
from triage.engine.casefacts import Locate, facts_from
from triage.engine.consult import Consultant
from triage.engine.reading import Reading
from triage.engine.vocabulary import NONE, UNKNOWN
from triage.errors import Faults, TriageError, Where
from triage.knowledge.rules import Family
from triage.knowledge.signs import WorkedCase
from triage.knowledge.specimen import Deposit

# A deposit that fewer signs tell of could not be recognised unless it is named.
LEAST_SIGNS = 3
FINDING = "f1"


def incomplete(consultant: Consultant) -> list[TriageError]:
    """Return what is missing or does not hold in the deposits, each with file, line and mend."""
    faults: list[TriageError] = []
    for deposit in consultant.knowledge.deposits.values():
        faults += _bare(consultant, deposit)
        for index, case in enumerate(deposit.cases):
            try:
                faults += _unsettled(consultant, deposit, index, case)
            except Faults as unknown:
                faults += unknown.faults
            except TriageError as unknown:
                faults.append(unknown)
    return [*faults, *_out_of_reach(consultant)]


def _bare(consultant: Consultant, deposit: Deposit) -> Iterator[TriageError]:
    where = consultant.knowledge.where
    if deposit.id in deposit.confused_with:
        place = where("deposit", deposit.id, "confused_with")
        yield TriageError("it is confused with itself", place, "name what looks like it")
    if len(deposit.signs) < LEAST_SIGNS:
        message = f"{len(deposit.signs)} signs tell of it, fewer than {LEAST_SIGNS}"
        mend = "weigh more signs, for or against it"
        yield TriageError(message, where("deposit", deposit.id, "signs"), mend)


def readings_of(consultant: Consultant, case: WorkedCase, place: Locate) -> dict[str, Reading]:
    """Return the readings, by deposit, of a find of which just these answers are known.

    Raises
    ------
    TriageError: a zone, group, question or answer that the knowledge does not have.
    """
    found = new_finding(FINDING, case.zone, signs=dict(case.signs))
    record = new_case(
        "worked", "worked", taxon=case.taxon, answers=dict(case.specimen), findings=(found,)
    )
    facts = facts_from(record, Bench(), consultant.vocabulary, place)
    said = consultant.run_plain(Family.RECOGNISE, facts)
    return {r.deposit: r for r in consultant.recognised(facts, said, ()).readings}


def _place_of(consultant: Consultant, deposit: str, index: int) -> Locate:
    """Return what gives the place in a deposit's file for one in the record of a worked case."""

    def place(path: tuple[str | int, ...]) -> Where:
        inside = ("specimen", *path[1:]) if path[:1] == ("answers",) else path
        if path[:1] == ("findings",):
            inside = path[2:]
        return consultant.knowledge.where("deposit", deposit, "cases", index, *inside)

    return place


def _guards_in_reach(consultant: Consultant, readings: dict[str, Reading]) -> list[str]:
    least = consultant.knowledge.judgement.suspected.value
    return sorted(name for name in consultant.guards if readings[name].reach >= least)


def _unsettled(
    consultant: Consultant, deposit: Deposit, index: int, case: WorkedCase
) -> Iterator[TriageError]:
    """Yield what a worked case fails to do: settle its deposit, and rule the guards out."""
    place = _place_of(consultant, deposit.id, index)
    readings = readings_of(consultant, case, place)
    where, number = place(()), index + 1
    reading = readings.get(deposit.id)
    if reading is None or reading.standing != "settled":
        standing = reading.standing if reading else "open"
        message = f"case {number}: these answers leave it {standing}"
        yield TriageError(message, where, "settle it by more answers, or correct the weights")
    within = _guards_in_reach(consultant, readings) if deposit.guard == NONE else []
    if within:
        message = f"case {number}: these answers leave {', '.join(within)} possible"
        yield TriageError(message, where, "add the answers that rule it out")


def _out_of_reach(consultant: Consultant) -> Iterator[TriageError]:
    """Yield guards that nobody would think of before anything is answered."""
    knowledge = consultant.knowledge
    nothing = WorkedCase(zone=UNKNOWN, taxon=UNKNOWN, signs={})
    guards = [d for d in knowledge.deposits.values() if d.guard != NONE]
    if not guards:
        return
    readings = readings_of(consultant, nothing, _place_of(consultant, guards[0].id, 0))
    within = _guards_in_reach(consultant, readings)
    for deposit in guards:
        if deposit.id not in within:
            least = knowledge.judgement.suspected.value
            message = "it is guarded, yet no open question could still make it suspected"
            mend = f"give signs that speak for it weights that come to {least:g}"
            yield TriageError(message, knowledge.where("deposit", deposit.id, "signs"), mend)
