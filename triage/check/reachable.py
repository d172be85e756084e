"""What can come up at all, and whether a method that is offered can ever be permitted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from triage.check.sets import Clause, Domains, demands, domains_of, escape, never_fires
from triage.engine.consult import Consultant
from triage.engine.facts import Fact
from triage.engine.normal import NormalRule, Template
from triage.engine.vocabulary import NONE
from triage.knowledge.rules import FAMILIES, Family

DEPOSIT, CONDITION = "deposit", "condition"


def templates_of(consultant: Consultant, kind: str) -> Iterator[tuple[NormalRule, Template]]:
    """Yield each conclusion of a kind with its rule."""
    for family in FAMILIES:
        for rule in consultant.normal.by_family[family]:
            for template in rule.templates:
                if template.kind == kind:
                    yield rule, template


def constant(template: Template, name: str) -> str:
    """Return a constant field of a conclusion as a word, empty if it is not constant."""
    return str(dict(template.constants).get(name, ""))


def speakable(consultant: Consultant) -> frozenset[str]:
    """Return the deposits that some evidence speaks for; a person may name any other too."""
    return frozenset(
        constant(template, "deposit")
        for _, template in templates_of(consultant, "evidence")
        if float(dict(template.constants)["weight"]) > 0
    )


def reachable_domains(consultant: Consultant) -> dict[tuple[str, str], frozenset[str]]:
    """Return (kind, field) -> values that can come up, derived fields narrowed to what is derived.

    Works family by family: a state is reachable if a recognise rule that can fire concludes it, a
    closed stage if a gate rule that can fire closes it.
    """
    domains = domains_of(consultant.vocabulary)

    def concluded(kind: str, field: str) -> frozenset[str]:
        told = templates_of(consultant, kind)
        can = (template for rule, template in told if not never_fires(rule, domains))
        return frozenset(constant(template, field) for template in can)

    groups = {t.fragility for t in consultant.knowledge.taxa.values()}
    grades = frozenset(consultant.knowledge.fragility)
    reached = grades & (concluded("grade", "fragility") | groups)
    domains["specimen", "fragility"] = domains["finding", "fragility"] = reached
    domains["state", "condition"] = concluded("state", "condition")
    domains["closed", "stage"] = concluded("close", "stage")
    return domains


def reading_facts(consultant: Consultant) -> tuple[Fact, ...]:
    """Return every reading that rules can meet, finding and zone left open.

    A reading is seen by later rules if it is suspected or better, or if it is one of a guard that
    open questions could still make suspected; only guards reach.
    """
    facts = []
    for deposit in consultant.knowledge.deposits:
        reach = "yes" if deposit in consultant.guards else "no"
        early = ("doubtful", "open") if deposit in consultant.guards else ()
        for standing in ("suspected", "likely", "settled", *early):
            fields = {"deposit": deposit, "standing": standing, "reach": reach}
            facts.append(Fact("reading", f"{deposit}-{standing}", fields))
    return tuple(facts)


def impossible_reading(rule: NormalRule, domains: Domains, facts: tuple[Fact, ...]) -> bool:
    """Return whether a rule waits for a reading that no case can have."""
    for pattern in rule.patterns:
        if pattern.kind != "reading" or pattern.absent:
            continue
        wanted = {n: a & domains.get(("reading", n), a) for n, a in pattern.allowed if n != "zone"}
        if not any(all(f.fields[n] in allowed for n, allowed in wanted.items()) for f in facts):
            return True
    return False


def offers(consultant: Consultant) -> dict[tuple[str, str], dict[str, str]]:
    """Return (what, id) -> method -> rule for every offer; ``what`` is deposit or condition.

    Where an offer names no deposit, its reading pattern does.
    """
    found: dict[tuple[str, str], dict[str, str]] = {}
    for rule, template in templates_of(consultant, "offer"):
        fields = dict(template.constants)
        named = [(what, str(fields[what])) for what in (DEPOSIT, CONDITION) if what in fields]
        for place in named or [(DEPOSIT, deposit) for deposit in _read_deposits(rule)]:
            methods = found.setdefault(place, {})
            for method in fields["method"]:
                methods.setdefault(method, rule.id)
    return found


def _read_deposits(rule: NormalRule) -> frozenset[str]:
    for pattern in rule.patterns:
        allowed = dict(pattern.allowed)
        if pattern.kind == "reading" and "deposit" in allowed:
            return allowed["deposit"]
    return frozenset({NONE})


Order = tuple[str, frozenset[str], frozenset[str]]


def orders_of(consultant: Consultant, *, across: bool | None = None) -> list[Order]:
    """Return (rule, earlier, later) of the order rules: across the case, in a ladder, or all."""
    found = []
    for rule, template in templates_of(consultant, "before"):
        fields = dict(template.constants)
        if across is None or bool(fields.get("across")) == across:
            found.append((rule.id, frozenset(fields["earlier"]), frozenset(fields["later"])))
    return found


def circles_in(orders: Iterable[Order], among: frozenset[str]) -> Iterator[tuple[str, str]]:
    """Yield (rule, method) where an order leads a method back to itself among some methods."""
    kept = [(rule, earlier & among, later & among) for rule, earlier, later in orders]
    after: dict[str, set[str]] = {}
    for _, earlier, later in kept:
        for method in earlier:
            after.setdefault(method, set()).update(later)
    for rule, earlier, later in kept:
        circle = sorted(m for m in earlier if any(_leads(after, n, m) for n in later))
        if circle:
            yield rule, circle[0]


def _leads(after: dict[str, set[str]], start: str, goal: str) -> bool:
    """Return whether the order leads from one method to another, or they are the same."""
    seen: set[str] = set()
    waiting = [start]
    while waiting:
        method = waiting.pop()
        if method == goal:
            return True
        if method not in seen:
            seen.add(method)
            waiting += after.get(method, ())
    return False


class Permits:
    """Searches ways out of all interlocks for what a ladder works on."""

    def __init__(self, consultant: Consultant, domains: Domains) -> None:
        self.consultant = consultant
        self.domains = domains
        self.grades = tuple(consultant.knowledge.fragility)
        self._rules: dict[str, list[NormalRule]] = {}

    def blocking(self, method: str, what: str, problem: str, **fixed: str) -> tuple[str, ...]:
        """Return the interlocks that together always forbid a method, empty if a way out exists.

        Parameters
        ----------
        method   the method
        what     ``deposit`` or ``condition``
        problem  the settled deposit, or the condition the specimen is in
        fixed    zone or taxon, if only one is to be looked at
        """
        if method not in self._rules:
            self._rules[method] = [
                rule
                for rule in self.consultant.normal.by_family[Family.FORBID]
                if any(method in dict(template.constants)["method"] for template in rule.templates)
            ]
        rules = self._rules[method]
        every = sorted(self.domains["specimen", "taxon"])
        for taxon in [fixed["taxon"]] if "taxon" in fixed else every:
            if self._permitted(rules, what, problem, taxon, fixed.get("zone")):
                return ()
        return tuple(rule.id for rule in rules)

    def _permitted(
        self, rules: Iterable[NormalRule], what: str, problem: str, taxon: str, zone: str | None
    ) -> bool:
        domains = dict(self.domains)
        domains["specimen", "taxon"] = frozenset({taxon})
        # An unknown group is taken to be as frail as the frailest.
        taxa = self.consultant.knowledge.taxa
        known = [taxa[taxon]] if taxon in taxa else taxa.values()
        frail = frozenset(self.grades[max(self.grades.index(t.fragility) for t in known) :])
        for kind in ("specimen", "finding"):
            domains[kind, "fragility"] &= frail
        if zone is not None:
            domains["finding", "zone"] = frozenset({zone})
        if what == DEPOSIT:
            domains["finding", "settled"] = frozenset({problem})
        clauses = [c for rule in rules if (c := self._clause(rule, what, problem)) is not None]
        return escape(clauses, domains) is not None

    def _clause(self, rule: NormalRule, what: str, problem: str) -> Clause | None:
        """Return what a rule demands beyond what is given; None if it cannot apply here."""
        clause: dict[tuple[str, str], frozenset[str]] = {}
        for pattern in rule.patterns:
            wanted = demands(pattern, self.domains)
            if pattern.kind == "finding" and what == CONDITION:
                return None
            if pattern.kind == "reading":
                if what == CONDITION or not self._is_read(wanted, problem):
                    return None
                wanted = {"zone": wanted["zone"]} if "zone" in wanted else {}
                fields = {("finding", name): allowed for name, allowed in wanted.items()}
            elif pattern.kind == "state":
                if what != CONDITION or problem not in wanted.get("condition", {problem}):
                    return None
                fields = {}
            elif pattern.kind == "closed":
                return None
            else:
                fields = {(pattern.kind, name): allowed for name, allowed in wanted.items()}
            for field, allowed in fields.items():
                clause[field] = clause.get(field, allowed) & allowed
        return tuple(sorted(clause.items()))

    def _is_read(self, wanted: dict[str, frozenset[str]], problem: str) -> bool:
        """Return whether the one settled reading of the finding meets a pattern."""
        reach = "yes" if problem in self.consultant.guards else "no"
        held = {DEPOSIT: problem, "standing": "settled", "reach": reach}
        if problem == NONE:
            return False
        return all(name not in wanted or value in wanted[name] for name, value in held.items())
