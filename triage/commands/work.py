"""Commands of the work itself: list, new, see, answer, plan, record, release, accept, undo."""

from __future__ import annotations

import sys

from triage.commands.common import (
    PAIRS,
    Arguments,
    Subparsers,
    command,
    pairs,
    print_json,
    workshop_of,
)
from triage.errors import TriageError, did_you_mean

OUTCOME_WORDS = "cleared | better | no-change | worse | damage | not-done"


def add_commands(subparsers: Subparsers) -> None:
    """Add the commands of this module."""
    command(
        subparsers,
        "list",
        "list the cases, held ones first",
        "list --cases cases",
        run_list,
        as_json=True,
    )

    new = command(
        subparsers,
        "new",
        "begin a case",
        'new "Hoverfly, plate 4" --taxon flies',
        run_new,
        as_json=True,
    )
    new.add_argument("title", help="what is on the bench, in a few words")
    new.add_argument("--taxon", default="unknown", help="taxon group (triage handbook lists them)")
    new.add_argument("--id", dest="case_id", help="id of the case; made from the title by default")

    answer = command(
        subparsers,
        "answer",
        "answer questions about the whole specimen",
        "answer hoverfly-plate-4 hydration=supple cracks=none",
        run_answer,
        on_case=True,
    )
    answer.add_argument("pairs", nargs="*", metavar="QUESTION=ANSWER", help=PAIRS)

    see = command(
        subparsers,
        "see",
        "record what is seen in a zone",
        "see hoverfly-plate-4 --zone thorax-hairy sheen=wet-gloss blotter=oil-spot",
        run_see,
        on_case=True,
    )
    see.add_argument("--zone", help="zone of a new finding")
    see.add_argument("--side", choices=("left", "right", "both"), help="side of a new finding")
    see.add_argument("--finding", help="id of a finding to add signs to")
    see.add_argument("--named", metavar="DEPOSIT", help="what you take it for, if you know")
    see.add_argument("--clean", action="store_true", help="the zone was looked at and is clean")
    see.add_argument("pairs", nargs="*", metavar="QUESTION=ANSWER", help=PAIRS)
    _add_working(subparsers)


def _add_working(subparsers: Subparsers) -> None:
    plan = command(
        subparsers,
        "plan",
        "print the plan of a case",
        "plan hoverfly-plate-4 --whole",
        run_plan,
        on_case=True,
        as_json=True,
    )
    plan.add_argument("--whole", action="store_true", help="every step in full")

    record = command(
        subparsers,
        "record",
        "record an attempt on a step",
        "record hoverfly-plate-4 --step f1-blot-dry --outcome better",
        run_record,
        on_case=True,
    )
    record.add_argument("--step", required=True, help="id of the step in the plan")
    record.add_argument("--outcome", required=True, metavar="OUTCOME", help=OUTCOME_WORDS)
    record.add_argument("--ml", type=float, help="amount used [mL]; the plan's amount by default")
    record.add_argument(
        "--yes", action="store_true", help="the amount is right, however far beyond the planned one"
    )
    record.add_argument("--minutes", type=float, help="time taken [min]")
    record.add_argument("--note", default="", help="anything worth remembering")
    record.add_argument("--observed", default="", help="what was seen at a hold point")
    record.add_argument("--photo-before", help="photo beside the case, relative path")
    record.add_argument("--photo-after", help="photo beside the case, relative path")
    _add_after(subparsers)


def _add_after(subparsers: Subparsers) -> None:
    release = command(
        subparsers,
        "release",
        "release a hold with a reason",
        'release wasp-02 a3 --reason "..."',
        run_release,
        on_case=True,
    )
    release.add_argument("attempt", help="id of the attempt that holds it")
    release.add_argument("--reason", required=True, help="why work may go on")

    accept = command(
        subparsers,
        "accept",
        "accept a finding as it is",
        'accept wasp-02 f1 --reason "stain stays"',
        run_accept,
        on_case=True,
    )
    accept.add_argument("finding", help="id of the finding")
    accept.add_argument("--reason", required=True, help="why it may stay")

    skip = command(
        subparsers,
        "skip",
        "skip a method with a reason, or as the record suggests",
        'skip wasp-02 blot-dry --finding f1 --reason "..."',
        run_skip,
        on_case=True,
    )
    skip.add_argument("method", help="id of the method")
    skip.add_argument("--finding", help="id of the finding")
    why = skip.add_mutually_exclusive_group(required=True)
    why.add_argument("--reason", help="why it is skipped, or offered again")
    why.add_argument(
        "--as-suggested", action="store_true", help="skip it for the reason the record gives"
    )
    skip.add_argument("--again", action="store_true", help="take the skip back: offer it again")

    undo = command(
        subparsers,
        "undo",
        "take the last attempt or skip back by a correction",
        'undo wasp-02 --reason "wrong key"',
        run_undo,
        on_case=True,
    )
    undo.add_argument("--reason", required=True, help="why")
    _add_timer(subparsers)


def _add_timer(subparsers: Subparsers) -> None:
    timer = command(
        subparsers,
        "timer",
        "start, put off or stop the timer of a step",
        "timer wasp-02 f1-blot-dry",
        run_timer,
        on_case=True,
    )
    timer.add_argument("step", help="id of the step in the plan")
    timer.add_argument("--seconds", type=float, help="how long; the dwell of the step by default")
    what = timer.add_mutually_exclusive_group()
    what.add_argument(
        "--later", action="store_true", help="put a look off; never an exposure limit"
    )
    what.add_argument("--stop", action="store_true", help="take the timer out")


def run_timer(arguments: Arguments) -> int:
    """Start, put off or stop a timer, and say when it ends."""
    workshop = workshop_of(arguments, arguments.case)
    case = workshop.load(arguments.case)
    if arguments.stop:
        workshop.stop_timer(arguments.case, arguments.step)
        print(f"stopped: {arguments.step}")
        return 0
    if arguments.later:
        case = workshop.extend_timer(arguments.case, arguments.step)
    else:
        step = workshop.plan(case).step(arguments.step)
        if step is None:
            known = [s.id for s in workshop.plan(case).steps]
            raise TriageError(
                f'no step "{arguments.step}" in the plan', mend=did_you_mean(arguments.step, known)
            )
        seconds = arguments.seconds or step.dwell_s
        if not seconds or seconds < 0:
            raise TriageError("this step has no dwell", mend="give --seconds above zero")
        case = workshop.start_timer(arguments.case, step.id, seconds, step.name)
    ends = next(t.ends for t in case.timers if t.step == arguments.step)
    print(f"{arguments.step} ends at {ends:%Y-%m-%d %H:%M:%S}")
    return 0


def run_list(arguments: Arguments) -> int:
    """Print the cases of the folder."""
    workshop = workshop_of(arguments)
    lines = workshop.list_cases()
    if arguments.json:
        print_json(
            [
                {
                    "id": c.id,
                    "title": c.title,
                    "path": str(c.path),
                    "stage": c.stage,
                    "next_step": c.next_step,
                    "held": c.held,
                    "running": c.running,
                    "fault": c.fault,
                }
                for c in lines
            ]
        )
        return 0
    if not lines:
        print(f"no cases in {workshop.cases}")
        print(
            'begin one with: triage new "what is on the bench"   or look at the demo: triage --demo'
        )
    for line in lines:
        if line.fault:
            print(f"{line.id}  BROKEN  {line.fault}")
            continue
        held = "HELD  " if line.held else ""
        running = f"  running: {line.running}" if line.running else ""
        print(
            f"{line.id}  {held}{line.stage}  next: {line.next_step or '-'}{running}  {line.title}"
        )
    return 0


def run_new(arguments: Arguments) -> int:
    """Create a case and say what to do next."""
    workshop = workshop_of(arguments)
    case = workshop.new(arguments.title, arguments.taxon, arguments.case_id)
    path = workshop.path_of(case.id)
    if arguments.json:
        print_json({"id": case.id, "path": str(path)})
    else:
        print(f"case {case.id} begun: {path}")
        print(f"next: triage plan {case.id}   or answer at the scope: triage {path}")
    return 0


def run_answer(arguments: Arguments) -> int:
    """Record answers about the whole specimen."""
    workshop = workshop_of(arguments, arguments.case)
    answers = pairs(arguments.pairs)
    workshop.answer_all(arguments.case, None, answers)
    print(f"recorded: {', '.join(f'{q} = {a}' for q, a in answers.items())}")
    return 0


def run_see(arguments: Arguments) -> int:
    """Record signs of a finding, adding it first if a zone is given."""
    workshop = workshop_of(arguments, arguments.case)
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
        return 0
    finding = workshop.see(
        arguments.case,
        zone=arguments.zone,
        finding=arguments.finding,
        side=arguments.side,
        named=arguments.named,
        signs=signs,
    )
    plan = workshop.plan(workshop.load(arguments.case))
    line = next(f for f in plan.findings if f.id == finding)
    sure = f", certainty {line.certainty:.2f}, {line.standing}" if line.deposit else ""
    print(f"finding {finding} in {line.zone_name}: {line.deposit_name}{sure}")
    return 0


def run_plan(arguments: Arguments) -> int:
    """Print the plan."""
    from triage.explain.sureplan import sure_plan_json
    from triage.plantext import plan_text

    workshop = workshop_of(arguments, arguments.case)
    sure = workshop.desk.sure_plan(workshop.load(arguments.case))
    sys.stdout.write(
        sure_plan_json(sure)
        if arguments.json
        else plan_text(sure.plan, whole=arguments.whole, sure=sure.words())
    )
    if not arguments.json:
        from triage.history.advice import skip_lines
        from triage.service.acts import suggestions_for

        case = workshop.load(arguments.case)
        for line in skip_lines(suggestions_for(workshop, case, sure.plan), case.id):
            print(line)
    return 0


def run_record(arguments: Arguments) -> int:
    """Record an attempt and print the next step."""
    from triage.plantext import step_head

    workshop = workshop_of(arguments, arguments.case)
    case = workshop.record(
        arguments.case,
        arguments.step,
        arguments.outcome,
        amount_ml=arguments.ml,
        minutes=arguments.minutes,
        note=arguments.note,
        observed=arguments.observed,
        photo_before=arguments.photo_before,
        photo_after=arguments.photo_after,
        sure=arguments.yes,
    )
    print(f"recorded as {case.attempts[-1].id}: {arguments.step} {arguments.outcome}")
    plan = workshop.plan(case)
    for hold in plan.held:
        print(hold.sentence)
    following = plan.next_step()
    print(step_head(following) if following else f"stage: {plan.stage}; no step to do now")
    return 0


def run_release(arguments: Arguments) -> int:
    """Release a hold."""
    workshop = workshop_of(arguments, arguments.case)
    workshop.release(arguments.case, arguments.attempt, arguments.reason)
    print(f"released {arguments.attempt}: {arguments.reason}")
    return 0


def run_accept(arguments: Arguments) -> int:
    """Accept a finding as it is."""
    workshop = workshop_of(arguments, arguments.case)
    workshop.accept(arguments.case, arguments.finding, arguments.reason)
    print(f"accepted {arguments.finding} as it is: {arguments.reason}")
    return 0


def run_skip(arguments: Arguments) -> int:
    """Skip a method, or take its skip back."""
    workshop = workshop_of(arguments, arguments.case)
    method, finding = arguments.method, arguments.finding
    if arguments.again:
        if arguments.reason is None:
            raise TriageError("--again takes no suggestion", mend="say why with --reason")
        workshop.offer_again(arguments.case, finding, method, arguments.reason)
        print(f"offered again {method}: {arguments.reason}")
        return 0
    if arguments.as_suggested:
        from triage.service.acts import accept_method

        case = accept_method(workshop, arguments.case, finding, method)
    else:
        case = workshop.skip(arguments.case, finding, method, arguments.reason)
    print(f"skipped {method}: {case.overrides[-1].reason}")
    return 0


def run_undo(arguments: Arguments) -> int:
    """Take the last record back, an attempt or a skip."""
    workshop = workshop_of(arguments, arguments.case)
    before = len(workshop.load(arguments.case).overrides)
    case = workshop.undo(arguments.case, arguments.reason)
    if len(case.overrides) > before:
        print(f"offered again {case.overrides[-1].method}: {arguments.reason}")
        return 0
    print(f"recorded as {case.attempts[-1].id}: {case.attempts[-1].corrects} counts as not done")
    return 0
