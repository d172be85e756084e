"""What must hold of each entry of the knowledge; whatever entries fail are all named.

What the program refuses as it reads the rules is not asked again: test_wrong_edits breaks it. The rest is
read from the YAML itself with another reader (PyYAML's safe loader), not through the models.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from typing import Any

import yaml

from tests.support.builders import SOUND, full_bench, specimen
from tests.support.knowledge import RULES, consultant, each, planner, shipped
from triage.engine.complete import incomplete
from triage.engine.vocabulary import UNKNOWN, agent_ids
from triage.exposure.day import DayLedger
from triage.knowledge.agents import Agent
from triage.knowledge.base import Status
from triage.plan.ordering import Item
from triage.plan.skeleton import SkeletonMaker
from triage.plan.steps import Setting, complete_step


class CoreLoader(yaml.CSafeLoader):
    """The safe loader without the words of YAML 1.1 that 1.2 reads as text: yes, no, on, off."""


CoreLoader.yaml_implicit_resolvers = {
    first: [
        (tag, pattern)
        for tag, pattern in rules
        if not (tag.endswith(":bool") and first in "yYnNoO")
    ]
    for first, rules in yaml.CSafeLoader.yaml_implicit_resolvers.items()
}


@cache
def raw(name: str) -> Any:
    return yaml.load((RULES / name).read_text(encoding="utf-8"), Loader=CoreLoader)  # noqa: S506  (a safe loader)


def entries(name: str) -> Iterator[dict[str, Any]]:
    """Return every entry of a file, or of a folder of files, by its id."""
    found = raw(name) if name.endswith(".yaml") else None
    paths = [] if found else sorted((RULES / name).glob("*.yaml"))
    for content in [found] if found else [raw(p.relative_to(RULES).as_posix()) for p in paths]:
        yield from content if isinstance(content, list) else [content]


SOURCES, AGENTS, METHODS, DEPOSITS, AUTHORITIES, TECHNIQUES, ZONES, TAXA, QUESTIONS = (
    {entry["id"]: entry for entry in entries(name)}
    for name in (
        *("sources", "agents", "methods", "deposits", "authorities.yaml", "techniques.yaml"),
        *("zones.yaml", "taxa.yaml", "questions.yaml"),
    )
)
LIMITS = {
    f"{name}-{n}-{limit['authority']}-{limit['basis']}": limit
    for name, agent in AGENTS.items()
    for n, limit in enumerate(agent.get("limits", ()), start=1)
}


@each(sorted(SOURCES))
def test_source_says_what_it_is(name: str) -> None:
    source = SOURCES[name]
    if source["kind"] in ("published", "standard", "library"):
        # How much of it was opened: a reader can judge what it is worth.
        assert source.get("read"), "how much of it was opened"
    elif source["kind"] in ("common-practice", "judgement", "from-memory"):
        assert source.get("note"), "what the mark means"


# -- agents -----------------------------------------------------------------------------------

# Where a page quotes a limit without its year, the edition says so instead of guessing one.
EDITION = r"\b(19|20)\d\d\b|Directive \d+/\d+|article R\d|as quoted|as remembered|pocket guide copy"
# A shift is 8 h (ILO-type limits) or 10 h (NIOSH); short-term limits are over minutes.
MINUTES = {"twa": (480, 600), "stel": range(1, 61), "idlh": (0,)}


@each(sorted(LIMITS))
def test_limit_names_its_edition_and_its_time(name: str) -> None:
    limit = LIMITS[name]
    assert re.search(EDITION, str(limit["edition"])), "its year, its law, or that it is quoted"
    assert limit["averaging_min"] in MINUTES.get(limit["basis"], range(481))


# What an agent gives off belongs to another one, or to nothing that evaporates.
def _evaporates(agent: dict[str, Any]) -> bool:
    share = agent.get("vapour_share", {}).get("value")
    return agent["form"] in ("liquid", "solution", "gas") and share != 0


@each(sorted(n for n, a in AGENTS.items() if _evaporates(a) and not a.get("never")))
def test_agent_that_evaporates_has_vapour_data(name: str) -> None:
    agent, vapour = AGENTS[name], _vapour(name)
    physical = {**vapour.get("physical", {}), **agent.get("physical", {})}
    points = sorted(physical.get("vapour_pressure", []), key=lambda point: point["temp_c"])
    assert points, "no vapour pressure"
    assert [p["kpa"] for p in points] == sorted(p["kpa"] for p in points)
    boiling = physical.get("boiling_point", {}).get("value")
    if boiling is not None and not agent.get("vapour_of"):
        # At its boiling point a liquid's vapour pressure is one atmosphere, 101.325 kPa (IUPAC).
        assert all((p["kpa"] < 101.4) == (p["temp_c"] <= boiling + 0.5) for p in points)
    assert vapour["physical"]["molar_mass"]["value"] > 0


# The number is above the limit at one strength only, or two reports straddle it.
ODOUR_EXCEPTIONS = {
    "hydrochloric-acid-dilute": "reports of 0.3 to 10 ppm straddle the 1 to 5 ppm limits; it stings",
}


@each(shipped().agents.values())
def test_what_an_agents_file_says_agrees_with_itself(agent: Agent) -> None:
    assert agent.gloves
    assert agent.disposal
    assert agent.first_aid or agent.id == "water-distilled"
    in_force = [x for x in agent.limits if x.in_force]
    shown = [(x.authority, x.basis, x.unit) for x in in_force]
    assert len(shown) == len(set(shown)), "one figure in force for each authority and basis"
    assert len({g.material for g in agent.gloves}) == len(agent.gloves)
    if agent.status is Status.CHECKED and not agent.never:
        read = [x for x in agent.limits if x.source != "from-memory"]
        assert read or agent.no_limit_because, "checked, yet every limit is from memory"
    codes = {h.code[:4] for h in agent.h_statements}
    if codes & {"H360", "H361"} or "carcinogen-suspected" in agent.hazards:
        assert "pregnancy" in agent.not_for
    assert "H334" not in codes or "asthma" in agent.not_for
    assert "H304" not in codes or "aspiration" in agent.hazards
    # Smelled only above the lowest shift limit in ppm: the nose is no guard, and that is said.
    smell = agent.physical.odour_threshold
    shift = [x.value for x in in_force if x.unit == "ppm" and x.basis in ("twa", "ceiling")]
    if smell and smell.value is not None and shift and agent.id not in ODOUR_EXCEPTIONS:
        assert ("no-smell-warning" in agent.hazards) == (smell.value > min(shift))


def step_of(method_id: str, answers: Mapping[str, str] = SOUND) -> Any:
    """The complete step of a method in a well-aired laboratory, as a plan would hold it."""
    bench, case = full_bench(), specimen("beetles", "elytra", **answers)
    judge = planner().judge(bench, DayLedger())
    skeleton = SkeletonMaker(consultant()).skeleton(case, bench, judge, plain=True)
    ladder = replace(skeleton.ladder("f1"))
    vars(ladder).update(rungs=(method_id,), offered=frozenset({method_id}))  # worked out otherwise
    item = Item(f"f1-{method_id}", "f1", "elytra", method_id, 1)
    choice = judge.choose(shipped().methods[method_id])
    setting = Setting(shipped(), case, bench, skeleton.conclusions)
    return complete_step(setting, item, (ladder,), choice, "next")


def _vapour(name: str) -> dict[str, Any]:
    """Return the entry of what an agent gives off."""
    return AGENTS[AGENTS[name].get("vapour_of") or name]


def _limited() -> list[tuple[str, str]]:
    pairs = ((m, a) for m in sorted(METHODS) for a in sorted(agent_ids(shipped(), m)))
    return [(m, a) for m, a in pairs if AGENTS[a].get("limits") or _vapour(a).get("limits")]


@each(_limited())
def test_step_shows_every_published_limit_of_its_agent(method: str, name: str) -> None:
    step = step_of(method)
    lines = step.air.limits if step.air else ()
    shown = [(x.authority, x.basis, x.value, x.unit) for x in lines]
    words = " ".join(line.text for line in step.cautions)
    for limit in _vapour(name)["limits"]:
        authority = AUTHORITIES[limit["authority"]]["name"]
        said = authority in words and f"{limit['value']:g} {limit['unit']}" in words
        assert said or (authority, limit["basis"], limit["value"], limit["unit"]) in shown, limit
    assert all(line.edition and line.source for line in lines)


# -- methods ----------------------------------------------------------------------------------


def _agents_of(method: dict[str, Any]) -> list[str]:
    return [a for a in (method.get("agent"), *(p["agent"] for p in method.get("with", ()))) if a]


@each(sorted(METHODS))
def test_method_says_when_it_worked_and_how_it_ends(name: str) -> None:
    method = METHODS[name]
    assert len(method["success"]) >= 10
    hazards = {h["id"]: h["grade"] for h in raw("hazards.yaml")}
    flags = [h for a in _agents_of(method) for h in AGENTS[a].get("hazards", ())]
    # A grade for the person far below the flags of the bottle needs amounts that explain it.
    worst = max((hazards[flag] for flag in flags), default=0)
    assert method["harshness"]["person"]["grade"] >= worst - 3
    if method["stage"] == "clean" and TECHNIQUES[method["technique"]]["wet"] == "wet":
        # Pure water is its own rinse, and a test spot is blotted.
        assert method.get("rinse") or set(_agents_of(method)) <= {"water-distilled"}
        assert method.get("drying")
        assert method.get("dwell_s"), "how long"


# -- specimen ---------------------------------------------------------------------------------


@each(sorted(ZONES))
def test_zone_is_complete(name: str) -> None:
    zone = ZONES[name]
    assert zone["plans"]
    assert zone["gentle"]
    if min(zone.get("most_mechanical", 5), zone.get("most_chemical", 5)) < 5:
        assert zone["ceiling_because"]


@each(sorted(TAXA))
def test_taxon_is_complete(name: str) -> None:
    assert any(TAXA[name]["plan"] in zone["plans"] for zone in ZONES.values())
    assert TAXA[name]["examples"]


def test_every_entry_is_whole() -> None:
    """What a deposit must state is the law of ``check``; test_wrong_edits breaks each demand."""
    assert incomplete(consultant()) == []


# -- questions --------------------------------------------------------------------------------

SAFE = {
    "none": r"",
    "touch": r"\b(not|never|once|one hair|single hair|corner of)\b",
    "micro-test": r"(hidden spot|off the specimen)",
}


@each(sorted(QUESTIONS))
def test_question_says_how_to_look_safely(name: str) -> None:
    question = QUESTIONS[name]
    assert question["ask"].endswith("?")
    assert re.search(SAFE[question["risk"]], question["how"], re.IGNORECASE)
    texts = [str(a["text"]).casefold() for a in question["answers"]]
    assert len(set(texts)) == len(texts)


@cache
def read_sets() -> dict[str, tuple[frozenset[str], ...]]:
    """For each question, the sets of answers that the rules tell from the others."""
    found: dict[str, list[frozenset[str]]] = {}
    for rules in consultant().normal.by_family.values():
        for rule in rules:
            for pattern in rule.patterns:
                for field, allowed in pattern.allowed:
                    found.setdefault(field, []).append(allowed)
    return {field: tuple(sets) for field, sets in found.items()}


@each([(q, a["id"]) for q, e in QUESTIONS.items() for a in e["answers"]])
def test_answer_matters_to_some_rule(name: str, answer: str) -> None:
    sets = read_sets()[name]
    others = {str(a["id"]) for a in QUESTIONS[name]["answers"]} - {answer}
    assert any((answer in allowed) != (other in allowed) for allowed in sets for other in others)
    # An answer that every rule takes for "cannot tell" is asked for nothing, unless it says that
    # there is nothing to see, or is the one as which "cannot tell" counts for safety.
    differs = any((answer in allowed) != (UNKNOWN in allowed) for allowed in sets)
    counts_as_unknown = any(
        {answer, UNKNOWN} <= allowed and not others <= allowed for allowed in sets
    )
    assert differs or answer in ("none", "no") or counts_as_unknown


@each(sorted(p.relative_to(RULES).as_posix() for p in RULES.rglob("*.yaml"))[::3])
def test_file_reads_the_same_where_there_is_no_c_library(name: str) -> None:
    text = (RULES / name).read_text(encoding="utf-8")
    loaders = (yaml.SafeLoader, yaml.CSafeLoader)
    own, c_library = (list(map(_shape, yaml.parse(text, Loader=each))) for each in loaders)
    assert own == c_library


def _shape(event: Any) -> tuple[str, str]:
    return type(event).__name__, str(getattr(event, "value", ""))
