"""Answers about a whole specimen that keep no step back: what most cases of the tests begin with."""

# No gate is closed behind these.
OPEN = {
    "aim": "another-pose",
    "hydration": "supple",
    "whole": "whole",
    "age": "since-1990",
    "lacquered": "no",
    "old-poison-signs": "no",
    "live-pest-signs": "no",
    "urticating-hairs": "no",
    "mouldy-smell": "no",
    "joints-stuck": "none",
    "worth-it": "yes",
    "photographed-before": "yes",
}
# Nor is anything broken, small, worn by its past, or unrecorded: work may begin.
READY = {
    **OPEN,
    "cracks": "none",
    "missing-parts": "none",
    "pest-holes": "none",
    "size": "large",
    "relaxed-before": "never",
    "old-ethanol-strong": "no",
    "box-held": "none",
}
# A usual specimen of which all is told that is mostly asked.
TOLD = {**READY, "age": "since-1990", "size": "medium", "pollen-wanted": "no"}
# More of the same, down to the pin and what was done before; large, so that size bars nothing.
SOUND = {
    **TOLD,
    "size": "large",
    "pin": "none",
    "storage-wanted": "dry",
}
