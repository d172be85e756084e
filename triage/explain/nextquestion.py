"""The question whose answer matters most to what is done next, and when to stop asking.

Method: one-step look-ahead for the lowest expected cost of reaching the same decision (Mannino
and Mookerjee, Optimizing expert systems: heuristics for efficiently generating low-cost
information acquisition strategies, INFORMS Journal on Computing 11(3):278-291, 1999). The value
of a question is the chance that its answer changes the next step, over its cost; the chance comes
from the candidates' certainty. Where no single answer decides, answers that only together open a
gate, or settle a finding, share the value of what they open. Looks go before touches and touches
before micro-tests of like value; a micro-test is asked only when no safer question is left.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from triage.engine.vocabulary import UNKNOWN
from triage.explain.likelihood import Likelihood
from triage.explain.sweep import SPECIMEN, TAXON, Answer, Sweep
from triage.plan.lookahead import Outlook
from triage.plan.model import QuestionLine
from triage.plan.questions import question_line
from triage.plan.skeleton import ORDER

# How much worse than its time a question is for the specimen.
RISK_FACTOR = {"none": 1.0, "touch": 2.0, "micro-test": 8.0}
# A question costs at least this long [s]: reading it and looking up.
LEAST_S = 10.0
# A settled finding is doubted by this many of the strongest open answers for each rival.
SURPRISES = 2
Place = tuple[str, str]
Values = dict[Place, str]


@dataclass(frozen=True, slots=True)
class NextQuestion:
    """A question worth asking.

    ``chance`` is the chance that its answer changes the next step, alone or as one of
    ``together`` questions; ``value`` is that chance per minute of cost.
    """

    line: QuestionLine
    chance: float
    together: int
    value: float
    because: str


@dataclass(slots=True)
class _Worth:
    chance: float = 0.0
    together: int = 1
    because: str = ""

    def raise_to(self, chance: float, together: int, because: str) -> None:
        """Keep the strongest reason."""
        if chance > self.chance:
            self.chance, self.together, self.because = chance, together, because


class Asking:
    """Ranks the open questions of one case."""

    def __init__(self, sweep: Sweep, likelihood: Likelihood) -> None:
        self.sweep = sweep
        self.knowledge = sweep.knowledge
        self.likelihood = likelihood
        self.worth: dict[Place, _Worth] = {}

    def ranked(self) -> tuple[NextQuestion, ...]:
        """Return every question that could still change the next step, the best first."""
        if self.sweep.base.refused or self.sweep.base.held:
            return ()
        self._one_answer()
        self._together(self._way(self._gate_places()), "opens the gate of this stage")
        self._together(self._way(self._open_specimen()), "opens the way to a milder or later step")
        for finding in self._open_findings():
            self._candidates(finding)
        found = [self._question(place, worth) for place, worth in self.worth.items()]
        return tuple(sorted(found, key=self._rank))

    # -- what could change the next step ---------------------------------------------------------

    def _one_answer(self) -> None:
        """Credit each question with the chance that its answer alone changes the next step."""
        base = self.sweep.base.head
        by_place: dict[Place, list[tuple[Answer, Outlook]]] = {}
        for answer, outlook in self.sweep.open:
            by_place.setdefault(answer.place, []).append((answer, outlook))
        for place, pairs in by_place.items():
            changing = [(a, o) for a, o in pairs if o.head != base]
            if not changing:
                continue
            chances = self._chances(place, [a.after for a, _ in pairs])
            chance = sum(chances[a.after] for a, _ in changing)
            answer, outlook = max(changing, key=lambda pair: (chances[pair[0].after], pair[0]))
            self._credit(place, chance, 1, self._would(answer.after, outlook))

    def _chances(self, place: Place, answers: list[str]) -> Mapping[str, float]:
        whose, question = place
        if whose == SPECIMEN:
            return dict.fromkeys(answers, 1.0 / len(answers))
        candidates = self.likelihood.candidates(self.sweep.certainties(whose))
        return self.likelihood.answers(question, candidates)

    def _would(self, answer: str, outlook: Outlook) -> str:
        if outlook.refused:
            return f'"{answer}" would end the work: {self._because(outlook.refused[0])}'
        if outlook.step is None:
            return f'"{answer}" would leave no step to do now.'
        return f'"{answer}" would make the next step: {self._step_name(outlook)}.'

    def _because(self, rule: str) -> str:
        return self.knowledge.rule(rule).because

    def _step_name(self, outlook: Outlook) -> str:
        name = self.knowledge.methods[outlook.method or ""].name
        where = outlook.target if outlook.target in {f.id for f in self.sweep.case.findings} else ""
        return f"{name} on {where}" if where else name

    def _credit(self, place: Place, chance: float, together: int, because: str) -> None:
        self.worth.setdefault(place, _Worth()).raise_to(chance, together, because)

    # -- answers that only together change it ------------------------------------------------------

    def _reached(self, question: str) -> bool:
        """Return whether a question belongs to the present stage or an earlier one."""
        stage = self.knowledge.questions[question].stage
        return ORDER.index(stage) <= max(ORDER.index(self.sweep.base.stage), 0)

    def _open_specimen(self) -> list[Place]:
        return list(
            dict.fromkeys(
                answer.place
                for answer, _ in self.sweep.open
                if answer.whose == SPECIMEN
                and answer.question != TAXON
                and self._reached(answer.question)
            )
        )

    def _gate_places(self) -> list[Place]:
        """Return the open questions whose rules close the present stage."""
        asks = {self.knowledge.rule(rule).ask for rule in self.sweep.base.gates}
        return [place for place in self._open_specimen() if place[1] in asks]

    def _way(self, places: Iterable[Place]) -> Values:
        """Return the most permissive answer to each question: fewest gates, most rungs."""
        wanted = set(places)
        best: dict[Place, tuple[tuple[int, int, int], str]] = {}
        for answer, outlook in self.sweep.open:
            if answer.place in wanted and not outlook.refused:
                rungs = sum(len(left) for _, left in outlook.rungs)
                score = (-len(outlook.gates), ORDER.index(outlook.stage), rungs)
                if answer.place not in best or score > best[answer.place][0]:
                    best[answer.place] = (score, answer.after)
        return {place: after for place, (_, after) in best.items()}

    def _together(self, values: Values, what: str) -> None:
        """Credit the answers that are needed together for another next step."""
        if len(values) < 2:
            return
        reached = self.sweep.outlook(values)
        if reached.head == self.sweep.base.head:
            return
        needed = dict(values)
        for place in sorted(values):
            fewer = {p: v for p, v in needed.items() if p != place}
            if self.sweep.outlook(fewer).head == reached.head:
                needed = fewer
        for place in needed:
            because = f"It {what}, together with {len(needed) - 1} more."
            self._credit(place, 0.5 / len(needed), len(needed), because)

    def _open_findings(self) -> list[str]:
        return [f.id for f in self.sweep.case.findings if self.sweep.is_open(f.id)]

    def _candidates(self, finding: str) -> None:
        """Credit the questions that could settle a finding otherwise, several answers at once."""
        certainties = self.sweep.certainties(finding)
        chances = self.likelihood.candidates(certainties)
        settled = self.sweep.settled(finding)
        for deposit, chance in sorted(chances.items()):
            if deposit == settled:
                continue
            values = self._toward(finding, deposit, settled)
            if len(values) < 2 or not self._matters(finding, deposit, settled, values):
                continue
            name = self.knowledge.deposits[deposit].name
            because = f"It tells whether this is {name}, which would change the next step."
            for place in values:
                self._credit(place, chance / len(values), len(values), because)

    def _matters(
        self, finding: str, deposit: str, settled: str | None, values: Mapping[Place, str]
    ) -> bool:
        """Return whether these answers shake the reading, and the next step in the end."""
        specimen, bench = self.sweep.facts[:2]
        fact = self.sweep.fact(finding)
        fields = {**fact.fields, **{name: value for (_, name), value in values.items()}}
        read = self.sweep.look.summary(replace(fact, fields=fields), specimen, bench)
        if read.settled == settled:
            return False
        base = self.sweep.base.head
        if self.sweep.outlook(values).head != base:
            return True
        # Shaken, but not yet decided: would all the open answers decide it?
        every = self._toward(finding, deposit, None) if settled is not None else values
        return len(every) > len(values) and self.sweep.outlook(every).head != base

    def _toward(self, finding: str, deposit: str, settled: str | None) -> Values:
        """Return the open answers that speak most for a deposit, few against a settled one."""
        fields = self.sweep.fact(finding).fields
        found: list[tuple[float, Place, str]] = []
        for question, leads in self._leads(deposit, settled):
            if fields[question] == UNKNOWN and (finding, question) not in self.sweep.declined:
                found.append((leads[0], (finding, question), leads[1]))
        found.sort(key=lambda item: (-item[0], item[1]))
        most = len(found) if settled is None else SURPRISES
        return {place: answer for _, place, answer in found[:most]}

    def _leads(
        self, deposit: str, settled: str | None
    ) -> tuple[tuple[str, tuple[float, str]], ...]:
        """Return each question with its answer that favours a deposit most over a settled one."""
        key = (deposit, settled)
        if key not in self.likelihood.leads:
            found = []
            for question in sorted(self.likelihood.questions):
                answers = self.knowledge.questions[question].answers
                best = max((self._lead(question, a.id, deposit, settled), a.id) for a in answers)
                if best[0] > 0:
                    found.append((question, best))
            self.likelihood.leads[key] = tuple(found)
        return self.likelihood.leads[key]

    def _lead(self, question: str, answer: str, deposit: str, settled: str | None) -> float:
        gain = self.likelihood.weight(question, answer, deposit)
        if settled is not None and gain >= 0:
            gain -= self.likelihood.weight(question, answer, settled)
        return gain

    # -- the ranking -----------------------------------------------------------------------------

    def _question(self, place: Place, worth: _Worth) -> NextQuestion:
        whose, question = place
        line = question_line(
            self.knowledge, question, None if whose == SPECIMEN else whose, worth.because
        )
        minutes = max(line.seconds, LEAST_S) / 60.0 * RISK_FACTOR[line.risk]
        return NextQuestion(
            line, worth.chance, worth.together, worth.chance / minutes, worth.because
        )

    def _rank(self, found: NextQuestion) -> tuple[object, ...]:
        line = found.line
        # A micro-test marks the specimen: it waits until no look and no touch could help.
        return (line.risk == "micro-test", -found.value, line.finding or "", line.question)


def ranked_questions(sweep: Sweep, likelihood: Likelihood) -> tuple[NextQuestion, ...]:
    """Return the questions that could still change the next step, the best first."""
    return Asking(sweep, likelihood).ranked()


def reasons(found: Iterable[NextQuestion]) -> Iterator[str]:
    """Yield why each question is asked, one line each."""
    for question in found:
        yield f"{question.line.question}: {question.because}"
