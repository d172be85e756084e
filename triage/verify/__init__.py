"""Proof that the promises hold: the rulebase as a whole, every combination, broken rules."""
