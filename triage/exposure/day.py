"""The releases of the last day in one room, what is not known of them, and their judgement."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from triage.errors import OutOfRange, did_you_mean
from triage.exposure.space import Room, Superposition, corners
from triage.exposure.substance import (
    JUST_OVER,
    LEVEL_WINDOWS,
    Floats,
    Levels,
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
    """One attempt as the air sees it: all that was put down counts as evaporated.

    It began below minute 0 on the day before, beyond 1440 on the day after; ``release_min`` is the
    time over which it gave off its vapour, 0 = at once.
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
class DayVerdict:
    """The judgement of a day at the face: unknown when an agent has no published limit.

    ``indices`` holds the additive rule: averaging window [min], sum over agents of level over
    allowed level (above 1 is too much), and these agents; the worst first.
    """

    verdict: Word = "ok"
    agents: Mapping[str, Levels] = field(default_factory=dict)
    indices: tuple[tuple[float, Span, tuple[str, ...]], ...] = ()
    unlimited: tuple[str, ...] = ()


def judge_day(
    ledger: DayLedger, room: Room, margin: float = 0.1, judge_by: str | None = None
) -> DayVerdict:
    """Judge all releases of a day at the face, at the unfavourable end of the band.

    ``margin`` is the share of an 8 h limit that may be used; ``judge_by`` the authority whose
    limits count, None = the most protective. No cap by saturation: it would need a temperature for
    every release, and errs to the safe side.
    """
    within("margin", margin, 1e-6, 1.0, "")
    if not ledger.releases:
        return DayVerdict()
    minute, _, last = ledger.columns()
    exact = Superposition(minute, last, room, corners(room))

    def at_the_face(per_agent: dict[str, float], window_min: float) -> Span:
        return span_of(exact.worst(ledger.weights(per_agent), window_min)[1])

    judged = {key: judged_limits(ledger.substance(key), judge_by) for key in ledger.agents()}
    allowed: dict[float, dict[str, float]] = {}
    for key, limits in judged.items():
        for window, level in strictest_per_window(limits, margin).items():
            allowed.setdefault(window, {})[key] = 1.0 / level
    indices = [
        (window, at_the_face(per, window), tuple(sorted(per))) for window, per in allowed.items()
    ]
    indices.sort(key=lambda each: (-each[1].high, each[0]))
    # Peak and danger-to-life levels are not added up.
    single = (
        at_the_face({key: 1.0 / limit.value_mg_per_m3}, limit.window_min)
        for key, limits in judged.items()
        for limit in limits
        if limit.basis in {"peak", "idlh"}
    )
    unlimited = tuple(
        key for key, limits in judged.items() if all(limit.basis == "idlh" for limit in limits)
    )
    is_over = any(index.high > JUST_OVER for index in (*(each[1] for each in indices), *single))
    levels = {
        key: Levels(*(at_the_face({key: 1.0}, window) for window in LEVEL_WINDOWS))
        for key in judged
    }
    word: Word = "over" if is_over else "unknown" if unlimited else "ok"
    return DayVerdict(word, levels, tuple(indices), unlimited)
