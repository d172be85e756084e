"""Time until mould grows: a model for clean wood, used only as the slow end of what may happen."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from triage.units import at_least, positive, within

#: relative humidity under which the model grows nothing [%], whatever the temperature
MODEL_FLOOR_PERCENT_RH = 80.0


def critical_rh_percent(temp_c: float) -> float:
    """Return the humidity above which the model lets mould grow [%], 0 < T < 50 C.

    Source: Hukka and Viitanen, Wood Sci. Technol. 33:475-485, 1999: a cubic up to 20 C, 80 above.
    """
    temp = within("temperature", temp_c, 0.1, 49.9, "C")
    if temp > 20.0:
        return MODEL_FLOOR_PERCENT_RH
    cubic = ((-0.00267 * temp + 0.160) * temp - 3.13) * temp + 100.0
    return max(MODEL_FLOOR_PERCENT_RH, cubic)


def weeks_to_first_growth(temp_c: float, rh_percent: float) -> float | None:
    """Return the model's time until growth shows under a microscope [weeks], or None.

    Parameters
    ----------
    temp_c     temperature [C], above 0 to below 50
    rh_percent relative humidity [%], 0 to 100

    Returns
    -------
    Weeks to index 1; None at or under the critical humidity, where the model says nothing.

    Source
    ------
    Hukka and Viitanen 1999, equation for t_m of resawn pine, as read in an open Finnish data set.
    """
    rh = within("relative humidity", rh_percent, 0.0, 100.0, "%")
    if rh <= critical_rh_percent(temp_c):
        return None
    return math.exp(-0.68 * math.log(temp_c) - 13.9 * math.log(rh) + 66.02)


@dataclass(frozen=True, slots=True)
class MouldLimit:
    """Longest stay to plan in a damp chamber [days].

    ``slow_estimate_days`` is the wood model's time, None where it says nothing. ``standing`` is
    never "safe": either a suggestion built on the slow estimate, or unknown.
    """

    slow_estimate_days: float | None
    stay_days: float
    standing: Literal["suggestion", "unknown"]
    sentence: str


def mould_limit(
    temp_c: float,
    rh_percent: float,
    *,
    divisor: float,
    cap_days_at_20_c: float,
    has_inhibitor: bool,
) -> MouldLimit:
    """Return the longest stay to plan before mould must be expected.

    Parameters
    ----------
    temp_c           chamber temperature [C], above 0 to below 50
    rh_percent       chamber humidity [%]
    divisor          what the wood model's time is divided by, >= 1 (a suggestion, no source)
    cap_days_at_20_c longest stay without an inhibitor at 20 C [days], > 0 (a suggestion)
    has_inhibitor    a mould inhibitor is in the chamber and not used up

    Notes
    -----
    The model is for wood; an insect is food and carries spores, so its time is the slow end.
    Above 20 C the cap shrinks as the model's time does, by (T/20)^-0.68. An inhibitor lifts the
    cap but lengthens nothing else: no published figure says by how much. Where the model is
    silent the cap stands, inhibitor or not.
    """
    share = 1.0 / at_least("divisor", divisor, 1.0, "")
    cap = positive("cap", cap_days_at_20_c, "days")
    weeks = weeks_to_first_growth(temp_c, rh_percent)
    if temp_c > 20.0:
        cap *= (temp_c / 20.0) ** -0.68
    if weeks is None:
        return MouldLimit(
            None,
            cap,
            "unknown",
            f"Whether mould grows here is unknown (some kinds grow below 80 % RH); "
            f"plan at most {cap:.1f} days and look.",
        )
    slow = 7.0 * weeks
    stay = slow * share
    if not has_inhibitor:
        stay = min(stay, cap)
    return MouldLimit(
        slow,
        stay,
        "suggestion",
        f"Plan at most {stay:.1f} days (a suggestion without a source): on clean wood mould "
        f"takes {slow:.1f} days here, on an insect less.",
    )
