"""Widgets, one a module."""
