"""Storage boxes: drying gel, crystals and how long they last, and what opening the lid lets out."""

from __future__ import annotations

from dataclasses import dataclass

from triage.bench.storage import (
    crystals_for_mg,
    gel_by_packing_rule_g,
    gel_for_box,
    opening_pulse_mg,
    saturation_mg_per_l,
    vapour_stock,
)
from triage.case.profile import Bench
from triage.errors import OutOfRange, TriageError, did_you_mean
from triage.exposure.day import DayLedger
from triage.exposure.gas import vapour_kpa_at
from triage.exposure.wording import number
from triage.knowledge.book import Knowledge
from triage.plan.air import AirJudge
from triage.plan.aircalc import agent_named
from triage.plan.answers import Answer, Figure, dose, short, titled
from triage.plan.barring import agent_bars
from triage.plan.mixes import never_mix
from triage.units import positive

L_PER_M3 = 1000.0
MG_PER_G = 1000.0
PERCENT = 100.0
OPENING_MEND = "open it outdoors or in a hood, and air it before work."


@dataclass(frozen=True, slots=True)
class BoxQuestion:
    """A closed storage box: volume, climate, gel, crystals.

    ``fumigant`` None leaves the crystals out; ``grams`` or ``days`` says how much of them.
    """

    volume_l: float
    temp_c: float = 20.0
    rh_start_percent: float = 55.0
    rh_end_percent: float = 30.0
    free_water_mg: float = 0.0
    gel: str | None = None
    fumigant: str | None = None
    grams: float | None = None
    days: float | None = None
    changes_per_day: float = 0.05


def answer_gel(knowledge: Knowledge, asked: BoxQuestion) -> Answer:
    """Return the drying gel for a box, sized by the humidity it is to end at."""
    fit = [each for each in knowledge.gels.values() if each.is_fit_for_drying]
    name = asked.gel if asked.gel is not None else fit[0].id if fit else ""
    gel = knowledge.gels.get(name)
    if gel is None:
        raise TriageError(f'unknown gel "{name}"', mend=did_you_mean(name, knowledge.gels))
    extra = dose(knowledge, "store-gel-extra")
    rule = dose(knowledge, "store-gel-transport-rule")
    held = gel.held_when_fresh.most / PERCENT if gel.held_when_fresh else 0.0
    need = gel_for_box(
        gel,
        volume_l=asked.volume_l,
        temp_c=asked.temp_c,
        rh_start_percent=asked.rh_start_percent,
        rh_end_percent=asked.rh_end_percent,
        free_water_mg=asked.free_water_mg,
        held_fraction=held,
        extra_fraction=extra.most,
    )
    packing = gel_by_packing_rule_g(asked.volume_l / L_PER_M3, rule.most)
    sentence = need.sentence
    assumptions = [
        f"From {asked.rh_start_percent:g} to {asked.rh_end_percent:g} % RH at {asked.temp_c:g} C.",
        f"Fresh gel already holds {held * PERCENT:g} % of its mass.",
    ]
    if asked.free_water_mg == 0.0:
        assumptions.append(
            "Only the air's water is counted: card, cork and insects hold far more, so weigh "
            "them damp and dry and give --free-water."
        )
        sentence = f"For the air alone {need.advised_g:.2g} g; {packing:.2g} g by the packing rule."
    return Answer(
        sentence,
        (
            Figure("water to take up", short(need.water_mg), "mg"),
            Figure("least gel", short(need.least_g), "g", gel.name, gel.source),
            Figure("gel with the extra", short(need.advised_g), "g", extra.because, extra.source),
            Figure("packing rule", short(packing), "g", rule.because, rule.source),
        ),
        (gel.caution,) if gel.caution else (),
        tuple(assumptions),
        titled(knowledge, (gel.source, extra.source, rule.source)),
    )


def answer_fumigant(
    knowledge: Knowledge, bench: Bench, day: DayLedger, asked: BoxQuestion
) -> Answer:
    """Return mass and lifetime of crystals in a box, and the pulse into the room on opening.

    Raises
    ------
    TriageError: unknown agent, one that the bench rules out, or one without vapour data at this
    temperature.
    """
    agent = agent_named(knowledge, asked.fumigant or "")
    for rule, because in agent_bars(agent, bench, knowledge):
        if rule != "bench-no-stock":
            raise TriageError(because, mend="use cold instead of a vapour")
    judge = AirJudge(knowledge, bench, day)
    substance = judge.substance(agent.id)
    mass = substance.molar_mass_g_per_mol
    if mass is None:
        raise TriageError(f"no molar mass of {agent.name} is known", mend="add it to its file")
    level = saturation_mg_per_l(
        vapour_kpa_at(substance.vapour_points, asked.temp_c), mass, asked.temp_c
    )
    low_points = tuple((p.temp_c, p.kpa) for p in agent.physical.vapour_pressure_low)
    low = level
    if low_points:
        low = saturation_mg_per_l(vapour_kpa_at(low_points, asked.temp_c), mass, asked.temp_c)
    pulse = opening_pulse_mg(asked.volume_l, level)
    sentence = f"Opening it lets at most {number(pulse)} mg into the room."
    figures = [
        Figure("saturated air holds", short(level), "mg/L", f"at {asked.temp_c:g} C", agent.source),
        *(
            (Figure("by another table", short(low), "mg/L", "crystals last by this"),)
            if low_points
            else ()
        ),
        Figure("leaves when opened, at most", short(pulse), "mg", "all the air of the box"),
    ]
    for answered in (_needed(asked, level), _lasting(asked, low)):
        if answered is not None:
            sentence, figure = answered
            figures.append(figure)
    figures += _old_doses(knowledge, agent.id, asked.volume_l)
    opened, cautions = _opening(judge, agent.id, pulse)
    return Answer(
        sentence,
        (*figures, *opened),
        (
            *cautions,
            *(line.text for line in never_mix(knowledge, agent)),
            *(f"{n.jurisdiction}, {n.date}: {n.text}" for n in agent.notices),
        ),
        (
            "A crystal that is left means saturation; more crystals only last longer.",
            f"The closed box loses its air {asked.changes_per_day:g} times a day (judgement).",
            "On opening, all the air of the box goes into the room before the face at once.",
        ),
        titled(
            knowledge,
            (agent.source, *(f.source for f in figures), *(x.source for x in agent.limits)),
        ),
    )


def _needed(asked: BoxQuestion, level_mg_per_l: float) -> tuple[str, Figure] | None:
    """Return the crystals that keep the box saturated for the days asked for, None for none."""
    if asked.days is None:
        return None
    needed = crystals_for_mg(asked.days, asked.volume_l, level_mg_per_l, asked.changes_per_day)
    sentence = f"{number(needed / MG_PER_G)} g keeps the box saturated for {asked.days:g} days."
    return sentence, Figure("crystals needed", short(needed / MG_PER_G), "g")


def _lasting(asked: BoxQuestion, level_mg_per_l: float) -> tuple[str, Figure] | None:
    """Return how long the crystals asked about last, None if no mass was given."""
    if asked.grams is None:
        return None
    crystals_mg = positive("crystals", asked.grams, "g") * MG_PER_G
    held = vapour_stock(crystals_mg, asked.volume_l, level_mg_per_l, asked.changes_per_day)
    lasts = None if held.lasts_days is None else short(held.lasts_days)
    times = number(held.ratio)
    sentence = held.sentence
    if held.ratio >= 1.0:
        until = "until it is opened" if lasts is None else f"about {number(lasts)} days"
        sentence = f"Saturates the box {times} times over and lasts {until}."
    return sentence, Figure("lasts", lasts, "days", f"{asked.changes_per_day:g} box changes a day")


def _old_doses(knowledge: Knowledge, agent_id: str, volume_l: float) -> list[Figure]:
    """Return published doses per volume for this box, with what is to be said of them."""
    return [
        Figure(each.name, short(each.most * volume_l / L_PER_M3), "g", each.because, each.source)
        for each in knowledge.doses.values()
        if each.kind == "fumigant" and each.agent == agent_id and each.unit == "g/m3"
    ]


def _opening(
    judge: AirJudge, agent_id: str, pulse_mg: float
) -> tuple[list[Figure], tuple[str, ...]]:
    """Return the air of opening the box once in the bench's room."""
    substance = judge.substance(agent_id)
    if substance.density_g_per_ml is None:
        raise OutOfRange(f"no density of {agent_id} is known", mend="add it to its file")
    amount_ml = pulse_mg / MG_PER_G / substance.density_g_per_ml
    verdict = judge.judge(substance, amount_ml, 0.0, 1.0, judge.room)
    near = verdict.near
    ratio = verdict.binding.factor if verdict.binding else None
    figures = [
        Figure("opening: peak at the face", short(near.peak.mg_per_m3.high), "mg/m3", "at most"),
        Figure("opening: 8 h mean", short(near.mean_8_h.mg_per_m3.high), "mg/m3", "at most"),
        Figure(
            "opening: share of what is allowed",
            None if ratio is None else short(ratio),
            "",
            verdict.binding.limit.authority if verdict.binding else "no limit",
        ),
    ]
    if verdict.verdict != "over":
        return figures, (f"Opening: {verdict.sentence}",)
    times = number(verdict.exceeded_by)
    return figures, (f"Opening is too much: {times} times what is allowed; {OPENING_MEND}",)
