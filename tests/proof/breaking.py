"""Ways to break the knowledge on purpose: each yields mutants, one small fault in each."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from pydantic import BaseModel

from triage.knowledge.book import ATTRIBUTES, Knowledge
from triage.knowledge.rules import FAMILIES, Family, Rule
from triage.plan.ladder import harshness_key

TENFOLD = 10.0


@dataclass(frozen=True)
class Mutant:
    """One broken knowledge: the kind of fault, what it touches, and whether it is about safety."""

    kind: str
    name: str
    knowledge: Knowledge
    is_vital: bool


Operator = Callable[[Knowledge], Iterator[tuple[str, Knowledge]]]
Change = Callable[[Any], Iterator[tuple[str, Any]]]
OPERATORS: dict[str, tuple[Operator, bool]] = {}


def operator(name: str, *, vital: bool = False) -> Callable[[Operator], Operator]:
    """Register a kind of mutation; those of interlocks and limits are vital."""

    def register(make: Operator) -> Operator:
        OPERATORS[name] = (make, vital)
        return make

    return register


def mutants(knowledge: Knowledge) -> Iterator[Mutant]:
    """Yield every mutant of every kind."""
    for kind, (make, vital) in OPERATORS.items():
        for name, broken in make(knowledge):
            yield Mutant(kind, name, broken, vital)


# -- tools ----------------------------------------------------------------------------------------


def changed(entry: BaseModel, **fields: Any) -> Any:
    """Return an entry with other values, not validated: the load checks must find what is wrong."""
    return entry.model_copy(update=fields)


def with_entry(knowledge: Knowledge, kind: str, entry: Any) -> Knowledge:
    """Return the knowledge with one entry replaced."""
    attribute = ATTRIBUTES[kind]
    table: Any = {**getattr(knowledge, attribute), entry.id: entry}
    return replace(knowledge, **{attribute: table})


def each_rule(
    family: Family, edit: Callable[[Rule], Iterator[tuple[str, Rule | None]]]
) -> Operator:
    """Return an operator that makes each edit of each rule of a family; None drops the rule."""

    def make(knowledge: Knowledge) -> Iterator[tuple[str, Knowledge]]:
        for rule in knowledge.rules[family]:
            for what, made in edit(rule):
                yield f"{rule.id} {what}".strip(), with_rule(knowledge, family, rule, made)

    return make


def with_rule(knowledge: Knowledge, family: Family, old: Rule, new: Rule | None) -> Knowledge:
    """Return the knowledge with one rule replaced or, for None, dropped."""
    rules = tuple(
        made
        for rule in knowledge.rules[family]
        if (made := new if rule is old else rule) is not None
    )
    return replace(knowledge, rules={**knowledge.rules, family: rules})


def each(knowledge: Knowledge, kind: str, change: Change) -> Iterator[tuple[str, Knowledge]]:
    """Yield the knowledge with each change of each entry of a kind."""
    for entry_id, entry in knowledge.table(kind).items():
        for what, made in change(entry):
            yield f"{entry_id} {what}".strip(), with_entry(knowledge, kind, made)


# -- rules ----------------------------------------------------------------------------------------


VITAL = (Family.FORBID, Family.GATE)
for _family in FAMILIES:
    operator(f"drop-{_family}-rule", vital=_family in VITAL)(
        each_rule(_family, lambda _: iter([("", None)]))
    )


def _edited(family: Family, edit: Callable[[str, Any], Iterator[tuple[str, Any]]]) -> Operator:
    """Return an operator that edits one field of one pattern; an edit to None drops the field."""

    def edits(rule: Rule) -> Iterator[tuple[str, Rule]]:
        for place, entry in enumerate(rule.when):
            absent = "absent" in entry
            ((kind, fields),) = (entry["absent"] if absent else entry).items()
            for name, held in (fields or {}).items():
                for what, value in edit(name, held):
                    new = {k: v for k, v in fields.items() if k != name}
                    made = {kind: new if value is None else {**new, name: value}}
                    when = [*rule.when]
                    when[place] = {"absent": made} if absent else made
                    where = f"absent {kind}" if absent else kind
                    yield f"{where}.{name} {what}", changed(rule, when=tuple(when))

    return each_rule(family, edits)


def _is_bound(held: Any) -> bool:
    return isinstance(held, str) and held[:1] in "$?"


def _without(name: str, held: Any) -> Iterator[tuple[str, Any]]:
    if name != "id" and not _is_bound(held):
        yield "dropped", None


def _narrowed(_name: str, held: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(held, Mapping) and isinstance(held.get("one_of"), list | tuple):
        values = list(held["one_of"])
        for value in values if len(values) > 1 else ():
            yield f"without {value}", {"one_of": [v for v in values if v != value]}


FLIPPED = {"at_least": "at_most", "at_most": "at_least", "above": "below", "below": "above"}


def _flipped(_name: str, held: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(held, Mapping) and len(held) == 1:
        ((word, value),) = held.items()
        if word in FLIPPED:
            yield "flipped", {FLIPPED[word]: value}
        elif word == "not":
            yield "turned round", {"one_of": value if isinstance(value, list | tuple) else [value]}
        elif word == "one_of":
            yield "turned round", {"not": value}
    elif isinstance(held, str) and not _is_bound(held):
        yield "turned round", {"not": held}


for _family in (Family.FORBID, Family.GATE, Family.RECOGNISE, Family.OFFER, Family.CAUTION):
    for _kind, _edit in (
        ("drop-condition", _without),
        ("narrow-values", _narrowed),
        ("flip-condition", _flipped),
    ):
        operator(f"{_kind}-of-{_family}", vital=_family in VITAL)(_edited(_family, _edit))


Fields = Mapping[str, Any]


def _concluded(
    family: Family, edit: Callable[[str, Fields], Iterator[tuple[str, Fields]]]
) -> Operator:
    def edits(rule: Rule) -> Iterator[tuple[str, Rule]]:
        conclusions = list(rule.conclusions())
        for place, conclusion in enumerate(conclusions):
            ((kind, fields),) = conclusion.items()
            for what, new in edit(kind, fields or {}):
                then = [*conclusions]
                then[place] = {kind: dict(new)}
                yield what, changed(rule, then=tuple(then))

    return each_rule(family, edits)


def _fewer_methods(_kind: str, fields: Fields) -> Iterator[tuple[str, Fields]]:
    methods = fields.get("method")
    if isinstance(methods, list | tuple):
        for method in methods if len(methods) > 1 else ():
            yield f"without {method}", {**fields, "method": [m for m in methods if m != method]}


def _weights(scale: Callable[[float], float | None]) -> Any:
    def edit(kind: str, fields: Fields) -> Iterator[tuple[str, Fields]]:
        if kind == "evidence":
            weight = scale(float(fields["weight"]))
            if weight is not None:
                yield f"{fields['deposit']} {weight:g}", {**fields, "weight": weight}

    return edit


operator("fewer-methods-forbidden", vital=True)(_concluded(Family.FORBID, _fewer_methods))
operator("fewer-methods-offered")(_concluded(Family.OFFER, _fewer_methods))
operator("turn-evidence-round")(
    _concluded(Family.RECOGNISE, _weights(lambda w: -w if w > -1 else None))
)
operator("soften-exclusion")(
    _concluded(Family.RECOGNISE, _weights(lambda w: -0.2 if w <= -1 else None))
)


# -- methods --------------------------------------------------------------------------------------


@operator("swap-two-rungs")
def swap_rungs(knowledge: Knowledge) -> Iterator[tuple[str, Knowledge]]:
    """Yield knowledge in which two methods of different harshness trade their grades."""
    ordered = sorted(knowledge.methods, key=harshness_key(knowledge))
    for first, second in zip(ordered, ordered[5:], strict=False):
        one, two = knowledge.methods[first], knowledge.methods[second]
        if one.harshness != two.harshness:
            broken = with_entry(knowledge, "method", changed(one, harshness=two.harshness))
            broken = with_entry(broken, "method", changed(two, harshness=one.harshness))
            yield f"{first} and {second}", broken


def _grades(method: Any, step: int) -> Iterator[tuple[str, Any]]:
    for word in ("mechanical", "chemical", "person", "lasting"):
        graded = getattr(method.harshness, word)
        grade = graded.grade + step if graded else -1
        if grade >= 0:
            harshness = changed(method.harshness, **{word: changed(graded, grade=grade)})
            yield f"{word} {grade}", changed(method, harshness=harshness)


def of(kind: str, name: str, change: Change, *, vital: bool = False) -> None:
    """Register a change of each entry of a kind as a kind of mutation."""
    operator(name, vital=vital)(lambda knowledge: each(knowledge, kind, change))


def _each_of(field: str) -> Change:
    """Return a change that takes one item out of a list of an entry."""

    def change(entry: Any) -> Iterator[tuple[str, Any]]:
        held = getattr(entry, field)
        for place, item in enumerate(held):
            name = item if isinstance(item, str) else place
            yield f"{field} {name}", changed(entry, **{field: held[:place] + held[place + 1 :]})

    return change


def _where(shows: Callable[[Any], bool], change: Change) -> Change:
    """Return a change of those entries alone of which it could show."""
    return lambda entry: change(entry) if shows(entry) else iter(())


def _set(field: str, value: Any) -> Change:
    def change(entry: Any) -> Iterator[tuple[str, Any]]:
        if getattr(entry, field) != value:
            yield field, changed(entry, **{field: value})

    return change


def _tenfold(field: str, figure: str) -> Change:
    """Return a change that makes a figure within a field ten times as large."""

    def change(entry: Any) -> Iterator[tuple[str, Any]]:
        held = getattr(entry, field)
        if held is not None and getattr(held, "unit", "") != "as-is":
            more = changed(held, **{figure: getattr(held, figure) * TENFOLD})
            yield field, changed(entry, **{field: more})

    return change


of("method", "lower-a-grade", lambda m: _grades(m, -1))
of("method", "raise-a-grade", lambda m: _grades(m, 1))
of("method", "remove-stop-point", _each_of("stop_signs"), vital=True)
of("method", "remove-need", _each_of("needs"))
of("method", "call-it-harmless", _set("harmless", value=True), vital=True)
# Asked only of what is offered for a finding; other stages have gates of their own.
of(
    "method",
    "allow-it-while-dry",
    _where(lambda m: m.stage == "clean", _set("while_dry", value=True)),
    vital=True,
)
of("method", "drop-test-spot", _set("test_spot", value=False))
of("method", "more-passes", _set("passes", value=20))
of("method", "dwell-tenfold", _tenfold("dwell_s", "most"))
of("method", "warmer-tenfold", _tenfold("temp_c", "most"))
of("method", "amount-tenfold", _tenfold("amount", "typical_ml"), vital=True)
of("method", "strength-tenfold", _tenfold("strength", "value"), vital=True)


# -- agents ---------------------------------------------------------------------------------------


def _one_of(field: str, edit: Callable[[Any], tuple[str, Any] | None]) -> Change:
    """Return a change of one item of a list of an entry, those left out that it names None."""

    def change(entry: Any) -> Iterator[tuple[str, Any]]:
        held = getattr(entry, field)
        for place, item in enumerate(held):
            if (made := edit(item)) is not None:
                items = (*held[:place], made[1], *held[place + 1 :])
                yield made[0], changed(entry, **{field: items})

    return change


def _higher(limit: Any) -> tuple[str, Any]:
    return f"{limit.authority} {limit.basis}", changed(limit, value=limit.value * TENFOLD)


def _holding(glove: Any) -> tuple[str, Any] | None:
    return (glove.material, changed(glove, verdict="holds")) if glove.verdict == "fails" else None


def _vapour(agent: Any) -> Iterator[tuple[str, Any]]:
    points = tuple(changed(p, kpa=p.kpa / TENFOLD) for p in agent.physical.vapour_pressure)
    if points:
        yield "vapour", changed(agent, physical=changed(agent.physical, vapour_pressure=points))


def _is_used(agent: Any) -> bool:
    return not agent.never


of("agent", "limit-tenfold", _one_of("limits", _higher), vital=True)
of("agent", "drop-limit", _each_of("limits"), vital=True)
# What is never used comes into no step: nobody is told its hazards, gloves or for whom it is not.
of("agent", "drop-hazard", _where(_is_used, _each_of("hazards")), vital=True)
of("agent", "glove-that-fails-holds", _where(_is_used, _one_of("gloves", _holding)))
of("agent", "drop-circumstance", _where(_is_used, _each_of("not_for")), vital=True)
of("agent", "drop-mix", _each_of("incompatible"))
of("agent", "allow-a-banned-agent", _set("never", value=False), vital=True)
of("agent", "vapour-a-tenth", _vapour, vital=True)


# -- specimen and judgement -----------------------------------------------------------------------


of("zone", "zone-stands-anything", _set("most_mechanical", value=4), vital=True)
of("zone", "zone-stands-any-agent", _set("most_chemical", value=4), vital=True)
of("zone", "drop-surface", _each_of("surface"))
of("fragility", "frail-stands-anything", _set("most_mechanical", value=4), vital=True)
of("taxon", "drop-trait", _each_of("traits"))
of("deposit", "drop-guard", _set("guard", value="none"), vital=True)
of("deposit", "say-nothing", _set("leave_it", value=""))
of("method", "unknown-source", _set("source", value="no-such-source"))


@operator("sturdier-group", vital=True)
def sturdier(knowledge: Knowledge) -> Iterator[tuple[str, Knowledge]]:
    """Yield knowledge in which one group counts as the sturdiest."""
    return each(knowledge, "taxon", _set("fragility", value=next(iter(knowledge.fragility))))


@operator("judgement-shifted")
def judged(knowledge: Knowledge) -> Iterator[tuple[str, Knowledge]]:
    """Yield knowledge with one threshold of the judgement halved or doubled."""
    for word in ("settled", "suspected", "lead", "named", "margin", "lel_share"):
        for factor in (0.5, 2.0):
            held = getattr(knowledge.judgement, word)
            moved = changed(held, value=held.value * factor)
            broken = changed(knowledge.judgement, **{word: moved})
            yield f"{word} x{factor:g}", replace(knowledge, judgement=broken)


@operator("harshness-upside-down")
def upside_down(knowledge: Knowledge) -> Iterator[tuple[str, Knowledge]]:
    """Yield knowledge that sorts rungs by other words."""
    order = knowledge.judgement.harshness_order
    for keys in (order.keys[::-1], order.keys[1:], order.keys[:1]):
        broken = changed(knowledge.judgement, harshness_order=changed(order, keys=keys))
        yield " ".join(keys), replace(knowledge, judgement=broken)
