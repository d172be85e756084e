"""Faults of the rulebase as a whole: each check exact, each fault with file and line.

``faults_of`` gives what must be mended, ``remarks_of`` what a keeper of the rules should know:
nothing unsafe follows from a remark.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from itertools import product
from typing import NamedTuple

from triage.check.reachable import (
    CONDITION,
    DEPOSIT,
    Permits,
    circles_in,
    constant,
    impossible_reading,
    offers,
    orders_of,
    reachable_domains,
    reading_facts,
    speakable,
    templates_of,
)
from triage.check.sets import Domains, Said, covers, demands, never_fires, things_said
from triage.engine.consult import Consultant
from triage.engine.normal import NormalRule
from triage.engine.vocabulary import UNKNOWN
from triage.errors import TriageError
from triage.knowledge.rules import FAMILIES, RESTRICTIVE, Family, Rule
from triage.plan.ladder import harshness_key

Check = Callable[["Rulebase"], Iterator[TriageError]]
FAULTS: list[tuple[str, Check]] = []
REMARKS: list[tuple[str, Check]] = []


class Found(NamedTuple):
    """What is wrong with an entry, or with the part of it that ``path`` leads to."""

    kind: str
    entry: str
    message: str
    mend: str
    path: tuple[str | int, ...] = ()


class Rulebase:
    """One compiled rulebase with what its checks share."""

    def __init__(self, consultant: Consultant) -> None:
        self.consultant = consultant
        self.knowledge = consultant.knowledge
        self.domains: Domains = reachable_domains(consultant)
        self.offers = offers(consultant)
        self.permits = Permits(consultant, self.domains)

    def rules(self, *families: Family) -> Iterator[NormalRule]:
        """Yield the rules of some families, all by default."""
        for family in families or FAMILIES:
            yield from self.consultant.normal.by_family[family]


Search = Callable[[Rulebase], Iterator[Found]]


def _check(to: list[tuple[str, Check]], name: str) -> Callable[[Search], Search]:
    """Return what lists a search as a check, whose faults have their places."""

    def register(search: Search) -> Search:
        def check(base: Rulebase) -> Iterator[TriageError]:
            for kind, entry, message, mend, path in search(base):
                yield TriageError(message, base.knowledge.where(kind, entry, *path), mend)

        to.append((name, check))
        return search

    return register


def faults_of(consultant: Consultant) -> list[TriageError]:
    """Return every fault of the rulebase that must be mended, with file and line."""
    base = Rulebase(consultant)
    return [fault for _, check in FAULTS for fault in check(base)]


def remarks_of(consultant: Consultant) -> list[TriageError]:
    """Return what is not unsafe but worth knowing, with file and line."""
    base = Rulebase(consultant)
    return [remark for _, check in REMARKS for remark in check(base)]


# -- rules that can never fire --------------------------------------------------------------------


@_check(FAULTS, "never-fires")
def never_firing(base: Rulebase) -> Iterator[Found]:
    """Yield rules whose condition no case can meet."""
    facts = reading_facts(base.consultant)
    for rule in base.rules():
        why = never_fires(rule, base.domains)
        if not why and impossible_reading(rule, base.domains, facts):
            why = "no reading is ever like that"
        if why:
            yield Found("rule", rule.id, f"never fires: {why}", "mend its conditions or drop it")


@_check(FAULTS, "concludes-nothing")
def concludes_nothing(base: Rulebase) -> Iterator[Found]:
    """Yield conclusions over an empty set of methods."""
    for rule in base.rules():
        for template in rule.templates:
            for name in (name for name, held in template.constants if held == ()):
                message = f"{template.kind}.{name} holds no method"
                yield Found("rule", rule.id, message, "widen the method pattern")


@_check(FAULTS, "ask-is-not-read")
def ask_unread(base: Rulebase) -> Iterator[Found]:
    """Yield rules that name a question on whose answer they do not depend."""
    for family, rules in base.knowledge.rules.items():
        normal = {rule.id: rule for rule in base.consultant.normal.by_family[family]}
        for rule in rules:
            patterns = normal[rule.id].patterns
            read = {name for p in patterns for name, _ in (*p.allowed, *p.variables)}
            if rule.ask and rule.ask not in read:
                message = f'asks "{rule.ask}" but does not read it'
                yield Found("rule", rule.id, message, "name a question of its conditions")


# -- duplicates and subsumption -------------------------------------------------------------------


def _pairs(base: Rulebase) -> Iterator[tuple[NormalRule, NormalRule, bool]]:
    """Yield (general, special, equal) for every rule that another covers, each pair once."""
    for family in FAMILIES:
        rules = base.consultant.normal.by_family[family]
        said: dict[Said, list[int]] = defaultdict(list)
        for place, special in enumerate(rules):
            said[next(things_said(special), ())].append(place)
        for general in rules:
            alike = {place for key in things_said(general) for place in said.get(key, ())}
            for special in (rules[place] for place in sorted(alike)):
                if general is special or not covers(general, special, base.domains):
                    continue
                equal = covers(special, general, base.domains)
                if not equal or general.id < special.id:
                    yield general, special, equal


@_check(FAULTS, "duplicate")
def duplicates(base: Rulebase) -> Iterator[Found]:
    """Yield rules with the same condition and the same conclusion as another.

    Two cautions may say different things of the same step: there only equal texts count.
    """
    for first, second, equal in _pairs(base):
        if not equal:
            continue
        same_text = base.knowledge.rule(first.id).because == base.knowledge.rule(second.id).because
        if first.family is not Family.CAUTION or same_text:
            message = f'says the same as "{first.id}"'
            yield Found("rule", second.id, message, "drop one of the two")


@_check(REMARKS, "subsumed")
def subsumed(base: Rulebase) -> Iterator[Found]:
    """Yield rules that never add anything to a more general one; cautions and evidence add up."""
    for general, special, equal in _pairs(base):
        if not equal and special.family not in (Family.CAUTION, Family.RECOGNISE):
            message = f'adds nothing to "{general.id}" but its reason'
            yield Found("rule", special.id, message, "keep it for its reason, or drop it")


@_check(REMARKS, "needless-condition")
def needless_conditions(base: Rulebase) -> Iterator[Found]:
    """Yield conditions that every value meets."""
    for rule in base.rules():
        for pattern in rule.patterns:
            bound = {name for name, _ in pattern.variables}
            for name, allowed in demands(pattern, base.domains).items():
                domain = base.domains.get((pattern.kind, name))
                if domain is not None and name not in bound and domain <= allowed:
                    message = f"{pattern.kind}.{name} is met by every value"
                    yield Found("rule", rule.id, message, "leave this condition out")


# -- contradictions, dead ends, order -------------------------------------------------------------


@_check(FAULTS, "offered-and-always-forbidden")
def contradictions(base: Rulebase) -> Iterator[Found]:
    """Yield offers of a method that interlocks forbid whatever the case is."""
    for (what, problem), methods in sorted(base.offers.items()):
        for method, rule in sorted(methods.items()):
            blocking = base.permits.blocking(method, what, problem)
            if blocking:
                names = ", ".join(blocking[:3])
                message = f'offers "{method}" for {problem}, which is always forbidden ({names})'
                path = _named_at(base.knowledge.rule(rule), method)
                yield Found("rule", rule, message, "take it out, or mend the interlocks", path)


def _named_at(rule: Rule, method: str) -> tuple[str | int, ...]:
    for said in rule.conclusions():
        methods = said.get("offer", {}).get("method", ())
        if isinstance(methods, list) and method in methods:
            return ("then", "offer", "method", methods.index(method))
    return ()


@_check(FAULTS, "dead-end")
def dead_ends(base: Rulebase) -> Iterator[Found]:
    """Yield deposits that say nothing where some zone and group permit no method for them."""
    knowledge = base.knowledge
    for deposit in knowledge.deposits.values():
        if deposit.leave_it.strip():
            continue
        methods = base.offers.get((DEPOSIT, deposit.id), {})
        places = product(
            sorted(base.domains["finding", "zone"]), sorted(base.domains["specimen", "taxon"])
        )
        for zone, taxon in places:
            at = {"zone": zone, "taxon": taxon}
            if all(base.permits.blocking(m, DEPOSIT, deposit.id, **at) for m in methods):
                message = f"no method and no leave_it on {zone} of {taxon}"
                yield Found("deposit", deposit.id, message, "say why it is left there")
                break


@_check(FAULTS, "condition-without-work")
def idle_conditions(base: Rulebase) -> Iterator[Found]:
    """Yield conditions that no rule concludes, or for which none offers a method."""
    concluded = base.domains["state", "condition"]
    for condition in base.knowledge.conditions.values():
        if condition.id not in concluded:
            yield Found("condition", condition.id, "no sign shows it", "add signs:")
        if (CONDITION, condition.id) not in base.offers:
            yield Found("condition", condition.id, "no method is offered for it", "add a ladder:")


@_check(FAULTS, "circular-order")
def circles(base: Rulebase) -> Iterator[Found]:
    """Yield order rules that put a method before itself: across the case, or in one ladder."""
    every = frozenset(base.knowledge.methods)
    found = set(circles_in(orders_of(base.consultant, across=True), every))
    for methods in base.offers.values():
        found |= set(circles_in(orders_of(base.consultant, across=False), frozenset(methods)))
    for rule, method in sorted(found):
        message = f'puts "{method}" before itself'
        yield Found("rule", rule, message, "narrow one of its two method patterns")


@_check(REMARKS, "circle-outside-ladders")
def latent_circles(base: Rulebase) -> Iterator[Found]:
    """Yield order rules that lead round over methods which no ladder holds together."""
    every = frozenset(base.knowledge.methods)
    for rule, method in sorted(set(circles_in(orders_of(base.consultant, across=False), every))):
        message = f'would put "{method}" before itself if one ladder held all the methods'
        yield Found("rule", rule, message, "narrow it before a new offer makes it a fault")


@_check(FAULTS, "ladder-turned-round")
def turned_ladders(base: Rulebase) -> Iterator[Found]:
    """Yield order rules that contradict the order of harshness inside one ladder."""
    seen = set()
    key = harshness_key(base.knowledge)
    # The name of a method only breaks ties: it makes none harsher.
    harsh = {method: key(method)[:-1] for method in base.knowledge.methods}
    for rule, earlier, later in orders_of(base.consultant):
        for (_, problem), methods in sorted(base.offers.items()):
            both = sorted(earlier & set(methods)), sorted(later & set(methods))
            for first, second in product(*both):
                if harsh[first] > harsh[second] and (rule, first, second) not in seen:
                    seen.add((rule, first, second))
                    message = f'wants "{first}" before "{second}" for {problem}, but it is harsher'
                    yield Found("rule", rule, message, "mend the grades or the rule")


# -- entries that nothing uses --------------------------------------------------------------------


@_check(FAULTS, "never-offered")
def never_offered(base: Rulebase) -> Iterator[Found]:
    """Yield methods that no rule offers or inserts."""
    used = {m for methods in base.offers.values() for m in methods}
    used |= {constant(t, "first") for _, t in templates_of(base.consultant, "insert")}
    for method in base.knowledge.methods:
        if method not in used:
            mend = "name it in the ladder of a deposit or condition, or drop it"
            yield Found("method", method, "no rule offers it", mend)


@_check(FAULTS, "nothing-speaks-for-it")
def unspoken(base: Rulebase) -> Iterator[Found]:
    """Yield deposits that no sign speaks for."""
    spoken = speakable(base.consultant)
    for deposit in base.knowledge.deposits:
        if deposit not in spoken:
            mend = "give a sign a weight above 0 in its signs:"
            yield Found("deposit", deposit, "no sign speaks for it", mend)


def _asked_sets(base: Rulebase, question: str, about: str) -> list[frozenset[str]]:
    kind = "specimen" if about == "specimen" else "finding"
    return [
        frozenset(allowed)
        for rule in base.rules()
        for pattern in rule.patterns
        for name, allowed in pattern.allowed
        if pattern.kind == kind and name == question
    ]


@_check(FAULTS, "question-unused")
def unused_questions(base: Rulebase) -> Iterator[Found]:
    """Yield questions whose answers no rule reads."""
    for question in base.knowledge.questions.values():
        if not _asked_sets(base, question.id, question.about):
            mend = "add a rule, or drop the question"
            yield Found("question", question.id, "no rule reads its answers", mend)


@_check(REMARKS, "answer-unread")
def unread_answers(base: Rulebase) -> Iterator[Found]:
    """Yield answers that change nothing against not answering at all."""
    for question in base.knowledge.questions.values():
        sets = _asked_sets(base, question.id, question.about)
        for answer in question.answers if sets else ():
            if all((answer.id in allowed) == (UNKNOWN in allowed) for allowed in sets):
                message = f'answer "{answer.id}" works like no answer at all'
                yield Found("question", question.id, message, "fine if it only describes")


@_check(FAULTS, "sign-without-question")
def signs_without_question(base: Rulebase) -> Iterator[Found]:
    """Yield fields that rules read and that nobody is ever asked."""
    known = {*base.knowledge.questions, "taxon", "zone", "side", "named", "control"}
    kinds = base.consultant.vocabulary.kinds
    for rule in base.rules():
        for pattern in rule.patterns:
            for name, _ in pattern.allowed:
                if kinds[pattern.kind][name].askable and name not in known:
                    message = f'reads "{name}", for which there is no question'
                    yield Found("rule", rule.id, message, "add the question")


@_check(REMARKS, "idle-interlock")
def idle_interlocks(base: Rulebase) -> Iterator[Found]:
    """Yield interlocks and cautions on methods of which none is ever offered."""
    used = {m for methods in base.offers.values() for m in methods}
    for rule in base.rules(*sorted(RESTRICTIVE - {Family.GATE})):
        methods = {m for t in rule.templates for m in dict(t.constants).get("method", ())}
        if methods and not methods & used:
            message = "speaks only of methods that nothing offers"
            yield Found("rule", rule.id, message, "drop it, or offer the method")


@_check(REMARKS, "unused-entry")
def unused_entries(base: Rulebase) -> Iterator[Found]:
    """Yield stop signs, kinds of outcomes, techniques, agents and equipment that no method uses.

    An agent that another one must not meet, or that has doses of its own, is listed for that.
    """
    knowledge = base.knowledge
    used: dict[str, set[str]] = {
        "stop": set(),
        "outcomes": {method.outcomes for method in knowledge.methods.values()},
        "technique": set(),
        "agent": set(),
        "equipment": {each.id for each in knowledge.equipment.values() if each.counts},
    }
    for method in knowledge.methods.values():
        used["stop"].update(method.stop_signs)
        used["technique"].add(method.technique)
        used["equipment"].update(method.needs)
        used["agent"].update([method.agent] if method.agent else [])
        used["agent"].update(part.agent for part in method.with_)
    used["agent"].update(a.vapour_of for a in knowledge.agents.values() if a.vapour_of)
    used["agent"].update(m.with_ for a in knowledge.agents.values() for m in a.incompatible)
    used["agent"].update(dose.agent for dose in knowledge.doses.values() if dose.agent)
    for kind, names in used.items():
        for entry in knowledge.table(kind):
            is_listed_to_refuse = kind == "agent" and knowledge.agents[entry].never
            if entry not in names and not is_listed_to_refuse:
                yield Found(kind, entry, "no method uses it", "fine if it is only for reference")
