"""Merging cases and folders: nothing is lost, twice is once, contradictions stand side by side."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.knowledge import RULES
from triage.case.changes import (
    new_attempt,
    new_case,
    with_answer,
    with_attempt,
    with_correction,
    with_release,
    with_sign,
    without_finding,
)
from triage.case.store import case_text, create_case, load_case, update_case
from triage.errors import TriageError
from triage.history.sharing import CannotMerge, merge_folders, merged
from triage.knowledge.load import load_knowledge
from triage.plan.substances import day_ledger

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
BASE = new_case("wasp", "Wasp", findings=[{"id": "f1", "zone": "leg"}])


def attempt(number, minute, outcome="no-change", **more):
    return new_attempt(
        f"a{number}", NOON + timedelta(minutes=minute), "f1-puff", outcome, finding="f1", **{"method": "puff", **more}
    )  # fmt: skip


def folder(path, *cases):
    path.mkdir(exist_ok=True)
    for case in cases:
        create_case(path, case)
    return path


def done(case):
    return [(a.at, a.outcome, a.note) for a in case.attempts]


def test_what_only_one_side_has_is_added():
    ours = with_answer(with_attempt(BASE, attempt(1, 0)), "size", "small")
    theirs = with_sign(with_answer(BASE, "age", "old"), "f1", "sheen", "dull")
    made = merged(ours, theirs)
    assert dict(made.answers) == {"size": "small", "age": "old"}
    assert dict(made.finding("f1").signs) == {"sheen": "dull"}
    assert len(made.attempts) == 1


def test_an_attempt_under_an_id_in_use_is_renamed_with_what_refers_to_it():
    ours = with_attempt(BASE, attempt(1, 0))
    theirs = with_attempt(BASE, attempt(1, 5, "damage"))
    theirs = with_correction(
        theirs, "a1", NOON + timedelta(hours=1), outcome="worse", note="less bad"
    )
    theirs = with_release(theirs, NOON + timedelta(hours=2), "a2", "looked again")
    made = merged(ours, theirs)
    assert [a.id for a in made.attempts] == ["a1", "a3", "a2"]
    assert made.attempt("a2").corrects == "a3"
    assert made.releases[0].attempt == "a2"


def test_the_same_attempt_under_another_id_is_one():
    ours = with_attempt(with_attempt(BASE, attempt(1, 0)), attempt(2, 9))
    theirs = with_attempt(BASE, attempt(1, 9))
    assert merged(ours, theirs) == ours


@pytest.mark.parametrize(
    ("mine", "other", "place"),
    [
        (with_answer(BASE, "size", "small"), with_answer(BASE, "size", "large"), "size"),
        (new_case("wasp", "One"), new_case("wasp", "Two"), "title"),
        (BASE, new_case("wasp", "Wasp", findings=[{"id": "f1", "zone": "wing"}]), "wing"),
        (with_sign(BASE, "f1", "sheen", "dull"), with_sign(BASE, "f1", "sheen", "wet"), "sheen"),
    ],
)
def test_a_contradiction_is_named_not_decided(mine, other, place):
    with pytest.raises(CannotMerge, match=place):
        merged(mine, other)


marks = st.lists(
    st.tuples(st.integers(0, 40), st.sampled_from(["cleared", "better", "no-change"])),
    max_size=8, unique=True,
)  # fmt: skip


def with_marks(found):
    case = BASE
    for number, (minute, outcome) in enumerate(found, start=1):
        case = with_attempt(case, attempt(number, minute, outcome))
    return case


@settings(max_examples=150, deadline=None)
@given(marks, marks)
def test_merging_loses_nothing_keeps_our_order_and_twice_is_once(one, two):
    ours, theirs = with_marks(one), with_marks(two)
    made = merged(ours, theirs)
    assert made.attempts[: len(ours.attempts)] == ours.attempts
    assert set(done(made)) == set(done(ours)) | set(done(theirs))
    assert len(set(done(made))) == len(made.attempts)
    assert merged(made, theirs) == made
    assert set(done(merged(theirs, ours))) == set(done(made))
    order = [mark for mark in done(made) if mark in set(done(theirs)) - set(done(ours))]
    assert order == [mark for mark in done(theirs) if mark in order]


def test_folders_new_same_merged_beside_refused(tmp_path):
    ours = folder(
        tmp_path / "ours", BASE, new_case("fly", "Fly"), new_case("moth", "Moth", taxon="x")
    )
    theirs = folder(
        tmp_path / "theirs", new_case("ant", "Ant"), with_attempt(BASE, attempt(1, 0)),
        new_case("fly", "Fly"), new_case("moth", "Moth", taxon="y"),
    )  # fmt: skip
    (theirs / "bad.yaml").write_text("format: 1\nid: bad\ntitle: [", encoding="utf-8")
    before = {path.name: path.read_bytes() for path in theirs.glob("*.yaml")}
    found = {r.entry: r for r in merge_folders(ours, theirs)}
    assert {name: r.standing for name, r in found.items()} == {
        "ant.yaml": "new", "bad.yaml": "refused", "fly.yaml": "same",
        "moth.yaml": "beside", "wasp.yaml": "merged",
    }  # fmt: skip
    assert found["moth.yaml"].case == "moth-2"
    assert load_case(ours / "moth-2.yaml").taxon == "y"
    assert load_case(ours / "moth.yaml").taxon == "x"
    assert not (ours / "bad.yaml").exists()
    assert {path.name: path.read_bytes() for path in theirs.glob("*.yaml")} == before
    again = merge_folders(ours, theirs)
    assert {r.standing for r in again} == {"same", "refused"}


def test_photos_come_along_and_never_overwrite(tmp_path):
    mine = with_attempt(BASE, attempt(1, 0, photo_after="p/one.jpg"))
    other = with_attempt(BASE, attempt(1, 5, photo_after="p/one.jpg", photo_before="p/gone.jpg"))
    ours, theirs = folder(tmp_path / "o", mine), folder(tmp_path / "t", other)
    for place, content in ((ours, b"ours"), (theirs, b"theirs")):
        (place / "p").mkdir()
        (place / "p/one.jpg").write_bytes(content)
    found = merge_folders(ours, theirs)[0]
    assert found.standing == "merged"
    assert "gone.jpg" in found.because
    made = load_case(ours / "wasp.yaml")
    assert made.attempts[1].photo_after == "p/one-2.jpg"
    assert (ours / "p/one.jpg").read_bytes() == b"ours"
    assert (ours / "p/one-2.jpg").read_bytes() == b"theirs"
    merge_folders(ours, theirs)
    assert sorted(path.name for path in (ours / "p").iterdir()) == ["one-2.jpg", "one.jpg"]


def test_unknown_keys_and_comments_of_our_file_stay(tmp_path):
    ours = tmp_path / "ours"
    ours.mkdir()
    text = case_text(BASE).replace("title: Wasp", "title: Wasp # from the attic") + "drawer: 7\n"
    (ours / "wasp.yaml").write_text(text, encoding="utf-8")
    theirs = folder(tmp_path / "theirs", with_attempt(BASE, attempt(1, 0)))
    merge_folders(ours, theirs)
    after = (ours / "wasp.yaml").read_text(encoding="utf-8")
    assert "# from the attic" in after
    assert "drawer: 7" in after
    assert "f1-puff" in after


def test_a_folder_is_not_merged_with_itself(tmp_path):
    ours = folder(tmp_path / "o", BASE)
    with pytest.raises(TriageError, match="same"):
        merge_folders(ours, ours)
    with pytest.raises(TriageError, match="cannot be read"):
        merge_folders(ours, tmp_path / "none")


def test_a_case_that_cannot_be_used_here_is_refused(tmp_path):
    def check(case):
        raise TriageError(f'unknown zone in "{case.id}"')

    ours, theirs = tmp_path / "o", folder(tmp_path / "t", BASE)
    assert merge_folders(ours, theirs, check=check)[0].standing == "refused"
    assert list(ours.iterdir()) == []


def test_a_contradicting_record_merged_twice_is_one_copy_and_counts_once(tmp_path):
    brushed = {"method": "heptane-brush", "agent": "heptane", "amount_ml": 0.5}
    mine = with_attempt(with_answer(BASE, "size", "small"), attempt(1, 0, **brushed))
    other = with_attempt(with_answer(BASE, "size", "large"), attempt(1, 0, **brushed))
    ours, theirs = folder(tmp_path / "o", mine), folder(tmp_path / "t", other)
    assert merge_folders(ours, theirs)[0].standing == "beside"
    assert merge_folders(ours, theirs)[0].standing == "same"
    # What they did since goes into the copy that stands there, also where that one has grown.
    late = attempt(2, 30, photo_after="p/late.jpg", **brushed)
    (theirs / "p").mkdir()
    (theirs / "p/late.jpg").write_bytes(b"late")
    update_case(theirs / "wasp.yaml", lambda case: with_attempt(case, late))
    update_case(ours / "wasp-2.yaml", lambda case: with_answer(case, "cracks", "none"))
    assert merge_folders(ours, theirs)[0].standing == "merged"
    assert sorted(path.name for path in ours.glob("*.yaml")) == ["wasp-2.yaml", "wasp.yaml"]
    assert (ours / "p/late.jpg").read_bytes() == b"late", "a photo comes along into the copy too"
    both = [load_case(ours / name) for name in ("wasp.yaml", "wasp-2.yaml")]
    day = day_ledger(load_knowledge(RULES), both, NOON + timedelta(hours=1))
    assert len(day.releases) == 2
    assert (
        day.releases
        == day_ledger(load_knowledge(RULES), [both[1]], NOON + timedelta(hours=1)).releases
    )


def test_a_finding_that_one_record_took_back_does_not_stand_again():
    gone = without_finding(BASE, "f1", NOON, "the other leg was meant")
    for ours, theirs in ((BASE, gone), (gone, BASE)):
        made = merged(ours, theirs)
        assert made.findings == ()
        assert made.withdrawn == gone.withdrawn
    for since in (with_sign(BASE, "f1", "sheen", "matte"), with_attempt(BASE, attempt(1, 0))):
        with pytest.raises(CannotMerge, match="f1"):
            merged(since, gone)
    # Another place under the same id is another finding.
    eye = new_case("wasp", "Wasp", findings=[{"id": "f1", "zone": "compound-eye"}])
    assert [f.zone for f in merged(eye, gone).findings] == ["compound-eye"]
