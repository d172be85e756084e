"""A whole session in plain lines: choose a case, answer, work through the plan, record."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from triage.case.models import CLEAN, Attempt, Case
from triage.errors import TriageError
from triage.history.watch import chambers_of
from triage.looks import unseen_zones
from triage.places import copy_demo
from triage.plain.bench import ask_bench
from triage.plain.dialogue import FEWEST_LETTERS, Dialogue, Stopped
from triage.plain.working import work_on
from triage.plan.model import STANDING, FindingLine, Plan, QuestionLine, Step
from triage.plan.names import RECORD, finding_names, own_record
from triage.plan.outcomes import last_record
from triage.service.acts import accept_suggestion, bench_day, note_look, suggestions_for
from triage.service.asking import Visit, place_of
from triage.service.commandline import CommandLine, Known, Word
from triage.service.listing import CaseLine, doing_words
from triage.service.photographs import view_photo
from triage.service.takeback import record_words
from triage.service.workshop import Workshop
from triage.show.blocks import Line
from triage.show.plan import camera_lines, finding_blocks, head_blocks, plan_blocks
from triage.show.record import day_blocks, day_head
from triage.show.step import step_line
from triage.show.words import NO_STEP, finding_line, other_readings, sure_by_step

MORE_WORDS = "anything else: air, mix, chamber, box, sheet, stock, record, handbook"
Act = Callable[[], object]
Acts = list[tuple[Act, str]]


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
            self.ask.say("", *self.commands.run(line, self.workshop, self.ask.width).splitlines())
        except TriageError as fault:
            self.ask.fault(fault)
        return True

    def run(self, case_id: str | None = None) -> None:
        """Run until the user stops or the input ends."""
        try:
            if case_id is not None:
                self._work(case_id)
            while True:
                self._choose_case()
        except Stopped:
            self.ask.say("stopped; everything recorded is on disk")

    def _do(self, act: Act) -> None:
        """Do what was chosen; say in place what cannot be done."""
        try:
            act()
        except TriageError as fault:
            self.ask.fault(fault)

    def _choose_case(self) -> None:
        listed = self.workshop.list_cases()
        self.ask.say(*(f"broken, left as it is: {line.fault}" for line in listed if line.fault))
        acts: Acts = [
            (partial(self._work, line.id), _case_words(line)) for line in listed if not line.fault
        ]
        acts += [
            (lambda: self._work(self._new_case()), "begin a new case"),
            (self._day, "the bench day, planned from now"),
            (lambda: ask_bench(self.ask, self.workshop), "the bench: person, room, air, stock"),
        ]
        if not listed:
            acts.append((lambda: copy_demo(self.workshop.cases), "make the demo cases"))
        self._do(self.ask.choose("Cases", [*acts, *self._more(None)]))

    def _day(self) -> None:
        day = bench_day(self.workshop)
        self.ask.show((Line(f"bench day {day_head(day)}"), *day_blocks(day)))

    def _more(self, case: str | None) -> Acts:
        """Return the way to the commands, nothing where there are none."""
        return [(lambda: self._ask_command(case), MORE_WORDS)] if self.names else []

    def _ask_command(self, case: str | None) -> None:
        """Choose a command by what it does, then ask for each word that it may be given."""
        listed: list[tuple[Known | None, str]] = [
            (each, f"{each.name}: {each.what}") for each in self.names.values()
        ]
        known = self.ask.choose("what is to be done?", [*listed, (None, "go back")])
        if known is None:
            return
        if known.words:
            self.ask.say("each word in its turn; Enter leaves it out, or takes what stands there")
        self._is_command(known.line({word.name: self._word(word, case) for word in known.words}))

    def _word(self, word: Word, case: str | None) -> str:
        if word.name == "case" and case:
            return case
        said = " or ".join(word.choices) or f"as {word.example}"
        return self.ask.listen(f"{word.what}{f' ({said})' if word.choices or word.example else ''}")

    def _new_case(self) -> str:
        title = self.ask.words("what is on the bench, in a few words")
        taxa = [(t.id, t.name) for t in self.workshop.knowledge.taxa.values()]
        taxon = self.ask.choose("which group is it?", [*taxa, ("unknown", "cannot tell")])
        return self.workshop.new(title, taxon).id

    def _work(self, case_id: str) -> None:
        while True:
            case = self.workshop.load(case_id)
            plan = self.workshop.plan(case)
            self._summary(plan, case)
            acts = [*self._acts(case, plan), (None, "back to the cases")]
            act = self.ask.choose("what now?", acts)
            if act is None:
                return
            self._do(act)

    def _summary(self, plan: Plan, case: Case) -> None:
        step = plan.next_step()
        record = own_record(step) if step else ""
        now = Line(step_line(step) if step else NO_STEP)
        behind = (Line(f"{RECORD}{record}", depth=1),) if record else ()
        self.ask.say("")
        self.ask.show((*head_blocks(plan), *finding_blocks(plan)))
        self.ask.say(*camera_lines(self.workshop.knowledge, case, plan))
        self.ask.show((now, *behind))

    def _acts(self, case: Case, plan: Plan) -> Acts:
        """Return what can be done with a case now, in the order of the work."""
        acts: Acts = []
        step = plan.next_step()
        if step:
            acts.append(
                (partial(work_on, self.ask, self.workshop, case, step), f"start: {step.name}")
            )
        acts += [
            (partial(self._skip_suggested, case, each.step), f"skip as suggested: {each.reason}")
            for each in suggestions_for(self.workshop, case, plan)
        ]
        if plan.held:
            acts.append((lambda: self._release(case, plan), "release the hold, with a reason"))
        agenda = self.workshop.desk.agenda(case)
        if agenda.worth or agenda.rest:
            may = "could change that" if agenda.worth else "may matter later"
            many = len(agenda.worth or agenda.rest)
            acts.append((lambda: self._answer(case), f"answer questions, {many} {may}"))
        acts += [*self._looks(case), (lambda: self._read(case), "read the whole plan")]
        return [*acts, *self._ends(case, plan), *self._more(case.id)]

    def _looks(self, case: Case) -> Acts:
        looks: Acts = [
            (lambda: self._find(case), "say that something is seen in a zone"),
            (lambda: self._clean(case), "say that a zone was looked at and is clean"),
        ]
        if unseen_zones(self.workshop.knowledge, case):
            looks.append((lambda: self._rest(case), "say that the rest was looked at and is clean"))
        if chambers_of(self.workshop.knowledge, self.workshop.bench, case, self.workshop.clock()):
            looks.append((lambda: self._looked(case), "I looked into its chamber"))
        pictured = [each for each in case.attempts if each.photo_before or each.photo_after]
        if pictured:
            looks.append((lambda: self._show(case, pictured[-1]), "look at the newest photos"))
        return looks

    def _ends(self, case: Case, plan: Plan) -> Acts:
        """Return what can be left or taken back, the very last thing named."""
        ends: Acts = []
        if plan.steps:
            ends.append((lambda: self._skip(case, plan), "skip a method, with a reason"))
        if any(found.state in STANDING for found in plan.findings):
            accept = "leave a finding as it is, with a reason"
            ends.append((lambda: self._accept(case, plan), accept))
        knowledge = self.workshop.knowledge
        act, last = self.workshop.last_act(case.id), last_record(case)
        said = act.words(knowledge) if act else record_words(last, knowledge) if last else ""
        if said:
            back = lambda: self.workshop.take_back(case.id, self._reason("why is it taken back"))
            ends.append((back, f"take back, with a reason: {said}"))
        return ends

    def _read(self, case: Case) -> None:
        sure = self.workshop.desk.sure_plan(case)
        self.ask.show(plan_blocks(sure.plan, whole=True, sure=sure_by_step(sure)))

    def _show(self, case: Case, attempt: Attempt) -> None:
        for photo in filter(None, (attempt.photo_before, attempt.photo_after)):
            place = self.workshop.check_photo(case.id, photo)
            view_photo(place)
            self.ask.say(f"shown: {place}")

    def _answer(self, case: Case) -> None:
        """Ask what could change the next step, the best first, until nothing could."""
        visit = Visit()
        while True:
            plan = self.workshop.plan(case)
            visit.agenda = self.workshop.desk.agenda(case, visit.declined)
            left = visit.left()
            waiting = left.all if visit.asks_the_rest else left.worth
            if not waiting:
                self._say_end(visit, plan)
                if visit.asks_the_rest or not left.rest or not self._asks_on(len(left.rest)):
                    return
                visit.asks_the_rest = True
                continue
            question = waiting[0]
            answer = self._one_answer(question, plan)
            if answer == "back":
                return
            visit.asked.append(question)
            if answer == "unknown":
                # Asked again only when the user comes back: one question is put once a round.
                visit.declined |= {place_of(question)}
                continue
            case = self.workshop.answer(case.id, question.question, answer, question.finding)
            for finding in self.workshop.plan(case).findings:
                if finding.id == question.finding:
                    told = (finding_line(finding), other_readings(finding))
                    self.ask.say(*(line for line in told if line))

    def _say_end(self, visit: Visit, plan: Plan) -> None:
        """Say that enough is known; of what cannot be told what to look for, and what is safe."""
        names = finding_names(plan)
        asked = {question.finding for question in visit.asked}
        untold: list[FindingLine | None] = [
            line for line in plan.findings if line.id in asked and line.standing != "settled"
        ]
        for line in untold or [None]:
            said = visit.end_words(plan, line, self.workshop.knowledge)
            self.ask.say("", *([f"{names[line.id]}:"] if line else []), *said)

    def _asks_on(self, many: int) -> bool:
        on = f"ask on all the same: {many} that may matter later"
        return self.ask.choose("what now?", [(False, "back to the case"), (True, on)])

    def _one_answer(self, question: QuestionLine, plan: Plan) -> str:
        whose = finding_names(plan).get(question.finding or "", "whole specimen")
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
        _, finding = self.workshop.see(case.id, zone, side)
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
        sides = [("left", "left"), ("right", "right"), ("both", "both"), (None, "no side")]
        return zone, self.ask.choose("on which side?", sides)

    def _reason(self, prompt: str) -> str:
        return self.ask.words(prompt, FEWEST_LETTERS)

    def _release(self, case: Case, plan: Plan) -> None:
        choices = [(h.attempt, f"{h.attempt}: {h.sentence}") for h in plan.held]
        attempt = self.ask.choose("which hold?", choices)
        self.workshop.release(case.id, attempt, self._reason("why may work go on"))

    def _accept(self, case: Case, plan: Plan) -> None:
        names = finding_names(plan)
        open_now = [found for found in plan.findings if found.state in STANDING]
        choices = [(f.id, f"{f.id} {names[f.id]}: {f.deposit_name}") for f in open_now]
        finding = self.ask.choose("which finding?", choices)
        self.workshop.accept(case.id, finding, self._reason("why may it stay"))

    def _skip(self, case: Case, plan: Plan) -> None:
        steps: list[tuple[Step | None, str]] = [(step, step.name) for step in plan.steps]
        step = self.ask.choose("Skip which method?", [*steps, (None, "go back")])
        if step is not None:
            reason = self._reason("Why not this one?")
            self.workshop.skip(case.id, step.finding, step.method, reason)

    def _skip_suggested(self, case: Case, step: str) -> None:
        accept_suggestion(self.workshop, case.id, step)
        self.ask.say("recorded; take the last record back if it was not meant")


def _case_words(line: CaseLine) -> str:
    held, running = "HELD, " if line.held else "", f", @ {line.running}" if line.running else ""
    return f"{line.title or line.id}: {held}{doing_words(line)}{running}"
