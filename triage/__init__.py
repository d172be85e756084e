"""Contamination triage for dried insects: observations to a least-harsh-first cleaning plan."""

__version__ = "0.1.0"
