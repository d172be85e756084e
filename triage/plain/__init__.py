"""The same session as numbered lines: for screen readers, logs, and terminals that cannot draw."""
