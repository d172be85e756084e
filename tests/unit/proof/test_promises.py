"""Every promise of the sweep can be broken, and the sweep says so.

Each promise is broken once on purpose: in the knowledge (rules dropped or weakened, entries
changed) where that is enough, else in the planner itself, whose part of the promise no rule can
take away. A part of the axes is then swept.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, reduce
from typing import Any

import pytest

import tests.proof.walk as walk_module
import triage.plan.ladder as ladder_module
import triage.plan.planner as planner_module
import triage.plan.skeleton as skeleton_module
from tests.proof.axes import BEST, EMPTY_SHELF, EVERY_CIRCUMSTANCE, Axes
from tests.proof.breaking import changed, with_entry
from tests.proof.invariants import COMBINATION, PAIRS, RESTS_ON, SCENE
from tests.proof.sweep import Sweeper, promises
from tests.support.knowledge import consultant, shipped
from tests.support.metamorphic import never_met
from tests.support.sweeping import axes as shipped_axes
from tests.support.sweeping import judged
from triage.case.models import Case
from triage.engine.consult import Consultant
from triage.engine.facts import Conclusion
from triage.engine.normal import NormalRules
from triage.engine.vocabulary import UNKNOWN
from triage.knowledge.base import Status
from triage.knowledge.book import Knowledge
from triage.plan.ladder import BenchBars, Ladder
from triage.plan.planner import Planner
from triage.plan.skeleton import SkeletonMaker

WET, DRY = "supple", "dry"


@dataclass(frozen=True)
class Break:
    """What is broken, and where the sweep has to look.

    ``knowledge`` and ``normal`` return broken ones; ``patch`` breaks the planner through
    monkeypatch. ``deposit`` is the finding, ``hydrations`` and ``zones`` narrow the axes.
    """

    knowledge: Callable[[Knowledge], Knowledge] = lambda held: held
    normal: Callable[[NormalRules], NormalRules] | None = None
    patch: Callable[[pytest.MonkeyPatch], None] = lambda _: None
    deposit: str = "oily-film"
    zones: tuple[str, ...] = ("thorax-hairy", "compound-eye", UNKNOWN)
    hydrations: tuple[str, ...] = (WET,)


# -- the knowledge --------------------------------------------------------------------------------


def without(*starts: str) -> Callable[[Knowledge], Knowledge]:
    """Return a break that drops every rule whose id begins with one of some words."""

    def broken(knowledge: Knowledge) -> Knowledge:
        rules = {
            family: tuple(r for r in held if not r.id.startswith(starts))
            for family, held in knowledge.rules.items()
        }
        assert rules != knowledge.rules
        return replace(knowledge, rules=rules)

    return broken


def every(kind: str, **fields: Any) -> Callable[[Knowledge], Knowledge]:
    def broken(knowledge: Knowledge) -> Knowledge:
        for entry in knowledge.table(kind).values():
            knowledge = with_entry(knowledge, kind, changed(entry, **fields))
        return knowledge

    return broken


def both(*breaks: Callable[[Knowledge], Knowledge]) -> Callable[[Knowledge], Knowledge]:
    return lambda knowledge: reduce(lambda held, broken: broken(held), breaks, knowledge)


# -- the planner ----------------------------------------------------------------------------------


def replacing(module: Any, name: str, made: Callable[..., Any]) -> Callable[..., None]:
    """Return a break that puts a function in the place of one of a module or class."""
    return lambda patch: patch.setattr(module, name, made)


def bent(bend: Callable[[Any, Case], Any]) -> Callable[..., None]:
    """Return a break that bends every skeleton that is made."""
    sound = SkeletonMaker.from_conclusions

    def made(self, case, *others):
        return bend(sound(self, case, *others), case)

    return replacing(SkeletonMaker, "from_conclusions", made)


def bent_ladder(bend: Callable[[tuple[str, ...], Any], tuple[str, ...]]) -> Callable[..., None]:
    sound = Ladder.__dict__["rungs"].func
    made = cached_property(lambda ladder: bend(sound(ladder), ladder))
    made.__set_name__(Ladder, "rungs")
    return replacing(Ladder, "rungs", made)


def after(outcome: str, bend: Callable[[tuple[Any, ...]], tuple[Any, ...]]) -> Callable[..., None]:
    """Return a break that bends the steps after a certain outcome."""

    def bending(skeleton, case):
        meant = case.attempts and case.attempts[-1].outcome == outcome
        return with_items(skeleton, bend) if meant else skeleton

    return bent(bending)


def with_items(skeleton: Any, bend: Callable[[tuple[Any, ...]], tuple[Any, ...]]) -> Any:
    made = replace(skeleton)
    made.__dict__["items"] = bend(skeleton.items)
    return made


def bent_step(**fields: Any) -> Callable[..., None]:
    sound = planner_module.complete_step

    def made(*arguments, **named):
        step = sound(*arguments, **named)
        values = {name: v(step) if callable(v) else v for name, v in fields.items()}
        return replace(step, **values)

    return replacing(planner_module, "complete_step", made)


def rungs_at_any_stage(_knowledge, _stage, ladder, _closed):
    return ladder.rungs


def brush_everything(patch: pytest.MonkeyPatch) -> None:
    offer = Conclusion("offer", "any", (("method", ("brush-dry-soft",)),), ())
    patch.setattr(ladder_module, "offers_for", lambda *_: [offer])
    nothing_forbidden(patch)
    patch.setattr(skeleton_module, "now_rungs", rungs_at_any_stage)


def nothing_forbidden(patch: pytest.MonkeyPatch) -> None:
    sound = ladder_module.rulings
    unheard = lambda said: sound(c for c in said if c.kind not in ("forbid", "pass-over"))
    patch.setattr(skeleton_module, "rulings", unheard)


def work_at_intake(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(skeleton_module, "first_closed", lambda _: "intake")
    patch.setattr(skeleton_module, "now_rungs", rungs_at_any_stage)


def no_bars_if(fault: Callable[[Any], bool]) -> Callable[..., None]:
    """Return a break that forgets what rules methods out at some benches."""
    sound = BenchBars.out

    def made(self, methods):
        return frozenset() if fault(self.bench) else sound(self, methods)

    return replacing(BenchBars, "out", made)


def endless(patch: pytest.MonkeyPatch) -> None:
    left = lambda _knowledge, offered, out, _progress: tuple(sorted(set(offered) - set(out)))
    patch.setattr("triage.plan.ladder.rungs_left", left)
    patch.setattr(walk_module, "FAR", 3)


AT_ANY_STAGE = replacing(skeleton_module, "now_rungs", rungs_at_any_stage)
ATTEMPTS_BAR_NOTHING = replacing(ladder_module, "barred_by_attempts", lambda *_: [])
BREAKS: Mapping[str, Break] = {
    "fragility-of-the-group": Break(patch=replacing(Consultant, "floor_of_group", lambda *_: 0)),
    "never-forbidden": Break(patch=nothing_forbidden),
    "only-offered": Break(patch=bent_ladder(lambda rungs, _: (*rungs, "freeze-quarantine"))),
    "nothing-skipped-without-reason": Break(patch=bent_ladder(lambda rungs, _: rungs[1:])),
    "ladder-rises": Break(patch=bent_ladder(lambda rungs, _: rungs[::-1])),
    "plan-keeps-the-ladder": Break(
        patch=bent(lambda made, _: with_items(made, lambda items: items[::-1]))
    ),
    "never-a-banned-agent": Break(every("agent", status=Status.DRAFT)),
    "within-the-zone": Break(
        both(
            without("forbid-mechanical-zone", "forbid-chemical-zone"),
            every("zone", most_mechanical=0, most_chemical=0),
        )
    ),
    "within-the-fragility": Break(without("forbid-mechanical", "forbid-chemical")),
    "protected-is-not-touched": Break(patch=brush_everything, deposit="own-wax"),
    "unidentified-means-harmless": Break(
        without("forbid-unsettled-anything-that-acts"), deposit="foreign-scales"
    ),
    "dry-while-a-gate-is-shut": Break(
        patch=AT_ANY_STAGE,
        knowledge=without("forbid-liquid-on-unsoftened-specimen"),
        # What came out too wet waits behind its gate, whatever is wanted of it.
        deposit="mud",
        hydrations=("too-wet",),
    ),
    "nothing-wet-on-what-is-not-soft": Break(
        both(without("forbid-liquid-on-unsoftened-specimen"), every("method", while_dry=True)),
        hydrations=(DRY,),
    ),
    "nothing-behind-a-closed-gate": Break(patch=AT_ANY_STAGE, hydrations=("too-wet",)),
    "stage-is-the-first-closed-gate": Break(
        patch=replacing(skeleton_module, "first_closed", lambda _: "keep")
    ),
    "nothing-on-dirt-before-intake": Break(patch=work_at_intake),
    "refused-means-nothing": Break(
        patch=bent(
            lambda made, _: with_items(replace(made, refused=("any",)), lambda _: made.items)
        )
    ),
    "every-agent-has-limits-or-a-reason": Break(
        every("agent", limits=(), no_limit_because="", vapour_of=None)
    ),
    "every-step-has-a-stop-point": Break(every("method", stop_signs=())),
    "the-bench-can-do-it": Break(patch=no_bars_if(lambda _: True)),
    "no-dead-end": Break(every("deposit", leave_it=""), deposit="own-wax"),
    "test-spot-before-it-counts": Break(without("order-test-spot-first")),
    "unknown-zone-permits-no-more": Break(normal=never_met("finding", "zone", UNKNOWN)),
    "unknown-group-permits-no-more": Break(
        without("forbid-foreign-scales-unknown-group"), deposit="foreign-scales", hydrations=(DRY,)
    ),
    "unknown-hydration-permits-no-more": Break(
        knowledge=every("method", while_dry=True),
        normal=never_met("specimen", "hydration", UNKNOWN),
        hydrations=(DRY, UNKNOWN),
    ),
    # Dry: no grain is blown off what is still wet.
    "unknown-air-permits-no-more": Break(
        normal=never_met("bench", "control", UNKNOWN), deposit="loose-dust", hydrations=(DRY,)
    ),
    "no-air-permits-no-more": Break(
        normal=never_met("bench", "control", "none"), deposit="loose-dust", hydrations=(DRY,)
    ),
    "hazard-permits-no-more": Break(
        normal=lambda held: never_met("finding", "fragility", "ruin")(
            never_met("specimen", "cracks", "open")(held)
        )
    ),
    "circumstances-permit-no-more": Break(patch=no_bars_if(lambda b: bool(b.circumstances))),
    "empty-shelf-permits-no-more": Break(patch=no_bars_if(lambda b: b.only_stock)),
    "harm-holds-the-case": Break(patch=replacing(Case, "held_by", lambda _: ())),
    "harm-is-not-repeated": Break(patch=ATTEMPTS_BAR_NOTHING),
    "failed-test-spot-bars-its-agent": Break(patch=ATTEMPTS_BAR_NOTHING),
    "cleared-closes-the-finding": Break(patch=AT_ANY_STAGE),
    "not-done-changes-nothing": Break(patch=after("not-done", lambda items: items[1:])),
    "better-repeats-up-to-its-passes": Break(patch=after("better", lambda items: items[2:])),
    "passes-are-kept": Break(patch=endless),
    "never-a-milder-step-after": Break(patch=bent_ladder(lambda rungs, _: rungs[::-1])),
    "nothing-new-appears": Break(
        patch=after(
            "no-change", lambda items: (*items, replace(items[-1], step="f1-new")) if items else ()
        )
    ),
    "every-walk-ends": Break(patch=endless),
    "air-is-within-its-limit": Break(
        patch=bent_step(air=lambda step: step.air and replace(step.air, verdict="over"))
    ),
    "evaporating-step-names-its-air": Break(patch=bent_step(air=None)),
    "hazard-is-a-hold-point": Break(patch=bent_step(hold="")),
    "skin-hazard-names-gloves": Break(
        patch=bent_step(protection=lambda step: replace(step.protection, gloves=(), gloves_fail=()))
    ),
    "eye-hazard-names-goggles": Break(
        patch=bent_step(protection=lambda step: replace(step.protection, eyes=()))
    ),
    "stop-points-are-whole": Break(patch=bent_step(stop_points=())),
    "step-says-what-to-do": Break(patch=bent_step(do=())),
    "dwell-and-amount-stay-within-the-method": Break(patch=bent_step(dwell_s=1e9)),
    "mixes-are-named": Break(patch=bent_step(cautions=())),
    "waste-is-named": Break(patch=bent_step(disposal=())),
    "every-step-has-rule-and-source": Break(patch=bent_step(sources=())),
    "a-used-up-ladder-ends-in-words": Break(patch=replacing(Planner, "_notices", lambda *_: ())),
}


SCENES = {i.name for i in (*COMBINATION, *SCENE, *PAIRS.values())}


def part_of(broken: Break, *, walking: bool) -> Axes:
    """Return the part of the axes in which a break is looked for; one ladder to walk is enough."""
    axes, most = shipped_axes(), 1 if walking else None
    floors = [*axes.floors][:: len(axes.floors) - 1][:most]
    benches = (BEST,) if walking else ("none", BEST, UNKNOWN, EVERY_CIRCUMSTANCE, EMPTY_SHELF)
    return replace(
        axes,
        deposits=(broken.deposit,),
        zones=broken.zones[:most],
        taxa=("beetles", "butterflies-moths", UNKNOWN)[:most],
        floors={floor: axes.floors[floor] for floor in floors},
        hydrations=broken.hydrations,
        benches={name: axes.benches[name] for name in benches},
    )


def swept(broken: Break, patch: pytest.MonkeyPatch, name: str) -> dict[str, int]:
    broken.patch(patch)
    knowledge = broken.knowledge(shipped())
    is_shipped = knowledge is shipped() and broken.normal is None
    held = consultant() if knowledge is shipped() else Consultant(knowledge)
    if broken.normal:
        held = Consultant(knowledge, broken.normal(held.normal))
    part = part_of(broken, walking=name not in SCENES)
    # Walks and complete plans have nothing to do with promises about scenes.
    sweeper = Sweeper(
        held, part, walking=name not in SCENES, judged=judged() if is_shipped else None
    )
    return dict(+sweeper.sweep(broken.deposit).broken)


def test_every_promise_says_what_it_rests_on_and_has_its_break():
    assert set(RESTS_ON) == set(BREAKS) == {promise.name for promise in promises()}
    assert set(RESTS_ON.values()) - {"design"} <= set(shipped().sources)


@pytest.mark.parametrize("name", list(BREAKS))
def test_a_break_is_found(name, monkeypatch):
    assert swept(BREAKS[name], monkeypatch, name).get(name, 0) > 0


@pytest.mark.parametrize("deposit", sorted({b.deposit for b in BREAKS.values()}))
def test_the_same_parts_are_sound_without_the_break(deposit, monkeypatch):
    part = Break(deposit=deposit, hydrations=(WET, DRY, UNKNOWN))
    assert swept(part, monkeypatch, "ladder-rises") == {}
