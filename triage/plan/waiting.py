"""Where only open answers bar the way: which ones, and the step behind them.

An unknown answer bars what its worst answer would bar, so a target may be left without a rung
although nothing is known against it. Then the way is not closed but waits for answers; "leave
it" and "stop" are for targets whose every way is closed by what is known.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from triage.engine.consult import Conclusions, Consultant
from triage.engine.facts import Conclusion, Fact
from triage.engine.reading import reach_of, weight_of
from triage.engine.vocabulary import UNKNOWN
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Family
from triage.plan.ladder import Ladder, applies, harshness_key
from triage.plan.model import FindingLine, Plan, QuestionLine, WaitingLine
from triage.plan.questions import Open, open_answers, question_line


def waiting_for(
    consultant: Consultant, conclusions: Conclusions, ladder: Ladder
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
        found = frozenset(_open_answers(consultant, conclusions, conclusion, facts))
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
            for finding, question in sorted(wanted, key=lambda each: _rank(consultant, each))
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


def _rank(consultant: Consultant, each: Open) -> tuple[int, int, str]:
    finding, name = each
    question = consultant.knowledge.questions.get(name)
    return int(finding is not None), question.rank if question else 0, name


def _open_answers(
    consultant: Consultant,
    conclusions: Conclusions,
    conclusion: Conclusion,
    facts: Mapping[str, Fact],
) -> Iterator[Open]:
    """Yield the answers that a bar rests on and nobody has given; none for a bar that is known."""
    yield from open_answers(consultant, conclusion, facts)
    rule = consultant.rule(conclusion.rule)
    positive = [p for p in rule.patterns if not p.absent]
    for pattern, key in zip(positive, conclusion.facts, strict=True):
        reading = facts[key]
        if pattern.kind == "reading" and "reach" in dict(pattern.allowed):
            yield from _clearing(consultant, conclusions, reading, facts)


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
        if finding.get(name) == UNKNOWN and knowledge.questions[name].risk == "none"
    }
    # Beside a sign that speaks for it an exclusion would only be a contradiction.
    if len(wanted) > 1 and excluding and (not held or held[-1] < suspected):
        wanted = [min(excluding, key=lambda name: (knowledge.questions[name].rank, name))]
    for name in wanted:
        if name in knowledge.questions:
            yield (finding.key if name in finding.fields else None), name
