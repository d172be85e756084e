"""The question whose answer matters most to what is done next, and when to stop asking.

Method: one-step look-ahead for the lowest expected cost of reaching the same decision (Mannino
and Mookerjee, Optimizing expert systems: heuristics for efficiently generating low-cost
information acquisition strategies, INFORMS Journal on Computing 11(3):278-291, 1999). The value
of a question is the chance that its answer changes the next step, over its cost; the chance comes
from the candidates' certainty. Where no single answer decides, answers that only together open a
gate, or read a finding otherwise, share the value of what they open. Looks go before touches and
touches before micro-tests of like value; a micro-test is asked only when no safer question is left.
What opens the gate of the stage goes first, what a place shows before what is remembered of it.

Asking ends when no open answer changes the next step, and when no rival of any finding does so
even at the optimistic end: the open signs that speak most for it, together with the most
permitting answer to every open question about the specimen (``rivals``, ``permitting``). Findings
that cannot come first whatever they are do not need a look (``bounds``).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass

from triage.engine.casefacts import SPECIMEN, TAXON
from triage.engine.vocabulary import UNKNOWN
from triage.explain.bounds import Bounds
from triage.explain.likelihood import Likelihood
from triage.explain.rivals import Place, Rivals, Values
from triage.explain.sweep import Answer, Sweep
from triage.knowledge.book import Knowledge
from triage.plan.lookahead import Outlook
from triage.plan.model import QuestionLine
from triage.plan.names import zone_words
from triage.plan.questions import question_line
from triage.plan.skeleton import ORDER

# How much worse than its time a question is for the specimen.
RISK_FACTOR = {"none": 1.0, "touch": 2.0, "micro-test": 8.0}
# A question costs at least this long [s]: reading it and looking up.
LEAST_S = 10.0


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
        self.bounds = Bounds(sweep, likelihood.far)
        # The answers worth a look, by place, and all answers that a place may take.
        self.looked: dict[Place, list[tuple[Answer, Outlook]]] = {}
        self.answers: dict[Place, tuple[str, ...]] = {}

    def ranked(self) -> tuple[NextQuestion, ...]:
        """Return every question that could still change the next step, the best first."""
        if self.sweep.base.refused or self.sweep.base.held:
            return ()
        self._look()
        self._one_answer()
        self._together(self._way(self._gate_places()), "opens the gate of this stage")
        self._together(self._way(self._open_specimen()), "opens the way to a milder or later step")
        # While work on findings rests, the gates come first.
        if not (self.worth and self.bounds.rests):
            for finding in self._open_findings():
                self._rivals(finding)
        found = [self._question(place, worth) for place, worth in self.worth.items()]
        gates = {question for _, question in self._gate_places()}
        return tuple(sorted(found, key=lambda each: self._rank(each, gates)))

    # -- what could change the next step ---------------------------------------------------------

    def _look(self) -> None:
        """Look ahead with every open answer that could change the next step at all."""
        for fact, question, answers in self.sweep.open_places():
            place = (fact.key, question)
            is_finding = fact.kind == "finding"
            self.answers[place] = answers
            self.looked[place] = [
                (Answer(fact.key, question, UNKNOWN, after), self.sweep.outlook({place: after}))
                for after in answers
                if not is_finding or self.bounds.matters(fact.key, question, after)
            ]

    def _one_answer(self) -> None:
        """Credit each question with the chance that its answer alone changes the next step."""
        base = self.sweep.base.head
        for place, pairs in self.looked.items():
            changing = [(a, o) for a, o in pairs if o.head != base]
            if not changing:
                continue
            chances = self._chances(place, self.answers[place])
            chance = sum(chances[a.after] for a, _ in changing)
            answer, outlook = max(changing, key=lambda pair: (chances[pair[0].after], pair[0]))
            self._credit(place, chance, 1, self._would(answer, outlook))

    def _chances(self, place: Place, answers: tuple[str, ...]) -> Mapping[str, float]:
        whose, question = place
        if whose == SPECIMEN:
            return dict.fromkeys(answers, 1.0 / len(answers))
        candidates = self.likelihood.candidates(self.sweep.certainties(whose))
        return self.likelihood.answers(question, candidates)

    def _would(self, answer: Answer, outlook: Outlook) -> str:
        said = f'"{answer_words(self.knowledge, answer.question, answer.after)}"'
        if outlook.refused:
            return f"{said} would end the work: {self._because(outlook.refused[0])}"
        if outlook.step is None:
            return f"After {said} nothing more would be done for now."
        return f"{said} would make this the next step: {self._step_name(outlook)}."

    def _because(self, rule: str) -> str:
        return self.knowledge.rule(rule).because

    def _step_name(self, outlook: Outlook) -> str:
        name = self.knowledge.methods[outlook.method or ""].name
        finding = next((f for f in self.sweep.case.findings if f.id == outlook.target), None)
        if finding is None:
            return name
        zone = self.knowledge.zones.get(finding.zone)
        return f"{name}, {zone_words(zone.name if zone else finding.zone, finding.side)}"

    def _credit(self, place: Place, chance: float, together: int, because: str) -> None:
        self.worth.setdefault(place, _Worth()).raise_to(chance, together, because)

    # -- answers that only together change it ------------------------------------------------------

    def _reached(self, question: str) -> bool:
        """Return whether a question belongs to the present stage or an earlier one."""
        stage = self.knowledge.questions[question].stage
        return ORDER.index(stage) <= max(ORDER.index(self.sweep.base.stage), 0)

    def _open_specimen(self) -> list[Place]:
        return [
            (whose, question)
            for whose, question in self.answers
            if whose == SPECIMEN and question != TAXON and self._reached(question)
        ]

    def _gate_places(self) -> list[Place]:
        """Return the open questions whose rules close the present stage."""
        asks = {self.knowledge.rule(rule).ask for rule in self.sweep.base.gates}
        return [place for place in self._open_specimen() if place[1] in asks]

    def _way(self, places: Iterable[Place]) -> Values:
        """Return the most permissive answer to each question: fewest gates, most rungs."""
        best: dict[Place, tuple[tuple[int, int, int], str]] = {}
        for place in places:
            for answer, outlook in self.looked[place]:
                if outlook.refused:
                    continue
                rungs = sum(len(left) for _, left in outlook.rungs)
                score = (-len(outlook.gates), ORDER.index(outlook.stage), rungs)
                if place not in best or score > best[place][0]:
                    best[place] = (score, answer.after)
        return {place: after for place, (_, after) in best.items()}

    def _together(self, values: Values, what: str) -> None:
        """Credit the answers that are needed together for another next step."""
        if len(values) < 2:
            return
        reached = self.sweep.outlook(values)
        if reached.head == self.sweep.base.head:
            return
        needed = self._needed(values, values, reached)
        for place in needed:
            because = f"It {what}, together with {len(needed) - 1} more."
            self._credit(place, 0.5 / len(needed), len(needed), because)

    def _needed(self, values: Values, doubtful: Iterable[Place], reached: Outlook) -> Values:
        """Return the values without those of the doubtful that the outlook does not need."""
        needed = dict(values)
        for place in sorted(doubtful):
            fewer = {p: v for p, v in needed.items() if p != place}
            if self.sweep.outlook(fewer).head == reached.head:
                needed = fewer
        return needed

    def _open_findings(self) -> list[str]:
        return [f.id for f in self.sweep.case.findings if self.sweep.is_open(f.id)]

    def _permitting(self) -> Values:
        """Return the most permitting answer to each open question about the specimen."""
        permits = self.likelihood.permitting
        return {place: permits[place[1]] for place in self._open_specimen()}

    def _group(self) -> Values:
        """Return the most permitting group, nothing where the group is known."""
        place = (SPECIMEN, TAXON)
        return {place: self.likelihood.permitting[TAXON]} if place in self.answers else {}

    def _rivals(self, finding: str) -> None:
        """Credit the questions that could read a finding otherwise, several answers at once."""
        self._signs_of_the_whole(finding)
        scope = self.bounds.scope(finding, alone=False)
        permitting = self._permitting()
        rivals = Rivals(self.sweep, self.likelihood)
        for rival in rivals.of(finding):
            if not scope.everything and rival.deposit not in scope.deposits:
                continue
            if not rivals.shakes(finding, rival.values):
                continue
            needed = self._deciding(rival.values, rival.every, permitting)
            if len(needed) < 2:
                continue
            name = self.knowledge.deposits[rival.deposit].name
            tells = f"It tells whether this is {name}, which would change the next step."
            opens = f"If {finding} is {name}, this opens another next step."
            for place in needed:
                because = tells if place in rival.values else opens
                self._credit(place, rival.chance / len(needed), len(needed), because)

    def _signs_of_the_whole(self, finding: str) -> None:
        """Credit signs of a finding that only together mean something for the whole specimen."""
        fields = self.sweep.fact(finding).fields
        for rule, asked in self.likelihood.far.sets:
            values = {
                (finding, question): min(allowed)
                for question, allowed in asked.items()
                if (finding, question) in self.answers
            }
            told = all(fields[q] in asked[q] for q in asked if (finding, q) not in values)
            if len(values) < 2 or not told:
                continue
            if self.sweep.outlook(values).head != self.sweep.base.head:
                chances = [self._chances(p, self.answers[p])[v] for p, v in values.items()]
                for place in values:
                    chance = min(chances) / len(values)
                    self._credit(place, chance, len(values), self._because(rule))

    def _deciding(self, values: Values, every: Values, permitting: Values) -> Values:
        """Return the answers that together change the next step, none if nothing open does."""
        base = self.sweep.base.head
        if self.sweep.outlook(values).head != base:
            return values
        # Shaken, but not yet decided: would all the open answers decide it?
        if len(every) > len(values) and self.sweep.outlook(every).head != base:
            return values
        # The optimistic end: nothing open bars a method, and if need be the group does not either.
        for more in (permitting, {**self._group(), **permitting}):
            most = {**more, **values}
            if len(most) > len(values):
                reached = self.sweep.outlook(most)
                if reached.head != base:
                    return self._needed(most, most.keys() - values.keys(), reached)
        return {}

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

    def _rank(self, found: NextQuestion, gates: AbstractSet[str]) -> tuple[object, ...]:
        line = found.line
        # A micro-test marks the specimen: it waits until no look and no touch could help.
        question = self.knowledge.questions.get(line.question)
        waits = line.risk == "micro-test" or (question is not None and question.last)
        # Behind a closed gate nothing that is seen of a place is worked on; and a place is looked
        # at before anybody is asked where it has been.
        is_behind = line.finding is not None or line.question not in gates
        is_story = line.finding is not None and question is not None and question.gives != "sign"
        return (waits, is_behind, is_story, -found.value, line.finding or "", line.question)


def answer_words(knowledge: Knowledge, question: str, answer: str) -> str:
    """Return an answer as a person would say it; ``taxon`` counts as a question."""
    if question == TAXON:
        return knowledge.taxa[answer].name
    return next(a.text for a in knowledge.questions[question].answers if a.id == answer)


def ranked_questions(sweep: Sweep, likelihood: Likelihood) -> tuple[NextQuestion, ...]:
    """Return the questions that could still change the next step, the best first."""
    return Asking(sweep, likelihood).ranked()
