"""How many questions the next-best order needs, against asking all of them in file order.

Invented cases with a hidden truth are asked until no answer could change the next step; the plan
must then begin with the same step as with every question answered.
"""

import random
from dataclasses import dataclass
from statistics import mean

from triage.case.changes import new_case, new_finding, with_answers, with_sign, with_taxon
from triage.case.models import Case
from triage.engine.casefacts import SPECIMEN, TAXON
from triage.engine.facts import Fact
from triage.engine.vocabulary import UNKNOWN
from triage.explain.likelihood import Likelihood
from triage.explain.nextquestion import ranked_questions
from triage.explain.sweep import Lookahead, Place, Sweep

# Shares of an invented case: how often a sign can be told, and how often intake is as it should be.
TOLD = 0.7
AS_IT_SHOULD_BE = 0.85
MOST_FINDINGS = 3


@dataclass(frozen=True, slots=True)
class Asked:
    """One case asked to the end: questions asked, questions there are, and whether it agreed."""

    asked: int
    there_are: int
    same_step: bool


@dataclass(frozen=True, slots=True)
class Measured:
    """All cases of one measurement."""

    cases: tuple[Asked, ...]

    @property
    def share(self) -> float:
        """Return the mean share of the questions that had to be asked."""
        return sum(c.asked for c in self.cases) / sum(c.there_are for c in self.cases)

    @property
    def agreeing(self) -> int:
        """Return how many cases ended with the same first step."""
        return sum(c.same_step for c in self.cases)

    def line(self) -> str:
        """Return the result in one sentence."""
        asked, there_are = (mean(getattr(c, n) for c in self.cases) for n in ("asked", "there_are"))
        most = max(c.asked / c.there_are for c in self.cases)
        return (
            f"{len(self.cases)} invented cases: {asked:.1f} questions asked of {there_are:.1f} "
            f"({100 * self.share:.0f} %, at most {100 * most:.0f} % in one case); "
            f"the same first step in {self.agreeing} of {len(self.cases)}."
        )


def invented_case(look: Lookahead, likelihood: Likelihood, seed: int) -> Case:
    """Return an invented case with every question answered that a person could answer."""
    knowledge = look.knowledge
    rng = random.Random(seed)
    taxon = rng.choice(sorted(knowledge.taxa))
    plan = knowledge.taxa[taxon].plan
    zones = sorted(z.id for z in knowledge.zones.values() if plan in z.plans)
    findings = []
    for number in range(rng.randint(1, MOST_FINDINGS)):
        deposit = rng.choice(sorted(knowledge.deposits))
        signs = {}
        for question in sorted(likelihood.questions):
            if rng.random() < TOLD:
                chances = likelihood.answers(question, {deposit: 1.0})
                signs[question] = rng.choices(list(chances), list(chances.values()))[0]
        findings.append(new_finding(f"f{number + 1}", rng.choice(zones), signs=signs))
    case = new_case(f"invented-{seed}", taxon=taxon, findings=tuple(findings))
    # Answers about the specimen: mostly those that open the way.
    sweep = Sweep(look, case)
    best: dict[str, tuple[int, str]] = {}
    for fact, question, afters in sweep.open_places():
        for after in afters if fact.key == SPECIMEN and question != TAXON else ():
            gates = len(sweep.outline({(SPECIMEN, question): after}).gates)
            known = best.get(question)
            if known is None or gates < known[0]:
                best[question] = (gates, after)
    answers: dict[str, str | None] = {}
    for question, (_, good) in best.items():
        options = [a.id for a in knowledge.questions[question].answers]
        answers[question] = good if rng.random() < AS_IT_SHOULD_BE else rng.choice(options)
    return with_answers(case, answers)


def bare(case: Case) -> Case:
    """Return the case with its findings and nothing answered."""
    findings = tuple(new_finding(f.id, f.zone, side=f.side) for f in case.findings)
    return new_case(case.id, case.title, findings=findings)


def ask_out(look: Lookahead, likelihood: Likelihood, truth: Case) -> Asked:
    """Ask a case to the end and compare its first step with that of the whole truth."""
    known = {fact.key: fact for fact in look.facts(truth)}
    asked: set[Place] = set()
    case = bare(truth)
    sweep: Sweep | None = None
    while True:
        sweep = Sweep(look, case, frozenset(asked), sweep)
        found = ranked_questions(sweep, likelihood)
        if not found:
            break
        place = found[0].line.finding or SPECIMEN, found[0].line.question
        asked.add(place)
        case = _answered(case, place, known)
    there_are = sum(1 for _ in Sweep(look, truth).places())
    return Asked(len(asked), there_are, look.of_case(case).head == look.of_case(truth).head)


def _answered(case: Case, place: Place, known: dict[str, Fact]) -> Case:
    whose, question = place
    value = known[whose].fields[question]
    if value == UNKNOWN:
        return case
    if question == TAXON:
        return with_taxon(case, value)
    if whose == SPECIMEN:
        return with_answers(case, {question: value})
    return with_sign(case, whose, question, value)


def asked_of_invented(look: Lookahead, likelihood: Likelihood, seed: int) -> Asked:
    """Return what had to be asked of the invented case of a seed."""
    return ask_out(look, likelihood, invented_case(look, likelihood, seed))
