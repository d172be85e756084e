"""Faults of a rulebase as a whole, worked out exactly from its rules; uses engine and plan."""
