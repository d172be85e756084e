"""The calculators and the questions about pictures as a user meets them; figures beside their source."""

import shutil
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.proof.pictures import made
from tests.support.builders import done, specimen
from tests.support.knowledge import CASES
from tests.support.running import Runner
from triage.case.store import create_case, load_case
from triage.picture.pair import VERSION
from triage.show.compared import measured_words

BENCH = ("--bench", str(CASES / "bench.yaml"))


@pytest.fixture
def answered(triage: Runner) -> Callable[..., dict[str, Any]]:
    def answer(words: str) -> dict[str, Any]:
        return triage(*words.split(), "--json").held()

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


def test_today_on_every_case_counts_and_an_empty_day_says_so(
    answered: Answered, triage: Runner, tmp_path: Path
) -> None:
    answer = answered("day-air")
    assert answer["sentence"] == "Nothing was released into this room in the last 24 hours."
    assert answer["bars"] == []
    # Three attempts on two cases: the mass by hand is 3 x 0.5 mL x 0.7893 g/mL at 70 %.
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


CASE = "bumblebee-plate-3"
SETUP = "format: 1\nsetups:\n- name: ten\n  magnification: 10\n  na: 0.28\n  pitch_um: 3.76\n  sensor_mm: 35.7\n  picture_mm: 600\n  distance_mm: 500\n  tube: kept\n"


@pytest.fixture
def bench(tmp_path: Path) -> list[str]:
    (tmp_path / "bench.yaml").write_text(SETUP, encoding="utf-8")
    return ["--bench", str(tmp_path / "bench.yaml"), "--cases", str(tmp_path)]


def test_below_what_shows_the_answer_is_to_accept_it(bench: list[str], triage: Runner) -> None:
    words = ("shows", *bench, "--setup", "ten", "--grain")
    assert "will not show: accept" in triage(*words, "0.5").stdout
    assert "accept" not in triage(*words, "50").said()


def test_what_will_not_show_stands_first_on_the_plan(
    bench: list[str], tmp_path: Path, triage: Runner
) -> None:
    """NA 0.28 at 0.55 um tells 1.2 um apart (0.61 * 0.55 / 0.28), and an eye at 500 mm sees less."""
    shutil.copy(CASES / f"{CASE}.yaml", tmp_path)
    assert triage("see", CASE, *bench, "--finding", "f1", "--size-um", "1.1").returncode == 0
    first = triage("plan", CASE, *bench, "--json").held()["notices"][0]
    assert first["rule"] == "will-not-show"
    assert "1.1 um will not show" in first["text"]
    assert "spots from 1.2 um" in first["text"]


def test_the_figures_of_the_photos_are_kept_and_shown_again(tmp_path: Path, triage: Runner) -> None:
    """In the record, in what worked, in the history and with the marked pair on the sheet."""
    iio = pytest.importorskip("imageio.v3", reason="the extra picture is not installed")
    shutil.copy(CASES / f"{CASE}.yaml", tmp_path)
    for name, picture in zip("ab", made("calm", np.random.default_rng(20))[:2], strict=True):
        iio.imwrite(tmp_path / f"{name}.png", (picture * 255).round().astype(np.uint8))
    folder = ("--cases", str(tmp_path))
    step = ["--step", "f1-blot-dry", "--photo-before", "a.png", "--photo-after", "b.png"]
    record = ["record", CASE, *folder, *step, "--measure", "--marked", "m.png"]
    offered = triage(*record)
    assert offered.returncode == 2  # it only offers an outcome: nothing is written
    assert "this speaks for: better" in offered.stdout
    assert "give --outcome" in offered.stderr
    assert not (tmp_path / "m.png").exists()
    assert triage(*record, "--outcome", "better").returncode == 0
    kept = load_case(tmp_path / f"{CASE}.yaml").attempts[-1].measured
    assert (kept["left"], kept["came"], kept["stayed"]) == (14, 5, 6)  # as drawn
    assert kept["method"] == VERSION
    assert kept["removed"][0] == pytest.approx(1 - 11 / 20)
    for words in (["worked", CASE], ["worked"], ["history"], ["sheet", CASE]):
        told = " ".join(triage(*words, *folder).stdout.split())
        assert "45 % gone" in told, words
        assert "colour moved" in told, words
    sheet = ("sheet", CASE, *folder, "--format", "html")
    assert "data:image/png;base64," in triage(*sheet).stdout
    # The marked pair is never written over.
    assert "not there yet" in triage(*record, "--outcome", "better").refusal()
    assert len(load_case(tmp_path / f"{CASE}.yaml").attempts) == 1
    (tmp_path / "m.png").unlink()  # a photo that is gone takes no figure with it
    page = triage(*sheet).stdout
    assert "data:image" not in page
    assert "45 % gone" in page


@pytest.mark.parametrize(
    "kept", [{"removed": "all"}, {"removed": [1, "x", 2]}, {"left": ["?"]}, {"marked": 3}]
)
def test_figures_edited_by_hand_are_left_out_where_they_are_none(kept: dict[str, Any]) -> None:
    assert measured_words({**kept, "colour_median": 0.5}) == "by the photos: colour moved 0.5"


def test_a_figure_on_the_command_line_stands_before_the_set_up(
    bench: list[str], triage: Runner
) -> None:
    told = triage("shows", *bench, "--setup", "ten", "--f-number", "20", "--json")
    figures = {each["name"]: each for each in told.held()["figures"]}
    assert figures["resolution of the lens"]["note"] == "aperture 0.25"  # 10 / 40


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("--setup tan", "unknown set-up"),
        ("--na 0.28", "not known: magnification"),
        ("--setup ten --grain -1", "size of the grain"),
        ("--setup ten --na 0.2 --f-number 4", "give one of them"),
    ],
)
def test_bad_input_is_one_line(bench: list[str], triage: Runner, words: str, said: str) -> None:
    assert said in triage("shows", *bench, *words.split()).refusal()
