"""A step, and the air of it: everything a person needs to do it, in the order in which it is read.

A field that a step, its air or a limit gains is said here, and every face shows it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from triage.exposure.wording import limit_words, number, plainly
from triage.plan.model import AirLine, LimitLine, Plan, RuledOut, Step
from triage.plan.names import RECORD, own_record
from triage.show.blocks import Heading, Listing, listing
from triage.show.words import (
    STATUS_WORDS,
    dwell_words,
    grade_word,
    pass_words,
    sentence,
    step_place,
)


def step_heading(step: Step) -> Heading:
    """Return what a step is called, when its turn is, and where it works."""
    return Heading(step.name, STATUS_WORDS[step.status], step_place(step))


def step_line(step: Step) -> str:
    """Return a step in one line, with the id that a command calls it by."""
    return f"{STATUS_WORDS[step.status]}: {step.name} - {step_place(step)} [{step.id}]"


def step_blocks(step: Step, sure: str = "") -> tuple[Listing, ...]:
    """Return a complete step; ``sure`` says whether an answer could still move it."""
    record = own_record(step)
    air = tuple(air_words(step.air)) if step.air is not None else ()
    return (
        *listing("Why", step.because, f"{RECORD}{record}" if record else "", sure),
        *listing("HOLD POINT", step.hold, kind="hold"),
        *listing("Make ready", *_worn(step), *_made_ready(step), kind="tick"),
        *listing("Air in this room", *air),
        *caution_blocks(step),
        # Stop points stand before the work: they have to be read first.
        *listing("STOP if", *stop_words(step), kind="stop"),
        *listing("Do", *step.do, kind="tick"),
        *listing("Time and amount", *measure_words(step)),
        *listing("Documents disagree", *document_words(step)),
        *listing("Done when", step.success, served_words(step)),
        *listing("Rinse and dry", *step.rinse, step.drying, kind="tick"),
        *listing("Waste", *dict.fromkeys(step.disposal)),
    )


def served_words(step: Step) -> str:
    """Return that one act serves several places, empty where it serves one."""
    if not step.also:
        return ""
    told = f"One act for all {len(step.findings)} places: what you record counts for each."
    better, cleared = (step.outcomes.get(each) for each in ("better", "cleared"))
    return (
        f"{told} While one of them is not clean it is {better}, not {cleared}." if better else told
    )


def page_blocks(step: Step) -> tuple[Listing, ...]:
    """Return a step as one page, in the order in which it is read at the bench."""
    return (
        *caution_blocks(step),
        *listing("Protect", *_worn(step)),
        *listing("Make ready", *_made_ready(step)),
        *work_blocks(step),
    )


def caution_blocks(step: Step) -> tuple[Listing, ...]:
    """Return what is read before anything is made ready."""
    told = (f"{line.kind.replace('-', ' ').upper()}: {line.text}" for line in step.cautions)
    return listing("Caution", *told, kind="caution")


def work_blocks(step: Step) -> tuple[Listing, ...]:
    """Return the work itself, what stops it, and what comes behind it."""
    return (
        *listing("Do", *step.do),
        *listing("Time and amount", *measure_words(step)),
        *listing("Documents disagree", *document_words(step)),
        *listing("Done when", step.success, served_words(step)),
        *listing("STOP if", *stop_words(step), kind="stop"),
        *listing("Rinse and dry", *step.rinse, step.drying),
        *listing("Away", *dict.fromkeys(step.disposal)),
    )


def stop_words(step: Step) -> Iterator[str]:
    """Yield what to see that means stop, what it means, and what to do then."""
    yield from (
        f"{sentence(each.see)} {sentence(each.means)} {sentence(each.then)}".replace("  ", " ")
        for each in step.stop_points
    )


def _made_ready(step: Step) -> Iterator[str]:
    yield f"Tool: {step.tool}"
    yield from (f"Made up: {line.sentence}" for line in step.make_up)
    if step.keep_away:
        yield f"Out of the way: {', '.join(step.keep_away)}"


def _worn(step: Step) -> Iterator[str]:
    worn = step.protection
    fails = f"NOT these gloves: {_one_after_another(worn.gloves_fail)}" if worn.gloves_fail else ""
    if worn.gloves:
        yield f"Gloves on: {gloves_words(worn.gloves)}{f'. {fails}' if fails else ''}"
    elif fails:
        yield fails
    if worn.eyes:
        yield f"Eyes: {_one_after_another(worn.eyes)}"
    if worn.breathing:
        yield f"Breathing: {_one_after_another(worn.breathing)}"
    if step.air is not None:
        yield f"Air: {step.air.ventilation or step.air.sentence}"
        if step.air.can_ignite:
            yield "No flame, spark or hot lamp near: it can flash at this temperature"


def preparation(step: Step) -> tuple[str, ...]:
    """Return the checklist of a step that is hazardous."""
    _, *made_ready = _made_ready(step)  # the tool needs no tick
    return (*_worn(step), *made_ready, "Stop points read")


def gloves_words(gloves: tuple[str, ...]) -> str:
    """Return gloves told as "agent: glove", first those that hold against every agent."""
    by_agent: dict[str, list[str]] = {}
    for told in gloves:
        agent, _, glove = told.rpartition(": ")
        by_agent.setdefault(agent, []).append(glove)
    kinds = list(by_agent.values())
    for_all = [glove for glove in kinds[0] if all(glove in held for held in kinds)]
    if for_all:
        return " or ".join(for_all)
    return "; ".join(
        f"{agent}: {' or '.join(held)}" if agent else " or ".join(held)
        for agent, held in by_agent.items()
    )


def _one_after_another(told: Iterable[str]) -> str:
    """Return sentences and parts of sentences in one line, no semicolon behind a full stop."""
    return "; ".join(part.rstrip(".") for part in told)


def measure_words(step: Step) -> Iterator[str]:
    """Yield how long, how warm, how much and how often."""
    yield sentence(dwell_words(step))
    if step.burst_s is not None:
        yield f"Bursts of {step.burst_s:g} s."
    if step.temp_c is not None:
        yield f"At {step.temp_c[0]:g} C, at most {step.temp_c[1]:g} C."
    if step.amount_ml is not None:
        note = f" ({step.amount_because})" if step.amount_because else ""
        yield f"{step.amount_ml:g} mL a pass{note}."
    yield sentence(pass_words(step))
    if step.look_after_h:
        yield f"Look after {', '.join(f'{hours:g}' for hours in step.look_after_h)} h."


def document_words(step: Step) -> Iterator[str]:
    """Yield what each document says where they disagree: the one followed, and how to choose."""
    for each in step.readings:
        state = "followed here" if each.followed else "not followed"
        yield f"{sentence(each.says)} ({each.title}; {state})"
    others = [each.source for each in step.readings if each.can_be_followed and not each.followed]
    if others:
        yield f"To follow another: triage follow CASE {step.method} {' or '.join(others)} --reason"


def limit_line(limit: LimitLine) -> str:
    """Return the level that is reached against one published limit."""
    told = limit_words(limit.authority, limit)
    if not limit.ratio:
        return f"{told}: not compared"
    over = "OVER, " if limit.ratio > 1 else ""
    judged = ", judged by this" if limit.judged else ""
    reached = f"{number(limit.level_mg_per_m3)} of {number(limit.limit_mg_per_m3)} mg/m3"
    return f"{told}: {over}{reached}, {number(100 * limit.ratio)} % of it{judged}"


def air_words(air: AirLine) -> Iterator[str]:
    """Yield the air for this amount in this room, against every limit."""
    yield air.sentence
    yield (
        f"At the face, unfavourable end: peak {number(air.peak_mg_per_m3)}, 15 min "
        f"{number(air.mean_15_min_mg_per_m3)}, 8 h {number(air.mean_8_h_mg_per_m3)} mg/m3."
    )
    yield from limits_and_fire(air)
    if air.reentry_min:
        yield f"Air the room for {air.reentry_min:.0f} min before staying in it."
    if air.largest_ok_ml is not None:
        yield f"At most {plainly(air.largest_ok_ml)} mL here."


def limits_and_fire(air: AirLine) -> Iterator[str]:
    """Yield every published limit, the one that binds first, then how near to fire it comes."""
    yield from (limit_line(each) for each in sorted(air.limits, key=lambda each: -each.ratio))
    if air.lel_fraction is not None:
        yield f"Fire: {number(100 * air.lel_fraction)} % of the lower flammable limit."


def ruled_out_words(ruled_out: Iterable[RuledOut], plan: Plan | None) -> Iterator[str]:
    """Yield what does not stand before a step by name, those of one reason together."""
    names = {item.method: item.method_name for item in plan.excluded} if plan else {}
    together: dict[tuple[str, str], list[str]] = {}
    for item in ruled_out:
        held = together.setdefault((item.because, item.rule), [])
        held.append(names.get(item.method, item.method))
    for (because, rule), methods in together.items():
        yield f"{', '.join(methods)}: {because} [{rule}]"


def reason_blocks(step: Step, plan: Plan | None = None) -> tuple[Listing, ...]:
    """Return what stands behind a step: grades, rules, sources; for who asks why.

    ``plan`` knows what the methods are called that were ruled out; without it their ids stand.
    """
    grades = step.harshness
    air = (*step.air.flags, *step.air.assumptions) if step.air is not None else ()
    return (
        *listing("Evidence", *(line for line in step.evidence if not line.startswith(RECORD))),
        *listing("Ruled out before it", *ruled_out_words(step.ruled_out, plan)),
        *listing(
            "How harsh",
            f"rubbing: {grade_word(grades.mechanical)}",
            f"attack on cuticle and colour: {grade_word(grades.chemical)}",
            f"hazard to you: {grade_word(grades.person)}",
            *([f"what cannot be undone: {grade_word(grades.lasting)}"] if grades.lasting else ()),
            *step.harshness_because,
        ),
        *listing("The air rests on", *air),
        *listing(
            "What it takes and what it spares (Hansen distance)",
            *(
                f"{each.target} ({each.role}): Ra {each.ra:.1f}, {each.known}"
                for each in step.selectivity
            ),
        ),
        *listing("Rules", *step.rules),
        *listing("Sources", *step.sources),
    )
