"""Bundles: there and back without loss; hostile zip files refused entry by entry."""

import hashlib
import json
import stat
import zipfile

import pytest

from triage.case.changes import new_attempt, new_case, with_attempt
from triage.case.store import case_text, create_case, load_case
from triage.errors import TriageError
from triage.history.bundle import MANIFEST, Caps, read_bundle, write_bundle

JPEG = b"\xff\xd8\xff\xe0" + b"a photo" * 50
AT = "2026-03-01T12:00:00+00:00"


@pytest.fixture
def bench(tmp_path):
    folder = tmp_path / "bench"
    (folder / "photos").mkdir(parents=True)
    (folder / "photos/after.jpg").write_bytes(JPEG)
    case = new_case("wasp", "Wasp", findings=[{"id": "f1", "zone": "leg"}])
    case = with_attempt(
        case,
        new_attempt("a1", AT, "f1-puff", "better", finding="f1", photo_after="photos/after.jpg"),
    )
    create_case(folder, case)
    create_case(folder, new_case("fly", "Fly"))
    return folder


def packed(path, entries, *, listed=None, manifest=None):
    """A zip file as an attacker would write it; entries are (name or ZipInfo, content)."""
    digests = {
        (name.filename if isinstance(name, zipfile.ZipInfo) else name): hashlib.sha256(
            content
        ).hexdigest()
        for name, content in entries
    }
    digests.update(listed or {})
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name, content in entries:
            out.writestr(name, content)
        content = {"format": 1, "entries": digests} if manifest is None else manifest
        out.writestr(MANIFEST, json.dumps(content))
    return path


def fly(case_id="fly"):
    return case_text(new_case(case_id, "Fly")).encode()


def standing(results):
    return {r.entry: r.standing for r in results}


def test_there_and_back_without_loss(bench, tmp_path):
    target = tmp_path / "two.zip"
    write_bundle(bench, ["wasp", "fly"], target)
    there = tmp_path / "there"
    found = read_bundle(target, there)
    assert standing(found) == {"wasp.yaml": "new", "fly.yaml": "new"}
    assert load_case(there / "wasp.yaml") == load_case(bench / "wasp.yaml")
    assert (there / "photos/after.jpg").read_bytes() == JPEG
    assert standing(read_bundle(target, there)) == {"wasp.yaml": "same", "fly.yaml": "same"}


def test_the_same_cases_give_the_same_bytes(bench, tmp_path):
    for name in ("one.zip", "two.zip"):
        write_bundle(bench, ["wasp"], tmp_path / name)
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()


def test_a_missing_photo_is_named_and_an_old_file_is_kept(bench, tmp_path):
    (bench / "photos/after.jpg").unlink()
    results = write_bundle(bench, ["wasp"], tmp_path / "w.zip")
    assert standing(results)["photos/after.jpg"] == "refused"
    with pytest.raises(TriageError, match="exists already"):
        write_bundle(bench, ["wasp"], tmp_path / "w.zip")
    found = read_bundle(tmp_path / "w.zip", tmp_path / "there")
    assert "photos that did not come with it: photos/after.jpg" in found[0].because


def test_a_link_is_refused(tmp_path):
    info = zipfile.ZipInfo("photos/link.jpg")
    info.external_attr = (stat.S_IFLNK | 0o777) << 16
    found = read_bundle(packed(tmp_path / "b.zip", [(info, b"/etc/passwd")]), tmp_path / "there")
    assert "link" in found[0].because


def test_a_size_bomb_is_cut_off_while_it_is_unpacked(tmp_path):
    bundle = packed(
        tmp_path / "b.zip", [("photos/big.jpg", JPEG + bytes(5_000_000)), ("fly.yaml", fly())]
    )
    assert bundle.stat().st_size < 20_000
    found = read_bundle(bundle, tmp_path / "there", caps=Caps(photo_bytes=1_000_000))
    assert standing(found) == {"fly.yaml": "new", "photos/big.jpg": "refused"}
    with pytest.raises(TriageError, match="too large unpacked"):
        read_bundle(bundle, tmp_path / "there", caps=Caps(all_bytes=1_000_000))


def test_a_size_that_lies_is_not_believed(tmp_path):
    path = packed(
        tmp_path / "b.zip", [("fly.yaml", fly()), ("photos/a.jpg", JPEG + bytes(3_000_000))]
    )
    content = bytearray(path.read_bytes())
    true = (len(JPEG) + 3_000_000).to_bytes(4, "little")
    content = content.replace(true, (100).to_bytes(4, "little"))
    path.write_bytes(content)
    found = read_bundle(
        path, tmp_path / "there", caps=Caps(photo_bytes=1_000_000, all_bytes=2_000_000)
    )
    assert standing(found)["photos/a.jpg"] == "refused"
    assert standing(found)["fly.yaml"] == "new"


def test_too_many_entries_are_refused(tmp_path):
    bundle = packed(tmp_path / "b.zip", [(f"x{n}.yaml", b"") for n in range(30)])
    with pytest.raises(TriageError, match="entries"):
        read_bundle(bundle, tmp_path / "there", caps=Caps(entries=20))


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
    with pytest.raises(TriageError, match="not a sound zip file"):
        read_bundle(tmp_path / "b.zip", tmp_path / "there")
    with pytest.raises(TriageError, match="cannot be read"):
        read_bundle(tmp_path / "none.zip", tmp_path / "there")
