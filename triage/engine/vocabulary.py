"""The words that rules may use: kinds of fact, their fields, and the values of each field."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.knowledge.rules import Family
from triage.knowledge.specimen import STAGES

UNKNOWN = "unknown"
NONE = "none"
STANDINGS = ("excluded", "doubtful", "open", "suspected", "likely", "settled")
CONTROLS = ("none", "window", "extraction", "hood", "outdoors")
CAUTIONS = (
    "ventilation",
    "gloves",
    "eyes",
    "breathing",
    "ignition",
    "mixing",
    "disposal",
    "specimen",
    "stop",
    "legal",
)
# What is said where nothing needs to be done, or before anything is: first aid stands before all.
ADVICE = ("first-aid", "accept", "picture", "keep", "refer", "note")


@dataclass(frozen=True, slots=True)
class Slot:
    """One field of a kind of fact.

    ``values`` is None for open ids; ``ordered`` allows comparisons; ``askable`` fields may be
    unknown; ``about`` names the static kind whose entries the values are.
    """

    values: tuple[str, ...] | None
    ordered: bool = False
    askable: bool = False
    about: str = ""


@dataclass(frozen=True)
class Vocabulary:
    """Every dynamic kind with its slots, which family may read which; what equipment counts as.

    ``clean`` holds the answers that a zone gives which was looked at and is clean.
    """

    kinds: Mapping[str, Mapping[str, Slot]]
    later: Mapping[str, Family]
    derived: frozenset[tuple[str, str]]
    clean: Mapping[str, str] = field(default_factory=dict)
    counts: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    def domain(self, kind: str, field: str) -> tuple[str, ...] | None:
        """Return the values of a field, ``unknown`` included where it may be unknown."""
        slot = self.kinds[kind][field]
        if slot.values is None:
            return None
        return (*slot.values, UNKNOWN) if slot.askable else slot.values


def _questions(knowledge: Knowledge, about: str) -> dict[str, Slot]:
    return {
        question.id: Slot(tuple(answer.id for answer in question.answers), True, True)
        for question in knowledge.questions.values()
        if question.about == about
    }


def build_vocabulary(knowledge: Knowledge) -> Vocabulary:
    """Return the vocabulary that this knowledge gives to its rules."""
    deposits = tuple(knowledge.deposits)
    grades = tuple(knowledge.fragility)
    kinds: dict[str, dict[str, Slot]] = {
        "specimen": {
            "taxon": Slot(tuple(knowledge.taxa), askable=True, about="taxon"),
            **_questions(knowledge, "specimen"),
            "fragility": Slot(grades, ordered=True),
            "findings": Slot(("none", "some")),
            "cleaning": Slot(("none", "open", "done")),
        },
        "bench": {
            "control": Slot(CONTROLS, ordered=True, askable=True),
            "mask": Slot((NONE, "particle")),
        },
        "finding": {
            "id": Slot(None),
            "zone": Slot(tuple(knowledge.zones), askable=True, about="zone"),
            "side": Slot(("left", "right", "both"), askable=True),
            "named": Slot((*deposits, NONE), about="deposit"),
            # A person looked at it and leaves it as it is: a clean zone, or what may stay.
            "accepted": Slot(("yes", NONE)),
            **_questions(knowledge, "zone"),
            "fragility": Slot(grades, ordered=True),
            "settled": Slot((*deposits, NONE), about="deposit"),
        },
        "reading": {
            "finding": Slot(None),
            "zone": Slot(tuple(knowledge.zones), askable=True, about="zone"),
            "deposit": Slot(deposits, about="deposit"),
            "standing": Slot(STANDINGS, ordered=True),
            "reach": Slot(("yes", "no")),
        },
        "state": {"condition": Slot(tuple(knowledge.conditions))},
        "closed": {"stage": Slot(STAGES, ordered=True)},
    }
    return Vocabulary(
        kinds,
        later={"reading": Family.RECOGNISE, "state": Family.RECOGNISE, "closed": Family.GATE},
        clean={q.id: q.clean for q in knowledge.questions.values() if q.clean},
        derived=frozenset(
            {
                ("specimen", "fragility"),
                ("specimen", "findings"),
                ("specimen", "cleaning"),
                ("finding", "fragility"),
                ("finding", "settled"),
            }
        ),
        counts={
            e.id: {str(k): v for k, v in e.counts.items()} for e in knowledge.equipment.values()
        },
    )


StaticValue = str | int | bool | frozenset[str] | None


def static_tables(knowledge: Knowledge) -> Mapping[str, Mapping[str, Mapping[str, StaticValue]]]:
    """Return kind -> entry id -> field -> value for the patterns that are resolved at load.

    Set-valued fields (surface, traits, hazard, needs) are frozensets: a literal in a rule then
    means "contains".
    """
    return {
        "zone": {
            z.id: {
                "surface": frozenset(z.surface),
                "plans": frozenset(z.plans),
                "most-mechanical": z.most_mechanical,
                "most-chemical": z.most_chemical,
            }
            for z in knowledge.zones.values()
        },
        "taxon": {
            t.id: {
                "traits": frozenset(t.traits),
                "fragility": t.fragility,
                "plan": t.plan,
                "most-chemical-dry": t.most_chemical_dry,
            }
            for t in knowledge.taxa.values()
        },
        "deposit": {d.id: {"guard": d.guard, "kind": d.kind} for d in knowledge.deposits.values()},
        "method": {m: _method_fields(knowledge, m) for m in knowledge.methods},
    }


def _method_fields(knowledge: Knowledge, method_id: str) -> Mapping[str, StaticValue]:
    method = knowledge.methods[method_id]
    technique = knowledge.techniques[method.technique]
    agents = [knowledge.agents[a] for a in agent_ids(knowledge, method_id)]
    return {
        "agent": frozenset(a.id for a in agents),
        "agent-class": frozenset(a.agent_class for a in agents),
        "technique": method.technique,
        "stage": method.stage,
        "wet": technique.wet,
        "contact": technique.contact,
        "water-free": technique.water_free,
        "harmless": method.harmless,
        "while-dry": method.while_dry,
        "test-spot": method.test_spot,
        "mechanical": method.harshness.mechanical.grade,
        "chemical": method.harshness.chemical.grade,
        "person": method.harshness.person.grade,
        "hazard": frozenset(h for a in agents for h in a.hazards),
        "needs": frozenset(method.needs),
    }


def agent_ids(knowledge: Knowledge, method_id: str) -> tuple[str, ...]:
    """Return the agents of a method, the main one first, each once."""
    return agents_in(knowledge.methods[method_id])


def agents_in(method: Method) -> tuple[str, ...]:
    """Return the agents in the liquid of a method, the main one first, each once."""
    main: Iterable[str] = (method.agent,) if method.agent else ()
    return tuple(dict.fromkeys((*main, *(part.agent for part in method.with_))))
