"""Every screen by the keys that lead to it from the plan of a demo case."""

from tests.tui.driving import CASE, Driver
from triage.tui.screens import plan
from triage.tui.screens.base import Wanted

SCREENS: dict[str, tuple[str, ...]] = {
    "cases": ("q",),
    "filter": ("q", "slash"),
    "new-case": ("q", "plus"),
    "plan": (),
    "explain": ("f",),
    "desk": ("e",),
    "desk-why": ("e", "1"),
    "desk-why-not": ("e", "2", "9"),
    "desk-what-if": ("e", "6", "1", "2"),
    "observe": ("l",),
    "drawings": ("l", "end", "enter"),
    "questions-whole": ("l", "W"),
    "questions-finding": ("l", "H", "1"),
    "walk": ("s",),
    "particulars": ("s", "m"),
    "stopped": ("s", "escape"),
    "help": ("question_mark",),
    "skip": ("k",),
    "air": ("a",),
    "photos": ("p",),
    "today": ("q", "j"),
    "today-chambers": ("q", "j", "2"),
    "today-record": ("q", "j", "3"),
    "today-worked": ("q", "j", "4"),
    "bench": ("o",),
    "handbook": ("h",),
}


async def home(driver: Driver, case: str = CASE) -> None:
    """Go back to the plan of the case, wherever one is, in the same program."""
    app = driver.app
    while len(app.screen_stack) > 2 and getattr(driver.screen, "case_id", "") != case:
        await app.pop_screen()
    while len(app.screen_stack) > 2 and not driver.at("plan"):
        await app.pop_screen()
    if len(app.screen_stack) == 2:
        if driver.screen.query("#filter").first().display:
            driver.screen.action_leave()
        app.post_message(Wanted("plan", case))
    await driver.on("plan")
    if plan.RESTING_S == 0:
        await driver.assured()
    await driver.press("home")


async def reached(driver: Driver, name: str, case: str = CASE) -> None:
    """Go to a screen by its keys."""
    await home(driver, case)
    await driver.press(*SCREENS[name])
