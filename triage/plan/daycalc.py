"""The ledger of the air as lines and bars: what was released, and how much of it is allowed."""

from __future__ import annotations

from dataclasses import dataclass

from triage.exposure.day import DayLedger, DayVerdict, judge_day
from triage.exposure.substance import is_silent
from triage.exposure.wording import judged_instead, number, window_words
from triage.plan.aircalc import room_words, unknown_words
from triage.plan.airjudge import AirJudge
from triage.plan.answers import Means, titled
from triage.units import short


@dataclass(frozen=True, slots=True)
class DayBar:
    """How full one averaging window is; 1 is all that is allowed.

    ``low`` to ``share`` is the band; ``share`` its unfavourable end, which counts.
    """

    window: str
    low: float
    share: float
    agents: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AgentLine:
    """One agent's day at the face, unfavourable end."""

    agent: str
    name: str
    total_mg: float
    peak_mg_per_m3: float
    mean_15_min_mg_per_m3: float
    mean_8_h_mg_per_m3: float


@dataclass(frozen=True, slots=True)
class ReleaseLine:
    """One attempt of the last 24 hours as the air saw it."""

    time: str
    agent: str
    amount_mg: float


@dataclass(frozen=True, slots=True)
class DayAnswer:
    """The last 24 hours: sentence, bars per averaging window, agents, releases.

    ``unknown`` names what cannot be read and may have been released as well; the verdict is then
    never ``ok``.
    """

    sentence: str
    verdict: str
    room: str
    bars: tuple[DayBar, ...]
    agents: tuple[AgentLine, ...]
    releases: tuple[ReleaseLine, ...]
    unlimited: tuple[str, ...]
    assumptions: tuple[str, ...]
    sources: tuple[str, ...]
    unknown: tuple[str, ...] = ()


def answer(means: Means) -> DayAnswer:
    """Return the day's ledger judged in the bench's room."""
    knowledge, bench, day = means.knowledge, means.bench, means.day
    judge = AirJudge(knowledge, bench, day)
    by = bench.authority
    found = judge_day(day, judge.room, judge.margin, by)
    bars = tuple(
        DayBar(window_words(window), short(index.low), short(index.high), agents)
        for window, index, agents in found.indices
    )
    agents = tuple(
        AgentLine(
            key,
            knowledge.agents[key].name,
            short(float(day.weights({key: 1.0}).sum())),
            *(short(span.high) for span in levels),
        )
        for key, levels in found.agents.items()
    )
    releases = tuple(
        ReleaseLine(_moment(each.minute_of_day), each.agent, short(each.amount_mg))
        for each in day.releases
    )
    sources = [limit.source for each in day.substances for limit in each.limits]
    return DayAnswer(
        sentence=f"{_sentence(day, found, bars)} {unknown_words(day)}".rstrip(),
        verdict="unknown" if day.unknown and found.verdict == "ok" else found.verdict,
        room=room_words(knowledge, bench, judge.room),
        bars=bars,
        agents=agents,
        releases=releases,
        unlimited=found.unlimited,
        assumptions=(
            f"{judge.margin:g} of an 8 h limit may be used; all agents are added up.",
            "All that was put down counts as evaporated at once, at the unfavourable end.",
            "Attempts of 24 hours on all cases in this folder count, corrected ones as corrected.",
            "What is dated later than the present moment counts as released now.",
            *(judged_instead(s, by or "") for s in day.substances if is_silent(s, by)),
        ),
        sources=titled(knowledge, (*sources, "judgement")),
        unknown=day.unknown,
    )


def _moment(minute: float) -> str:
    day, rest = divmod(int(minute // 1), 1440)
    text = f"{rest // 60:02d}:{rest % 60:02d}"
    return text if day >= 0 else f"{text} yesterday" if day == -1 else f"{text} the day before"


def _sentence(day: DayLedger, found: DayVerdict, bars: tuple[DayBar, ...]) -> str:
    count = len(day.releases)
    if not count and day.unknown:
        return "Of the last 24 hours no release is known."
    if not count:
        return "Nothing was released into this room in the last 24 hours."
    releases = "1 release" if count == 1 else f"{count} releases"
    if not bars:
        return f"{releases} in 24 h, none of an agent with a published limit: cannot be judged."
    fullest = bars[0]
    percent = number(fullest.share * 100)
    if found.verdict == "over" and fullest.share <= 1.0:
        return "Too much in 24 h: a peak limit or danger-to-life level was passed; air the room."
    if found.verdict == "over":
        return (
            f"Too much in 24 h: {number(fullest.share)} times what is allowed for {fullest.window}"
            "; air the room and release no more."
        )
    return f"{releases} in 24 h: {fullest.window} stands at {percent} % of what is allowed."
