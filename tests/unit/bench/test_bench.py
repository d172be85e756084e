"""Bench arithmetic: its words, its tables, what a picture can show, and one line for whatever is refused."""

import math

import pytest
from pydantic import ValidationError

from tests.support.knowledge import shipped
from tests.support.running import Ran, process
from triage.bench import chamber, stock, storage
from triage.bench.chamber import look_times_h, mould_limit, salt_rh
from triage.bench.cleanliness import surface_class
from triage.bench.stock import Bottle, drops_per_ml, make_up, weigh_up
from triage.bench.storage import crystals_last
from triage.case.profile import Bench
from triage.errors import OutOfRange, TriageError
from triage.knowledge.agents import Hansen
from triage.knowledge.tables import Dose, Gel, Salt
from triage.picture import optics
from triage.plan import mixcalc
from triage.plan.answers import Means
from triage.plan.inputs import BurstQuestion


def test_what_is_made_up_is_said_in_one_sentence():
    assert make_up(70, "v/v", Bottle(95, "v/v"), 100).sentence == (
        "Measure 73.7 mL of the 95 % v/v stock and top up with water to the 100 mL mark "
        "(about 26.3 mL; the mark decides)."
    )
    said = make_up(0.03, "mol/L", Bottle(12.1, "mol/L", into_water=True), 1000).sentence
    assert said.index("water") < said.index("add 2.48 mL of the 12.1 mol/L stock")
    assert "never pour water onto the stock" in said
    same = make_up(70, "v/v", Bottle(70, "v/v"), 50).sentence
    assert same == "Use 50 mL of the 70 % v/v stock as it is."
    assert weigh_up(10, 10, 5).sentence.endswith("and use it as it is.")
    assert make_up(25, "w/w", Bottle(25, "w/w", 1.0), 40).stock == pytest.approx(40)


def bursts(*done, next_s=None):
    """Of the shipped figures: three of at most 10 s."""
    return mixcalc.bursts(Means(shipped(), Bench()), BurstQuestion(done, next_s))


def test_bursts_count_down():
    assert bursts().sentence == "3 bursts left, each at most 10 s; look after each one."
    assert bursts(5, 8).sentence.startswith("1 burst left")
    spent = bursts(5, 8, 10)
    assert [figure.value for figure in spent.figures[:4]] == [0, 23, 0, 0]
    assert spent.sentence == "No burst is left (23 s used)."
    assert bursts(next_s=10).figures[1].value == 10


def test_looks_come_after_a_day_and_the_cap_holds_without_inhibitor():
    assert look_times_h(24, 2, 72) == (24, 36, 48, 60, 72)
    assert look_times_h(24, 2, 10) == (10,)
    assert drops_per_ml(10, 1) == 10

    def stay(temp, has_inhibitor=False):
        terms = {"divisor": 3, "cap_days_at_20_c": 3, "has_inhibitor": has_inhibitor}
        return mould_limit(temp, 90, **terms).stay_days

    assert stay(20) == stay(15) == 3
    assert stay(30) < 3 < stay(20, has_inhibitor=True)


def test_crystals_that_saturate_last_until_the_air_of_the_box_has_carried_them_off():
    # 5 L that hold 10 mg/L take 50 mg
    assert crystals_last(10, 5, 10, 0.1)[0] == pytest.approx(0.2)
    assert crystals_last(50, 5, 10, 1)[0] == 1
    assert crystals_last(500, 5, 10, 0) == (10, None)
    assert crystals_last(500, 5, 10, 0.5) == (10, 20)


def test_importing_the_bench_does_not_load_scipy_or_numpy(tmp_path):
    code = (
        "import sys, triage.bench.stock, triage.bench.chamber, triage.bench.storage\n"
        "print(sorted({'scipy', 'numpy', 'textual', 'experta'} & set(sys.modules)))"
    )
    assert process("-c", code, home=tmp_path) == Ran(0, "[]\n", "")


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


def test_suggestions_are_the_judgements_and_checked_needs_more_than_memory():
    # A number without a source must be marked, and one with a source must not.
    for dose in shipped().doses.values():
        assert dose.suggestion == (dose.source == "judgement"), dose.id
    for table in (shipped().salts, shipped().gels, shipped().doses):
        for entry in table.values():
            if entry.source in {"from-memory", "judgement"}:
                assert entry.status != "checked", entry.id
    span = {"least": 1, "most": 2, "unit": "h", "source": "derived"}
    dose = Dose.model_validate({**GOOD_DOSE, "figure": None, "span": span})
    assert (dose.least, dose.most, dose.unit) == (1, 2, "h")


GOOD_DOSE = {
    "id": "a", "name": "a", "kind": "time", "because": "a", "status": "draft", "source": "derived",
    "figure": {"value": 1, "unit": "h", "source": "derived"},
}  # fmt: skip
GOOD_SALT = {
    "id": "a", "name": "a", "formula": "A", "status": "draft", "source": "derived",
    "points": [{"temp_c": 20, "rh_percent": 50, "source": "derived"},
               {"temp_c": 30, "rh_percent": 48, "source": "derived"}],
}  # fmt: skip
GOOD_GEL = {
    "id": "a", "name": "a", "is_fit_for_drying": True, "status": "draft", "source": "derived",
    "capacity": [{"rh_percent": 20, "percent_of_dry_mass": 8, "source": "derived"},
                 {"rh_percent": 50, "percent_of_dry_mass": 20, "source": "derived"}],
}  # fmt: skip
GOOD_HANSEN = {"d": 16, "p": 5, "h": 7, "r0": 8, "source": "derived"}
CURVE = {"a0": 50, "a1": 0, "source": "derived", "range_source": "derived"}


@pytest.mark.parametrize(
    ("kind", "good", "change", "message"),
    [
        (Dose, GOOD_DOSE, {"colour": "red"}, "Extra inputs"),
        (Dose, GOOD_DOSE, {"figure": None}, "either figure or span"),
        (Dose, GOOD_DOSE, {"span": {"least": 1, "most": 2, "unit": "h", "source": "x"}},
         "either figure or span"),
        (Dose, GOOD_DOSE, {"figure": None,
                           "span": {"least": 3, "most": 2, "unit": "h", "source": "x"}}, "above most"),
        (Dose, GOOD_DOSE, {"figure": {"value": float("nan"), "unit": "h", "source": "x"}},
         "finite number"),
        (Dose, GOOD_DOSE, {"figure": {"value": "1", "unit": "h", "source": "x"}}, "valid number"),
        (Dose, GOOD_DOSE, {"figure": {"value": True, "unit": "h", "source": "x"}}, "valid number"),
        (Gel, GOOD_GEL, {"is_fit_for_drying": "yes"}, "valid boolean"),
        (Dose, GOOD_DOSE, {"figure": {"value": 1, "unit": "", "source": "x"}}, "at least 1 character"),
        (Dose, GOOD_DOSE, {"id": "Not Kebab"}, "should match pattern"),
        (Dose, GOOD_DOSE, {"kind": "spell"}, "Input should be"),
        (Salt, GOOD_SALT, {"points": []}, "needs a polynomial"),
        (Salt, GOOD_SALT, {"points": GOOD_SALT["points"][::-1]}, "must rise"),
        (Salt, GOOD_SALT, {"points": [{"temp_c": 20, "rh_percent": 150, "source": "x"}] * 2},
         "less than or equal to 100"),
        (Salt, GOOD_SALT, {"polynomial": {**CURVE, "least_c": 30, "most_c": 5}}, "not below most_c"),
        (Salt, GOOD_SALT, {"caution": "hot"}, "go together"),
        (Gel, GOOD_GEL, {"capacity": GOOD_GEL["capacity"][::-1]}, "must rise"),
        (Gel, GOOD_GEL, {"capacity": GOOD_GEL["capacity"][:1]}, "at least 2"),
        (Gel, GOOD_GEL, {"caution_source": "derived"}, "go together"),
        (Hansen, GOOD_HANSEN, {"p": -1}, "greater than or equal to 0"),
        (Hansen, GOOD_HANSEN, {"r0": 0}, "greater than 0"),
    ],
)  # fmt: skip
def test_wrong_entries_are_refused(kind, good, change, message):
    sound = kind.model_validate(good)
    with pytest.raises(ValidationError, match="frozen"):
        sound.name = "other"
    with pytest.raises(ValidationError, match=message):
        kind.model_validate({**good, **change})


SALTS, GELS = shipped().salts, shipped().gels
NARROW, WIDE = GELS["narrow-pore-gel"], GELS["wide-pore-gel"]


def box(gel=NARROW, rh=(80, 40), held=0.02):
    return storage.gel_for_box(gel, 5, 20, rh, 50, held)


def made(target, held, ml, basis="v/v", **stock_is):
    return stock.make_up(target, basis, Bottle(held, basis, **stock_is), ml)


REFUSED = [
    # stock
    (lambda: made(70, 50, 100),
     ("the stock (50 v/v) is weaker than the target (70 v/v); "
     "use a stronger stock or a weaker working solution")),
    (lambda: stock.make_up(1, "v/v", Bottle(25, "w/w"), 100),
     ("the stock is given in w/w and the target in v/v; "
     "give both on the same basis; they differ by the densities")),
    (lambda: made(1, 25, 100, "w/w"),
     ("strengths by mass cannot be measured by volume without both densities; "
     "weigh it, or give the densities of stock and solution in g/mL")),
    (lambda: made(70, 95, 0), "total volume is 0 mL; it must be above zero mL"),
    (lambda: made(70, 95, -5), "total volume is -5 mL; it must be above zero mL"),
    (lambda: made(70, 101, 5),
     "stock strength is 101 % v/v; it must lie between 0 and 100 % v/v"),
    (lambda: made(0, 95, 5), "target strength is 0 % v/v; it must be above zero % v/v"),
    (lambda: made(math.nan, 95, 5),
     "target strength is nan, not a finite number; give target strength in % v/v"),
    (lambda: made(24, 25, 5, "w/w", density_g_per_ml=0.8),
     "by these densities more stock than solution would be needed; check both densities and strengths"),
    (lambda: stock.acid_ml_per_litre(7, 12), "pH is 7; it must lie between 1 and 6"),
    (lambda: stock.acid_ml_per_litre(1, 0.01),
     ("the stock (0.01 mol/L) is weaker than the target (0.1 mol/L); "
     "use a stronger stock or a weaker working solution")),
    (lambda: stock.weak_base_ph(1e-9, 1e-5),
     "the base is too dilute for this formula; treat the bath as plain water"),
    (lambda: stock.molarity(37, 0, 36), "density is 0 g/mL; it must be above zero g/mL"),
    (lambda: stock.strengths_after_body_water(95, 3, 0.7, 0), "changes is 0; pour on at least once"),
    (lambda: stock.fluid_ml_for_strength(1, 80, 70, 0.7),
     ("no amount of 70 % fluid stays at 80 % in a moist specimen; "
     "use a stronger fluid or accept a weaker end")),
    *((call, "body water is 1.05 mL/g; it must lie between 0 and 1 mL/g") for call in (
        lambda: stock.fluid_ml_for_strength(1, 70, 95, 1.05),
        lambda: stock.strengths_after_body_water(95, 3, 1.05),
    )),
    # drops
    (lambda: stock.drops_per_ml(5, 1), "5 drops are too few to calibrate by; count at least ten"),
    (lambda: stock.whole_drops(0.01, 20),
     ("0.01 mL is less than one drop; "
     "make up a weaker solution and take more of it, or wet a fine brush")),
    (lambda: stock.drops_to_ml(0, 20, 20, 0.15), "number of drops is 0 drops; it must be above zero drops"),
    # bursts
    (lambda: bursts(5, 5, 5, next_s=5),
     "no burst is left for this specimen; choose another method"),
    (lambda: bursts(next_s=12),
     "a burst of 12 s is longer than 10 s; set at most 10 s and look before the next"),
    (lambda: bursts(5, 11),
     "burst 2 lasted 11 s, longer than 10 s; stop here and look for damage"),
    (lambda: bursts(5, 5, 5, 5),
     "4 bursts were given, 3 are allowed; stop here and look for damage"),
    (lambda: bursts(0), "burst 1 is 0 s; it must be above zero s"),
    # chamber and mould
    (lambda: chamber.salt_rh(SALTS["sodium-bromide"], 40),
     ("no humidity is known over sodium bromide at 40 C; "
     "choose a temperature inside the table, or another salt")),
    (lambda: chamber.salt_rh(SALTS["potassium-carbonate"], 45),
     ("no humidity is known over potassium carbonate at 45 C; "
     "choose a temperature inside the table, or another salt")),
    (lambda: chamber.salt_rh(SALTS["sodium-chloride"], math.inf),
     "temperature is inf, not a finite number; give temperature in C"),
    (lambda: chamber.vapour_density_mg_per_l(60, 50), "temperature is 60 C; it must lie between 0 and 50 C"),
    (lambda: chamber.vapour_density_mg_per_l(20, 101),
     "relative humidity is 101 %; it must lie between 0 and 100 %"),
    (lambda: chamber.water_to_reach_mg(5, 20, 90, 40),
     "the air is to end drier (40 %) than it starts (90 %); size a drying gel instead"),
    (lambda: chamber.look_times_h(24, 90, 1e6), "the plan has too many looks; plan a shorter stay"),
    (lambda: chamber.look_times_h(0, 2, 96), "first look is 0 h; it must be above zero h"),
    (lambda: chamber.weeks_to_first_growth(0, 97), "temperature is 0 C; it must lie between 0.1 and 49.9 C"),
    (lambda: chamber.mould_limit(20, 97, divisor=0.5, cap_days_at_20_c=3, has_inhibitor=False),
     "divisor is 0.5; it must be at least 1"),
    # storage
    (lambda: box(rh=(80, 15)), "final humidity is 15 %; it must lie between 20 and 90 %"),
    (lambda: box(rh=(80, 85)), "the box is to end damper (85 %) than it starts; give an end humidity below the start"),
    (lambda: box(WIDE), "wide-pore silica gel (type B) takes up too little below 50 % RH; use a gel made for drying"),
    (lambda: box(held=0.2), "the gel already holds what it can at 40 % RH; dry the gel first, or take fresh gel"),
    (lambda: storage.crystals_last(10, 5, 10, -1), "air changes of the box is -1 1/day; it must be at least 0 1/day"),
]  # fmt: skip


@pytest.mark.parametrize(("call", "line"), REFUSED, ids=[line[:48] for _, line in REFUSED])
def test_refusal_is_one_clear_line(call, line):
    with pytest.raises(TriageError) as caught:
        call()
    assert caught.value.line() == line


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize(
    "call",
    [
        lambda x: made(70, 95, x),
        lambda x: stock.weak_base_ph(x, 1e-5),
        lambda x: stock.drops_to_ml(x, 20, 20, 0.15),
        bursts,
        lambda x: chamber.vapour_density_mg_per_l(20, x),
        lambda x: storage.opening_pulse_mg(5, x),
    ],
)
def test_numbers_that_are_not_finite_are_refused(call, bad):
    with pytest.raises(OutOfRange):
        call(bad)


EYE = optics.Eye(wavelength_um=0.55, acuity_arcmin=1.0, overlap_fraction=0.2)


def test_the_sensor_adds_its_pitch_over_magnification_and_aperture() -> None:
    # By hand: 0.55 / 0.0784 + 3.76 / (10 * 0.28) = 7.015 + 1.343 um.
    assert optics.depth_um(0.28, 0.55, 10.0, 3.76) == pytest.approx(8.358, abs=0.001)
    assert optics.na_from_working(5.6, 1.0) == pytest.approx(0.0893, abs=1e-4)  # 1 / 11.2, by hand


@pytest.mark.parametrize(
    ("na", "picture_mm", "bound_by", "least_um"),
    [
        # By hand: the eye 500 mm * tan(1') = 0.1454 mm over x100; two pixels 2 * 4 / 10; the lens.
        (0.9, 400, "viewer", 1.454),
        (0.9, 4000, "pixels", 0.8),
        (0.1, 4000, "lens", 3.355),
    ],
)
def test_each_of_lens_pixels_and_viewer_can_set_the_limit(
    na: float, picture_mm: float, bound_by: str, least_um: float
) -> None:
    shown = optics.what_shows(optics.View(na, 10, 4, 40, picture_mm, 500), EYE)
    assert (shown.bound_by, shown.least_um) == (bound_by, pytest.approx(least_um, abs=0.001))


def test_a_grain_at_the_limit_of_the_eye_stands_at_the_acuity() -> None:
    view = optics.View(0.9, 10, 4, 40, 400, 500)
    showing = optics.what_shows(view, EYE)
    assert optics.grain_in_picture(showing.least_um, view, showing).arcmin == pytest.approx(1.0)
    assert optics.grain_in_picture(showing.least_um * 1.01, view, showing).shows
    assert not optics.grain_in_picture(showing.least_um * 0.99, view, showing).shows


@pytest.mark.parametrize(
    ("thickness_um", "frames"), [(5, 1), (10, 1), (10.1, 2), (18, 2), (26, 3), (26.1, 4)]
)
def test_frames_cover_the_thickness_with_their_overlap(thickness_um: float, frames: int) -> None:
    # By hand: a depth of 10 um and a fifth of overlap cover 10, 18, 26 um with 1, 2, 3 frames.
    assert optics.frames_of_stack(thickness_um, 10.0, 0.2) == frames


@pytest.mark.parametrize("na", [0.0, -0.1, 1.2, float("nan")])
def test_no_objective_in_air_has_such_an_aperture(na: float) -> None:
    with pytest.raises(OutOfRange, match="numerical aperture"):
        optics.what_shows(optics.View(na, 10, 4, 36, 600, 500), EYE)


def test_a_surface_with_twice_the_spots_is_three_tenths_of_a_class_worse_up_to_the_end() -> None:
    assert surface_class(20_000, 1e6, 10) == pytest.approx(5.4)  # log 2 = 0.301, in tenths, upward
    assert surface_class(200_000, 1e6, 500) == 8
    assert surface_class(400_000, 1e6, 500) is None
    assert surface_class(10_000, 1e6, 600) is None
