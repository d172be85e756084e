"""No name in a case file, a bundle or a folder leads out of the folder of the cases."""

import hashlib
import json
import os
import zipfile
from pathlib import Path

import pytest

from triage.case.changes import new_attempt, new_case, with_attempt
from triage.case.folder import list_cases, photo_path
from triage.case.store import case_text, create_case, load_case
from triage.cli import main
from triage.errors import TriageError
from triage.history.bundle import MANIFEST, read_bundle, write_bundle
from triage.history.sharing import merge_folders

JPEG = b"\xff\xd8\xff\xe0" + b"a photo" * 50
OUT = (
    "../out.jpg",
    "photos/../../out.jpg",
    "/etc/passwd",
    "//host/share/out.jpg",
    "~/out.jpg",
    "~root/out.jpg",
    "C:out.jpg",
    "c:/out.jpg",
    "..\\out.jpg",
    "photos\\..\\..\\out.jpg",
    "\\\\host\\share\\out.jpg",
    "..",
    "photos/..",
)
IDS = ("../out", "/etc/out", "a/b", "..", ".", "a\\b", "C:out", "~root", "a b", "", "x" * 65, ".x")


def with_photo(name: str) -> str:
    case = with_attempt(
        new_case("card", "Card"),
        new_attempt("a1", "2026-03-01T12:00:00+00:00", "s", "better", photo_after="IN.jpg"),
    )
    return case_text(case).replace("IN.jpg", json.dumps(name))


@pytest.mark.parametrize("name", OUT)
def test_a_photo_outside_is_refused_when_the_case_is_read(name, tmp_path):
    (tmp_path / "card.yaml").write_text(with_photo(name), encoding="utf-8")
    with pytest.raises(TriageError) as caught:
        load_case(tmp_path / "card.yaml")
    assert "photo" in caught.value.line()


@pytest.mark.parametrize("link", ["file", "folder", "chain", "loop"])
def test_a_photo_behind_a_link_that_leads_out_is_refused(link, tmp_path):
    outside, folder = tmp_path / "outside", tmp_path / "cases"
    outside.mkdir()
    (outside / "secret.jpg").write_bytes(JPEG)
    folder.mkdir()
    if link == "file":
        (folder / "in.jpg").symlink_to(outside / "secret.jpg")
    elif link == "folder":
        (folder / "photos").symlink_to(outside)
    elif link == "chain":
        (folder / "one").symlink_to("two")
        (folder / "two").symlink_to(outside)
    else:
        (folder / "loop").symlink_to("loop")
    name = {"file": "in.jpg", "folder": "photos/secret.jpg", "chain": "one/secret.jpg"}.get(
        link, "loop/secret.jpg"
    )
    path = folder / "card.yaml"
    path.write_text(with_photo(name), encoding="utf-8")
    load_case(path)  # the name alone is sound
    with pytest.raises(TriageError, match="outside the folder of the case"):
        photo_path(path, name)
    # Nor does it travel: not into a bundle, not into another folder.
    try:
        results = write_bundle(folder, ["card"], tmp_path / "b.zip")
        told = "; ".join(r.because for r in results if r.standing == "refused")
    except TriageError as fault:
        told = fault.line()
    assert "outside" in told or "not there" in told
    if (tmp_path / "b.zip").exists():
        assert JPEG not in [
            zipfile.ZipFile(tmp_path / "b.zip").read(n)
            for n in zipfile.ZipFile(tmp_path / "b.zip").namelist()
        ]
    (result,) = merge_folders(tmp_path / "ours", folder)
    assert not list((tmp_path / "ours").rglob("*.jpg"))
    assert result.standing in ("refused", "new")


@pytest.mark.parametrize("name", IDS)
def test_an_id_that_is_a_path_is_refused(name, tmp_path, capsys):
    with pytest.raises(TriageError):
        create_case(tmp_path / "cases", new_case(name, "Card"))
    folder = tmp_path / "cases"
    folder.mkdir()
    text = f"format: 1\nid: {json.dumps(name)}\n"
    (folder / "card.yaml").write_text(text, encoding="utf-8")
    (entry,) = list_cases(folder)
    assert entry.error
    if name:  # an empty one is none: the id is then made from the title
        assert main(["new", "Card", "--id", name, "--cases", str(folder)]) == 2
    capsys.readouterr()
    assert sorted(p.name for p in tmp_path.rglob("*") if p.is_file() and p.name[0] != ".") == [
        "card.yaml"
    ]


@pytest.mark.parametrize(
    "title",
    ["../../out", "/etc/passwd", "..", "C:\\x", "bench", ".hidden", "_draft", "con", "ü" * 80],
)
def test_a_title_makes_a_name_inside_the_folder(title, tmp_path, capsys):
    folder = tmp_path / "cases"
    assert main(["new", title, "--cases", str(folder)]) == 0
    capsys.readouterr()
    (path,) = [p for p in tmp_path.rglob("*.yaml") if p.name[0] != "."]
    assert path.parent == folder
    assert load_case(path).title == title
    assert [entry.id for entry in list_cases(folder)] == [path.stem]


@pytest.mark.parametrize(
    "name",
    [
        *(*OUT, "card.yaml/../../x.yaml", "a/card.yaml", ".card.yaml", "../evil.yaml"),
        *("/etc/evil.yaml", ".hidden/x.jpg", "~/x.jpg", "a//x.jpg", "x\x07.jpg"),
    ],
)
def test_an_entry_of_a_bundle_stays_inside(name, tmp_path):
    content = JPEG if name.endswith(".jpg") else case_text(new_case("card", "Card")).encode()
    sound = case_text(new_case("fly", "Fly")).encode()
    bundle = tmp_path / "b.zip"
    with zipfile.ZipFile(bundle, "w") as out:
        out.writestr(zipfile.ZipInfo(name), content)
        out.writestr("fly.yaml", sound)
        digests = {name: hashlib.sha256(content).hexdigest()}
        digests["fly.yaml"] = hashlib.sha256(sound).hexdigest()
        out.writestr(MANIFEST, json.dumps({"format": 1, "entries": digests}))
    before = set(tmp_path.rglob("*"))
    results = read_bundle(bundle, tmp_path / "deep" / "cases")
    standings = {r.standing for r in results if r.entry != "fly.yaml"}
    assert standings == {"refused"}
    fresh = {p for p in tmp_path.rglob("*") if p.is_file()} - before
    visible = {p for p in fresh if not p.name.startswith(".")}
    assert visible == {tmp_path / "deep" / "cases" / "fly.yaml"}


def test_a_linked_case_is_written_where_it_stands_and_a_linked_lock_is_not_followed(tmp_path):
    """A lock file that is a link, as a hostile folder could hold, must not empty its target."""
    folder = tmp_path / "cases"
    path = create_case(folder.parent, new_case("card", "Card"))
    victim = tmp_path / "victim"
    victim.write_text("precious", encoding="utf-8")
    for side in (".card.yaml.lock", ".card.yaml.tmp"):
        (tmp_path / side).unlink(missing_ok=True)
        (tmp_path / side).symlink_to(victim)
    assert main(["answer", "card", "whole=whole", "--cases", str(tmp_path)]) in (0, 2)
    assert victim.read_text(encoding="utf-8") == "precious"
    assert load_case(path).id == "card"


def test_a_case_that_is_a_folder_or_a_device_is_not_read(tmp_path):
    (tmp_path / "sub.yaml").mkdir()
    os.mkfifo(tmp_path / "pipe.yaml")
    (tmp_path / "zero.yaml").symlink_to("/dev/zero")
    faults = {entry.id: entry.error for entry in list_cases(Path(tmp_path))}
    assert set(faults) == {"pipe", "zero"}
    assert all("not an ordinary file" in fault for fault in faults.values())
