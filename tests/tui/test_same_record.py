"""The plain session writes the same case file, byte for byte, as the interface."""

import shutil
from pathlib import Path

from tests.support.scripted import Script
from tests.tui.conftest import ROOT, Opened
from tests.tui.driving import CASE, Driver, Hand, driven
from triage.plain.dialogue import Dialogue
from triage.plain.session import PlainSession
from triage.service.workshop import Workshop
from triage.tui.keysets import WORDS


def in_plain_lines(workshop: Workshop, *wanted: str, case: str = CASE) -> str:
    script = Script(*wanted, "stop")
    PlainSession(workshop, Dialogue(script, script.sink)).run(case)
    said = script.sink.getvalue()
    assert script.wanted == [], said[-1500:]
    return said


def folder(root: Path, name: str) -> Path:
    target = root / name
    target.mkdir()
    for case in (CASE, "bench"):
        shutil.copy(ROOT / "cases" / f"{case}.yaml", target)
    (target / "before.jpg").write_bytes(b"x")
    return target


async def by_keys(driver: Driver, hand: Hand) -> None:
    # One pass with its timer, a note and a photo.
    await driver.press("s", "t")
    hand.on(90)
    await driver.press("m")
    await driver.write("grey on the paper")
    await driver.press("down")
    await driver.write("before.jpg")
    await driver.press("enter", "n")
    # An undo with its reason, damage, a release with its reason.
    await driver.press("enter", "b", "z")
    await driver.write("wrong key", "enter", on="walk")
    await driver.press("d", "enter")
    await driver.until(lambda: driver.screen.plan.held, "held")
    await driver.press("ctrl+r")
    await driver.write("a loose hair only", "enter", on="plan")
    # A clean zone, a new finding, an answer, one left as it is.
    await driver.press("l")
    zones = driver.screen._zones()
    await driver.press(*["down"] * (zones.index("mouthparts") + 1), "space", "4", "2")
    question = driver.screen.question
    assert question is not None
    await driver.press(WORDS.answers[0], "ctrl+l")
    await driver.write("too small to see", "enter")


async def test_byte_for_byte(tmp_path: Path, opened_on: Opened) -> None:
    hand = Hand()
    left = opened_on(folder(tmp_path, "left"), hand)
    async with driven(left, case=CASE, clock=hand) as driver:
        await by_keys(driver, hand)

    start = Hand()
    right = opened_on(folder(tmp_path, "right"), start)
    in_plain_lines(right, "#start", "yes", "no")
    start.on(90)
    new = right.load(CASE).findings
    in_plain_lines(
        right,
        *("#start", "#first name the photos", "before.jpg", "", "#no change"),
        "grey on the paper",
        *("#start", "no", "#better", ""),
        *("#take back, with a reason", "wrong key"),
        *("#start", "no", "#damage", ""),
        *("#release the hold", "1", "a loose hair only"),
        *("#say that a zone was looked at", "#mouthparts", "#no side"),
        *("#say that something is seen", "#mouthparts", "#no side"),
    )
    finding = right.load(CASE).findings[-1].id
    assert len(right.load(CASE).findings) == len(new) + 2
    question = right.desk.agenda(right.load(CASE)).about(finding).all[0]
    right.answer(CASE, question.question, question.answers[0][0], finding)
    in_plain_lines(right, "#leave a finding as it is", f"#{finding} ", "too small to see")
    name = f"{CASE}.yaml"
    assert (left.cases / name).read_text() == (right.cases / name).read_text()
    attempts = left.load(CASE).attempts
    assert len(attempts) == 4
    # What is taken back stays; a correction with its reason follows it.
    (back,) = (each for each in attempts if each.corrects)
    assert (back.corrects, back.note) == ("a2", "wrong key")
