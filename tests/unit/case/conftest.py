from pathlib import Path

import pytest

from tests.support.recording import BY_HAND


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "card.yaml"
    path.write_text(BY_HAND, encoding="utf-8")
    return path
