"""Failure probabilities that are known exactly, or by quadrature with scipy.stats."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from jointrisk import spread
from jointrisk.reliability import estimate

UNIT = spread.Normal(0.0, 1.0)


def holds(found, truth):
    assert found.converged, found.notes
    assert found.interval[0] <= truth <= found.interval[1], (found.probability, truth)


def estimated(margin, variables, **more):
    return estimate(margin, variables, confidence=0.999, **more)


@pytest.mark.parametrize("load", [30.0, 10.0, 4.0])
def test_linear_gaussian(load):
    weights = np.array([1.0, -2.0, 0.5, 3.0])
    means, sds = np.array([40.0, load, 3.0, 1.0]), np.array([4.0, 1.0, 2.0, 0.5])
    variables = {
        f"x{i}": spread.Normal(m, s) for i, (m, s) in enumerate(zip(means, sds, strict=True))
    }
    found = estimated(
        lambda x: sum(w * v for w, v in zip(weights, x.values(), strict=True)), variables
    )
    exact = stats.norm.cdf(-(weights @ means) / np.linalg.norm(weights * sds))
    holds(found, exact)


@pytest.mark.parametrize("ratio", [1.2, 2.0, 4.0])
def test_lognormal_strength_over_lognormal_load(ratio):
    variables = {"r": spread.Lognormal(100 * ratio, 15 * ratio), "d": spread.Lognormal(100, 20)}
    log_sds = np.sqrt(np.log1p(np.array([0.15, 0.20]) ** 2))
    log_gap = np.log(ratio) - 0.5 * (log_sds[0] ** 2 - log_sds[1] ** 2)
    exact = stats.norm.cdf(-log_gap / np.linalg.norm(log_sds))
    holds(estimated(lambda x: x["r"] - x["d"], variables), exact)


@pytest.mark.parametrize("correlation", [-0.8, 0.0, 0.8])
def test_correlated_normals(correlation):
    variables = {"r": spread.Normal(10, 1), "d": spread.Normal(5, 1.5)}
    found = estimated(lambda x: x["r"] - x["d"], variables, correlation={("r", "d"): correlation})
    exact = stats.norm.cdf(-5 / np.sqrt(1 + 2.25 - 3 * correlation))
    holds(found, exact)


@pytest.mark.parametrize("mean", [300.0, 500.0, 700.0])
def test_normal_strength_and_gumbel_load_by_quadrature(mean):
    scale = 80 * np.sqrt(6) / np.pi
    demand = stats.gumbel_r(mean - np.euler_gamma * scale, scale)
    strength = stats.norm(1000, 100)
    exact = quad(lambda r: strength.pdf(r) * demand.sf(r), 0, 2000, points=[800, 1000], epsabs=0)[0]
    variables = {"r": spread.Normal(1000, 100), "d": spread.Gumbel(mean, 80)}
    holds(estimated(lambda x: x["r"] - x["d"], variables), exact)


@pytest.mark.parametrize("events", [0.01, 1.0, 200.0])
def test_largest_of_poisson_events(events):
    """P(largest > x) = 1 - exp(-n (1 - F(x))): rare events leave an atom at no load."""
    base = stats.gumbel_r(*_gumbel(200.0, 50.0))
    demand = spread.MaximumOfEvents(spread.Gumbel(200.0, 50.0), events)
    found = estimated(lambda x: 600.0 - x["d"], {"d": demand})
    holds(found, -np.expm1(-events * base.sf(600.0)))


def _gumbel(mean, sd):
    scale = sd * np.sqrt(6) / np.pi
    return mean - np.euler_gamma * scale, scale


def test_largest_of_many_years():
    base = stats.gumbel_r(*_gumbel(200.0, 50.0))
    demand = spread.MaximumOf(spread.Gumbel(200.0, 50.0), 25.0)
    found = estimated(lambda x: 700.0 - x["d"], {"d": demand})
    holds(found, -np.expm1(25 * np.log1p(-base.sf(700.0))))


def test_weibull_tail():
    found = estimated(lambda x: x["r"] - 20.0, {"r": spread.Weibull(8.0, 100.0)})
    holds(found, stats.weibull_min(8.0, scale=100.0).cdf(20.0))


@pytest.mark.parametrize("dim", [2, 5])
def test_sphere_by_chi_square(dim):
    """Failure in every direction at once: a continuum of design points."""
    variables = {f"x{i}": UNIT for i in range(dim)}
    radius = float(np.sqrt(stats.chi2.isf(1e-4, dim)))
    found = estimated(lambda x: radius - np.sqrt(sum(v**2 for v in x.values())), variables)
    assert found.interval[0] <= 1e-4 <= found.interval[1]


@pytest.mark.parametrize("count", [2, 10])
def test_series_system_of_alike_parts(count):
    variables = {f"x{i}": UNIT for i in range(count)}
    found = estimated(lambda x: 4.0 - np.max(list(x.values()), axis=0), variables)
    holds(found, -np.expm1(count * stats.norm.logcdf(4.0)))


@pytest.mark.parametrize("count", [2, 4])
def test_parallel_system_of_alike_parts(count):
    variables = {f"x{i}": UNIT for i in range(count)}
    found = estimated(lambda x: 2.0 - np.min(list(x.values()), axis=0), variables)
    holds(found, stats.norm.sf(2.0) ** count)


def test_four_branch_series_system():
    """Waarts (2000), thesis, Delft: 2.22e-3; here by quadrature in axes turned by 45 degrees."""
    ridge = quad(lambda q: stats.norm.pdf(q) * 2 * stats.norm.sf(3 + 0.2 * q**2), 0, 3.5, epsabs=0)[
        0
    ]
    exact = 2 * stats.norm.sf(3.5) + 2 * ridge
    assert exact == pytest.approx(2.22e-3, abs=5e-6)

    def margin(x):
        a, b = x["a"], x["b"]
        bend, root = 0.1 * (a - b) ** 2, np.sqrt(2)
        pair = np.minimum(3 + bend - (a + b) / root, 3 + bend + (a + b) / root)
        return np.minimum(pair, np.minimum(a - b, b - a) + 7 / root)

    for seed in range(3):
        holds(estimated(margin, {"a": UNIT, "b": UNIT}, seed=seed, target_cov=0.02), exact)


@pytest.mark.parametrize("weak", [0.5, 0.005, 1e-5])
def test_weak_population(weak):
    kinds = spread.Mixture([(1 - weak, spread.Fixed(1.0)), (weak, spread.Fixed(0.4))])
    variables = {"r": spread.Normal(1000, 80), "k": kinds, "d": spread.Normal(500, 40)}
    found = estimated(lambda x: x["k"] * x["r"] - x["d"], variables)
    sound = stats.norm.cdf(-500 / np.hypot(80, 40))
    poor = stats.norm.cdf(100 / np.hypot(32, 40))
    holds(found, (1 - weak) * sound + weak * poor)


def test_poisson_shocks_and_labels_together():
    """Two labels of two atoms: four exact cells."""
    coin = spread.Mixture([(0.9, spread.Fixed(0.0)), (0.1, spread.Fixed(1.0))])
    rare = spread.Mixture([(0.998, spread.Fixed(0.0)), (0.002, spread.Fixed(2.0))])
    found = estimated(lambda x: 5 - x["a"] - x["i"] - x["j"], {"a": UNIT, "i": coin, "j": rare})
    exact = sum(
        p * q * stats.norm.sf(5 - i - j)
        for i, p in ((0, 0.9), (1, 0.1))
        for j, q in ((0, 0.998), (2, 0.002))
    )
    holds(found, exact)
