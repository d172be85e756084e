"""Conclusions and bench become a plan: a pure function of knowledge, case and bench."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import replace

from triage.case.changes import with_answers
from triage.case.models import Case
from triage.case.naming import one_line
from triage.case.profile import Bench
from triage.engine.casefacts import Locate, nowhere
from triage.engine.consult import COUNTED, Conclusions, Consultant
from triage.engine.facts import Conclusion, Fact
from triage.engine.reading import Reading
from triage.engine.vocabulary import ADVICE, UNKNOWN, agents_in
from triage.exposure.day import DayLedger
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Family
from triage.plan.airjudge import AirJudge
from triage.plan.ladder import Ladder, rungs_left
from triage.plan.liquids import Used, as_done
from triage.plan.model import (
    OPEN,
    Alternative,
    ConflictLine,
    Excluded,
    FindingLine,
    FindingState,
    Hold,
    Notice,
    NoticeKind,
    Plan,
    Step,
    StepStatus,
    WaitingLine,
)
from triage.plan.notices import air_notices, missing_attempts, not_told, room_notices, unread_keys
from triage.plan.questions import OpenQuestions, is_shown
from triage.plan.showing import too_small
from triage.plan.skeleton import Skeleton, SkeletonMaker
from triage.plan.steps import Setting, complete_step

# Other readings that are shown beside the first.
MOST_OTHERS = 4
# The state of each target without a rung, where its way is not closed for good.
Without = Mapping[str | None, FindingState]
# What a bench may be given: with it the method stands open.
OBTAINABLE = ("bench-lacks", "bench-gloves", "bench-no-stock")


class Planner:
    """Makes plans with one compiled rulebase."""

    def __init__(self, consultant: Consultant) -> None:
        self.consultant = consultant
        self.knowledge: Knowledge = consultant.knowledge
        self.maker = SkeletonMaker(consultant)
        forbids = consultant.normal.by_family[Family.FORBID]
        on_bench = (rule.id for rule in forbids if any(p.kind == "bench" for p in rule.patterns))
        self.obtainable = frozenset((*OBTAINABLE, *on_bench))
        self._judge: AirJudge | None = None

    def judge(self, bench: Bench, day: DayLedger) -> AirJudge:
        """Return the air judge of a bench on a day; the last is kept, it costs most of a plan."""
        if self._judge is None or (self._judge.bench, self._judge.day) != (bench, day):
            self._judge = AirJudge(self.knowledge, bench, day)
        return self._judge

    def plan(
        self, case: Case, bench: Bench, day: DayLedger | None = None, *, locate: Locate = nowhere
    ) -> Plan:
        """Return the whole plan of a case on a bench.

        Parameters
        ----------
        case   the record
        bench  the user's bench
        day    what was released in the last 24 hours in the bench's room
        locate gives the place of an answer in the case file, for errors

        Raises
        ------
        TriageError: the case or bench names something unknown.
        InterlockBroken: the second lock found a forbidden step; no plan is given.
        """
        judge = self.judge(bench, day or DayLedger())
        skeleton = self.maker.skeleton(case, bench, judge, locate=locate)
        planned = _agents_of(self.knowledge, skeleton)
        told, used = skeleton.conclusions, judge.day.used
        setting = Setting(self.knowledge, case, bench, told, used, planned)
        steps = self._steps(judge, skeleton, setting)
        asked = OpenQuestions(self.consultant, told, case)
        waiting = tuple(self._waiting(asked, skeleton))
        without: dict[str | None, FindingState] = dict.fromkeys(
            self._later(case, bench, judge, skeleton), "later"
        )
        without |= dict.fromkeys((line.finding for line in waiting), "waiting")
        findings = tuple(self._finding_line(case, skeleton, f.id, without) for f in case.findings)
        offered = frozenset(m for ladder in skeleton.ladders for m in ladder.offered)
        still_open = [f.id for f in findings if f.state in OPEN]
        untested = tuple(asked.tests_forbidden())
        return Plan(
            case=case.id,
            title=one_line(case.title),
            knowledge_digest=self.knowledge.digest,
            bench=bench.name,
            stage=skeleton.stage,
            refused=tuple(self._notice("refused", rule) for rule in skeleton.refused),
            held=tuple(self._hold(case, attempt) for attempt in skeleton.held),
            findings=findings,
            steps=steps,
            excluded=self._excluded(skeleton),
            questions=asked.lines(skeleton.stage, offered, still_open, untested),
            untested=untested,
            conflicts=tuple(self._conflicts(told)),
            waiting=waiting,
            notices=(
                *self._advice(case, told, only_first_aid=True),
                *too_small(case, bench, self.knowledge.judgement, findings),
                *air_notices(judge.day),
                *room_notices(bench, steps),
                *unread_keys("bench", bench),
                *unread_keys("case", case),
                *missing_attempts(case),
                *self._notices(case, skeleton, findings, waiting),
                *self._advice(case, told, only_first_aid=False),
            ),
        )

    def _steps(self, judge: AirJudge, skeleton: Skeleton, setting: Setting) -> tuple[Step, ...]:
        ladders = {ladder.target.key: ladder for ladder in skeleton.ladders}
        steps: list[Step] = []
        seen: set[str] = set()
        for item in skeleton.items:
            ladder, targets = ladders[item.target], {item.target, *item.also}
            status: StepStatus = "then" if targets - seen else "if-needed"
            if not item.inserted:
                seen |= targets
            served = (ladder, *(ladders[target] for target in item.also))
            choice = judge.choose(as_done(self.knowledge, item.method, item.before))
            steps.append(complete_step(setting, item, served, choice, status if steps else "next"))
        return tuple(steps)

    def _waiting(self, asked: OpenQuestions, skeleton: Skeleton) -> Iterator[WaitingLine]:
        """Yield the targets of this stage that nothing but open answers bars."""
        for ladder in skeleton.ladders:
            now = ladder.target.condition is None or self._is_now(ladder, skeleton)
            if now and not ladder.rungs and not ladder.progress.cleared_by:
                line = asked.waiting_for(ladder)
                if line is not None:
                    yield line

    def _is_now(self, ladder: Ladder, skeleton: Skeleton) -> bool:
        condition = self.knowledge.conditions.get(ladder.target.condition or "")
        return condition is not None and condition.stage == skeleton.stage

    def _later(
        self, case: Case, bench: Bench, judge: AirJudge, skeleton: Skeleton
    ) -> Iterator[str]:
        """Yield the findings whose way opens with what a step of this plan brings about."""
        open_ = {finding.id for finding in case.findings} - skeleton.closed
        bare = [each.target.key for each in skeleton.ladders if not each.rungs]
        bare = [key for key in bare if key in open_]
        for ladder in skeleton.standing if bare else ():
            condition = self.knowledge.conditions.get(ladder.target.condition or "")
            if condition and ladder.rungs and condition.when_cleared:
                then = with_answers(case, condition.when_cleared)
                # Nothing is planned on it: the shorter evaluation will do.
                ahead = self.maker.skeleton(then, bench, judge, plain=True)
                yield from (key for key in bare if ahead.ladder(key).rungs)

    def _finding_line(
        self, case: Case, skeleton: Skeleton, finding_id: str, without: Without
    ) -> FindingLine:
        finding = case.finding(finding_id)
        fact = skeleton.conclusions.fact(finding_id)
        readings = skeleton.conclusions.readings_of(finding_id)
        shown = [r for r in readings if r.certainty > 0]
        best = shown[0] if shown else None
        deposit = self.knowledge.deposits[best.deposit] if best else None
        ladder = skeleton.ladder(finding_id)
        zone = self.knowledge.zones.get(finding.zone)
        return FindingLine(
            id=finding_id,
            zone=finding.zone,
            zone_name=zone.name if zone else finding.zone,
            side=finding.side,
            deposit=best.deposit if best else None,
            deposit_name=deposit.name if deposit else "not identified yet",
            certainty=best.certainty if best else 0.0,
            standing=best.standing if best else "open",
            state=self._state(case, ladder, best, without),
            alternatives=tuple(self._others(shown[1:])),
            fragility=fact.get("fragility"),
            leave_it=deposit.leave_it if deposit else "",
        )

    def _others(self, readings: Sequence[Reading]) -> Iterator[Alternative]:
        """Yield the readings that come next, and whatever hazard is suspected, however far down."""
        for place, reading in enumerate(readings):
            deposit = self.knowledge.deposits[reading.deposit]
            if place < MOST_OTHERS or (deposit.guard == "hazard" and reading.standing in COUNTED):
                yield Alternative(deposit.id, deposit.name, reading.certainty, reading.standing)

    def _state(
        self, case: Case, ladder: Ladder, best: Reading | None, without: Without
    ) -> FindingState:
        if case.finding(ladder.target.key).accepted:
            return "accepted"
        if ladder.progress.cleared_by:
            return "cleared"
        if best is None or best.standing != "settled":
            return "unsettled"
        if self.knowledge.deposits[best.deposit].is_left:
            return "left"
        if ladder.rungs:
            return "open"
        return without.get(ladder.target.finding, "stopped")

    def _excluded(self, skeleton: Skeleton) -> tuple[Excluded, ...]:
        found = [
            Excluded(
                finding=ladder.target.finding,
                zone=ladder.zone,
                method=bar.method,
                method_name=self.knowledge.methods[bar.method].name,
                rule=bar.rule,
                because=bar.because,
                interlock=bar.interlock,
                offered=bar.method in ladder.offered,
            )
            for ladder in skeleton.ladders
            for bar in ladder.barred
        ]
        return tuple(
            sorted(found, key=lambda e: (e.finding or "", not e.offered, e.method, e.rule))
        )

    def _conflicts(self, conclusions: Conclusions) -> Iterator[ConflictLine]:
        for conflict in conclusions.conflicts:
            good, bad = conflict.for_it.rule, conflict.against_it.rule
            name = self.knowledge.deposits[conflict.deposit].name
            sentence = (
                f"{name}: for it, {self.knowledge.rule(good).because} "
                f"Against it, {self.knowledge.rule(bad).because}"
            )
            yield ConflictLine(conflict.finding, conflict.deposit, good, bad, sentence)

    def _notice(self, kind: NoticeKind, rule: str) -> Notice:
        return Notice(kind, self.knowledge.rule(rule).because, rule)

    def _gate(self, closed: Conclusion, told: Fact) -> Notice:
        """Return what shuts a gate; what rests on more than an open answer was found, not asked."""
        notice, ask = self._notice("gate", closed.rule), closed.get("ask")
        is_asked = told.fields.get(ask) == UNKNOWN and {*closed.facts} <= {told.key}
        return replace(notice, ask=ask) if is_asked else notice

    def _hold(self, case: Case, attempt_id: str) -> Hold:
        attempt = case.attempt(attempt_id)
        method = self.knowledge.methods.get(attempt.method or "")
        what = method.name if method else attempt.step
        words = self.knowledge.outcome_words(attempt.method, attempt.outcome)
        sentence = (
            f"Held: {what}, {words}. Nothing is offered until a person releases it "
            "with a written reason."
        )
        return Hold(attempt_id, attempt.finding, attempt.outcome, words, sentence)

    def _notices(
        self,
        case: Case,
        skeleton: Skeleton,
        findings: Sequence[FindingLine],
        waiting: Sequence[WaitingLine],
    ) -> tuple[Notice, ...]:
        told = skeleton.conclusions.fact("specimen")
        closed = skeleton.conclusions.of(Family.GATE, "close")
        notices = [self._gate(c, told) for c in closed if c.get("stage") == skeleton.stage]
        notices += self._go_on([line for line in waiting if is_shown(line, findings)])
        notices += self._told_twice(case, findings)
        notices += self._ends(findings)
        notices += not_told(skeleton, findings)
        notices += self._lacking(skeleton, {f.id for f in findings if f.state == "stopped"})
        notices += self._condition_stops(skeleton, frozenset(line.method for line in waiting))
        return tuple(dict.fromkeys(notices))

    def _advice(
        self, case: Case, conclusions: Conclusions, *, only_first_aid: bool
    ) -> Iterator[Notice]:
        """Yield what the rules advise, each sentence once with the places that it is about."""
        said: dict[str, list[str]] = {}
        kinds: dict[str, NoticeKind] = {}
        for advice in conclusions.of(Family.ADVISE, "advise"):
            if (advice.get("kind") == "first-aid") is only_first_aid:
                kinds[advice.rule] = advice.get("kind")
                places = said.setdefault(advice.rule, [])
                if advice.get("finding") is not None:
                    places.append(case.finding(advice.get("finding")).zone)
        for rule, places in sorted(said.items(), key=lambda item: ADVICE.index(kinds[item[0]])):
            told = f"{self._where(places)}{self.knowledge.rule(rule).because}"
            yield Notice(kinds[rule], told, rule)

    def _where(self, zones: Iterable[str | None]) -> str:
        """Return the names of zones to begin a sentence with, each once."""
        known = (self.knowledge.zones.get(zone or "") for zone in zones)
        names = ", ".join(dict.fromkeys(zone.name for zone in known if zone))
        return f"{names}: " if names else ""

    def _ends(self, findings: Sequence[FindingLine]) -> Iterator[Notice]:
        """Yield what is left alone, and where nothing permitted is left."""
        for finding in findings:
            if finding.state == "left" or (finding.state == "stopped" and finding.leave_it):
                text = finding.leave_it or f"{finding.deposit_name}: leave it as it is."
                rule = f"deposit:{finding.deposit}"
                yield Notice("leave-it", f"{finding.zone_name}: {text}", rule)
            elif finding.state == "stopped":
                text = (
                    f"{finding.zone_name}: nothing permitted is left for {finding.deposit_name}. "
                    "Stop here and accept it as it is, with the reason."
                )
                yield Notice("full-stop", text, "ladder-end")

    def _told_twice(self, case: Case, findings: Sequence[FindingLine]) -> Iterator[Notice]:
        """Yield what was told in two ways: nothing rests on it until it is answered once more."""
        names = {finding.id: finding.zone_name for finding in findings}
        for (finding, name), told in sorted(case.in_doubt().items()):
            question = self.knowledge.questions[name]
            texts = {answer.id: answer.text for answer in question.answers}
            first, then = (texts.get(each, each) for each in (told.before, told.after))
            yield Notice(
                "look-again",
                f'{names[finding]}: {question.ask} First "{first}", then "{then}" on '
                f"{told.at:%Y-%m-%d %H:%M}. Nothing rests on it until it is answered once more.",
                "told-twice",
            )

    def _lacking(self, skeleton: Skeleton, stopped: AbstractSet[str]) -> Iterator[Notice]:
        """Yield what the bench lacks where nothing else keeps the mildest step left away."""
        for ladder in skeleton.ladders:
            key, done = ladder.target.key, ladder.progress
            is_now = key in stopped or self._is_now(ladder, skeleton)
            out = {bar.method for bar in ladder.barred if bar.rule not in self.obtainable}
            left = rungs_left(ladder.bars, ladder.offered, out, done)
            if is_now and left and not ladder.rungs and not done.cleared_by:
                missing = [bar.because for bar in ladder.barred if bar.method == left[0]]
                name, where = self.knowledge.methods[left[0]].name, self._where((ladder.zone,))
                text = f"{where}{name} would be next. {' '.join(dict.fromkeys(missing))}"
                yield Notice("bench", text, "bench-lacks")

    def _go_on(self, lines: Sequence[WaitingLine]) -> Iterator[Notice]:
        """Yield what to answer, in order, and the step that then stands open, each once."""
        places: dict[str, list[str | None]] = {}
        for line in lines:
            asks = " ".join(question.ask for question in line.questions)
            told = f"to go on, answer: {asks} Then: {line.method_name}."
            places.setdefault(told, []).append(line.zone)
        for told, zones in places.items():
            yield Notice("waiting", f"{self._where(zones)}{told}", "open-answers")

    def _condition_stops(self, skeleton: Skeleton, waits: AbstractSet[str]) -> Iterator[Notice]:
        """Yield where nothing is left for a condition, also not behind an open answer."""
        for ladder in skeleton.ladders:
            is_now = self._is_now(ladder, skeleton)
            if is_now and not ladder.rungs and not ladder.offered & waits:
                condition = self.knowledge.conditions[ladder.target.condition or ""]
                yield Notice("full-stop", condition.full_stop, f"condition:{condition.id}")


def _agents_of(knowledge: Knowledge, skeleton: Skeleton) -> tuple[tuple[str, Used], ...]:
    """Return the agents of each method of the plan, with the name of the step."""
    methods = dict.fromkeys(item.method for item in skeleton.items)
    return tuple(
        (method, (agent, knowledge.methods[method].name))
        for method in methods
        for agent in sorted(agents_in(knowledge.methods[method]))
    )
