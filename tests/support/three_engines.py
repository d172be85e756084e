"""Three engines on the same generated cases: experta, the pure evaluator, and CLIPS."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from tests.support.case_gen import drawn
from tests.support.clips_engine import ClipsEngine, clips_engine
from tests.support.knowledge import consultant as shipped_consultant
from triage.case.models import Case
from triage.engine.casefacts import facts_from
from triage.engine.consult import Consultant, Runner
from triage.engine.vocabulary import UNKNOWN
from triage.knowledge.rules import Family

ENGINES = ("experta", "plain", "clips")


@dataclass
class Tally:
    cases: int = 0
    conclusions: Counter[str] = field(default_factory=Counter)
    fired: set[str] = field(default_factory=set)
    settled: int = 0
    differing: list[str] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        self.cases += other.cases
        self.conclusions += other.conclusions
        self.fired |= other.fired
        self.settled += other.settled
        self.differing += other.differing


def clips_engines(consultant: Consultant) -> dict[Family, ClipsEngine]:
    return {
        family: clips_engine(consultant.vocabulary, rules)
        for family, rules in consultant.normal.by_family.items()
    }


def runners(consultant: Consultant) -> dict[str, Runner]:
    """Return what runs one family of rules over facts, by the name of the engine.

    experta is not among them: it runs all families at once.
    """
    engines = clips_engines(consultant)
    return {
        "plain": consultant.run_plain,
        "clips": lambda family, facts: engines[family].consult(facts),
    }


def unplaced(case: Case) -> Case:
    """Return the case with no finding in a known place; the drawn ones all have theirs."""
    findings = [finding.model_copy(update={"zone": UNKNOWN}) for finding in case.findings]
    return case.model_copy(update={"findings": tuple(findings)})


def compare(seeds, consultant: Consultant | None = None) -> Tally:
    """Consult each seed's case with each engine: CLIPS and the function family by family on the
    same facts, experta in the one run in which every conclusion is a fact."""
    consultant = consultant or shipped_consultant()
    tally = Tally()
    runs = runners(consultant)
    for seed in seeds:
        case, bench = drawn(consultant, seed)
        if seed % 20 == 7:
            case = unplaced(case)

        def run(family, facts, seed=seed):
            answers = {name: engine(family, facts) for name, engine in runs.items()}
            if answers["plain"] != answers["clips"]:
                tally.differing.append(f"seed {seed}, family {family}")
            tally.conclusions[str(family)] += len(answers["plain"])
            tally.fired |= {c.rule for c in answers["plain"]}
            return answers["clips"]

        facts = facts_from(case, bench, consultant.vocabulary)
        done = consultant.consult_facts(facts, (), run)
        if consultant.chain(facts) != done:
            tally.differing.append(f"seed {seed}, the engine")
        tally.settled += sum(r.standing == "settled" for r in done.readings)
        tally.cases += 1
    return tally
