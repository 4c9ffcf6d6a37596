"""Correlation of values and of scores against closed forms, openturns and brute force."""

from __future__ import annotations

import numpy as np
import openturns as ot
import pytest
from scipy import stats
from scipy.special import ndtri

from jointrisk import spread

NORMAL = spread.Normal(3.0, 2.0)
UNIFORM = spread.Uniform(-1.0, 4.0)
EXPONENTIAL = spread.Exponential(2.0)
GUMBEL = spread.Gumbel(800.0, 160.0)
LOGNORMAL = spread.Lognormal(25.0, 12.0)

RHOS = [-0.5, -0.2, 0.1, 0.5, 0.9]


@pytest.mark.parametrize("rho", [*RHOS, -0.99, 0.999])
def test_two_normals_keep_their_correlation(rho: float) -> None:
    assert spread.score_correlation(NORMAL, spread.Normal(0.0, 1.0), rho) == rho


@pytest.mark.parametrize("rho", [*RHOS, -0.99, 0.999])
def test_two_uniforms(rho: float) -> None:
    """ρ_values = (6/π) arcsin(ρ_scores/2), Pearson (1907)."""
    found = spread.score_correlation(UNIFORM, spread.Uniform(0.0, 1.0), rho)
    assert found == pytest.approx(2.0 * np.sin(np.pi * rho / 6.0), abs=1e-9)


@pytest.mark.parametrize("rho", [-0.9, *RHOS])
def test_normal_and_uniform(rho: float) -> None:
    """ρ_values = ρ_scores √(3/π) (Liu and Der Kiureghian 1986, table 4: 1.023)."""
    found = spread.score_correlation(NORMAL, UNIFORM, rho)
    assert found == pytest.approx(rho * np.sqrt(np.pi / 3.0), rel=1e-10)


@pytest.mark.parametrize("rho", [-0.8, *RHOS])
def test_normal_and_lognormal(rho: float) -> None:
    """ρ_values = ρ_scores s/CoV with s the sd of the log (ibid.)."""
    cov = 12.0 / 25.0
    found = spread.score_correlation(LOGNORMAL, NORMAL, rho)
    assert found == pytest.approx(rho * cov / np.sqrt(np.log(1.0 + cov**2)), rel=1e-9)


@pytest.mark.parametrize("rho", [-0.5, 0.3, 0.9])
def test_two_lognormals_in_closed_form(rho: float) -> None:
    """ln(1 + ρ CoV₁ CoV₂)/(s₁ s₂) (ibid.)."""
    other = spread.Lognormal(3.0, 2.0)
    s1, s2 = (np.sqrt(np.log(1.0 + c**2)) for c in (12.0 / 25.0, 2.0 / 3.0))
    wanted = np.log(1.0 + rho * (12.0 / 25.0) * (2.0 / 3.0)) / (s1 * s2)
    assert spread.score_correlation(LOGNORMAL, other, rho) == pytest.approx(wanted, rel=1e-12)


@pytest.mark.parametrize("rho", [-0.5, 0.3, 0.9])
def test_the_series_agrees_with_the_closed_form_of_lognormals(rho: float) -> None:
    """A truncated lognormal with nothing cut off takes the general way."""
    uncut = spread.Truncated(LOGNORMAL)
    found = spread.score_correlation(uncut, LOGNORMAL, rho)
    assert found == pytest.approx(spread.score_correlation(LOGNORMAL, LOGNORMAL, rho), rel=1e-8)


@pytest.mark.parametrize(
    ("first", "second", "factor"),
    [
        # Liu and Der Kiureghian (1986), tables 5 and 6: ρ_scores/ρ_values, printed formulas.
        (EXPONENTIAL, EXPONENTIAL, lambda r: 1.229 - 0.367 * r + 0.153 * r**2),
        (GUMBEL, GUMBEL, lambda r: 1.064 - 0.069 * r + 0.005 * r**2),
        (UNIFORM, EXPONENTIAL, lambda r: 1.133 + 0.029 * r**2),
        (UNIFORM, GUMBEL, lambda r: 1.055 + 0.015 * r**2),
        (NORMAL, GUMBEL, lambda r: 1.031 + 0.0 * r),
        (NORMAL, EXPONENTIAL, lambda r: 1.107 + 0.0 * r),
    ],
    ids=[
        "exp-exp",
        "gumbel-gumbel",
        "uniform-exp",
        "uniform-gumbel",
        "normal-gumbel",
        "normal-exp",
    ],
)
@pytest.mark.parametrize("rho", [-0.5, 0.3, 0.8])
def test_published_formulas(first, second, factor, rho: float) -> None:
    """Their formulas err by up to 1.5 % themselves."""
    found = spread.score_correlation(first, second, rho)
    assert found / rho == pytest.approx(factor(rho), rel=0.02)


@pytest.mark.parametrize("rho", [-0.5, 0.4, 0.8])
def test_against_a_double_integral(rho: float) -> None:
    """E[x(u₁) y(ρu₁ + √(1−ρ²)u₂)] by Gauss-Hermite with 120 × 120 points."""
    found = spread.score_correlation(GUMBEL, EXPONENTIAL, rho)
    node, weight = np.polynomial.hermite_e.hermegauss(120)
    weight = np.outer(weight, weight) / weight.sum() ** 2
    u, v = np.meshgrid(node, node)
    x = GUMBEL.from_normal(u) - GUMBEL.mean
    y = EXPONENTIAL.from_normal(found * u + np.sqrt(1.0 - found**2) * v) - EXPONENTIAL.mean
    assert np.sum(weight * x * y) / (160.0 * 2.0) == pytest.approx(rho, abs=1e-9)


@pytest.mark.parametrize("rho", [-0.5, 0.4, 0.8])
def test_against_draws_of_openturns(rho: float) -> None:
    """Another library's draws of its normal copula, at our score correlation.

    Its `getCorrelation` is not used: for this pair it is off by 0.013 from its own draws.
    """
    matrix = ot.CorrelationMatrix(2)
    matrix[0, 1] = spread.score_correlation(GUMBEL, EXPONENTIAL, rho)
    marginals = [ot.Gumbel(GUMBEL.beta, GUMBEL.mode), ot.Exponential(0.5)]
    ot.RandomGenerator.SetSeed(1)
    drawn = np.array(ot.JointDistribution(marginals, ot.NormalCopula(matrix)).getSample(300_000))
    assert np.corrcoef(drawn.T)[0, 1] == pytest.approx(rho, abs=0.012)


def test_reachable_range_of_exponentials() -> None:
    """1 − π²/6 to 1 (Moran 1967)."""
    low, high = spread.reachable_correlation(EXPONENTIAL, spread.Exponential(7.0))
    assert low == pytest.approx(1.0 - np.pi**2 / 6.0, rel=1e-10)
    assert high == pytest.approx(1.0, rel=1e-12)


def test_reachable_range_of_lognormals() -> None:
    """(e^(∓s²) − 1)/(e^(s²) − 1): with s = 1 −0.368 to 1."""
    wide = spread.Lognormal.from_log(0.0, 1.0)
    low, high = spread.reachable_correlation(wide, wide)
    assert low == pytest.approx(np.expm1(-1.0) / np.expm1(1.0), rel=1e-12)
    assert high == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize("value", [-0.3, 0.2, 0.5, 0.7])
def test_labels_that_go_together(value: float) -> None:
    """Two yes-or-no labels: P(both) from the bivariate normal of scipy.stats."""
    label = spread.Mixture([(0.3, spread.Fixed(0.0)), (0.7, spread.Fixed(1.0))])
    rho = spread.score_correlation(label, label, value)
    cut = ndtri(0.3)
    both_low = stats.multivariate_normal.cdf([cut, cut], cov=[[1.0, rho], [rho, 1.0]])
    assert (both_low - 0.09) / 0.21 == pytest.approx(value, abs=1e-6)


def test_drawn_values_have_the_correlations_asked_for() -> None:
    """A million draws; the sampling error of a correlation is about 0.001."""
    spreads = {"load": GUMBEL, "gap": spread.Gamma(0.2, 0.05), "strength": LOGNORMAL}
    wanted = {("load", "gap"): 0.4, ("strength", "gap"): -0.5, ("load", "strength"): 0.1}
    copula = spread.GaussianCopula(list(spreads), wanted, spreads)
    u = np.random.default_rng(0).standard_normal((1_000_000, 3))
    z = copula.correlate(u)
    x = np.column_stack([s.from_normal(z[:, i]) for i, s in enumerate(spreads.values())])
    found = np.corrcoef(x.T)
    names = list(spreads)
    for (a, b), value in wanted.items():
        assert found[names.index(a), names.index(b)] == pytest.approx(value, abs=6e-3)
