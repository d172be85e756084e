"""Which questions would still help: whose answer opens a gate, lifts a bar, or lets work go on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from triage.case import changes
from triage.case.models import Case
from triage.engine.consult import COUNTED, Conclusions, Consultant
from triage.engine.facts import Conclusion, Fact
from triage.engine.reading import certainty_of, reach_of, weight_of
from triage.engine.vocabulary import UNKNOWN
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Family
from triage.plan.ladder import Ladder, applies, harshness_key
from triage.plan.model import FindingLine, Plan, QuestionLine, Untested, WaitingLine

Wanted = tuple[str, str | None, str]
# (finding or None for the specimen, question)
Open = tuple[str | None, str]


def open_fields(
    consultant: Consultant, conclusion: Conclusion, facts: Mapping[str, Fact]
) -> Iterator[tuple[str, str]]:
    """Yield (fact key, field) for each unknown answer on which a conclusion rests."""
    positive = [p for p in consultant.rule(conclusion.rule).patterns if not p.absent]
    for pattern, key in zip(positive, conclusion.facts, strict=True):
        for name, _ in pattern.allowed:
            if facts[key].get(name) == UNKNOWN:
                yield key, name


def open_answers(
    consultant: Consultant, conclusion: Conclusion, facts: Mapping[str, Fact]
) -> Iterator[Open]:
    """Yield the unknown answers on which a conclusion rests and that a person can give."""
    asked = {*consultant.knowledge.questions, "taxon"}
    for key, name in open_fields(consultant, conclusion, facts):
        if name in asked:
            yield (key if facts[key].kind == "finding" else None), name


def _from_gates(knowledge: Knowledge, conclusions: Conclusions, stage: str) -> Iterator[Wanted]:
    """Yield the questions that open the gate of the present stage; later ones can wait."""
    facts = {fact.key: fact for fact in conclusions.facts}
    for conclusion in conclusions.of(Family.GATE, "close"):
        ask = conclusion.get("ask")
        if ask and conclusion.get("stage") == stage:
            # Of a place it is asked of the finding that the gate rests on.
            for key in dict.fromkeys(("specimen", *conclusion.facts)):
                if facts[key].fields.get(ask) == UNKNOWN:
                    whose = key if facts[key].kind == "finding" else None
                    yield ask, whose, knowledge.rule(conclusion.rule).because


def _from_forbids(
    consultant: Consultant, conclusions: Conclusions, shown: frozenset[str]
) -> Iterator[Wanted]:
    facts = {fact.key: fact for fact in conclusions.facts}
    for conclusion in conclusions.of(Family.FORBID, "forbid"):
        if not shown & set(conclusion.get("method")):
            continue
        because = consultant.knowledge.rule(conclusion.rule).because
        for finding, name in open_answers(consultant, conclusion, facts):
            yield name, finding, because


def _from_readings(
    consultant: Consultant, conclusions: Conclusions, open_findings: Iterable[str]
) -> Iterator[Wanted]:
    """Yield the unanswered questions that tell the candidates of a finding apart."""
    useful = consultant.deposits_by_question
    knowledge = consultant.knowledge
    for finding in sorted(open_findings):
        fact = conclusions.fact(finding)
        settled = conclusions.settled(finding)
        candidates = {
            r.deposit
            for r in conclusions.readings_of(finding)
            if r.deposit in consultant.guards
            and r.reach >= knowledge.judgement.suspected.value
            and (settled is None or r.deposit != settled.deposit)
        }
        if settled is None:
            candidates |= {r.deposit for r in conclusions.readings_of(finding) if r.certainty > 0}
            candidates = candidates or set(knowledge.deposits)
        if not candidates:
            continue
        for question in knowledge.questions.values():
            if question.about != "zone" or fact.get(question.id) != UNKNOWN:
                continue
            about = useful.get(question.id, frozenset()) & candidates
            if about:
                names = sorted(knowledge.deposits[d].name for d in about)
                more = "" if len(names) <= 3 else f" and {len(names) - 3} more"
                because = f"It speaks for or against: {', '.join(names[:3])}{more}."
                yield question.id, finding, because


def tests_forbidden(consultant: Consultant, conclusions: Conclusions) -> Iterator[Untested]:
    """Yield the drops that are not set on a finding: every wet touch with that liquid is forbidden.

    Only what is known forbids here, of the liquid itself: the place, its colours, the pin, what is
    protected there or settled. What is merely open, or suspected dirt, is what the test is for.
    """
    knowledge, facts = consultant.knowledge, {fact.key: fact for fact in conclusions.facts}
    drops = {q.id: q.liquid for q in knowledge.questions.values() if q.liquid}
    touches = {q: frozenset(_touches(knowledge, liquid)) for q, liquid in drops.items()}
    findings = [fact.key for fact in conclusions.facts if fact.kind == "finding"]
    found: dict[tuple[str, str], str] = {}
    for conclusion in conclusions.of(Family.FORBID, "forbid"):
        if not _is_firm(consultant, conclusion, facts):
            continue
        because = knowledge.rule(conclusion.rule).because
        for question, methods in touches.items():
            if methods and methods <= set(conclusion.get("method")):
                whose = conclusion.get("finding")
                for finding in findings if whose is None else (whose,):
                    found.setdefault((finding, question), because)
    yield from (Untested(*place, because) for place, because in sorted(found.items()))


def _touches(knowledge: Knowledge, liquid: str) -> Iterator[str]:
    """Yield the methods of cleaning that touch a place with a liquid."""
    for method in knowledge.methods.values():
        contact = knowledge.techniques[method.technique].contact
        if method.agent == liquid and contact == "touch" and method.stage == "clean":
            yield method.id


def _is_firm(consultant: Consultant, conclusion: Conclusion, facts: Mapping[str, Fact]) -> bool:
    """Return whether an interlock looks at the liquid, and rests on nothing that is open."""
    asked = (held for held in consultant.knowledge.rule(conclusion.rule).when if "method" in held)
    if not any({"agent", "agent_class"} & set(held["method"]) for held in asked):
        return False
    readings = [facts[key] for key in conclusion.facts if facts[key].kind == "reading"]
    return not any(open_fields(consultant, conclusion, facts)) and all(
        reading.get("standing") == "settled"
        or (reading.get("deposit") in consultant.guards and reading.get("standing") in COUNTED)
        for reading in readings
    )


RISKS = {"none": 0, "touch": 1, "micro-test": 2}


def questions_for(
    consultant: Consultant,
    conclusions: Conclusions,
    stage: str,
    shown: frozenset[str],
    open_findings: Iterable[str],
    untested: Iterable[Untested] = (),
) -> tuple[QuestionLine, ...]:
    """Return the questions that would still help, each once, safest and cheapest first.

    Parameters
    ----------
    stage         the present stage
    shown         methods that were offered; only interlocks on these are worth a question
    open_findings findings that are neither cleared nor accepted nor left alone
    untested      tests that are not to be made
    """
    knowledge = consultant.knowledge
    still_open = frozenset(open_findings)
    wanted: dict[tuple[str | None, str], str] = {}
    gates = tuple(_from_gates(knowledge, conclusions, stage))
    still_open |= {finding for _, finding, _ in gates if finding is not None}
    sources = (
        *gates,
        *_from_forbids(consultant, conclusions, shown),
        *_from_readings(consultant, conclusions, still_open),
    )
    for name, finding, because in sources:
        wanted.setdefault((finding, name), because)
    forbidden = {(test.finding, test.question) for test in untested}
    lines = [
        question_line(knowledge, name, finding, why)
        for (finding, name), why in wanted.items()
        if (finding, name) not in forbidden and (finding is None or finding in still_open)
    ]
    return tuple(sorted(lines, key=lambda q: _rank(knowledge, q)))


def _rank(knowledge: Knowledge, line: QuestionLine) -> tuple[object, ...]:
    question = knowledge.questions.get(line.question)
    order = (RISKS[question.risk], question.rank) if question else (0, 0)
    return (line.finding is not None, line.finding or "", *order, line.question)


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


def waiting_for(
    consultant: Consultant, conclusions: Conclusions, ladder: Ladder, case: Case
) -> WaitingLine | None:
    """Return the fewest open answers that alone keep a method from a target, None if none do."""
    facts = {fact.key: fact for fact in conclusions.facts}
    methods, done = consultant.knowledge.methods, ladder.progress.done
    firm = {bar.method for bar in ladder.barred if not bar.interlock}
    firm |= {m for m in ladder.offered if done(m) >= methods[m].passes}
    open_of: dict[str, set[Open]] = {m: set() for m in ladder.offered if m not in firm}
    for conclusion in conclusions.of(Family.FORBID, "forbid"):
        if not applies(conclusion, ladder.target):
            continue
        found = frozenset(_open_of_bar(consultant, conclusions, conclusion, facts, case))
        for method in conclusion.get("method"):
            if method in open_of and found:
                open_of[method] |= found
            elif method in open_of:
                del open_of[method]
    key = harshness_key(consultant.knowledge)
    ways = sorted(open_of.items(), key=lambda way: (len(way[1]), key(way[0])))
    if not ways or not ways[0][1]:
        return None
    method, wanted = ways[0]
    return WaitingLine(
        finding=ladder.target.finding,
        zone=ladder.zone,
        method=method,
        method_name=consultant.knowledge.methods[method].name,
        questions=tuple(
            question_line(consultant.knowledge, question, finding, "The way on waits for it.")
            for finding, question in sorted(
                wanted, key=lambda each: _rank_of_open(consultant, each)
            )
        ),
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


def _rank_of_open(consultant: Consultant, each: Open) -> tuple[int, int, str]:
    finding, name = each
    question = consultant.knowledge.questions.get(name)
    return int(finding is not None), question.rank if question else 0, name


def _open_of_bar(
    consultant: Consultant,
    conclusions: Conclusions,
    conclusion: Conclusion,
    facts: Mapping[str, Fact],
    case: Case,
) -> list[Open]:
    """Return the answers that a bar rests on and nobody has given; none for a bar that is known."""
    found = list(open_answers(consultant, conclusion, facts))
    positive = [p for p in consultant.rule(conclusion.rule).patterns if not p.absent]
    read = [(p, facts[key]) for p, key in zip(positive, conclusion.facts, strict=True)]
    read = [(pattern, fact) for pattern, fact in read if pattern.kind == "reading"]
    for pattern, reading in read:
        if "reach" in dict(pattern.allowed):
            found += _clearing(consultant, conclusions, reading, facts)
    for _, reading in read:
        found = found or _outweighing(consultant, conclusions, reading, facts, case)
    return found


def _clearing(
    consultant: Consultant, conclusions: Conclusions, reading: Fact, facts: Mapping[str, Fact]
) -> Iterator[Open]:
    """Yield the fewest unanswered questions that would clear a guard: one look, where one does."""
    if reading.get("standing") not in ("open", "doubtful"):
        return
    knowledge, reach, deposit = consultant.knowledge, consultant.reach, reading.get("deposit")
    finding, specimen = facts[reading.get("finding")], facts["specimen"]
    read = next(r for r in conclusions.readings_of(finding.key) if r.deposit == deposit)
    held = tuple(sorted(weight_of(piece) for piece in read.evidence))
    suspected, most = knowledge.judgement.suspected.value, knowledge.judgement.most_certain.value
    # The looks after which no open answer could make it suspected, the most telling first.
    left = sorted(reach.adds(deposit, finding, specimen).items(), key=lambda add: add[1])
    wanted: list[str] = []
    guard = knowledge.deposits[deposit].guard
    while left and reach_of(held, tuple(w for _, w in left), suspected, most, guard) >= suspected:
        wanted += left.pop()[0]
    settled = conclusions.settled(finding.key)
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


def _outweighing(
    consultant: Consultant, told: Conclusions, reading: Fact, facts: Mapping[str, Fact], case: Case
) -> list[Open]:
    """Return the open answer about the whole insect that could take a suspicion away, if one can.

    Of the place itself it was looked at: what is suspected there stands until it is looked again.
    """
    if reading.get("standing") not in ("suspected", "likely"):
        return []
    knowledge, deposit, key = consultant.knowledge, reading.get("deposit"), reading.get("finding")
    judgement, guard = knowledge.judgement, knowledge.deposits[deposit].guard
    held = next(r.evidence for r in told.readings_of(key) if r.deposit == deposit)
    suspected, found = judgement.suspected.value, []
    for (name, _), weight in consultant.reach.against.get(deposit, {}).items():
        is_open = facts["specimen"].fields.get(name) == UNKNOWN and name in knowledge.questions
        weights = tuple(sorted((*map(weight_of, held), weight)))
        left = certainty_of(weights, suspected, judgement.most_certain.value, guard)
        if is_open and left < suspected and is_put(knowledge, case, None, name):
            found.append((knowledge.questions[name].rank, name))
    return [(None, name) for _, name in sorted(found)[:1]]
