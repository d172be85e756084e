"""A case of the casebook against the plan that the program makes of it.

In doubt a step is not the act that is hoped for: one that is only near, one behind another, a
question that is asked while something already acts, "leave it" said while answers are open.
"""

import re
from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import Literal, NamedTuple

from tests.casebook.entry import Entered, is_method
from tests.casebook.model import Account, Act, table
from tests.support.explaining import likelihood, sweep_of
from tests.support.knowledge import planner
from triage.engine.vocabulary import STANDINGS, agent_ids
from triage.explain.nextquestion import ranked_questions
from triage.plan.model import Plan, Step

SOFTENED = {
    "relaxed-before": {"once", "more"},
    "hydration": {"damp-not-ready", "too-wet", "over-relaxed"},
}


class Fault(NamedTuple):
    """One expectation that does not hold."""

    kind: Literal["next", "never", "then", "say", "ask_first", "readings"]
    reason: str
    seen: str


class Verdict(NamedTuple):
    """How one case is judged.

    ``idle``: the plan offers nothing that acts.
    """

    account: Account
    faults: tuple[Fault, ...]
    unsaid: tuple[str, ...]
    idle: bool

    @property
    def grade(self) -> Literal["right", "partly", "wrong"]:
        """Return wrong where the next act is, or where is offered what must never be."""
        kinds = {fault.kind for fault in self.faults}
        return "wrong" if kinds & {"next", "never"} else "partly" if kinds else "right"

    def words(self) -> str:
        lines = [f"{self.account.id}: {self.grade}"]
        lines += [f"  {fault.kind}: {fault.reason} ({fault.seen})" for fault in self.faults]
        return "\n".join([*lines, f"  cannot be said: {'; '.join(self.unsaid) or 'nothing'}"])


class Judging:
    """One account beside its plan."""

    def __init__(self, account: Account, told: Entered) -> None:
        self.account, self.expect, self.told = account, account.expect, told
        self.knowledge = planner().knowledge
        self.plan = planner().plan(told.case, told.bench)
        self.notices = (*self.plan.refused, *self.plan.notices)
        self.lines = {line.id: line for line in self.plan.findings}
        self.resting = [Act(act=name) for name, entry in table().acts.items() if entry.rests]

    def verdict(self) -> Verdict:
        """Return the verdict, with each expectation that does not hold."""
        judges = (self._next, self._never, self._then, self._say, self._ask_first, self._readings)
        faults = tuple(fault for judge in judges for fault in judge())
        idle = not self._acting(self.plan, ())
        return Verdict(self.account, faults, self.told.unsaid, idle)

    def is_act(self, act: Act, step: Step) -> bool:
        """Return whether a step of the plan is an act, or belongs to a group of acts."""
        entry = table().acts[act.act]
        read = {line.deposit for key, line in self.lines.items() if key in step.findings}
        technique = self.knowledge.techniques[step.technique]
        agents = [self.knowledge.agents[a] for a in agent_ids(self.knowledge, step.method)]
        classes = {agent.agent_class for agent in agents}
        warm = bool(entry.from_c and step.temp_c and step.temp_c[0] >= entry.from_c)
        marks = {technique.contact, technique.wet, *classes} & {*entry.marks}
        if warm or marks or self._is_any((Act(act=each) for each in entry.acts), step):
            return True
        on = not entry.on or not read.isdisjoint(entry.on)
        again = not entry.again or self._softened()
        return on and again and is_method(self.knowledge, act, step.method)

    def _is_any(self, acts: Iterable[Act], step: Step) -> bool:
        return any(self.is_act(act, step) for act in acts)

    def _softened(self) -> bool:
        case, chambers = self.told.case, table().acts["chamber-again"].methods
        answered = any(case.answers.get(question) in told for question, told in SOFTENED.items())
        return answered or any(a.method in chambers for a in case.effective_attempts())

    def _name(self, step: Step) -> str:
        single = (n for n in table().acts if not n.startswith("any-"))
        return "/".join(n for n in single if self.is_act(Act(act=n), step)) or step.method

    def _acting(self, plan: Plan, accepted: Iterable[Act]) -> list[Step]:
        """Return the steps that do something to the specimen and that are not accepted."""
        passed = [*accepted, *self.resting]
        return [step for step in plan.steps if not self._is_any(passed, step)]

    def _said(self, act: Act) -> bool:
        """Return whether the plan says an act in words, and nothing in it acts against them."""
        if act.act == "ask":
            named = self.expect.ask_first
            asked = all(map(self._asked, named)) if named else bool(self.plan.questions)
            return asked and not self._acting(self.plan, (*self.expect.may, *self.expect.next))
        words = {*table().acts[act.act].notices}
        heard = {n.rule for n in self.notices if words & {n.kind, n.rule}}
        if not heard or self._acting(self.plan, self.expect.may):
            return False
        # Is it meant, or only said while nothing is answered?
        told = self.told.with_the_rest(self.expect.ask_first)
        later = planner().plan(told.case, told.bench)
        still = heard & {notice.rule for notice in (*later.refused, *later.notices)}
        return bool(still) and not self._acting(later, self.expect.may)

    def _asked(self, words: str) -> bool:
        question = table().question_of(words)
        told = {*self.told.case.answers, *(q for f in self.told.case.findings for q in f.signs)}
        # What is told already need not be asked.
        if question in told or any(line.question == question for line in self.plan.questions):
            return True
        if question not in self.knowledge.questions:
            return False
        ranked = ranked_questions(sweep_of(self.told.case, self.told.bench), likelihood())
        return bool(ranked) and ranked[0].line.question == question

    def _next(self) -> Iterator[Fault]:
        wanted = self.expect.next
        first = next((s for s in self.plan.steps if not self._is_any(self.expect.may, s)), None)
        if (first and self._is_any(wanted, first)) or any(map(self._said, wanted)):
            return
        kinds = ["held"] if self.plan.held else dict.fromkeys(n.kind for n in self.notices)
        seen = self._name(first) if first else f"nothing ({', '.join(kinds) or 'no word'})"
        hoped = ", ".join(map(str, wanted))
        yield Fault("next", f"{seen} first", f"wanted {hoped}; stage {self.plan.stage}")

    def _never(self) -> Iterator[Fault]:
        for act in self.expect.never:
            found = [step for step in self.plan.steps if self.is_act(act, step)]
            if found:
                seen = ", ".join(f"{step.status} {step.id}" for step in found)
                yield Fault("never", f"{self._name(found[0])} offered", f"never {act}: {seen}")
            elif act.act != "ask" and self._said(act):
                yield Fault("never", f"{act} said", "in words")

    def _then(self) -> Iterator[Fault]:
        """Yield neighbours of the order that stand the wrong way round, of those that occur."""
        steps = self.plan.steps
        places: list[tuple[int, str]] = []
        for group in self.expect.then:
            found = [place for place, step in enumerate(steps) if self._is_any(group, step)]
            name = "/".join(map(str, group))
            # What stands in the order twice is looked for behind its first place.
            first = max((place for place, said in places if said == name), default=-1)
            places += [(place, name) for place in found if place > first][:1]
        for (one, before), (other, after) in pairwise(places):
            if other < one:
                yield Fault("then", f"{after} before {before}", f"places {other} and {one}")

    def _say(self) -> Iterator[Fault]:
        text = " ".join(" ".join(self._text()).split())
        for say in self.expect.say:
            # From the beginning of a word: "age" is not said by "damage".
            words = "|".join(re.escape(" ".join(word.split())) for word in say.words)
            if not re.search(rf"(?<!\w)(?:{words})", text, re.IGNORECASE):
                yield Fault("say", "not said where the step is read", say.meaning)

    def _text(self) -> Iterator[str]:
        """Yield what is read at the next step and above it, without ids."""
        yield from (notice.text for notice in self.notices)
        yield from (hold.sentence for hold in self.plan.held)
        yield from (conflict.sentence for conflict in self.plan.conflicts)
        for line in self.plan.findings:
            yield from (line.zone_name, line.deposit_name, *(a.name for a in line.alternatives))
        for step in self.plan.steps[:1]:
            worn, air = step.protection, step.air
            yield from (step.name, step.tool, *step.do, step.success, step.drying, step.because)
            yield from (step.hold, *step.rinse, *step.keep_away, *step.disposal)
            yield from (*worn.gloves, *worn.gloves_fail, *worn.eyes, *worn.breathing)
            yield from (made.sentence for made in step.make_up)
            yield from (caution.text for caution in step.cautions)
            yield from (f"{stop.see} {stop.then}" for stop in step.stop_points)
            yield f"{air.sentence} {air.ventilation}" if air else ""

    def _ask_first(self) -> Iterator[Fault]:
        acting = self._acting(self.plan, (*self.expect.may, *self.expect.next))
        for question in self.expect.ask_first:
            if table().question_of(question) not in (*self.knowledge.questions, "taxon"):
                yield Fault("ask_first", "no such question to ask", f"cannot be said: {question}")
            elif acting:
                yield Fault("ask_first", f"{self._name(acting[0])} before a question", question)
            elif not self._asked(question):
                yield Fault("ask_first", "not among the questions", question)

    def _readings(self) -> Iterator[Fault]:
        for finding, wanted in self.expect.readings.items():
            line, deposit = self.lines.get(finding), wanted.deposit or wanted.denied or ""
            others = line.alternatives if line else ()
            shown = {other.deposit: other.standing for other in others}
            shown |= {line.deposit: line.standing} if line and line.deposit else {}
            least = STANDINGS.index("likely" if wanted.denied else wanted.at_least)
            sure = STANDINGS.index(shown.get(deposit, "open")) >= least
            if sure is (wanted.denied is not None):
                reason = f"taken for {deposit}" if wanted.denied else f"{deposit} not seen"
                yield Fault("readings", reason, f"{finding} read as {shown or 'nothing'}")
