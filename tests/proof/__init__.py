"""Proof that the promises hold: every combination, broken rules, seeded faults, reach of the cases.

``python -m tests.proof --help`` runs each in full; the suite runs a sample of each. It uses
anything of ``triage``; nothing there uses it, and no wheel holds it.
"""
