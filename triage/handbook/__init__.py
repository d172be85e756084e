"""The whole rulebase as Markdown by deposit, zone, agent, method and rule, with sources."""

from triage.handbook.chapters import KINDS, handbook

__all__ = ["KINDS", "handbook"]
