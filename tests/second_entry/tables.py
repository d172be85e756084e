"""The second entry: small tables typed from documents, and where the rules say otherwise.

Nothing writes these tables but a person with the document open. Each row names its document, where
in it the figure stands, and how it was read: ``opened`` or ``from-memory`` (what is common practice
or was remembered, so that it guards against slips only, and is not counted as external). Nothing is
entered here from the open library that the rules took figures from:
``tests/knowledge/test_taken_from_the_library.py`` holds that those were copied without a slip.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from triage.engine.consult import Consultant
from triage.engine.facts import Fact
from triage.engine.vocabulary import NONE, UNKNOWN
from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.knowledge.rules import Family
from triage.yamltext import parse_yaml

FOLDER = Path(__file__).parent
READ = ("opened", "from-memory")
Row = Mapping[str, Any]
Held = tuple[Knowledge, Consultant]


@cache
def rows(table: str) -> tuple[Row, ...]:
    """Return the rows of a table."""
    path = FOLDER / f"{table}.yaml"
    return tuple(parse_yaml(path.read_text(encoding="utf-8"), path.name).data)


def name_of(row: Row) -> str:
    """Return what a row is about, without its value and its document."""
    about = {k: v for k, v in row.items() if k not in ("document", "at", "read", "because")}
    return " ".join(str(value) for value in about.values())


# -- agents ---------------------------------------------------------------------------------------


def wrong_limit(row: Row, held: Held) -> str:
    """Return what an agent says otherwise than a printed limit."""
    in_force = row.get("in_force", True)
    found = [
        x
        for x in held[0].agents[row["agent"]].limits
        if (x.authority, x.basis, x.in_force) == (row["authority"], row["basis"], in_force)
    ]
    if not found:
        return "it is not there"
    if row["read"] == "opened" and any(x.source == "from-memory" for x in found):
        return "it was read in a document, and is said to be remembered"
    said = [(x.value, x.unit, x.averaging_min) for x in found]
    printed = (float(row["value"]), row["unit"], float(row["minutes"]))
    return "" if said == [printed] else f"printed {printed}, held {said}"


# What may be held beside a printed figure: from this share of it, to that one.
SHARES = {
    "molar_mass": (0.999, 1.001),
    "density": (0.99, 1.01),
    "vapour_pressure": (0.97, 1.03),
    # A lower limit warns earlier; the oldest document prints higher ones than the standard.
    "lower_explosive_limit": (0.3, 1.0001),
    "upper_explosive_limit": (0.98, 1.5),
    "odour_threshold": (1.0, 1.0),
}
# The same in degrees, added.
DEGREES = {
    "boiling_point": (-2.0, 2.0),
    "flash_point": (-3.0, 0.5),
    "autoignition": (-75.0, 5.0),
}


def wrong_physical(row: Row, held: Held) -> str:
    """Return how a physical figure of an agent departs from the printed one."""
    physical, what = held[0].agents[row["agent"]].physical, row["what"]
    printed = row["value"]
    if what == "vapour_pressure":
        at = [p for p in physical.vapour_pressure if p.temp_c == row["temp_c"]]
        value = at[0].kpa if at else None
        beside = [each.kpa for each in at[0].also] if at else []
    else:
        quantity = getattr(physical, what)
        if quantity is not None and quantity.unit != row["unit"]:
            return f"held in {quantity.unit}"
        value = None if quantity is None else quantity.value
        beside = [each.value for each in getattr(quantity, "also", ())]
    if printed is not None and any(math.isclose(printed, each, rel_tol=0.005) for each in beside):
        return ""  # it stands beside a figure that protects more
    if printed is None or value is None:
        return "" if printed is value else f"printed {printed}, held {value}"
    if what in DEGREES:
        least, most = (printed + degrees for degrees in DEGREES[what])
    else:
        shares = (1 - row["within"], 1 + row["within"]) if "within" in row else SHARES[what]
        least, most = (printed * share for share in shares)
    return "" if least <= value <= most else f"printed {printed}, held {value}"


def wrong_hansen(row: Row, held: Held) -> str:
    """Return how the solubility parameters of an agent depart from the printed ones."""
    found = held[0].agents[row["agent"]].hansen
    if found is None:
        return "none are held"
    said, printed = [found.d, found.p, found.h], [row["d"], row["p"], row["h"]]
    is_near = all(
        abs(a - b) <= row.get("within", 0.051) for a, b in zip(said, printed, strict=True)
    )
    return "" if is_near else f"printed {printed}, held {said}"


def wrong_pair(row: Row, held: Held) -> str:
    """Return whether molar mass and temperature held fail to join the two units of a limit.

    Allowed is what rounding the printed figure to its digits may hide, and no less than 0.5 %.
    """
    mass = held[0].agents[row["agent"]].physical.molar_mass
    if mass is None or mass.value is None:
        return "no molar mass is held"
    kelvin = held[0].authorities[row["authority"]].converts_at.value + 273.15
    joined = row["ppm"] * mass.value / (8.314462618 * kelvin / 101.325)
    printed = float(row["mg_per_m3"])
    last_digit = int(Decimal(str(row["mg_per_m3"])).normalize().as_tuple().exponent)
    allowed = max(0.51 * math.pow(10.0, last_digit), row.get("within", 0.005) * printed)
    is_near = abs(joined - printed) <= allowed
    return "" if is_near else f"{row['ppm']} ppm comes to {joined:.4g} mg/m3"


# What a hazard statement means (CLP Annex III), in the words of rules/hazards.yaml.
MEANS = {
    "highly-flammable": "H224 H225",
    "flammable": "H226",
    "aspiration": "H304",
    "corrosive": "H314",
    "irritant": "H315 H319 H335",
    "narcotic": "H336",
    "sensitiser-skin": "H317",
    "sensitiser-breathing": "H334",
    "carcinogen-suspected": "H350 H350i H351",
    "reprotoxic": "H360 H360F H360FD H361 H361d",
    "environment": "H400 H410 H411 H412",
    "toxic": "H301 H311 H331",
    "peroxide-former": "EUH019",
}


def wrong_hazard(row: Row, held: Held) -> str:
    """Return what an agent does not warn of, and statements that differ from the harmonised entry.

    A row of a hazard says what its label bids.
    """
    if "hazard" in row:
        is_asked = getattr(held[0].hazards[row["hazard"]], row["needs"])
        return "" if is_asked else "it is not asked for"
    agent = held[0].agents[row["agent"]]
    unsaid = sorted({*row.get("warns", ())} - {*agent.hazards})
    if unsaid or "codes" not in row:
        return f"does not warn of {unsaid}" if unsaid else ""
    codes = {x.code for x in agent.h_statements if x.source.startswith("clp-annex-vi")}
    if codes != set(row["codes"]):
        return f"differs in {sorted(codes ^ set(row['codes']))}"
    # Of what is never used nothing but the statements is shown.
    counted = set() if agent.never else codes - set(row.get("stronger", ()))
    missing = [
        hazard
        for hazard, means in MEANS.items()
        if counted & set(means.split())
        and hazard not in agent.hazards
        # What burns the skin need not be called irritant as well.
        and not (hazard == "irritant" and "corrosive" in agent.hazards)
    ]
    return f"does not warn of {missing}" if missing else ""


def wrong_contraindication(row: Row, held: Held) -> str:
    """Return whether an agent is let through to whom it is not for."""
    agent = held[0].agents[row["agent"]]
    if "never" in row:
        return "" if agent.never else "it may be used"
    if "needs" in row:
        with_it = [m for m in held[0].methods.values() if m.agent == agent.id]
        return " ".join(m.id for m in with_it if row["needs"] not in m.needs)
    if row["because"] == "skin notation" and "skin-absorbed" not in agent.hazards:
        return "it is not said to go through the skin"
    return "" if row["not_for"] in agent.not_for else f"nothing said of {row['not_for']}"


VERDICTS = ("fails", "splash", "holds")
# The verdict of each protection index of EN 374, from 0 to 6.
OF_INDEX = ("fails", "splash", "splash", "holds", "holds", "holds", "holds")


def wrong_glove(row: Row, held: Held) -> str:
    """Return the gloves of which more is said than a document says."""
    more = []
    for agent in (held[0].agents[name] for name in row["agents"]):
        for glove in (g for g in agent.gloves if g.material in row["gloves"]):
            printed = row["gloves"][glove.material]
            most = OF_INDEX[printed] if isinstance(printed, int) else printed
            if VERDICTS.index(glove.verdict) > VERDICTS.index(most):
                more.append(f"{agent.id}: {glove.material} {glove.verdict}")
    return ", ".join(more)


def warns(agent: Agent, other: Agent) -> list[str]:
    """Return what an agent says comes of a mix with another one."""
    named = {other.id, other.agent_class}
    return [mix.product for mix in agent.incompatible if mix.with_ in named]


def wrong_mix(row: Row, held: Held) -> str:
    """Return whether a mix is not warned of from both sides, or its product not named."""
    one, other = (held[0].agents[row[side]] for side in ("one", "other"))
    there, back = warns(one, other), warns(other, one)
    if not there or not back:
        return "not warned of from both sides"
    is_named = any(row["product"].lower() in product.lower() for product in there + back)
    return "" if is_named else f"{row['product']} is not named: {there + back}"


# -- methods and interlocks -----------------------------------------------------------------------


def _value(entry: Any, path: str) -> float:
    for word in path.split("."):
        is_place = word.lstrip("-").isdigit()
        entry = entry[int(word)] if is_place else getattr(entry, word)
    return float(entry)


def wrong_margin(row: Row, held: Held) -> str:
    """Return how a dose, time, temperature or strength leaves its margin."""
    if "judgement" in row:
        value = getattr(held[0].judgement, row["judgement"]).value
    else:
        method = held[0].methods[row["method"]]
        value = _value(method, row["what"])
        value *= _value(method, row["times"]) if "times" in row else 1
    is_within = row.get("at_least", value) <= value <= row.get("at_most", value)
    return "" if is_within else f"held {value:g}"


SOUND = {
    "specimen": {
        "hydration": "supple",
        "taxon": "beetles",
        "pin": "none",
        "old-poison-signs": "no",
        "urticating-hairs": "no",
        "cracks": "none",
        "pest-holes": "none",
        "missing-parts": "none",
        "size": "large",
        "box-held": "none",
    },
    "finding": {"id": "f1", "zone": "elytra", "fragility": "robust"},
    "bench": {"control": "hood"},
}


def facts_of(row: Row, consultant: Consultant) -> tuple[Fact, ...]:
    """Return the facts of a row of interlocks; what it does not give is sound, or unknown."""
    given, settled = row.get("given", {}), row.get("settled", NONE)
    found = []
    for kind, sound in SOUND.items():
        slots = consultant.vocabulary.kinds[kind]
        fields = {name: UNKNOWN if slot.askable else NONE for name, slot in slots.items()}
        fields |= sound | {name: value for name, value in given.items() if name in slots}
        if kind == "finding" and settled != NONE:
            fields |= {"settled": settled, "named": settled}
        found.append(Fact(kind, "f1" if kind == "finding" else kind, fields))
    if settled != NONE:
        reach = "yes" if settled in consultant.guards else "no"
        place = found[1].fields["zone"]
        reading = {"finding": "f1", "zone": place, "deposit": settled}
        found.append(Fact("reading", "r1", reading | {"standing": "settled", "reach": reach}))
    return tuple(found)


def _is_meant(method: Method, barred: Row, knowledge: Knowledge) -> bool:
    agent = knowledge.agents[method.agent].agent_class if method.agent else ""
    is_wet = knowledge.techniques[method.technique].wet == "wet"
    held = {"method": method.id, "technique": method.technique, "agent": method.agent}
    return all(
        (is_wet == wanted if word == "wet" else (held | {"agent_class": agent})[word] in wanted)
        for word, wanted in barred.items()
    )


def wrong_never(row: Row, held: Held) -> str:
    """Return the methods that nothing bars although they must never be used in a case."""
    knowledge, consultant = held
    forbids = consultant.run_plain(Family.FORBID, facts_of(row, consultant))
    forbidden = {method for c in forbids for method in c.get("method")}
    # Softening, keeping and freezing have rows of their own.
    meant = [
        m.id
        for m in knowledge.methods.values()
        if _is_meant(m, row["barred"], knowledge)
        and (m.stage == "clean" or {"method", "technique"} & set(row["barred"]))
    ]
    if not meant:
        return "no method is meant"
    return " ".join(sorted(set(meant) - forbidden))


CHECKS: dict[str, Callable[[Row, Held], str]] = {
    "limits": wrong_limit,
    "physical": wrong_physical,
    "hansen": wrong_hansen,
    "pairs": wrong_pair,
    "hazards": wrong_hazard,
    "contraindications": wrong_contraindication,
    "mixes": wrong_mix,
    "gloves": wrong_glove,
    "margins": wrong_margin,
    "never": wrong_never,
}


def differences(knowledge: Knowledge, consultant: Consultant) -> Iterator[str]:
    """Yield each row that the rules contradict, or name an entry of that is no longer there."""
    for table, check in CHECKS.items():
        for row in rows(table):
            try:
                wrong = check(row, (knowledge, consultant))
            except (KeyError, AttributeError, IndexError) as gone:
                wrong = f"gone: {gone}"
            if wrong:
                yield f"{table}: {name_of(row)}: {wrong} [{row['document']}, {row['at']}]"
