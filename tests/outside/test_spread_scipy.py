"""Densities, probabilities and moments against scipy.stats and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.special import digamma, gamma, ndtri, zeta

from jointrisk import spread

EULER = 0.57721566490153286061
BETA_160 = 160.0 * np.sqrt(6.0) / np.pi
LOG_SD = np.sqrt(np.log(1.0 + 0.1**2))

PAIRS = {
    "normal": (spread.Normal(3.0, 2.0), stats.norm(3.0, 2.0)),
    "lognormal": (
        spread.Lognormal(25.0, 2.5),
        stats.lognorm(LOG_SD, scale=25.0 / np.sqrt(1.0 + 0.1**2)),
    ),
    "weibull": (spread.Weibull(1.7, 600.0), stats.weibull_min(1.7, scale=600.0)),
    "weibull shifted": (
        spread.Weibull(3.0, 5.0, shift=2.0),
        stats.weibull_min(3.0, loc=2.0, scale=5.0),
    ),
    "gumbel": (
        spread.Gumbel(800.0, 160.0),
        stats.gumbel_r(800.0 - EULER * BETA_160, BETA_160),
    ),
    "gumbel min": (
        spread.GumbelMin(800.0, 160.0),
        stats.gumbel_l(800.0 + EULER * BETA_160, BETA_160),
    ),
    "uniform": (spread.Uniform(-1.0, 4.0), stats.uniform(-1.0, 5.0)),
    "triangular": (spread.Triangular(1.0, 2.0, 5.0), stats.triang(0.25, loc=1.0, scale=4.0)),
    "triangular, mode low": (spread.Triangular(1.0, 1.0, 5.0), stats.triang(0.0, 1.0, 4.0)),
    "triangular, mode high": (spread.Triangular(1.0, 5.0, 5.0), stats.triang(1.0, 1.0, 4.0)),
    "exponential": (spread.Exponential(3.0, shift=1.0), stats.expon(1.0, 2.0)),
    "gamma": (spread.Gamma(6.0, 3.0), stats.gamma(4.0, scale=1.5)),
    "gamma skewed": (spread.Gamma(1.0, 2.0), stats.gamma(0.25, scale=4.0)),
    # Beta(2, 3) on −1 to 4: mean −1 + 5·2/5 = 1, variance 25·6/(25·6) = 1.
    "beta": (spread.Beta(-1.0, 4.0, 1.0, 1.0), stats.beta(2.0, 3.0, loc=-1.0, scale=5.0)),
    "student": (spread.StudentT(1.0, 2.0, 5.0), stats.t(5.0, 1.0, 2.0)),
    "student heavy": (spread.StudentT(0.0, 1.0, 2.5), stats.t(2.5)),
    "frechet": (spread.Frechet(4.0, 2.0), stats.invweibull(4.0, scale=2.0)),
    "truncated normal": (
        spread.Truncated(spread.Normal(0.0, 1.0), -0.5, 2.0),
        stats.truncnorm(-0.5, 2.0),
    ),
    "normal cut far out": (
        spread.Truncated(spread.Normal(0.0, 1.0), 6.0),
        stats.truncnorm(6.0, np.inf),
    ),
    "truncated exponential": (
        spread.Truncated(spread.Exponential(1.0), high=2.0),
        stats.truncexpon(2.0),
    ),
}

# The reference's own truncated normal loses digits below 1e-6: those are in the 60-digit tests.
SHARES = np.array([1e-12, 1e-6, 0.01, 0.2, 0.5, 0.8, 0.99, 1.0 - 1e-6])


@pytest.mark.parametrize("name", PAIRS)
class TestAgainstScipy:
    def test_quantiles(self, name: str) -> None:
        ours, theirs = PAIRS[name]
        np.testing.assert_allclose(ours.ppf(SHARES), theirs.ppf(SHARES), rtol=2e-9, atol=1e-12)

    def test_upper_quantiles(self, name: str) -> None:
        ours, theirs = PAIRS[name]
        shares = SHARES[1:] if "normal" in name else SHARES
        np.testing.assert_allclose(ours.isf(shares), theirs.isf(shares), rtol=2e-9, atol=1e-12)

    def test_probabilities_inside_and_outside_the_support(self, name: str) -> None:
        ours, theirs = PAIRS[name]
        shares = SHARES[1:] if "normal" in name else SHARES
        x = np.concatenate([theirs.ppf(shares), [-2e4, 2e4]])
        np.testing.assert_allclose(ours.cdf(x), theirs.cdf(x), rtol=1e-8, atol=1e-300)
        np.testing.assert_allclose(ours.sf(x), theirs.sf(x), rtol=1e-8, atol=1e-15)

    def test_densities(self, name: str) -> None:
        ours, theirs = PAIRS[name]
        x = np.concatenate([theirs.ppf(SHARES[1:]), [-2e4, 2e4]])
        np.testing.assert_allclose(ours.pdf(x), theirs.pdf(x), rtol=1e-8, atol=1e-300)

    def test_log_densities(self, name: str) -> None:
        ours, theirs = PAIRS[name]
        x = theirs.ppf(SHARES[1:-1])
        np.testing.assert_allclose(ours.logpdf(x), theirs.logpdf(x), rtol=1e-8, atol=1e-8)

    def test_moments(self, name: str) -> None:
        ours, theirs = PAIRS[name]
        assert ours.mean == pytest.approx(theirs.mean(), rel=1e-8, abs=1e-12)
        assert ours.sd == pytest.approx(theirs.std(), rel=1e-6)

    def test_ends_of_the_support(self, name: str) -> None:
        ours, theirs = PAIRS[name]
        low, high = theirs.support()
        assert ours.ppf(0.0) == pytest.approx(low)
        assert ours.ppf(1.0) == pytest.approx(high)
        assert ours.isf(1.0) == ours.ppf(0.0)


# ------------------------------------------------------------------ closed-form moments


def test_gumbel_mode_and_scale() -> None:
    """Mean = mode + γβ and sd = πβ/√6 (Gumbel 1958, sec. 5.2)."""
    ours = spread.Gumbel(800.0, 160.0)
    assert ours.cdf(ours.mode) == pytest.approx(np.exp(-1.0), rel=1e-13)
    assert ours.mode + EULER * ours.beta == pytest.approx(800.0, rel=1e-14)
    assert np.pi * ours.beta / np.sqrt(6.0) == pytest.approx(160.0, rel=1e-14)


@pytest.mark.parametrize("count", [1.0, 2.5, 20.0, 1e6])
def test_largest_gumbel_is_a_gumbel_moved_by_its_scale_times_the_log(count: float) -> None:
    base = spread.Gumbel(800.0, 160.0)
    ours = spread.MaximumOf(base, count)
    moved = spread.Gumbel(800.0 + BETA_160 * np.log(count), 160.0)
    u = np.array([-8.0, -1.0, 0.0, 2.0, 8.0])
    np.testing.assert_allclose(ours.from_normal(u), moved.from_normal(u), rtol=1e-12)
    assert ours.mean == pytest.approx(moved.mean, rel=1e-14)
    assert ours.sd == 160.0


@pytest.mark.parametrize("count", [1.0, 3.0, 12.5, 400.0])
def test_largest_of_exponentials(count: float) -> None:
    """Mean ψ(n + 1) + γ and variance π²/6 − ψ′(n + 1), fractional n included."""
    ours = spread.MaximumOf(spread.Exponential(1.0), count)
    assert ours.mean == pytest.approx(digamma(count + 1.0) + EULER, rel=1e-12)
    assert ours.sd**2 == pytest.approx(np.pi**2 / 6.0 - zeta(2.0, count + 1.0), rel=1e-10)


@pytest.mark.parametrize("count", [1.0, 4.0, 7.5])
def test_largest_of_uniforms_is_a_beta(count: float) -> None:
    ours = spread.MaximumOf(spread.Uniform(0.0, 1.0), count)
    assert ours.mean == pytest.approx(count / (count + 1.0), rel=1e-13)
    assert ours.sd == pytest.approx(stats.beta(count, 1.0).std(), rel=1e-12)


def test_largest_of_frechets_is_a_frechet() -> None:
    ours = spread.MaximumOf(spread.Frechet(3.0, 1.0), 8.0)
    same = spread.Frechet(3.0, 2.0)
    assert ours.mean == pytest.approx(2.0 * gamma(2.0 / 3.0), rel=1e-9)
    u = np.array([-20.0, -1.0, 1.0, 20.0])
    np.testing.assert_allclose(ours.from_normal(u), same.from_normal(u), rtol=1e-12)


@pytest.mark.parametrize("n", [0.05, 1.0, 30.0])
def test_mean_of_the_largest_of_exponential_events(n: float) -> None:
    """E = ∫ 1 − exp(−n e^(−x)) dx = γ + ln n + E₁(n), substituting t = n e^(−x)."""
    from scipy.special import exp1

    ours = spread.MaximumOfEvents(spread.Exponential(1.0), n)
    assert ours.mean == pytest.approx(EULER + np.log(n) + exp1(n), rel=1e-9)


def test_sd_of_the_largest_of_events_by_drawing_them_one_by_one() -> None:
    """Four million events, gathered by a Poisson number each: agreement within 5 errors."""
    rng = np.random.default_rng(0)
    n, runs = 2.0, 400_000
    number = rng.poisson(n, runs)
    size = rng.exponential(3.0, number.sum())
    largest = np.zeros(runs)
    np.maximum.at(largest, np.repeat(np.arange(runs), number), size)
    ours = spread.MaximumOfEvents(spread.Exponential(3.0), n)
    assert ours.mean == pytest.approx(largest.mean(), abs=5.0 * largest.std() / np.sqrt(runs))
    assert ours.sd == pytest.approx(largest.std(), rel=0.02)
    for x in (0.0, 1.0, 6.0):
        share = np.mean(largest <= x)
        assert ours.cdf(x) == pytest.approx(share, abs=5.0 * np.sqrt(0.25 / runs))


@pytest.mark.parametrize("shape", [0.5, 1.0])
def test_frechet_without_a_mean(shape: float) -> None:
    ours = spread.Frechet(shape, 2.0)
    assert ours.mean == np.inf
    assert ours.sd == np.inf


def test_frechet_with_a_mean_and_no_sd() -> None:
    ours = spread.Frechet(1.5, 2.0)
    assert ours.mean == pytest.approx(2.0 * gamma(1.0 / 3.0), rel=1e-14)
    assert ours.sd == np.inf


@pytest.mark.parametrize(
    ("ours", "mean_is_finite", "sd_is_finite"),
    [
        (spread.MaximumOf(spread.Frechet(0.9, 1.0), 3.0), False, False),
        (spread.MaximumOf(spread.Frechet(1.6, 1.0), 3.0), True, False),
        (spread.MaximumOf(spread.StudentT(0.0, 1.0, 1.5), 3.0), True, False),
        (spread.MaximumOfEvents(spread.Frechet(1.6, 1.0), 3.0), True, False),
        (spread.Truncated(spread.Frechet(0.9, 1.0), low=2.0), False, False),
        (spread.Truncated(spread.Frechet(0.9, 1.0), high=20.0), True, True),
        (spread.Truncated(spread.StudentT(0.0, 1.0, 1.5), -5.0, 5.0), True, True),
        (spread.Mixture([(0.1, spread.Frechet(1.6, 1.0)), (0.9, spread.Fixed(1.0))]), True, False),
    ],
    ids=str,
)
def test_infinite_moments_are_told(
    ours: spread.Spread, mean_is_finite: bool, sd_is_finite: bool
) -> None:
    assert np.isfinite(ours.mean) == mean_is_finite
    assert np.isfinite(ours.sd) == sd_is_finite


def test_narrow_weibull_keeps_its_sd() -> None:
    """For a large shape k the log is a Gumbel spread: sd/scale → π/(k√6)."""
    ours = spread.Weibull(1e5, 1.0)
    assert ours.sd * 1e5 == pytest.approx(np.pi / np.sqrt(6.0), rel=1e-4)


def test_lognormal_median_and_moments_of_the_log() -> None:
    """Median mean/√(1 + CoV²); the log's variance ln(1 + CoV²) (Johnson et al. ch. 14)."""
    ours = spread.Lognormal(20.0, 10.0)
    assert ours.ppf(0.5) == pytest.approx(20.0 / np.sqrt(1.25), rel=1e-14)
    assert ours.log_sd**2 == pytest.approx(np.log(1.25), rel=1e-14)
    again = spread.Lognormal.from_log(ours.log_mean, ours.log_sd)
    assert (again.mean, again.sd) == pytest.approx((20.0, 10.0), rel=1e-13)


# ------------------------------------------------------------------ mixtures


def test_mixture_moments_by_the_law_of_total_variance() -> None:
    ours = spread.Mixture([(0.2, spread.Normal(1.0, 2.0)), (0.8, spread.Normal(6.0, 1.0))])
    assert ours.mean == pytest.approx(5.0)
    assert ours.sd**2 == pytest.approx(0.2 * (4.0 + 16.0) + 0.8 * (1.0 + 1.0))


def test_mixture_density_is_the_weighted_sum() -> None:
    ours = spread.Mixture([(0.2, spread.Normal(1.0, 2.0)), (0.8, spread.Gamma(6.0, 3.0))])
    x = np.linspace(-3.0, 15.0, 40)
    wanted = 0.2 * stats.norm(1.0, 2.0).pdf(x) + 0.8 * stats.gamma(4.0, scale=1.5).pdf(x)
    np.testing.assert_allclose(ours.pdf(x), wanted, rtol=1e-12)


def test_mixture_of_far_apart_normals_across_the_gap() -> None:
    """Nine hundred standard deviations of nothing between the parts."""
    ours = spread.Mixture([(0.3, spread.Normal(0.0, 1.0)), (0.7, spread.Normal(1000.0, 1.0))])
    assert ours.ppf(0.3 * 0.975) == pytest.approx(ndtri(0.975), rel=1e-9)
    assert ours.ppf(0.3 + 0.7 * 0.025) == pytest.approx(1000.0 + ndtri(0.025), rel=1e-9)
    assert 7.0 < ours.ppf(0.3) < 993.0


def test_staircase_is_that_of_numpy() -> None:
    values = np.random.default_rng(0).normal(size=101)
    ours = spread.Empirical(values)
    theirs = stats.ecdf(values)
    x = np.concatenate([values, np.linspace(-3.0, 3.0, 50)])
    np.testing.assert_allclose(ours.cdf(x), theirs.cdf.evaluate(x), rtol=1e-13)
    q = np.linspace(0.003, 0.997, 333)
    np.testing.assert_array_equal(ours.ppf(q), np.quantile(values, q, method="inverted_cdf"))
    assert ours.mean == pytest.approx(values.mean(), rel=1e-14)
    assert ours.sd == pytest.approx(values.std(), rel=1e-14)


# ------------------------------------------------------------------ draws


@pytest.mark.parametrize("name", PAIRS)
def test_draws_follow_the_reference(name: str) -> None:
    """Kolmogorov-Smirnov on 20 000 draws of one fixed seed; 1e-4 is the false alarm rate."""
    ours, theirs = PAIRS[name]
    assert stats.kstest(ours.sample(20_000, rng=1), theirs.cdf).pvalue > 1e-4


def test_draws_of_a_mixture_split_by_weight() -> None:
    ours = spread.Mixture([(0.02, spread.Fixed(1.0)), (0.98, spread.Normal(50.0, 1.0))])
    share = np.mean(ours.sample(100_000, rng=3) == 1.0)
    assert share == pytest.approx(0.02, abs=5.0 * np.sqrt(0.02 * 0.98 / 100_000))
