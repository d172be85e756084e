"""Whether each rule is needed in some case beside it: there no other rule says what it says.

Without such a case nobody would notice that the rule is gone. A rule that says nothing in any case
that others do not say is shown as such by an exact search, not by a list.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from tests.proof.breaking import with_rule
from tests.proof.coverage import share
from tests.proof.equivalent import told_apart
from triage.engine.consult import Consultant
from triage.engine.facts import Conclusion
from triage.engine.normal import NormalRule
from triage.engine.plain import evaluate
from triage.engine.rulecases import facts_of_case
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Rule

METHODS = ("method", "earlier", "later")


def said_by(knowledge: Knowledge, conclusions: Iterable[Conclusion]) -> dict[str, set[str]]:
    """Return what is concluded: what is said -> methods it is said of.

    Which rule says it does not matter, but where it does: evidence adds up rule by rule, and of a
    caution its sentence is what the user reads.
    """
    said: dict[str, set[str]] = {}
    for conclusion in conclusions:
        words = [conclusion.kind]
        words += [f"{n}={v}" for n, v in conclusion.fields if n not in METHODS and n != "finding"]
        if conclusion.kind == "evidence":
            words.append(f"by {conclusion.rule}")
        if conclusion.kind in ("caution", "advise"):
            words.append(f'"{knowledge.rule(conclusion.rule).because}"')
        if conclusion.kind == "before":
            for earlier in conclusion.get("earlier"):
                key = " ".join([*words, earlier])
                said.setdefault(key, set()).update(conclusion.get("later"))
            continue
        said.setdefault(" ".join(words), set())
        if conclusion.kind == "forbid" and conclusion.get("finding") is None:
            # Forbidden of the whole insect is more than of the one finding that is looked at.
            said.setdefault("forbid everywhere", set()).update(conclusion.get("method"))
        for name in METHODS:
            if conclusion.get(name):
                said.setdefault(" ".join([*words, name]), set()).update(conclusion.get(name))
    return said


@dataclass
class Needed:
    """How many rules some case needs, those that add only their reason, those left without."""

    rules: int = 0
    needed: int = 0
    reasons: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)

    def lines(self) -> list[str]:
        """Return the counts in lines for a person."""
        found = [f"no case needs it: {rule}" for rule in self.missing]
        found += [f"adds only its reason to others, in any case: {rule}" for rule in self.reasons]
        needed, more = share(self.needed, self.rules - len(self.reasons)), len(self.reasons)
        said = f"rules without which something in a case goes unsaid: {needed}"
        return [*found, f"{said}; {more} more add only their reason"]


def needed_of(consultant: Consultant) -> Needed:
    """Return which rules some case beside them needs."""
    found = Needed()
    for family, rules in consultant.knowledge.rules.items():
        every = consultant.normal.by_family[family]
        normal = {rule.id: rule for rule in every}
        for rule in rules:
            found.rules += 1
            others = tuple(r for r in every if r.id != rule.id)
            if needs(consultant, rule, normal[rule.id], others):
                found.needed += 1
                continue
            without = Consultant(with_rule(consultant.knowledge, family, rule, None))
            idle = told_apart(consultant, without) is None
            (found.reasons if idle else found.missing).append(rule.id)
    return found


def needs(
    consultant: Consultant, rule: Rule, normal: NormalRule, others: Sequence[NormalRule]
) -> bool:
    """Return whether in a case beside a rule something goes unsaid if only others speak."""
    knowledge = consultant.knowledge
    for case in rule.cases:
        facts = facts_of_case(consultant, normal, case)
        mine = said_by(knowledge, evaluate((normal,), facts))
        theirs = said_by(knowledge, evaluate(others, facts)) if mine else {}
        if any(what not in theirs or not methods <= theirs[what] for what, methods in mine.items()):
            return True
    return False
