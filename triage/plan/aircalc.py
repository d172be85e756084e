"""Answer a question about the air: one release of one agent in one room, forwards and backwards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from triage.case.profile import MOST_PROTECTIVE, Bench, RoomProfile
from triage.errors import TriageError, did_you_mean
from triage.exposure.day import DayLedger
from triage.exposure.inverse import cheapest_control, largest_day_ml, least_air_changes
from triage.exposure.judge import judge_release
from triage.exposure.space import Room
from triage.exposure.substance import Substance
from triage.exposure.verdict import AirVerdict, Figures, Level
from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge
from triage.plan.air import AirJudge
from triage.plan.answers import short, titled
from triage.plan.model import AirLine
from triage.plan.substances import LONGEST_RELEASE_MIN, bare_room, controls_of
from triage.units import positive, within

PERCENT = 100.0


@dataclass(frozen=True, slots=True)
class AirQuestion:
    """What is asked; None takes the bench's or the knowledge's figure.

    Parameters
    ----------
    agent             id of the agent
    amount_ml         put down in one pass [mL], > 0
    minutes           time in which it can evaporate [min], 0 to 480
    volume_m3         room [m3]
    air_changes_per_h fresh air [1/h]; given without a control, no control is counted
    control           id of a control
    judge_by          id of the authority to judge by
    strength_percent  share of the agent in the liquid [%]
    passes, every_min equal passes of a day, and minutes from start to start
    ignition_source   a flame, spark or hot lamp is near
    """

    agent: str
    amount_ml: float
    minutes: float | None = None
    volume_m3: float | None = None
    air_changes_per_h: float | None = None
    control: str | None = None
    judge_by: str | None = None
    strength_percent: float | None = None
    passes: int = 8
    every_min: float = 30.0
    ignition_source: bool = False


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


def agent_named(knowledge: Knowledge, word: str) -> Agent:
    """Return an agent by id, or by its exact name.

    Raises
    ------
    TriageError: no such agent; the mend names the nearest one.
    """
    if word in knowledge.agents:
        return knowledge.agents[word]
    for agent in knowledge.agents.values():
        if agent.name.lower() == word.lower():
            return agent
    raise TriageError(f'unknown agent "{word}"', mend=did_you_mean(word, knowledge.agents))


def bench_for(knowledge: Knowledge, bench: Bench, asked: AirQuestion) -> Bench:
    """Return the bench with what the question says instead of it.

    Raises
    ------
    TriageError: a volume or air changes that cannot be, an unknown control or authority.
    """
    room: dict[str, Any] = bench.room.model_dump()
    if asked.volume_m3 is not None:
        room["volume_m3"] = within("room volume", asked.volume_m3, 1.0, 100_000.0, "m3")
    if asked.air_changes_per_h is not None:
        room["air_changes_per_h"] = within("air changes", asked.air_changes_per_h, 0.0, 200.0, "/h")
        room["control"] = "none"
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

    def __init__(
        self, knowledge: Knowledge, bench: Bench, day: DayLedger, asked: AirQuestion
    ) -> None:
        self.knowledge = knowledge
        self.asked = asked
        self.agent = agent_named(knowledge, asked.agent)
        self.amount = positive("amount", asked.amount_ml, "mL")
        self.bench = bench_for(knowledge, bench, asked)
        self.judge = AirJudge(knowledge, self.bench, day)
        least = knowledge.judgement.least_release_min.value
        given = least if asked.minutes is None else asked.minutes
        self.minutes = within("minutes", given, 0.0, LONGEST_RELEASE_MIN, "min")
        own = self.bench.strength_of(self.agent.id)
        percent = asked.strength_percent if asked.strength_percent is not None else (own or PERCENT)
        self.percent = within("strength", percent, 0.001, PERCENT, "%")
        self.terms: dict[str, Any] = {
            "ledger": day,
            "margin": self.judge.margin,
            "judge_by": self.bench.authority,
            "strength_fraction": self.percent / PERCENT,
            "lel_share": knowledge.judgement.lel_share.value,
            "ignition_source": asked.ignition_source,
        }

    @property
    def substance(self) -> Substance:
        """The agent as the arithmetic sees it."""
        return self.judge.substance(self.agent.id)

    def verdict(self) -> AirVerdict:
        """Return the judgement in the room as asked."""
        return judge_release(
            self.substance, self.amount, self.judge.room, self.minutes, **self.terms
        )

    def control(self) -> ControlLine | None:
        """Return the cheapest control under which the amount is acceptable."""
        choice = cheapest_control(
            controls_of(self.knowledge),
            self.substance,
            self.amount,
            bare_room(self.knowledge, self.bench),
            self.minutes,
            **self.terms,
        )
        if choice is None:
            return None
        entry = self.knowledge.controls[choice.control.name]
        return ControlLine(entry.id, entry.name, entry.sentence)


def answer_air(knowledge: Knowledge, bench: Bench, day: DayLedger, asked: AirQuestion) -> AirAnswer:
    """Answer a question about one release on top of the day.

    Raises
    ------
    TriageError: unknown agent, control or authority, or a number that cannot be.
    """
    ready = Asked(knowledge, bench, day, asked)
    verdict = ready.verdict()
    room, judge = ready.judge.room, ready.judge
    limited = verdict.verdict != "unknown" and verdict.binding is not None
    line = judge.line(ready.agent.id, verdict)
    most_day, least_air, control = None, None, None
    if limited:
        most_day = largest_day_ml(
            ready.substance, room, ready.minutes, asked.passes, asked.every_min, **ready.terms
        )
        control = ready.control()
        if not room.outdoors:
            least_air = least_air_changes(
                ready.substance, ready.amount, room, ready.minutes, **ready.terms
            )
    largest = verdict.largest_ok_ml if limited else None
    return AirAnswer(
        sentence=verdict.sentence,
        verdict=verdict.verdict,
        agent=ready.agent.id,
        agent_name=ready.agent.name,
        amount_ml=ready.amount,
        strength_percent=ready.percent,
        release_min=ready.minutes,
        room=room_words(knowledge, ready.bench, room),
        earlier_releases=len(day.releases),
        levels=_levels("face", verdict.near) + _levels("room", verdict.room),
        air=line,
        largest_pass_ml=None if largest is None else short(largest),
        largest_day_ml=None if most_day is None else short(most_day),
        passes=asked.passes,
        every_min=asked.every_min,
        least_air_changes_per_h=None if least_air is None else short(least_air),
        reentry_min=None if verdict.reentry_min is None else short(verdict.reentry_min),
        control=control,
        notes=_notes(ready, verdict, least_air=least_air, control=control),
        assumptions=(
            f"Judged by {_judged_by(ready.bench)}; {judge.margin:g} of an 8 h limit may be used.",
            *verdict.assumptions,
        ),
        sources=titled(
            knowledge,
            (*(limit.source for limit in line.limits), ready.agent.source, "judgement"),
        ),
    )


def _judged_by(bench: Bench) -> str:
    return bench.authority or "the most protective limit"


def _levels(place: str, figures: Figures) -> tuple[LevelLine, ...]:
    def line(window: str, level: Level) -> LevelLine:
        span = level.mg_per_m3
        ppm = None if level.ppm is None else short(level.ppm.high)
        return LevelLine(place, window, short(span.low), short(span.mid), short(span.high), ppm)

    return (
        line("peak", figures.peak),
        line("15 min", figures.mean_15_min),
        line("8 h", figures.mean_8_h),
    )


def _notes(
    ready: Asked, verdict: AirVerdict, *, least_air: float | None, control: ControlLine | None
) -> tuple[str, ...]:
    notes = []
    if ready.judge.day.unknown:
        notes.append(unknown_words(ready.judge.day))
    if ready.agent.never:
        notes.append(f"{ready.agent.name} is listed only to be refused: no plan uses it.")
    if verdict.verdict == "unknown":
        notes.append("Without a limit nothing can be said backwards: no largest amount.")
    if verdict.can_ignite:
        notes.append("It can flash at this temperature: no flame, spark or hot lamp near it.")
    over = verdict.verdict == "over"
    if over and least_air is None and not ready.judge.room.outdoors:
        notes.append("No amount of fresh air alone makes this amount acceptable at the face.")
    if over and control is None:
        notes.append("No control listed here makes this amount acceptable: less, or another agent.")
    if over and control is not None:
        notes.append(f"It becomes acceptable with: {control.name}. {control.sentence}")
    if verdict.binding is not None and verdict.reentry_min is None:
        notes.append("The room does not clear by itself: open it before anyone stays in it.")
    return tuple(notes)
