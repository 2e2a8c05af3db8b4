"""The statistics, held against published values, SciPy and statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from fieldnote.patterns.statistics import (
    control_limits,
    quartiles,
    shrunk,
    shrunk_many,
    tail,
    too_rare,
    wilson,
    wilson_many,
)

# From R's prop.test and binom, as SciPy's and statsmodels' own tests give them.
WILSON_R = [
    (3, 10, 0.1077913, 0.6032219),
    (0, 10, 0.0, 0.2775328),
    (10, 10, 0.7224672, 1.0),
    (4, 20, 0.0806577, 0.4160174),
    (18, 20, 0.6989664, 0.9721335),
    (100, 200, 0.4313609, 0.5686391),
]
# R. G. Newcombe, Two-sided confidence intervals for the single proportion, Statistics in Medicine 17 (1998), the
# cases of his table; limits to four places.
WILSON_NEWCOMBE = [
    (81, 263, 0.2553, 0.3662),
    (15, 148, 0.0624, 0.1605),
    (0, 20, 0.0, 0.1611),
    (1, 29, 0.0061, 0.1718),
]


@pytest.mark.parametrize(("count", "of", "low", "high"), WILSON_R)
def test_wilson_as_r_gives_it(count: int, of: int, low: float, high: float) -> None:
    """95 % limits, without continuity correction."""
    assert wilson(count, of) == pytest.approx((low, high), abs=5e-8)


@pytest.mark.parametrize(("count", "of", "low", "high"), WILSON_NEWCOMBE)
def test_wilson_as_newcombe_prints_it(count: int, of: int, low: float, high: float) -> None:
    """The four cases of the paper."""
    assert wilson(count, of) == pytest.approx((low, high), abs=5e-5)


def test_wilson_at_another_level() -> None:
    """4 of 20 at 90 %: worked from the formula of the e-Handbook, 7.2.4.1."""
    assert wilson(4, 20, 0.90) == pytest.approx((0.0931180, 0.3783767), abs=5e-8)


@pytest.mark.parametrize("level", [0.8, 0.95, 0.999])
def test_wilson_is_that_of_scipy(level: float) -> None:
    """Every count of several sizes."""
    for of in (1, 2, 7, 29):
        for count in range(of + 1):
            by_scipy = stats.binomtest(count, of).proportion_ci(level, method="wilson")
            assert wilson(count, of, level) == pytest.approx(tuple(by_scipy), abs=1e-12)


@pytest.mark.parametrize("level", [0.8, 0.95, 0.999])
def test_wilson_is_that_of_statsmodels(level: float) -> None:
    """Every count of several sizes, one by one and all at once."""
    for of in (1, 2, 7, 29, 1447):
        counts = np.arange(of + 1)
        by_statsmodels = proportion_confint(counts, of, 1 - level, method="wilson")
        np.testing.assert_allclose(wilson_many(counts, np.full_like(counts, of), level), by_statsmodels, atol=1e-12)
        one_by_one = [wilson(int(count), of, level) for count in counts]
        np.testing.assert_array_equal(np.transpose(wilson_many(counts, np.full_like(counts, of), level)), one_by_one)


def test_no_limit_leaves_the_range() -> None:
    """Rounding pushes nothing outside 0 to 1 (the fault of statsmodels issue 7386), and an end is met exactly."""
    for of in range(1, 400):
        assert wilson(0, of)[0] == 0.0
        assert wilson(of, of)[1] == 1.0
        assert all(0.0 <= limit <= 1.0 for count in (0, 1, of - 1, of) for limit in wilson(count, of))
    assert wilson(0, 0) == (0.0, 1.0)


def test_shrinking_is_the_mean_of_the_beta_posterior() -> None:
    """437 of 980 under a flat prior: Beta(438, 544), mean .4460285 (Gelman et al., Bayesian Data Analysis, 2.4)."""
    assert shrunk(437, 980, 0.5, 2.0) == pytest.approx(0.4460285, abs=5e-8)
    assert shrunk(437, 980, 0.5, 2.0) == pytest.approx(stats.beta(438, 544).mean(), abs=1e-12)


@pytest.mark.parametrize(("mean", "strength"), [(0.5, 2.0), (0.02, 10.0), (0.9, 50.0)])
def test_shrinking_is_that_of_scipy_for_many_counts(mean: float, strength: float) -> None:
    """The posterior of a Beta prior of this mean and weight, over every count of 40."""
    counts = np.arange(41)
    posterior = stats.beta(strength * mean + counts, strength * (1 - mean) + 40 - counts)
    made = shrunk_many(counts, np.full(41, 40), np.full(41, mean), strength)
    np.testing.assert_allclose(made, posterior.mean(), atol=1e-12)
    assert made.tolist() == [shrunk(int(count), 40, mean, strength) for count in counts]


@pytest.mark.parametrize(("count", "mean"), [(727, 0.5020690), (583, 0.4027586), (137, 0.0951724)])
def test_shrinking_of_one_share_among_several(count: int, mean: float) -> None:
    """The poll of 1447 of the same book: each share of a Dirichlet is a Beta with the others taken together."""
    assert shrunk(count, 1447, 1 / 3, 3.0) == pytest.approx(mean, abs=5e-8)


def test_control_limits_of_the_wafers() -> None:
    """30 wafers of 50 chips, mean .2313: limits .4102 and .0524 (NIST/SEMATECH e-Handbook, 6.3.3.2)."""
    assert control_limits(0.2313, 50) == pytest.approx((0.0524, 0.4102), abs=5e-5)


@pytest.mark.parametrize("center", [0.02, 0.2313, 0.5, 0.97])
def test_control_limits_are_three_standard_deviations_of_scipys_binomial(center: float) -> None:
    """Mean and standard deviation of the share of successes, for several sizes of sample."""
    for of in (5, 50, 1200):
        spread = stats.binom(of, center).std() / of
        expected = max(0.0, center - 3 * spread), min(1.0, center + 3 * spread)
        assert control_limits(center, of) == pytest.approx(expected, abs=1e-12)


def test_control_limits_stay_shares() -> None:
    """A small sample has a lower limit of 0, and one of 1 above."""
    assert control_limits(0.05, 10)[0] == 0.0
    assert control_limits(0.95, 10)[1] == 1.0


@pytest.mark.parametrize("prob", [0.0, 0.001, 0.2313, 0.5, 0.97, 1.0])
def test_tails_are_those_of_scipy(prob: float) -> None:
    """Both tails of the binomial distribution, every count."""
    for of in (1, 5, 50):
        counts = np.arange(of + 1)
        upper = [tail(int(count), of, prob, upper=True) for count in counts]
        lower = [tail(int(count), of, prob, upper=False) for count in counts]
        np.testing.assert_allclose(upper, stats.binom.sf(counts - 1, of, prob), atol=1e-11)
        np.testing.assert_allclose(lower, stats.binom.cdf(counts, of, prob), atol=1e-11)


def test_too_rare_is_three_standard_deviations() -> None:
    """One side of a normal distribution beyond three: .00135 (every table of it)."""
    assert too_rare(0.00134)
    assert not too_rare(0.00136)


@pytest.mark.parametrize("values", [[4.0], [1.0, 9.0], [5.0, 1.0, 2.0, 40.0], [float(n) for n in range(17)]])
def test_quartiles_are_those_of_numpy(values: list[float]) -> None:
    """By linear interpolation, in any order."""
    assert quartiles(values) == pytest.approx(tuple(np.quantile(values, [0.25, 0.5, 0.75])))
