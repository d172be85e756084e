"""Bundles and merged folders: there and back without loss, twice is once, hostile entries are refused."""

import hashlib
import json
import stat
import zipfile
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.knowledge import shipped
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
from triage.history.bundle import MANIFEST, Caps, read_bundle, write_bundle
from triage.history.sharing import CannotMerge, merge_folders, merged
from triage.plan.substances import day_ledger

JPEG = b"\xff\xd8\xff\xe0" + b"a photo" * 50
AT = "2026-03-01T12:00:00+00:00"


@pytest.fixture
def bench(tmp_path):
    folder = tmp_path / "bench"
    (folder / "photos").mkdir(parents=True)
    (folder / "photos/after.jpg").write_bytes(JPEG)
    case = new_case("wasp", "Wasp", findings=[{"id": "f1", "zone": "leg"}])
    told = {"finding": "f1", "photo_after": "photos/after.jpg"}
    create_case(folder, with_attempt(case, new_attempt("a1", AT, "f1-puff", "better", **told)))
    create_case(folder, new_case("fly", "Fly"))
    return folder


def packed(path, entries, *, listed=None, manifest=None):
    """A zip file as an attacker would write it; entries are (name or ZipInfo, content)."""
    digests = {}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name, content in entries:
            out.writestr(name, content)
            digests[getattr(name, "filename", name)] = hashlib.sha256(content).hexdigest()
        content = {"format": 1, "entries": digests | (listed or {})}
        out.writestr(MANIFEST, json.dumps(content if manifest is None else manifest))
    return path


def fly(case_id="fly"):
    return case_text(new_case(case_id, "Fly")).encode()


def standing(results):
    return {r.entry: r.standing for r in results}


def test_there_and_back_without_loss_and_the_same_cases_give_the_same_bytes(bench, tmp_path):
    target, there = tmp_path / "two.zip", tmp_path / "there"
    write_bundle(bench, ["wasp", "fly"], target)
    for said in ("new", "same"):
        assert standing(read_bundle(target, there)) == {"wasp.yaml": said, "fly.yaml": said}
    assert load_case(there / "wasp.yaml") == load_case(bench / "wasp.yaml")
    assert (there / "photos/after.jpg").read_bytes() == JPEG
    write_bundle(bench, ["wasp", "fly"], tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == target.read_bytes()


def test_a_missing_photo_is_named_and_an_old_file_is_kept(bench, tmp_path):
    (bench / "photos/after.jpg").unlink()
    results = write_bundle(bench, ["wasp"], tmp_path / "w.zip")
    assert standing(results)["photos/after.jpg"] == "refused"
    with pytest.raises(TriageError, match="exists already"):
        write_bundle(bench, ["wasp"], tmp_path / "w.zip")
    found = read_bundle(tmp_path / "w.zip", tmp_path / "there")
    assert "photos that did not come with it: photos/after.jpg" in found[0].because


LINK = zipfile.ZipInfo("photos/link.jpg")
LINK.external_attr = (stat.S_IFLNK | 0o777) << 16


def test_a_size_bomb_is_cut_off_while_it_is_unpacked_and_too_many_entries_are_refused(tmp_path):
    photo = JPEG + bytes(5_000_000)
    bundle = packed(tmp_path / "b.zip", [("photos/big.jpg", photo), ("fly.yaml", fly())])
    assert bundle.stat().st_size < 20_000
    found = read_bundle(bundle, tmp_path / "there", caps=Caps(photo_bytes=1_000_000))
    assert standing(found) == {"fly.yaml": "new", "photos/big.jpg": "refused"}
    many = packed(tmp_path / "c.zip", [(f"x{n}.yaml", b"") for n in range(30)])
    for path, caps, told in (
        (bundle, Caps(all_bytes=1_000_000), "too large unpacked"),
        (many, Caps(entries=20), "entries"),
    ):
        with pytest.raises(TriageError, match=told):
            read_bundle(path, tmp_path / "there", caps=caps)


def test_a_size_that_lies_is_not_believed(tmp_path):
    photo = JPEG + bytes(3_000_000)
    path = packed(tmp_path / "b.zip", [("fly.yaml", fly()), ("photos/a.jpg", photo)])
    true, lie = (size.to_bytes(4, "little") for size in (len(photo), 100))
    path.write_bytes(path.read_bytes().replace(true, lie))
    caps = Caps(photo_bytes=1_000_000, all_bytes=2_000_000)
    found = standing(read_bundle(path, tmp_path / "there", caps=caps))
    assert found == {"fly.yaml": "new", "photos/a.jpg": "refused"}


@pytest.mark.parametrize(
    ("entries", "listed", "fault"),
    [
        ([("fly.yaml", b"format: 1\nid: fly\nfindings: 7\n")], {}, "list"),
        ([("fly.yaml", b"format: 1\nid: moth\n")], {}, "the id is"),
        ([("fly.yaml", b"&a [*a, *a]")], {}, ""),
        ([("fly.yaml", b"\xff\xfe\x00")], {}, ""),
        ([("fly.yaml", b"format: 1\nid: fly\n")], {"fly.yaml": "0" * 64}, "content is not what"),
        ([("run.sh", b"#!")], {}, "neither a case nor a photo"),
        ([("photos/a.jpg", b"MZ not a photo")], {}, "not a photo"),
        ([("photos/a.jpg", JPEG)], {}, "no case of the bundle names it"),
        ([], {"gone.yaml": "0" * 64}, "not in it"),
        ([("bench.yaml", b"format: 1\n")], {}, "neither"),
        ([(LINK, b"/etc/passwd")], {}, "link"),
    ],
)
def test_what_does_not_validate_is_refused_entry_by_entry(tmp_path, entries, listed, fault):
    bundle = packed(tmp_path / "b.zip", [("good.yaml", fly("good")), *entries], listed=listed)
    there = tmp_path / "there"
    found = read_bundle(bundle, there)
    bad = [r for r in found if r.standing == "refused"]
    assert len(bad) == 1
    assert fault in bad[0].because
    assert [p.name for p in there.glob("*.yaml")] == ["good.yaml"]


def test_an_entry_not_listed_or_twice_is_refused(tmp_path):
    path = tmp_path / "b.zip"
    with zipfile.ZipFile(path, "w") as out:
        out.writestr("fly.yaml", fly())
        with pytest.warns(UserWarning, match="Duplicate name"):
            out.writestr("fly.yaml", fly())
        out.writestr("other.yaml", fly("other"))
        digest = hashlib.sha256(fly()).hexdigest()
        out.writestr(MANIFEST, json.dumps({"format": 1, "entries": {"fly.yaml": digest}}))
    because = sorted(r.because for r in read_bundle(path, tmp_path / "there") if r.because)
    assert because == ["it is not in the list of the bundle", "its name stands twice"]


@pytest.mark.parametrize(
    "manifest", [{}, [], {"format": 2, "entries": {}}, {"format": 1, "entries": 3}, "x"]
)
def test_a_zip_without_a_sound_list_is_no_bundle(tmp_path, manifest):
    with pytest.raises(TriageError):
        read_bundle(packed(tmp_path / "b.zip", [], manifest=manifest), tmp_path / "there")


def test_a_file_that_is_no_zip_is_refused_in_one_line(tmp_path):
    (tmp_path / "b.zip").write_bytes(b"PK\x03\x04 and then nothing")
    for name, told in (("b.zip", "not a sound zip file"), ("none.zip", "cannot be read")):
        with pytest.raises(TriageError, match=told):
            read_bundle(tmp_path / name, tmp_path / "there")


NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
BASE = new_case("wasp", "Wasp", findings=[{"id": "f1", "zone": "leg"}])


def attempt(number, minute, outcome="no-change", **more):
    at, told = NOON + timedelta(minutes=minute), {"finding": "f1", "method": "puff", **more}
    return new_attempt(f"a{number}", at, "f1-puff", outcome, **told)


def tried(*minutes, on=BASE, **more):
    """Return a case after an attempt at each of some minutes."""
    for number, minute in enumerate(minutes, start=1):
        on = with_attempt(on, attempt(number, minute, **more))
    return on


def folder(path, *cases):
    path.mkdir(exist_ok=True)
    for case in cases:
        create_case(path, case)
    return path


def done(case):
    return [(a.at, a.outcome, a.note) for a in case.attempts]


def test_what_only_one_side_has_is_added():
    ours = with_answer(tried(0), "size", "small")
    theirs = with_sign(with_answer(BASE, "age", "old"), "f1", "sheen", "dull")
    made = merged(ours, theirs)
    assert dict(made.answers) == {"size": "small", "age": "old"}
    assert dict(made.finding("f1").signs) == {"sheen": "dull"}
    assert len(made.attempts) == 1


def test_an_attempt_under_an_id_in_use_is_renamed_with_what_refers_to_it():
    later = NOON + timedelta(hours=1)
    theirs = with_correction(
        tried(5, outcome="damage"), "a1", later, outcome="worse", note="less bad"
    )
    theirs = with_release(theirs, later, "a2", "looked again")
    made = merged(tried(0), theirs)
    assert [a.id for a in made.attempts] == ["a1", "a3", "a2"]
    assert made.attempt("a2").corrects == "a3"
    assert made.releases[0].attempt == "a2"
    # The same attempt under another id is one.
    assert merged(tried(0, 9), tried(9)) == tried(0, 9)


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
    fly, moth = new_case("fly", "Fly"), new_case("moth", "Moth", taxon="x")
    ours = folder(tmp_path / "ours", BASE, fly, moth)
    other = moth.model_copy(update={"taxon": "y"})
    theirs = folder(tmp_path / "theirs", new_case("ant", "Ant"), tried(0), fly, other)
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
    assert {r.standing for r in merge_folders(ours, theirs)} == {"same", "refused"}


def test_photos_come_along_and_never_overwrite(tmp_path):
    ours = folder(tmp_path / "o", tried(0, photo_after="p/one.jpg"))
    photos = {"photo_after": "p/one.jpg", "photo_before": "p/gone.jpg"}
    theirs = folder(tmp_path / "t", tried(5, **photos))
    for place, content in ((ours, b"ours"), (theirs, b"theirs")):
        (place / "p").mkdir()
        (place / "p/one.jpg").write_bytes(content)
    found = merge_folders(ours, theirs)[0]
    assert found.standing == "merged"
    assert "gone.jpg" in found.because
    assert load_case(ours / "wasp.yaml").attempts[1].photo_after == "p/one-2.jpg"
    merge_folders(ours, theirs)
    held = {path.name: path.read_bytes() for path in (ours / "p").iterdir()}
    assert held == {"one.jpg": b"ours", "one-2.jpg": b"theirs"}


def test_unknown_keys_and_comments_of_our_file_stay(tmp_path):
    ours, theirs = folder(tmp_path / "o", BASE), folder(tmp_path / "t", tried(0))
    text = case_text(BASE).replace("title: Wasp", "title: Wasp # from the attic") + "drawer: 7\n"
    (ours / "wasp.yaml").write_text(text, encoding="utf-8")
    merge_folders(ours, theirs)
    after = (ours / "wasp.yaml").read_text(encoding="utf-8")
    assert all(part in after for part in ("# from the attic", "drawer: 7", "f1-puff"))


def test_a_folder_is_not_merged_with_itself_and_what_cannot_be_used_here_is_refused(tmp_path):
    def check(case):
        raise TriageError(f'unknown zone in "{case.id}"')

    ours, theirs = folder(tmp_path / "o"), folder(tmp_path / "t", BASE)
    assert merge_folders(ours, theirs, check=check)[0].standing == "refused"
    assert list(ours.iterdir()) == []
    for other, told in ((ours, "same"), (tmp_path / "none", "cannot be read")):
        with pytest.raises(TriageError, match=told):
            merge_folders(ours, other)


def test_a_contradicting_record_merged_twice_is_one_copy_and_counts_once(tmp_path):
    brushed = {"method": "heptane-brush", "agent": "heptane", "amount_ml": 0.5}
    ours, theirs = (
        folder(tmp_path / size, tried(0, on=with_answer(BASE, "size", size), **brushed))
        for size in ("small", "large")
    )
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
    day, copy = (
        day_ledger(shipped(), held, NOON + timedelta(hours=1)) for held in (both, both[1:])
    )
    assert len(day.releases) == 2
    assert day.releases == copy.releases


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
