"""Bench arithmetic: working solutions, chambers, storage boxes."""
