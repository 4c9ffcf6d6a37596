"""Screening against the truncation formula and quadrature with rig error and bias."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from jointrisk import spread
from jointrisk.reliability import screen, smallest_load

LOADS = np.array([700.0, 850.0, 1000.0])
SCALE = 80 * np.sqrt(6) / np.pi
DEMAND = stats.gumbel_r(400 - np.euler_gamma * SCALE, SCALE)
VARIABLES = {"r": spread.Normal(1000, 100), "d": spread.Gumbel(400, 80)}


def inside(values, intervals):
    low, high = np.array(intervals).T
    assert np.all((low <= values) & (values <= high)), (values, intervals)


def screened(**change):
    settings = {"loads": LOADS, "confidence": 0.9995}
    return screen(lambda x: x["r"] - x["d"], lambda x: x["r"], VARIABLES, **(settings | change))


def exact(hold, start):
    """Chance of failure after, and of refusal, by quadrature over the strength."""
    strength = stats.norm(1000, 100)
    knots = [point for point in (700, 850, 1000, 1150) if start < point]
    options = {"points": knots, "epsabs": 0, "limit": 400}
    both = quad(lambda r: strength.pdf(r) * DEMAND.sf(r) * hold(r), start, 1900, **options)[0]
    held = quad(lambda r: strength.pdf(r) * hold(r), start, 1900, **options)[0]
    return both / held, 1 - held


def test_perfect_pull_is_the_truncation_formula():
    """P(R < r | held p) = [F(r) - F(p)] / [1 - F(p)], F a Weibull strength."""
    strength = stats.weibull_min(10.0, scale=1000.0)
    limit = 900.0
    found = screen(
        lambda x: x["r"] - limit,
        lambda x: x["r"],
        {"r": spread.Weibull(10.0, 1000.0)},
        loads=[500.0, 700.0, 880.0],
        confidence=0.9995,
    )
    below, pulled = strength.cdf(limit), strength.cdf(found.loads)
    inside((below - pulled) / (1 - pulled), found.fail_after_interval)
    inside(pulled, found.reject_interval)
    inside(below, [found.fail_before_interval])


def test_perfect_pull_against_a_gumbel_load():
    found = screened()
    truth = np.array([exact(lambda _r: 1.0, load) for load in LOADS])
    inside(truth[:, 0], found.fail_after_interval)
    inside(truth[:, 1], found.reject_interval)


@pytest.mark.parametrize(("error", "bias"), [(0.04, 0.0), (0.0, 0.04), (0.03, 0.05)])
def test_rig_error_and_bias_by_quadrature(error, bias):
    """For one pull of one part, own error and bias act as one normal error."""
    found = screened(rig_error_cov=error, rig_bias_sd=bias)
    total = np.hypot(error, bias)
    truth = np.array(
        [exact(lambda r, p=load: stats.norm.cdf((r / p - 1) / total), 0.0) for load in LOADS]
    )
    inside(truth[:, 0], found.fail_after_interval)
    inside(truth[:, 1], found.reject_interval)


def test_two_pulls_share_the_bias():
    """Refusal of at least one of two: quadrature over the shared bias."""
    bias, error, load = 0.06, 0.02, 900.0
    found = screen(
        lambda x: np.minimum(x["a"], x["b"]) - x["d"],
        lambda x: np.vstack([x["a"], x["b"]]),
        {"a": spread.Normal(1000, 100), "b": spread.Normal(1000, 100), "d": spread.Gumbel(400, 80)},
        loads=[load],
        rig_error_cov=error,
        rig_bias_sd=bias,
        confidence=0.9995,
    )

    def hold(b):
        return stats.norm.sf((load * (1 + b) - 1000) / np.hypot(100, load * error))

    both = quad(lambda z: stats.norm.pdf(z) * hold(bias * z) ** 2, -8, 8)[0]
    each = quad(lambda z: stats.norm.pdf(z) * hold(bias * z), -8, 8)[0]
    inside(1 - both, found.reject_interval)
    inside(1 - each, found.reject_each_interval)
    assert 1 - both < 1 - each**2 - 0.005


def test_mixed_population_by_closed_form():
    weak, load = 0.005, 600.0
    kinds = spread.Mixture([(1 - weak, spread.Fixed(1.0)), (weak, spread.Fixed(0.5))])
    found = screen(
        lambda x: x["k"] * x["r"] - 550.0,
        lambda x: x["k"] * x["r"],
        {"k": kinds, "r": spread.Lognormal(1000, 100)},
        loads=[load],
        is_weak=lambda x: x["k"] < 1,
        rig_error_cov=0.0,
        confidence=0.9995,
    )
    sd = np.sqrt(np.log1p(0.01))
    strength = stats.lognorm(sd, scale=1000 / np.exp(sd**2 / 2))
    inside(strength.cdf(load / 0.5), found.reject_weak_interval)
    inside(strength.cdf(load), found.reject_sound_interval)
    before = (1 - weak) * strength.cdf(550.0) + weak * strength.cdf(1100.0)
    inside(before, [found.fail_before_interval])
    assert found.fail_after[0] == 0.0


def test_smallest_load_solves_the_truncation_formula():
    """[F(r) - F(p)] / [1 - F(p)] = target has one root p."""
    strength = stats.norm(1000, 100)
    limit, target = 850.0, 0.01
    root = strength.ppf((strength.cdf(limit) - target) / (1 - target))
    found = smallest_load(
        lambda x: x["r"] - limit,
        lambda x: x["r"],
        {"r": spread.Normal(1000, 100)},
        target=target,
        target_cov=0.02,
    )
    assert found.load == pytest.approx(root, rel=4e-3)
    assert found.floor == pytest.approx(0.0, abs=1e-12)
    assert found.windows[0][1] == found.highest


def test_ageing_unseen_by_the_pull_leaves_a_floor():
    """Strength in service is the pulled strength times an ageing factor of its own."""
    found = smallest_load(
        lambda x: x["r"] * x["age"] - 400.0,
        lambda x: x["r"],
        {"r": spread.Normal(1000, 100), "age": spread.Uniform(0.3, 0.9)},
        target=1e-4,
        max_reject=0.10,
    )
    top = stats.norm(1000, 100).ppf(0.10)
    assert found.highest == pytest.approx(top, rel=5e-3)
    assert not found.reachable

    def fails(r):
        return np.clip((400 / r - 0.3) / 0.6, 0, 1)

    floor = quad(lambda r: stats.norm(1000, 100).pdf(r) * fails(r), top, 1600)[0] / 0.9
    assert found.floor == pytest.approx(floor, rel=0.05)
