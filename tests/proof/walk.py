"""Walk a ladder to its end with the planner itself, under every pattern of outcomes that counts.

At each rung the walk looks what would follow if it cleared, did harm, was not done or helped a
little, and then goes on with no change until nothing is left.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from tests.proof.axes import FINDING
from tests.proof.invariants import Invariant, harsher, named, promised
from tests.proof.scene import trimmed
from triage.case.changes import new_attempt, with_correction, with_release
from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.consult import Conclusions, Consultant
from triage.engine.vocabulary import agent_ids
from triage.knowledge.book import Knowledge
from triage.plan.airjudge import AirJudge
from triage.plan.ordering import Item
from triage.plan.outcomes import closed_findings
from triage.plan.skeleton import Skeleton, SkeletonMaker

START = datetime(2000, 1, 1, tzinfo=UTC)
# More passes than any ladder has: reached only by a walk that would never end.
FAR = 400


@dataclass(frozen=True, slots=True)
class Walked:
    """What one outcome on one step led to."""

    knowledge: Knowledge
    outcome: str
    item: Item
    before: Skeleton
    after: Skeleton
    passes: dict[str, int]
    places: int


WALK: list[Invariant[Walked]] = []


def steps_of(skeleton: Skeleton) -> tuple[str, ...]:
    """Return the steps that the plan holds for the finding."""
    return tuple(item.step for item in skeleton.items if item.target == FINDING)


def _methods(skeleton: Skeleton) -> set[str]:
    return {item.method for item in skeleton.items if item.target == FINDING}


@promised("harm-holds-the-case", WALK)
def harm_holds(walked: Walked) -> str:
    """After worse or damage the plan is empty until a person releases it."""
    if walked.outcome not in ("worse", "damage"):
        return ""
    if not walked.after.held:
        return "nothing is held"
    return " ".join(item.step for item in walked.after.items)


@promised("harm-is-not-repeated", WALK)
def harm_not_repeated(walked: Walked) -> str:
    """A method that did harm does not come back for the finding, not even after the release."""
    if walked.outcome != "released" or walked.item.inserted:
        return ""
    return walked.item.method if walked.item.method in _methods(walked.after) else ""


@promised("failed-test-spot-bars-its-agent", WALK)
def failed_spot(walked: Walked) -> str:
    """After a test spot that went badly no step of the finding uses its agent."""
    if walked.outcome != "released" or not walked.item.inserted:
        return ""
    k, items = walked.knowledge, walked.before.items
    behind = items[items.index(walked.item) :]
    tested = next((i.method for i in behind if not i.inserted and i.target == FINDING), "")
    agents = agent_ids(k, tested)[:1] if tested else ()
    return named(m for m in _methods(walked.after) if {*agents} & {*agent_ids(k, m)})


@promised("cleared-closes-the-finding", WALK)
def cleared_closes(walked: Walked) -> str:
    """A cleared finding gets no further step; what only makes ready clears nothing."""
    k = walked.knowledge
    closes = k.outcomes[k.methods[walked.item.method].outcomes].closes
    if walked.outcome != "cleared" or walked.item.inserted or not closes:
        return ""
    return " ".join(steps_of(walked.after))


@promised("not-done-changes-nothing", WALK)
def not_done(walked: Walked) -> str:
    """A step that was not done leaves the plan as it was."""
    same = walked.outcome not in ("not-done", "undone") or walked.after.items == walked.before.items
    return "" if same else f"after {walked.item.step}"


@promised("better-repeats-up-to-its-passes", WALK)
def better_repeats(walked: Walked) -> str:
    """A step that helped comes again first, as long as it has passes left."""
    if walked.outcome != "better" or walked.item.inserted:
        return ""
    method = walked.knowledge.methods[walked.item.method]
    left = walked.passes.get(method.id, 0) + 1 < method.passes
    first = next((i for i in walked.after.items if i.target == FINDING), None)
    repeats = first is not None and first.method == method.id
    return "" if repeats == left else f"{method.id}: {'not ' if left else ''}repeated"


@promised("passes-are-kept", WALK)
def passes_kept(walked: Walked) -> str:
    """No method stands in the plan once its passes are used up."""
    if walked.outcome != "no-change":
        return ""
    done, methods = Counter(walked.passes), walked.knowledge.methods
    done[walked.item.method] += not walked.item.inserted
    return named(m for m in _methods(walked.after) if done[m] >= methods[m].passes)


@promised("never-a-milder-step-after", WALK)
def never_milder(walked: Walked) -> str:
    """After a step without change nothing milder than it comes for the finding."""
    if walked.outcome != "no-change" or walked.item.inserted:
        return ""
    ours = (i.method for i in walked.after.items if i.target == FINDING and not i.inserted)
    return named(m for m in ours if harsher(walked.knowledge, walked.item.method, m))


@promised("nothing-new-appears", WALK)
def nothing_new(walked: Walked) -> str:
    """An outcome without change never adds a step to the finding."""
    if walked.outcome != "no-change":
        return ""
    return " ".join(sorted(set(steps_of(walked.after)) - set(steps_of(walked.before))))


@promised("every-walk-ends", WALK)
def walk_ends(walked: Walked) -> str:
    """Every ladder comes to an end in no more passes than its methods have."""
    return "no end in sight" if walked.places > FAR else ""


class Walker:
    """Walks the ladder of a case's finding on one bench."""

    def __init__(self, consultant: Consultant, maker: SkeletonMaker) -> None:
        self.consultant = consultant
        self.knowledge = consultant.knowledge
        self.maker = maker
        self._drawn: dict[frozenset[str], Conclusions] = {}

    def _skeleton(self, case: Case, bench: Bench, judge: AirJudge) -> Skeleton:
        # Of the attempts the rules see only which findings are closed, so along one walk they
        # need not be asked again while that stays the same.
        closed = closed_findings(self.knowledge, case)
        if closed not in self._drawn:
            found = self.consultant.consult(case, bench, closed, plain=True)
            self._drawn[closed] = trimmed(found)
        return self.maker.from_conclusions(case, bench, judge, self._drawn[closed])

    def _tried(self, case: Case, item: Item, outcome: str) -> Case:
        number = len(case.attempts) + 1
        at = START + timedelta(minutes=number)
        attempt = new_attempt(
            f"a{number}", at, item.step, outcome, finding=FINDING, method=item.method
        )
        # The record is well formed by construction; validating it anew would cost most of a walk.
        return case.model_copy(update={"attempts": (*case.attempts, attempt)})

    def walk(self, case: Case, bench: Bench, judge: AirJudge) -> Iterator[tuple[Walked, Case]]:
        """Yield what each outcome leads to, rung after rung, to the end of the ladder.

        Beside it stands the case as it is at that point when nothing has changed so far.
        """
        self._drawn = {}
        before = self._skeleton(case, bench, judge)
        passes: dict[str, int] = {}
        for place in range(FAR + 2):
            item = next((i for i in before.items if i.target == FINDING), None)
            if item is None:
                return
            for outcome, then in self._branches(case, item):
                after = self._skeleton(then, bench, judge)
                # The last branch is the one that is gone on with.
                case = then if outcome == "no-change" else case
                yield Walked(self.knowledge, outcome, item, before, after, passes, place), case
            if not item.inserted:
                passes = {**passes, item.method: passes.get(item.method, 0) + 1}
            before = after

    def _branches(self, case: Case, item: Item) -> Iterator[tuple[str, Case]]:
        for outcome in ("cleared", "better", "not-done", "worse", "damage"):
            tried = self._tried(case, item, outcome)
            yield outcome, tried
        name, at = tried.attempts[-1].id, START + timedelta(days=1)
        yield "released", with_release(tried, at, name, "looked at again")
        yield "undone", with_correction(tried, name, at, outcome="not-done", note="wrong key")
        yield "no-change", self._tried(case, item, "no-change")
