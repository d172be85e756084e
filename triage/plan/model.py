"""What a plan is: complete steps, findings as read, what was ruled out, what would still help.

All values are frozen and hold plain data, so that the same plan is shown on a screen, printed
on a bench sheet or written as JSON, byte for byte.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Literal

StepStatus = Literal["next", "then", "if-needed"]
FindingState = Literal[
    "open", "cleared", "accepted", "left", "unsettled", "waiting", "later", "stopped"
]
# What is still to be worked on, and with it what lies there and can only be left.
OPEN: tuple[FindingState, ...] = ("open", "unsettled", "waiting", "later")
STANDING: tuple[FindingState, ...] = (*OPEN, "stopped")
NoticeKind = Literal[
    "first-aid",
    "refused",
    "gate",
    "full-stop",
    "leave-it",
    "accept",
    "picture",
    "keep",
    "refer",
    "look-again",
    "waiting",
    "air",
    "bench",
    "note",
]


@dataclass(frozen=True, slots=True)
class HarshnessGrades:
    """Grades 0 (none) to 5 (worst) in four kinds."""

    mechanical: int
    chemical: int
    person: int
    lasting: int = 0

    @property
    def worst(self) -> int:
        """Return the worst grade."""
        return max(self.mechanical, self.chemical, self.person, self.lasting)


@dataclass(frozen=True, slots=True)
class StopPoint:
    """What to see that means stop."""

    id: str
    see: str
    means: str
    then: str


@dataclass(frozen=True, slots=True)
class CautionLine:
    """One caution, its kind and the rule or entry behind it."""

    kind: str
    text: str
    rule: str
    source: str


@dataclass(frozen=True, slots=True)
class MakeUpLine:
    """How to make the working liquid up from the user's own stock."""

    agent: str
    target: str
    stock: str
    stock_ml: float | None
    top_up_to_ml: float | None
    sentence: str


@dataclass(frozen=True, slots=True)
class Protection:
    """What to wear for this step."""

    gloves: tuple[str, ...]
    gloves_fail: tuple[str, ...]
    eyes: tuple[str, ...]
    breathing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LimitLine:
    """The predicted level against one published limit."""

    authority: str
    basis: str
    value: float
    unit: str
    edition: str
    level_mg_per_m3: float
    limit_mg_per_m3: float
    ratio: float
    judged: bool
    source: str


@dataclass(frozen=True, slots=True)
class AirLine:
    """The air for this amount in this room, on top of the day so far.

    Levels are at the face (near field), unfavourable end, in mg/m3 (``*_ppm`` in ppm or None).
    """

    verdict: Literal["ok", "over", "unknown"]
    sentence: str
    ventilation: str
    peak_mg_per_m3: float
    mean_15_min_mg_per_m3: float
    mean_8_h_mg_per_m3: float
    room_peak_mg_per_m3: float
    peak_ppm: float | None
    mean_8_h_ppm: float | None
    limits: tuple[LimitLine, ...]
    binding: str
    factor: float
    lel_fraction: float | None
    can_ignite: bool | None
    reentry_min: float | None
    largest_ok_ml: float | None
    flags: tuple[str, ...]
    assumptions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RuledOut:
    """A milder or otherwise earlier method that does not stand before this step, and why."""

    method: str
    rule: str
    because: str


@dataclass(frozen=True, slots=True)
class Selectivity:
    """Hansen distance of the agent to what should go and to what should stay."""

    target: str
    role: Literal["deposit", "on-specimen", "support", "box"]
    ra: float
    red: float | None
    known: str


@dataclass(frozen=True, slots=True)
class DocumentLine:
    """What one of the documents that disagree says of a step, and whether it is followed."""

    source: str
    title: str
    says: str
    followed: bool
    can_be_followed: bool


@dataclass(frozen=True, slots=True)
class Served:
    """A further finding that an act on the whole insect serves."""

    finding: str
    zone_name: str
    side: str | None
    deposit_name: str


@dataclass(frozen=True, slots=True)
class Step:
    """One complete step; a step without a chemical carries None, never a missing field.

    ``also`` are the further findings of an act that is done to the whole insect at once; what is
    recorded of it counts for all. ``before`` is the method that a preparing step stands before,
    such as the one whose liquid a test spot tries; None for the act itself.
    """

    id: str
    status: StepStatus
    stage: str
    finding: str | None
    zone: str | None
    zone_name: str | None
    side: str | None
    deposit: str | None
    deposit_name: str
    also: tuple[Served, ...]
    method: str
    before: str | None
    name: str
    agent: str | None
    agent_name: str | None
    technique: str
    outcomes: Mapping[str, str]
    tool: str
    harshness: HarshnessGrades
    harshness_because: tuple[str, ...]
    rung: int
    rungs: int
    passes: int
    passes_done: int
    dwell_s: float | None
    dwell_most_s: float | None
    burst_s: float | None
    temp_c: tuple[float, float] | None
    readings: tuple[DocumentLine, ...]
    amount_ml: float | None
    amount_because: str
    make_up: tuple[MakeUpLine, ...]
    do: tuple[str, ...]
    success: str
    stop_points: tuple[StopPoint, ...]
    cautions: tuple[CautionLine, ...]
    protection: Protection
    air: AirLine | None
    rinse: tuple[str, ...]
    drying: str
    keep_away: tuple[str, ...]
    disposal: tuple[str, ...]
    selectivity: tuple[Selectivity, ...]
    look_after_h: tuple[float, ...]
    hazardous: bool
    hold: str
    because: str
    ruled_out: tuple[RuledOut, ...]
    evidence: tuple[str, ...]
    rules: tuple[str, ...]
    sources: tuple[str, ...]

    @property
    def findings(self) -> tuple[str, ...]:
        """Return every finding that it serves, none for a condition of the whole specimen."""
        own = () if self.finding is None else (self.finding,)
        return (*own, *(served.finding for served in self.also))


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another deposit that the finding could be."""

    deposit: str
    name: str
    certainty: float
    standing: str


@dataclass(frozen=True, slots=True)
class FindingLine:
    """One finding as it is read now.

    ``state`` is open, cleared, accepted, left (protected), unsettled, waiting (only open answers
    bar the way), later (a step of the plan opens it) or stopped (every way is closed or used up).
    """

    id: str
    zone: str
    zone_name: str
    side: str | None
    deposit: str | None
    deposit_name: str
    certainty: float
    standing: str
    state: FindingState
    alternatives: tuple[Alternative, ...]
    fragility: str
    leave_it: str


@dataclass(frozen=True, slots=True)
class Excluded:
    """A method that is not offered for a finding (None: the whole case), with one rule."""

    finding: str | None
    zone: str | None
    method: str
    method_name: str
    rule: str
    because: str
    interlock: bool
    offered: bool


@dataclass(frozen=True, slots=True)
class QuestionLine:
    """A question whose answer would still help."""

    question: str
    finding: str | None
    ask: str
    how: str
    answers: tuple[tuple[str, str], ...]
    risk: str
    seconds: int
    because: str


@dataclass(frozen=True, slots=True)
class Untested:
    """A test that is not to be made on a finding, since its liquid is forbidden there, and why."""

    finding: str
    question: str
    because: str


@dataclass(frozen=True, slots=True)
class WaitingLine:
    """A target that only open answers bar: the questions in the order to ask them, and the step.

    ``finding`` is None for a condition of the whole specimen.
    """

    finding: str | None
    zone: str | None
    method: str
    method_name: str
    questions: tuple[QuestionLine, ...]


@dataclass(frozen=True, slots=True)
class ConflictLine:
    """Two observations that contradict each other about one deposit."""

    finding: str
    deposit: str
    speaks_for: str
    speaks_against: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Hold:
    """An outcome that holds the case until a person releases it with a reason."""

    attempt: str
    finding: str | None
    outcome: str
    words: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Notice:
    """Something the plan says that is not a step: a refusal, a closed gate, a full stop.

    ``ask`` is the question whose open answer alone shuts a gate: nothing was found, only not told.
    """

    kind: NoticeKind
    text: str
    rule: str
    ask: str = ""


@dataclass(frozen=True, slots=True)
class Plan:
    """The whole plan of one case; a pure function of knowledge, case and bench."""

    case: str
    title: str
    knowledge_digest: str
    bench: str
    stage: str
    refused: tuple[Notice, ...]
    held: tuple[Hold, ...]
    findings: tuple[FindingLine, ...]
    steps: tuple[Step, ...]
    excluded: tuple[Excluded, ...]
    questions: tuple[QuestionLine, ...]
    untested: tuple[Untested, ...]
    conflicts: tuple[ConflictLine, ...]
    waiting: tuple[WaitingLine, ...]
    notices: tuple[Notice, ...]

    def step(self, step_id: str) -> Step | None:
        """Return the step with this id, None if it is not in the plan."""
        return next((step for step in self.steps if step.id == step_id), None)

    def next_step(self) -> Step | None:
        """Return the step to do now, None if there is none."""
        return self.steps[0] if self.steps else None


def plan_data(plan: Plan) -> dict[str, Any]:
    """Return the plan as plain data in the documented form."""
    return asdict(plan)
