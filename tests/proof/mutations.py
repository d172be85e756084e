"""Break the knowledge in many ways, and count by which check each fault is caught."""

import itertools
import json
import random
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass, field, replace
from functools import cached_property
from pathlib import Path

from pydantic import BaseModel, ValidationError

from tests.proof.accounts import Casebook
from tests.proof.axes import BEST, HYDRATION, Axes, axes_of, sturdiest_taxon
from tests.proof.breaking import OPERATORS, Mutant, mutants
from tests.proof.cores import Progress, work_out
from tests.proof.equivalent import changed_entries, changed_rules, told_apart
from tests.proof.facts import TradeFacts, standing_in
from tests.proof.needed import needs
from tests.proof.sweep import Sweeper
from tests.second_entry.tables import differences
from triage.check.reachable import offers
from triage.check.rulebase import faults_of
from triage.engine.complete import incomplete
from triage.engine.consult import Consultant
from triage.engine.rulecases import failed_cases
from triage.engine.vocabulary import NONE, UNKNOWN, agent_ids
from triage.errors import TriageError
from triage.knowledge.book import ATTRIBUTES, Knowledge
from triage.knowledge.checks import cross_check
from triage.knowledge.load import load_knowledge
from triage.plan.planner import Planner

SEED = 7
# What the project promises: every fault of an interlock or a limit, and this share of all.
PROMISED = 0.98


def _invalid(knowledge: Knowledge, sound: Knowledge) -> str:
    """Return what the models refuse among the entries that were changed, empty if nothing."""
    entries: list[BaseModel] = [
        entry
        for kind in ATTRIBUTES
        for entry_id, entry in knowledge.table(kind).items()
        if entry is not sound.table(kind).get(entry_id)
    ]
    held = {id(rule) for rules in sound.rules.values() for rule in rules}
    entries += [r for rules in knowledge.rules.values() for r in rules if id(r) not in held]
    for entry in entries:
        try:
            type(entry).model_validate(entry.model_dump(by_alias=True))
        except ValidationError as error:
            return str(error.errors()[0]["msg"])
    return ""


SECOND = "second entry"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of one broken knowledge.

    ``check`` is the first check that finds it and ``by`` what of it, ``same`` why nothing could: no
    case is different.
    """

    check: str = ""
    same: str = ""
    by: str = ""


class Judge:
    """Holds broken knowledge against the sound one; compiled once for all mutants."""

    def __init__(self, sound: Knowledge) -> None:
        self.sound = sound
        self.consultant = Consultant(sound)

    @cached_property
    def axes(self) -> Axes:
        """Return the axes of the small sweep."""
        return small_axes(self.consultant)

    @cached_property
    def casebook(self) -> Casebook:
        """Return the casebook with what the sound rules say of it."""
        return Casebook(Planner(self.consultant))

    @cached_property
    def facts(self) -> TradeFacts:
        """Return the facts of the trade with what they ask of the sound rules."""
        return TradeFacts(self.consultant)

    def verdict(self, knowledge: Knowledge) -> Verdict:
        """Return what finds the fault in a broken knowledge, the quickest check first."""
        return next((v for v in self._verdicts(knowledge) if v.by or v.same), Verdict())

    def _verdicts(self, knowledge: Knowledge) -> Iterator[Verdict]:
        """Yield what each check finds, ``by`` nothing if it finds nothing."""
        yield Verdict("load", by=_invalid(knowledge, self.sound) or _first(cross_check(knowledge)))
        try:
            consultant = Consultant(knowledge)
        except TriageError as fault:
            yield Verdict("load", by=fault.message)
            return
        yield Verdict("rule cases", by=_first(failed_cases(consultant)) or self._unsaid(consultant))
        yield Verdict("check", by=_first([*incomplete(consultant), *faults_of(consultant)]))
        yield Verdict(SECOND, by=next(differences(knowledge, consultant), ""))
        yield Verdict(same=self._same(consultant))
        with standing_in(consultant):
            by_fact = self.facts.broken_by(consultant)
            by_case = "" if by_fact else self.casebook.broken_by(Planner(consultant))
        yield Verdict("facts of the trade", by=by_fact)
        yield Verdict("casebook", by=by_case)
        part = part_of(self.axes, self.consultant, consultant)
        yield Verdict("promises", by=_broken_promise(consultant, part))

    def _unsaid(self, consultant: Consultant) -> str:
        """Return the rule that is gone although in a case beside it nothing else says the same."""
        for family, rules in self.sound.rules.items():
            left = consultant.normal.by_family[family]
            for rule in rules if len(left) < len(rules) else ():
                if rule not in consultant.knowledge.rules[family]:
                    normal = self.consultant.rule(rule.id)
                    if needs(self.consultant, rule, normal, left):
                        return rule.id
        return ""

    def _same(self, consultant: Consultant) -> str:
        """Return why a broken knowledge is as good as the sound one, empty if it may not be."""
        broken = consultant.knowledge
        if replace(broken, rules=self.sound.rules) != self.sound:
            return ""
        if not changed_rules(self.consultant, consultant):
            return "the rules come down to the same normal form"
        if told_apart(self.consultant, consultant) is None:
            return "no case at all tells it apart"
        return ""


def _first(faults: Iterable[TriageError]) -> str:
    return next((fault.line() for fault in faults), "")


def small_axes(consultant: Consultant) -> Axes:
    """Return axes of a sweep that takes seconds: each zone, few groups, grades and benches."""
    axes = axes_of(consultant)
    taxa = (sturdiest_taxon(consultant), *axes.taxa[-3:])
    floors = [next(iter(axes.floors)), list(axes.floors)[-1]]
    return replace(
        axes,
        taxa=tuple(dict.fromkeys(taxa)),
        floors={name: axes.floors[name] for name in floors},
        hydrations=(axes.base[HYDRATION], UNKNOWN),
        benches={name: axes.benches[name] for name in (BEST, UNKNOWN)},
    )


# So many deposits are swept where what was changed belongs to none of them.
FEW = 8


def part_of(axes: Axes, sound: Consultant, broken: Consultant) -> Axes:
    """Return the part of the axes in which the plan may be another one, as far as that is known."""
    knowledge, entries = broken.knowledge, changed_entries(sound.knowledge, broken.knowledge)
    methods, agents, deposits, zones, taxa = (
        set(entries.pop(kind, ())) for kind in ("method", "agent", "deposit", "zone", "taxon")
    )
    for rule in filter(None, itertools.chain(*changed_rules(sound, broken))):
        for template in rule.templates:
            methods |= {*dict(template.constants).get("method", ())}
        for pattern in rule.patterns:
            allowed = dict(pattern.allowed)
            deposits |= {*allowed.get("deposit", ()), *allowed.get("settled", ())}
    methods |= {m for m in knowledge.methods if not agents.isdisjoint(agent_ids(knowledge, m))}
    for consultant in (sound, broken):
        for (_, whose), offered in offers(consultant).items():
            deposits |= set() if methods.isdisjoint(offered) else {whose}
    named = tuple(d for d in axes.deposits if d in deposits or d == NONE)
    if entries or zones or taxa:
        named = axes.deposits
    elif len(named) == 1:
        named = (*axes.deposits[:: len(axes.deposits) // FEW], NONE)
    return replace(
        axes,
        deposits=named,
        zones=(*zones, UNKNOWN) if zones else axes.zones,
        taxa=(*axes.taxa[:1], *taxa, UNKNOWN) if taxa else axes.taxa,
    )


def _broken_promise(consultant: Consultant, axes: Axes) -> str:
    """Return the promise that a small sweep, without walks, finds broken, empty if none."""
    sweeper = Sweeper(consultant, axes, walking=False)
    found = (min(broken) for d in axes.deposits if (broken := +sweeper.sweep(d).broken))
    return next(found, "")


@dataclass
class Score:
    """How many mutants were caught, by which check, and which were not."""

    made: Counter[str] = field(default_factory=Counter)
    caught: Counter[str] = field(default_factory=Counter)
    checks: Counter[str] = field(default_factory=Counter)
    vital: Counter[str] = field(default_factory=Counter)
    survivors: list[tuple[str, str, bool]] = field(default_factory=list)
    same: list[tuple[str, str, str]] = field(default_factory=list)

    def note(self, kind: str, name: str, verdict: Verdict, *, is_vital: bool) -> None:
        """Count one mutant; one that changes nothing is listed but not counted."""
        if verdict.same:
            self.same.append((kind, name, verdict.same))
            return
        self.made[kind] += 1
        self.vital["made"] += is_vital
        if not verdict.check:
            self.survivors.append((kind, name, is_vital))
            return
        self.caught[kind] += 1
        self.checks[verdict.check] += 1
        self.vital["caught"] += is_vital

    def is_good(self) -> bool:
        """Return whether the promise holds: all vital faults, nearly all others."""
        made, caught = sum(self.made.values()), sum(self.caught.values())
        return self.vital["caught"] == self.vital["made"] and caught >= PROMISED * made

    def lines(self) -> list[str]:
        """Return the score in lines for a person."""
        found = [f"{self.caught[k]:4} of {self.made[k]:4} caught  {k}" for k in self.made]
        found += [f"caught by {check}: {n}" for check, n in sorted(self.checks.items())]
        found += [f"not counted: {kind}: {name}: {why}" for kind, name, why in sorted(self.same)]
        for kind, name, is_vital in sorted(self.survivors):
            mark = "survived (VITAL)" if is_vital else "survived"
            found.append(f"{mark}: {kind}: {name}: a case may tell it apart, no check does")
        made, caught = sum(self.made.values()), sum(self.caught.values())
        found.append(
            f"{caught} of {made} mutants of {len(self.made)} kinds caught; interlocks and limits "
            f"{self.vital['caught']} of {self.vital['made']}; {len(self.same)} more change nothing"
        )
        return found


def chosen(knowledge: Knowledge, most: int) -> list[Mutant]:
    """Return at most so many mutants of each kind, drawn with a fixed seed; 0 for all."""
    by_kind: dict[str, list[Mutant]] = {kind: [] for kind in OPERATORS}
    for mutant in mutants(knowledge):
        by_kind[mutant.kind].append(mutant)
    rng = random.Random(SEED)
    picked = []
    for made in by_kind.values():
        sample = rng.sample(made, most) if 0 < most < len(made) else made
        picked += sorted(sample, key=lambda mutant: mutant.name)
    return picked


def _begin(rules: str, most: int) -> Callable[[int], Verdict]:
    sound = load_knowledge(rules)
    judge, picked = Judge(sound), chosen(sound, most)
    return lambda place: judge.verdict(picked[place].knowledge)


def run_all(
    rules: Path,
    most: int,
    jobs: int | None = None,
    progress: Progress | None = None,
    log: Path | None = None,
) -> Score:
    """Return the score over a rules folder, which must be sound to begin with.

    ``most`` are the mutants of each kind, 0 for all; ``log`` is a file of verdicts, a line each: what
    stands there is not judged again.
    """
    sound = load_knowledge(rules)
    check = Judge(sound).verdict(sound).check
    if check:
        raise TriageError(f"the knowledge itself is caught by: {check}", mend="mend it first")
    picked = chosen(sound, most)
    known: dict[tuple[str, str], Verdict] = {}
    if log is not None and log.is_file():
        for line in log.read_text(encoding="utf-8").splitlines():
            kind, name, told = json.loads(line)
            known[kind, name] = Verdict(**told)
    places = [place for place, m in enumerate(picked) if (m.kind, m.name) not in known]
    left = iter(places)

    def take(verdict: Verdict) -> None:
        mutant = picked[next(left)]
        known[mutant.kind, mutant.name] = verdict
        if log is not None:
            with log.open("a", encoding="utf-8") as file:
                file.write(json.dumps([mutant.kind, mutant.name, asdict(verdict)]) + "\n")

    work_out(places, _begin, (str(rules), most), take, jobs, progress)
    score = Score()
    for mutant in picked:
        verdict = known[mutant.kind, mutant.name]
        score.note(mutant.kind, mutant.name, verdict, is_vital=mutant.is_vital)
    return score
