"""Success rates: against Bayesian Data Analysis, scipy, a printed moment fit, by hand, and benches of known truth."""

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


def case_with(*outcomes, step="f1-puff", case_id="c", **more):
    case = new_case(case_id, taxon="beetles", findings=[{"id": "f1", "zone": "leg"}], **more)
    told = {"finding": "f1", "zone": "leg", "deposit": "dust", "method": "puff"}
    for number, outcome in enumerate(outcomes, start=1):
        at = NOON + timedelta(minutes=number)
        case = with_attempt(case, new_attempt(f"a{number}", at, step, outcome, **told))
    return case


def trials_in(*cases):
    made = trials_of(columns_from(row for case in cases for row in rows_of(case)))
    return made.worked.tolist()


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


def test_the_carried_weight_has_the_variance_of_the_mixture_and_trials_their_design_effect():
    # Law of total variance, by simulation with numpy: m ~ Beta(6, 4), p given m ~ Beta(5m, 5 - 5m).
    random = np.random.default_rng(1)
    mean = random.beta(6, 4, 400_000)
    drawn = random.beta(5 * mean, 5 * (1 - mean))
    strength = rates.carried_strength(10.0, 5.0)
    assert stats.beta(0.6 * strength, 0.4 * strength).var() == pytest.approx(drawn.var(), rel=0.01)
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


@pytest.mark.parametrize(
    ("groups", "bounds", "lean"),
    [
        # 3 of 4 and 1 of 6: p 0.4, S/pq 3.402778, chance 1, groups 4.8, r = 2.402778/3.8
        ([(3, 4), (1, 6)], {}, 3.8 / 2.402778 - 1),
        # Groups alike lean most, and groups all won or lost least.
        ([(2, 4), (2, 4), (2, 4)], {"most": 12.0}, 12.0),
        ([(4, 4), (0, 4), (4, 4), (0, 4)], {"least": 2.0}, 2.0),
    ],
)
def test_the_learnt_lean_by_hand(groups, bounds, lean):
    assert lean_of(groups, **bounds) == pytest.approx(lean, rel=1e-5)


def test_pooling_draws_a_thin_group_toward_its_sisters_and_leaves_a_rich_one():
    sisters = [(("m", "d", f"z{n}", "t"), 18, 20) for n in range(6)]
    thin, rich = (
        Evidence(trials(*sisters, (KEY, 0, tried)), TERMS).group(*KEY).rate.mean
        for tried in (2, 200)
    )
    assert alone(0, 2).rate.mean < 0.3 < thin < 0.9
    assert rich < 0.03


def test_a_group_never_tried_leans_on_the_coarser_one_and_says_so():
    evidence = Evidence(trials((KEY, 9, 10), (("m", "d", "z", "u"), 8, 10)), TERMS)
    found = evidence.group("m", "d", "z", "never")
    assert found.rate.tried == 0
    assert 0.6 < found.rate.mean < 0.95
    assert found.text == (
        "not tried on this yet; 17 of 20 on this deposit and zone in other groups of animals"
    )
    empty = Evidence(trials_of(columns_from(())), TERMS)
    assert (empty.size, empty.groups) == (0, ())
    assert evidence.group("other", "d", "z", "t").text == empty.group(*KEY).text == ""


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
    ("worked", "tried", "says"),
    [
        (1, 1, "worked 1 of 1 time here, too few for a percentage"),
        (4, 4, "worked 4 of 4 times here, too few for a percentage"),
        (4, 5, "worked 4 of 5 times here, about "),
        (0, 5, "worked 0 of 5 times here, about "),
        # scipy: beta(8, 3).mean() = 0.7273, .interval(0.9) = 0.4931 to 0.9127
        (7, 9, "worked 7 of 9 times here, about 73 % (90 % interval 49 to 91 %)"),
    ],
)
def test_no_percentage_below_the_least_number_of_trials(worked, tried, says):
    assert alone(worked, tried).text.startswith(says)


def test_the_text_says_which_group_it_leans_on_one_by_one_and_all_at_once():
    groups = ((KEY, 1, 6), (("m", "d", "y", "t"), 5, 6), (("m", "e", "z", "t"), 2, 2))
    evidence = Evidence(trials(*groups), TERMS)
    found = evidence.group(*KEY)
    assert found.text.endswith("; leans on 5 of 6 on this deposit in other zones")
    assert f"about {100 * found.rate.mean:.0f} % (90 % interval" in found.text
    assert evidence.group("m", "e", "z", "t").text == (
        "worked 2 of 2 times here, too few for a percentage; 6 of 12 on other deposits"
    )
    groups = ((KEY, 1, 6), (("m", "d", "y", "t"), 5, 7), (("n", "e", "z", "t"), 2, 2))
    evidence = Evidence(trials(*groups), TERMS)
    every = evidence.all_groups()
    assert [group.rate.tried for group in every] == [7, 6, 2]
    for group in every:
        one = evidence.group(group.method, group.deposit, group.zone, group.taxon)
        assert (one.text, one.rate.low) == (group.text, pytest.approx(group.rate.low))


@pytest.mark.parametrize(
    ("outcomes", "step", "trials"),
    [
        ("cleared", "f1-puff", [True]),
        ("no-change better cleared", "f1-puff", [True]),
        ("no-change no-change", "f1-puff", [False]),
        ("better worse", "f1-puff", [False]),
        ("damage", "f1-puff", [False]),
        ("not-done", "f1-puff", []),
        ("cleared", "f1-test-spot-before-x", []),
    ],
)
def test_all_passes_of_one_method_on_one_finding_are_one_trial(outcomes, step, trials):
    assert trials_in(case_with(*outcomes.split(), step=step)) == trials


def test_a_correction_counts_in_its_place_and_demo_cases_not_beside_real_ones():
    later = NOON + timedelta(hours=1)
    assert trials_in(with_correction(case_with("no-change"), "a1", later, outcome="cleared")) == [
        True
    ]
    demo = case_with("cleared", invented=True, case_id="demo")
    assert trials_in(demo, case_with("no-change", case_id="real")) == [False]
    assert trials_in(demo) == [True]


SAMPLE = 500  # one standard error is 1.3 points
LEAST = 1e-3


def one_bench(random, lean):
    """A bench with its own true rates: each group scatters around the coarser one above it."""

    def below(rate):
        return random.beta(max(rate * lean, LEAST), max((1 - rate) * lean, LEAST))

    truth, words, worked = {}, [], []
    for method in range(int(random.integers(1, 4))):
        by_method = random.uniform()
        for deposit in range(int(random.integers(1, 4))):
            by_deposit = below(by_method)
            for zone in range(int(random.integers(1, 4))):
                by_zone = below(by_deposit)
                for taxon in range(int(random.integers(1, 4))):
                    key = (f"m{method}", f"d{deposit}", f"z{zone}", f"t{taxon}")
                    truth[key] = below(by_zone)
                    tried = int(random.integers(1, 25))
                    words += [key] * tried
                    worked += (random.random(tried) < truth[key]).tolist()
    columns = tuple(np.array([key[level] for key in words]) for level in range(4))
    return truth, Trials(columns, np.array(worked))


def coverage(random, benches, lean_of):
    held, groups = [], []
    for _ in range(benches):
        truth, trials = one_bench(random, lean_of(random))
        evidence = Evidence(trials, TERMS)
        _, low, high = evidence.intervals()
        true = np.array([truth[key] for key in evidence.groups])
        # One group of each bench, so that benches weigh alike and are independent.
        chosen = int(random.integers(true.size))
        held.append(low[chosen] <= true[chosen] <= high[chosen])
        groups.append(true.size)
    return float(np.mean(held)), float(np.mean(groups))


def held_in(benches, seed, lean_of, capsys):
    """Return the share of benches of which the interval held the truth, and print it."""
    share, groups = coverage(np.random.default_rng(seed), benches, lean_of)
    with capsys.disabled():
        print(f"\n90 % interval held the true rate in {share:.1%} of {benches} benches")
        print(f"({groups:.0f} groups each)")
    return share


@pytest.mark.parametrize("benches", [SAMPLE, pytest.param(2000, marks=pytest.mark.slow)])
def test_the_interval_covers_the_truth(benches, capsys):
    any_lean = lambda r: float(np.exp(r.uniform(np.log(2), np.log(60))))
    assert 0.86 <= held_in(benches, 20260301, any_lean, capsys) <= 0.94


@pytest.mark.parametrize(
    "lean", [2.0, 60.0, *(pytest.param(lean, marks=pytest.mark.slow) for lean in (5.0, 15.0))]
)
def test_the_interval_covers_whether_groups_scatter_much_or_little(lean, capsys):
    assert 0.86 <= held_in(SAMPLE, 7, lambda _: lean, capsys) <= 0.95


RATES = (0.02, 0.5, 0.98, *(pytest.param(r, marks=pytest.mark.slow) for r in (0.1, 0.3, 0.7, 0.9)))


@pytest.mark.parametrize("rate", RATES)
def test_the_interval_covers_a_fixed_rate_over_many_lengths_of_record(rate):
    random = np.random.default_rng(3)
    held = []
    for _ in range(SAMPLE):
        tried = int(random.integers(1, 60))
        words = tuple(np.array([word] * tried) for word in "mdzt")
        _, low, high = Evidence(Trials(words, random.random(tried) < rate), TERMS).intervals()
        held.append(low[0] <= rate <= high[0])
    assert 0.86 <= np.mean(held) <= 0.96
