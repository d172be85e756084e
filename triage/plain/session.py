"""A whole session in plain lines: choose a case, answer, work through the plan, record."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from triage.case.models import Case
from triage.engine.casefacts import SPECIMEN
from triage.errors import TriageError
from triage.history.watch import chambers_of
from triage.looks import CLEAN, is_look, timed_s, unseen_zones
from triage.plain.dialogue import Dialogue, Stopped
from triage.plan.model import Plan, QuestionLine, Step
from triage.plan.outcomes import last_record
from triage.plan.ownrecord import RECORD, own_record
from triage.service import Workshop
from triage.service.acts import accept_suggestion, bench_day, note_look, suggestions_for
from triage.service.commandline import CommandLine
from triage.service.listing import CaseLine, doing_words
from triage.service.takeback import record_words
from triage.service.working import far_more
from triage.show.blocks import Line
from triage.show.lines import lines_of
from triage.show.plan import camera_lines, finding_blocks, head_blocks, plan_blocks
from triage.show.record import day_blocks
from triage.show.step import preparation, step_blocks, step_heading, step_line
from triage.show.words import (
    NO_STEP,
    OUTCOME_WORDS,
    duration,
    finding_line,
    other_readings,
    sure_by_step,
    timer_label,
)

# A puff of two seconds needs no clock.
LEAST_TIMED_S = 20.0
FEWEST_LETTERS = 3
SUGGESTED = "suggested "
NEW, DAY, MORE = "", "the-day", "more"
MORE_WORDS = "anything else: air, mix, chamber, box, sheet, stock, record, handbook"


class PlainSession:
    """One session on a workshop; every act goes through the same services as the interface."""

    def __init__(
        self, workshop: Workshop, dialogue: Dialogue, commands: CommandLine | None = None
    ) -> None:
        self.workshop = workshop
        self.ask = dialogue
        self.commands = commands
        known = commands.known() if commands else ()
        self.names = {each.name: each for each in known}
        dialogue.take = self._is_command
        dialogue.help = (
            "a number chooses that line; where words are asked for, write them and press Enter",
            f"commands may be typed where a number is asked for: {', '.join(self.names)}",
            "a command with --help behind it says how it is used",
        )

    def _is_command(self, line: str) -> bool:
        """Run a line that begins with the name of a command; return whether it did."""
        if self.commands is None or line.split(" ", 1)[0] not in self.names:
            return False
        try:
            self.ask.say("", *self.commands.run(line, self.workshop).splitlines())
        except TriageError as fault:
            self.ask.fault(fault)
        return True

    def run(self, case_id: str | None = None) -> None:
        """Run until the user stops or the input ends."""
        try:
            while True:
                chosen = case_id or self._choose_case()
                case_id = None
                self._work(chosen)
        except Stopped:
            self.ask.say("stopped; everything recorded is on disk")

    # -- choosing ---------------------------------------------------------------------------

    def _choose_case(self) -> str:
        listed = self.workshop.list_cases()
        lines = [line for line in listed if not line.fault]
        self.ask.say(*(f"broken, left as it is: {line.fault}" for line in listed if line.fault))
        choices = [(line.id, _case_words(line)) for line in lines]
        choices += [(NEW, "begin a new case"), (DAY, "the bench day, planned from now")]
        choices += [(MORE, MORE_WORDS)] if self.names else []
        while (chosen := self.ask.choose("Cases", choices)) in (DAY, MORE):
            if chosen == DAY:
                self.ask.say(*lines_of(day_blocks(bench_day(self.workshop))))
            else:
                self._more(None)
        return chosen or self._new_case()

    def _more(self, case: str | None) -> None:
        """Choose a command by what it does, then write the words behind its name."""
        listed = [(each.name, f"{each.name}: {each.what}") for each in self.names.values()]
        name = self.ask.choose("what is to be done?", [*listed, ("", "go back")])
        if name:
            self.ask.say(f"for example: {self.names[name].words(case)}")
            self._is_command(f"{name} {self.ask.listen('the words behind it')}")

    def _new_case(self) -> str:
        title = self.ask.words("what is on the bench, in a few words")
        taxa = [(t.id, t.name) for t in self.workshop.knowledge.taxa.values()]
        taxon = self.ask.choose("which group is it?", [*taxa, ("unknown", "cannot tell")])
        return self.workshop.new(title, taxon).id

    # -- one case ---------------------------------------------------------------------------

    def _work(self, case_id: str) -> None:
        while True:
            case = self.workshop.load(case_id)
            plan = self.workshop.plan(case)
            self._summary(plan, case)
            action = self.ask.choose("what now?", self._actions(case, plan))
            if action == "leave":
                return
            try:
                self._act(action, case, plan)
            except TriageError as fault:
                self.ask.fault(fault)

    def _summary(self, plan: Plan, case: Case | None = None) -> None:
        step = plan.next_step()
        record = own_record(step) if step else ""
        now = Line(step_line(step) if step else NO_STEP)
        behind = (Line(f"{RECORD}{record}", depth=1),) if record else ()
        self.ask.say("", *lines_of((*head_blocks(plan), *finding_blocks(plan)), self.ask.width))
        if case is not None:
            self.ask.say(*camera_lines(self.workshop.knowledge, case, plan))
        self.ask.say(*lines_of((now, *behind)))

    def _actions(self, case: Case, plan: Plan) -> list[tuple[str, str]]:
        actions = []
        step = plan.next_step()
        if step:
            actions.append(("step", f"start: {step.name}"))
        actions += [
            (f"{SUGGESTED}{each.step}", f"skip as suggested: {each.reason}")
            for each in suggestions_for(self.workshop, case, plan)
        ]
        if plan.held:
            actions.append(("release", "release the hold, with a reason"))
        agenda = self.workshop.desk.agenda(case)
        if agenda.worth:
            actions.append(("answer", f"answer questions, {len(agenda.worth)} could change that"))
        elif agenda.rest:
            actions.append(("answer", f"answer questions, {len(agenda.rest)} may matter later"))
        actions += [*self._looks(case), ("plan", "read the whole plan"), *self._ends(case, plan)]
        actions += [("more", MORE_WORDS)] if self.names else []
        actions.append(("leave", "back to the cases"))
        return actions

    def _looks(self, case: Case) -> list[tuple[str, str]]:
        """Return what can be said after looking at the specimen."""
        looks = [
            ("find", "say that something is seen in a zone"),
            ("clean", "say that a zone was looked at and is clean"),
        ]
        if unseen_zones(self.workshop.knowledge, case):
            looks.append(("rest", "say that the rest was looked at and is clean"))
        if chambers_of(self.workshop.knowledge, self.workshop.bench, case, self.workshop.clock()):
            looks.append(("looked", "I looked into its chamber"))
        return looks

    def _ends(self, case: Case, plan: Plan) -> list[tuple[str, str]]:
        """Return what can be left or taken back, the very last thing named."""
        ends = [("skip", "skip a method, with a reason")] if plan.steps else []
        if any(f.state in ("open", "unsettled", "waiting", "stopped") for f in plan.findings):
            ends.append(("accept", "leave a finding as it is, with a reason"))
        knowledge = self.workshop.knowledge
        act, last = self.workshop.last_act(case.id), last_record(case)
        if act is not None:
            ends.append(("undo", f"take back, with a reason: {act.words(knowledge)}"))
        elif last is not None:
            ends.append(("undo", f"take back, with a reason: {record_words(last, knowledge)}"))
        return ends

    def _act(self, action: str, case: Case, plan: Plan) -> None:
        acts: dict[str, Callable[[], None]] = {
            "step": lambda: self._step(case, plan.steps[0]),
            "release": lambda: self._release(case, plan),
            "answer": lambda: self._answer(case),
            "find": lambda: self._find(case),
            "clean": lambda: self._clean(case),
            "plan": lambda: self._read(case),
            "accept": lambda: self._accept(case, plan),
            "undo": lambda: self._undo(case),
            "skip": lambda: self._skip(case, plan),
            "looked": lambda: self._looked(case),
            "rest": lambda: self._rest(case),
            "more": lambda: self._more(case.id),
        }
        if action.startswith(SUGGESTED):
            accept_suggestion(self.workshop, case.id, action.removeprefix(SUGGESTED))
            self.ask.say("recorded; take the last record back if it was not meant")
            return
        acts[action]()

    def _read(self, case: Case) -> None:
        sure = self.workshop.desk.sure_plan(case)
        told = plan_blocks(sure.plan, whole=True, sure=sure_by_step(sure))
        self.ask.say(*lines_of(told))

    # -- observing --------------------------------------------------------------------------

    def _answer(self, case: Case) -> None:
        """Ask what could change the next step, the best first, until nothing could."""
        declined: set[tuple[str | None, str]] = set()
        asks_the_rest = False
        while True:
            places = {(finding or SPECIMEN, name) for finding, name in declined}
            agenda = self.workshop.desk.agenda(case, places).without(declined)
            if not agenda.worth and not asks_the_rest:
                asks_the_rest = self._asks_on(len(agenda.rest))
            waiting = agenda.all if asks_the_rest else agenda.worth
            if not waiting:
                return
            question = waiting[0]
            answer = self._one_answer(question)
            if answer == "back":
                return
            if answer == "unknown":
                # Asked again only when the user comes back: one question is put once a round.
                declined.add((question.finding, question.question))
                continue
            if question.finding is None:
                case = self.workshop.answer(case.id, question.question, answer)
            else:
                case = self.workshop.sign(case.id, question.finding, question.question, answer)
            for finding in self.workshop.plan(case).findings:
                if finding.id == question.finding:
                    told = (finding_line(finding), other_readings(finding))
                    self.ask.say(*(line for line in told if line))

    def _asks_on(self, many: int) -> bool:
        """Say that enough is known, and ask whether the questions that can wait are wanted."""
        self.ask.say("enough is known: no answer would change the next step now")
        if not many:
            return False
        on = ("on", f"ask on all the same: {many} that may matter later")
        return self.ask.choose("what now?", [("back", "back to the case"), on]) == "on"

    def _one_answer(self, question: QuestionLine) -> str:
        whose = question.finding or "whole specimen"
        choices = [
            *question.answers,
            ("unknown", "cannot tell"),
            ("why", "why ask, and how to find out"),
            ("back", "go back"),
        ]
        while True:
            answer = self.ask.choose(f"{whose}: {question.ask}", choices)
            if answer != "why":
                return answer
            self.ask.say(f"why: {question.because}", f"how: {question.how}")

    def _find(self, case: Case) -> None:
        zone, side = self._place(case)
        _, finding = self.workshop.add_finding(case.id, zone, side)
        self.ask.say(f"finding {finding} added; now answer the questions about it")

    def _clean(self, case: Case) -> None:
        zone, side = self._place(case)
        self.workshop.declare_clean(case.id, zone, side)
        self.ask.say(f"recorded: {CLEAN}")

    def _rest(self, case: Case) -> None:
        knowledge = self.workshop.knowledge
        names = (knowledge.zones[zone].name for zone in unseen_zones(knowledge, case))
        if self.ask.yes(
            f"Nothing is noted at: {', '.join(names)}. Each was looked at and is clean:"
        ):
            self.workshop.declare_rest_clean(case.id)

    def _looked(self, case: Case) -> None:
        note_look(self.workshop, case.id, self.ask.listen("what was seen or topped up, or Enter"))
        self.ask.say("recorded: looked into its chamber")

    def _place(self, case: Case) -> tuple[str, str | None]:
        knowledge = self.workshop.knowledge
        taxon = knowledge.taxa.get(case.taxon)
        zones = [
            (z.id, z.name) for z in knowledge.zones.values() if not taxon or taxon.plan in z.plans
        ]
        zone = self.ask.choose("in which zone?", zones)
        sides = [("left", "left"), ("right", "right"), ("both", "both"), ("", "no side")]
        return zone, self.ask.choose("on which side?", sides) or None

    def _accept(self, case: Case, plan: Plan) -> None:
        choices = [
            (f.id, f"{f.id} {f.zone_name}: {f.deposit_name}")
            for f in plan.findings
            if f.state in ("open", "unsettled", "waiting", "stopped")
        ]
        finding = self.ask.choose("which finding?", choices)
        self.workshop.accept(case.id, finding, self.ask.words("why may it stay", FEWEST_LETTERS))

    # -- working ----------------------------------------------------------------------------

    def _step(self, case: Case, step: Step) -> None:
        self.ask.say(*lines_of((step_heading(step), *step_blocks(step))))
        if step.hazardous and not self._is_prepared(step):
            self.ask.say("not opened: the preparation is not complete")
            return
        observed = self.ask.words(step.hold, FEWEST_LETTERS) if step.hold else ""
        opened = self.workshop.clock()
        time_s = timed_s(step)
        if time_s is not None and time_s >= LEAST_TIMED_S:
            opened = self._dwell(case, step, time_s) or opened
        choices = list(OUTCOME_WORDS.items())
        choices += [("photos", "first name the photos of this pass"), ("back", "nothing yet, back")]
        photos: tuple[str | None, str | None] = (None, None)
        while (outcome := self.ask.choose("what came of it?", choices)) == "photos":
            photos = (self._photo(case, "before"), self._photo(case, "after"))
        if outcome == "back":
            return
        minutes = round((self.workshop.clock() - opened).total_seconds() / 60, 1)
        amount = step.amount_ml if outcome != "not-done" else None
        if amount is not None:
            amount = self.ask.number("amount used in mL", amount)
            while (doubt := far_more(step, amount)) and not self.ask.yes(f"{doubt}. Is it so?"):
                amount = self.ask.number("amount used in mL", step.amount_ml)
        note = self.ask.listen("note, or Enter for none")
        self.workshop.record(
            case.id,
            step.id,
            outcome,
            amount_ml=amount,
            minutes=minutes,
            note=note,
            observed=observed,
            photo_before=photos[0],
            photo_after=photos[1],
            sure=True,
        )
        self.ask.say(f"recorded: {step.name}, {OUTCOME_WORDS[outcome]}")

    def _photo(self, case: Case, which: str) -> str | None:
        while True:
            path = self.ask.listen(f"photo {which}, its path beside the case, or Enter for none")
            if not path:
                return None
            try:
                self.workshop.check_photo(case.id, path)
            except TriageError as fault:
                self.ask.fault(fault)
            else:
                return path

    def _is_prepared(self, step: Step) -> bool:
        return all(self.ask.yes(f"ready? {item};") for item in preparation(step))

    def _dwell(self, case: Case, step: Step, seconds: float) -> datetime | None:
        """Start the timer of a step, or say what is left of it; return when it was started."""
        running = next((t for t in case.timers if t.step == step.id), None)
        if running is None:
            if not self.ask.yes(f"start the timer of {duration(seconds)};"):
                return None
            case = self.workshop.start_timer(case.id, step.id, seconds, timer_label(step))
            running = next(t for t in case.timers if t.step == step.id)
        left = (running.ends - self.workshop.clock()).total_seconds()
        ends = running.ends.strftime("%Y-%m-%d %H:%M:%S")
        self.ask.say(f"ends at {ends}, in {duration(round(left))}" if left > 0 else "time is over")
        while left > 0 and is_look(step) and self.ask.yes("look later by a quarter of the time;"):
            try:
                case = self.workshop.extend_timer(case.id, step.id)
            except TriageError as fault:
                self.ask.fault(fault)
                break
            ends = next(t.ends for t in case.timers if t.step == step.id).isoformat(" ")
            self.ask.say(f"ends at {ends}")
        return running.started

    def _release(self, case: Case, plan: Plan) -> None:
        choices = [(h.attempt, f"{h.attempt}: {h.sentence}") for h in plan.held]
        attempt = self.ask.choose("which hold?", choices)
        self.workshop.release(
            case.id, attempt, self.ask.words("why may work go on", FEWEST_LETTERS)
        )

    def _skip(self, case: Case, plan: Plan) -> None:
        choices = [(step.id, step.name) for step in plan.steps]
        step = plan.step(self.ask.choose("Skip which method?", [*choices, ("", "go back")]))
        if step is not None:
            reason = self.ask.words("Why not this one?", FEWEST_LETTERS)
            self.workshop.skip(case.id, step.finding, step.method, reason)

    def _undo(self, case: Case) -> None:
        self.workshop.take_back(case.id, self.ask.words("why is it taken back", FEWEST_LETTERS))


def _case_words(line: CaseLine) -> str:
    held, running = "HELD, " if line.held else "", f", @ {line.running}" if line.running else ""
    return f"{line.title or line.id}: {held}{doing_words(line)}{running}"
