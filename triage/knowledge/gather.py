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
    at: Part
    then: list[Mapping[str, Any]] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)

    def follows(self, conclusion: Mapping[str, Any], at: Part) -> None:
        """Note one conclusion, and the place that demands it."""
        inside: Path = ("then", len(self.then))
        self.parts += [at.of(*inside), at.of(*inside, next(iter(conclusion)))]
        self.then.append(conclusion)


class Gathered:
    """The rules of recognition and offer that a knowledge comes to, their places, and all faults.

    Parameters
    ----------
    knowledge entries that are valid each by itself; what is gathered stands in ``rules``, where its
              parts stand in ``parts``, what is wrong in ``faults``
    """

    def __init__(self, knowledge: Knowledge) -> None:
        self.k = knowledge
        self.faults: list[TriageError] = []
        self.signs: dict[str, _Seen] = {}
        self.own: list[tuple[str, Weight, Part]] = []
        self.parts: dict[str, tuple[Part, ...]] = {}
        self.rules: dict[Family, tuple[Rule, ...]] = {Family.RECOGNISE: (), Family.OFFER: ()}
        self._take_in()
        self._conclude()
        self._make()

    def _fault(self, message: str, mend: str, at: Part) -> None:
        self.faults.append(TriageError(message, self.k.at(at), mend))

    def _write(self, name: str, sign: Sign | Written, at: Part) -> None:
        """Take in a sign that is written out, in signs.yaml or where it is used."""
        first = self.signs.setdefault(name, _Seen(sign, at)).at
        if first is not at:
            where = self.k.at(first)
            mend = f"rename one; the first stands at {where.file}:{where.line}"
            self._fault(f'the sign "{name}" is written out twice', mend, at)

    def _uses(self) -> Iterator[tuple[str, Weight | NamedSign, Part]]:
        """Yield each sign where a deposit weighs it, or a condition or grade follows from it."""
        for deposit in self.k.deposits.values():
            for name, weight in deposit.signs.items():
                yield name, weight, Part("deposit", deposit.id, ("signs", name))
        for condition in self.k.conditions.values():
            for index, sign in enumerate(condition.signs):
                yield sign.id, sign, Part("condition", condition.id, ("signs", index))
        for grade in self.k.fragility.values():
            for index, sign in enumerate(grade.raised_by):
                yield sign.id, sign, Part("fragility", grade.id, ("raised_by", index))

    def _take_in(self) -> None:
        for sign in self.k.signs.values():
            self._write(sign.id, sign, Part("sign", sign.id))
        for name, said, at in self._uses():
            if said.when:
                self._write(name, said, at)

    def _conclude(self) -> None:
        """Note what follows from each sign; a sign from which nothing follows is a fault."""
        for name, said, at in self._uses():
            seen = self.signs.get(name)
            if seen is None:
                self._fault(f'unknown sign "{name}"', did_you_mean(name, self.signs), at)
            elif isinstance(said, Weight) and said.because and not said.when:
                self.own.append((name, said, at))
            elif (conclusion := _conclusion(at, said, seen.written)) in seen.then:
                self._fault(f'the sign "{name}" stands twice', "keep one", at)
            else:
                seen.follows(conclusion, at)
        weighed = {name for name, _, _ in self.own}
        for name, seen in self.signs.items():
            if not seen.then and name not in weighed:
                mend = "give it a weight in the file of a deposit, or take it out"
                self._fault("nothing weighs this sign", mend, seen.at)

    def _make(self) -> None:
        for name, seen in self.signs.items():
            if seen.then:
                parts = (seen.at, *seen.parts)
                self._rule(Family.RECOGNISE, f"recognise-{name}", seen.written, seen.then, parts)
        for name, weight, at in self.own:
            self._own_reason(name, weight, at)
        for deposit in self.k.deposits.values():
            said = {"finding": FINDING, "deposit": deposit.id}
            for index, rungs in enumerate(deposit.ladder):
                first = _reading(deposit.id, rungs)
                self._offer(Part("deposit", deposit.id, ("ladder", index)), rungs, said, first)
        for condition in self.k.conditions.values():
            told = {"condition": condition.id}
            for index, held in enumerate(condition.ladder):
                at = Part("condition", condition.id, ("ladder", index))
                self._offer(at, held, told, [({"state": told}, ())])

    def _own_reason(self, name: str, weight: Weight, at: Part) -> None:
        """Make the rule of a weight that has a reason of its own: the sign's when and cases."""
        seen = self.signs[name]
        said = weight.model_copy(update={"when": seen.written.when, "cases": seen.written.cases})
        shared = (seen.at.deeper(key).of(key) for key in ("when", "cases"))
        parts = (at, at.of("then", 0, "evidence"), *shared)
        then = [_conclusion(at, weight, said)]
        self._rule(Family.RECOGNISE, f"recognise-{name}-{at.entry}", said, then, parts)

    def _offer(
        self,
        at: Part,
        rungs: Rungs,
        said: Mapping[str, Any],
        first: list[tuple[Mapping[str, Any], Path]],
    ) -> None:
        """Make the rule of one part of a ladder, which begins with these patterns."""
        keys: list[Path] = [key for _, key in first]
        keys += [("when", place) for place in range(len(rungs.when))]
        zoned = [n for n, (_, key) in enumerate(first) if key]
        parts = (
            at,
            at.of("then", "offer"),
            *(at.deeper(*key).of("when", n) for n, key in enumerate(keys)),
            *(at.deeper(*keys[n]).of("when", n, "zone") for n in zoned),
        )
        when = (*(pattern for pattern, _ in first), *rungs.when)
        then = {"offer": {**said, "method": list(rungs.method)}}
        made = rungs.model_copy(update={"when": when})
        self._rule(Family.OFFER, rungs.id or f"offer-{at.entry}", made, then, parts)

    def _rule(
        self,
        family: Family,
        name: str,
        said: Sign | Written | Rungs,
        then: Mapping[str, Any] | list[Mapping[str, Any]],
        parts: tuple[Part, ...],
    ) -> None:
        if name in self.parts or ("rule", name) in self.k.places:
            first = self.k.places.get(("rule", name)) or self.k.at(self.parts[name][0])
            mend = f"rename one; the first stands at {first.file}:{first.line}"
            self._fault(f'the rule "{name}" is made twice', mend, parts[0])
            return
        self.parts[name] = parts
        # All of it was validated with the entry that it comes from.
        fields = {key: getattr(said, key) for key in Rule.model_fields if key not in ("id", "then")}
        conclusions = then if isinstance(then, Mapping) else tuple(then)
        made = Rule.model_construct(id=name, then=conclusions, **fields)
        self.rules[family] = (*self.rules[family], made)


def _conclusion(at: Part, said: Weight | NamedSign, sign: Sign | Written) -> Mapping[str, Any]:
    if isinstance(said, Weight):
        return {"evidence": {"finding": FINDING, "deposit": at.entry, "weight": said.weight}}
    if at.kind == "condition":
        return {"state": {"condition": at.entry}}
    on_finding = any(
        isinstance(fields := pattern.get("finding"), Mapping) and fields.get("id") == FINDING
        for pattern in sign.when
    )
    return {"grade": {**({"finding": FINDING} if on_finding else {}), "fragility": at.entry}}


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
