"""What must hold for every plan, each promise named and written once.

A promise about a scene, a pair of scenes, a step or a walk returns an empty text if it holds,
else what is wrong. None of them asks a rule: they look at the knowledge's tables and at the plan.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Generic, TypeVar

import yaml

from tests.proof.axes import DRY, IN_FLUID
from tests.proof.scene import Scene
from triage.engine.vocabulary import agent_ids
from triage.knowledge.base import Status
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.knowledge.rules import Family
from triage.knowledge.specimen import STAGES
from triage.plan.skeleton import ORDER

T = TypeVar("T")
# What each promise rests on; the file says how.
RESTS_ON: dict[str, str] = yaml.safe_load(
    Path(__file__).with_name("rests_on.yaml").read_text(encoding="utf-8")
)


@dataclass(frozen=True)
class Invariant(Generic[T]):
    """One promise: its name, its sentence, and the check that returns what is wrong."""

    name: str
    sentence: str
    broken: Callable[[T], str]


@dataclass(frozen=True, slots=True)
class Pair:
    """Two scenes that differ in one thing: ``less`` is less known, frailer or worse equipped."""

    less: Scene
    more: Scene


# Promises about every combination, and promises about what scenes that share a plan share.
COMBINATION: list[Invariant[Scene]] = []
SCENE: list[Invariant[Scene]] = []


def promised(
    name: str, to: list[Invariant[T]]
) -> Callable[[Callable[[T], str]], Callable[[T], str]]:
    """Register a promise; its sentence is the first line of the docstring."""

    def register(check: Callable[[T], str]) -> Callable[[T], str]:
        sentence = (check.__doc__ or "").strip().split("\n", maxsplit=1)[0]
        to.append(Invariant(name, sentence, check))
        return check

    return register


def named(methods: Iterable[str]) -> str:
    """Return what is wrong in words, each once."""
    return ", ".join(sorted({*methods}))


KINDS = ("mechanical", "chemical", "person", "lasting")


def grades_of(method: Method) -> list[int]:
    """Return the grades of each kind, read anew from the knowledge."""
    graded = (getattr(method.harshness, kind) for kind in KINDS)
    return [each.grade if each else 0 for each in graded]


def harsher(knowledge: Knowledge, first: str, second: str) -> bool:
    """Return whether one method is harsher than another by the order in the judgement file."""
    for word in knowledge.judgement.harshness_order.keys:
        pair = []
        for method_id in (first, second):
            grades = grades_of(knowledge.methods[method_id])
            named = dict(zip(KINDS, grades, strict=True))
            named |= {"worst": max(grades), "sum": sum(grades)}
            pair.append(named[word])
        if pair[0] != pair[1]:
            return pair[0] > pair[1]
    return False


@promised("never-forbidden", SCENE)
def never_forbidden(scene: Scene) -> str:
    """Nothing that an interlock forbids stands on a ladder or in the plan."""
    return named(scene.forbidden.intersection(scene.ladder.rungs, scene.finding_steps))


@promised("only-offered", SCENE)
def only_offered(scene: Scene) -> str:
    """Every rung was offered for what the finding is taken to be."""
    return named(set(scene.ladder.rungs) - scene.ladder.offered)


@promised("nothing-skipped-without-reason", SCENE)
def nothing_skipped(scene: Scene) -> str:
    """Every method that was offered stands on the ladder or has a written reason why not."""
    barred = {bar.method for bar in scene.ladder.barred if bar.because.strip() and bar.rule}
    return named(scene.ladder.offered - set(scene.ladder.rungs) - barred)


@promised("ladder-rises", SCENE)
def ladder_rises(scene: Scene) -> str:
    """No rung is harsher than the one after it."""
    pairs = pairwise(scene.ladder.rungs)
    return named(f"{one} before {two}" for one, two in pairs if harsher(scene.knowledge, one, two))


@promised("plan-keeps-the-ladder", SCENE)
def plan_keeps_ladder(scene: Scene) -> str:
    """The steps of a finding stand in the plan in the order of its ladder."""
    places = {method: place for place, method in enumerate(scene.ladder.rungs)}
    held = [places[m] for m in scene.finding_steps if m in places]
    return "" if held == sorted(held) else " ".join(scene.finding_steps)


@promised("never-a-banned-agent", SCENE)
def never_banned(scene: Scene) -> str:
    """No step uses an agent that is listed only to be refused, or one that is still a draft."""
    k = scene.knowledge
    return named(
        method
        for method in scene.steps
        for agent in agent_ids(k, method)
        if k.agents[agent].never or k.agents[agent].status is Status.DRAFT
    )


@promised("within-the-zone", SCENE)
def within_zone(scene: Scene) -> str:
    """No rung is mechanically or chemically harsher than its body part can stand."""
    zone = scene.knowledge.zones.get(scene.combination.zone)
    return (
        "" if zone is None else _beyond(scene, zone.most_mechanical, lambda _: zone.most_chemical)
    )


def _beyond(scene: Scene, most_mechanical: int, most_chemical: Callable[[Method], int]) -> str:
    """Return the rungs that are mechanically or chemically harsher than this."""

    def is_beyond(method: Method) -> bool:
        mechanical, chemical, *_ = grades_of(method)
        return mechanical > most_mechanical or chemical > most_chemical(method)

    return named(m for m in scene.ladder.rungs if is_beyond(scene.knowledge.methods[m]))


@promised("within-the-fragility", SCENE)
def within_fragility(scene: Scene) -> str:
    """No rung is harsher than the fragility of the specimen allows."""
    grade, techniques = scene.knowledge.fragility[scene.fragility], scene.knowledge.techniques

    def most_chemical(method: Method) -> int:
        dry = _most_chemical_dry(scene) if techniques[method.technique].water_free else 0
        return max(grade.most_chemical, dry)

    return _beyond(scene, grade.most_mechanical, most_chemical)


def _most_chemical_dry(scene: Scene) -> int:
    """Return what the group is known to stand of a dry solvent, 0 if it is frailer than its kind.

    A group that is very delicate for its scales stands what its accounts tell; one specimen of a
    sturdier group that became so by holes or losses does not.
    """
    k = scene.knowledge
    taxon = k.taxa.get(scene.combination.taxon)
    if taxon is None:
        return 0
    stands_more_than_water = k.fragility[scene.fragility].most_chemical > 1
    is_its_kind = scene.fragility == taxon.fragility
    return taxon.most_chemical_dry if is_its_kind or stands_more_than_water else 0


@promised("fragility-of-the-group", COMBINATION)
def fragility_of_group(scene: Scene) -> str:
    """No specimen counts as sturdier than its group; an unknown group as the frailest."""
    k = scene.knowledge
    grades = list(k.fragility)
    taxon = k.taxa.get(scene.combination.taxon)
    frailest = max(grades.index(t.fragility) for t in k.taxa.values())
    least = grades.index(taxon.fragility) if taxon else frailest
    least = max(least, grades.index(scene.combination.floor))
    return "" if grades.index(scene.fragility) >= least else scene.fragility


def _touching(scene: Scene, methods: tuple[str, ...]) -> set[str]:
    k = scene.knowledge
    return {m for m in methods if k.techniques[k.methods[m].technique].contact != "none"}


@promised("protected-is-not-touched", SCENE)
def protected_untouched(scene: Scene) -> str:
    """Nothing touches what is the insect's own, is refused, or is left as it is."""
    deposit = scene.knowledge.deposits.get(scene.settled or "")
    if deposit is None or not (deposit.is_left or deposit.guard == "refuse"):
        return ""
    return named(_touching(scene, scene.finding_steps))


@promised("unidentified-means-harmless", SCENE)
def unidentified_harmless(scene: Scene) -> str:
    """While it is not settled what a finding is, only harmless methods are offered for it."""
    if scene.settled is not None:
        return ""
    return named({m for m in scene.finding_steps if not scene.knowledge.methods[m].harmless})


@promised("dry-while-a-gate-is-shut", SCENE)
def dry_behind_gate(scene: Scene) -> str:
    """Before the stage of cleaning only what may be used on a dry specimen works on a finding."""
    if ORDER.index(scene.skeleton.stage) >= STAGES.index("examine"):
        return ""
    return named({m for m in scene.finding_steps if not scene.knowledge.methods[m].while_dry})


@promised("nothing-wet-on-what-is-not-soft", SCENE)
def nothing_wet_unless_soft(scene: Scene) -> str:
    """Nothing wet is put on what is not soft; on what is dry no water, a moist brush or a dab.

    A dab is one small drop drawn off at once; the casebook's accounts of dry beetles use it. A trace
    of glue holds a part on a dry insect; softening it first would loosen the joint again.

    What stands in fluid is wet throughout.
    """
    k = scene.knowledge
    if scene.is_soft or scene.combination.hydration == IN_FLUID:
        return ""
    wrong = set()
    for item in scene.skeleton.items:
        # A trial brings the liquid of the step that it stands before.
        tries = item.before if item.before and k.methods[item.method].tries_next else item.method
        technique = k.techniques[k.methods[tries].technique]
        bears = technique.water_free or technique.id in ("humid-brush", "dab", "glue-trace")
        is_dry = bears and scene.combination.hydration == DRY
        if item.method in scene.finding_steps and technique.wet != "dry" and not is_dry:
            wrong.add(item.method)
    return named(wrong & set(scene.finding_steps))


@promised("nothing-behind-a-closed-gate", SCENE)
def nothing_behind_gate(scene: Scene) -> str:
    """Work on the whole specimen belongs to the present stage and to no later one.

    Of an earlier one only what harms nothing is still to be done: a look, a picture.
    """
    k = scene.knowledge
    wrong = set()
    for item in scene.skeleton.items:
        condition = scene.skeleton.ladder(item.target).target.condition
        stage = k.conditions[condition].stage if condition else scene.skeleton.stage
        is_later = STAGES.index(stage) > STAGES.index(scene.skeleton.stage)
        is_kept = stage == scene.skeleton.stage or k.methods[item.method].harmless
        if is_later or not is_kept:
            wrong.add(item.method)
    return named(wrong)


@promised("stage-is-the-first-closed-gate", SCENE)
def stage_is_first(scene: Scene) -> str:
    """The stage is the first one whose gate is not open."""
    gates = scene.skeleton.conclusions.of(Family.GATE, "close")
    closed = {c.get("stage") for c in gates}
    first = next((stage for stage in STAGES if stage in closed), "done")
    return "" if scene.skeleton.stage == first else f"{scene.skeleton.stage}, not {first}"


@promised("nothing-on-dirt-before-intake", SCENE)
def nothing_before_intake(scene: Scene) -> str:
    """Nothing is planned on a finding of a specimen that has not been taken in."""
    return " ".join(scene.finding_steps) if scene.skeleton.stage == STAGES[0] else ""


@promised("refused-means-nothing", SCENE)
def refused_means_nothing(scene: Scene) -> str:
    """A refused specimen gets no step at all."""
    return " ".join(scene.steps) if scene.skeleton.refused else ""


@promised("every-agent-has-limits-or-a-reason", SCENE)
def limits_or_reason(scene: Scene) -> str:
    """Every agent in a step has exposure limits, or says whose limits or why none."""
    k = scene.knowledge
    used = {k.agents[agent] for method in scene.steps for agent in agent_ids(k, method)}
    return named(a.id for a in used if not (a.limits or a.vapour_of or a.no_limit_because))


@promised("every-step-has-a-stop-point", SCENE)
def has_stop_point(scene: Scene) -> str:
    """Every step names what to see that means stop."""
    return named({m for m in scene.steps if not scene.knowledge.methods[m].stop_signs})


@promised("the-bench-can-do-it", SCENE)
def bench_can(scene: Scene) -> str:
    """No step needs what the bench lacks, or an agent the user or a circumstance rules out."""
    k, bench = scene.knowledge, scene.bench
    wrong = set()
    for method in scene.steps:
        for need in k.methods[method].needs:
            entry = k.equipment[need]
            if need in bench.lacking or not (entry.assumed or need in bench.equipment):
                wrong.add(method)
        if set(k.methods[method].not_for) & set(bench.circumstances):
            wrong.add(method)
        for agent in agent_ids(k, method):
            barred = set(k.agents[agent].not_for) & set(bench.circumstances)
            if barred or (bench.only_stock and not bench.has_stock(agent)):
                wrong.add(method)
    return named(wrong)


@promised("no-dead-end", SCENE)
def no_dead_end(scene: Scene) -> str:
    """A settled finding has a ladder or the deposit says why it is left."""
    if scene.settled is None or scene.ladder.rungs:
        return ""
    deposit = scene.knowledge.deposits[scene.settled]
    return "" if deposit.leave_it.strip() else f"{scene.settled} says nothing"


@promised("test-spot-before-it-counts", SCENE)
def test_spot_first(scene: Scene) -> str:
    """A method that needs a hidden test spot is preceded by one."""
    seen: set[str] = set()
    for item in scene.skeleton.items:
        if item.inserted:
            seen.add(item.target)
        elif scene.knowledge.methods[item.method].test_spot and item.target not in seen:
            return item.method
    return ""


def _not_more(pair: Pair) -> str:
    """Return the methods that the worse scene permits although the better one rules them out."""
    return named(pair.more.ruled_out(pair.less.finding_steps))


PAIRS: dict[str, Invariant[Pair]] = {
    f"{name}-no-more": Invariant(f"{name}-no-more", sentence, _not_more)
    for name, sentence in (
        ("unknown-zone-permits", "An unknown zone permits nothing that a known one forbids."),
        ("unknown-group-permits", "An unknown group permits nothing that a known one forbids."),
        (
            "unknown-hydration-permits",
            "Unknown hydration permits nothing that a known state forbids.",
        ),
        ("unknown-air-permits", "Unknown ventilation permits nothing that a known one forbids."),
        ("hazard-permits", "A further sign of frailty permits nothing that was forbidden."),
        ("no-air-permits", "A closed room permits nothing that any control forbids."),
        (
            "circumstances-permit",
            "Personal circumstances permit nothing that was forbidden without them.",
        ),
        ("empty-shelf-permits", "An empty shelf permits nothing that a full one forbids."),
    )
}
