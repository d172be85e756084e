"""The rulebase of a folder, read, checked and normalised from its files at every start.

Nothing that was made of the rules is kept between runs: what decides what is forbidden would then
stand in a folder that others may write to.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from triage.engine.normal import NormalRules, normalise
from triage.knowledge.book import Knowledge
from triage.knowledge.load import load_knowledge


@dataclass(frozen=True)
class Rulebase:
    """The knowledge and its rules in normal form."""

    knowledge: Knowledge
    normal: NormalRules


def load_rulebase(folder: Path) -> Rulebase:
    """Return the rulebase of a folder.

    Raises
    ------
    TriageError: the folder is missing, or any entry or rule is wrong.
    """
    knowledge = load_knowledge(folder)
    return Rulebase(knowledge, normalise(knowledge))
