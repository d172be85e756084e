"""A step in words: what to do now (short), and everything behind it (long)."""

from __future__ import annotations

from collections.abc import Iterable

from textual.content import Content
from textual.style import Style

from triage.plan.model import AirLine, Plan, RuledOut, Step
from triage.plantext import step_place
from triage.tui.words import amount_words, grade_word, span_words

BOLD = Style(bold=True)
Part = Content | str | tuple[str, Style]


def section(title: str, lines: Iterable[str]) -> list[Part]:
    """Return a titled list of lines, nothing if there are none."""
    shown = [line for line in lines if line]
    if not shown:
        return []
    return [(f"{title}\n", BOLD), *(f"  {line}\n" for line in shown), "\n"]


def sentence(text: str) -> str:
    """Return a text with a capital letter in front and a stop behind."""
    text = text.strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")


def doing_text(step: Step) -> Content:
    """Return what is done in this step, the part that is read while working."""
    parts: list[Part] = [
        (f"{sentence(step.name)}\n", BOLD),
        f"{sentence(step_place(step))}\n\n",
    ]
    parts += [(f"{number}. {line}\n", BOLD) for number, line in enumerate(step.do, 1)]
    parts.append("\n")
    if step.dwell_s is not None:
        most = f", at most {span_words(step.dwell_most_s)}" if step.dwell_most_s else ""
        parts.append(f"Leave it  {span_words(step.dwell_s)}{most}\n")
    if step.look_after_h:
        parts.append(f"Look after  {', '.join(f'{hours:g}' for hours in step.look_after_h)} h\n")
    parts.append(f"Pass  {step.passes_done + 1} of {step.passes}\n")
    parts.append(f"Tool  {step.tool}\n")
    if step.amount_ml is not None:
        parts.append(f"Amount  {amount_words(step.amount_ml)}\n")
    if step.temp_c is not None:
        parts.append(f"Warmth  {step.temp_c[0]:g} to {step.temp_c[1]:g} degC\n")
    parts.append(f"Done when  {step.success}\n\n")
    parts += section("Make up", (line.sentence for line in step.make_up))
    parts += section("Rinse, then dry", (*step.rinse, step.drying))
    parts += cautions(step)
    return Content.assemble(*parts)


def brief_text(step: Step, key: str, *, is_briefest: bool = False) -> Content:
    """Return what the hands do now, and the key that shows the rest.

    Cautions are named by their kind, so that nobody overlooks that there are some.
    """
    gap = "" if is_briefest else "\n"
    parts: list[Part] = [f"{sentence(step_place(step))}\n{gap}"]
    parts += [(f"{number}. {line}\n", BOLD) for number, line in enumerate(step.do, 1)]
    told = [f"pass {step.passes_done + 1} of {step.passes}"]
    if step.dwell_s is not None:
        most = f", at most {span_words(step.dwell_most_s)}" if step.dwell_most_s else ""
        told.insert(0, f"leave it {span_words(step.dwell_s)}{most}")
    if step.amount_ml is not None:
        told.append(amount_words(step.amount_ml))
    tool = "" if is_briefest else f" Tool: {step.tool}."
    parts.append(f"{gap}{sentence('; '.join(told))}{tool}\nDone when  {step.success}\n")
    kinds = ", ".join(dict.fromkeys(each.kind.replace("-", " ").upper() for each in step.cautions))
    if kinds:
        parts.append((f"! Cautions: {kinds}\n", BOLD))
    more = [
        *(["tool"] if is_briefest else []),
        *(["make up"] if step.make_up else []),
        *(["rinse and dry"] if step.rinse or step.drying else []),
        *(["cautions"] if step.cautions else []),
    ]
    parts.append((f"{key}  in full{': ' if more else ''}{', '.join(more)}", BOLD))
    return Content.assemble(*parts)


def cautions(step: Step) -> list[Part]:
    """Return the cautions, each with its kind in words and a sign."""
    return section(
        "Cautions",
        (f"! {line.kind.replace('-', ' ').upper()}: {line.text}" for line in step.cautions),
    )


def wearing(step: Step) -> tuple[str, ...]:
    """Return what to wear, and what does not hold."""
    worn = step.protection
    return (
        f"gloves: {', '.join(worn.gloves)}" if worn.gloves else "",
        f"these gloves do not hold: {', '.join(worn.gloves_fail)}" if worn.gloves_fail else "",
        f"eyes: {', '.join(worn.eyes)}" if worn.eyes else "",
        f"breathing: {', '.join(worn.breathing)}" if worn.breathing else "",
    )


def air_lines(air: AirLine) -> list[str]:
    """Return the air for this amount in this room, against every limit."""
    lines = [air.sentence, f"ventilation: {air.ventilation}"]
    lines.append(
        f"peak {air.peak_mg_per_m3:.3g}, 15 min {air.mean_15_min_mg_per_m3:.3g}, "
        f"8 h {air.mean_8_h_mg_per_m3:.3g} mg/m3 at the face"
    )
    for limit in air.limits:
        sign = "OVER" if limit.ratio > 1 else "ok"
        judged = ", judged by this" if limit.judged else ""
        lines.append(
            f"{sign:<5}{limit.authority} {limit.basis} {limit.value:g} {limit.unit} "
            f"({limit.edition}): {limit.ratio:.2g} of it{judged}"
        )
    if air.lel_fraction is not None:
        lines.append(f"{air.lel_fraction:.2g} of the lower limit of ignition")
    if air.reentry_min is not None:
        lines.append(f"come back after {air.reentry_min:.0f} min")
    if air.largest_ok_ml is not None:
        lines.append(f"at most {air.largest_ok_ml:g} mL here")
    return [*lines, *air.flags, *(f"assumed: {text}" for text in air.assumptions)]


def ruled_out_lines(ruled_out: Iterable[RuledOut], plan: Plan | None) -> list[str]:
    """Return what does not stand before this step by name, those of one reason together."""
    names = {item.method: item.method_name for item in plan.excluded} if plan else {}
    together: dict[tuple[str, str], list[str]] = {}
    for item in ruled_out:
        held = together.setdefault((item.because, item.rule), [])
        held.append(names.get(item.method, item.method))
    return [
        f"{', '.join(methods)}: {because} [{rule}]" for (because, rule), methods in together.items()
    ]


def step_text(step: Step, plan: Plan | None = None) -> Content:
    """Return everything about a step, with the reason, the rules and the sources behind it.

    ``plan`` knows what the methods are called that were ruled out; without it their ids stand.
    """
    grades = step.harshness
    parts: list[Part] = [*section("Why this stands here", (step.because, *step.evidence))]
    parts += section("Ruled out before it", ruled_out_lines(step.ruled_out, plan))
    parts += section(
        "How harsh",
        (
            f"rubbing: {grade_word(grades.mechanical)}",
            f"attack on cuticle and colour: {grade_word(grades.chemical)}",
            f"hazard to you: {grade_word(grades.person)}",
            *step.harshness_because,
        ),
    )
    parts.append(doing_text(step))
    parts += section(
        "Stop points", (f"! {item.see}: {item.means}. {item.then}" for item in step.stop_points)
    )
    parts += section("Wear", wearing(step))
    if step.air is not None:
        parts += section("Air in this room", air_lines(step.air))
    parts += section("Keep away", step.keep_away)
    parts += section("Amount", (step.amount_because,))
    parts += section(
        "What it takes and what it spares (Hansen distance)",
        (
            f"{item.target} ({item.role}): Ra {item.ra:.1f}, {item.known}"
            for item in step.selectivity
        ),
    )
    parts += section("Disposal", step.disposal)
    parts += section("Rules", step.rules)
    parts += section("Sources", step.sources)
    return Content.assemble(*parts)
