"""No two lines about safety that stand at one step speak against each other, whatever the method.

The whole of a step is read, as a plan holds it: what to wear, what to do, the cautions, the waste.
"""

from __future__ import annotations

import re
from typing import Any

import pytest

from tests.knowledge.test_entries import step_of
from tests.support.intake import SOUND
from tests.support.knowledge import shipped
from triage.knowledge.book import Knowledge

GLOVES = {m.name: m.id for m in shipped().materials.values() if m.role == "glove"}
STUFFS = ("nitrile", "butyl", "neoprene", "rubber", "pvc", "pva", "laminate", "fluoroelastomer")
INTO_THE_DRAIN = "may go down the drain"
NOT_INTO_IT = re.compile(r"\b(no|not)\b[^.;]*\b(drain|pour)|closed, labelled")
# A sentence that says that a glove lets something through does not say to wear it.
LETS_THROUGH = re.compile(r"\bthrough\b|\bminute|\bfails?\b")
OLD_AND_MOULDY = SOUND | {"age": "before-1990", "mouldy-smell": "yes"}


def _named(lines: tuple[str, ...]) -> set[str]:
    """The gloves that are named, in lines of the form "agent: glove, note"."""
    return {g for line in lines for g in GLOVES if line.split(": ", 1)[1].startswith(g)}


def _of(stuff: str, gloves: set[str]) -> bool:
    return any(stuff in GLOVES[g] for g in gloves)


def _sentences(step: Any) -> list[str]:
    said = [*step.do, *step.rinse, step.tool, *step.protection.breathing]
    return [*said, *(line.text for line in step.cautions)]


@pytest.fixture(params=["sound", "old-and-mouldy"])
def answers(request: pytest.FixtureRequest) -> dict[str, str]:
    return SOUND if request.param == "sound" else OLD_AND_MOULDY


@pytest.mark.parametrize("method", sorted(shipped().methods))
def test_the_lines_of_a_step_do_not_speak_against_each_other(
    method: str, answers: dict[str, str]
) -> None:
    step = step_of(method, answers)
    holds, fails = _named(step.protection.gloves), _named(step.protection.gloves_fail)
    assert not holds & fails
    assert holds or not fails, "a glove is named that fails, and none that holds"
    for sentence in _sentences(step):
        said = {s for s in STUFFS if re.search(rf"\b{s}\b", sentence, re.IGNORECASE)}
        worn = {s for s in said if _of(s, fails) and not _of(s, holds)}
        assert not worn or LETS_THROUGH.search(sentence), sentence
    waste = [*step.disposal, *(x.text for x in step.cautions if x.kind == "disposal")]
    into = [line for line in waste if INTO_THE_DRAIN in line]
    kept_out = [line for line in waste if INTO_THE_DRAIN not in line and NOT_INTO_IT.search(line)]
    assert not (into and kept_out)


def test_gloves_and_drain_are_spoken_of_at_all() -> None:
    """What the test above compares stands there: it is not silent for want of words."""
    steps = [step_of(method, SOUND) for method in ("ethanol-70-brush", "wash-detergent")]
    assert _named(steps[0].protection.gloves)
    assert _named(steps[0].protection.gloves_fail)
    assert any(NOT_INTO_IT.search(line) for line in steps[0].disposal)
    assert any(INTO_THE_DRAIN in line for line in steps[1].disposal)


# Tool -> words of a tool line that mean it.
TOLD_BY = {
    "soft-brush": r"soft brush|softest brush|fine brush|soft natural-hair brush",
    "single-hair-brush": r"soft hairs in a handle",
    "lens-tissue": r"lens tissue",
    "filter-paper": r"filter paper",
    "dropper": r"dropper",
    "vials": r"\bvials?\b",
    "small-bath": r"glass bath|covered bath|glass vessel|glass jar|closed glass dish",
    "ph-strips": r"pH strips",
    "thermometer": r"thermometer",
    "minuten-pick": r"minuten pin",
    "warm-plate": r"warm plate",
    "puffer": r"hand puffer",
    "hepa-suction": r"high-efficiency filter",
    "freezer": r"freezer",
    "ultrasonic-bath": r"ultrasonic bath",
    "foam-board-solvent-safe": r"cork board",
    "airtight-chamber": r"perforated shelf|damp chamber",
}
# (method, tool) of which the tool line speaks and the needs do not, or not yet: one of two will do,
# or whoever lacks it is still offered the method. Who mends one takes it out here.
NOT_ASKED_FOR = {
    ("blot-dry", "lens-tissue"),
    ("chamber-eyes-hours", "filter-paper"),
    ("air-out", "thermometer"),
    ("alkaline-surfactant-brush", "lens-tissue"),
    ("ammonia-1-brush", "dropper"),
    ("ammonia-surfactant-brush", "dropper"),
    ("chamber-acetic", "dropper"),
    ("chamber-water-phenol", "dropper"),
    ("dip-ammonia-surfactant", "small-bath"),
    ("freeze-quarantine", "thermometer"),
    ("pepsin-joint", "soft-brush"),
    ("pepsin-joint", "warm-plate"),
    ("pick-under-alcohol", "dropper"),
    ("protease-dab", "ph-strips"),
    ("rinse-neutral", "dropper"),
    ("rinse-neutral", "filter-paper"),
    ("warm-water-soak-beetle", "small-bath"),
    ("warm-water-soak-beetle", "thermometer"),
    ("water-distilled-rinse", "filter-paper"),
}


def test_what_the_tool_line_names_is_asked_for(knowledge: Knowledge) -> None:
    """A bench without the tool that a step is done with is not offered the step."""
    named = {
        (method.id, tool)
        for method in knowledge.methods.values()
        for tool, words in TOLD_BY.items()
        if re.search(words, method.tool) and tool not in method.needs
    }
    assert named == NOT_ASKED_FOR


# What a vessel holds [mL], and what a brush, a tissue or a dropper gives at a touch: twenty drops.
HOLDS_ML = {"vials": 20.0, "small-bath": 60.0}
AT_A_TOUCH_ML = 1.0
# A wide vial with a sieve, drops until the paper is neutral, a closed dish for a large dragonfly.
LARGER = {"wash-detergent-shake", "rinse-neutral", "set-dry-acetone"}


def test_no_step_takes_more_than_what_it_is_done_with_holds(knowledge: Knowledge) -> None:
    over = set()
    for method in knowledge.methods.values():
        most = [HOLDS_ML[need] for need in method.needs if need in HOLDS_ML]
        if knowledge.techniques[method.technique].contact == "touch":
            most = [AT_A_TOUCH_ML]
        if method.amount and most and method.amount.typical_ml > min(most):
            over.add(method.id)
    assert over == LARGER


NUMBER = r"(-?\d+(?:\.\d+)?)"
TOLD = {
    "strength": "%",
    "temp_c": "degC",
    "dwell_s": r"(?:s|seconds?|min|minutes?|h|hours?|days?)\b(?! each)",
}
SECONDS = {"s": 1.0, "m": 60.0, "h": 3600.0, "d": 86400.0}
# Where the words tell of the way up by steps, or of the alcohol that follows, and not of the main agent.
OF_ANOTHER = {
    ("weaken-alcohol", "strength"),
    ("out-of-formalin", "strength"),
    ("set-dry-alcohol-ladder", "dwell_s"),
}


def _told(field: str, words: str) -> set[float]:
    """The figures that words give of a field, in its unit."""
    found: set[float] = set()
    pattern = rf"(?:{NUMBER} (?:to|and) )?{NUMBER} ({TOLD[field]})"
    for *figures, unit in re.findall(pattern, words):
        factor = SECONDS[unit[0]] if field == "dwell_s" else 1.0
        found |= {float(figure) * factor for figure in figures if figure}
    return found


@pytest.mark.parametrize("field", TOLD)
def test_the_words_of_a_step_give_the_figures_of_its_data(field: str, knowledge: Knowledge) -> None:
    """Whoever follows the words does what the plan reckons with: strength, warmth and time."""
    otherwise, told_of = set(), 0
    for method in knowledge.methods.values():
        told = _told(field, " ".join((method.name, method.tool, *method.do)))
        held = getattr(method, field)
        if not told or held is None or (field == "strength" and "%" not in held.unit):
            continue
        told_of += 1
        if field == "strength":
            is_said = held.value in told
        elif field == "temp_c":
            is_said = not told.isdisjoint({held.start, held.most})
        else:
            is_said = any(held.start <= figure <= held.most for figure in told)
        if not is_said:
            otherwise.add((method.id, field))
    assert otherwise == {each for each in OF_ANOTHER if each[1] == field}
    assert told_of
