"""Words for what the plan holds, the same on every face."""

from __future__ import annotations

import re
from collections.abc import Mapping

from triage.explain.sureplan import Firmness, SurePlan
from triage.plan.model import FindingLine, Notice, Plan, Step
from triage.plan.names import finding_names, zone_words

CLOSING = (
    "The safety data sheet, local rules and licensed practice come before this plan. "
    "If in doubt, stop."
)
NO_STEP = "No step to do now."
SETTLED, MAY_CHANGE = "settled", "may change"
STATUS_WORDS = {"next": "NOW", "then": "THEN", "if-needed": "ONLY IF THE ONE BEFORE FAILS"}
# A sign where there is room for one, and the word behind it.
STATE_SIGNS = {
    "open": "o to clean",
    "cleared": "+ cleared",
    "accepted": "= accepted as it is",
    "left": "# left alone: it belongs there",
    "unsettled": "? not identified yet",
    "waiting": "? waits for an answer",
    "later": "> later, when the steps before it are done",
    "stopped": "x stopped: nothing permitted is left",
}
NOTICE_SIGNS = {
    "first-aid": "! AT ONCE",
    "refused": "X REFUSED",
    "gate": "| FIRST",
    "waiting": "? TO GO ON",
    "full-stop": "X FULL STOP",
    "leave-it": "# LEAVE IT",
    "accept": "= AS IT IS",
    "picture": "i IN THE PICTURE",
    "keep": "# KEEP",
    "refer": "! FOR OTHERS",
    "look-again": "@ LOOK AGAIN",
    "air": "! AIR",
    "bench": "i BENCH",
    "note": "i NOTE",
}
KIND_WORDS = {
    "loose": "loose: dust, grains, fibres, scales",
    "film": "a film: grease, wax, lacquer, glue that spread",
    "bound": "stuck fast: dried fluid, glue, mud",
    "crystal": "crystals or a crust of salt",
    "living": "alive, or grown: mould, pests, their traces",
    "metal": "of metal: from the pin",
    "natural": "the insect's own",
}
STAGE_WORDS = {"look": "look, dry", "set-and-dry": "set and dry"}
RISK_WORDS = {
    "none": "looking only",
    "touch": "needs a touch or a puff",
    "micro-test": "needs a small test",
}
GRADE_WORDS = ("none", "slight", "mild", "middling", "strong", "worst")


def duration(seconds: float | None) -> str:
    """Return a time span in the unit a person would use: 30 s, 2 min, 24 h."""
    if seconds is None:
        return "no set time"
    if seconds < 120:
        return f"{seconds:g} s"
    return f"{seconds / 60:g} min" if seconds < 2 * 3600 else f"{seconds / 3600:g} h"


def dwell_words(step: Step) -> str:
    """Return how long a step is left to work, empty where it has no set time."""
    if step.dwell_s is None:
        return ""
    most = f", at most {duration(step.dwell_most_s)}" if step.dwell_most_s else ""
    return f"leave it {duration(step.dwell_s)}{most}"


def pass_words(step: Step) -> str:
    """Return which pass this is."""
    return f"pass {step.passes_done + 1} of {step.passes}"


def amount_words(amount_ml: float | None) -> str:
    """Return an amount with its unit."""
    return "no liquid" if amount_ml is None else f"{amount_ml:g} mL"


def sentence(text: str) -> str:
    """Return a text with a capital letter in front and a stop behind."""
    text = text.strip()
    return text and text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")


def percent(certainty: float) -> str:
    """Return a certainty 0-1 in whole percent."""
    return f"{round(100 * certainty)} %"


def grade_word(grade: int) -> str:
    """Return a grade of harshness as word and number."""
    return f"{GRADE_WORDS[grade]} {grade}/5"


def stage_word(stage: str) -> str:
    """Return the stage as it is said."""
    return STAGE_WORDS.get(stage, stage)


def named(text: str, names: Mapping[str, str]) -> str:
    """Return a sentence with the ids of findings in it replaced by what they are called.

    An id counts only where a sentence names a finding: in front, in brackets, behind "on", "If"
    or "and". A word of the sentence that is spelt like an id stays.
    """
    if not names:
        return text
    ids = "|".join(re.escape(key) for key in sorted(names, key=len, reverse=True))
    return re.sub(
        rf"(^|(?: on|\bIf|\band) |[(\"])({ids})(?=[:,)]| is |\.(?: |$)|$)",
        lambda found: f"{found[1]}{names[found[2]]}",
        text,
    )


def sure_words(found: Firmness, plan: Plan) -> str:
    """Return whether an answer that is still open could move a step, and which."""
    because = named(found.because, finding_names(plan))
    return f"{SETTLED if found.firm else MAY_CHANGE}: {because}"


def sure_by_step(sure: SurePlan) -> dict[str, str]:
    """Return the same for each step of a plan, by its id."""
    return {each.step: sure_words(each, sure.plan) for each in sure.firmness}


def step_place(step: Step) -> str:
    """Return where a step works and at what."""
    places = {step.deposit_name: [zone_words(step.zone_name, step.side)]}
    for served in step.also:
        where = zone_words(served.zone_name, served.side)
        places.setdefault(served.deposit_name, []).append(where)
    return "; ".join(
        ": ".join(part for part in (", ".join(dict.fromkeys(held)), deposit) if part)
        for deposit, held in places.items()
    )


def timer_label(step: Step) -> str:
    """Return what the timer of a step is called in the case."""
    return f"{step.name}: {step_place(step)}"


def state_word(finding: FindingLine) -> str:
    """Return what becomes of a finding."""
    return STATE_SIGNS[finding.state].partition(" ")[2]


def finding_line(finding: FindingLine) -> str:
    """Return one finding: where, what it is taken to be, how sure, and what becomes of it."""
    return f"{zone_words(finding.zone_name, finding.side)}: {taken_for(finding)}"


def taken_for(finding: FindingLine) -> str:
    """Return what a finding is taken to be, how sure, and what becomes of it."""
    sure = f" ({finding.standing})" if finding.deposit else ""
    return f"{finding.deposit_name}{sure} - {state_word(finding)}"


def less_or(standing: str) -> str:
    """Return the standing of what comes second; one that nothing speaks much for is less likely."""
    return "less likely" if standing == "open" else standing


def other_readings(finding: FindingLine) -> str:
    """Return what else a finding could be, those that are as sure together; empty for nothing.

    Beside what is settled only what is at least suspected counts.
    """
    together: dict[str, list[str]] = {}
    least = ("open",) if finding.standing == "settled" else ()
    for other in (each for each in finding.alternatives if each.standing not in least):
        together.setdefault(less_or(other.standing), []).append(other.name)
    told = "; ".join(f"{', '.join(names)} ({sure})" for sure, names in together.items())
    return f"could also be: {told}" if told else ""


def notice_words(notice: Notice) -> str:
    """Return a notice with its kind in front."""
    return f"{NOTICE_SIGNS[notice.kind][2:]}: {notice.text}"


def notices_told(plan: Plan) -> tuple[Notice, ...]:
    """Return what a plan says beside its steps, all that only wants an answer as one."""
    asks = {line.question: line.ask for line in plan.questions if line.finding is None}
    wanting = [n for n in plan.notices if n.ask in asks]
    if len(wanting) < 2:
        return plan.notices
    wanted = {notice.ask for notice in wanting}
    asked = " ".join(ask for question, ask in asks.items() if question in wanted)
    first = Notice("waiting", f"answer first; until then nothing is done to it: {asked}", "")
    return (first, *(notice for notice in plan.notices if notice not in wanting))


def urgent(plan: Plan) -> tuple[Notice, ...]:
    """Return what is to be done at once."""
    return tuple(notice for notice in plan.notices if notice.kind == "first-aid")


def alerts(plan: Plan) -> tuple[str, ...]:
    """Return what is refused, held, contradicted or closed, the loudest first."""
    names = finding_names(plan)
    at_once = urgent(plan)
    return (
        *(notice_words(notice) for notice in (*at_once, *plan.refused)),
        *(hold.sentence.replace("Held:", "HELD:", 1) for hold in plan.held),
        *(
            f"CONTRADICTION in {names.get(each.finding, each.finding)}: {each.sentence}"
            for each in plan.conflicts
        ),
        *(notice_words(notice) for notice in notices_told(plan) if notice not in at_once),
    )
