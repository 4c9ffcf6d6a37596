"""Spreads of every family, for tests that hold for all of them."""

from __future__ import annotations

import numpy as np
import pytest

from jointrisk import spread

CONTINUOUS = {
    "normal": spread.Normal(3.0, 2.0),
    "lognormal": spread.Lognormal(25.0, 2.5),
    "weibull": spread.Weibull(8.0, 25.0),
    "weibull shifted": spread.Weibull(2.0, 25.0, shift=5.0),
    "gumbel": spread.Gumbel(800.0, 160.0),
    "gumbel min": spread.GumbelMin(25.0, 3.0),
    "uniform": spread.Uniform(0.1, 0.3),
    "triangular": spread.Triangular(0.05, 0.2, 0.3),
    "triangular, mode low": spread.Triangular(0.1, 0.1, 0.3),
    "triangular, mode high": spread.Triangular(0.1, 0.3, 0.3),
    "exponential": spread.Exponential(2.0),
    "gamma": spread.Gamma(25.0, 5.0),
    "beta": spread.Beta(0.0, 1.0, 0.3, 0.1),
    "student": spread.StudentT(1.0, 2.0, 5.0),
    "frechet": spread.Frechet(4.0, 2.0),
    "truncated": spread.Truncated(spread.Normal(0.2, 0.1), low=0.0),
    "scaled": spread.Scaled(spread.Weibull(3.0, 10.0), 2.5, -4.0),
    "truncated twice": spread.Truncated(spread.Gamma(25.0, 5.0), low=20.0, high=40.0),
    "mixture": spread.Mixture(
        [(0.005, spread.Lognormal(5.0, 1.0)), (0.995, spread.Lognormal(25.0, 2.5))]
    ),
    "maximum": spread.MaximumOf(spread.Gumbel(800.0, 160.0), 12.5),
}

WITH_ATOMS = {
    "fixed": spread.Fixed(3.0),
    "label": spread.Mixture([(0.3, spread.Fixed(0.0)), (0.7, spread.Fixed(1.0))]),
    "empirical": spread.Empirical([3.0, 1.0, 2.0, 2.0, 8.0]),
    "events": spread.MaximumOfEvents(spread.Gumbel(800.0, 160.0), 3.0),
    "atom and body": spread.Mixture([(0.3, spread.Fixed(0.0)), (0.7, spread.Lognormal(1.0, 0.5))]),
    "atom inside": spread.Mixture([(0.2, spread.Fixed(1.0)), (0.8, spread.Uniform(0.0, 2.0))]),
    "largest of labels": spread.MaximumOf(spread.Empirical([1.0, 2.0, 4.0]), 3.0),
    "cut through atoms": spread.Truncated(spread.Empirical([1.0, 2.0, 4.0, 9.0]), 2.0, 5.0),
}

ALL = {**CONTINUOUS, **WITH_ATOMS}

SCORES = np.array([-6.0, -2.0, -0.5, 0.0, 0.7, 2.5, 6.0])


@pytest.fixture(params=sorted(CONTINUOUS))
def continuous(request: pytest.FixtureRequest) -> spread.Spread:
    """Return each spread without atoms in turn."""
    return CONTINUOUS[request.param]


@pytest.fixture(params=sorted(ALL))
def any_spread(request: pytest.FixtureRequest) -> spread.Spread:
    """Return each spread in turn."""
    return ALL[request.param]
