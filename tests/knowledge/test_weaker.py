"""A copy of the rules that protects less than the carried ones says where, with file and line."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.support.running import share_parsed
from triage.check.weaker import PROTECTS, weaker
from triage.cli import main
from triage.errors import Faults, TriageError
from triage.knowledge.book import Knowledge
from triage.knowledge.judgement import Judgement
from triage.knowledge.load import load_knowledge

RULES = Path(__file__).resolve().parents[2] / "rules"
SOLVENTS = "alcohol, ester, ketone, aliphatic, aromatic, terpene, ether"
# name: (file, the place after which the first old becomes new, old, new, what the line says)
BROKEN = {
    "siloxane out of the eye rule": (
        "forbid.yaml", "- id: forbid-solvent-on-eye", f"{SOLVENTS}, siloxane]", f"{SOLVENTS}]",
        "this condition does not follow",
    ),
    "a rule for the eye out": (
        "forbid.yaml", "- id: forbid-chlorinated-on-eye", "- id: forbid-chlorinated-on-eye",
        "- id: forbid-something-else", "it is gone",
    ),
    "pregnancy off the suspected carcinogen": (
        "agents/tetrachloroethylene.yaml", "not_for", "[pregnancy, ", "[", "not_for no longer has pregnancy",
    ),
    "asthma off ammonia": (
        "agents/ammonia-solution.yaml", "not_for", "[asthma, ", "[", "not_for no longer has asthma",
    ),
    "a molar mass times ten": (
        "agents/heptane.yaml", "molar_mass", "value: 100.202", "value: 1002.02",
        "the molar mass is 1002.02, but C7H16 weighs 100.2 g/mol",
    ),
    "the margin to one": ("judgement.yaml", "margin:", "value: 0.1", "value: 1.0", "value is 1, there 0.1"),
    "the warning of ammonia and bleach out": (
        "agents/ammonia-solution.yaml", "incompatible:",
        "  - {with: hypochlorite-class, product: chloramine gas, source: bleach-mixing-notes}\n", "",
        "incompatible no longer has hypochlorite-class",
    ),
    "a flash point above the room": (
        "agents/heptane.yaml", "flash_point", "value: -7.0", "value: 33.0",
        "said to flash at 33 C, but its vapour reaches the lower explosive limit at about -10 C",
    ),
    "the eye's chemical bound": (
        "zones.yaml", "- id: compound-eye", "most_chemical: 3", "most_chemical: 4", "most_chemical is 4, there 3",
    ),
    "a window that airs threefold": (
        "controls.yaml", "- id: window", "air_changes_per_h: 2.0", "air_changes_per_h: 6.0",
        "air_changes_per_h is 6, there 2",
    ),
    "the test spot off a dip": (
        "methods/degrease.yaml", "", "  test_spot: true\n", "", "test_spot is false, there true",
    ),
    "a limit raised": (
        "agents/heptane.yaml", "authority: niosh", "value: 85", "value: 850",
        "limits, niosh twa ppm: value is 850, there 85",
    ),
    "a glove that is said to hold": (
        "agents/heptane.yaml", "gloves:", "{material: butyl, verdict: fails", "{material: butyl, verdict: holds",
        "gloves, butyl: verdict is holds, there fails",
    ),
    "a hazard that no longer burns": (
        "hazards.yaml", "- id: highly-flammable", "flammable: true", "flammable: false", "flammable is false, there true",
    ),
    "what tells of a guarded deposit": (
        "deposits/mould.yaml", "signs:", "damp-before-yes: 0.19", "damp-before-yes: 0.1",
        "no longer concludes evidence deposit mould, weight 0.19",
    ),
    "what now excludes a guarded deposit": (
        "deposits/mould.yaml", "signs:", "green-at-pin: -0.6", "green-at-pin: -1", "it now speaks against mould by 1",
    ),
}  # fmt: skip


def _lines(faults: list[TriageError]) -> list[str]:
    return [fault.line() for fault in faults]


def _broken(folder: Path, name: str) -> tuple[Path, int]:
    """Return a copy broken in one way, and the line that was changed."""
    file, after, old, new, _ = BROKEN[name]
    copy = folder / "mine"
    shutil.copytree(RULES, copy)
    path = copy / file
    text = path.read_text(encoding="utf-8")
    at = text.index(old, text.index(after))
    path.write_text(text[:at] + new + text[at + len(old) :], encoding="utf-8")
    return copy, text.count("\n", 0, at + len(old) - old.endswith("\n")) + 1


@pytest.fixture(scope="module")
def carried() -> Knowledge:
    return load_knowledge(RULES)


@pytest.mark.parametrize("name", BROKEN)
def test_a_weaker_copy_is_told_with_file_and_line(
    name: str, carried: Knowledge, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    share_parsed(monkeypatch)
    file, _, _, new, says = BROKEN[name]
    copy, line = _broken(tmp_path, name)
    try:
        told = _lines(weaker(carried, load_knowledge(copy)))
    except TriageError as fault:
        told = _lines(list(fault.faults) if isinstance(fault, Faults) else [fault])
    named = [said for said in told if says in said]
    assert named, told
    assert all(said.startswith(f"mine/{file}") for said in named)
    if new and "is gone" not in says:
        shown = int(named[0].split(":")[1].split()[0])
        assert 0 <= line - shown <= 1  # of an entry over several lines, its first


def test_the_carried_rules_and_a_stricter_copy_are_not_weaker(
    carried: Knowledge, tmp_path: Path
) -> None:
    copy = tmp_path / "mine"
    shutil.copytree(RULES, copy)
    for file, old, new in (
        ("forbid.yaml", f"{SOLVENTS}, siloxane]", f"{SOLVENTS}, siloxane, glycol]"),
        ("judgement.yaml", "value: 0.1\n", "value: 0.05\n"),
        ("zones.yaml", "most_chemical: 3", "most_chemical: 2"),
        ("agents/heptane.yaml", "value: 85\n", "value: 80\n"),
        ("agents/heptane.yaml", "gloves:\n", "not_for: [asthma]\ngloves:\n"),
    ):
        text = (copy / file).read_text(encoding="utf-8")
        assert old in text
        (copy / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    assert _lines(weaker(carried, load_knowledge(copy))) == []


def test_every_judgement_protects_or_is_of_the_picture() -> None:
    of_the_picture = {"picture", "wavelength_um", "eye_acuity_arcmin", "stack_overlap"}
    of_words = {"most_certain"}  # caps what is said; nothing is decided at it
    assert set(PROTECTS["judgement"]) | of_the_picture | of_words == set(Judgement.model_fields)


def test_check_prints_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    copy, line = _broken(tmp_path, "the eye's chemical bound")
    assert main(["check", "--rules", str(copy)]) == 0
    said = f'mine/zones.yaml:{line} zone "compound-eye": weaker than the carried rules: most_chemical is 4'
    assert said in capsys.readouterr().out
