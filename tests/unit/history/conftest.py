from pathlib import Path

import pytest

from tests.support.knowledge import NOON
from triage.service.workshop import Workshop, open_workshop


@pytest.fixture
def shop(tmp_path: Path) -> Workshop:
    """A workshop without a case, over the folder that commands look into by themselves."""
    (tmp_path / "cases").mkdir()
    return open_workshop(cases=tmp_path / "cases", clock=lambda: NOON)
