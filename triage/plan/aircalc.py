"""A question about the air: one release in one room, forwards and backwards, and as a picture."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from triage.case.profile import MOST_PROTECTIVE, Bench, RoomProfile
from triage.exposure.day import DayLedger
from triage.exposure.judge import judge_release, largest_day_ml, least_air_changes
from triage.exposure.near_field import Curve, release_curve
from triage.exposure.space import Room
from triage.exposure.step import source_of
from triage.exposure.substance import LEVEL_WINDOWS, AirVerdict, Levels
from triage.exposure.wording import limit_name, number, window_words
from triage.knowledge.book import Knowledge
from triage.plan.airjudge import AirJudge
from triage.plan.answers import Means, titled
from triage.plan.inputs import AirQuestion
from triage.plan.liquids import as_done
from triage.plan.model import AirLine, Plan, Step
from triage.plan.substances import (
    LONGEST_RELEASE_MIN,
    MG_PER_G,
    PERCENT,
    figures_apart,
    open_fraction,
    release_min_of,
)
from triage.units import positive, short, within


@dataclass(frozen=True, slots=True)
class LevelLine:
    """One air level with its band: favourable end, as stated, unfavourable end."""

    place: str
    window: str
    low_mg_per_m3: float
    mid_mg_per_m3: float
    high_mg_per_m3: float
    high_ppm: float | None


@dataclass(frozen=True, slots=True)
class ControlLine:
    """The cheapest control under which the same amount is acceptable."""

    id: str
    name: str
    sentence: str


@dataclass(frozen=True, slots=True)
class AirAnswer:
    """The answer about one release, with the same release asked backwards.

    ``largest_pass_ml``, ``largest_day_ml``, ``least_air_changes_per_h`` and ``reentry_min`` are
    None where nothing binds or nothing helps; ``notes`` say which.
    """

    sentence: str
    verdict: str
    agent: str
    agent_name: str
    amount_ml: float
    strength_percent: float
    release_min: float
    room: str
    earlier_releases: int
    levels: tuple[LevelLine, ...]
    air: AirLine
    largest_pass_ml: float | None
    largest_day_ml: float | None
    passes: int
    every_min: float
    least_air_changes_per_h: float | None
    reentry_min: float | None
    control: ControlLine | None
    notes: tuple[str, ...]
    assumptions: tuple[str, ...]
    sources: tuple[str, ...]


def bench_for(knowledge: Knowledge, bench: Bench, asked: AirQuestion) -> Bench:
    """Return the bench with what the question says instead of it."""
    room: dict[str, Any] = bench.room.model_dump()
    if asked.volume_m3 is not None:
        room["volume_m3"] = asked.volume_m3
    if asked.air_changes_per_h is not None:
        room |= {"air_changes_per_h": asked.air_changes_per_h, "control": "none"}
    if asked.control is not None:
        knowledge.require("control", asked.control)
        room["control"] = asked.control
    changed: dict[str, Any] = {"room": RoomProfile.model_validate(room)}
    if asked.judge_by is not None:
        if asked.judge_by != MOST_PROTECTIVE:
            knowledge.require("authority", asked.judge_by)
        changed["judge_by"] = asked.judge_by
    return bench.model_copy(update=changed)


def room_words(knowledge: Knowledge, bench: Bench, room: Room) -> str:
    """Return the room as it was judged, in words."""
    control = knowledge.controls.get(bench.room.control)
    name = control.name if control else "no control known"
    if room.outdoors:
        return f"outdoors ({name})"
    changes = room.air_changes_per_h
    air = "air changes not known, counted as none" if changes is None else f"{changes:g} per hour"
    known = "" if bench.room.volume_m3 else " (assumed)"
    return f"{room.volume_m3:g} m3{known}, fresh air: {air}; control: {name}"


def unknown_words(day: DayLedger) -> str:
    """Return what is not known of the last 24 hours as one sentence, empty if all is."""
    if not day.unknown:
        return ""
    return f"Not known, and perhaps much: {'; '.join(day.unknown)}."


class _Asked:
    """One question made ready: substance, room and the terms of every judgement of it."""

    def __init__(self, means: Means, asked: AirQuestion) -> None:
        self.knowledge = means.knowledge
        self.asked = asked
        self.agent = means.agent(asked.agent)
        self.amount = positive("amount", asked.amount_ml, "mL")
        self.bench = bench_for(means.knowledge, means.bench, asked)
        self.day = DayLedger() if asked.alone else means.day
        self.judge = AirJudge(means.knowledge, self.bench, self.day)
        least = means.knowledge.judgement.least_release_min.value
        given = least if asked.minutes is None else asked.minutes
        self.minutes = within("minutes", given, 0.0, LONGEST_RELEASE_MIN, "min")
        own = self.bench.strength_of(self.agent.id) or PERCENT
        self.percent = own if asked.strength_percent is None else asked.strength_percent
        terms = self.judge.terms(self.day, self.percent / PERCENT)
        self.terms = replace(terms, no_limit_ok=False, ignition_source=asked.ignition_source)
        self.substance = self.judge.substance(self.agent.id)


def answer(means: Means, asked: AirQuestion) -> AirAnswer:
    """Answer a question about one release on top of the day."""
    ready = _Asked(means, asked)
    room, terms = ready.judge.room, ready.terms
    release = (ready.substance, ready.amount, room, ready.minutes)
    verdict = judge_release(*release, terms)
    by = ready.bench.authority or "the most protective limit"
    limited = verdict.verdict != "unknown" and verdict.binding is not None
    line = ready.judge.line(ready.agent.id, verdict)
    most_day, least_air, control = None, None, None
    if limited:
        most_day = largest_day_ml(
            ready.substance, room, ready.minutes, asked.passes, asked.every_min, terms
        )
        entry = ready.judge.cheapest(ready.substance, ready.amount, ready.minutes, terms)
        control = ControlLine(entry.id, entry.name, entry.sentence) if entry else None
        least_air = None if room.outdoors else least_air_changes(*release, terms=terms)
    return AirAnswer(
        sentence=verdict.sentence,
        verdict=verdict.verdict,
        agent=ready.agent.id,
        agent_name=ready.agent.name,
        amount_ml=ready.amount,
        strength_percent=ready.percent,
        release_min=ready.minutes,
        room=room_words(means.knowledge, ready.bench, room),
        earlier_releases=len(ready.day.releases),
        levels=(
            *_levels("face", verdict.near, verdict.ppm_per_mg),
            *_levels("room", verdict.room, verdict.ppm_per_mg),
        ),
        air=line,
        largest_pass_ml=short(verdict.largest_ok_ml) if limited else None,
        largest_day_ml=short(most_day),
        passes=asked.passes,
        every_min=asked.every_min,
        least_air_changes_per_h=short(least_air),
        reentry_min=short(verdict.reentry_min),
        control=control,
        notes=tuple(_notes(ready, verdict, least_air=least_air, control=control)),
        assumptions=(
            f"Judged by {by}; {ready.judge.margin:g} of an 8 h limit may be used.",
            *verdict.assumptions,
            *figures_apart(means.knowledge, ready.agent),
        ),
        sources=titled(
            means.knowledge,
            (*(limit.source for limit in line.limits), ready.agent.source, "judgement"),
        ),
    )


def _levels(place: str, levels: Levels, ppm_per_mg: float | None) -> tuple[LevelLine, ...]:
    return tuple(
        LevelLine(
            place,
            window,
            short(span.low),
            short(span.mid),
            short(span.high),
            None if ppm_per_mg is None else short(span.high * ppm_per_mg),
        )
        for window, span in zip(map(window_words, LEVEL_WINDOWS), levels, strict=True)
    )


def _notes(
    ready: _Asked, verdict: AirVerdict, *, least_air: float | None, control: ControlLine | None
) -> Iterator[str]:
    if ready.day.unknown:
        yield unknown_words(ready.day)
    if ready.agent.never:
        yield f"{ready.agent.name} is listed only to be refused: no plan uses it."
    if verdict.verdict == "unknown":
        yield "Without a limit nothing can be said backwards: no largest amount."
    if verdict.can_ignite:
        yield "It can flash at this temperature: no flame, spark or hot lamp near it."
    over = verdict.verdict == "over"
    if over and least_air is None and not ready.judge.room.outdoors:
        yield "No amount of fresh air alone makes this amount acceptable at the face."
    if over and control is None and verdict.largest_ok_ml == 0.0:
        yield "No control listed here makes the day acceptable: release no more."
    elif over and control is None:
        yield "No control listed here makes this amount acceptable: less, or another agent."
    if over and control is not None:
        yield f"It becomes acceptable with: {control.name}. {control.sentence}"
    if verdict.binding is not None and verdict.reentry_min is None:
        yield "The room does not clear by itself: open it before anyone stays in it."


CURVE_MIN, CURVE_POINTS = 120.0, 181
TOLD_MIN = (1.0, 5.0, 15.0, 30.0, 60.0, 120.0)


@dataclass(frozen=True, slots=True)
class LimitMark:
    """One published limit as a line across the picture [mg/m3], and in words."""

    words: str
    basis: str
    mg_per_m3: float


@dataclass(frozen=True, slots=True)
class AirPicture:
    """A curve of level against time with its limits, ready to be drawn; empty if nothing rises."""

    title: str
    curve: Curve
    marks: tuple[LimitMark, ...]

    def lowest_marks(self) -> tuple[LimitMark, ...]:
        """Return the lowest limit of each basis, lowest first: more lines would hide the curve."""
        lowest: dict[str, LimitMark] = {}
        for mark in self.marks:
            lowest.setdefault(mark.basis, mark)
        return tuple(sorted(lowest.values(), key=lambda each: each.mg_per_m3))

    def words(self) -> tuple[str, ...]:
        """Return the picture in words, for whoever does not see it."""
        curve = self.curve
        if not curve.minutes:
            return ("No vapour: there is no curve.",)
        top = max(range(len(curve.minutes)), key=lambda at: curve.near_mg_per_m3[at])
        peak, when = number(curve.near_mg_per_m3[top]), number(curve.minutes[top])
        lines = [f"highest at the face: {peak} mg/m3 after {when} min"]
        for minute in TOLD_MIN:
            at = next((at for at, each in enumerate(curve.minutes) if each >= minute), None)
            if at is not None:
                lines.append(
                    f"after {minute:g} min: face {number(curve.near_mg_per_m3[at])}, room "
                    f"{number(curve.room_mg_per_m3[at])} mg/m3"
                )
        return (*lines, *(f"{m.words}: {number(m.mg_per_m3)} mg/m3" for m in self.lowest_marks()))


def air_picture(means: Means, asked: AirQuestion) -> AirPicture:
    """Return level against time of one release alone, at the unfavourable end, with limit lines.

    The levels of earlier releases are not in the curve; the verdict counts them.
    """
    ready = _Asked(means, replace(asked, alone=True))
    density = ready.substance.density_g_per_ml
    limits = (
        LimitMark(limit_name(each), each.basis, short(each.value_mg_per_m3))
        for each in ready.substance.limits
    )
    marks = tuple(sorted(limits, key=lambda each: (each.mg_per_m3, each.words)))
    title = f"{ready.agent.name}, {ready.amount:g} mL"
    if density is None or ready.substance.airborne == "none":
        return AirPicture(title, Curve((), (), ()), marks)
    mass = ready.amount * density * MG_PER_G * ready.percent / PERCENT
    curve = release_curve(mass, ready.minutes, ready.judge.room, CURVE_MIN, CURVE_POINTS)
    # Held at saturation, as the verdict is.
    temp_c = ready.judge.room.temp_c
    cap = source_of(ready.substance, temp_c, ready.percent / PERCENT).cap_mg_per_m3
    held = replace(
        curve,
        room_mg_per_m3=tuple(min(each, cap) for each in curve.room_mg_per_m3),
        near_mg_per_m3=tuple(min(each, cap) for each in curve.near_mg_per_m3),
    )
    return AirPicture(title, held, marks)


USUAL_ML = 1.0


def airy_step(plan: Plan) -> Step | None:
    """Return the next hazardous step that gives off vapour, else the next that does at all.

    A test spot gives way to the step that it tries, which gives off far more of the same.
    """
    airy = [
        s
        for s in plan.steps
        if s.air is not None and s.air.peak_mg_per_m3 > 0 and s.agent and s.before is None
    ]
    return next((s for s in airy if s.hazardous), airy[0] if airy else None)


def question_of_step(knowledge: Knowledge, step: Step) -> AirQuestion | None:
    """Return the question that a step's air answers; None if it gives off nothing."""
    method = as_done(knowledge, step.method, step.before)
    if step.agent is None or step.amount_ml is None or method.amount is None:
        return None
    return AirQuestion(
        step.agent,
        step.amount_ml,
        minutes=release_min_of(knowledge, method),
        strength_percent=open_fraction(method) * PERCENT,
    )


def question_of_agent(knowledge: Knowledge, agent: str) -> AirQuestion:
    """Return a question about an agent as its mildest method uses it, else about 1 mL of it."""
    for method in knowledge.methods.values():
        if method.agent == agent and method.amount is not None:
            percent = open_fraction(method) * PERCENT
            return AirQuestion(agent, method.amount.typical_ml, strength_percent=percent)
    return AirQuestion(agent, USUAL_ML)


def vapour_agents(knowledge: Knowledge, bench: Bench) -> tuple[str, ...]:
    """Return the agents whose vapour has a limit, those of the bench's stock first, by name."""
    judge = AirJudge(knowledge, bench, DayLedger())
    judged = [
        agent
        for agent in knowledge.agents
        if judge.substance(agent).airborne != "none" and judge.substance(agent).limits
    ]
    usable = [agent for agent in judged if not knowledge.agents[agent].never]
    key = lambda a: (not bench.has_stock(a), knowledge.agents[a].name)
    return tuple(sorted(usable, key=key))
