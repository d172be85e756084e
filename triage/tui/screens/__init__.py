"""Screens, one a module."""
