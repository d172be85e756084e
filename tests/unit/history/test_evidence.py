"""Success rates: against Bayesian Data Analysis, scipy, a printed moment fit, and by hand."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy import stats

from triage.case.changes import new_attempt, new_case, with_attempt, with_correction
from triage.history import rates
from triage.history.columns import columns_from, rows_of
from triage.history.evidence import Evidence, Trials, trials_of

TERMS = rates.Terms(rates.BetaPrior(1.0, 1.0, "uniform"), 0.9, 5, 4.0, 1.0, 20.0, 0.35)
NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)


def trials(*groups):
    """Groups are (words, worked, tried)."""
    rows = [(words, number < worked) for words, worked, tried in groups for number in range(tried)]
    return Trials(
        tuple(np.array([row[0][level] for row in rows], dtype=str) for level in range(4)),
        np.array([row[1] for row in rows], dtype=bool),
    )


KEY = ("m", "d", "z", "t")


def alone(worked, tried, terms=TERMS):
    """Return the group of a record that holds no other."""
    return Evidence(trials((KEY, worked, tried)), terms).group(*KEY)


def case_with(*outcomes, method="puff", step=None, taxon="beetles", case_id="c", **more):
    case = new_case(case_id, taxon=taxon, findings=[{"id": "f1", "zone": "leg"}], **more)
    for number, outcome in enumerate(outcomes, start=1):
        case = with_attempt(
            case,
            new_attempt(
                f"a{number}", NOON + timedelta(minutes=number), step or f"f1-{method}", outcome,
                finding="f1", zone="leg", deposit="dust", method=method,
            ),
        )  # fmt: skip
    return case


def rows(*cases):
    return columns_from(row for case in cases for row in rows_of(case))


def test_published_posterior_of_437_in_980():
    # Gelman et al., Bayesian Data Analysis, section 2.4: Beta(438, 544) under a uniform prior,
    # mean 0.446, 95 % interval 0.415 to 0.477.
    found = alone(437, 980, replace(TERMS, level=0.95)).rate
    assert (found.a, found.b) == (438.0, 544.0)
    assert found.mean == pytest.approx(0.446, abs=5e-4)
    assert (found.low, found.high) == pytest.approx((0.415, 0.477), abs=5e-4)


@pytest.mark.parametrize(("worked", "tried"), [(7, 9), (3, 10), (20, 41)])
def test_a_single_group_is_the_plain_posterior_of_scipy(worked, tried):
    found = alone(worked, tried)
    law = stats.beta(1 + worked, 1 + tried - worked)
    assert (found.rate.low, found.rate.high) == pytest.approx(law.interval(0.9), abs=1e-9)


@pytest.mark.parametrize(("a", "b"), [(1.0, 11.0), (0.4, 3.0), (6.0, 0.9), (1.0, 1.0), (0.3, 0.4)])
def test_an_interval_at_the_edge_holds_ninety_percent_and_the_edge(a, b):
    low, high = (float(end) for end in rates.credible_interval(a, b, 0.9))
    law = stats.beta(a, b)
    assert law.cdf(high) - law.cdf(low) == pytest.approx(0.9, abs=1e-9)
    assert low == 0.0 or high == 1.0


def test_the_carried_weight_has_the_variance_of_the_mixture():
    # Law of total variance, by simulation with numpy: m ~ Beta(6, 4), p given m ~ Beta(5m, 5 - 5m).
    random = np.random.default_rng(1)
    mean = random.beta(6, 4, 400_000)
    drawn = random.beta(5 * mean, 5 * (1 - mean))
    strength = rates.carried_strength(10.0, 5.0)
    assert stats.beta(0.6 * strength, 0.4 * strength).var() == pytest.approx(drawn.var(), rel=0.01)


def test_trials_of_one_group_weigh_as_the_design_effect_says():
    # Kish, Survey Sampling (1965): n/(1 + (n - 1) rho); rho = 1/(s + 1).
    rho = 1 / (4 + 1)
    assert 10 * rates.told_upward(10, 4.0) == pytest.approx(10 / (1 + 9 * rho))


def lean_of(groups, least=0.1, most=1000.0):
    """Return the learnt lean of one parent's groups, (worked, tried) each."""
    worked, tried = (np.array(column, dtype=float) for column in zip(*groups, strict=True))
    terms = replace(TERMS, least_lean=least, most_lean=most)
    return rates.learnt_lean(np.zeros(len(groups), dtype=np.int64), worked, tried, terms)


def test_the_learnt_lean_of_the_saxon_families():
    # boys among the first 12 children of 6115 families; an encyclopaedia article on the
    # beta-binomial distribution prints the moment fit a = 34.1350, b = 31.6085. With the mean
    # counted as estimated the fit moves by about one part in the number of families
    families = (3, 24, 104, 286, 670, 1033, 1343, 1112, 829, 478, 181, 45, 7)
    groups = [(boys, 12) for boys, count in enumerate(families) for _ in range(count)]
    assert lean_of(groups) == pytest.approx(34.1350 + 31.6085, rel=2e-3)


# endometrial stromal polyps in 70 historical groups of rats (pairs: with polyp, examined), as
# printed in a teaching notebook after Gelman et al.
RATS = (
    *[(0, 20)] * 7, *[(0, 19)] * 4, *[(0, 18)] * 2, (0, 17), *[(1, 20)] * 4, *[(1, 19)] * 2,
    *[(1, 18)] * 2, (3, 27), (2, 25), (2, 24), (2, 23), *[(2, 20)] * 6, (1, 10), (5, 49), (2, 19),
    (5, 46), (2, 17), (7, 49), (7, 47), *[(3, 20)] * 2, (2, 13), (9, 48), (10, 50),
    *[(4, 20)] * 7, (10, 48), *[(4, 19)] * 3, (5, 22), (11, 46), (12, 49), *[(5, 20)] * 2, (6, 23),
    (5, 19), (6, 22), *[(6, 20)] * 3, (16, 52), (15, 46), (15, 47), (9, 24),
)  # fmt: skip


def test_the_learnt_lean_of_the_rats_is_near_the_likelihood_fit():
    # R package vignette (BayesGOF): maximum likelihood Beta(2.304768, 14.079707). Another
    # estimator, so the prior is compared by what it does to 4 of 14, the book's example
    assert len(RATS) == 70
    mean, weight = sum(k for k, _ in RATS) / sum(n for _, n in RATS), lean_of(RATS)
    ours = (mean * weight + 4) / (weight + 14)
    assert ours == pytest.approx((2.304768 + 4) / (2.304768 + 14.079707 + 14), abs=0.01)


def test_the_learnt_lean_is_found_again_in_simulated_groups():
    # route: draw groups from a known beta by numpy, unequal sizes, and find its weight again
    random = np.random.default_rng(20240611)
    tried = random.integers(2, 30, 4000)
    worked = random.binomial(tried, random.beta(3.0, 5.0, 4000))
    assert lean_of(list(zip(worked, tried, strict=True))) == pytest.approx(8.0, rel=0.08)


def test_the_learnt_lean_of_two_unequal_groups_by_hand():
    # 3 of 4 and 1 of 6: p 0.4, S/pq 3.402778, chance 1, groups 4.8, r = 2.402778/3.8
    assert lean_of([(3, 4), (1, 6)]) == pytest.approx(3.8 / 2.402778 - 1, rel=1e-5)


def test_groups_alike_lean_most_and_groups_all_won_or_lost_least():
    assert lean_of([(2, 4), (2, 4), (2, 4)], most=12.0) == 12.0
    assert lean_of([(4, 4), (0, 4), (4, 4), (0, 4)], least=2.0) == 2.0


def test_pooling_draws_a_thin_group_toward_its_sisters_and_leaves_a_rich_one():
    sisters = [(("m", "d", f"z{n}", "t"), 18, 20) for n in range(6)]
    thin, rich = (
        Evidence(trials(*sisters, (KEY, 0, tried)), TERMS).group(*KEY).rate.mean
        for tried in (2, 200)
    )
    assert alone(0, 2).rate.mean < 0.3 < thin < 0.9
    assert rich < 0.03


def test_a_group_never_tried_leans_on_the_coarser_one_and_says_so():
    evidence = Evidence(trials((("m", "d", "z", "t"), 9, 10), (("m", "d", "z", "u"), 8, 10)), TERMS)
    found = evidence.group("m", "d", "z", "never")
    assert found.rate.tried == 0
    assert 0.6 < found.rate.mean < 0.95
    assert found.text == (
        "not tried on this yet; 17 of 20 on this deposit and zone in other groups of animals"
    )
    assert evidence.group("other", "d", "z", "t").text == ""


def test_every_group_at_once_is_every_group_one_by_one():
    random = np.random.default_rng(4)
    groups = [
        ((f"m{m}", f"d{d}", f"z{z}", f"t{t}"), int(random.integers(0, n + 1)), n)
        for m in range(3) for d in range(2) for z in range(3) for t in range(2)
        if (n := int(random.integers(0, 9)))
    ]  # fmt: skip
    evidence = Evidence(trials(*groups), TERMS)
    mean, low, high = evidence.intervals()
    for number, key in enumerate(evidence.groups):
        one = evidence.group(*key).rate
        assert (one.mean, one.low, one.high) == pytest.approx(
            (mean[number], low[number], high[number])
        )


@pytest.mark.parametrize(
    ("worked", "tried", "has_percent"), [(1, 1, False), (4, 4, False), (4, 5, True), (0, 5, True)]
)
def test_no_percentage_below_the_least_number_of_trials(worked, tried, has_percent):
    text = alone(worked, tried).text
    assert text.startswith(f"worked {worked} of {tried} time")
    assert ("%" in text) is has_percent


def test_the_text_gives_counts_and_the_interval():
    text = alone(7, 9).text
    # scipy: beta(8, 3).mean() = 0.7273, .interval(0.9) = 0.4931 to 0.9127
    assert text == "worked 7 of 9 times here, about 73 % (90 % interval 49 to 91 %)"


def test_the_text_says_which_group_it_leans_on():
    evidence = Evidence(
        trials((("m", "d", "z", "t"), 1, 6), (("m", "d", "y", "t"), 5, 6), (("m", "e", "z", "t"), 2, 2)),
        TERMS,
    )  # fmt: skip
    found = evidence.group("m", "d", "z", "t")
    assert found.text.endswith("; leans on 5 of 6 on this deposit in other zones")
    assert f"about {100 * found.rate.mean:.0f} % (90 % interval" in found.text
    assert evidence.group("m", "e", "z", "t").text == (
        "worked 2 of 2 times here, too few for a percentage; 6 of 12 on other deposits"
    )


def test_all_groups_at_once_say_what_each_says():
    evidence = Evidence(
        trials((("m", "d", "z", "t"), 1, 6), (("m", "d", "y", "t"), 5, 7), (("n", "e", "z", "t"), 2, 2)),
        TERMS,
    )  # fmt: skip
    found = evidence.all_groups()
    assert [group.rate.tried for group in found] == [7, 6, 2]
    for group in found:
        one = evidence.group(group.method, group.deposit, group.zone, group.taxon)
        assert (one.text, one.rate.low) == (group.text, pytest.approx(group.rate.low))


@pytest.mark.parametrize(
    ("outcomes", "worked", "tried"),
    [
        (("cleared",), 1, 1),
        (("no-change", "better", "cleared"), 1, 1),
        (("no-change", "no-change"), 0, 1),
        (("better", "worse"), 0, 1),
        (("damage",), 0, 1),
        (("not-done",), 0, 0),
    ],
)
def test_all_passes_of_one_method_on_one_finding_are_one_trial(outcomes, worked, tried):
    made = trials_of(rows(case_with(*outcomes)))
    assert (int(made.worked.sum()), made.worked.size) == (worked, tried)


def test_a_correction_counts_in_the_place_of_what_it_corrects():
    case = case_with("no-change")
    case = with_correction(case, "a1", NOON + timedelta(hours=1), outcome="cleared")
    made = trials_of(rows(case))
    assert made.worked.tolist() == [True]


def test_a_test_spot_is_no_trial():
    assert trials_of(rows(case_with("cleared", step="f1-test-spot-before-x"))).worked.size == 0


def test_demo_cases_do_not_speak_beside_real_ones():
    demo = case_with("cleared", invented=True, case_id="demo")
    real = case_with("no-change", case_id="real")
    assert trials_of(rows(demo, real)).worked.tolist() == [False]
    assert trials_of(rows(demo)).worked.tolist() == [True]


def test_an_empty_record_says_nothing():
    evidence = Evidence(trials_of(columns_from(())), TERMS)
    assert evidence.size == 0
    assert evidence.groups == ()
    assert evidence.group("m", "d", "z", "t").text == ""
