"""Random keys at full speed over the demo cases: no crash, whole files, no record that nobody made.

The suite types a few hundred in each set of keys; the long form types 2,000 in each:
``pytest tests/tui/test_random_keys.py -m slow -n 0``.
"""

import asyncio
import random
import string
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import pytest
from textual.command import CommandPalette

from tests.tui.conftest import Opened
from tests.tui.driving import Driver, Hand, Pulse, driven
from tests.tui.test_key_table import bound
from triage.case.models import Attempt, Case
from triage.case.store import load_case
from triage.service.workshop import Workshop
from triage.tui.keysets import SETS, KeySet
from triage.tui.screens.base import OPENING_S
from triage.tui.screens.recording import RecordingScreen

# Of a burst; one key comes a hundredth of a second after the other.
MOST_KEYS, BETWEEN_KEYS_S = 12, 0.01
PAUSES_S = (0.0, 0.2, 1.0, 3.0)
AWAY_S = (0, 0, 1, 30, 4000, 30000)
# What ends the program is typed in bursts of its own.
ENDING = ("ctrl+q", "Q")


def keys_of(keyset: KeySet) -> list[str]:
    """Return what may be typed: every key of every screen, letters, and often what records."""
    all_keys = {each.strip() for keys, _ in bound(keyset) for each in keys.split(",")}
    keys = sorted((all_keys | {*string.ascii_letters, *string.digits}) - {*ENDING})
    often = [*keyset.keys_of("start"), *keyset.keys_of("choose"), *"123456", "enter"]
    return [*keys, *often * 3, *keyset.outcomes * 3]


@dataclass
class Watch:
    """What is known of the files and screens, looked at from outside after each burst."""

    folder: Path
    pressed: int = 0
    kept: dict[str, tuple[Attempt, ...]] = field(default_factory=dict)
    # Since when a step stands on its screen, at the earliest.
    stands: dict[tuple[int, str, str, int], float] = field(default_factory=dict)
    recorded: int = 0
    seen: dict[str, tuple[Attempt, ...]] = field(default_factory=dict)

    def cases(self) -> dict[str, Case]:
        paths = [p for p in sorted(self.folder.glob("*.yaml")) if p.stem != "bench"]
        return {path.stem: _read(path, path.read_bytes()) for path in paths}

    def look(self, driver: Driver, began_s: float, ended_s: float) -> None:
        """Check the files after a burst that lasted from ``began_s`` to ``ended_s``."""
        for case_id, case in self.cases().items():
            before = self.kept.pop(case_id, ())
            assert case.attempts[: len(before)] == before, f"{case_id}: a record was altered"
            names = [each.id for each in case.attempts]
            assert len(names) == len(set(names)), f"{case_id}: recorded twice"
            for attempt in case.attempts[len(before) :]:
                if attempt.corrects is None:
                    self._is_due(attempt, ended_s)
            self.seen[case_id] = case.attempts
        assert not self.kept, "a case was lost"
        self.kept, self.seen = self.seen, {}
        self._note(driver, began_s)

    def _is_due(self, attempt: Attempt, ended_s: float) -> None:
        """An outcome key was left for this record, and its step stood for half a second."""
        self.recorded += 1
        assert self.recorded <= self.pressed, "a record that no outcome key made"
        since = [
            since
            for (_, step, panel, _), since in self.stands.items()
            if step == attempt.step and (panel == "work" or attempt.outcome == "not-done")
        ]
        assert since, f"{attempt.step}: {attempt.outcome} before it could be seen"
        assert ended_s - min(since) >= OPENING_S, f"{attempt.step}: {attempt.outcome} too soon"

    def _note(self, driver: Driver, began_s: float) -> None:
        """Note which steps stand open now, since the beginning of this burst or longer."""
        now = {
            (id(each), each.step.id, each.panel, len(each.case.attempts)): began_s
            for each in driver.app.screen_stack
            if isinstance(each, RecordingScreen) and each.step is not None and each.case
        }
        self.stands = {key: self.stands.get(key, since) for key, since in now.items()}


@cache
def _read(path: Path, _text: bytes) -> Case:
    return load_case(path)


def towards(driver: Driver, keyset: KeySet) -> list[str]:
    """Return keys that bring a step nearer to its outcome, so that something is recorded at all."""
    screen = driver.screen
    if driver.at("plan"):
        return [keyset.keys_of("start")[0]]
    if not isinstance(screen, RecordingScreen):
        return [keyset.keys_of("leave")[0]]
    if screen.panel == "ready":
        return [keyset.pick(at) for at in range(10)] + ["enter"]
    return [*"seen", "enter"] if screen.panel == "hold" else [keyset.outcomes[1]]


async def burst(driver: Driver, keys: list[str], pulse: Pulse, dice: random.Random) -> None:
    """Type keys without waiting for more than the screen that takes them."""
    for key in keys:
        pulse.seconds += BETWEEN_KEYS_S
        driver.send(key)
        share = dice.random()  # half of them at once, half while the last one is under way
        for _ in range(int(80 * share) if share < 0.5 else 0):
            await asyncio.sleep(0)


async def alive(driver: Driver) -> None:
    """STOP comes from wherever one is, and what stood before comes back."""
    below = driver.screen
    if driver.at("stop"):
        return
    await driver.press("escape")
    assert driver.at("stop"), driver.text
    assert "Take the tool off the specimen" in driver.text
    await driver.press("f9")
    assert driver.screen is below or isinstance(below, CommandPalette), driver.text


async def typed(workshop: Workshop, keyset: KeySet, count: int) -> None:
    """Type ``count`` random keys; where the program is left, it is begun again."""
    dice, hand, pulse = random.Random(keyset.id), Hand(), Pulse(a_look_s=0.0)
    workshop.clock = hand
    keys, watch = keys_of(keyset), Watch(workshop.cases)
    ids = sorted(watch.cases())
    watch.kept = {case_id: case.attempts for case_id, case in watch.cases().items()}
    left = count
    while left > 0:
        watch.stands = {}
        case = dice.choice([*ids, None])
        async with driven(workshop, case=case, clock=hand, pulse=pulse) as driver:
            driver.app._use_keys(keyset)
            until = left - dice.randint(20, 120)
            while left > max(0, until) and driver.app._exit is False:
                pressed = dice.choices(keys, k=dice.randint(1, MOST_KEYS))
                if dice.random() < 0.6:
                    pressed = [*towards(driver, keyset), *pressed]
                watch.pressed += sum(key in keyset.outcomes for key in pressed)
                left -= len(pressed)
                began_s = pulse.seconds
                await burst(driver, pressed, pulse, dice)
                await driver.settled()
                watch.look(driver, began_s, pulse.seconds)
                if driver.app._exit is False and dice.random() < 0.1:
                    await alive(driver)
                pulse.seconds += dice.choice(PAUSES_S)
                hand.on(dice.choice(AWAY_S))
    assert watch.recorded >= count // 250, "hardly anything was recorded"
    print(f"{keyset.id}: {count} keys, {watch.pressed} outcomes, {watch.recorded} records")


@pytest.mark.parametrize("count", [250, pytest.param(2000, marks=pytest.mark.slow)])
@pytest.mark.parametrize("keyset", SETS.values(), ids=lambda each: each.id)
async def test_random_keys_at_full_speed(
    keyset: KeySet, count: int, demo: Path, opened_on: Opened
) -> None:
    await typed(opened_on(demo), keyset, count)
