"""Beta quantiles without scipy: equal to scipy's, and to closed forms and a printed example."""

import math
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import betainc, betaincinv

from triage.bench.betainv import beta_cdf, beta_quantile
from triage.errors import OutOfRange

WEIGHTS = st.floats(-1.5, 5.0).map(lambda power: 10.0**power)
CHANCES = (0.001, 0.025, 0.05, 0.1, 0.5, 0.9, 0.95, 0.975, 0.999)


@pytest.mark.parametrize("tried", [0, 1, 2, 5, 13, 60, 980, 40_000])
@pytest.mark.parametrize("weight", [0.05, 0.5, 1.0, 2.7, 20.0])
def test_every_count_is_the_quantile_of_scipy(tried, weight):
    for worked in sorted({0, 1, tried // 3, tried // 2, tried - 1, tried} & set(range(tried + 1))):
        for chance in CHANCES:
            a, b = weight + worked, weight + tried - worked
            assert beta_quantile(a, b, chance) == pytest.approx(
                float(betaincinv(a, b, chance)), abs=1e-9
            )


@given(WEIGHTS, WEIGHTS, st.floats(1e-4, 1.0 - 1e-4))
def test_any_weights_give_the_quantile_of_scipy(a, b, chance):
    assert beta_quantile(a, b, chance) == pytest.approx(float(betaincinv(a, b, chance)), abs=1e-9)


@given(WEIGHTS, WEIGHTS, st.floats(0.0, 1.0))
def test_the_distribution_function_is_that_of_scipy(a, b, at):
    assert beta_cdf(a, b, at) == pytest.approx(float(betainc(a, b, at)), abs=1e-8)


@pytest.mark.parametrize("chance", [0.0, 0.05, 0.3, 0.9, 1.0])
def test_closed_forms(chance):
    # Beta(1, 1) is uniform; Beta(a, 1) has x^a; Beta(1, b) has 1 - (1 - x)^b; Beta(1/2, 1/2) is
    # the arcsine law with sin^2(pi p / 2).
    assert beta_quantile(1.0, 1.0, chance) == pytest.approx(chance, abs=1e-12)
    assert beta_quantile(7.0, 1.0, chance) == pytest.approx(chance ** (1 / 7), abs=1e-12)
    assert beta_quantile(1.0, 7.0, chance) == pytest.approx(1 - (1 - chance) ** (1 / 7), abs=1e-12)
    assert beta_quantile(0.5, 0.5, chance) == pytest.approx(
        math.sin(math.pi * chance / 2) ** 2, abs=1e-12
    )


def test_published_interval_of_437_in_980():
    # Gelman et al., Bayesian Data Analysis, section 2.4: 0.415 to 0.477 under a uniform prior.
    ends = [beta_quantile(438.0, 544.0, chance) for chance in (0.025, 0.975)]
    assert ends == pytest.approx([0.415, 0.477], abs=5e-4)


@pytest.mark.parametrize(
    ("a", "b", "chance"),
    [(0.0, 1.0, 0.5), (1.0, -1.0, 0.5), (math.nan, 1.0, 0.5), (1.0, 1.0, 1.5), (1.0, 1.0, -0.1)],
)
def test_what_is_no_distribution_is_refused(a, b, chance):
    with pytest.raises(OutOfRange):
        beta_quantile(a, b, chance)


def test_the_record_of_a_bench_needs_no_library_that_is_slow_to_import():
    code = (
        "import sys\n"
        "import numpy as np\n"
        "from triage.bench.rates import BetaPrior\n"
        "from triage.history.evidence import Evidence, Terms, Trials\n"
        "words = tuple(np.array([w] * 9) for w in 'mdzt')\n"
        "made = Evidence(Trials(words, np.arange(9) < 7),"
        " Terms(BetaPrior(1, 1, 'uniform'), 0.9, 5, 4.0, 1.0, 20.0, 0.35))\n"
        "assert '%' in made.group('m', 'd', 'z', 't').text\n"
        "assert 'scipy' not in sys.modules, 'scipy was imported'\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-600:]


def test_a_thousand_random_quantiles_together():
    random = np.random.default_rng(8)
    a, b = 10.0 ** random.uniform(-1, 4, 1000), 10.0 ** random.uniform(-1, 4, 1000)
    chance = random.uniform(0.001, 0.999, 1000)
    ours = [beta_quantile(*each) for each in zip(a.tolist(), b.tolist(), chance.tolist(), strict=True)]
    np.testing.assert_allclose(ours, betaincinv(a, b, chance), rtol=0, atol=1e-9)
