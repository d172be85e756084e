"""Ways to keep the air clean, as the knowledge gives them."""

from __future__ import annotations

from pydantic import Field

from triage.knowledge.base import Entry, Text


class AirControl(Entry):
    """A control of the air at the bench, with the figures the arithmetic uses for it."""

    name: Text
    cost_rank: int = Field(ge=0, description="lower is cheaper and easier")
    air_changes_per_h: float | None = Field(None, ge=0, le=100)
    captured_fraction: float = Field(0.0, ge=0, lt=1)
    air_speed_m_per_min: float | None = Field(None, gt=0)
    outdoors: bool = False
    sentence: Text
