"""How selective an agent is: Hansen distance to what should go and to what should stay."""

from __future__ import annotations

import math

from triage.case.profile import Bench
from triage.knowledge.agents import Hansen, Material
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.plan.model import Selectivity

RANK = {"measured": 0, "stand-in": 1, "weak": 2}
WORDS = {0: "measured", 1: "stand-in", 2: "weak"}


def hansen_distance(one: Hansen, other: Hansen) -> float:
    """Return Ra [MPa^0.5], how unlike two substances are in what holds them together.

    Notes: Ra^2 = 4 dD^2 + dP^2 + dH^2; the 4 belongs to the dispersion part. Divided by the radius
    of a deposit it is RED; it says nothing of speed, and does not hold for crystals, ionic dirt,
    water-rich blends or reactions.
    Source: Hansen, Solubility Parameters: A User's Handbook, 2nd ed. 2007, chapter 1.
    """
    return math.hypot(2.0 * (one.d - other.d), one.p - other.p, one.h - other.h)


def _line(agent: Hansen, target: Hansen, name: str, role: str) -> Selectivity:
    known = WORDS[max(RANK[agent.known], RANK[target.known])]
    distance = hansen_distance(agent, target)
    # A weakly known radius gives no verdict: it must never look like a reason to use a solvent.
    red = round(distance / target.r0, 2) if target.r0 is not None and known != "weak" else None
    return Selectivity(name, role, round(distance, 2), red, known)  # type: ignore[arg-type]


def selectivity_of(
    knowledge: Knowledge, bench: Bench, method: Method, deposit: str | None
) -> tuple[Selectivity, ...]:
    """Return the distances of a method's main agent: deposit first, then what must survive.

    Shown as information with how well the parameters are known; it never opens a method.
    """
    agent = knowledge.agents[method.agent].hansen if method.agent else None
    if agent is None:
        return ()
    lines = []
    entry = knowledge.deposits.get(deposit or "")
    if entry is not None and entry.hansen is not None:
        lines.append(_line(agent, entry.hansen, entry.name, "deposit"))
    for material in knowledge.materials.values():
        role = _role(material, bench)
        if role and material.hansen is not None:
            lines.append(_line(agent, material.hansen, material.name, role))
    return tuple(lines)


def _role(material: Material, bench: Bench) -> str:
    if material.role == "on-specimen":
        return "on-specimen"
    if material.role in ("support", "box") and (
        material.id in bench.supports or not bench.supports
    ):
        return material.role
    return ""
