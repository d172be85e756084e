"""Where only open answers bar the way: which ones, and the step behind them.

An unknown answer bars what its worst answer would bar, so a target may be left without a rung
although nothing is known against it. Then the way is not closed but waits for answers; "leave
it" and "stop" are for targets whose every way is closed by what is known.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from triage.engine.consult import Conclusions, Consultant
from triage.engine.facts import Conclusion, Fact
from triage.engine.vocabulary import UNKNOWN
from triage.knowledge.rules import Family
from triage.plan.ladder import Ladder, applies, harshness_key
from triage.plan.model import WaitingLine
from triage.plan.questions import open_fields, question_line

# (finding or None for the specimen, question)
Open = tuple[str | None, str]


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
        found = frozenset(_open_answers(consultant, conclusion, facts))
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


def _rank(consultant: Consultant, each: Open) -> tuple[int, int, str]:
    finding, name = each
    question = consultant.knowledge.questions.get(name)
    return int(finding is not None), question.rank if question else 0, name


def _open_answers(
    consultant: Consultant, conclusion: Conclusion, facts: Mapping[str, Fact]
) -> Iterator[Open]:
    """Yield the answers that a bar rests on and nobody has given; none for a bar that is known."""
    asked = {*consultant.knowledge.questions, "taxon"}
    for key, name in open_fields(consultant, conclusion, facts):
        if name in asked:
            yield (key if facts[key].kind == "finding" else None), name
    rule = consultant.rule(conclusion.rule)
    positive = [p for p in rule.patterns if not p.absent]
    for pattern, key in zip(positive, conclusion.facts, strict=True):
        reading = facts[key]
        if pattern.kind == "reading" and "reach" in dict(pattern.allowed):
            yield from _could_speak(consultant, reading, facts)


def _could_speak(
    consultant: Consultant, reading: Fact, facts: Mapping[str, Fact]
) -> Iterable[Open]:
    """Return the unanswered questions that could still make a guard of what is there."""
    if reading.get("standing") not in ("open", "doubtful"):
        return
    finding, specimen = facts[reading.get("finding")], facts["specimen"]
    of_finding, of_specimen = consultant.reach.fields[reading.get("deposit")]
    questions = consultant.knowledge.questions
    for fact, names in ((finding, of_finding), (specimen, of_specimen)):
        for name in names:
            if name in questions and fact.get(name) == UNKNOWN:
                yield (fact.key if fact is finding else None), name
