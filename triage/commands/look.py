"""Commands that look without changing: filled by explain, handbook, air and sheet."""

from __future__ import annotations

from triage.commands.common import Subparsers


def add_commands(subparsers: Subparsers) -> None:
    """Add the commands of this module."""
    del subparsers
