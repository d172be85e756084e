"""Whether a method that is offered can ever be permitted: an exact search for a way out.

Each interlock on the method is a set of demands. The method can be permitted for a deposit if
there are answers, a zone, a group and a bench that leave every interlock at least one demand short.
"""

from __future__ import annotations

from collections.abc import Iterable

from triage.check.sets import Clause, Domains, demands, escape
from triage.engine.consult import Consultant
from triage.engine.normal import NormalRule
from triage.engine.vocabulary import NONE
from triage.knowledge.rules import Family

DEPOSIT, CONDITION = "deposit", "condition"


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
        known = self.consultant.knowledge.taxa.get(taxon)
        least = self.grades.index(known.fragility) if known else len(self.grades) - 1
        frail = frozenset(self.grades[least:]) if known else frozenset(self._worst_grades())
        for kind in ("specimen", "finding"):
            domains[kind, "fragility"] &= frail
        if zone is not None:
            domains["finding", "zone"] = frozenset({zone})
        if what == DEPOSIT:
            domains["finding", "settled"] = frozenset({problem})
        clauses = [c for rule in rules if (c := self._clause(rule, what, problem)) is not None]
        return escape(clauses, domains) is not None

    def _worst_grades(self) -> tuple[str, ...]:
        taxa = self.consultant.knowledge.taxa.values()
        return self.grades[max(self.grades.index(t.fragility) for t in taxa) :]

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
