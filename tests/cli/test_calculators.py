"""The calculators as a user meets them; figures beside their printed or hand-worked source."""

import json
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from tests.support.builders import done, specimen
from tests.support.knowledge import CASES
from tests.support.running import Runner
from triage.case.store import create_case

BENCH = ("--bench", str(CASES / "bench.yaml"))


@pytest.fixture
def answered(triage: Runner) -> Callable[..., dict[str, Any]]:
    """Returns the answer of a calculator, asked in words."""

    def answer(words: str) -> dict[str, Any]:
        told = triage(*words.split(), "--json")
        assert told.returncode == 0, told.stderr
        return json.loads(told.stdout)

    return answer


Answered = Callable[[str], dict[str, Any]]


OPENED = "leaves when opened, at most"
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
    ("box --litres 10 --fumigant naphthalene --grams 5", OPENED, 3.467, 0.0034),
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
    answered: Answered, words: str, name: str, value: float, within: float
) -> None:
    found = next(f["value"] for f in answered(words)["figures"] if f["name"] == name)
    assert found == pytest.approx(value, abs=within, rel=0)


def test_air_of_a_closed_room_by_hand(answered: Answered) -> None:
    """2 mL of ethyl acetate at 0.9006 g/mL in 30 m3: 60.0 mg/m3 in the room once all is in the air."""
    answer = answered("air ethyl-acetate --ml 2 --volume 30 --air-changes 0")
    levels = {(each["place"], each["window"]): each for each in answer["levels"]}
    high = levels["room", "peak"]["high_mg_per_m3"]
    assert high == pytest.approx(2.0 * 900.6 / 30.0, rel=0.01)
    limits = answer["air"]["limits"]
    assert {limit["edition"] for limit in limits}
    assert all(limit["source"] and limit["authority"] for limit in limits)


def test_over_a_limit_names_limit_factor_mend_and_control(triage: Runner) -> None:
    told = triage(*["air", "limonene", "--ml", "5", "--volume", "12", "--control", "none"])
    first, *rest = told.stdout.splitlines()
    assert first.startswith("Too much: ")
    assert "times" in first
    assert "limit" in first
    assert "It becomes acceptable with:" in " ".join(rest)


def test_largest_amount_and_least_fresh_air_are_just_acceptable(answered: Answered) -> None:
    words = "air heptane --volume 20 --control window --ml"
    largest = answered(f"{words} 50")["largest_pass_ml"]
    assert answered(f"{words} {largest * 0.999}")["verdict"] == "ok"
    assert answered(f"{words} {largest * 1.02}")["verdict"] == "over"
    words = "air limonene --ml 0.15 --volume 30"
    least = answered(words)["least_air_changes_per_h"]
    assert answered(f"{words} --air-changes {least * 1.01}")["verdict"] == "ok"
    assert answered(f"{words} --air-changes {least * 0.95}")["verdict"] == "over"


def test_curve_without_colour_has_no_codes_and_is_told_in_words(triage: Runner) -> None:
    out = triage(*["air", "ethyl-acetate", "--ml", "2", "--curve"], *BENCH).stdout
    assert "\x1b" not in out
    assert "highest at the face:" in out
    assert "* face" in out


def test_empty_day_says_so(answered: Answered) -> None:
    answer = answered("day-air")
    assert answer["sentence"] == "Nothing was released into this room in the last 24 hours."
    assert answer["bars"] == []


def test_today_on_every_case_counts(answered: Answered, triage: Runner, tmp_path: Path) -> None:
    """Three attempts on two cases: the mass by hand is 3 x 0.5 mL x 0.7893 g/mL at 70 %."""
    (tmp_path / "cases").mkdir()
    told = {"finding": "f1", "agent": "ethanol", "amount_ml": 0.5}
    for name, outcomes in (("one", ["better", "better"]), ("two", ["better"])):
        case = specimen("flies", "thorax-hairy", name=name)
        now = datetime.now().astimezone()
        case = done(case, "ethanol-70-brush", *outcomes, deposit="grease", at=now, **told)
        create_case(tmp_path / "cases", case)
    answer = answered("day-air")
    assert len(answer["releases"]) == 3
    released_mg = sum(r["amount_mg"] for r in answer["releases"])
    assert released_mg == pytest.approx(3 * 0.5 * 789.3 * 0.7, rel=1e-3)
    assert answer["sentence"].startswith("3 releases in 24 h")
    assert "8 h [" in triage("day-air").stdout
    fresh, later = (answered(f"air ethanol --ml 1{alone}") for alone in (" --alone", ""))
    assert later["earlier_releases"] == 3
    assert later["largest_pass_ml"] < fresh["largest_pass_ml"]


@pytest.mark.parametrize(
    "words", ["air ethyl-acetate --ml 2", "mix ethanol --to 70 --stock 96 --ml 10", "day-air"]
)
def test_same_question_same_bytes(triage: Runner, words: str) -> None:
    assert triage(*words.split(), "--json") == triage(*words.split(), "--json")
