"""How selective an agent is: Hansen distance to what should go and to what should stay."""

from __future__ import annotations

from triage.bench.hansen import Hansen as Point
from triage.bench.hansen import Interval, hansen_distance, relative_distance
from triage.case.profile import Bench
from triage.knowledge.agents import Hansen, Material
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.plan.model import Selectivity

RANK = {"measured": 0, "stand-in": 1, "weak": 2}
WORDS = {0: "measured", 1: "stand-in", 2: "weak"}


def _point(given: Hansen) -> Point:
    return Point.at(given.d, given.p, given.h)


def _line(agent: Hansen, target: Hansen, name: str, role: str) -> Selectivity:
    known = WORDS[max(RANK[agent.known], RANK[target.known])]
    distance = hansen_distance(_point(agent), _point(target))
    red = None
    # A weakly known radius gives no verdict: it must never look like a reason to use a solvent.
    if target.r0 is not None and known != "weak":
        radius = Interval(target.r0, target.r0)
        red = round(relative_distance(_point(agent), _point(target), radius).high, 2)
    return Selectivity(name, role, round(distance.high, 2), red, known)  # type: ignore[arg-type]


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
