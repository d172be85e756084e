"""What must hold of each entry of the knowledge; whatever entries fail are all named.

What an entry must state is read from the YAML itself with another reader (PyYAML's safe loader),
not through the models of the program.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import yaml

from tests.support.builders import SOUND, full_bench
from tests.support.gathered import each
from tests.support.knowledge import RULES, consultant, planner, shipped
from triage.case.changes import new_case, new_finding
from triage.engine.complete import incomplete
from triage.engine.vocabulary import UNKNOWN, agent_ids
from triage.exposure.day import DayLedger
from triage.plan.ordering import Item
from triage.plan.skeleton import SkeletonMaker
from triage.plan.steps import Setting, complete_step

SOURCE_KEYS = ("source", "range_source", "caution_source")


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


@cache
def raw_entries() -> dict[str, dict[str, Any]]:
    """Every entry of every file but the sources, as ``file:id``."""
    found = {}
    for path in sorted(RULES.rglob("*.yaml")):
        name = path.relative_to(RULES).as_posix()
        if name.startswith("sources/") or name == "judgement.yaml":
            continue
        content = raw(name)
        for entry in content if isinstance(content, list) else [content]:
            found[f"{name}:{entry['id']}"] = entry
    return found


@cache
def source_ids() -> frozenset[str]:
    files = sorted((RULES / "sources").glob("*.yaml"))
    return frozenset(s["id"] for f in files for s in raw(f.relative_to(RULES).as_posix()))


def named_sources(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for key, inner in value.items():
            if key in SOURCE_KEYS and isinstance(inner, str):
                yield inner
            else:
                yield from named_sources(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from named_sources(inner)


# -- sources ----------------------------------------------------------------------------------


@each(sorted(raw_entries()))
def test_entry_names_a_known_source(name: str) -> None:
    entry = raw_entries()[name]
    assert entry.get("source")
    unknown = set(named_sources(entry)) - source_ids()
    assert not unknown


@each(sorted(raw("judgement.yaml")))
def test_judgement_has_source_and_reason(name: str) -> None:
    entry = raw("judgement.yaml")[name]
    for held in [entry] if "source" in entry else entry.values():  # one figure, or a group of them
        assert held["source"] in source_ids()
        assert held["because"]


SOURCES = {
    s["id"]: s for f in sorted((RULES / "sources").glob("*.yaml")) for s in raw(f"sources/{f.name}")
}


@each(sorted(SOURCES))
def test_source_says_what_it_is(name: str) -> None:
    source = SOURCES[name]
    assert source["title"].strip()
    if source["kind"] in ("published", "standard", "library"):
        # How much of it was opened: a reader can judge what it is worth.
        assert source.get("read"), "how much of it was opened"
    elif source["kind"] in ("common-practice", "judgement", "from-memory"):
        assert source.get("note"), "what the mark means"


# -- agents -----------------------------------------------------------------------------------

AGENTS = {p.stem: raw(f"agents/{p.name}") for p in sorted((RULES / "agents").glob("*.yaml"))}
AUTHORITIES = {a["id"]: a for a in raw("authorities.yaml")}
LIMITS = {
    f"{name}-{n}-{limit['authority']}-{limit['basis']}": limit
    for name, agent in AGENTS.items()
    for n, limit in enumerate(agent.get("limits", ()), start=1)
}


# Where a page quotes a limit without its year, the edition says so instead of guessing one.
EDITION = r"\b(19|20)\d\d\b|Directive \d+/\d+|article R\d|as quoted|as remembered|pocket guide copy"


@each(sorted(LIMITS))
def test_limit_has_authority_unit_time_and_edition(name: str) -> None:
    limit = LIMITS[name]
    authority = AUTHORITIES[limit["authority"]]
    assert authority["name"]
    assert authority["jurisdiction"]
    assert isinstance(authority["legal"], bool)
    assert limit["unit"] in ("ppm", "mg/m3")
    assert limit["value"] > 0
    assert re.search(EDITION, str(limit["edition"])), (
        "an edition names its year, its law, or that it is quoted"
    )
    assert limit["source"] in source_ids()
    # A shift is 8 h (ILO-type limits) or 10 h (NIOSH); short-term limits are over minutes.
    if limit["basis"] == "twa":
        assert limit["averaging_min"] in (480, 600)
    elif limit["basis"] == "stel":
        assert 0 < limit["averaging_min"] <= 60
    elif limit["basis"] == "idlh":
        assert limit["averaging_min"] == 0
    else:
        assert 0 <= limit["averaging_min"] <= 480


# What an agent gives off belongs to another one, or to nothing that evaporates.
def _evaporates(agent: dict[str, Any]) -> bool:
    share = agent.get("vapour_share", {}).get("value")
    return agent["form"] in ("liquid", "solution", "gas") and share != 0


@each(sorted(n for n, a in AGENTS.items() if _evaporates(a) and not a.get("never")))
def test_agent_that_evaporates_has_vapour_data(name: str) -> None:
    agent = AGENTS[name]
    vapour = AGENTS[agent["vapour_of"]] if agent.get("vapour_of") else agent
    physical = {**vapour.get("physical", {}), **agent.get("physical", {})}
    points = physical.get("vapour_pressure", [])
    assert points, "no vapour pressure"
    assert all(p["kpa"] > 0 and p["source"] in source_ids() for p in points)
    by_heat = sorted(points, key=lambda p: p["temp_c"])
    assert [p["kpa"] for p in by_heat] == sorted(p["kpa"] for p in points)
    boiling = physical.get("boiling_point", {}).get("value")
    if boiling is not None and not agent.get("vapour_of"):
        # At its boiling point a liquid's vapour pressure is one atmosphere, 101.325 kPa (IUPAC).
        assert all((p["kpa"] < 101.4) == (p["temp_c"] <= boiling + 0.5) for p in points)
    assert vapour["physical"]["molar_mass"]["value"] > 0


@each(sorted(AGENTS))
def test_agent_has_limits_or_says_why_not(name: str) -> None:
    agent = AGENTS[name]
    assert agent.get("limits") or agent.get("vapour_of") or agent.get("no_limit_because")


@each(sorted(n for n, a in AGENTS.items() if a.get("hazards") and not a.get("never")))
def test_hazardous_agent_says_how_to_live_with_it(name: str) -> None:
    agent = AGENTS[name]
    assert agent.get("disposal")
    assert agent.get("first_aid")
    assert agent.get("gloves") or agent.get("breathing")


def step_of(method_id: str, answers: Mapping[str, str] = SOUND) -> Any:
    """The complete step of a method in a well-aired laboratory, as a plan would hold it."""
    knowledge, bench = shipped(), full_bench(shipped())
    case = new_case(
        "x", "t", taxon="beetles", answers=answers, findings=(new_finding("f1", "elytra"),)
    )
    judge = planner().judge(bench, DayLedger())
    skeleton = SkeletonMaker(consultant()).skeleton(case, bench, judge, plain=True)
    ladder = replace(skeleton.ladder("f1"), rungs=(method_id,), offered=frozenset({method_id}))
    item = Item(f"f1-{method_id}", "f1", "elytra", method_id, 1)
    choice = judge.choose(knowledge.methods[method_id])
    setting = Setting(knowledge, case, bench, skeleton.conclusions)
    return complete_step(setting, item, (ladder,), choice, "next")


def _limited() -> list[tuple[str, str]]:
    knowledge = shipped()
    found = []
    for method in knowledge.methods.values():
        for name in agent_ids(knowledge, method.id):
            agent = AGENTS[name]
            if agent.get("limits") or AGENTS.get(agent.get("vapour_of", ""), {}).get("limits"):
                found.append((method.id, name))
    return sorted(found)


@each(_limited())
def test_step_shows_every_published_limit_of_its_agent(method: str, name: str) -> None:
    agent = AGENTS[name]
    vapour = AGENTS[agent["vapour_of"]] if agent.get("vapour_of") else agent
    wanted = sorted(
        (AUTHORITIES[x["authority"]]["name"], x["basis"], x["value"], x["unit"])
        for x in vapour["limits"]
    )
    step = step_of(method)
    shown = (
        sorted((x.authority, x.basis, x.value, x.unit) for x in step.air.limits) if step.air else []
    )
    words = " ".join(line.text for line in step.cautions)
    missing = [
        w for w in wanted if w not in shown and not (w[0] in words and f"{w[2]:g} {w[3]}" in words)
    ]
    assert not missing
    if step.air:
        assert all(line.edition and line.source for line in step.air.limits)


# -- methods ----------------------------------------------------------------------------------

METHODS = {
    m["id"]: m for f in sorted((RULES / "methods").glob("*.yaml")) for m in raw(f"methods/{f.name}")
}
STOPS = {s["id"]: s for s in raw("stops.yaml")}
TECHNIQUES = {t["id"]: t for t in raw("techniques.yaml")}


@each(sorted(METHODS))
def test_method_says_when_it_worked_and_when_to_stop(name: str) -> None:
    method = METHODS[name]
    assert len(method["success"]) >= 10
    assert method["stop_signs"]
    for stop in method["stop_signs"]:
        assert STOPS[stop]["see"]
        assert STOPS[stop]["means"]
        assert STOPS[stop]["then"]
    assert method["do"]
    assert method["passes"] >= 1


@each(sorted(METHODS))
def test_method_is_graded_with_reason_and_source(name: str) -> None:
    method = METHODS[name]
    graded_always = {"mechanical", "chemical", "person"}
    assert set(method["harshness"]) - {"lasting"} == graded_always
    for graded in method["harshness"].values():
        assert 0 <= graded["grade"] <= 5
        assert graded["because"].strip()
        assert graded["source"] in source_ids()
    hazards = {h["id"]: h for h in raw("hazards.yaml")}
    worst = max(
        (hazards[h]["grade"] for a in _agents_of(method) for h in AGENTS[a].get("hazards", ())),
        default=0,
    )
    # A grade for the person far below the flags of the bottle needs amounts that explain it.
    assert method["harshness"]["person"]["grade"] >= worst - 3


def _agents_of(method: dict[str, Any]) -> list[str]:
    return [a for a in (method.get("agent"), *(p["agent"] for p in method.get("with", ()))) if a]


@each(sorted(n for n, m in METHODS.items() if m["stage"] == "clean"))
def test_wet_cleaning_says_how_to_rinse_and_dry(name: str) -> None:
    method = METHODS[name]
    if TECHNIQUES[method["technique"]]["wet"] == "wet":
        # Pure water is its own rinse, and a test spot is blotted.
        assert method.get("rinse") or set(_agents_of(method)) <= {"water-distilled"}
        assert method.get("drying")
        assert method.get("dwell_s"), "how long"


# -- specimen ---------------------------------------------------------------------------------

ZONES = {z["id"]: z for z in raw("zones.yaml")}
TAXA = {t["id"]: t for t in raw("taxa.yaml")}
DEPOSITS = {p.stem: raw(f"deposits/{p.name}") for p in sorted((RULES / "deposits").glob("*.yaml"))}
QUESTIONS = {q["id"]: q for q in raw("questions.yaml")}


def test_counts_of_the_trade() -> None:
    assert len(DEPOSITS) >= 18
    assert len(ZONES) >= 14
    assert len(TAXA) >= 12
    assert len(METHODS) >= 30
    assert len(LIMITS) >= 80


@each(sorted(ZONES))
def test_zone_is_complete(name: str) -> None:
    zone = ZONES[name]
    assert zone["plans"]
    assert zone["surface"]
    assert zone["hurts"]
    assert zone["gentle"]
    assert zone["test_spot"]
    if min(zone.get("most_mechanical", 5), zone.get("most_chemical", 5)) < 5:
        assert zone["ceiling_because"]


@each(sorted(TAXA))
def test_taxon_is_complete(name: str) -> None:
    taxon = TAXA[name]
    plan = taxon["plan"]
    assert any(plan in zone["plans"] for zone in ZONES.values())
    assert taxon["fragility"] in {f["id"] for f in raw("fragility.yaml")}
    assert taxon["changes"]
    assert taxon["examples"]


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
    ids = [a["id"] for a in question["answers"]]
    texts = [str(a["text"]).casefold() for a in question["answers"]]
    assert len(set(ids)) == len(ids) >= 2
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


def test_no_file_of_rules_is_left_out() -> None:
    names = {p.relative_to(RULES).as_posix() for p in Path(RULES).rglob("*.yaml")}
    read = {name.split(":")[0] for name in raw_entries()} | {"judgement.yaml"}
    assert names - read == {n for n in names if n.startswith("sources/")}


@each(sorted(p.relative_to(RULES).as_posix() for p in RULES.rglob("*.yaml"))[::3])
def test_file_reads_the_same_where_there_is_no_c_library(name: str) -> None:
    text = (RULES / name).read_text(encoding="utf-8")
    assert list(map(_shape, yaml.parse(text, Loader=yaml.SafeLoader))) == list(
        map(_shape, yaml.parse(text, Loader=yaml.CSafeLoader))
    )


def _shape(event: Any) -> tuple[str, str]:
    return type(event).__name__, str(getattr(event, "value", ""))
