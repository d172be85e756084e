"""What the quick look takes for a sound case is one, with the same title; the rest is read in full."""

from __future__ import annotations

import os
import random
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.support.case_gen import drawn
from tests.support.knowledge import consultant
from triage.case.changes import new_attempt, with_attempt
from triage.case.folder import list_cases
from triage.case.models import OUTCOMES
from triage.case.quick import quick_title, sound_title
from triage.case.reading import case_from
from triage.case.store import case_text
from triage.errors import TriageError
from triage.yamltext import parse_yaml

DEMOS = sorted((Path(__file__).parents[2] / "cases").glob("*-*.yaml"))
TITLES = ("Card 7", "Hoverfly, place 2", "Dr O'Hara's bee (1931)", "beetle: two", "null", "12", "")
NOTES = ("", "moved it to 12:30, left", "two\nlines", "a long note, " * 30 + "end", "50 % left", "no", "x # y")


def recorded(seed: int):
    """Return a drawn case with attempts, as a person would have worked on it."""
    rng = random.Random(seed)
    title = rng.choice(TITLES[: 7 if seed % 4 == 0 else 4])
    case = drawn(consultant(), seed)[0].model_copy(update={"title": title})
    day = 29 if seed % 9 == 0 else 28
    at = datetime(2024, 2, day, 23, 59, 58, tzinfo=timezone(timedelta(hours=rng.randint(-11, 14))))
    for number in range(rng.choice((0, 1, 2, 6))):
        finding = rng.choice([None, *(f.id for f in case.findings)])
        attempt = new_attempt(
            case.next_attempt_id(),
            at + timedelta(days=17 * number),
            f"{finding or 'case'}-step",
            rng.choice(OUTCOMES),
            finding=finding,
            amount_ml=rng.choice((None, 0.0, 2.5, 40.0, 1e-7 if seed % 9 == 0 else 0.5)),
            minutes=rng.choice((None, 3.0)),
            note=rng.choice(NOTES[: 7 if seed % 4 == 0 else 4]),
            photo_after=rng.choice((None, "photos/after-1.jpg")),
        )
        case = with_attempt(case, attempt)
    return case


def title_in_full(text: str, name: str) -> str | None:
    try:
        case = case_from(parse_yaml(text, "x"), "x")
    except TriageError:
        return None
    return case.title if case.id == name else None


def check(text: str, name: str) -> bool:
    quick = sound_title(text, name)
    if quick is not None:
        assert quick == title_in_full(text, name), text
    return quick is not None


TEXTS = [case_text(recorded(seed)) for seed in range(60)] + [
    path.read_text(encoding="utf-8") for path in DEMOS
]
NAMES = [f"drawn-{seed}" for seed in range(60)] + [path.stem for path in DEMOS]
PIECES = st.sampled_from(
    [
        *("null", "true", "Null", "~", "''", '""', "'", '"', ": ", ":", " #", "#", "- ", "-", "  "),
        *("\n", "\n\n", "\r\n", "\t", "\x1b", "\u202e", "\ufeff", "\u200b", "é", "虫", "[", "{}"),
        *("1e3", "1e999", "007", ".5", "0x1f", "-1", "99999999999", "---", "...", "<<", "*a", "&a"),
        *("id: f1", "finding: f9", "corrects: a1", "signs:", "2026-02-30", "24:00", "|", ">", "!x"),
    ]
)


@st.composite
def changed(draw: st.DrawFn) -> tuple[str, str]:
    """A sound text with lines moved, doubled, taken out or altered."""
    place = draw(st.integers(0, len(TEXTS) - 1))
    lines = TEXTS[place].splitlines(keepends=True)
    for _ in range(draw(st.integers(1, 2))):
        at = draw(st.integers(0, len(lines) - 1))
        what = draw(st.sampled_from(["double", "drop", "swap", "put", "value", "cut", "indent"]))
        if what == "double":
            lines.insert(draw(st.integers(0, len(lines) - 1)), lines[at])
        elif what == "drop" and len(lines) > 1:
            del lines[at]
        elif what == "swap":
            other = draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
        elif what == "put":
            column = draw(st.integers(0, len(lines[at])))
            lines[at] = lines[at][:column] + draw(PIECES) + lines[at][column:]
        elif what == "value":
            lines[at] = lines[at].split(":")[0] + ": " + draw(PIECES) + "\n"
        elif what == "cut":
            lines[at] = lines[at][: draw(st.integers(0, len(lines[at])))]
        else:
            lines[at] = draw(st.sampled_from([" ", "  ", "    "])) + lines[at]
    return "".join(lines), NAMES[place]


def test_most_cases_that_the_store_wrote_are_known_at_once():
    known = sum(check(text, name) for text, name in zip(TEXTS, NAMES, strict=True))
    assert known > 0.6 * len(TEXTS)
    assert all(check(p.read_text(encoding="utf-8"), p.stem) for p in DEMOS)


def test_a_file_of_another_name_is_read_in_full():
    assert sound_title(TEXTS[0], NAMES[1]) is None


def run(count: int) -> list[int]:
    tally = [0, 0]

    @settings(
        max_examples=count, deadline=None, database=None, suppress_health_check=list(HealthCheck)
    )
    @given(changed())
    def watched(pair: tuple[str, str]) -> None:
        tally[check(*pair)] += 1

    watched()
    return tally


def test_what_is_taken_for_sound_is_sound_sample():
    read_in_full, taken = run(1_000)
    assert read_in_full > 100
    assert taken > 50


@pytest.mark.slow
def test_what_is_taken_for_sound_is_sound(capsys):
    read_in_full, taken = run(50_000)
    with capsys.disabled():
        print(f"\n{read_in_full + taken} altered files: {taken} taken for sound and all of them ", end="")
        print(f"sound with that title, {read_in_full} left to be read in full")
    assert taken > 2_500


def test_the_list_tells_the_faults_of_altered_files(tmp_path: Path):
    """The list as a whole against reading each file in full."""
    rng = random.Random(5)
    for number in range(150):
        text = TEXTS[number % len(TEXTS)].replace(NAMES[number % len(NAMES)], f"n-{number}", 1)
        lines = text.splitlines(keepends=True)
        if number % 3:
            del lines[rng.randrange(len(lines))]
        (tmp_path / f"n-{number}.yaml").write_text("".join(lines), encoding="utf-8")
    for entry in list_cases(tmp_path):
        full = title_in_full(entry.path.read_text(encoding="utf-8"), entry.id)
        assert bool(entry.error) == (full is None)
        assert entry.title == " ".join((full or "").split())
    assert any(entry.error for entry in list_cases(tmp_path))


def test_what_is_no_plain_file_is_not_opened_for_long(tmp_path: Path):
    os.mkfifo(tmp_path / "pipe.yaml")
    (tmp_path / "sub.yaml").mkdir()
    large = TEXTS[0].replace("title:", "#" + "x" * 200_000 + "\ntitle:", 1)
    (tmp_path / "large.yaml").write_text(large, encoding="utf-8")
    for name in ("pipe", "sub", "large", "gone"):
        assert quick_title(str(tmp_path / f"{name}.yaml"), name) is None


@pytest.mark.parametrize("moment", ["2026-02-29", "2026-04-31", "2026-13-01", "2026-00-10"])
def test_a_day_that_is_none_is_left_to_the_full_reading(moment: str):
    case = recorded(1)
    at = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)
    text = case_text(with_attempt(case, new_attempt("a99", at, "s", "better")))
    assert sound_title(text, case.id) is None or "2026-03-02" in text
    assert sound_title(text.replace("2026-03-02", moment), case.id) is None
