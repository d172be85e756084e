"""A case is frozen, counts corrections, and is held until a person releases it."""

from __future__ import annotations

import pickle
from datetime import UTC, datetime
from pathlib import Path

import pytest
from pydantic import ValidationError

from triage.case.changes import (
    new_attempt,
    new_case,
    new_finding,
    with_accepted,
    with_answer,
    with_answers,
    with_attempt,
    with_changed,
    with_correction,
    with_finding,
    with_override,
    with_release,
    with_sign,
    with_taxon,
    with_timer,
    without_timer,
)
from triage.case.folder import photo_path
from triage.case.models import Case, Timer
from triage.case.store import case_text, create_case, load_case
from triage.errors import TriageError

NOW = datetime(2026, 3, 2, 10, 15, tzinfo=UTC)


def case_with(*outcomes: str) -> Case:
    case = with_finding(new_case("card-1", "Card"), new_finding("f1", "thorax-hairy"))
    for outcome in outcomes:
        case = with_attempt(
            case, new_attempt(case.next_attempt_id(), NOW, "s1", outcome, finding="f1")
        )
    return case


def test_values_are_frozen_and_the_old_case_stays() -> None:
    case = case_with()
    answered = with_answer(case, "hydration", "dry")
    assert not case.answers
    assert answered.answers == {"hydration": "dry"}
    with pytest.raises(ValidationError):
        answered.title = "other"  # type: ignore[misc]
    for act in (
        lambda: answered.answers.update(hydration="wet"),
        lambda: answered.answers.__setitem__("hydration", "wet"),
        lambda: answered.answers.pop("hydration"),
        answered.answers.clear,
        lambda: answered.answers.setdefault("x", "y"),
        lambda: answered.answers.__ior__({"x": "y"}),
    ):
        with pytest.raises(TypeError):
            act()
    assert pickle.loads(pickle.dumps(answered)) == answered  # noqa: S301
    assert hash(answered) == hash(with_answer(case_with(), "hydration", "dry"))


def test_truth_values_are_answers_in_words(tmp_path: Path) -> None:
    path = tmp_path / "c.yaml"
    path.write_text(
        "format: 1\nid: c\nanswers: {a: no, b: true, c: False, d: off, e: 2019-05-01, f: , g: 3}\n",
        encoding="utf-8",
    )
    assert load_case(path).answers == {
        "a": "no",
        "b": "yes",
        "c": "no",
        "d": "off",
        "e": "2019-05-01",
        "f": "unknown",
        "g": "3",
    }


def test_changes_of_answers_findings_and_signs() -> None:
    case = with_answers(case_with(), {"a": "yes", "b": "no"})
    case = with_answer(case, "a", None)
    assert case.answers == {"b": "no"}
    case = with_sign(with_sign(case, "f1", "sheen", "wet"), "f1", "puff", "stays")
    assert case.finding("f1").signs == {"sheen": "wet", "puff": "stays"}
    assert with_sign(case, "f1", "sheen", None).finding("f1").signs == {"puff": "stays"}
    assert with_changed(case, "f1", named="oily-film").finding("f1").named == "oily-film"
    assert with_accepted(case, "f1", "too frail").finding("f1").accepted
    with pytest.raises(TriageError, match="without a reason"):
        with_accepted(case, "f1", " ")
    with pytest.raises(TriageError, match='no finding "f2"'):
        with_sign(case, "f2", "sheen", "wet")
    assert case.next_finding_id() == "f2"
    assert with_taxon(case, "beetles").taxon == "beetles"
    marked = new_case("card-2", specimen={"length_mm": 14, "marks": ["a", "b"]})
    assert marked.specimen["marks"] == ("a", "b")


def test_corrections_take_the_place_of_their_original() -> None:
    case = case_with("no-change", "better", "cleared")
    case = with_correction(case, "a1", NOW, outcome="not-done")
    assert [(a.id, a.outcome) for a in case.effective_attempts()] == [
        ("a4", "not-done"),
        ("a2", "better"),
        ("a3", "cleared"),
    ]
    case = with_correction(case, "a4", NOW, outcome="better")
    assert [a.id for a in case.effective_attempts()] == ["a5", "a2", "a3"]
    case = with_correction(case, "a1", NOW, outcome="no-change")
    assert [a.id for a in case.effective_attempts()] == ["a6", "a2", "a3"]
    assert [a.id for a in case.attempts] == ["a1", "a2", "a3", "a4", "a5", "a6"]


@pytest.mark.parametrize("outcome", ["worse", "damage"])
def test_harm_holds_until_released_with_a_reason(outcome: str) -> None:
    case = case_with("better", outcome)
    assert case.held_by() == ("a2",)
    with pytest.raises(TriageError, match="without a reason"):
        with_release(case, NOW, "a2", "  ")
    with pytest.raises(TriageError, match="holds nothing"):
        with_release(case, NOW, "a1", "fine")
    with pytest.raises(TriageError, match='no attempt "a9"'):
        with_release(case, NOW, "a9", "fine")
    released = with_release(case, NOW, "a2", "only the card was stained")
    assert released.held_by() == ()
    again = with_attempt(released, new_attempt("a3", NOW, "s1", outcome, finding="f1"))
    assert again.held_by() == ("a3",)


def test_a_correction_is_no_silent_way_round_a_release() -> None:
    case = case_with("damage")
    with pytest.raises(TriageError, match="corrected without a note"):
        with_correction(case, "a1", NOW, outcome="not-done")
    assert with_correction(case, "a1", NOW, outcome="not-done", note="wrong key").held_by() == ()
    # The attempt that counts is what needs the note, by whichever link it is reached.
    case = with_correction(case_with("better"), "a1", NOW, outcome="damage")
    assert case.held_by() == ("a2",)
    with pytest.raises(TriageError, match="corrected without a note"):
        with_correction(case, "a1", NOW, outcome="better")
    # A release belongs to one attempt: harm recorded by a later correction holds again.
    case = with_release(case, NOW, "a2", "looked again")
    assert with_correction(case, "a2", NOW, outcome="worse").held_by() == ("a3",)


def test_timers_one_per_step() -> None:
    timer = Timer(step="s1", started=NOW, ends=NOW)
    case = with_timer(
        with_timer(case_with(), timer), Timer(step="s1", started=NOW, ends=NOW, label="x")
    )
    assert [t.label for t in case.timers] == ["x"]
    assert without_timer(case, "s1").timers == ()
    assert without_timer(case, "s2") == case


def test_overrides_are_kept_as_written(tmp_path: Path) -> None:
    case = with_override(
        case_with(),
        NOW,
        "skip-method",
        finding="f1",
        method="brush-dry",
        reason="no brush",
        by="me",
    )
    assert load_case(create_case(tmp_path, case)) == case
    assert "by: me" in case_text(case)


def test_photos_stay_in_the_folder_of_the_case(tmp_path: Path) -> None:
    folder = tmp_path / "cases"
    folder.mkdir()
    (folder / "out").symlink_to(tmp_path)
    assert photo_path(folder / "c.yaml", "photos/a.jpg") == folder.resolve() / "photos" / "a.jpg"
    for outside in ("out/a.jpg", "../a.jpg", "/etc/hostname"):
        with pytest.raises(TriageError, match="outside the folder"):
            photo_path(folder / "c.yaml", outside)
