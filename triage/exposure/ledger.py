"""Judge a whole day: every release of every case in the room, agents added up."""

from __future__ import annotations

from dataclasses import dataclass

from triage.exposure.day import DayLedger
from triage.exposure.space import Room, corners
from triage.exposure.substance import DAY_MIN, SHORT_MIN, judged_limits, strictest_per_window
from triage.exposure.superpose import Superposition
from triage.exposure.verdict import JUST_OVER, Span, Word, span_of
from triage.units import within


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
    verdict   ok, over, or unknown when an agent has no published limit (unless that is allowed)
    agents    levels of each agent at the face
    indices   additive rule per averaging window, worst first
    unlimited agents without a published limit
    """

    verdict: Word
    agents: tuple[AgentDay, ...]
    indices: tuple[DayIndex, ...]
    unlimited: tuple[str, ...]


def judge_day(
    ledger: DayLedger,
    room: Room,
    margin: float = 0.1,
    judge_by: str | None = None,
    *,
    no_limit_ok: bool = False,
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
    word: Word = "ok" if not unlimited or no_limit_ok else "unknown"
    if any(each.index.high > JUST_OVER for each in indices) or _is_above_single(
        ledger, exact, judge_by
    ):
        word = "over"
    levels = tuple(_agent_day(ledger, exact, key) for key in ledger.agents())
    return DayVerdict(word, levels, tuple(indices), tuple(unlimited))


def _is_above_single(ledger: DayLedger, exact: Superposition, judge_by: str | None) -> bool:
    """Return whether a peak or danger-to-life level, which are not added up, is exceeded."""
    for key in ledger.agents():
        for limit in judged_limits(ledger.substance(key), judge_by):
            if limit.basis in {"peak", "idlh"}:
                weight = ledger.weights({key: 1.0 / limit.value_mg_per_m3})
                if exact.worst(weight, limit.window_min)[1][-1] > JUST_OVER:
                    return True
    return False


def _agent_day(ledger: DayLedger, exact: Superposition, key: str) -> AgentDay:
    weight = ledger.weights({key: 1.0})
    spans = [span_of(exact.worst(weight, w)[1]) for w in (0.0, SHORT_MIN, DAY_MIN)]
    return AgentDay(key, float(weight.sum()), *spans)
