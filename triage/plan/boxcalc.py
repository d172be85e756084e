"""Closed boxes: damp chambers, and storage with its gel, its crystals and what opening lets out."""

from __future__ import annotations

from collections.abc import Iterator

from triage.bench.chamber import (
    Humidity,
    MouldLimit,
    exponential_rh,
    look_times_h,
    mould_limit,
    salt_rh,
    water_to_reach_mg,
)
from triage.bench.storage import crystals_for_mg, crystals_last, gel_for_box, opening_pulse_mg
from triage.errors import OutOfRange, TriageError
from triage.exposure.gas import saturation_mg_per_m3, vapour_kpa_at
from triage.exposure.wording import number
from triage.knowledge.book import Knowledge
from triage.knowledge.tables import Salt
from triage.plan.airjudge import AirJudge
from triage.plan.answers import Answer, Figure, Means, answered, dose, dose_note
from triage.plan.inputs import BoxQuestion, ChamberQuestion
from triage.plan.ladder import agent_bars
from triage.plan.liquids import never_mix
from triage.plan.substances import figures_apart
from triage.units import at_least, positive, short, within

L_PER_M3 = 1000.0
MG_PER_G = 1000.0
PERCENT = 100.0
HOURS_PER_DAY = 24.0
SHOWN_LOOKS = 8
MOULD_DIVISOR, MOULD_CAP = "chamber-mould-safety-divisor", "chamber-mould-cap"
MOULD_SOURCE = "hukka-viitanen-1999"
OPENING_MEND = "open it outdoors or in a hood, and air it before work."


def chamber(means: Means, asked: ChamberQuestion) -> Answer:
    """Return water, humidity, mould time and looks of a rehydration chamber."""
    knowledge, rh = means.knowledge, PERCENT
    temp_c = within("temperature", means.temp_c(asked.temp_c), 0.1, 45.0, "C")
    figures: list[Figure] = []
    cautions: list[str] = []
    if asked.salt is not None:
        salt = knowledge.require("salt", asked.salt)
        held = salt_rh(salt, temp_c)
        rh = held.rh_percent
        figures += _salt_figures(salt, held, temp_c)
        cautions += [salt.caution] if salt.caution else []
    water = water_to_reach_mg(asked.volume_l, temp_c, min(asked.rh_start_percent, rh), rh)
    figures.append(Figure("water the air takes up", water, "mg", "air alone, at most"))
    divisor, cap = (dose(knowledge, each) for each in (MOULD_DIVISOR, MOULD_CAP))
    mould = mould_time(knowledge, temp_c, rh, has_inhibitor=asked.has_inhibitor)
    figures.append(Figure("longest stay", mould.stay_days, "days", mould.standing))
    slow = mould.slow_estimate_days
    if slow is not None:
        figures.append(Figure("mould on clean wood", slow, "days", "slow end", MOULD_SOURCE))
    days = mould.stay_days if asked.days is None else positive("days", asked.days, "days")
    if days > mould.stay_days:
        cautions.append(f"{days:g} days is longer than the {number(mould.stay_days)} to plan for.")
    figures += _look_figures(knowledge, days, asked.closed_h)
    sentence = mould.sentence[:1].lower() + mould.sentence[1:]
    told = Answer(
        f"The air comes to {number(rh)} % RH; {sentence}",
        (
            Figure("relative humidity", rh, "%"),
            *figures,
            *_vapour_figures(knowledge, asked.volume_l),
        ),
        cautions=(*cautions, "The pad, not the air, is the store: wet it well, no drop may fall."),
        assumptions=(
            "A tight box at one temperature; paper, cork and insect take up far more water.",
            f"Longest stay: {dose_note(divisor)} ({divisor.name}); {dose_note(cap)} ({cap.name}).",
        ),
        sources=(MOULD_SOURCE, divisor.source, cap.source),
    )
    return answered(knowledge, told)


def mould_time(
    knowledge: Knowledge, temp_c: float, rh_percent: float, *, has_inhibitor: bool
) -> MouldLimit:
    """Return the longest stay to plan in a chamber, by the careful ends of the doses."""
    return mould_limit(
        temp_c,
        rh_percent,
        divisor=dose(knowledge, MOULD_DIVISOR).most,
        cap_days_at_20_c=dose(knowledge, MOULD_CAP).least,
        has_inhibitor=has_inhibitor,
    )


def _salt_figures(salt: Salt, held: Humidity, temp_c: float) -> Iterator[Figure]:
    off, name = held.plus_minus_percent, f"over {salt.name}"
    spread = "uncertainty not published here" if off is None else f"+/- {off:g} (k = 2)"
    yield Figure(name, held.rh_percent, "%", spread, held.source)
    second = exponential_rh(salt, temp_c)
    if second is not None and held.route != "exponential":
        off = second.plus_minus_percent
        note = "second source, for comparison" + (f", within {off:g}" if off else "")
        yield Figure(name, second.rh_percent, "%", note, second.source)


def _look_figures(knowledge: Knowledge, days: float, closed_h: float | None) -> Iterator[Figure]:
    first = dose(knowledge, "chamber-first-look")
    per_day = dose(knowledge, "chamber-looks-per-day")
    until = days * HOURS_PER_DAY
    looks = look_times_h(first.most, per_day.most, until)
    if closed_h is not None:
        so_far = at_least("time closed", closed_h, 0.0, "h")
        coming = next((look for look in looks if look > so_far), None)
        note = "hours after closing" if coming is not None else "the planned stay is over: look now"
        yield Figure("next look", coming, "h", note, first.source)
        return
    for place, each in enumerate(looks[:SHOWN_LOOKS], start=1):
        yield Figure(f"look {place}", each, "h", "hours after closing", first.source)


def _vapour_figures(knowledge: Knowledge, volume_l: float) -> Iterator[Figure]:
    """Yield the vapour doses of the doses file for this box: some chambers work with one."""
    for each in knowledge.doses.values():
        if each.kind == "vapour" and each.unit == "mL/L":
            note = f"from {short(each.least * volume_l):g}; {each.because}"
            name = f"if with vapour: {each.name}"
            yield Figure(name, each.most * volume_l, "mL", note, each.source)


def answer(means: Means, asked: BoxQuestion) -> Answer:
    """Return what belongs into a closed storage box: the gel, or the crystals if they are named.

    Raises
    ------
    TriageError: unknown gel or agent, an agent that the bench rules out, or one without vapour data
    at this temperature.
    """
    temp_c = means.temp_c(asked.temp_c)
    if asked.fumigant is None:
        return _gel(means.knowledge, asked, temp_c)
    return _fumigant(means, asked, asked.fumigant, temp_c)


def _gel(knowledge: Knowledge, asked: BoxQuestion, temp_c: float) -> Answer:
    """Return the drying gel for a box, sized by the humidity it is to end at."""
    fit = (each.id for each in knowledge.gels.values() if each.is_fit_for_drying)
    gel = knowledge.require("gel", next(fit, "") if asked.gel is None else asked.gel)
    extra = dose(knowledge, "store-gel-extra")
    rule = dose(knowledge, "store-gel-transport-rule")
    held = gel.held_when_fresh.most / PERCENT if gel.held_when_fresh else 0.0
    rh = asked.rh_start_percent, asked.rh_end_percent
    water, least = gel_for_box(gel, asked.volume_l, temp_c, rh, asked.free_water_mg, held)
    advised, packing = least * (1.0 + extra.most), asked.volume_l / L_PER_M3 * rule.most
    sentence = (
        f"{advised:.2g} g of {gel.name} (least {least:.2g} g) to take up {water:.0f} mg of water."
    )
    assumptions = [
        f"From {rh[0]:g} to {rh[1]:g} % RH at {temp_c:g} C.",
        f"Fresh gel already holds {held * PERCENT:g} % of its mass.",
    ]
    if asked.free_water_mg == 0.0:
        assumptions.append(
            "Only the air's water is counted: card, cork and insects hold far more, so weigh "
            "them damp and dry and give --free-water."
        )
        sentence = f"For the air alone {advised:.2g} g; {packing:.2g} g by the packing rule."
    told = Answer(
        sentence,
        (
            Figure("water to take up", water, "mg"),
            Figure("least gel", least, "g", gel.name, gel.source),
            Figure("gel with the extra", advised, "g", extra.because, extra.source),
            Figure("packing rule", packing, "g", rule.because, rule.source),
        ),
        cautions=(gel.caution,) if gel.caution else (),
        assumptions=assumptions,
    )
    return answered(knowledge, told)


def _fumigant(means: Means, asked: BoxQuestion, word: str, temp_c: float) -> Answer:
    """Return mass and lifetime of crystals in a box, and the pulse into the room on opening."""
    knowledge, agent = means.knowledge, means.agent(word)
    for rule, because in agent_bars(agent, means.bench, knowledge):
        if rule != "bench-no-stock":
            raise TriageError(because, mend="use cold instead of a vapour")
    judge = AirJudge(knowledge, means.bench, means.day)
    substance = judge.substance(agent.id)
    mass = substance.molar_mass_g_per_mol
    if mass is None:
        raise TriageError(f"no molar mass of {agent.name} is known", mend="add it to its file")
    level = _saturation_mg_per_l(substance.vapour_points, mass, temp_c)
    low_points = tuple((p.temp_c, p.least_kpa) for p in agent.physical.vapour_pressure)
    low = _saturation_mg_per_l(low_points, mass, temp_c)
    pulse = opening_pulse_mg(asked.volume_l, level)
    sentence = f"Opening it lets at most {number(pulse)} mg into the room."
    figures = [Figure("saturated air holds", level, "mg/L", f"at {temp_c:g} C", agent.source)]
    if low < level:
        figures.append(Figure("by another table", low, "mg/L", "crystals last by this"))
    whole = "all the air of the box"
    figures.append(Figure("leaves when opened, at most", pulse, "mg", whole))
    for told, figure in _crystals(asked, level, low):
        sentence = told
        figures.append(figure)
    figures += _old_doses(knowledge, agent.id, asked.volume_l)
    opened, caution = _opening(judge, agent.id, pulse)
    told_all = Answer(
        sentence,
        (*figures, *opened),
        cautions=(
            caution,
            *(line.text for line in never_mix(knowledge, agent)),
            *(f"{n.jurisdiction}, {n.date}: {n.text}" for n in agent.notices),
        ),
        assumptions=(
            "A crystal that is left means saturation; more crystals only last longer.",
            f"The closed box loses its air {asked.changes_per_day:g} times a day (judgement).",
            "On opening, all the air of the box goes into the room before the face at once.",
            *figures_apart(knowledge, agent),
        ),
        sources=(agent.source, *(each.source for each in agent.limits)),
    )
    return answered(knowledge, told_all)


def _saturation_mg_per_l(
    points: tuple[tuple[float, float], ...], molar_mass: float, temp_c: float
) -> float:
    return saturation_mg_per_m3(vapour_kpa_at(points, temp_c), molar_mass, temp_c) / L_PER_M3


def _crystals(asked: BoxQuestion, high: float, low: float) -> Iterator[tuple[str, Figure]]:
    """Yield the crystals needed for the days asked for, and how long those at hand last.

    ``high`` and ``low`` are the saturation by the two tables of vapour pressure [mg/L].
    """
    changes = asked.changes_per_day
    if asked.days is not None:
        needed_g = crystals_for_mg(asked.days, asked.volume_l, high, changes) / MG_PER_G
        sentence = f"{number(needed_g)} g keeps the box saturated for {asked.days:g} days."
        yield sentence, Figure("crystals needed", needed_g, "g")
    if asked.grams is not None:
        crystals_mg = positive("crystals", asked.grams, "g") * MG_PER_G
        ratio, lasts = crystals_last(crystals_mg, asked.volume_l, low, changes)
        until = "until it is opened" if lasts is None else f"about {number(short(lasts))} days"
        sentence = f"Saturates the box {number(ratio)} times over and lasts {until}."
        if ratio < 1.0:
            needed = opening_pulse_mg(asked.volume_l, low)
            sentence = f"Too little to saturate the box: that takes {needed:.3g} mg."
        yield sentence, Figure("lasts", lasts, "days", f"{changes:g} box changes a day")


def _old_doses(knowledge: Knowledge, agent_id: str, volume_l: float) -> Iterator[Figure]:
    """Yield published doses per volume for this box, with what is to be said of them."""
    for each in knowledge.doses.values():
        if each.kind == "fumigant" and each.agent == agent_id and each.unit == "g/m3":
            grams = each.most * volume_l / L_PER_M3
            yield Figure(each.name, grams, "g", each.because, each.source)


def _opening(judge: AirJudge, agent_id: str, pulse_mg: float) -> tuple[tuple[Figure, ...], str]:
    """Return the air of opening the box once in the bench's room, and what is to be minded."""
    substance = judge.substance(agent_id)
    if substance.density_g_per_ml is None:
        raise OutOfRange(f"no density of {agent_id} is known", mend="add it to its file")
    amount_ml = pulse_mg / MG_PER_G / substance.density_g_per_ml
    verdict = judge.judge(substance, amount_ml, 0.0, 1.0)
    near, binding = verdict.near, verdict.binding
    who = binding.limit.authority if binding else "no limit"
    ratio = binding.factor if binding else None
    figures = (
        Figure("opening: peak at the face", near.peak.high, "mg/m3", "at most"),
        Figure("opening: 8 h mean", near.mean_8_h.high, "mg/m3", "at most"),
        Figure("opening: share of what is allowed", ratio, "", who),
    )
    if verdict.verdict != "over":
        return figures, f"Opening: {verdict.sentence}"
    times = number(verdict.exceeded_by)
    return figures, f"Opening is too much: {times} times what is allowed; {OPENING_MEND}"
