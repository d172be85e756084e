"""The calculators as a user meets them; figures beside their printed or hand-worked source."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from tests.support.knowledge import CASES
from triage.case.changes import new_case, new_finding, with_attempt
from triage.case.models import Attempt
from triage.case.store import create_case
from triage.cli import main

BENCH = ("--bench", str(CASES / "bench.yaml"))


@pytest.fixture(autouse=True)
def own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRIAGE_HOME", str(tmp_path))


def answered(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    assert main([*words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def figure(answer: dict[str, Any], name: str) -> float:
    return next(f["value"] for f in answer["figures"] if f["name"] == name)


# command, figure, value, how near
FIGURES = [
    # Histology note on preservatives: 70 mL of 95 % made up to 95 mL is 70 %.
    ("mix ethanol --to 70 --stock 95 --ml 95", "stock", 70.0, 1e-6),
    # By hand: 50 g of 3 % from 25 %: 6 g of stock holds the 1.5 g that is needed.
    ("mix ammonia-solution --to 3 --stock 25 --grams 50", "stock", 6.0, 1e-6),
    # Weak-base formula by hand: c = 30/17.031 = 1.7615 mol/L, x = sqrt(1.8e-5 c) = 5.63e-3, pH 11.75.
    ("mix ammonia-solution --to 3 --stock 25 --grams 50", "pH, about", 11.75, 0.06),
    # By hand: 10 % w/w at 1.048 g/mL is 104.8 g/L over 36.461 = 2.874 mol/L; pH 2 of 1 L takes 3.48 mL.
    ("mix hydrochloric-acid-dilute --to-ph 2 --stock 10 --ml 1000", "acid stock", 3.479, 0.002),
    # OIML R 121, table 1: sodium chloride at 25 C, 75.3 +/- 0.2 % RH.
    ("chamber --litres 1 --temp 25 --salt sodium-chloride", "relative humidity", 75.3, 0.2),
    # Handbook table of saturated air: 17.3 g/m3 at 20 C; half of it is there already.
    ("chamber --litres 1 --temp 20 --rh 50", "water the air takes up", 8.65, 0.0865),
    # Supplier guides after BS 1133-19: 170 g for a cubic metre, so 17 g for 100 L.
    ("box --litres 100", "packing rule", 17.0, 1e-6),
    # Ideal gas by hand: 0.006593 kPa x 128.171 / (8.314 x 293.15) = 0.3467 mg/L, ten litres of it.
    (
        "box --litres 10 --fumigant naphthalene --grams 5",
        "leaves when opened, at most",
        3.467,
        0.0034,
    ),
    # One change thins 80 % by 0.8 mL of water to 10 mL of fluid: 80 x 10/10.8.
    ("alcohol --stock 80 --fluid 10 --water 0.8", "strength after change 1", 74.07, 0.01),
    # 35 drops fill 2 mL: worked example of a pharmacy course page on calibrating a dropper; the error
    # either way is that of USP 32, general chapter 1101: 15 %.
    ("drops 35 --counted 35 --filled 2", "volume", 2.0, 1e-9),
    ("drops 35 --counted 35 --filled 2", "at least", 1.7, 1e-6),
    ("drops 35 --counted 35 --filled 2", "at most", 2.3, 1e-6),
    # 20 give or take 2 drops of water a millilitre (the same page), counted by the biggest: 0.5 mL at 18.
    ("drops --ml 0.5", "drops", 9, 0),
    # 46 a mL: 18 of water by Tate, 72.8/22.3 mN/m and 0.789 g/mL.
    ("drops --ml 0.5 --agent ethanol", "drops", 23, 0),
    # Three bursts of at most 10 s each are allowed.
    ("bursts 8 10", "bursts left", 1, 0),
    ("bursts 8 10", "longest next burst", 10.0, 0),
]


@pytest.mark.parametrize(("words", "name", "value", "within"), FIGURES)
def test_a_figure_of_a_document_or_worked_by_hand(
    capsys: pytest.CaptureFixture[str], words: str, name: str, value: float, within: float
) -> None:
    assert figure(answered(capsys, *words.split()), name) == pytest.approx(value, abs=within, rel=0)


def test_air_of_a_closed_room_by_hand(capsys: pytest.CaptureFixture[str]) -> None:
    """2 mL of ethyl acetate at 0.9006 g/mL in 30 m3: 60.0 mg/m3 in the room once all is in the air."""
    answer = answered(
        capsys, "air", "ethyl-acetate", "--ml", "2", "--volume", "30", "--air-changes", "0"
    )
    peak = next(
        each for each in answer["levels"] if (each["place"], each["window"]) == ("room", "peak")
    )
    assert peak["high_mg_per_m3"] == pytest.approx(2.0 * 900.6 / 30.0, rel=0.01)
    assert {limit["edition"] for limit in answer["air"]["limits"]}
    assert all(limit["source"] and limit["authority"] for limit in answer["air"]["limits"])


def test_over_a_limit_names_limit_factor_mend_and_control(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["air", "limonene", "--ml", "5", "--volume", "12", "--control", "none"]) == 0
    first, *rest = capsys.readouterr().out.splitlines()
    assert first.startswith("Too much: ")
    assert "times" in first
    assert "limit" in first
    assert "It becomes acceptable with:" in " ".join(rest)


def test_largest_amount_is_itself_acceptable(capsys: pytest.CaptureFixture[str]) -> None:
    words = ("air", "heptane", "--volume", "20", "--control", "window")
    largest = answered(capsys, *words, "--ml", "50")["largest_pass_ml"]
    assert answered(capsys, *words, "--ml", str(largest * 0.999))["verdict"] == "ok"
    assert answered(capsys, *words, "--ml", str(largest * 1.02))["verdict"] == "over"


def test_least_fresh_air_is_enough_and_no_less(capsys: pytest.CaptureFixture[str]) -> None:
    words = ("air", "limonene", "--ml", "0.15", "--volume", "30")
    least = answered(capsys, *words)["least_air_changes_per_h"]
    assert answered(capsys, *words, "--air-changes", str(least * 1.01))["verdict"] == "ok"
    assert answered(capsys, *words, "--air-changes", str(least * 0.95))["verdict"] == "over"


def test_curve_without_colour_has_no_codes_and_is_told_in_words(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["air", "ethyl-acetate", "--ml", "2", "--curve", *BENCH]) == 0
    out = capsys.readouterr().out
    assert "\x1b" not in out
    assert "highest at the face:" in out
    assert "* face" in out


def test_empty_day_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    answer = answered(capsys, "day-air")
    assert answer["sentence"] == "Nothing was released into this room in the last 24 hours."
    assert answer["bars"] == []


def test_today_on_every_case_counts(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Three attempts on two cases: the mass by hand is 3 x 0.5 mL x 0.7893 g/mL at 70 %."""
    cases = tmp_path / "cases"
    cases.mkdir()
    now = datetime.now().astimezone()
    for name, count in (("one", 2), ("two", 1)):
        case = new_case(name, name, taxon="flies", findings=(new_finding("f1", "thorax-hairy"),))
        for number in range(count):
            made = Attempt(
                id=f"a{number + 1}",
                at=now,
                step="f1-x",
                finding="f1",
                method="ethanol-70-brush",
                agent="ethanol",
                outcome="better",
                amount_ml=0.5,
            )
            case = with_attempt(case, made)
        create_case(cases, case)
    answer = answered(capsys, "day-air", "--cases", str(cases))
    assert len(answer["releases"]) == 3
    assert sum(r["amount_mg"] for r in answer["releases"]) == pytest.approx(
        3 * 0.5 * 789.3 * 0.7, rel=1e-3
    )
    assert answer["sentence"].startswith("3 releases in 24 h")
    assert main(["day-air", "--cases", str(cases)]) == 0
    assert "8 h [" in capsys.readouterr().out
    fresh = answered(capsys, "air", "ethanol", "--ml", "1", "--cases", str(cases), "--alone")
    later = answered(capsys, "air", "ethanol", "--ml", "1", "--cases", str(cases))
    assert later["earlier_releases"] == 3
    assert later["largest_pass_ml"] < fresh["largest_pass_ml"]


@pytest.mark.parametrize(
    "words", ["air ethyl-acetate --ml 2", "mix ethanol --to 70 --stock 96 --ml 10", "day-air"]
)
def test_same_question_same_bytes(capsys: pytest.CaptureFixture[str], words: str) -> None:
    texts = []
    for _ in range(2):
        main([*words.split(), "--json"])
        texts.append(capsys.readouterr().out)
    assert texts[0] == texts[1]
