"""Strength less load for every family of spread, against one-dimensional quadrature.

The chance is the integral of the load's density times the strength's distribution
function, both from scipy.stats: no code is shared.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from jointrisk import spread
from jointrisk.reliability import estimate


def gumbel(mean, sd):
    scale = sd * np.sqrt(6) / np.pi
    return stats.gumbel_r(mean - np.euler_gamma * scale, scale)


def lognormal(mean, sd):
    log_sd = np.sqrt(np.log1p((sd / mean) ** 2))
    return stats.lognorm(log_sd, scale=mean / np.exp(log_sd**2 / 2))


STRENGTHS = {
    "normal": (spread.Normal(100, 10), stats.norm(100, 10)),
    "lognormal": (spread.Lognormal(100, 10), lognormal(100, 10)),
    "weibull": (spread.Weibull(12, 100), stats.weibull_min(12, scale=100)),
    "weibull shifted": (
        spread.Weibull(3, 40, shift=60),
        stats.weibull_min(3, loc=60, scale=40),
    ),
    "gamma": (spread.Gamma(100, 12), stats.gamma((100 / 12) ** 2, scale=12**2 / 100)),
    "uniform": (spread.Uniform(70, 130), stats.uniform(70, 60)),
    "triangular": (
        spread.Triangular(60, 100, 130),
        stats.triang((100 - 60) / 70, loc=60, scale=70),
    ),
    "student": (spread.StudentT(100, 8, 9), stats.t(9, 100, 8)),
}
LOADS = {
    "gumbel": (spread.Gumbel(50, 6), gumbel(50, 6)),
    "lognormal": (spread.Lognormal(50, 7), lognormal(50, 7)),
    "exponential": (spread.Exponential(45, shift=40), stats.expon(40, 5)),
    "normal": (spread.Normal(50, 8), stats.norm(50, 8)),
}


NODES, WEIGHTS = np.polynomial.legendre.leggauss(12)


def integral(function, low, high):
    """Gauss-Legendre over panels one unit wide: every kink of the families is a whole number."""
    middles = np.arange(low, high) + 0.5
    return 0.5 * (WEIGHTS * function(middles[:, None] + 0.5 * NODES)).sum()


def exact(strength, load):
    return integral(lambda x: load.pdf(x) * strength.cdf(x), 1, 400)


@pytest.mark.parametrize("load", LOADS)
@pytest.mark.parametrize("strength", STRENGTHS)
def test_strength_less_load(strength, load):
    (ours_r, theirs_r), (ours_d, theirs_d) = STRENGTHS[strength], LOADS[load]
    found = estimate(
        lambda x: x["r"] - x["d"], {"r": ours_r, "d": ours_d}, confidence=0.9995, seed=0
    )
    truth = exact(theirs_r, theirs_d)
    assert found.converged, found.notes
    assert found.interval[0] <= truth <= found.interval[1], (found.probability, truth)
    assert found.probability == pytest.approx(truth, rel=0.25)


@pytest.mark.parametrize("load", LOADS)
def test_strength_with_a_lower_limit_of_its_own(load):
    """A truncated strength: no part below 80 leaves the shop."""
    ours, theirs = LOADS[load]
    kept = stats.truncnorm(-2, np.inf, 100, 10)
    found = estimate(
        lambda x: x["r"] - x["d"],
        {"r": spread.Truncated(spread.Normal(100, 10), low=80), "d": ours},
        confidence=0.9995,
    )
    truth = integral(lambda x: theirs.pdf(x) * kept.cdf(x), 80, 400)
    assert found.interval[0] <= truth <= found.interval[1], (found.probability, truth)


def test_two_makes_of_strength_as_a_continuous_mixture():
    ours = spread.Mixture([(0.98, spread.Normal(100, 8)), (0.02, spread.Normal(60, 6))])
    load = gumbel(45, 4)
    found = estimate(
        lambda x: x["r"] - x["d"], {"r": ours, "d": spread.Gumbel(45, 4)}, confidence=0.9995
    )
    truth = sum(w * exact(stats.norm(m, s), load) for w, m, s in ((0.98, 100, 8), (0.02, 60, 6)))
    assert found.interval[0] <= truth <= found.interval[1]


def test_measured_values_as_they_are():
    values = np.array([61.0, 72.0, 80.0, 85.0, 91.0, 97.0, 103.0])
    load = stats.norm(50, 5)
    found = estimate(
        lambda x: x["r"] - x["d"],
        {"r": spread.Empirical(values), "d": spread.Normal(50, 5)},
        confidence=0.9995,
    )
    ours = spread.Empirical(values)
    grid = (np.arange(200_000) + 0.5) / 200_000
    truth = load.sf(ours.ppf(grid)).mean()
    assert found.interval[0] <= truth <= found.interval[1]


@pytest.mark.parametrize("coefficient", [-0.6, 0.0, 0.6])
def test_tied_scores_by_two_dimensional_quadrature(coefficient):
    """Lognormal strength and Gumbel load whose normal scores are correlated."""
    strength, load = lognormal(100, 10), gumbel(50, 6)

    def given(z):
        """Chance that the strength is below the load, given the load's score."""
        at = load.isf(stats.norm.sf(z))
        score = stats.norm.ppf(strength.cdf(at))
        return stats.norm.cdf((score - coefficient * z) / np.sqrt(1 - coefficient**2))

    truth = quad(
        lambda z: stats.norm.pdf(z) * given(z), -6, 8, points=[0, 2, 4, 6], epsabs=0, limit=400
    )[0]
    found = estimate(
        lambda x: x["r"] - x["d"],
        {"r": spread.Lognormal(100, 10), "d": spread.Gumbel(50, 6)},
        correlation={("r", "d"): coefficient},
        correlation_of="scores",
        confidence=0.9995,
    )
    assert found.interval[0] <= truth <= found.interval[1], (found.probability, truth)
