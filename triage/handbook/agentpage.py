"""The page of one agent: data, limits, hazards, gloves, mixes, first aid, disposal."""

from __future__ import annotations

from collections.abc import Iterator

from triage.handbook.words import cited, names, quantity, section, statement, table
from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge

PHYSICAL = (
    ("molar_mass", "molar mass"),
    ("density", "density"),
    ("boiling_point", "boiling point"),
    ("flash_point", "flash point"),
    ("lower_explosive_limit", "lower explosive limit"),
    ("upper_explosive_limit", "upper explosive limit"),
    ("autoignition", "ignites by itself at"),
    ("odour_threshold", "smelt from"),
)


def agent_lines(knowledge: Knowledge, agent: Agent, users: tuple[str, ...]) -> Iterator[str]:
    """Yield the page of one agent; ``users`` are the methods that use it."""
    if agent.never:
        yield "**Listed only to be refused: no plan ever uses it.**"
        yield ""
    facts = [agent.agent_class, agent.form, f"status {agent.status.value}"]
    facts += [f"CAS {agent.cas}"] if agent.cas else []
    facts += [f"strength in % {agent.strength_basis}"] if agent.strength_basis != "as-is" else []
    yield f"{', '.join(facts)} {cited(agent.source, agent.at, agent.note)}"
    if agent.dispute:
        yield f"\nDisputed: {agent.dispute}"
    yield from section("Used by", (f"{knowledge.methods[m].name} `{m}`" for m in users))
    yield from section("Physical data", _physical(agent))
    yield from _limits(knowledge, agent)
    yield from section(
        "Hazards",
        (f"{knowledge.hazards[h].name}: {knowledge.hazards[h].sentence}" for h in agent.hazards),
    )
    yield from section(
        "Hazard statements",
        (f"{h.code} {cited(h.source, h.at, h.note)}" for h in agent.h_statements),
    )
    yield from section(
        "Cancer",
        (f"{c.body}: {c.category} {cited(c.source, c.at, c.note)}" for c in agent.carcinogen),
    )
    yield from section("Skin", (statement(each) for each in agent.skin))
    yield from section("Gloves", _gloves(knowledge, agent))
    yield from section("Breathing", (statement(each) for each in agent.breathing))
    yield from section("First aid", (statement(each) for each in agent.first_aid))
    yield from section("Never mix with", _mixes(knowledge, agent))
    yield from section(
        "Attacks",
        (
            f"{names(knowledge, 'material', [a.material])}: {a.how} {cited(a.source, a.at, a.note)}"
            for a in agent.attacks
        ),
    )
    yield from section(
        "Not for", (names(knowledge, "circumstance", [each]) for each in agent.not_for)
    )
    yield from section("Ask of the label", (statement(each) for each in agent.ask_label))
    yield from section("Waste", (statement(each) for each in agent.disposal))
    yield from section(
        "Notices",
        (
            f"{n.jurisdiction}, {n.date}: {n.text} {cited(n.source, n.at, n.note)}"
            for n in agent.notices
        ),
    )


def _physical(agent: Agent) -> Iterator[str]:
    for field, name in PHYSICAL:
        yield from quantity(name, getattr(agent.physical, field))
    for points, other in (("vapour_pressure", ""), ("vapour_pressure_low", ", the lowest found")):
        for point in getattr(agent.physical, points):
            source = cited(point.source, point.at, point.note)
            yield f"vapour pressure at {point.temp_c:g} C{other}: {point.kpa:g} kPa {source}"
    if agent.hansen is not None:
        h = agent.hansen
        source = cited(h.source, h.at, h.note)
        yield f"Hansen parameters {h.d:g}, {h.p:g}, {h.h:g} MPa^0.5 ({h.known}) {source}"


def _limits(knowledge: Knowledge, agent: Agent) -> Iterator[str]:
    if agent.vapour_of is not None:
        yield f"\nIts vapour is judged as {knowledge.agents[agent.vapour_of].name}."
    if agent.no_limit_because:
        yield f"\nNo limit: {agent.no_limit_because}"
    yield from table(
        ("authority", "basis", "limit", "edition", "in force", "source"),
        (
            (
                knowledge.authorities[limit.authority].name,
                limit.basis.value,
                f"{limit.value:g} {limit.unit}",
                limit.edition,
                "yes" if limit.in_force else "no",
                "; ".join(part for part in (limit.source, limit.at, limit.note) if part),
            )
            for limit in agent.limits
        ),
    )


def _gloves(knowledge: Knowledge, agent: Agent) -> Iterator[str]:
    for glove in agent.gloves:
        minutes = f", {glove.minutes}" if glove.minutes else ""
        source = cited(glove.source, glove.at, glove.note)
        yield f"{knowledge.materials[glove.material].name}: {glove.verdict}{minutes} {source}"


def _mixes(knowledge: Knowledge, agent: Agent) -> Iterator[str]:
    for mix in agent.incompatible:
        named = knowledge.agents.get(mix.with_)
        other = named.name if named else mix.with_.removesuffix("-class").replace("-", " ")
        yield f"{other}: {mix.product} {cited(mix.source, mix.at, mix.note)}"
