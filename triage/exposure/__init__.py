"""How high the air goes: emission, room, judgement, inverse questions, ledger."""

from triage.exposure.curve import Curve, day_curve, release_curve
from triage.exposure.day import DayLedger, Release
from triage.exposure.inverse import (
    Control,
    ControlChoice,
    cheapest_control,
    largest_day_ml,
    largest_pass_ml,
    least_air_changes,
)
from triage.exposure.judge import judge_release
from triage.exposure.ledger import DayVerdict, judge_day
from triage.exposure.space import Band, Room
from triage.exposure.substance import Limit, Substance
from triage.exposure.verdict import AirVerdict, Figures, Level, LimitRatio, MixtureRatio, Span

__all__ = [
    "AirVerdict",
    "Band",
    "Control",
    "ControlChoice",
    "Curve",
    "DayLedger",
    "DayVerdict",
    "Figures",
    "Level",
    "Limit",
    "LimitRatio",
    "MixtureRatio",
    "Release",
    "Room",
    "Span",
    "Substance",
    "cheapest_control",
    "day_curve",
    "judge_day",
    "judge_release",
    "largest_day_ml",
    "largest_pass_ml",
    "least_air_changes",
    "release_curve",
]
