"""Answer a question about the air: one release of one agent in one room, forwards and backwards."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from triage.case.profile import MOST_PROTECTIVE, Bench, RoomProfile
from triage.exposure.day import DayLedger
from triage.exposure.judge import judge_release, largest_day_ml, least_air_changes
from triage.exposure.space import Room
from triage.exposure.substance import AirVerdict, Figures, Substance
from triage.knowledge.book import Knowledge
from triage.plan.airjudge import AirJudge
from triage.plan.answers import Means, titled
from triage.plan.inputs import AirQuestion
from triage.plan.model import AirLine
from triage.plan.substances import LONGEST_RELEASE_MIN, PERCENT, figures_apart
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
    """Return the bench with what the question says instead of it.

    Raises
    ------
    TriageError: an unknown control or authority.
    """
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


class Asked:
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
        self.terms = self.judge.terms(
            self.day,
            self.percent / PERCENT,
            no_limit_ok=False,
            ignition_source=asked.ignition_source,
        )

    @property
    def substance(self) -> Substance:
        """The agent as the arithmetic sees it."""
        return self.judge.substance(self.agent.id)

    def verdict(self) -> AirVerdict:
        """Return the judgement in the room as asked."""
        return judge_release(self.substance, self.amount, self.judge.room, self.minutes, self.terms)

    def control(self) -> ControlLine | None:
        """Return the cheapest control under which the amount is acceptable."""
        entry = self.judge.cheapest(self.substance, self.amount, self.minutes, self.terms)
        return ControlLine(entry.id, entry.name, entry.sentence) if entry else None


def answer(means: Means, asked: AirQuestion) -> AirAnswer:
    """Answer a question about one release on top of the day.

    Raises
    ------
    TriageError: unknown agent, control or authority, or a number that cannot be.
    """
    ready = Asked(means, asked)
    verdict, room = ready.verdict(), ready.judge.room
    by = ready.bench.authority or "the most protective limit"
    release = (ready.substance, ready.amount, room, ready.minutes)
    limited = verdict.verdict != "unknown" and verdict.binding is not None
    line = ready.judge.line(ready.agent.id, verdict)
    most_day, least_air, control = None, None, None
    if limited:
        most_day = largest_day_ml(
            ready.substance, room, ready.minutes, asked.passes, asked.every_min, ready.terms
        )
        control = ready.control()
        least_air = None if room.outdoors else least_air_changes(*release, terms=ready.terms)
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
        levels=_levels("face", verdict.near) + _levels("room", verdict.room),
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


def _levels(place: str, figures: Figures) -> tuple[LevelLine, ...]:
    windows = {
        "peak": figures.peak,
        "15 min": figures.mean_15_min,
        "8 h": figures.mean_8_h,
    }
    return tuple(
        LevelLine(
            place,
            window,
            short(level.mg_per_m3.low),
            short(level.mg_per_m3.mid),
            short(level.mg_per_m3.high),
            short(level.ppm.high) if level.ppm else None,
        )
        for window, level in windows.items()
    )


def _notes(
    ready: Asked, verdict: AirVerdict, *, least_air: float | None, control: ControlLine | None
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
    if over and control is None:
        yield "No control listed here makes this amount acceptable: less, or another agent."
    if over and control is not None:
        yield f"It becomes acceptable with: {control.name}. {control.sentence}"
    if verdict.binding is not None and verdict.reentry_min is None:
        yield "The room does not clear by itself: open it before anyone stays in it."
