from pathlib import Path

import pytest

from triage.errors import TriageError
from triage.service.settings import Settings, load_settings, save_settings


def test_no_file_says_nothing(tmp_path: Path) -> None:
    assert load_settings(tmp_path / "none.yaml") == Settings()


def test_what_is_not_known_stays(tmp_path: Path) -> None:
    place = tmp_path / "new" / "settings.yaml"
    save_settings(place, Settings(keys="left", sound="off"))
    place.write_text(place.read_text() + "window: {left: 3}\n")
    save_settings(place, Settings(keys="right", theme="nord"))
    assert load_settings(place) == Settings("right", "nord", "on", "on", {"window": {"left": 3}})


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("keys: lefty\n", 'did you mean "left"'),
        ("- keys\n", "lines like keys: left"),
        ("keys: [\n", "settings.yaml:"),
        ("theme: 7\n", "write a word"),
        ("motion: 1.5\n", "write a word"),
    ],
)
def test_a_broken_file_is_told_and_never_written_over(tmp_path: Path, text: str, told: str) -> None:
    place = tmp_path / "settings.yaml"
    place.write_text(text)
    with pytest.raises(TriageError) as fault:
        load_settings(place)
    assert told in fault.value.line()
    with pytest.raises(TriageError):
        save_settings(place, Settings())
    assert place.read_text() == text


def test_yes_and_no_of_yaml(tmp_path: Path) -> None:
    place = tmp_path / "settings.yaml"
    place.write_text("sound: false\nmotion: true\n")
    assert load_settings(place) == Settings(sound="off", motion="on")


def test_a_folder_in_the_way(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(TriageError, match="cannot be kept"):
        save_settings(tmp_path / "file" / "settings.yaml", Settings())
