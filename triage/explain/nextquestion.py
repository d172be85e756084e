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
permitting answer to every open question about the specimen (``likelihood``).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from functools import cached_property

from triage.engine.casefacts import SPECIMEN, TAXON
from triage.explain.likelihood import Likelihood
from triage.explain.sweep import Place, Sweep, Values
from triage.knowledge.book import Knowledge
from triage.plan.model import QuestionLine
from triage.plan.names import zone_words
from triage.plan.questions import question_line
from triage.plan.skeleton import ORDER, Outline

# How much worse than its time a question is for the specimen.
RISK_FACTOR = {"none": 1.0, "touch": 2.0, "micro-test": 8.0}
# What takes longer is waiting, not looking [s].
LONGEST_LOOK_S = 120
# A question costs at least this long [s]: reading it and looking up.
LEAST_S = 10.0
# A settled finding is doubted by this many of the strongest open answers for each rival.
SURPRISES = 2


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


class Asking:
    """Ranks the open questions of one case."""

    def __init__(self, sweep: Sweep, likelihood: Likelihood) -> None:
        self.sweep = sweep
        self.knowledge = sweep.knowledge
        self.likelihood = likelihood
        # Of each place the strongest reason: its chance, with how many others, in words.
        self.worth: dict[Place, tuple[float, int, str]] = {}
        self.answers = {(fact.key, name): after for fact, name, after in sweep.open_places()}

    def ranked(self) -> tuple[NextQuestion, ...]:
        """Return every question that could still change the next step, the best first."""
        base = self.sweep.base
        if base.refused or base.held:
            return ()
        for place, answers in self.answers.items():
            self._one_answer(place, answers)
        asks = {self.knowledge.rule(rule).ask for rule in base.gates}
        gates = {place: answer for place, answer in self.permitting.items() if place[1] in asks}
        self._together(gates, "opens the gate of this stage")
        self._together(self.permitting, "opens the way to a milder or later step")
        # While work on findings rests, the gates come first.
        rests = base.stage == ORDER[0] or ORDER.index(base.stage) > ORDER.index("clean")
        if not (self.worth and rests):
            for finding in self.sweep.case.findings:
                if self.sweep.is_open(finding.id):
                    self._signs_of_the_whole(finding.id)
                    self._rivals(finding.id)
        found = [self._question(place, *worth) for place, worth in self.worth.items()]
        first = {question for _, question in gates}
        return tuple(sorted(found, key=lambda each: self._rank(each, first)))

    # -- what could change the next step ---------------------------------------------------------

    def _one_answer(self, place: Place, answers: tuple[str, ...]) -> None:
        """Credit a question with the chance that its answer alone changes the next step."""
        looked = {answer: self.sweep.outline({place: answer}) for answer in answers}
        changing = [a for a, then in looked.items() if then.head != self.sweep.base.head]
        if changing:
            chances = self._chances(place, answers)
            likeliest = max(changing, key=lambda answer: (chances[answer], answer))
            because = self._would(place[1], likeliest, looked[likeliest])
            self._credit({place: because}, min(1.0, sum(chances[answer] for answer in changing)))

    def _chances(self, place: Place, answers: tuple[str, ...]) -> Mapping[str, float]:
        whose, question = place
        if whose == SPECIMEN:
            return dict.fromkeys(answers, 1.0 / len(answers))
        candidates = self.likelihood.candidates(self.sweep.read(whose).certainties)
        return self.likelihood.answers(question, candidates)

    def _would(self, question: str, answer: str, then: Outline) -> str:
        said = f'"{answer_words(self.knowledge, question, answer)}"'
        if then.refused:
            because = self.knowledge.rule(then.refused[0]).because
            return f"{said} would end the work: {because}"
        if then.first is None:
            return f"After {said} nothing more would be done for now."
        name = self.knowledge.methods[then.first.method].name
        for finding in self.sweep.case.findings:
            if finding.id == then.first.target:
                zone = self.knowledge.zones.get(finding.zone)
                where = zone_words(zone.name if zone else finding.zone, finding.side)
                name = f"{name}, {where}"
        return f"{said} would make this the next step: {name}."

    def _credit(self, because: Mapping[Place, str], chance: float) -> None:
        """Share a chance among the questions that it needs; the strongest reason of each stays."""
        share = chance / len(because)
        for place, reason in because.items():
            if share > self.worth.get(place, (0.0,))[0]:
                self.worth[place] = share, len(because), reason

    # -- answers that only together change it ------------------------------------------------------

    @cached_property
    def permitting(self) -> Values:
        """The most permitting answer to each open question about the specimen reached so far."""
        reached = ORDER.index(self.sweep.base.stage)
        return {
            (whose, name): self.likelihood.permitting[name]
            for whose, name in self.answers
            if whose == SPECIMEN
            and name != TAXON
            and ORDER.index(self.knowledge.questions[name].stage) <= reached
        }

    @cached_property
    def _optimistic(self) -> tuple[tuple[Values, Sweep], ...]:
        """The case as nothing open bars a method; then as if need be the group does not either."""
        place = (SPECIMEN, TAXON)
        group = {place: self.likelihood.permitting[TAXON]} if place in self.answers else {}
        ends = [self.permitting, *([{**group, **self.permitting}] if group else [])]
        return tuple((end, self.sweep.varied(end)) for end in ends if end)

    def _together(self, values: Values, what: str) -> None:
        """Credit the answers that are needed together for another next step."""
        if len(values) < 2:
            return
        reached = self.sweep.outline(values)
        if reached.head != self.sweep.base.head:
            needed = self._needed(values, values, reached)
            others = f", together with {len(needed) - 1} more" if len(needed) > 1 else ""
            because = f"It {what}{others}."
            self._credit(dict.fromkeys(needed, because), 0.5)

    def _needed(self, values: Values, doubtful: Iterable[Place], reached: Outline) -> Values:
        """Return the values without those of the doubtful that the outline does not need."""
        needed = dict(values)
        for place in sorted(doubtful):
            fewer = {p: v for p, v in needed.items() if p != place}
            if self.sweep.outline(fewer).head == reached.head:
                needed = fewer
        return needed

    def _signs_of_the_whole(self, finding: str) -> None:
        """Credit signs of a finding that only together mean something for the whole specimen."""
        fields = self.sweep.fact(finding).fields
        for rule, asked in self.likelihood.sets:
            values = {
                (finding, question): min(allowed)
                for question, allowed in asked.items()
                if (finding, question) in self.answers
            }
            told = all(fields[q] in asked[q] for q in asked if (finding, q) not in values)
            if len(values) < 2 or not told:
                continue
            if self.sweep.outline(values).head != self.sweep.base.head:
                chance = min(self._chances(p, self.answers[p])[v] for p, v in values.items())
                self._credit(dict.fromkeys(values, self.knowledge.rule(rule).because), chance)

    # -- what else a finding could be --------------------------------------------------------------

    def _rivals(self, finding: str) -> None:
        """Credit the questions that could read a finding otherwise, several answers at once.

        No single answer need matter where several together would: a finding that is not settled,
        or one whose settled reading two strong signs could shake.
        """
        read = self.sweep.read(finding)
        for deposit, chance in sorted(self.likelihood.candidates(read.certainties).items()):
            if deposit == read.settled:
                continue
            # All the open answers that speak for it; of a settled finding the strongest few.
            every = values = self._toward(finding, deposit, None)
            if read.settled is not None:
                values = self._toward(finding, deposit, read.settled, SURPRISES)
            needed = self._deciding(values, every) if self._shakes(finding, values) else {}
            if len(needed) > 1:
                name = self.knowledge.deposits[deposit].name
                tells = f"It tells whether this is {name}, which would change the next step."
                opens = f"If {finding} is {name}, this opens another next step."
                self._credit({p: tells if p in values else opens for p in needed}, chance)

    def _toward(
        self, finding: str, deposit: str, settled: str | None, most: int | None = None
    ) -> Values:
        """Return the open answers that speak most for a deposit, at most so many."""
        found: list[tuple[float, Place, str]] = []
        for question, lead, answer in self.likelihood.leads(deposit, settled):
            place = (finding if question in self.likelihood.questions else SPECIMEN, question)
            if place in self.answers:
                found.append((-lead, place, answer))
        return {place: answer for _, place, answer in sorted(found)[:most]}

    def _shakes(self, finding: str, values: Values) -> bool:
        """Return whether later rules would read the finding otherwise with these answers.

        A settled finding must lose its settled reading: what only adds a doubt to it is found
        answer by answer.
        """
        if not values:
            return False
        before, after = self.sweep.read(finding), self.sweep.read(finding, values)
        if before.settled is not None:
            return after.settled != before.settled
        return after.seen != before.seen

    def _deciding(self, values: Values, every: Values) -> Values:
        """Return the answers that together change the next step, none if nothing open does."""
        base = self.sweep.base.head
        if self.sweep.outline(values).head != base:
            return values
        # Shaken, but not yet decided: would all the open answers decide it?
        if len(every) > len(values) and self.sweep.outline(every).head != base:
            return values
        for more, sweep in self._optimistic:
            reached = sweep.outline(values)
            # Where all that permits does it alone, the rival adds nothing.
            if reached.head not in (base, sweep.base.head) and more.keys() - values.keys():
                most = {**more, **values}
                return self._needed(most, most.keys() - values.keys(), reached)
        return {}

    # -- the ranking -----------------------------------------------------------------------------

    def _question(self, place: Place, chance: float, together: int, because: str) -> NextQuestion:
        whose, question = place
        line = question_line(
            self.knowledge, question, None if whose == SPECIMEN else whose, because
        )
        minutes = max(line.seconds, LEAST_S) / 60.0 * RISK_FACTOR[line.risk]
        return NextQuestion(line, chance, together, chance / minutes, because)

    def _rank(self, found: NextQuestion, gates: AbstractSet[str]) -> tuple[object, ...]:
        line = found.line
        # A micro-test marks the specimen: it waits until no look and no touch could help.
        is_test = line.risk == "micro-test"
        question = self.knowledge.questions.get(line.question)
        gives = question.gives if question is not None else "sign"
        # Of a finding that is not settled, what one look tells comes before all else.
        is_look = line.risk == "none" and line.seconds <= LONGEST_LOOK_S and gives != "provenance"
        is_unsettled = line.finding is not None and self.sweep.read(line.finding).settled is None
        is_last = question is not None and question.last
        # Behind a closed gate nothing that is seen of a place is worked on; and a place is looked
        # at before anybody is asked where it has been.
        is_behind = line.finding is not None or line.question not in gates
        is_story = line.finding is not None and gives != "sign"
        waits = (is_test, is_unsettled and not is_look, is_last, is_behind, is_story)
        return (*waits, -found.value, line.finding or "", line.question)


def answer_words(knowledge: Knowledge, question: str, answer: str) -> str:
    """Return an answer as a person would say it; ``taxon`` counts as a question."""
    if question == TAXON:
        return knowledge.taxa[answer].name
    return next(a.text for a in knowledge.questions[question].answers if a.id == answer)


def ranked_questions(sweep: Sweep, likelihood: Likelihood) -> tuple[NextQuestion, ...]:
    """Return the questions that could still change the next step, the best first."""
    return Asking(sweep, likelihood).ranked()
