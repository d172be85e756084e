"""In the interface a text from a case file is text: no markup, no link, no key of its own."""

from __future__ import annotations

import pytest

from tests.injection.test_bench_and_rules import bench
from tests.support.hostile import TEXTS, write
from tests.tui.conftest import opened_on  # noqa: F401  (a fixture)
from tests.tui.driving import driven
from triage.tui.screens.cases import CasesScreen
from triage.tui.screens.plan import PlanScreen

SHOWN = ("terminal-markup", "markup-unclosed", "html", "markdown", "newline", "format", "long")


@pytest.mark.parametrize("kind", SHOWN)
async def test_list_and_plan_show_it_as_it_is(kind, tmp_path, opened_on):  # noqa: F811
    write(tmp_path, TEXTS[kind])
    bench(tmp_path)
    async with driven(opened_on(tmp_path)) as driver:
        await driver.on(CasesScreen)
        start = " ".join(TEXTS[kind].split())[:24].strip()
        assert start in driver.text
        assert "@click" not in str(
            [
                s.meta
                for line in driver.screen._compositor.render_strips()
                for s in [x.style for x in line if x.style]
            ]
        )
        await driver.press("enter", on=PlanScreen)
        assert start in driver.text
