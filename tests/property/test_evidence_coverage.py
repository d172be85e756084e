"""Simulated benches with known true rates: how often the 90 % interval holds the truth; printed."""

import numpy as np
import pytest

from triage.history.evidence import Evidence, Trials
from triage.history.rates import BetaPrior, Terms

TERMS = Terms(BetaPrior(1.0, 1.0, "uniform"), 0.9, 5, 4.0, 1.0, 20.0, 0.35)
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
