"""Conclusions and bench become a plan: a pure function of knowledge, case and bench."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.casefacts import Locate, nowhere
from triage.engine.consult import LEFT_ALONE, Conclusions, Consultant
from triage.engine.reading import Reading
from triage.engine.vocabulary import agent_ids
from triage.exposure.day import DayLedger
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Family
from triage.knowledge.specimen import STAGES
from triage.plan.air import AirJudge
from triage.plan.barring import bench_bars
from triage.plan.ladder import Ladder, build_ladder, forbidden, offers_for, recheck
from triage.plan.model import (
    Alternative,
    ConflictLine,
    Excluded,
    FindingLine,
    Hold,
    Notice,
    Plan,
    Step,
)
from triage.plan.ordering import Item, arrange
from triage.plan.outcomes import (
    Target,
    closed_findings,
    condition_target,
    finding_target,
    insert_id,
    progress_of,
    step_id,
)
from triage.plan.questions import questions_for
from triage.plan.steps import Setting, complete_step

DONE = "done"
CLEAN_STAGES = frozenset({"examine", "clean"})


@dataclass(frozen=True)
class Skeleton:
    """A plan before its steps are completed: enough for what-if questions and for the sweep."""

    conclusions: Conclusions
    stage: str
    refused: tuple[str, ...]
    ladders: tuple[Ladder, ...]
    items: tuple[Item, ...]
    closed: frozenset[str]
    held: tuple[str, ...]

    def ladder(self, target: str) -> Ladder:
        """Return the ladder of a target key."""
        return next(ladder for ladder in self.ladders if ladder.target.key == target)


class Planner:
    """Makes plans with one compiled rulebase."""

    def __init__(self, consultant: Consultant) -> None:
        self.consultant = consultant
        self.knowledge: Knowledge = consultant.knowledge

    # -- skeleton ---------------------------------------------------------------------------

    def skeleton(
        self, case: Case, bench: Bench, judge: AirJudge, *, locate: Locate = nowhere, plain: bool = False
    ) -> Skeleton:
        """Return what is to be done in which order, without the details of each step."""
        closed = closed_findings(case)
        conclusions = self.consultant.consult(case, bench, closed, locate=locate, plain=plain)
        stage = _stage(conclusions)
        refused = tuple(c.rule for c in conclusions.of(Family.GATE, "refuse"))
        ladders = self._ladders(case, bench, judge, conclusions, closed)
        if not plain:
            # Second lock: the interlocks are worked out again by a different evaluator.
            recheck(ladders, self.consultant.run_plain(Family.FORBID, conclusions.facts))
        held = case.held_by()
        queues = [] if refused or held else self._queues(conclusions, ladders, stage, closed)
        items = arrange(self.knowledge, queues, conclusions.of(Family.ORDER))
        return Skeleton(conclusions, stage, refused, ladders, items, closed, held)

    def _ladders(
        self, case: Case, bench: Bench, judge: AirJudge, conclusions: Conclusions, closed: frozenset[str]
    ) -> tuple[Ladder, ...]:
        ladders = []
        for finding in case.findings:
            settled = conclusions.settled(finding.id)
            problem = settled.deposit if settled else None
            target = finding_target(finding.id)
            ladders.append(self._ladder(case, bench, judge, conclusions, target, finding.zone, problem))
        for conclusion in conclusions.of(Family.RECOGNISE, "state"):
            condition = conclusion.get("condition")
            target = condition_target(condition)
            if all(ladder.target != target for ladder in ladders):
                ladders.append(self._ladder(case, bench, judge, conclusions, target, None, condition))
        return tuple(ladders)

    def _ladder(
        self,
        case: Case,
        bench: Bench,
        judge: AirJudge,
        conclusions: Conclusions,
        target: Target,
        zone: str | None,
        problem: str | None,
    ) -> Ladder:
        offered = offers_for(conclusions, target, problem)
        barred = forbidden(conclusions.of(Family.FORBID), target, self.knowledge)
        barred += bench_bars(self.knowledge, bench, offered, judge)
        progress = progress_of(case, target)
        return build_ladder(self.knowledge, target, zone, problem, offered, barred, progress)

    def _queues(
        self, conclusions: Conclusions, ladders: Sequence[Ladder], stage: str, closed: frozenset[str]
    ) -> list[list[Item]]:
        reached = STAGES.index(stage) if stage != DONE else len(STAGES)  # type: ignore[arg-type]
        clean = STAGES.index("clean")
        queues = []
        for ladder in ladders:
            if ladder.progress.cleared_by or ladder.target.key in closed:
                continue
            rungs = ladder.rungs
            if ladder.target.condition is not None:
                # Work on a state of the specimen belongs to its own stage and to no later one.
                if self.knowledge.conditions[ladder.target.condition].stage != stage:
                    continue
            elif reached > clean:
                continue
            elif stage not in CLEAN_STAGES:
                # Behind a closed gate only air and dry tools, and not before intake is passed.
                rungs = tuple(m for m in rungs if reached > 0 and self.knowledge.methods[m].while_dry)
            queues.append(self._queue(conclusions, ladder, rungs))
        return queues

    def _queue(self, conclusions: Conclusions, ladder: Ladder, rungs: Iterable[str]) -> list[Item]:
        inserts = [
            (frozenset(c.get("method")), c.get("first"))
            for c in conclusions.of(Family.ORDER, "insert")
        ]
        queue: list[Item] = []
        seen: set[str] = set()
        for place, method in enumerate(rungs, start=1):
            agents = agent_ids(self.knowledge, method)
            what = agents[0] if agents else method
            for methods, first in inserts:
                inserted = insert_id(ladder.target, first, what)
                if method in methods and inserted not in ladder.progress.inserts | seen:
                    seen.add(inserted)
                    queue.append(Item(inserted, ladder.target.key, ladder.zone, first, place, inserted=True))
            queue.append(Item(step_id(ladder.target, method), ladder.target.key, ladder.zone, method, place))
        return queue

    # -- whole plan -------------------------------------------------------------------------

    def plan(
        self, case: Case, bench: Bench, day: DayLedger | None = None, *, locate: Locate = nowhere
    ) -> Plan:
        """Return the whole plan of a case on a bench.

        Parameters
        ----------
        case   the record
        bench  the user's bench
        day    what was already released today in the bench's room
        locate gives the place of an answer in the case file, for errors

        Raises
        ------
        TriageError: the case or bench names something unknown.
        InterlockBroken: the second lock found a forbidden step; no plan is given.
        """
        judge = AirJudge(self.knowledge, bench, day or DayLedger())
        skeleton = self.skeleton(case, bench, judge, locate=locate)
        setting = Setting(self.knowledge, bench, skeleton.conclusions)
        steps = self._steps(case, judge, skeleton, setting)
        findings = tuple(self._finding_line(case, skeleton, f.id) for f in case.findings)
        offered = frozenset(m for ladder in skeleton.ladders for m in ladder.offered)
        still_open = [f.id for f in findings if f.state in ("open", "unsettled")]
        return Plan(
            case=case.id,
            title=case.title,
            knowledge_digest=self.knowledge.digest,
            bench=bench.name,
            stage=skeleton.stage,
            refused=tuple(self._notice("refused", rule) for rule in skeleton.refused),
            held=tuple(self._hold(case, attempt) for attempt in skeleton.held),
            findings=findings,
            steps=steps,
            excluded=self._excluded(skeleton),
            questions=questions_for(self.consultant, skeleton.conclusions, offered, still_open),
            conflicts=self._conflicts(skeleton.conclusions),
            notices=self._notices(skeleton, findings),
        )

    def _steps(
        self, case: Case, judge: AirJudge, skeleton: Skeleton, setting: Setting
    ) -> tuple[Step, ...]:
        sides = {finding.id: finding.side for finding in case.findings}
        steps: list[Step] = []
        seen: set[str] = set()
        for item in skeleton.items:
            ladder = skeleton.ladder(item.target)
            method = self.knowledge.methods[item.method]
            first_of_target = item.target not in seen
            if not item.inserted:
                seen.add(item.target)
            status = "next" if not steps else "then" if first_of_target else "if-needed"
            rules = ladder.offer_rules.get(item.method, ())
            side = sides.get(ladder.target.finding or "")
            steps.append(
                complete_step(setting, item, ladder, judge.choose(method), status, side=side, rules=rules)  # type: ignore[arg-type]
            )
        return tuple(steps)

    def _finding_line(self, case: Case, skeleton: Skeleton, finding_id: str) -> FindingLine:
        finding = case.finding(finding_id)
        fact = skeleton.conclusions.fact(finding_id)
        readings = skeleton.conclusions.readings_of(finding_id)
        shown = [r for r in readings if r.certainty > 0]
        best = shown[0] if shown else None
        deposit = self.knowledge.deposits[best.deposit] if best else None
        ladder = skeleton.ladder(finding_id)
        return FindingLine(
            id=finding_id,
            zone=finding.zone,
            zone_name=self.knowledge.zones[finding.zone].name if finding.zone in self.knowledge.zones else finding.zone,
            side=finding.side,
            deposit=best.deposit if best else None,
            deposit_name=deposit.name if deposit else "not identified yet",
            certainty=best.certainty if best else 0.0,
            standing=best.standing if best else "open",
            state=self._state(case, skeleton, ladder, best),
            alternatives=tuple(self._alternative(r) for r in shown[1:5]),
            fragility=fact.get("fragility"),
            leave_it=deposit.leave_it if deposit else "",
        )

    def _alternative(self, reading: Reading) -> Alternative:
        name = self.knowledge.deposits[reading.deposit].name
        return Alternative(reading.deposit, name, reading.certainty, reading.standing)

    def _state(self, case: Case, skeleton: Skeleton, ladder: Ladder, best: Reading | None) -> str:  # type: ignore[return]
        if case.finding(ladder.target.key).accepted:
            return "accepted"
        if ladder.progress.cleared_by:
            return "cleared"
        if best is None or best.standing != "settled":
            return "unsettled"
        if self.knowledge.deposits[best.deposit].guard in LEFT_ALONE:
            return "left"
        return "open" if ladder.rungs else "stopped"

    def _excluded(self, skeleton: Skeleton) -> tuple[Excluded, ...]:
        found = []
        for ladder in skeleton.ladders:
            for bar in ladder.barred:
                found.append(
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
                )
        return tuple(sorted(found, key=lambda e: (e.finding or "", not e.offered, e.method, e.rule)))

    def _conflicts(self, conclusions: Conclusions) -> tuple[ConflictLine, ...]:
        lines = []
        for conflict in conclusions.conflicts:
            good, bad = conflict.for_it, conflict.against_it
            name = self.knowledge.deposits[conflict.deposit].name
            lines.append(
                ConflictLine(
                    finding=conflict.finding,
                    deposit=conflict.deposit,
                    speaks_for=good.rule,
                    speaks_against=bad.rule,
                    sentence=(
                        f"{name}: one sign speaks for it ({self.knowledge.rule(good.rule).because}) "
                        f"and one against ({self.knowledge.rule(bad.rule).because})"
                    ),
                )
            )
        return tuple(lines)

    def _notice(self, kind: str, rule: str) -> Notice:
        return Notice(kind, self.knowledge.rule(rule).because, rule)  # type: ignore[arg-type]

    def _hold(self, case: Case, attempt_id: str) -> Hold:
        attempt = case.attempt(attempt_id)
        what = self.knowledge.methods[attempt.method].name if attempt.method in self.knowledge.methods else attempt.step
        sentence = (
            f"Held: {what} ended {attempt.outcome}. Nothing is offered until a person releases it "
            "with a written reason."
        )
        return Hold(attempt_id, attempt.finding, attempt.outcome, sentence)

    def _notices(self, skeleton: Skeleton, findings: Sequence[FindingLine]) -> tuple[Notice, ...]:
        notices = []
        for conclusion in skeleton.conclusions.of(Family.GATE, "close"):
            if conclusion.get("stage") == skeleton.stage:
                notices.append(self._notice("gate", conclusion.rule))
        for finding in findings:
            if finding.state == "left" or (finding.state == "stopped" and finding.leave_it):
                text = finding.leave_it or f"{finding.deposit_name}: leave it as it is."
                notices.append(Notice("leave-it", f"{finding.zone_name}: {text}", f"deposit:{finding.deposit}"))
            elif finding.state == "stopped":
                text = (
                    f"{finding.zone_name}: nothing permitted is left for {finding.deposit_name}. "
                    "Stop here and accept it as it is, with the reason."
                )
                notices.append(Notice("full-stop", text, "ladder-end"))
        notices += self._condition_stops(skeleton)
        return tuple(dict.fromkeys(notices))

    def _condition_stops(self, skeleton: Skeleton) -> list[Notice]:
        notices = []
        for ladder in skeleton.ladders:
            condition = self.knowledge.conditions.get(ladder.target.condition or "")
            if condition and condition.stage == skeleton.stage and not ladder.rungs:
                notices.append(Notice("full-stop", condition.full_stop, f"condition:{condition.id}"))
        return notices


def _stage(conclusions: Conclusions) -> str:
    """Return the first stage whose gate is not open, or ``done``."""
    closed = {c.get("stage") for c in conclusions.of(Family.GATE, "close")}
    return next((stage for stage in STAGES if stage in closed), DONE)


def answers_after(knowledge: Knowledge, condition: str | None, outcome: str) -> Mapping[str, str]:
    """Return the answers that a cleared attempt on a condition gives, empty for others."""
    entry = knowledge.conditions.get(condition or "")
    return dict(entry.when_cleared) if entry and outcome == "cleared" else {}


