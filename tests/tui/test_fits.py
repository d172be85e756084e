"""At 80x24 a step is one page in reading order; stop points and outcomes stay in view."""

from textual.widgets import Static

from tests.support.knowledge import shipped
from tests.tui.driving import driven, next_step
from triage.plan.model import Step
from triage.service.workshop import Workshop
from triage.tui.hanging import beside
from triage.tui.screens.walk import WalkScreen
from triage.tui.widgets.frame import fitted


async def test_every_method_of_the_demo_cases(workshop: Workshop) -> None:
    seen: set[str] = set()
    async with driven(workshop) as driver:
        for entry in workshop.entries():
            for step in workshop.plan(workshop.load(entry.id)).steps:
                if step.method in seen:
                    continue
                seen.add(step.method)
                screen = WalkScreen(driver.app.services, entry.id, step.id)
                driver.app.push_screen(screen)
                await driver.settled()
                for panel in dict.fromkeys((screen.panel, "work")):
                    if panel != screen.panel:
                        screen._open(panel)
                        await driver.settled()
                    assert screen.query_one("#stops").max_scroll_y == 0, (step.method, panel)
                    page = screen.query_one(f"#{panel}")
                    text = page.query("Static").first(Static)
                    # Nothing stands beside the page, and it scrolls to its last line.
                    assert page.max_scroll_x == 0, (step.method, panel)
                    assert ("PgDn reads on" in driver.text) is bool(page.max_scroll_y)
                    assert page.virtual_size.height >= text.region.height
                    if panel != "hold":
                        drawn = text.content.drawn(text.size.width).plain
                        assert text.region.height == drawn.count("\n") + 1
                        assert_read_in_order(step, drawn)
                for point in step.stop_points:
                    assert point.see.split()[0] in driver.text
                for words in step.outcomes.values():
                    assert words in driver.text
                assert screen.query_one("#outcomes").size.height == 1
                driver.app.pop_screen()
                await driver.settled()
    assert len(seen) > 20


def test_the_keys_of_every_kind_of_step_stand_in_one_line() -> None:
    """Of each outcome its key with a space on both sides, its words with one before, two behind."""
    for kind in shipped().outcomes.values():
        assert sum(6 + len(words) for words in kind.words.values()) <= 80, kind.id


def assert_read_in_order(step: Step, page: str) -> None:
    """Protect, prepare, do, stop if, rinse and dry, away; nothing behind a key."""
    lines = [line.strip().capitalize() for line in page.splitlines()]
    labels = ("Caution", "Protect", "Make ready", "Done when", "Stop if", "Rinse and dry", "Away")
    found = [lines.index(label) for label in labels if label in lines]
    assert found == sorted(found), (step.method, page)
    told = (
        *(caution.text for caution in step.cautions),
        *(line.sentence for line in step.make_up),
        *(point.see for point in step.stop_points),
        *(*step.do, *step.rinse, *step.disposal),
    )
    read = " ".join(page.lower().split())
    for text in told:
        assert " ".join(text.rstrip(".").lower().split()) in read, (step.method, text)


def test_a_long_label_stays_set_in_under_its_first_word() -> None:
    row = beside("  neutral detergent, nonionic (a drop of dish detergent)", "5 mL, not known")
    first, *more = row.draw(76).plain.splitlines()
    assert first.startswith("  neutral detergent")
    assert first.endswith("5 mL, not known")
    assert more
    assert all(line.startswith("    ") and line.strip() for line in more)
    assert " ".join(" ".join([first[:33], *more]).split()) == row.sign.strip()


def test_of_a_long_place_the_name_is_cut() -> None:
    place = "Skimmer dragonfly, water meadow plate, place 8 · clean · rung 1/6 · pass 1/3"
    assert fitted(place, 76) == place
    assert fitted(place, 60) == "Skimmer dragonfly, water me... · clean · rung 1/6 · pass 1/3"
    shorter = fitted("A long name of a case: look, choose a zone", 32)
    assert shorter == "A long n...: look, choose a zone"
    assert fitted("A place without anything behind it", 20) == "A place without a..."
    for width in range(4, 80):
        assert len(fitted(place, width)) <= width


async def test_rung_and_pass_stand_beside_a_running_timer(workshop: Workshop) -> None:
    case = "skimmer-plate-8"
    step = next_step(workshop, case)
    workshop.start_timer(case, step.id, 600, "puff")
    async with driven(workshop, case=case) as driver:
        await driver.press("s", on="walk")
        await driver.until(lambda: "left" in driver.text.splitlines()[0], "no time left")
        said = f"rung {step.rung}/{step.rungs} · pass 1/{step.passes}"
        assert said in driver.text.splitlines()[0]
