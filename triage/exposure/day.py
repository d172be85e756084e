"""The releases of the last day in one room, what is not known of them, and their judgement."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from triage.errors import OutOfRange, did_you_mean
from triage.exposure.space import Room, Superposition, corners
from triage.exposure.substance import (
    DAY_MIN,
    JUST_OVER,
    SHORT_MIN,
    Floats,
    Span,
    Substance,
    Word,
    judged_limits,
    span_of,
    strictest_per_window,
)
from triage.units import within

# Minutes are counted from midnight: the day before and the day after belong to what is judged.
FIRST_MIN, LAST_MIN = -2880.0, 2880.0


@dataclass(frozen=True, slots=True)
class Release:
    """One attempt as the air sees it.

    Parameters
    ----------
    minute_of_day when it began [min]; below 0 on the day before, beyond 1440 on the day after
    amount_mg     mass put down [mg], >= 0: everything counts as evaporated
    agent         key of the substance
    release_min   minutes over which it gave off its vapour, 0 to 1440; 0 = at once
    """

    minute_of_day: float
    amount_mg: float
    agent: str
    release_min: float = 0.0

    def __post_init__(self) -> None:
        within(f"{self.agent}: minute of the day", self.minute_of_day, FIRST_MIN, LAST_MIN, "min")
        within(f"{self.agent}: amount", self.amount_mg, 0.0, 1e9, "mg")
        within(f"{self.agent}: release time", self.release_min, 0.0, 1440.0, "min")


@dataclass(frozen=True, slots=True)
class DayLedger:
    """All releases that still count, earliest first, with the substances they name.

    ``now_min`` is the minute of the day at which the next step would begin; None takes the start
    of the last release, the safest reading. ``unknown`` names what may have been released but
    cannot be read: perhaps much. ``ahead`` names what is dated after the present moment; it is
    among the releases, as of now. ``used`` names every agent that was used, also one that does not
    reach the air, and the case.

    Raises
    ------
    OutOfRange: a release names an agent that is not among the substances.
    """

    releases: tuple[Release, ...] = ()
    substances: tuple[Substance, ...] = ()
    now_min: float | None = None
    unknown: tuple[str, ...] = ()
    ahead: tuple[str, ...] = ()
    used: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        known = {substance.key for substance in self.substances}
        for release in self.releases:
            if release.agent not in known:
                raise OutOfRange(
                    f'agent "{release.agent}" of the day is unknown',
                    mend=did_you_mean(release.agent, known),
                )
        ordered = sorted(self.releases, key=lambda each: (each.minute_of_day, each.agent))
        object.__setattr__(self, "releases", tuple(ordered))

    @property
    def last_min(self) -> float:
        """Minute at which the last release began; 0 without one."""
        return max((each.minute_of_day for each in self.releases), default=0.0)

    def agents(self) -> tuple[str, ...]:
        """Return the keys that were used, sorted."""
        return tuple(sorted({each.agent for each in self.releases}))

    def substance(self, key: str) -> Substance:
        """Return one of the substances by key."""
        return next(each for each in self.substances if each.key == key)

    def added(self, releases: Iterable[Release], substances: Iterable[Substance] = ()) -> DayLedger:
        """Return the ledger with further releases, and the substances that they name."""
        known = {each.key: each for each in (*self.substances, *substances)}
        return replace(self, releases=(*self.releases, *releases), substances=tuple(known.values()))

    def columns(self) -> tuple[Floats, Floats, Floats]:
        """Return minute of day [min], amount [mg] and release time [min], each shape (n,)."""
        table = [(r.minute_of_day, r.amount_mg, r.release_min) for r in self.releases]
        minute, amount, last = np.array(table, dtype=np.float64).reshape(-1, 3).T
        return minute.copy(), amount.copy(), last.copy()

    def weights(self, per_agent: dict[str, float]) -> Floats:
        """Return amount times a factor of its agent, 0 for agents without one, shape (n,)."""
        return np.array([r.amount_mg * per_agent.get(r.agent, 0.0) for r in self.releases])


@dataclass(frozen=True, slots=True)
class AgentDay:
    """Levels of one agent over the day at the face [mg/m3], and its total [mg]."""

    agent: str
    total_mg: float
    peak: Span
    mean_15_min: Span
    mean_8_h: Span


@dataclass(frozen=True, slots=True)
class DayIndex:
    """Sum over agents of level over allowed level for one averaging window; above 1 is too much."""

    window_min: float
    index: Span
    agents: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DayVerdict:
    """The judgement of a day.

    Parameters
    ----------
    verdict   ok, over, or unknown when an agent has no published limit
    agents    levels of each agent at the face
    indices   additive rule per averaging window, worst first
    unlimited agents without a published limit
    """

    verdict: Word
    agents: tuple[AgentDay, ...]
    indices: tuple[DayIndex, ...]
    unlimited: tuple[str, ...]


def judge_day(
    ledger: DayLedger, room: Room, margin: float = 0.1, judge_by: str | None = None
) -> DayVerdict:
    """Judge all releases of a day at the face, at the unfavourable end of the band.

    Parameters
    ----------
    ledger   the day
    margin   share of an 8 h limit that may be used
    judge_by authority whose limits count; None = the most protective

    Notes
    -----
    No cap by saturation: it would need a temperature for every release, and errs to the safe side.
    """
    within("margin", margin, 1e-6, 1.0, "")
    if not ledger.releases:
        return DayVerdict("ok", (), (), ())
    minute, _, last = ledger.columns()
    exact = Superposition(minute, last, room, corners(room))
    allowed: dict[float, dict[str, float]] = {}
    unlimited = []
    for key in ledger.agents():
        found = judged_limits(ledger.substance(key), judge_by)
        if not any(limit.basis != "idlh" for limit in found):
            unlimited.append(key)
        for window, level in strictest_per_window(found, margin).items():
            allowed.setdefault(window, {})[key] = 1.0 / level
    indices = [
        DayIndex(window, span_of(exact.worst(ledger.weights(per), window)[1]), tuple(sorted(per)))
        for window, per in allowed.items()
    ]
    indices.sort(key=lambda each: (-each.index.high, each.window_min))
    # Peak and danger-to-life levels are not added up.
    single = (
        exact.worst(ledger.weights({key: 1.0 / limit.value_mg_per_m3}), limit.window_min)[1][-1]
        for key in ledger.agents()
        for limit in judged_limits(ledger.substance(key), judge_by)
        if limit.basis in {"peak", "idlh"}
    )
    word: Word = "unknown" if unlimited else "ok"
    if any(each.index.high > JUST_OVER for each in indices) or any(r > JUST_OVER for r in single):
        word = "over"
    levels = tuple(_agent_day(ledger, exact, key) for key in ledger.agents())
    return DayVerdict(word, levels, tuple(indices), tuple(unlimited))


def _agent_day(ledger: DayLedger, exact: Superposition, key: str) -> AgentDay:
    weight = ledger.weights({key: 1.0})
    spans = [span_of(exact.worst(weight, w)[1]) for w in (0.0, SHORT_MIN, DAY_MIN)]
    return AgentDay(key, float(weight.sum()), *spans)
