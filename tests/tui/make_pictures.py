"""Draw the pictures of the README from the demo cases: python tests/tui/make_pictures.py."""

import asyncio
import os
import re
import sys
import tempfile
from html import unescape
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.support.knowledge import copy_demo  # noqa: E402
from tests.tui.driving import Hand, driven  # noqa: E402
from tests.tui.places import reached  # noqa: E402
from triage.service.workshop import open_workshop  # noqa: E402
from triage.tui.screens import plan  # noqa: E402

SIZE = (100, 30)
PICTURES = (
    ("look", "bumblebee-plate-3", "observe", ("down",) * 6),
    ("plan", "bumblebee-plate-3", "plan", ()),
    ("air", "rose-chafer-plate-1", "air", ()),
    ("walk", "bumblebee-plate-3", "walk", ("t",)),
)


RUN = re.compile(
    r'<text ([^>]*)x="([\d.]+)"([^>]*)textLength="([\d.]+)"([^>]*)>((?:&#160;)+)([^<]*)</text>'
)


def begun_at_its_first_letter(run: re.Match[str]) -> str:
    """Return a run of letters without the blanks before it: some viewers leave those out."""
    before, x, between, length, after, blanks, text = run.groups()
    count = len(blanks) // len("&#160;")
    width = float(length) / (count + len(unescape(text)))
    if not text:
        return ""
    x, length = f"{float(x) + count * width:.6g}", f"{float(length) - count * width:.6g}"
    return f'<text {before}x="{x}"{between}textLength="{length}"{after}>{text}</text>'


async def draw(into: Path) -> None:
    """Draw every picture into a folder."""
    plan.RESTING_S = 0  # the plan tells how firm its steps are
    os.environ.pop("NO_COLOR", None)
    with tempfile.TemporaryDirectory() as made:
        cases = Path(made) / "cases"
        copy_demo(cases)
        hand = Hand()
        async with driven(open_workshop(cases=cases, clock=hand), size=SIZE, clock=hand) as driver:
            for name, case, screen, keys in PICTURES:
                await reached(driver, screen, case)
                await driver.press(*keys)
                svg = driver.app.export_screenshot(title="triage", simplify=True)
                # No font from elsewhere: a picture must not call home when somebody looks at it.
                svg = re.sub(r"\s*@font-face \{[^}]*\}", "", svg)
                svg = re.sub(r"terminal-\d+", f"terminal-{name}", svg)
                svg = RUN.sub(begun_at_its_first_letter, svg)
                (into / f"{name}.svg").write_text(svg, encoding="utf-8")


if __name__ == "__main__":
    folder = Path(__file__).parent / "pictures"
    folder.mkdir(exist_ok=True)
    asyncio.run(draw(folder))
