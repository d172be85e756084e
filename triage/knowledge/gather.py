"""Make the rules of recognition and offer from what stands with deposits, conditions and grades.

A sign is one rule, ``recognise-SIGN``: it concludes evidence for every deposit that weighs it, and
each condition and grade that follows from it. A part of a ladder is one rule, ``offer-ENTRY``.
Where each part of a rule is written is kept, so that a fault names the file that is to be mended.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from triage.errors import TriageError, did_you_mean
from triage.knowledge.book import Knowledge, Part
from triage.knowledge.rules import Family, Rule, Sign
from triage.knowledge.signs import DepositRungs, NamedSign, Rungs, Weight, Written

Path = tuple[str | int, ...]
FINDING, ZONE = "$f", "$z"


@dataclass(slots=True)
class _Seen:
    """One sign: what is said of it, where it is written out, and what follows from it."""

    written: Sign | Written
    kind: str
    entry: str
    path: Path
    then: list[Mapping[str, Any]] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)

    def follows(self, conclusion: Mapping[str, Any], kind: str, entry: str, path: Path) -> None:
        """Note one conclusion, and the place that demands it."""
        said = next(iter(conclusion))
        inside: Path = ("then", len(self.then))
        self.parts += [Part(inside, kind, entry, path), Part((*inside, said), kind, entry, path)]
        self.then.append(conclusion)


class _Gatherer:
    """Gathers signs, then rules, with their places and all faults."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.k = knowledge
        self.faults: list[TriageError] = []
        self.signs: dict[str, _Seen] = {}
        self.own: list[tuple[str, str, Weight]] = []
        self.parts: dict[str, tuple[Part, ...]] = {}
        self.rules: dict[Family, list[Rule]] = {Family.RECOGNISE: [], Family.OFFER: []}

    def fault(self, message: str, mend: str, kind: str, entry: str, path: Path = ()) -> None:
        self.faults.append(TriageError(message, self.k.where(kind, entry, *path), mend))

    def write(self, name: str, sign: Sign | Written, kind: str, entry: str, path: Path) -> None:
        """Take in a sign that is written out, in signs.yaml or where it is used."""
        first = self.signs.get(name)
        if first is not None:
            at = self.k.where(first.kind, first.entry, *first.path)
            mend = f"rename one; the first stands at {at.file}:{at.line}"
            self.fault(f'the sign "{name}" is written out twice', mend, kind, entry, path)
        else:
            self.signs[name] = _Seen(sign, kind, entry, path)

    def named(self) -> Iterator[tuple[NamedSign, str, str, Path]]:
        """Yield each sign that a condition or a grade follows from, with its place."""
        for condition in self.k.conditions.values():
            for index, sign in enumerate(condition.signs):
                yield sign, "condition", condition.id, ("signs", index)
        for grade in self.k.fragility.values():
            for index, sign in enumerate(grade.raised_by):
                yield sign, "fragility", grade.id, ("raised_by", index)

    def take_in(self) -> None:
        """Take in every sign where it is written out."""
        for sign in self.k.signs.values():
            self.write(sign.id, sign, "sign", sign.id, ())
        for deposit in self.k.deposits.values():
            for name, weight in deposit.signs.items():
                if weight.when:
                    self.write(name, weight, "deposit", deposit.id, ("signs", name))
        for named, kind, entry, path in self.named():
            if named.when:
                self.write(named.id, named, kind, entry, path)

    def conclude(self) -> None:
        """Note what follows from each sign; a sign from which nothing follows is a fault."""
        for deposit in self.k.deposits.values():
            for name, weight in deposit.signs.items():
                self._weigh(deposit.id, name, weight)
        for named, kind, entry, path in self.named():
            self._follow(named.id, kind, entry, path)
        weighed = {name for name, _, _ in self.own}
        for name, seen in self.signs.items():
            if not seen.then and name not in weighed:
                mend = "give it a weight in the file of a deposit, or take it out"
                self.fault("nothing weighs this sign", mend, seen.kind, seen.entry, seen.path)

    def _follow(self, name: str, kind: str, entry: str, path: Path) -> None:
        seen = self._seen(name, kind, entry, path)
        if seen is None:
            return
        conclusion = _conclusion(kind, entry, seen.written)
        if conclusion in seen.then:
            self.fault(f'the sign "{name}" stands twice', "keep one", kind, entry, path)
        else:
            seen.follows(conclusion, kind, entry, path)

    def _seen(self, name: str, kind: str, entry: str, path: Path) -> _Seen | None:
        seen = self.signs.get(name)
        if seen is None:
            mend = did_you_mean(name, self.signs)
            self.fault(f'unknown sign "{name}"', mend, kind, entry, path)
        return seen

    def _weigh(self, deposit: str, name: str, weight: Weight) -> None:
        path: Path = ("signs", name)
        seen = self._seen(name, "deposit", deposit, path)
        if seen is None:
            return
        if weight.because and not weight.when:
            self.own.append((name, deposit, weight))
        else:
            seen.follows(_evidence(deposit, weight), "deposit", deposit, path)

    def make(self) -> None:
        """Make the rules of all signs and ladders."""
        for name, seen in self.signs.items():
            if seen.then:
                whole = Part((), seen.kind, seen.entry, seen.path)
                parts = (whole, *seen.parts)
                self._rule(Family.RECOGNISE, f"recognise-{name}", seen.written, seen.then, parts)
        for name, owner, weight in self.own:
            self._own_reason(name, owner, weight)
        for deposit in self.k.deposits.values():
            for index, rungs in enumerate(deposit.ladder):
                said = {"finding": FINDING, "deposit": deposit.id}
                self._offer("deposit", deposit.id, index, rungs, said)
        for condition in self.k.conditions.values():
            for index, held in enumerate(condition.ladder):
                said = {"condition": condition.id}
                self._offer("condition", condition.id, index, held, said)

    def _own_reason(self, name: str, deposit: str, weight: Weight) -> None:
        """Make the rule of a weight that has a reason of its own: the sign's when and cases."""
        seen, path = self.signs[name], ("signs", name)
        said = weight.model_copy(update={"when": seen.written.when, "cases": seen.written.cases})
        parts = (
            Part((), "deposit", deposit, path),
            Part(("then", 0, "evidence"), "deposit", deposit, path),
            *(Part((key,), seen.kind, seen.entry, (*seen.path, key)) for key in ("when", "cases")),
        )
        then = [_evidence(deposit, weight)]
        self._rule(Family.RECOGNISE, f"recognise-{name}-{deposit}", said, then, parts)

    def _offer(
        self, kind: str, entry: str, index: int, rungs: Rungs, said: Mapping[str, Any]
    ) -> None:
        """Make the rule of one part of a ladder."""
        path: Path = ("ladder", index)
        if isinstance(rungs, DepositRungs):
            first = _reading(entry, rungs)
        else:
            first = [({"state": {"condition": entry}}, ())]
        keys: list[Path] = [key for _, key in first]
        keys += [("when", place) for place in range(len(rungs.when))]
        parts = (
            Part((), kind, entry, path),
            Part(("then", "offer"), kind, entry, path),
            *(Part(("when", n), kind, entry, (*path, *key)) for n, key in enumerate(keys)),
            *(
                Part(("when", n, "zone"), kind, entry, (*path, *key))
                for n, key in enumerate(keys[: len(first)])
                if key
            ),
        )
        when = (*(pattern for pattern, _ in first), *rungs.when)
        then = {"offer": {**said, "method": list(rungs.method)}}
        made = rungs.model_copy(update={"when": when})
        self._rule(Family.OFFER, rungs.id or f"offer-{entry}", made, then, parts)

    def _rule(
        self,
        family: Family,
        name: str,
        said: Sign | Written | Rungs,
        then: Mapping[str, Any] | list[Mapping[str, Any]],
        parts: tuple[Part, ...],
    ) -> None:
        if name in self.parts or ("rule", name) in self.k.places:
            at = self.k.places.get(("rule", name)) or self.k.at(self.parts[name][0])
            mend = f"rename one; the first stands at {at.file}:{at.line}"
            message, whole = f'the rule "{name}" is made twice', parts[0]
            self.fault(message, mend, whole.kind, whole.entry, whole.path)
            return
        self.parts[name] = parts
        # All of it was validated with the entry that it comes from.
        fields = {key: getattr(said, key) for key in Rule.model_fields if key not in ("id", "then")}
        conclusions = then if isinstance(then, Mapping) else tuple(then)
        self.rules[family].append(Rule.model_construct(id=name, then=conclusions, **fields))


def _evidence(deposit: str, weight: Weight) -> Mapping[str, Any]:
    return {"evidence": {"finding": FINDING, "deposit": deposit, "weight": weight.weight}}


def _conclusion(kind: str, entry: str, sign: Sign | Written) -> Mapping[str, Any]:
    if kind == "condition":
        return {"state": {"condition": entry}}
    on_finding = any(
        isinstance(fields := pattern.get("finding"), Mapping) and fields.get("id") == FINDING
        for pattern in sign.when
    )
    return {"grade": {**({"finding": FINDING} if on_finding else {}), "fragility": entry}}


def _reading(deposit: str, rungs: DepositRungs) -> list[tuple[Mapping[str, Any], Path]]:
    """Return the patterns that every part of a deposit's ladder begins with, each with its key."""
    zoned = bool(rungs.where) or ZONE in _words(rungs.when)
    reading = {
        "finding": FINDING,
        **({"zone": ZONE} if zoned else {}),
        "deposit": deposit,
        "standing": {"at_least": rungs.standing},
    }
    found: list[tuple[Mapping[str, Any], Path]] = [({"reading": reading}, ())]
    if rungs.where:
        found.append(({"zone": {"id": ZONE, **rungs.where}}, ("where",)))
    return found


def _words(value: Any) -> Iterator[Any]:
    if isinstance(value, Mapping):
        for inner in value.values():
            yield from _words(inner)
    elif isinstance(value, tuple | list):
        for inner in value:
            yield from _words(inner)
    else:
        yield value


@dataclass(frozen=True)
class Gathered:
    """The rules that entries come to, where their parts stand, and what is wrong."""

    rules: Mapping[Family, tuple[Rule, ...]]
    parts: Mapping[str, tuple[Part, ...]]
    faults: list[TriageError]


def gather_rules(knowledge: Knowledge) -> Gathered:
    """Return the rules of recognition and offer that the entries of a knowledge come to."""
    work = _Gatherer(knowledge)
    work.take_in()
    work.conclude()
    work.make()
    rules = {family: tuple(made) for family, made in work.rules.items()}
    return Gathered(rules, work.parts, work.faults)
