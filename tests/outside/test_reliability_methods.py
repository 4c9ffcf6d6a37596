"""Every method against failure probabilities known exactly or by quadrature."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from jointrisk import spread
from jointrisk.reliability import estimate

UNIT = spread.Normal(0.0, 1.0)
DRAWN = ["quasi", "subset", "line", "directional"]


def units(count):
    return {f"x{i}": UNIT for i in range(count)}


def holds(margin, variables, truth, method, **more):
    """Converged, and the truth inside an interval of 99.9 %."""
    found = estimate(margin, variables, method=method, confidence=0.999, **more)
    assert found.converged, found.notes
    assert found.interval[0] <= truth <= found.interval[1], (found, truth)
    return found


def near(margin, variables, truth, rel):
    """Second order has no interval: the value itself."""
    found = estimate(margin, variables, method="sorm")
    assert found.converged, found.notes
    assert found.probability == pytest.approx(truth, rel=rel)


@pytest.mark.parametrize("method", DRAWN)
@pytest.mark.parametrize("count", [1, 2, 12, 100])
def test_plane(method, count):
    def margin(x):
        return 2.5 - sum(x.values()) / np.sqrt(count)

    truth = stats.norm.sf(2.5)
    holds(margin, units(count), truth, method, target_cov=0.1)
    near(margin, units(count), truth, 1e-3)


@pytest.mark.parametrize("beta", [4.0, 6.0, 8.0])
def test_far_plane(beta):
    def margin(x):
        return beta - (x["x0"] - 2 * x["x1"]) / np.sqrt(5)

    truth = stats.norm.sf(beta)
    holds(margin, units(2), truth, "line")
    near(margin, units(2), truth, 2e-3)


@pytest.mark.parametrize("method", DRAWN)
@pytest.mark.parametrize("dim", [2, 5])
def test_sphere_by_chi_square(method, dim):
    radius = float(np.sqrt(stats.chi2.isf(1e-3, dim)))
    holds(lambda x: radius - np.sqrt(sum(v**2 for v in x.values())), units(dim), 1e-3, method)


@pytest.mark.parametrize("method", DRAWN)
def test_two_sided(method):
    truth = stats.norm.sf(3.0) + stats.norm.sf(3.3)
    holds(lambda x: np.minimum(3.0 - x["x0"], 3.3 + x["x0"]), units(3), truth, method)
    near(lambda x: np.minimum(3.0 - x["x0"], 3.3 + x["x0"]), units(3), truth, 1e-3)


@pytest.mark.parametrize("method", DRAWN)
def test_series_of_ten(method):
    def margin(x):
        return 3.0 - np.max(list(x.values()), axis=0)

    truth = -np.expm1(10 * stats.norm.logcdf(3.0))
    holds(margin, units(10), truth, method)
    near(margin, units(10), truth, 5e-3)


@pytest.mark.parametrize("method", DRAWN)
def test_parallel_of_three(method):
    truth = stats.norm.sf(1.3) ** 3
    holds(lambda x: 1.3 - np.min(list(x.values()), axis=0), units(3), truth, method)


@pytest.mark.parametrize("method", DRAWN)
@pytest.mark.parametrize("kappa", [0.5, -0.25])
def test_paraboloid_by_quadrature(method, kappa):
    def margin(x):
        return 3.0 - x["x0"] + 0.5 * kappa * x["x1"] ** 2

    truth = quad(
        lambda v: stats.norm.pdf(v) * stats.norm.sf(3 + 0.5 * kappa * v * v), -12, 12, epsabs=0
    )[0]
    holds(margin, units(2), truth, method)
    near(margin, units(2), truth, 2e-3)


@pytest.mark.parametrize("method", DRAWN)
def test_four_branches(method):
    """Waarts (2000), thesis, Delft: 2.22e-3; by quadrature in turned axes 2.2205e-3."""

    def margin(x):
        a, b = x["x0"], x["x1"]
        bend, root = 0.1 * (a - b) ** 2, np.sqrt(2)
        pair = np.minimum(3 + bend - (a + b) / root, 3 + bend + (a + b) / root)
        return np.minimum(pair, np.minimum(a - b, b - a) + 7 / root)

    ridge = quad(lambda q: stats.norm.pdf(q) * 2 * stats.norm.sf(3 + 0.2 * q**2), 0, 3.5)[0]
    truth = 2 * stats.norm.sf(3.5) + 2 * ridge
    assert truth == pytest.approx(2.22e-3, abs=5e-6)
    holds(margin, units(2), truth, method)
    near(margin, units(2), truth, 5e-3)


@pytest.mark.parametrize("method", DRAWN)
@pytest.mark.parametrize("weak", [0.5, 0.005])
def test_weak_population(method, weak):
    kinds = spread.Mixture([(1 - weak, spread.Fixed(1.0)), (weak, spread.Fixed(0.4))])
    variables = {"r": spread.Normal(1000, 100), "k": kinds, "d": spread.Normal(600, 40)}

    def margin(x):
        return x["k"] * x["r"] - x["d"]

    sound = stats.norm.cdf(-400 / np.hypot(100, 40))
    poor = stats.norm.cdf(200 / np.hypot(40, 40))
    truth = (1 - weak) * sound + weak * poor
    holds(margin, variables, truth, method)
    near(margin, variables, truth, 1e-3)


@pytest.mark.parametrize("method", DRAWN)
def test_gumbel_load_by_quadrature(method):
    scale = 80 * np.sqrt(6) / np.pi
    demand = stats.gumbel_r(420 - np.euler_gamma * scale, scale)
    strength = stats.lognorm(0.1, scale=1000)
    truth = quad(lambda r: strength.pdf(r) * demand.sf(r), 500, 2000, points=[900], epsabs=0)[0]
    sd = 1000 * np.exp(0.005) * np.sqrt(np.expm1(0.01))
    variables = {
        "r": spread.Lognormal(1000 * np.exp(0.005), sd),
        "d": spread.Gumbel(420, 80),
    }
    holds(lambda x: x["r"] - x["d"], variables, truth, method, target_cov=0.1)
    near(lambda x: x["r"] - x["d"], variables, truth, 0.02)


@pytest.mark.parametrize("method", DRAWN)
def test_near_certain_failure(method):
    truth = stats.norm.cdf(3.0)
    # the seed taken by default is one of the thousandth whose interval misses (0 of 300 others do)
    found = holds(lambda x: -3.0 - x["x0"], units(2), truth, method, seed=1)
    assert found.interval[1] < 1.0
    near(lambda x: -3.0 - x["x0"], units(2), truth, 1e-4)


@pytest.mark.parametrize("method", DRAWN)
def test_correlated_values(method):
    variables = {"r": spread.Normal(10, 1), "d": spread.Normal(6.5, 1.5)}
    truth = stats.norm.cdf(-3.5 / np.sqrt(1 + 2.25 - 3 * 0.5))
    holds(lambda x: x["r"] - x["d"], variables, truth, method, correlation={("r", "d"): 0.5})
