"""Which questions would still help: whose answer opens a gate, lifts a bar, or lets work go on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from triage.case import changes
from triage.case.models import Case
from triage.engine.consult import COUNTED, Conclusions, Consultant
from triage.engine.facts import Conclusion, Fact
from triage.engine.normal import Pattern
from triage.engine.reading import Reading, certainty_of, reach_of, weight_of
from triage.engine.vocabulary import UNKNOWN
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Family
from triage.plan.ladder import Ladder, applies, harshness_key
from triage.plan.model import FindingLine, Plan, QuestionLine, Untested, WaitingLine

# (finding or None for the specimen, question)
Open = tuple[str | None, str]
Wanted = tuple[Open, str]
RISKS = {"none": 0, "touch": 1, "micro-test": 2}


class OpenQuestions:
    """What is not answered in one consultation of a case, and what rests on it."""

    def __init__(self, consultant: Consultant, conclusions: Conclusions, case: Case) -> None:
        self.consultant, self.knowledge = consultant, consultant.knowledge
        self.conclusions, self.case = conclusions, case
        self.facts = {fact.key: fact for fact in conclusions.facts}

    def _matched(self, conclusion: Conclusion) -> list[tuple[Pattern, Fact]]:
        """Return what a conclusion rests on: its patterns and the facts that they matched."""
        rule = self.consultant.rule(conclusion.rule)
        positive = (pattern for pattern in rule.patterns if not pattern.absent)
        return list(zip(positive, (self.facts[key] for key in conclusion.facts), strict=True))

    def _open_fields(self, conclusion: Conclusion) -> Iterator[tuple[Fact, str]]:
        """Yield each unknown answer on which a conclusion rests."""
        for pattern, fact in self._matched(conclusion):
            yield from ((fact, name) for name, _ in pattern.allowed if fact.get(name) == UNKNOWN)

    def _open_answers(self, conclusion: Conclusion) -> Iterator[Open]:
        """Yield the unknown answers on which a conclusion rests and that a person can give."""
        for fact, name in self._open_fields(conclusion):
            if name in self.knowledge.questions or name == "taxon":
                yield (fact.key if fact.kind == "finding" else None), name

    # -- what would still help -------------------------------------------------------------------

    def lines(
        self,
        stage: str,
        shown: frozenset[str],
        open_findings: Iterable[str],
        untested: Iterable[Untested] = (),
    ) -> tuple[QuestionLine, ...]:
        """Return the questions that would still help, each once, safest and cheapest first.

        Only interlocks on methods that were offered (``shown``) are worth a question, and only
        findings that are neither cleared nor accepted nor left alone; what is not to be tested is
        not asked.
        """
        still_open, gates = frozenset(open_findings), tuple(self._from_gates(stage))
        still_open |= {finding for (finding, _), _ in gates if finding is not None}
        wanted: dict[Open, str] = {}
        for place, because in (
            *gates,
            *self._from_forbids(shown),
            *self._from_readings(still_open),
        ):
            wanted.setdefault(place, because)
        forbidden = {(test.finding, test.question) for test in untested}
        lines = (
            question_line(self.knowledge, name, finding, why)
            for (finding, name), why in wanted.items()
            if (finding, name) not in forbidden and (finding is None or finding in still_open)
        )
        return tuple(sorted(lines, key=self._rank))

    def _rank(self, line: QuestionLine) -> tuple[object, ...]:
        question = self.knowledge.questions.get(line.question)
        order = (RISKS[question.risk], question.rank) if question else (0, 0)
        return (line.finding is not None, line.finding or "", *order, line.question)

    def _from_gates(self, stage: str) -> Iterator[Wanted]:
        """Yield the questions that open the gate of the present stage; later ones can wait."""
        for conclusion in self.conclusions.of(Family.GATE, "close"):
            ask = conclusion.get("ask")
            if ask and conclusion.get("stage") == stage:
                # Of a place it is asked of the finding that the gate rests on.
                for key in dict.fromkeys(("specimen", *conclusion.facts)):
                    if self.facts[key].fields.get(ask) == UNKNOWN:
                        whose = key if self.facts[key].kind == "finding" else None
                        yield (whose, ask), self.knowledge.rule(conclusion.rule).because

    def _from_forbids(self, shown: frozenset[str]) -> Iterator[Wanted]:
        for conclusion in self.conclusions.of(Family.FORBID, "forbid"):
            if shown & set(conclusion.get("method")):
                because = self.knowledge.rule(conclusion.rule).because
                yield from ((place, because) for place in self._open_answers(conclusion))

    def _from_readings(self, open_findings: Iterable[str]) -> Iterator[Wanted]:
        """Yield the unanswered questions that tell the candidates of a finding apart."""
        knowledge, useful = self.knowledge, self.consultant.deposits_by_question
        for finding in sorted(open_findings):
            fact = self.conclusions.fact(finding)
            candidates = self._candidates(finding)
            for question in knowledge.questions.values() if candidates else ():
                if question.about != "zone" or fact.get(question.id) != UNKNOWN:
                    continue
                about = useful.get(question.id, frozenset()) & candidates
                if about:
                    names = sorted(knowledge.deposits[d].name for d in about)
                    more = "" if len(names) <= 3 else f" and {len(names) - 3} more"
                    because = f"It speaks for or against: {', '.join(names[:3])}{more}."
                    yield (finding, question.id), because

    def _candidates(self, finding: str) -> set[str]:
        """Return what a finding may still be, or hide: the guards that are within reach."""
        readings, settled = self.conclusions.readings_of(finding), self.conclusions.settled(finding)
        found = {
            r.deposit
            for r in readings
            if r.deposit in self.consultant.guards
            and r.reach >= self.knowledge.judgement.suspected.value
            and (settled is None or r.deposit != settled.deposit)
        }
        if settled is None:
            found |= {r.deposit for r in readings if r.certainty > 0}
            found = found or set(self.knowledge.deposits)
        return found

    # -- what is not to be tested ----------------------------------------------------------------

    def tests_forbidden(self) -> Iterator[Untested]:
        """Yield the drops that are not set on a finding: each wet touch with them is forbidden.

        Only what is known forbids here, of the liquid itself: the place, its colours, the pin, what
        is protected there or settled. What is merely open, or suspected dirt, is what the test is
        for.
        """
        questions = self.knowledge.questions.values()
        touches = {q.id: frozenset(self._touches(q.liquid)) for q in questions if q.liquid}
        findings = [fact.key for fact in self.facts.values() if fact.kind == "finding"]
        found: dict[tuple[str, str], str] = {}
        for conclusion in self.conclusions.of(Family.FORBID, "forbid"):
            if self._is_firm(conclusion):
                because, whose = (
                    self.knowledge.rule(conclusion.rule).because,
                    conclusion.get("finding"),
                )
                for question, methods in touches.items():
                    if methods and methods <= set(conclusion.get("method")):
                        for finding in findings if whose is None else (whose,):
                            found.setdefault((finding, question), because)
        yield from (Untested(*place, because) for place, because in sorted(found.items()))

    def _touches(self, liquid: str) -> Iterator[str]:
        """Yield the methods of cleaning that touch a place with a liquid."""
        for method in self.knowledge.methods.values():
            contact = self.knowledge.techniques[method.technique].contact
            if method.agent == liquid and contact == "touch" and method.stage == "clean":
                yield method.id

    def _is_firm(self, conclusion: Conclusion) -> bool:
        """Return whether an interlock looks at the liquid, and rests on nothing that is open."""
        asked = (held for held in self.knowledge.rule(conclusion.rule).when if "method" in held)
        if not any({"agent", "agent_class"} & set(held["method"]) for held in asked):
            return False
        facts = [self.facts[key] for key in conclusion.facts]
        guards = self.consultant.guards
        return not any(self._open_fields(conclusion)) and all(
            reading.get("standing") == "settled"
            or (reading.get("deposit") in guards and reading.get("standing") in COUNTED)
            for reading in facts
            if reading.kind == "reading"
        )

    # -- what alone bars a way -------------------------------------------------------------------

    def waiting_for(self, ladder: Ladder) -> WaitingLine | None:
        """Return the fewest open answers that alone keep a method from a target, None if none."""
        knowledge, done = self.knowledge, ladder.progress.done
        firm = {bar.method for bar in ladder.barred if not bar.interlock}
        firm |= {m for m in ladder.offered if done(m) >= knowledge.methods[m].passes}
        open_of: dict[str, set[Open]] = {m: set() for m in ladder.offered if m not in firm}
        for conclusion in self.conclusions.of(Family.FORBID, "forbid"):
            if applies(conclusion, ladder.target):
                found = frozenset(self._open_of_bar(conclusion))
                for method in open_of.keys() & set(conclusion.get("method")):
                    open_of[method] |= found
                    if not found:
                        del open_of[method]
        key = harshness_key(knowledge)
        ways = sorted(open_of.items(), key=lambda way: (len(way[1]), key(way[0])))
        if not ways or not ways[0][1]:
            return None
        method, wanted = ways[0]
        return WaitingLine(
            finding=ladder.target.finding,
            zone=ladder.zone,
            method=method,
            method_name=knowledge.methods[method].name,
            questions=tuple(
                question_line(knowledge, question, finding, "The way on waits for it.")
                for finding, question in sorted(wanted, key=self._rank_of_open)
            ),
        )

    def _rank_of_open(self, each: Open) -> tuple[int, int, str]:
        finding, name = each
        question = self.knowledge.questions.get(name)
        return int(finding is not None), question.rank if question else 0, name

    def _open_of_bar(self, conclusion: Conclusion) -> list[Open]:
        """Return the answers that a bar rests on and nobody has given; none for a known bar."""
        found = list(self._open_answers(conclusion))
        read = [pair for pair in self._matched(conclusion) if pair[0].kind == "reading"]
        for pattern, reading in read:
            if "reach" in dict(pattern.allowed):
                found += self._clearing(reading)
        for _, reading in read:
            found = found or self._outweighing(reading)
        return found

    def _read(self, reading: Fact) -> Reading:
        told = self.conclusions.readings_of(reading.get("finding"))
        return next(r for r in told if r.deposit == reading.get("deposit"))

    def _clearing(self, reading: Fact) -> Iterator[Open]:
        """Yield the fewest unanswered questions that would clear a guard: one look, if one does."""
        if reading.get("standing") not in ("open", "doubtful"):
            return
        knowledge, reach, deposit = self.knowledge, self.consultant.reach, reading.get("deposit")
        finding, specimen = self.facts[reading.get("finding")], self.facts["specimen"]
        held = tuple(sorted(weight_of(piece) for piece in self._read(reading).evidence))
        suspected, most = (
            knowledge.judgement.suspected.value,
            knowledge.judgement.most_certain.value,
        )
        # The looks after which no open answer could make it suspected, the most telling first.
        left = sorted(reach.adds(deposit, finding, specimen).items(), key=lambda add: add[1])
        wanted: list[str] = []
        guard = knowledge.deposits[deposit].guard
        while (
            left and reach_of(held, tuple(w for _, w in left), suspected, most, guard) >= suspected
        ):
            wanted += left.pop()[0]
        settled = self.conclusions.settled(finding.key)
        excluding = {
            name
            for name in reach.excluding(deposit, settled.deposit if settled else None)
            if finding.fields.get(name) == UNKNOWN and knowledge.questions[name].risk == "none"
        }
        # Beside a sign that speaks for it an exclusion would only be a contradiction.
        if len(wanted) > 1 and excluding and (not held or held[-1] < suspected):
            wanted = [min(excluding, key=lambda name: (knowledge.questions[name].rank, name))]
        for name in wanted:
            if name in knowledge.questions:
                yield (finding.key if name in finding.fields else None), name

    def _outweighing(self, reading: Fact) -> list[Open]:
        """Return the open answer about the whole insect that could take a suspicion away, if any.

        Of the place itself it was looked at: what is suspected there stands until it is looked
        again.
        """
        if reading.get("standing") not in ("suspected", "likely"):
            return []
        knowledge, deposit = self.knowledge, reading.get("deposit")
        judgement, guard = knowledge.judgement, knowledge.deposits[deposit].guard
        held = [weight_of(piece) for piece in self._read(reading).evidence]
        suspected, found = judgement.suspected.value, []
        for (name, _), weight in self.consultant.reach.against.get(deposit, {}).items():
            is_open = self.facts["specimen"].fields.get(name) == UNKNOWN
            is_asked = is_open and name in knowledge.questions
            weights = tuple(sorted((*held, weight)))
            left = certainty_of(weights, suspected, judgement.most_certain.value, guard)
            if is_asked and left < suspected and is_put(knowledge, self.case, None, name):
                found.append((knowledge.questions[name].rank, name))
        return [(None, name) for _, name in sorted(found)[:1]]


def is_put(knowledge: Knowledge, case: Case, finding: str | None, name: str) -> bool:
    """Return whether a question is put at all: group, place or record do not answer it already.

    An unknown group answers nothing. What is left out stays open for the rules.
    """
    question, taxon = knowledge.questions.get(name), knowledge.taxa.get(case.taxon)
    if question is None:
        return True
    if question.traits and taxon is not None and not set(question.traits) & set(taxon.traits):
        return False
    told = {**case.answers, **(case.finding(finding).signs if finding else {})}
    if any(told.get(name, UNKNOWN) not in answers for name, answers in question.when.items()):
        return False
    if finding is None:
        return True
    zone = knowledge.zones.get(case.finding(finding).zone)
    if question.surfaces and zone is not None and not set(question.surfaces) & set(zone.surface):
        return False
    worked_on = {finding for attempt in case.attempts for finding in attempt.findings}
    return not question.after_cleaning or finding in worked_on


def with_told(knowledge: Knowledge, case: Case, question: str, answer: str | None) -> Case:
    """Return the case with an answer about the specimen, and with what it answers besides.

    What was told itself stands. What only another answer gave goes with that answer, or gives way.
    """
    new = changes.with_answer(case, question, answer)
    given, gives = _implied(knowledge, case.answers), _implied(knowledge, new.answers)
    free = {name for name, value in case.answers.items() if value in given.get(name, ())}
    gone: dict[str, str | None] = dict.fromkeys(free - gives.keys())
    said = _implied(knowledge, {question: answer} if answer else {})
    more = {n: v for n, (v,) in said.items() if n in free or n not in case.answers}
    return changes.with_answers(new, {**gone, **more})


def _implied(knowledge: Knowledge, answers: Mapping[str, str]) -> dict[str, list[str]]:
    """Return question -> answers that other answers about the specimen give to it."""
    found: dict[str, list[str]] = {}
    for name, value in answers.items():
        for answer in knowledge.questions[name].answers if name in knowledge.questions else ():
            for other, given in answer.implies.items() if answer.id == value else ():
                found.setdefault(other, []).append(given)
    return found


def question_line(
    knowledge: Knowledge, name: str, finding: str | None, because: str
) -> QuestionLine:
    """Return a question in words, with why it is asked; ``taxon`` counts as one."""
    if name == "taxon":
        answers = tuple((t.id, t.name) for t in knowledge.taxa.values())
        ask, how = "Which group is it?", "Look at the whole animal."
        return QuestionLine(name, None, ask, how, answers, "none", 10, because)
    question = knowledge.questions[name]
    return QuestionLine(
        question=name,
        finding=finding,
        ask=question.ask,
        how=question.how,
        answers=tuple((a.id, a.text) for a in question.answers),
        risk=question.risk,
        seconds=question.seconds,
        because=because,
    )


def is_shown(line: WaitingLine, findings: Sequence[FindingLine]) -> bool:
    """Return whether a target is one that waits, not one that is still to be told what it is."""
    states = {finding.id: finding.state for finding in findings}
    return line.finding is None or states[line.finding] == "waiting"


def waited_for(knowledge: Knowledge, plan: Plan) -> tuple[QuestionLine, ...]:
    """Return what is to be answered first where a plan has no step and no gate asks anything."""
    open_ones = {question.question for question in plan.questions if question.finding is None}
    gates = {knowledge.rule(n.rule).ask for n in plan.notices if n.kind == "gate"}
    if plan.steps or plan.refused or plan.held or gates & open_ones:
        return ()
    lines = (line for line in plan.waiting if is_shown(line, plan.findings))
    return tuple(dict.fromkeys(question for line in lines for question in line.questions))
