"""Bad input to the bench arithmetic: one line that says what is wrong and what to do."""

import math

import pytest

from tests.support.knowledge import shipped
from triage.bench import chamber, stock, storage
from triage.bench.stock import Bottle
from triage.case.profile import Bench
from triage.errors import OutOfRange, TriageError
from triage.plan import mixcalc
from triage.plan.answers import Means
from triage.plan.inputs import BurstQuestion

SALTS = shipped().salts
GELS = shipped().gels
NARROW, WIDE = GELS["narrow-pore-gel"], GELS["wide-pore-gel"]


def box(gel=NARROW, rh=(80, 40), held=0.02):
    return storage.gel_for_box(gel, 5, 20, rh, 50, held)


def made(target, held, ml, basis="v/v", **stock_is):
    return stock.make_up(target, basis, Bottle(held, basis, **stock_is), ml)


def bursts(*done, next_s=None):
    """Of the shipped figures: three of at most 10 s."""
    return mixcalc.bursts(Means(shipped(), Bench()), BurstQuestion(done, next_s))


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
    (
        lambda: stock.fluid_ml_for_strength(1, 70, 95, 1.05),
        "body water is 1.05 mL/g; it must lie between 0 and 1 mL/g",
    ),
    (
        lambda: stock.strengths_after_body_water(95, 3, 1.05),
        "body water is 1.05 mL/g; it must lie between 0 and 1 mL/g",
    ),
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
