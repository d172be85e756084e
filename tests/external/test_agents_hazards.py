"""Hazard statements against the harmonised entries, typed again from the table.

Source: Regulation (EC) No 1272/2008, Annex VI Table 3, up to the 17th adaptation; consolidated
text of 1 July 2026 for 2-ethoxyethanol, 2-butoxyethanol and diethyl ether.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from triage.knowledge.agents import Agent
from triage.yamltext import parse_yaml

AGENTS = Path(__file__).parents[2] / "rules" / "agents"
# Annex VI Table 3: classification column, and the supplemental one for EUH codes. A code listed
# for a solution stands with its lowest strength in the specific limits of the entry.
ANNEX_VI = {
    "acetic-acid": "H226 H314",
    "acetone": "H225 H319 H336 EUH066",
    "ammonia-solution": "H314 H400 H335",
    "amyl-acetate": "H226 EUH066",
    "butoxyethanol-2": "H302 H331 H315 H319",
    "chlorocresol": "H302 H314 H317 H318 H335 H400 H412",
    "cyclohexane": "H225 H304 H315 H336 H410",
    "diethyl-ether": "H224 H302 H336 EUH019 EUH066",
    "ethanol": "H225",
    "ethoxyethanol-2": "H226 H302 H331 H360FD",
    "ethyl-acetate": "H225 H319 H336 EUH066",
    "heptane": "H225 H304 H315 H336 H410",
    "hydrochloric-acid-dilute": "H314 H335 H315 H319",
    "hydrogen-peroxide": "H319 H318 H314",
    "hypochlorite": "H314 H400 H410 EUH031",
    "isopropanol": "H225 H319 H336",
    "limonene": "H226 H304 H315 H317 H400 H412",
    "naphtha-dearomatised": "H304",
    "naphthalene": "H302 H351 H410",
    "paradichlorobenzene": "H319 H351 H410",
    "phenol": "H301 H311 H331 H314 H341 H373",
    "potassium-hydroxide": "H302 H314",
    "protease-neutral": "H315 H318 H334 H335",
    "silica-gel-cobalt": "H302 H317 H334 H341 H350i H360F H410",
    "thymol": "H302 H314 H411",
    "trichloroethylene": "H315 H319 H336 H341 H350 H412",
    "white-spirit": "H304 H372",
}


@pytest.mark.parametrize("agent_id", ANNEX_VI)
def test_hazard_statements_of_the_harmonised_entry(agent_id: str) -> None:
    path = AGENTS / f"{agent_id}.yaml"
    agent = Agent.model_validate(parse_yaml(path.read_text("utf-8"), path.name).data)
    held = {x.code for x in agent.h_statements if x.source.startswith("clp-annex-vi")}
    assert held == set(ANNEX_VI[agent_id].split())
