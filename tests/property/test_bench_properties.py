"""What must hold for any input: conservation, monotony, bounds."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.support.knowledge import shipped
from triage.bench import chamber
from triage.bench.stock import (
    Bottle,
    drops_to_ml,
    fluid_ml_for_strength,
    make_up,
    strengths_after_body_water,
    weak_base_ph,
    weigh_up,
    whole_drops,
)
from triage.bench.storage import crystals_for_mg, crystals_last, gel_for_box
from triage.case.profile import Bench
from triage.errors import OutOfRange
from triage.knowledge.agents import Hansen
from triage.plan import mixcalc
from triage.plan.answers import Means
from triage.plan.inputs import BurstQuestion
from triage.plan.liquids import hansen_distance

SALTS = tuple(shipped().salts.values())
NARROW = shipped().gels["narrow-pore-gel"]

percents = st.floats(0.01, 100)
volumes = st.floats(0.01, 5000)


@given(percents, percents, volumes, st.booleans())
def test_dilution_conserves_solute_and_a_weaker_stock_is_refused(one, two, total_ml, water_first):
    target, stock = sorted((one, two))
    made = make_up(target, "v/v", Bottle(stock, "v/v", into_water=water_first), total_ml)
    assert made.stock * stock == pytest.approx(total_ml * target, rel=1e-9)
    assert 0 < made.stock <= total_ml * (1 + 1e-12)
    assert made.stock + made.water == pytest.approx(total_ml)
    if target < stock:
        with pytest.raises(OutOfRange, match="weaker"):
            make_up(stock, "v/v", Bottle(target, "v/v"), total_ml)


@given(percents, percents, volumes, st.floats(0.7, 1.2))
def test_dilution_by_density_conserves_mass(one, two, total_ml, dense_stock):
    target, stock = sorted((one, two))
    assume(target < stock * dense_stock * (1 - 1e-9))
    made = make_up(target, "w/w", Bottle(stock, "w/w", dense_stock), total_ml)
    assert made.stock * dense_stock * stock == pytest.approx(total_ml * target)


@given(percents, percents, volumes)
def test_weighing_conserves_solute_and_mass(one, two, total_g):
    target, stock = sorted((one, two))
    made = weigh_up(target, stock, total_g)
    assert made.stock + made.water == pytest.approx(total_g)
    assert made.stock * stock == pytest.approx(total_g * target)


@given(percents, st.floats(0.1, 100), st.floats(0, 1), st.integers(1, 12))
def test_changes_of_fluid_only_strengthen(stock, ratio, water, changes):
    strengths = strengths_after_body_water(stock, ratio, water, changes)
    assert list(strengths) == sorted(strengths)
    assert all(0 <= s <= stock * (1 + 1e-12) for s in strengths)
    assert len(strengths) == changes


@given(st.floats(0.01, 50), st.floats(50, 90), st.floats(0.5, 9.9), st.floats(0.1, 1))
def test_least_fluid_just_keeps_the_strength(mass, least, gap, water):
    stock = least + gap
    ml = fluid_ml_for_strength(mass, least, stock, water)
    assert strengths_after_body_water(stock, ml / mass, water)[0] == pytest.approx(least)


@given(st.floats(1e-4, 15), st.floats(1e-4, 15), st.floats(1e-6, 1e-3))
def test_more_base_is_never_less_basic(one, two, kb):
    low, high = sorted((one, two))
    assert 8 <= weak_base_ph(low, kb) <= weak_base_ph(high, kb)


@given(st.floats(1, 500), st.floats(5, 60), st.floats(0, 0.5))
def test_drops_never_exceed_the_volume_asked_for(drops, per_ml, error):
    ml, least_ml, most_ml = drops_to_ml(drops, per_ml, per_ml * 1.1, error)
    assert least_ml <= ml <= most_ml
    asked = drops / per_ml
    counted = whole_drops(asked, per_ml) / per_ml
    assert counted <= asked * (1 + 1e-8)
    assert asked - counted < 1 / per_ml


@given(st.lists(st.floats(0.1, 10), max_size=3), st.floats(0.1, 20))
def test_bursts_never_pass_their_budget(done, wanted):
    """Of the shipped figures: three of at most 10 s, no more than the budget in all."""
    means, budget_s = Means(shipped(), Bench()), shipped().judgement.burst_budget_s.value

    def given_so_far(next_s=None):
        found = mixcalc.bursts(means, BurstQuestion(tuple(done), next_s))
        return [figure.value for figure in found.figures[:2]]

    allowed = sum(done) <= budget_s
    if allowed:
        assert given_so_far() == [3 - len(done), pytest.approx(sum(done), rel=1e-3)]
    if allowed and len(done) < 3 and wanted <= 10 and sum(done) + wanted <= budget_s:
        assert given_so_far(wanted)[0] == 2 - len(done)
    else:
        with pytest.raises(OutOfRange):
            given_so_far(wanted)


@given(st.sampled_from(SALTS), st.floats(-20, 120))
def test_salts_answer_inside_their_range_or_refuse(salt, temp):
    curves = [curve for curve in (salt.polynomial, salt.exponential) if curve]
    ranges = [(curve.least_c, curve.most_c) for curve in curves]
    ranges.append((salt.points[0].temp_c, salt.points[-1].temp_c))
    if any(low <= temp <= high for low, high in ranges):
        found = chamber.salt_rh(salt, temp)
        assert 5 < found.rh_percent < 100
        assert found.plus_minus_percent is None or 0 < found.plus_minus_percent <= 2
    else:
        with pytest.raises(OutOfRange, match="choose a temperature inside the table"):
            chamber.salt_rh(salt, temp)


@given(st.floats(0, 50), st.floats(0, 50), percents)
def test_warmer_air_holds_more(one, two, rh):
    low, high = sorted((one, two))
    assert (
        chamber.vapour_density_mg_per_l(low, rh)
        <= chamber.vapour_density_mg_per_l(high, rh) + 1e-12
    )


@given(st.floats(0.5, 200), st.floats(0.1, 10), st.floats(0.5, 500))
def test_looks_rise_and_leave_no_long_gap(first, per_day, until):
    looks = chamber.look_times_h(first, per_day, until)
    assert list(looks) == sorted(set(looks))
    assert looks[-1] == until
    for before, after in zip((first, *looks), looks, strict=False):
        assert after - before <= 24 / per_day + 1e-6


@given(st.floats(1, 49), st.floats(0, 100), st.floats(1, 10), st.floats(0.5, 10), st.booleans())
def test_mould_stay_never_passes_the_slow_estimate_or_the_cap(temp, rh, divisor, cap, inhibitor):
    limit = chamber.mould_limit(
        temp, rh, divisor=divisor, cap_days_at_20_c=cap, has_inhibitor=inhibitor
    )
    assert limit.stay_days > 0
    if limit.slow_estimate_days is None:
        assert limit.standing == "unknown"
        assert "unknown" in limit.sentence
        assert limit.stay_days <= cap
    else:
        assert limit.stay_days <= limit.slow_estimate_days / divisor * (1 + 1e-12)
        assert inhibitor or limit.stay_days <= cap
        assert "suggestion" in limit.sentence
    assert "safe" not in limit.sentence


@given(st.floats(1, 49), st.floats(81, 100), st.floats(81, 100))
def test_damper_is_never_slower(temp, one, two):
    slow, fast = (chamber.weeks_to_first_growth(temp, rh) for rh in sorted((one, two)))
    assert slow is None or fast <= slow * (1 + 1e-12)


@given(st.floats(20, 90), st.floats(20, 90), st.floats(0, 1000), st.floats(0.1, 100))
def test_drier_ends_take_more_gel(one, two, free_mg, volume):
    dry, damp = (
        gel_for_box(NARROW, volume, 20, (95, end), free_mg, 0.02)[1] for end in sorted((one, two))
    )
    assert dry >= damp * (1 - 1e-12)
    assert dry > 0


@given(st.floats(0.1, 100), st.floats(0.01, 50), st.floats(0.001, 5), st.floats(0, 1000))
def test_crystals_last_at_least_the_days_they_were_sized_for(volume, level, changes, days):
    crystals = crystals_for_mg(days, volume, level, changes)
    ratio, lasts_days = crystals_last(crystals, volume, level, changes)
    assert lasts_days >= days * (1 - 1e-9)
    assert ratio >= 1 - 1e-9


triplets = st.builds(Hansen, **dict.fromkeys("dph", st.floats(0, 45)), source=st.just("x"))


@given(triplets, triplets, triplets)
def test_distance_is_a_metric(one, two, three):
    assert hansen_distance(one, two) == hansen_distance(two, one)
    assert hansen_distance(one, one) == 0
    longest = hansen_distance(one, three)
    assert longest <= hansen_distance(one, two) + hansen_distance(two, three) + 1e-9
