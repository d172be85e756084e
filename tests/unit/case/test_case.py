"""A case is frozen and held until a person releases it, and nothing recorded in its file is lost."""

import pickle
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from filelock import FileLock
from pydantic import ValidationError

from tests.support.recording import BY_HAND, NOW, append_attempt, attempt_for
from triage.case import changes, store
from triage.case.folder import photo_path
from triage.case.models import Case, Timer
from triage.case.store import case_text, create_case, load_case, update_case
from triage.errors import TriageError


def case_with(*outcomes: str) -> Case:
    case = changes.with_finding(
        changes.new_case("card-1", "Card"), changes.new_finding("f1", "thorax-hairy")
    )
    for outcome in outcomes:
        case = changes.with_attempt(case, attempt_for(case, outcome=outcome, finding="f1"))
    return case


def test_values_are_frozen_and_the_old_case_stays() -> None:
    case = case_with()
    answered = changes.with_answer(case, "hydration", "dry")
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
    assert hash(answered) == hash(changes.with_answer(case_with(), "hydration", "dry"))


def test_truth_values_are_answers_in_words(tmp_path: Path) -> None:
    path = tmp_path / "c.yaml"
    told = "{a: no, b: true, c: False, d: off, e: 2019-05-01, f: , g: 3}"
    path.write_text(f"format: 1\nid: c\nanswers: {told}\n", encoding="utf-8")
    answers = ("no", "yes", "no", "off", "2019-05-01", "unknown", "3")
    assert load_case(path).answers == dict(zip("abcdefg", answers, strict=True))


def test_changes_of_answers_findings_and_signs() -> None:
    case = changes.with_answers(case_with(), {"a": "yes", "b": "no"})
    case = changes.with_answer(case, "a", None)
    assert case.answers == {"b": "no"}
    case = changes.with_sign(changes.with_sign(case, "f1", "sheen", "wet"), "f1", "puff", "stays")
    assert case.finding("f1").signs == {"sheen": "wet", "puff": "stays"}
    assert changes.with_sign(case, "f1", "sheen", None).finding("f1").signs == {"puff": "stays"}
    assert changes.with_changed(case, "f1", named="oily-film").finding("f1").named == "oily-film"
    assert changes.with_accepted(case, "f1", "too frail").finding("f1").accepted
    with pytest.raises(TriageError, match="without a reason"):
        changes.with_accepted(case, "f1", " ")
    with pytest.raises(TriageError, match='no finding "f2"'):
        changes.with_sign(case, "f2", "sheen", "wet")
    assert case.next_finding_id() == "f2"
    assert changes.with_taxon(case, "beetles").taxon == "beetles"
    marked = changes.new_case("card-2", specimen={"length_mm": 14, "marks": ["a", "b"]})
    assert marked.specimen["marks"] == ("a", "b")


def test_corrections_take_the_place_of_their_original() -> None:
    case = case_with("no-change", "better", "cleared")
    for wrong, outcome, effective in (
        ("a1", "not-done", "a4 a2 a3"),
        ("a4", "better", "a5 a2 a3"),
        ("a1", "no-change", "a6 a2 a3"),
    ):
        case = changes.with_correction(case, wrong, NOW, outcome=outcome)
        held = case.effective_attempts()
        assert [a.id for a in held] == effective.split()
        assert [a.outcome for a in held] == [outcome, "better", "cleared"]
    assert [a.id for a in case.attempts] == ["a1", "a2", "a3", "a4", "a5", "a6"]


@pytest.mark.parametrize("outcome", ["worse", "damage"])
def test_harm_holds_until_released_with_a_reason(outcome: str) -> None:
    case = case_with("better", outcome)
    assert case.held_by() == ("a2",)
    for attempt, reason, told in (
        ("a2", "  ", "without a reason"),
        ("a1", "fine", "holds nothing"),
        ("a9", "fine", 'no attempt "a9"'),
    ):
        with pytest.raises(TriageError, match=told):
            changes.with_release(case, NOW, attempt, reason)
    released = changes.with_release(case, NOW, "a2", "only the card was stained")
    assert released.held_by() == ()
    again = changes.with_attempt(released, attempt_for(released, outcome=outcome, finding="f1"))
    assert again.held_by() == ("a3",)


def test_a_correction_is_no_silent_way_round_a_release() -> None:
    case = case_with("damage")
    with pytest.raises(TriageError, match="corrected without a note"):
        changes.with_correction(case, "a1", NOW, outcome="not-done")
    assert (
        changes.with_correction(case, "a1", NOW, outcome="not-done", note="wrong key").held_by()
        == ()
    )
    # The attempt that counts is what needs the note, by whichever link it is reached.
    case = changes.with_correction(case_with("better"), "a1", NOW, outcome="damage")
    assert case.held_by() == ("a2",)
    with pytest.raises(TriageError, match="corrected without a note"):
        changes.with_correction(case, "a1", NOW, outcome="better")
    # A release belongs to one attempt: harm recorded by a later correction holds again.
    case = changes.with_release(case, NOW, "a2", "looked again")
    assert changes.with_correction(case, "a2", NOW, outcome="worse").held_by() == ("a3",)


def test_timers_stand_one_per_step_and_overrides_as_written(tmp_path: Path) -> None:
    first, second = (Timer(step="s1", started=NOW, ends=NOW, label=label) for label in "ax")
    case = changes.with_timer(changes.with_timer(case_with(), first), second)
    assert [t.label for t in case.timers] == ["x"]
    assert changes.without_timer(case, "s1").timers == ()
    assert changes.without_timer(case, "s2") == case
    told = {"finding": "f1", "method": "brush-dry", "reason": "no brush", "by": "me"}
    case = changes.with_override(case_with(), NOW, "skip-method", **told)
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


REMARKS = [line.split("#", 1)[1] for line in BY_HAND.splitlines() if "#" in line]


def test_comments_and_unknown_keys_survive_every_kind_of_change(path: Path) -> None:
    steps = (
        lambda case: changes.with_attempt(
            case, attempt_for(case, finding="f1", note="a: b # no remark")
        ),
        lambda case: changes.with_sign(case, "f2", "puff", "moves"),
        lambda case: changes.with_sign(case, "f2", "smell", "no"),
        lambda case: changes.with_sign(case, "f1", "smell", "yes"),
        lambda case: changes.with_answer(case, "hydration", "rehydrated"),
        lambda case: changes.with_answer(case, "old-poison-label", "no"),
        lambda case: changes.with_finding(
            case, changes.new_finding("f3", "antenna", looked="twice")
        ),
        lambda case: case.model_copy(update={"title": "Another: title"}),
        lambda case: changes.with_attempt(case, attempt_for(case, finding="f3", outcome="worse")),
        lambda case: changes.with_release(case, NOW, "a3", "seen before"),
        lambda case: changes.with_attempt(case, attempt_for(case, finding="f3")),
    )
    for change in steps:
        expected = change(load_case(path))
        assert update_case(path, change) == expected
        assert load_case(path) == expected
        text = path.read_text(encoding="utf-8")
        assert [remark for remark in REMARKS if remark not in text] == []
    assert text.startswith("# plate of pollinators\nformat: 1\n")
    assert text.endswith("\n\n# end remark\n")
    assert "    lamp: {kind: ring}\n" in text


def test_only_the_new_lines_change_on_an_append(path: Path) -> None:
    append_attempt(path, lambda case: attempt_for(case, finding="f1"))
    after = path.read_text(encoding="utf-8")
    head, tail = BY_HAND.split("\n\n# end remark")
    assert after.startswith(f"{head}\n  - id: a2\n    at: 2026-03-02T10:15:00+00:00\n")
    assert after.endswith(f"\n\n# end remark{tail}")


@pytest.mark.parametrize(
    "layout",
    [
        "format: 1\nid: card\nattempts: []\n",
        "format: 1\nid: card\nattempts:\n",
        "format: 1\nid: card\nattempts:",
        "format: 1\r\nid: card\r\nattempts:\r\n- {id: a1, at: 2026-03-02T10:15:00Z, step: s, outcome: better}\r\n",
        "{format: 1, id: card}",
        "---\nformat: 1\nid: card\n...\n",
        "attempts:\n-\n  id: a1\n  at: 2026-03-02T10:15:00Z\n  step: s\n  outcome: better\nformat: 1\nid: card",
        '"format": 1\n? id\n: card\nnote: |+\n  kept\n\n\nanswers: {}\n',
        "\ufeffformat: 1\nid: card\n",
    ],
)
def test_every_layout_takes_an_attempt(layout: str, tmp_path: Path) -> None:
    path = tmp_path / "card.yaml"
    path.write_bytes(layout.encode())
    before = load_case(path)
    after = append_attempt(path, attempt_for)
    assert after.attempts[:-1] == before.attempts
    assert load_case(path) == after
    assert update_case(path, lambda case: changes.with_answer(case, "a", "b")) == load_case(path)
    if "\r\n" in layout:
        assert b"\n" not in path.read_bytes().replace(b"\r\n", b"")


LOSSY = (
    lambda _: {"attempts": ()},
    lambda case: {"attempts": case.attempts[::-1]},
    lambda case: {
        "attempts": (case.attempts[0].model_copy(update={"note": "x"}), *case.attempts[1:])
    },
    lambda _: {"releases": ()},
    lambda _: {"id": "other"},
)


@pytest.mark.parametrize("lossy", LOSSY)
def test_a_change_that_would_lose_a_record_is_refused(
    lossy: Callable[[Case], dict[str, Any]], path: Path
) -> None:
    append_attempt(path, lambda case: attempt_for(case, outcome="worse"))
    update_case(path, lambda case: changes.with_release(case, NOW, "a2", "seen"))
    before = path.read_bytes()
    with pytest.raises(TriageError, match=r"lose or alter|may not rename"):
        update_case(path, lambda case: case.model_copy(update=lossy(case)))
    assert path.read_bytes() == before


def broken(_: Case) -> Case:
    raise RuntimeError("a fault of ours")


def outgrown(case: Case) -> Case:
    return changes.with_attempt(case, attempt_for(case, note="x" * 2_000_000))


def dated(case: Case) -> Case:
    return case.model_copy(update={"specimen": {"seen": NOW}})


@pytest.mark.parametrize(
    ("change", "fault", "told"),
    [
        (broken, RuntimeError, "a fault of ours"),
        (outgrown, TriageError, "would grow beyond 2 MB"),
        (dated, TriageError, "that a case file cannot hold"),
    ],
)
def test_a_change_that_cannot_be_written_leaves_file_and_lock_free(
    change: Callable[[Case], Case], fault: type[Exception], told: str, path: Path
) -> None:
    with pytest.raises(fault, match=told):
        update_case(path, change)
    assert path.read_text(encoding="utf-8") == BY_HAND
    append_attempt(path, attempt_for, timeout_s=0.1)


def test_a_held_lock_is_told_in_one_line(path: Path) -> None:
    with FileLock(path.parent / ".card.yaml.lock"), pytest.raises(TriageError) as caught:
        append_attempt(path, attempt_for, timeout_s=0.05)
    assert caught.value.line() == (
        f"{path}: another program has been writing this case for 0.05 s; "
        "wait for it or close it, then try again"
    )
    assert path.read_text(encoding="utf-8") == BY_HAND


def test_a_new_case_never_overwrites(tmp_path: Path) -> None:
    path = create_case(tmp_path, changes.new_case("card", "First", invented=True))
    before = path.read_bytes()
    (tmp_path / "linked.yaml").symlink_to(tmp_path / "nowhere")
    for folder, name, told in (
        ("", "card", "this case exists already; choose another id"),
        ("", "linked", "exists already"),
        ("gone", "card", "no such folder; create it first"),
        ("", "../card", "is not an id"),
    ):
        with pytest.raises(TriageError, match=told):
            create_case(tmp_path / folder, changes.new_case(name))
    assert path.read_bytes() == before


def test_rights_and_links_are_kept_and_what_a_dead_program_left_is_no_obstacle(path: Path) -> None:
    path.chmod(0o640)
    link = path.parent / "links" / "card.yaml"
    link.parent.mkdir()
    link.symlink_to(path)
    (path.parent / ".card.yaml.tmp").write_bytes(b"half a rec")
    append_attempt(link, attempt_for)
    assert link.is_symlink()
    assert len(load_case(path).attempts) == 2
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert not (path.parent / ".card.yaml.tmp").exists()


# Microsoft, "Naming Files, Paths, and Namespaces": no file can be called so, whatever its ending.
@pytest.mark.parametrize("name", ["con", "aux", "nul", "prn", "com1", "lpt9"])
def test_a_name_that_a_platform_keeps_for_a_device_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(TriageError, match="device; choose another id"):
        store.create_case(tmp_path, changes.new_case(name))
    assert list(tmp_path.iterdir()) == []
