"""Why not: every reason against a method, hardest first, or what must happen before it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from triage.engine.vocabulary import agent_ids
from triage.errors import TriageError, did_you_mean
from triage.explain.node import Node
from triage.explain.trail import AIR_RULE, Trail
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Family
from triage.plan.barring import bars_without_air
from triage.plan.ladder import Barred, Ladder, forbidden
from triage.plan.outcomes import step_id
from triage.plan.skeleton import now_rungs

State = Literal["next", "later", "excluded", "used-up", "not-offered", "waits"]
# Hardest first: what nothing lifts, then what the work so far forbids, then air and bench.
HARDNESS = ("agent-never", "attempt-harm", "test-spot-failed", AIR_RULE)


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason against a method; an interlock is one that no person can release."""

    rule: str
    text: str
    interlock: bool
    ask: str
    why: Node


@dataclass(frozen=True, slots=True)
class WhyNot:
    """Where a method stands for one finding (None: the whole specimen).

    ``before`` are the milder methods that are done first; ``first`` says what would have to
    happen; it is empty where nothing would help.
    """

    method: str
    name: str
    finding: str | None
    state: State
    reasons: tuple[Reason, ...]
    before: tuple[str, ...]
    first: str


def methods_named(knowledge: Knowledge, word: str) -> tuple[str, ...]:
    """Return the methods that a word names: one by its id, or all that use an agent.

    Raises
    ------
    TriageError: neither a method nor an agent; the mend names the nearest.
    """
    if word in knowledge.methods:
        return (word,)
    if word in knowledge.agents:
        found = tuple(m for m in knowledge.methods if word in agent_ids(knowledge, m))
        if found:
            return found
        raise TriageError(f'no method uses "{word}"', mend="name another agent or a method")
    known = (*knowledge.methods, *knowledge.agents)
    raise TriageError(f'unknown method or agent "{word}"', mend=did_you_mean(word, known))


class Against:
    """Collects what stands against methods in one explained skeleton."""

    def __init__(self, trail: Trail) -> None:
        self.trail = trail
        self.knowledge = trail.knowledge

    def why_not(self, method: str, ladder: Ladder) -> WhyNot:
        """Return where a method stands for the target of a ladder."""
        skeleton = self.trail.skeleton
        reasons = self._reasons(method, ladder)
        before: tuple[str, ...] = ()
        state: State = "excluded"
        first = ""
        if not reasons and method in ladder.offered:
            done = ladder.progress.done(method)
            if done >= self.knowledge.methods[method].passes:
                state, first = "used-up", f"All {done} passes have been made."
            else:
                state, before, first = self._stands(method, ladder)
        elif not reasons:
            state, first = "not-offered", self._offered_for(method)
        elif method not in ladder.offered:
            first = self._offered_for(method)
        else:
            first = " ".join(dict.fromkeys(self._mends(reasons)))
        if skeleton.held:
            first = f"Attempt {skeleton.held[0]} has to be released first. {first}".strip()
        return WhyNot(
            method,
            self.knowledge.methods[method].name,
            ladder.target.finding,
            state,
            reasons,
            before,
            first,
        )

    def _reasons(self, method: str, ladder: Ladder) -> tuple[Reason, ...]:
        """Return every reason, also for methods that nothing offers here."""
        bars = {bar for bar in ladder.barred if bar.method == method}
        conclusions = self.trail.conclusions.of(Family.FORBID)
        bars |= {
            b for b in forbidden(conclusions, ladder.target, self.knowledge) if b.method == method
        }
        bars |= set(bars_without_air(self.knowledge, self.trail.bench, (method,)))
        refused = self.trail.judge.choose(self.knowledge.methods[method]).refused
        if refused:
            bars.add(Barred(method, AIR_RULE, refused, interlock=True))
        reasons = [self._reason(ladder, bar) for bar in sorted(bars, key=_hardness)]
        reasons += [
            Reason(node.rule, node.text, True, "", node)
            for node in (
                self.trail.rule(c) for c in self.trail.conclusions.of(Family.GATE, "refuse")
            )
        ]
        return tuple(reasons)

    def _reason(self, ladder: Ladder, bar: Barred) -> Reason:
        ask = ""
        if bar.rule in self.trail.normal:
            ask = self.knowledge.rule(bar.rule).ask
        interlock = bar.interlock or bar.rule == "agent-never"
        return Reason(bar.rule, bar.because, interlock, ask, self.trail.exclusion(ladder, bar))

    def _mends(self, reasons: tuple[Reason, ...]) -> Iterator[str]:
        for reason in reasons:
            if reason.ask:
                yield f"Answer {reason.ask} otherwise."
            elif not reason.interlock:
                yield "Change the bench or the choice that rules it out."

    def _offered_for(self, method: str) -> str:
        """Return for what a method is offered, in words."""
        deposits, conditions = set(), set()
        for rule in self.trail.normal.values():
            for template in rule.templates:
                constants = dict(template.constants)
                if template.kind == "offer" and method in constants["method"]:
                    if constants.get("deposit"):
                        deposits.add(self.knowledge.deposits[constants["deposit"]].name)
                    if constants.get("condition"):
                        conditions.add(self.knowledge.conditions[constants["condition"]].name)
        names = ", ".join(sorted(deposits | conditions))
        if not names:
            return "No rule offers it for anything."
        return f"Nothing here calls for it. It is offered for: {names}."

    def _stands(self, method: str, ladder: Ladder) -> tuple[State, tuple[str, ...], str]:
        """Return the state of a permitted method, what stands before it, and what must happen."""
        skeleton = self.trail.skeleton
        rungs = now_rungs(
            self.knowledge,
            skeleton.stage,
            ladder.target,
            ladder.rungs,
            ladder.progress,
            skeleton.closed,
        )
        if rungs is None:
            return "waits", (), "Its finding is closed, or its stage is not the present one."
        if method not in rungs:
            gates = " ".join(node.text for node in self.trail.gates(skeleton.stage))
            return (
                "waits",
                (),
                f"The stage {skeleton.stage} has to be passed first. {gates}".strip(),
            )
        before = rungs[: rungs.index(method)]
        mine = step_id(ladder.target, method)
        order = [item.step for item in skeleton.items]
        if order and order[0] == mine:
            return "next", (), "It is the next step."
        if before:
            names = ", ".join(self.knowledge.methods[m].name for m in before)
            text = f"These milder steps are tried first and must leave something behind: {names}."
            return "later", before, text
        ahead = order[: order.index(mine)] if mine in order else order
        others = ", ".join(ahead[:3])
        return "later", (), f"These steps stand before it in the order of work: {others}."


def _hardness(bar: Barred) -> tuple[int, int, str]:
    special = HARDNESS.index(bar.rule) if bar.rule in HARDNESS else len(HARDNESS)
    kind = 0 if bar.rule == "agent-never" else 1 if bar.interlock and special > 2 else 2
    if not bar.interlock and bar.rule != "agent-never":
        kind = 4 if bar.rule == "user-skip" else 3
    return kind, special, bar.rule


def why_not(trail: Trail, word: str, finding: str | None = None) -> tuple[WhyNot, ...]:
    """Return where the named method or agent stands, for one finding or for every target.

    Raises
    ------
    TriageError: unknown method, agent or finding.
    """
    methods = methods_named(trail.knowledge, word)
    ladders = trail.skeleton.ladders
    if finding is not None:
        trail.case.finding(finding)
        ladders = tuple(ladder for ladder in ladders if ladder.target.finding == finding)
    if not ladders:
        raise TriageError("nothing has been found yet", mend="record a finding first")
    against = Against(trail)
    return tuple(against.why_not(method, ladder) for ladder in ladders for method in methods)
