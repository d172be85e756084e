"""What the bench arithmetic says to the user, and what it costs to import."""

import subprocess
import sys

import pytest

from tests.support.knowledge import shipped
from triage.bench.chamber import look_times_h, mould_limit, salt_rh
from triage.bench.stock import Bottle, drops_per_ml, make_up, weigh_up
from triage.bench.storage import crystals_last
from triage.case.profile import Bench
from triage.plan import mixcalc
from triage.plan.answers import Means
from triage.plan.inputs import BurstQuestion


def test_dilution_tops_up_to_the_mark():
    said = make_up(70, "v/v", Bottle(95, "v/v"), 100).sentence
    assert said == (
        "Measure 73.7 mL of the 95 % v/v stock and top up with water to the 100 mL mark "
        "(about 26.3 mL; the mark decides)."
    )


def test_acid_goes_into_water():
    said = make_up(0.03, "mol/L", Bottle(12.1, "mol/L", into_water=True), 1000).sentence
    assert said.index("water") < said.index("add 2.48 mL of the 12.1 mol/L stock")
    assert "never pour water onto the stock" in said


def test_stock_of_the_right_strength_is_used_as_it_is():
    same = make_up(70, "v/v", Bottle(70, "v/v"), 50)
    assert same.sentence == "Use 50 mL of the 70 % v/v stock as it is."
    assert weigh_up(10, 10, 5).sentence.endswith("and use it as it is.")


def test_bursts_count_down():
    def told(*done):
        return mixcalc.bursts(Means(shipped(), Bench()), BurstQuestion(done))

    assert told().sentence == "3 bursts left, each at most 10 s; look after each one."
    assert told(5, 8).sentence.startswith("1 burst left")
    spent = told(5, 8, 10)
    assert [figure.value for figure in spent.figures[:4]] == [0, 23, 0, 0]
    assert spent.sentence == "No burst is left (23 s used)."


def test_looks_after_a_day_then_twice_a_day():
    assert look_times_h(24, 2, 72) == (24, 36, 48, 60, 72)
    assert look_times_h(24, 2, 10) == (10,)


def test_cap_holds_without_inhibitor_and_shrinks_in_the_warm():
    def stay(temp, has_inhibitor):
        return mould_limit(
            temp, 90, divisor=3, cap_days_at_20_c=3, has_inhibitor=has_inhibitor
        ).stay_days

    assert stay(20, False) == 3
    assert stay(15, False) == 3
    assert stay(30, False) < 3
    assert stay(20, True) > 3


def test_crystals_that_saturate_last_until_the_air_of_the_box_has_carried_them_off():
    # 5 L that hold 10 mg/L take 50 mg
    assert crystals_last(10, 5, 10, 0.1)[0] == pytest.approx(0.2)
    assert crystals_last(50, 5, 10, 1)[0] == 1
    assert crystals_last(500, 5, 10, 0) == (10, None)
    assert crystals_last(500, 5, 10, 0.5) == (10, 20)


def test_importing_the_bench_does_not_load_scipy_or_numpy():
    names = ["stock", "chamber", "storage"]
    code = (
        "import sys\n"
        + "".join(f"import triage.bench.{name}\n" for name in names)
        + "print(sorted({'scipy', 'numpy', 'textual', 'experta'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_edges_that_are_still_allowed():
    longest = mixcalc.bursts(Means(shipped(), Bench()), BurstQuestion(next_s=10))
    assert longest.figures[1].value == 10
    assert drops_per_ml(10, 1) == 10
    same = make_up(25, "w/w", Bottle(25, "w/w", 1.0), 40)
    assert same.stock == pytest.approx(40)


@pytest.mark.parametrize(
    ("salt", "temp", "plus_minus"),
    [
        ("potassium-acetate", 27.5, 0.6), ("potassium-sulfate", 22, 0.6),
        ("potassium-sulfate", 25, 0.5), ("lithium-chloride", 22, None),
        ("sodium-bromide", 18, None), ("sodium-chloride", 60, None),
    ],
)  # fmt: skip
def test_uncertainty_is_the_larger_neighbour_or_unknown(salt, temp, plus_minus):
    assert salt_rh(shipped().salts[salt], temp).plus_minus_percent == plus_minus
