"""Commands of the work itself: list, new, see, answer, plan, record, release, accept, undo."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from triage.commands.common import (
    PAIRS,
    PHOTO_OPTIONS,
    Arguments,
    command,
    either,
    number,
    option,
    pairs,
    write_file,
)
from triage.errors import TriageError, did_you_mean

if TYPE_CHECKING:
    from triage.service.measuring import Measured
    from triage.service.workshop import Workshop

SHEET_POINTS = 1400  # of each photo along its longer side, on the sheet
OUTCOMES = "what the step comes to, in its words"


@command("list --cases cases", as_json=True)
def run_list(arguments: Arguments) -> None:
    """List the cases, held ones first."""
    workshop = arguments.workshop()
    lines = workshop.list_cases()
    told = []
    if not lines:
        told.append(
            f"no cases in {workshop.cases}\n"
            'begin one with: triage new "what is on the bench"   or look at the demo: triage --demo'
        )
    for line in lines:
        if line.fault:
            told.append(f"{line.id}  BROKEN  {line.fault}")
            continue
        held = "HELD  " if line.held else ""
        running = f"  running: {line.running}" if line.running else ""
        told.append(
            f"{line.id}  {held}{line.stage}  next: {line.next_step or '-'}{running}  {line.title}"
        )
    shown = ("id", "title", "path", "stage", "next_step", "held", "running", "fault")
    content = [{name: getattr(line, name) for name in shown} for line in lines]
    arguments.show(content, "".join(f"{line}\n" for line in told))


@command(
    'new "Hoverfly, plate 4" --taxon flies',
    option("title", "what is on the bench, in a few words"),
    option("--taxon", "taxon group (triage handbook lists them)", default="unknown"),
    option("--id", "id of the case; made from the title by default", dest="case_id"),
    as_json=True,
)
def run_new(arguments: Arguments) -> None:
    """Begin a case."""
    workshop = arguments.workshop()
    case = workshop.new(arguments.title, arguments.taxon, arguments.case_id)
    path = workshop.path_of(case.id)
    told = (
        f"case {case.id} begun: {path}\n"
        f"next: triage plan {case.id}   or answer at the scope: triage {path}\n"
    )
    arguments.show({"id": case.id, "path": str(path)}, told)


@command(
    "answer hoverfly-plate-4 hydration=supple cracks=none",
    option("pairs", PAIRS, nargs="*", metavar="QUESTION=ANSWER"),
    on_case=True,
)
def run_answer(arguments: Arguments) -> None:
    """Answer questions about the whole specimen."""
    workshop = arguments.workshop(arguments.case)
    answers = pairs(arguments.pairs)
    workshop.answer_all(arguments.case, None, answers)
    print(f"recorded: {', '.join(f'{q} = {a}' for q, a in answers.items())}")


@command(
    "see hoverfly-plate-4 --zone thorax-hairy sheen=wet-gloss blotter=oil-spot",
    option("--zone", "zone of a new finding"),
    option("--side", "side of a new finding", choices=("left", "right", "both")),
    option("--finding", "id of a finding to add signs to"),
    option("--named", "what you take it for, if you know", metavar="DEPOSIT"),
    number("--size-um", "diameter of what is seen [um]: will it show at all?"),
    option("--clean", "the zone was looked at and is clean", action="store_true"),
    option("pairs", PAIRS, nargs="*", metavar="QUESTION=ANSWER"),
    on_case=True,
)
def run_see(arguments: Arguments) -> None:
    """Record what is seen in a zone."""
    from triage.show.words import finding_line

    workshop = arguments.workshop(arguments.case)
    signs = pairs(arguments.pairs)
    if (arguments.zone is None) == (arguments.finding is None):
        raise TriageError(
            "give --zone for a new finding or --finding for one there is", mend="one of the two"
        )
    if arguments.clean:
        if arguments.zone is None or signs or arguments.named:
            raise TriageError("--clean takes a zone and no signs", mend="give --zone only")
        workshop.declare_clean(arguments.case, arguments.zone, arguments.side)
        print(f"{arguments.zone}: looked at, clean")
        return
    case, finding = workshop.see(
        arguments.case,
        arguments.zone,
        arguments.side,
        finding=arguments.finding,
        named=arguments.named,
        size_um=arguments.size_um,
        signs=signs,
    )
    line = next(f for f in workshop.plan(case).findings if f.id == finding)
    print(f"finding {finding}: {finding_line(line)}")


@command(
    "plan hoverfly-plate-4 --whole",
    option("--whole", "every step in full", action="store_true"),
    on_case=True,
    as_json=True,
)
def run_plan(arguments: Arguments) -> None:
    """Print the plan of a case."""
    from triage.explain.sureplan import sure_plan_json
    from triage.service.acts import suggestions_for
    from triage.show.blocks import lines_of
    from triage.show.plan import camera_lines, plan_text, skip_blocks
    from triage.show.words import sure_by_step

    workshop, case = arguments.opened()
    sure = workshop.desk.sure_plan(case)
    if arguments.json:
        sys.stdout.write(sure_plan_json(sure))
        return
    for line in camera_lines(workshop.knowledge, case, sure.plan):
        print(line)
    sys.stdout.write(plan_text(sure.plan, whole=arguments.whole, sure=sure_by_step(sure)))
    for line in lines_of(skip_blocks(suggestions_for(workshop, case, sure.plan), case.id)):
        print(line)


@command(
    "record hoverfly-plate-4 --step f1-blot-dry --outcome better",
    option("--step", "id of the step in the plan", required=True),
    option("--outcome", f"{OUTCOMES}; --measure alone offers one", metavar="WORDS"),
    option("--ml", "amount used [mL]; the plan's amount by default", type=float),
    option("--yes", "the amount is right, however far beyond the planned one", action="store_true"),
    option("--minutes", "time taken [min]", type=float),
    option("--note", "anything worth remembering", default=""),
    option("--observed", "what was seen at a hold point", default=""),
    option("--photo-before", "photo beside the case, relative path"),
    option("--photo-after", "photo beside the case, relative path"),
    option("--measure", "compare both photos and keep the figures", action="store_true"),
    option("--marked", "and write both, changes marked, for the sheet", metavar="FILE.png"),
    *PHOTO_OPTIONS,
    on_case=True,
)
def run_record(arguments: Arguments) -> None:
    """Record an attempt on a step."""
    from triage.show.step import step_line
    from triage.show.words import NO_STEP, notice_words, urgent

    workshop = arguments.workshop(arguments.case)
    place = _new_png(workshop, arguments)
    told = _measured(workshop, arguments) if arguments.measure else None
    if arguments.outcome is None:
        raise TriageError("no outcome is given", mend=f"give --outcome: {OUTCOMES}")
    case = workshop.record(
        arguments.case,
        arguments.step,
        arguments.outcome,
        measured=told.figures(arguments.marked) if told else None,
        amount_ml=arguments.ml,
        minutes=arguments.minutes,
        note=arguments.note,
        observed=arguments.observed,
        photo_before=arguments.photo_before,
        photo_after=arguments.photo_after,
        sure=arguments.yes,
    )
    made = case.attempts[-1]
    came_to = workshop.knowledge.outcome_words(made.method, made.outcome)
    print(f"recorded as {made.id}: {made.step}, {came_to}")
    if told and place:
        write_file(place, told.marked_png(SHEET_POINTS))
    plan = workshop.plan(case)
    for line in (*map(notice_words, urgent(plan)), *(hold.sentence for hold in plan.held)):
        print(line)
    following = plan.next_step()
    print(step_line(following) if following else f"stage: {plan.stage}. {NO_STEP}")


def _new_png(workshop: Workshop, arguments: Arguments) -> Path | None:
    """Return where the marked photos go, None where none are asked for; no file is overwritten."""
    from triage.case.folder import photo_path

    if arguments.marked is None:
        return None
    place = photo_path(workshop.path_of(arguments.case), arguments.marked)
    if not arguments.measure or place.suffix.lower() != ".png" or place.exists():
        raise TriageError(
            f'"{arguments.marked}" cannot be written',
            mend="name a PNG file that is not there yet, with --measure",
        )
    return place


def _measured(workshop: Workshop, arguments: Arguments) -> Measured:
    """Compare the photos of a record and print what they tell."""
    from triage.commands.sheet import measured_here
    from triage.show.blocks import lines_of

    names = arguments.photo_before, arguments.photo_after
    if None in names:
        raise TriageError(
            "two photos are needed to measure", mend="give --photo-before and --photo-after"
        )
    case = workshop.path_of(arguments.case)
    before, after = (workshop.check_photo(case, each) for each in names)
    told = measured_here(workshop, before, after, arguments)
    for line in lines_of(told.lines()):
        print(line)
    return told


@command(
    'release wasp-02 a3 --reason "..."',
    option("attempt", "id of the attempt that holds it"),
    option("--reason", "why work may go on", required=True),
    on_case=True,
)
def run_release(arguments: Arguments) -> None:
    """Release a hold with a reason."""
    workshop = arguments.workshop(arguments.case)
    workshop.release(arguments.case, arguments.attempt, arguments.reason)
    print(f"released {arguments.attempt}: {arguments.reason}")


@command(
    'accept wasp-02 f1 --reason "stain stays"',
    option("finding", "id of the finding"),
    option("--reason", "why it may stay", required=True),
    on_case=True,
)
def run_accept(arguments: Arguments) -> None:
    """Accept a finding as it is."""
    workshop = arguments.workshop(arguments.case)
    workshop.accept(arguments.case, arguments.finding, arguments.reason)
    print(f"accepted {arguments.finding} as it is: {arguments.reason}")


@command(
    'skip wasp-02 blot-dry --finding f1 --reason "..."',
    option("method", "id of the method"),
    option("--finding", "id of the finding"),
    either(
        option("--reason", "why it is skipped, or offered again"),
        option("--as-suggested", "skip it for the reason the record gives", action="store_true"),
    ),
    option("--again", "take the skip back: offer it again", action="store_true"),
    on_case=True,
)
def run_skip(arguments: Arguments) -> None:
    """Skip a method with a reason, or as the record suggests."""
    workshop = arguments.workshop(arguments.case)
    method, finding = arguments.method, arguments.finding
    if arguments.again:
        if arguments.reason is None:
            raise TriageError("--again takes no suggestion", mend="say why with --reason")
        workshop.offer_again(arguments.case, finding, method, arguments.reason)
        print(f"offered again {method}: {arguments.reason}")
        return
    if arguments.as_suggested:
        from triage.service.acts import accept_method

        case = accept_method(workshop, arguments.case, finding, method)
    else:
        case = workshop.skip(arguments.case, finding, method, arguments.reason)
    print(f"skipped {method}: {case.overrides[-1].reason}")


@command(
    'follow wasp-02 freeze-quarantine museum-freezing-1999 --reason "..."',
    option("method", "id of the method"),
    option("source", "id of the document, as the step shows it"),
    option("--reason", "why it is followed", required=True),
    on_case=True,
)
def run_follow(arguments: Arguments) -> None:
    """Follow another document where they disagree on a step; its own goes back."""
    workshop = arguments.workshop(arguments.case)
    workshop.follow(arguments.case, arguments.method, arguments.source, arguments.reason)
    print(f"followed for {arguments.method}: {arguments.source}: {arguments.reason}")


@command(
    'undo wasp-02 --reason "wrong key"',
    option("--reason", "why", required=True),
    option("--finding", "withdraw this finding, entered by mistake, instead"),
    on_case=True,
)
def run_undo(arguments: Arguments) -> None:
    """Take the last attempt or skip back by a correction, or withdraw a finding."""
    workshop, before = arguments.opened()
    if arguments.finding:
        workshop.withdraw(arguments.case, arguments.finding, arguments.reason)
        print(f"withdrawn {arguments.finding}, kept on file: {arguments.reason}")
        return
    case = workshop.undo(arguments.case, arguments.reason)
    if len(case.overrides) > len(before.overrides):
        print(f"offered again {case.overrides[-1].method}: {arguments.reason}")
        return
    print(f"recorded as {case.attempts[-1].id}: {case.attempts[-1].corrects} counts as not done")
    if anew := [question for question in before.answers if question not in case.answers]:
        print(f"to answer anew: {', '.join(anew)}")


@command(
    "timer wasp-02 f1-blot-dry",
    option("step", "id of the step in the plan"),
    option("--seconds", "how long; the dwell of the step by default", type=float),
    either(
        option("--later", "put a look off; never an exposure limit", action="store_true"),
        option("--stop", "take the timer out", action="store_true"),
        required=False,
    ),
    on_case=True,
)
def run_timer(arguments: Arguments) -> None:
    """Start, put off or stop the timer of a step."""
    workshop, case = arguments.opened()
    if arguments.stop:
        workshop.stop_timer(arguments.case, arguments.step)
        print(f"stopped: {arguments.step}")
        return
    if arguments.later:
        case = workshop.extend_timer(arguments.case, arguments.step)
    else:
        plan = workshop.plan(case)
        step = plan.step(arguments.step)
        if step is None:
            known = [each.id for each in plan.steps]
            raise TriageError(
                f'no step "{arguments.step}" in the plan', mend=did_you_mean(arguments.step, known)
            )
        seconds = arguments.seconds or step.dwell_s
        if not seconds or seconds < 0:
            raise TriageError("this step has no dwell", mend="give --seconds above zero")
        case = workshop.start_timer(arguments.case, step.id, seconds, step.name)
    ends = next(t.ends for t in case.timers if t.step == arguments.step)
    print(f"{arguments.step} ends at {ends:%Y-%m-%d %H:%M:%S}")
