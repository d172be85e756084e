"""The casebook asked of a broken rulebase: only those cases that what was changed can touch."""

from collections.abc import Iterator
from typing import NamedTuple

from tests.casebook.entry import Entered, entered
from tests.casebook.judge import Judging
from tests.casebook.model import Account, casebook, not_yet
from tests.proof.equivalent import Entries, changed_entries, changed_rules, says_otherwise
from triage.engine.consult import Conclusions, Consultant
from triage.engine.vocabulary import agent_ids
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Family
from triage.plan.planner import Planner

# Entries of which a case has only some; a change of any other kind may touch every case.
OWN = frozenset({"method", "agent", "zone", "taxon", "deposit"})


class Told(NamedTuple):
    """One case of the casebook that holds, with what the sound rules conclude of it."""

    account: Account
    told: Entered
    found: Conclusions

    def entries(self, knowledge: Knowledge) -> Entries:
        """Return kind -> the entries that have to do with this case."""
        case, offers = self.told.case, self.found.of(Family.OFFER, "offer")
        methods = {m for offer in offers for m in offer.get("method")}
        methods |= {attempt.method for attempt in case.attempts}
        agents = {agent for method in methods for agent in agent_ids(knowledge, method)}
        return {
            "method": frozenset(methods),
            "agent": frozenset(agents),
            "zone": frozenset(finding.zone for finding in case.findings),
            "taxon": frozenset({case.taxon}),
            "deposit": frozenset(reading.deposit for reading in self.found.readings),
        }


class Casebook:
    """Every case of the casebook that holds, planned by nobody yet."""

    def __init__(self, planner: Planner) -> None:
        self.consultant, later = planner.consultant, not_yet()
        told = [(a, entered(a, planner)) for a in casebook()[0] if a.id not in later]
        self.told = [
            Told(account, case, self.consultant.consult(case.case, case.bench, plain=True))
            for account, case in told
        ]

    def touched(self, broken: Consultant) -> Iterator[Told]:
        """Yield the cases that a broken rulebase may plan otherwise."""
        entries = changed_entries(self.consultant.knowledge, broken.knowledge)
        rules = changed_rules(self.consultant, broken)
        for each in self.told:
            own = each.entries(broken.knowledge)
            is_named = any(kind not in OWN or names & own[kind] for kind, names in entries.items())
            if is_named or says_otherwise(rules, each.found.facts):
                yield each

    def broken_by(self, planner: Planner) -> str:
        """Return the first case that a broken rulebase does not hold, empty if it holds all.

        The judge asks the rules that the tests share: the broken ones must stand in for them.
        """
        for each in self.touched(planner.consultant):
            told = entered(each.account, planner) if each.account.records else each.told
            if Judging(each.account, told).verdict().faults:
                return each.account.id
        return ""
