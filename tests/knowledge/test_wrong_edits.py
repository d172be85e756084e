"""A practitioner edits a copy of the rules wrongly: each wrong edit is one line with its mend.

Each edit is made in a fresh copy. ``triage check`` names the exact line, the entry and what to do;
``triage plan`` with the same copy refuses to plan. A file that no edit has touched is parsed once
for all of them; the last tests share nothing.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.support.running import share_parsed, share_rules
from triage.cli import main

ROOT = Path(__file__).resolve().parents[2]
CASE = ROOT / "cases" / "bumblebee-plate-3.yaml"


@dataclass(frozen=True)
class Edit:
    """One wrong edit: in ``file``, the first ``old`` after ``after`` becomes ``new``.

    ``at`` is the text whose line must be named (``new`` if empty), ``entry`` the entry, ``says``
    what is wrong, ``mend`` what to do.
    """

    file: str
    after: str
    old: str
    new: str
    entry: str
    says: str
    mend: str
    at: str = ""


def signs_of(deposit: str) -> str:
    """Return the text of all signs of a deposit."""
    text = (ROOT / "rules" / "deposits" / f"{deposit}.yaml").read_text(encoding="utf-8")
    return text[text.index("signs:") : text.index("\n\n", text.index("signs:"))]


EDITS = {
    # -- names that do not exist -------------------------------------------------------------
    "technique misspelt": Edit(
        "methods/clean-solvent.yaml", "- id: ethanol-70-brush", "technique: brush-wet", "technique: brush-wett",
        'method "ethanol-70-brush"', 'unknown technique "brush-wett"', 'did you mean "brush-wet"?',
    ),
    "an answer that no answer implies": Edit(
        "questions.yaml", "id: in-fluid", "hydration: fluid-preserved", "hydration: fluid-presrved",
        'question "arrival"', '"fluid-presrved" does not answer hydration', 'did you mean "fluid-preserved"?',
    ),
    "put only where a question is that there is not": Edit(
        "questions.yaml", "- id: fluid", "when: {arrival:", "when: {arival:",
        'question "fluid"', 'unknown question "arival"', 'did you mean "arrival"?',
    ),
    "a reading without its own beside it": Edit(
        "methods/intake.yaml", "- id: freeze-quarantine", "  stands: >-", "  note: >-",
        'method "freeze-quarantine"', "also and stands go together", "say why its own figures are followed",
        at="- id: freeze-quarantine",
    ),
    "stop sign misspelt": Edit(
        "methods/clean-solvent.yaml", "- id: ethanol-70-brush", "[colour-moves,", "[color-moves,",
        'method "ethanol-70-brush"', 'unknown stop "color-moves"', 'did you mean "colour-moves"?',
    ),
    "agent misspelt": Edit(
        "methods/clean-solvent.yaml", "- id: ethanol-70-brush", "agent: ethanol\n", "agent: etanol\n",
        'method "ethanol-70-brush"', 'unknown agent "etanol"', 'did you mean "ethanol"?',
    ),
    "trait misspelt": Edit(
        "zones.yaml", "- id: compound-eye", "[lens, waxy]", "[lense, waxy]",
        'zone "compound-eye"', 'unknown trait "lense"', 'did you mean "lens"?',
    ),
    "fragility misspelt": Edit(
        "taxa.yaml", "- id: weevils-scaled", "fragility: very-delicate", "fragility: very-delicat",
        'taxon "weevils-scaled"', 'unknown fragility "very-delicat"', 'did you mean "very-delicate"?',
    ),
    "authority unknown": Edit(
        "agents/heptane.yaml", "limits:", "authority: osha", "authority: oshaa",
        'agent "heptane"', 'unknown authority "oshaa"', 'did you mean "osha"?',
    ),
    "glove material unknown": Edit(
        "agents/heptane.yaml", "gloves:", "material: nitrile-thick", "material: nitril-thick",
        'agent "heptane"', 'unknown material "nitril-thick"', 'did you mean "nitrile-thick"?',
    ),
    "key misspelt": Edit(
        "deposits/pollen.yaml", "id: pollen", "speaks_for:", "speeks_for:",
        'deposit "pollen"', 'unknown key "speeks_for"', 'did you mean "speaks_for"?',
    ),
    "inner key misspelt": Edit(
        "agents/heptane.yaml", "limits:", "edition: 29 CFR", "editon: 29 CFR",
        'agent "heptane"', 'unknown key "limits.0.editon"', 'did you mean "edition"?',
    ),
    # -- sources ------------------------------------------------------------------------------
    "source missing": Edit(
        "deposits/pollen.yaml", "id: pollen", "source: pollenkitt-page\n", "",
        'deposit "pollen"', '"source" is missing', "add source:", "id: pollen",
    ),
    "source unknown": Edit(
        "zones.yaml", "- id: compound-eye", "source: corneal-coat-2020", "source: corneal-coat-2021",
        'zone "compound-eye"', 'unknown source "corneal-coat-2021"', 'did you mean "corneal-coat-2020"?',
    ),
    "judgement without a known source": Edit(
        "judgement.yaml", "suspected:", "source: shortliffe-buchanan-1975", "source: shortlife-1975",
        "judgement", 'unknown source "shortlife-1975"', 'did you mean "shortliffe-buchanan-1975"?',
    ),
    # -- ids ----------------------------------------------------------------------------------
    "id twice": Edit(
        "stops.yaml", "- id: scales-on-brush", "- id: scales-on-brush", "- id: colour-moves",
        'stop "colour-moves"', "this id is used twice", "rename one; the first stands at rules/stops.yaml:2",
        "- id: colour-moves\n  see: A scale",
    ),
    "rule id twice in two families": Edit(
        "order.yaml", "- id: order-dry-before-wet", "- id: order-dry-before-wet", "- id: gate-worth-it",
        'rule "gate-worth-it"', "this id is used twice", "rename one; the first stands at rules/gate.yaml:",
    ),
    "id with a blank": Edit(
        "stops.yaml", "- id: colour-moves", "- id: colour-moves", "- id: Colour moves",
        'stop "Colour moves"', "id:", "use small letters, digits and hyphens",
    ),
    # -- values -------------------------------------------------------------------------------
    "limit without edition": Edit(
        "agents/heptane.yaml", "limits:", "    edition: 29 CFR 1910.1000 Table Z-1, as in force in 1994 and since\n", "",
        'agent "heptane"', '"limits.0.edition" is missing', "add edition:", "- authority: osha",
    ),
    "unit unknown": Edit(
        "agents/heptane.yaml", "limits:", "unit: ppm", "unit: ppmv",
        'agent "heptane"', 'limits.0.unit is "ppmv"', 'did you mean "ppm"?',
    ),
    "negative vapour pressure": Edit(
        "agents/heptane.yaml", "vapour_pressure:", "kpa: 4.72", "kpa: -4.72",
        'agent "heptane"', "kpa: Input should be greater than 0 (given: -4.72)", "correct the value",
    ),
    "number with a unit in it": Edit(
        "agents/heptane.yaml", "limits:", "value: 500", "value: 500 ppm",
        'agent "heptane"', "limits.0.value", "write a number, and its unit under unit:",
    ),
    "number that is none": Edit(
        "methods/clean-solvent.yaml", "- id: ethanol-70-brush", "passes: 3", "passes: 0",
        'method "ethanol-70-brush"', "passes: Input should be greater than or equal to 1", "correct the value",
    ),
    "grade above five": Edit(
        "methods/clean-solvent.yaml", "- id: ethanol-70-brush", "mechanical: {grade: 3", "mechanical: {grade: 6",
        'method "ethanol-70-brush"', "harshness.mechanical.grade", "correct the value",
    ),
    "start above most": Edit(
        "methods/clean-solvent.yaml", "- id: ethanol-70-brush", "dwell_s: {start: 30,", "dwell_s: {start: 3000,",
        'method "ethanol-70-brush"', "dwell_s: start 3000 is above most 300", "correct the value",
    ),
    "no stop points": Edit(
        "methods/clean-solvent.yaml", "- id: ethanol-70-brush",
        "stop_signs: [colour-moves, gloss-or-beading-lost, scales-on-brush, joint-opens, crack-or-curl, three-unchanged]",
        "stop_signs: []", 'method "ethanol-70-brush"', "stop_signs", "add what is missing to the list",
    ),
    "stop sign of a chamber at a puff": Edit(
        "methods/clean-dry.yaml", "- id: puff-air", "threads-seen", "mould-seen",
        'method "puff-air"', '"mould-seen" cannot show at a dry step', "take it out",
    ),
    "stage unknown": Edit(
        "methods/clean-solvent.yaml", "- id: ethanol-70-brush", "stage: clean", "stage: cleaning",
        'method "ethanol-70-brush"', 'stage is "cleaning"', 'did you mean "clean"?',
    ),
    "guard unknown": Edit(
        "deposits/natural-bloom.yaml", "id: natural-bloom", "guard: protect", "guard: protected",
        'deposit "natural-bloom"', 'guard is "protected"', 'did you mean "protect"?',
    ),
    "answer twice": Edit(
        "questions.yaml", "- id: whole\n", "- {id: parts-loose,", "- {id: whole,",
        'question "whole"', 'answer "whole" stands twice', "give each its id", "- {id: whole, text: some",
    ),
    "agent that is never used": Edit(
        "methods/clean-solvent.yaml", "- id: heptane-brush", "agent: heptane", "agent: carbon-tetrachloride",
        'method "heptane-brush"', '"carbon-tetrachloride" is never used', "choose another agent",
    ),
    "agent that is a draft": Edit(
        "agents/heptane.yaml", "status:", "status: checked", "status: draft",
        'method "heptane-brush"', '"heptane" is a draft', "check the agent first", "methods/clean-solvent.yaml|agent: heptane",
    ),
    # -- rules --------------------------------------------------------------------------------
    "weight out of range": Edit(
        "deposits/mud.yaml", "signs:", "sheen-dull: 0.2", "sheen-dull: 1.2",
        'deposit "mud"', "weight is 1.2", "give a number from -1 to below 1",
    ),
    "weight in words": Edit(
        "deposits/mud.yaml", "signs:", "sheen-dull: 0.2", "sheen-dull: slight",
        'deposit "mud"', "weight is slight", "give a number from -1 to below 1",
    ),
    "weight out of range, in full": Edit(
        "deposits/mould.yaml", "  smell-musty:", "weight: 0.4", "weight: -1.4",
        'deposit "mould"', "weight is -1.4", "give a number from -1 to below 1",
    ),
    "unknown sign": Edit(
        "deposits/mud.yaml", "signs:", "sheen-dull: 0.2", "sheen-dul: 0.2",
        'deposit "mud"', 'unknown sign "sheen-dul"', 'did you mean "sheen-dull"?',
    ),
    "sign weighed twice": Edit(
        "deposits/mud.yaml", "signs:", "  sheen-dull: 0.2\n", "  sheen-dull: 0.2\n  sheen-dull: 0.1\n",
        "sheen-dull", '"sheen-dull" stands twice', "keep one; the first is in line", "  sheen-dull: 0.1",
    ),
    "unknown sign of a condition": Edit(
        "conditions.yaml", "- id: old-poison", "- white-grains-underneath", "- white-grain-underneath",
        'condition "old-poison"', 'unknown sign "white-grain-underneath"', 'did you mean "white-grains-underneath"?',
    ),
    "sign of a condition twice": Edit(
        "conditions.yaml", "- id: old-poison", "- white-grains-underneath", "- white-grains-at-joint-or-pin",
        'condition "old-poison"', 'the sign "white-grains-at-joint-or-pin" stands twice', "keep one",
        "- white-grains-at-joint-or-pin\n    - id: state-old-poison",
    ),
    "sign that nobody weighs": Edit(
        "signs.yaml", "", "- id: sheen-dull\n",
        "- id: sheen-dul\n  when: [{finding: {id: $f, sheen: dull}}]\n  because: Dull.\n  source: judgement\n"
        "  cases:\n    - {given: {finding: {sheen: dull}}, expect: fires}\n"
        "    - {given: {finding: {sheen: normal}}, expect: silent}\n- id: sheen-dull\n",
        'sign "sheen-dul"', "nothing weighs this sign", "give it a weight in the file of a deposit", "- id: sheen-dul\n",
    ),
    "sign written out twice": Edit(
        "deposits/mould.yaml", "", "  smell-musty:\n", "  smell-rancid:\n",
        'deposit "mould"', 'the sign "smell-rancid" is written out twice', "rename one; the first stands at rules/signs.yaml:",
    ),
    "sign written out without a source": Edit(
        "deposits/mould.yaml", "  smell-musty:", "    source: common-practice\n", "",
        'deposit "mould"', "signs.smell-musty: a sign written out needs because, source and cases", "correct the value",
        "  smell-musty:",
    ),
    "reason of its own without a source": Edit(
        "deposits/mud.yaml", "signs:", "sheen-dull: 0.2", "sheen-dull: {weight: 0.2, because: Mud is dull.}",
        'deposit "mud"', "signs.sheen-dull: a reason of its own needs its source", "correct the value",
    ),
    "sign on no finding": Edit(
        "deposits/mould.yaml", "  mouldy-smell-yes:", "      - finding: {id: $f}\n", "",
        'deposit "mould"', "$f is not bound by a pattern", "bind it in when", "  mouldy-smell-yes:",
    ),
    # -- what a deposit must state ----------------------------------------------------------------
    "nothing speaks for a deposit": Edit(
        "deposits/rust.yaml", "signs:", signs_of("rust"), "signs:\n  colour-white: -1\n  colour-grey: -1\n  colour-green-blue: -1\n",
        'deposit "rust"', "no sign speaks for it", "give a sign a weight above 0", "deposits/rust.yaml|id: rust",
    ),
    "too few signs": Edit(
        "deposits/rust.yaml", "signs:", signs_of("rust"), "signs:\n  colour-rust-red: 0.7\n  pin-steel-plain: 0.2\n",
        'deposit "rust"', "2 signs tell of it, fewer than 3", "weigh more signs", "signs:",
    ),
    "no word where it is left": Edit(
        "deposits/lacquer.yaml", "", "leave_it: ", "note: ",
        'deposit "lacquer"', '"leave_it" is missing', "add leave_it:", "id: lacquer",
    ),
    "confused with nothing": Edit(
        "deposits/mud.yaml", "", "confused_with: [gut-fluid-blood, lime-crust, pest-frass]", "confused_with: []",
        'deposit "mud"', "confused_with: ", "add what is missing to the list",
    ),
    "confused with itself": Edit(
        "deposits/mud.yaml", "", "confused_with: [gut-fluid-blood,", "confused_with: [mud,",
        'deposit "mud"', "it is confused with itself", "name what looks like it",
    ),
    "no worked case": Edit(
        "deposits/rust.yaml", "", "\ncases:\n", "\nwas: []\nxcases:\n",
        'deposit "rust"', '"cases" is missing', "add cases:", "id: rust",
    ),
    "worked case that settles nothing": Edit(
        "deposits/rust.yaml", "\ncases:\n", "colour: rust-red, ", "",
        'deposit "rust"', "case 1: these answers leave it", "settle it by more answers", "  - zone: pin-contact",
    ),
    "worked case that leaves a guard possible": Edit(
        "deposits/loose-dust.yaml", "\ncases:\n", "colour: mixed-grains, texture: grains, puff: moves",
        "puff: moves, dust-returns: yes", 'deposit "loose-dust"', "possible", "add the answers that rule it out",
    ),
    "worked case on an unknown zone": Edit(
        "deposits/loose-dust.yaml", "\ncases:\n", "zone: elytra", "zone: elytre",
        'deposit "loose-dust"', 'unknown zone "elytre"', 'did you mean "elytra"?',
    ),
    "worked case with an unknown answer": Edit(
        "deposits/loose-dust.yaml", "\ncases:\n", "puff: moves", "puff: move",
        'deposit "loose-dust"', '"move" does not answer puff', 'did you mean "moves"?',
    ),
    "worked case with an unknown question": Edit(
        "deposits/rust.yaml", "\ncases:\n", "specimen: {pin:", "specimen: {pinn:",
        'deposit "rust"', 'unknown question "pinn"', 'did you mean "pin"?',
    ),
    "guard that nothing could show": Edit(
        "deposits/insect-fungus.yaml", "signs:", signs_of("insect-fungus"),
        "signs:\n  texture-growth-through-joints: 0.1\n  colour-white: -1\n  colour-grey: -1\n",
        'deposit "insect-fungus"', "it is guarded, yet no open question could still make it suspected", "weights that come to 0.2",
        "signs:",
    ),
    "two parts of a ladder without a name": Edit(
        "deposits/mud.yaml", "ladder:", "  - id: offer-eye-washing-mud\n    method:", "  - method:",
        'deposit "mud"', 'the rule "offer-mud" is made twice', "rename one; the first stands at rules/deposits/mud.yaml:",
        "  - method: [eye-moist-touch, eye-brush-water, eye-brush-surfactant]",
    ),
    "ladder on a surface that does not exist": Edit(
        "deposits/mud.yaml", "ladder:", "where: {surface: lens}", "where: {surface: lense}",
        'deposit "mud"', 'zone surface is never "lense"', 'did you mean "lens"?',
    ),
    "ladder from a standing that does not exist": Edit(
        "deposits/mud.yaml", "ladder:", "  - method:\n", "  - standing: sure\n    method:\n",
        'deposit "mud"', 'ladder.0.standing is "sure"', "use one of", "  - standing: sure",
    ),
    "answer that is never given": Edit(
        "signs.yaml", "- id: sheen-dull", "sheen: dull}", "sheen: dul}",
        'sign "sheen-dull"', 'finding.sheen is never "dul"', 'did you mean "dull"?',
    ),
    "field that does not exist": Edit(
        "signs.yaml", "- id: sheen-dull", "sheen: dull}", "sheeen: dull}",
        'sign "sheen-dull"', 'finding has no field "sheeen"', 'did you mean "sheen"?',
    ),
    "kind of fact that does not exist": Edit(
        "signs.yaml", "- id: sheen-dull", "- finding: {id", "- findings: {id",
        'sign "sheen-dull"', 'unknown kind of fact "findings"', 'did you mean "finding"?',
    ),
    "absence in an interlock": Edit(
        "forbid.yaml", "- id: forbid-unsettled-anything-that-acts", "- finding: {id: $f, settled: none}",
        "- finding: {id: $f, settled: none}\n    - absent: {specimen: {hydration: dry}}",
        'rule "forbid-unsettled-anything-that-acts"', "an interlock must not depend on an absence", "remove absent",
        "- absent: {specimen",
    ),
    "stratum read too early": Edit(
        "signs.yaml", "- id: sheen-dull", "- finding: {id: $f, sheen: dull}",
        "- finding: {id: $f, sheen: dull}\n    - closed: {stage: clean}",
        'sign "sheen-dull"', '"closed" is only known after gate', "use facts of earlier families",
        "- closed: {stage",
    ),
    "derived field read too early": Edit(
        "signs.yaml", "- id: sheen-dull", "sheen: dull}", "fragility: robust}",
        'sign "sheen-dull"', "finding.fragility is derived later", "use what was observed instead",
    ),
    "unknown method in an offer": Edit(
        "deposits/loose-dust.yaml", "ladder:", "brush-dry-soft", "brush-dry-sof",
        'deposit "loose-dust"', 'unknown method "brush-dry-sof"', 'did you mean "brush-dry-soft"?',
    ),
    "variable that nothing binds": Edit(
        "forbid.yaml", "- id: forbid-unsettled-anything-that-acts", "forbid: {finding: $f", "forbid: {finding: $g",
        'rule "forbid-unsettled-anything-that-acts"', "$g is not bound by a pattern", "bind it in when",
    ),
    "conclusion of another family": Edit(
        "gate.yaml", "- id: gate-worth-it", "- close: {stage: intake, ask: worth-it}", "- offer: {method: puff-air}",
        'rule "gate-worth-it"', 'gate cannot conclude "offer"', "use one of: close, refuse",
    ),
    "comparison on a field without order": Edit(
        "forbid.yaml", "- id: forbid-fat-solvent-unless-dry", "{not: dry}", "{noot: dry}",
        'rule "forbid-fat-solvent-unless-dry"', 'unknown constraint "noot"', 'did you mean "not"?',
    ),
    "question that does not exist": Edit(
        "forbid.yaml", "- id: forbid-liquid-on-unsoftened-specimen", "ask: hydration", "ask: hidration",
        'rule "forbid-liquid-on-unsoftened-specimen"', 'unknown question "hidration"', 'did you mean "hydration"?',
    ),
    "case that comes out otherwise": Edit(
        "gate.yaml", "- id: gate-worth-it", "{worth-it: no}}, expect: fires", "{worth-it: no}}, expect: silent",
        'rule "gate-worth-it"', "case 1: expected silent, but the rule fired", "correct the rule or the case",
    ),
    "only cases that fire": Edit(
        "gate.yaml", "- id: gate-stinging-hairs", "    - {given: {specimen: {urticating-hairs: no}}, expect: silent}\n", "",
        'rule "gate-stinging-hairs"', "needs a case that fires and one that is silent", "add it", "  cases:",
    ),
    "no reason given": Edit(
        "forbid.yaml", "- id: forbid-unsettled-anything-that-acts", "  because: While", "  becuse: While",
        'rule "forbid-unsettled-anything-that-acts"', 'unknown key "becuse"', 'did you mean "because"?',
    ),
    # -- the rulebase as a whole ----------------------------------------------------------------
    "order that leads round": Edit(
        "order.yaml", "- id: order-dry-before-wet", "earlier: $a, later: $b", "earlier: $a, later: $a",
        'rule "order-dry-before-wet"', "before itself", "narrow one of its two method patterns", "- id: order-dry-before-wet",
    ),
    "interlock against every offer": Edit(
        "forbid.yaml", "- id: forbid-unsettled-anything-that-acts", "{id: $f, settled: none}", "{id: $f}",
        'deposit "loose-dust"', "for loose-dust, which is always forbidden (forbid-unsettled-anything-that-acts",
        "take it out, or mend the interlocks", "deposits/loose-dust.yaml|brush-single-hair",
    ),
    "method renamed in one place only": Edit(
        "methods/clean-solvent.yaml", "- id: ethanol-70-brush", "- id: ethanol-70-brush", "- id: ethanol-70-brsh",
        'deposit "oily-film"', 'unknown method "ethanol-70-brush"', 'did you mean "ethanol-70-brsh"?', "deposits/oily-film.yaml|ethanol-70-brush",
    ),
    # -- the text of the file -------------------------------------------------------------------
    "tab as indentation": Edit(
        "stops.yaml", "- id: colour-moves", "  means:", "\tmeans:",
        "", "a tab stands in the indentation", "use spaces",
    ),
    "key twice": Edit(
        "deposits/pollen.yaml", "id: pollen", "kind: loose\n", "kind: loose\nkind: film\n",
        "kind", '"kind" stands twice', "keep one; the first is in line", "kind: film",
    ),
    "alias": Edit(
        "deposits/pollen.yaml", "id: pollen", "name: pollen", "name: *dust",
        "", "anchors (&) and aliases (*) are not read", "write the entry out",
    ),
    "tag": Edit(
        "deposits/pollen.yaml", "id: pollen", "name: pollen", "name: !!python/name:os.system pollen",
        "", "is not read", "remove it and put text in quotes",
    ),
    "bracket not closed": Edit(
        "zones.yaml", "- id: compound-eye", "[lens, waxy]", "[lens, waxy",
        "", "broken YAML", "check the indentation, colons and quotes", "  hurts:",
    ),
    "colon in a text": Edit(
        "stops.yaml", "- id: colour-moves", "means: Pigment is", "means: Pigment: is",
        "", "broken YAML", "check the indentation, colons and quotes",
    ),
    "entry that is only text": Edit(
        "stops.yaml", "- id: colour-moves", "- id: scales-on-brush", "- look out\n- id: scales-on-brush",
        "stop", "is not an entry", "write key: value", "- look out",
    ),
}  # fmt: skip


# A plan loads the rules in the same way as a check does: every sixth edit shows it.
PLANNED = frozenset(sorted(EDITS)[::6]) | {
    "case that comes out otherwise",
    "interlock against every offer",
}


@pytest.fixture
def shared(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    share_parsed(monkeypatch)
    share_rules(monkeypatch)
    monkeypatch.setenv("TRIAGE_HOME", str(tmp_path / "home"))


def _expected_line(copy: Path, edit: Edit) -> tuple[str, int]:
    """Return the file and line in which the wrong text stands."""
    file, sign, wanted = edit.at.rpartition("|")
    name = file if sign else edit.file
    text = (copy / name).read_text(encoding="utf-8")
    wanted = wanted or edit.new.lstrip()
    start = text.find(edit.after) if not sign else 0
    found = text.index(wanted, max(start, 0))
    return name, text.count("\n", 0, found) + 1


def _copy(folder: Path) -> Path:
    copy = folder / "rules"
    shutil.copytree(ROOT / "rules", copy)
    return copy


def _said(capsys: pytest.CaptureFixture[str], *words: str) -> list[str]:
    assert main(list(words)) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "Traceback" not in err
    return err.splitlines()


@pytest.mark.usefixtures("shared")
@pytest.mark.parametrize("name", sorted(EDITS))
def test_wrong_edit_names_line_entry_and_mend(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    edit = EDITS[name]
    copy = _copy(tmp_path)
    path = copy / edit.file
    text = path.read_text(encoding="utf-8")
    start = text.index(edit.old, text.index(edit.after))
    path.write_text(text[:start] + edit.new + text[start + len(edit.old) :], encoding="utf-8")
    lines = _said(capsys, "check", "--rules", str(copy))
    file, number = _expected_line(copy, edit)
    place = f"rules/{file}:{number}"
    fitting = [x for x in lines if x.startswith((f"{place} ", f"{place}:"))]
    assert fitting, f"{place} is not named in:\n" + "\n".join(lines)
    (line, *_more) = [x for x in fitting if edit.says in x] or [""]
    assert line, f"{edit.says!r} is not said in:\n" + "\n".join(fitting)
    assert edit.entry in line
    assert edit.mend in line
    if name in PLANNED:
        # The same copy is not planned with.
        assert line in _said(capsys, "plan", str(CASE), "--rules", str(copy))


def test_at_least_two_dozen_kinds_of_wrong_edit() -> None:
    assert len(EDITS) >= 24


def _rename(copy: Path) -> None:
    (copy / "agents" / "heptane.yaml").rename(copy / "agents" / "heptan.yaml")


def _empty(copy: Path) -> None:
    for path in (copy / "agents").glob("*.yaml"):
        path.unlink()


BROKEN_FOLDERS: dict[str, tuple[Callable[[Path], object], str, str]] = {
    "file renamed": (
        _rename, 'rules/agents/heptan.yaml:1 agent "heptane": the file is named "heptan"', "name the file heptane.yaml",
    ),
    "deposit renamed": (
        lambda copy: (copy / "deposits" / "rust.yaml").rename(copy / "deposits" / "iron-rust.yaml"),
        'rules/deposits/iron-rust.yaml:1 deposit "rust": the file is named "iron-rust"', "name the file rust.yaml",
    ),
    "two deposits in a file": (
        lambda copy: (copy / "deposits" / "rust.yaml").write_text("- id: rust\n- id: verdigris\n"),
        "rules/deposits/rust.yaml:1: one deposit a file", "give each a file of its own",
    ),
    "file that nothing reads": (
        # A misspelt file of interlocks would be taken to hold.
        lambda copy: shutil.copy(copy / "forbid.yaml", copy / "forbids.yaml"),
        "rules/forbids.yaml: nothing reads this file", "move its entries to the file of their kind",
    ),
    "file missing": (lambda copy: (copy / "zones.yaml").unlink(), "rules/zones.yaml: no such file", "check the name"),
    "folder of agents empty": (_empty, "rules/agents: the folder is empty", "add files: agent"),
    "file in place of a folder": (
        lambda copy: (shutil.rmtree(copy / "methods"), (copy / "methods").write_text("- id: x\n")),
        'rules/methods:1 method "x"', "is missing; add",
    ),
    "file empty": (lambda copy: (copy / "fragility.yaml").write_text(""), "rules/fragility.yaml:1: no entries", "begin with - id:"),
    "not UTF-8": (
        lambda copy: (copy / "stops.yaml").write_bytes("- id: x\n  see: naïve\n".encode("latin-1")),
        "rules/stops.yaml:2: byte 0xEF is not UTF-8 text", "save the file as UTF-8",
    ),
    "second document": (
        lambda copy: (copy / "stops.yaml").write_text("- id: x\n---\n- id: y\n"),
        "rules/stops.yaml:2: a second document begins here", "keep one document",
    ),
    "mapping without entries": (
        lambda copy: (copy / "stops.yaml").write_text("just words\n"),
        "rules/stops.yaml:1: a list of entries is expected", "begin with - id:",
    ),
}  # fmt: skip


@pytest.mark.usefixtures("shared")
@pytest.mark.parametrize("name", sorted(BROKEN_FOLDERS))
def test_broken_folder_is_refused_with_a_mend(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    spoil, says, mend = BROKEN_FOLDERS[name]
    copy = _copy(tmp_path)
    spoil(copy)
    lines = _said(capsys, "check", "--rules", str(copy))
    (line, *_more) = [x for x in lines if x.startswith(says)] or [""]
    assert line, "\n".join(lines)
    assert mend in line
    if name in ("file missing", "file empty"):
        assert line in _said(capsys, "plan", str(CASE), "--rules", str(copy))


def test_every_fault_of_a_run_is_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = _copy(tmp_path)
    for file, old, new in (
        ("deposits/pollen.yaml", "kind: loose", "kind: lose"),
        ("stops.yaml", "  see: Colour", "  sea: Colour"),
        ("agents/heptane.yaml", "basis: twa", "basis: twaa"),
    ):
        path = copy / file
        path.write_text(path.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    lines = _said(capsys, "check", "--rules", str(copy))
    assert all(line.startswith("rules/") and "; " in line for line in lines)
    named = {line.split(":")[0] for line in lines}
    assert named == {"rules/deposits/pollen.yaml", "rules/stops.yaml", "rules/agents/heptane.yaml"}
    assert len(lines) == 4  # a misspelt key is both unknown and missing


def test_no_rules_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (line,) = _said(capsys, "check", "--rules", str(tmp_path / "nowhere"))
    assert "no such rules folder" in line
    assert "check --rules" in line
