"""Quick ways to a value or a tail, against the way through both probabilities."""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk import spread
from jointrisk.spread.base import Spread, either, neg_log

SCORES = np.concatenate([np.linspace(-37.0, 37.0, 2961), np.linspace(-1e-6, 1e-6, 11)])


@pytest.mark.parametrize(
    "ours",
    [
        spread.Uniform(-2.0, 5.0),
        spread.Uniform(0.0, 1e-3),
        spread.Triangular(0.0, 0.3, 0.8),
        spread.Triangular(0.0, 0.0, 2.0),
        spread.Triangular(-3.0, 2.0, 2.0),
        spread.Truncated(spread.Lognormal(0.02, 0.02), 0.0, 1.0),
        spread.Truncated(spread.Lognormal(0.3, 0.4), 0.0, 0.5),
        spread.Truncated(spread.Normal(0.0, 1.0), -2.0, 4.0),
        spread.Truncated(spread.Normal(0.0, 1.0), 0.5, 4.0),
        spread.Truncated(spread.Gumbel(620.0, 217.0), 0.0),
    ],
    ids=str,
)
@pytest.mark.parametrize("furthest", [4.0, 37.0])
def test_from_score_to_value_as_by_both_tails(ours: Spread, furthest: float) -> None:
    scores = SCORES[np.abs(SCORES) <= furthest]
    found = ours.from_normal(scores)
    wanted = Spread._from_normal(ours, scores)
    np.testing.assert_allclose(found, wanted, rtol=1e-12, atol=1e-15)


def test_one_tail_is_the_upper_of_both(any_spread: Spread) -> None:
    x = np.concatenate([any_spread.from_normal(np.linspace(-8.0, 30.0, 77)), [-1e9, 1e9, np.inf]])
    with np.errstate(all="ignore"):
        p, q = any_spread._tails(x)
        rate = neg_log(p, q)
    np.testing.assert_allclose(any_spread.sf(x), q, rtol=1e-12, atol=0.0)
    low = rate < 1.0  # beyond, the way by 1 - p loses digits
    found = any_spread.neg_log_cdf(x)
    np.testing.assert_allclose(found[low], rate[low], rtol=1e-11, atol=0.0)
    np.testing.assert_allclose(np.exp(-found), p, rtol=1e-9, atol=1e-300)


@pytest.mark.parametrize("z", [-6.0, 0.0, 30.0, 650.0, 699.9, 700.1, 720.0, 744.0])
def test_far_gumbel_tail_to_the_last_double(z: float) -> None:
    ours = spread.Gumbel(340.0, 51.0)
    x = np.array([ours.mode + z * ours.beta, ours.mode + 5.0 * ours.beta, np.inf])
    t = mpmath.exp(-(mpmath.mpf(x[0]) - mpmath.mpf(ours.mode)) / mpmath.mpf(ours.beta))
    grain = 5e-324  # a double this small has few digits
    assert ours.neg_log_cdf(x)[0] == pytest.approx(float(t), rel=1e-12, abs=grain)
    assert ours.sf(x)[0] == pytest.approx(float(-mpmath.expm1(-t)), rel=1e-12, abs=grain)
    assert ours.neg_log_cdf(x)[1] == pytest.approx(np.exp(-5.0))
    assert ours.sf(x)[2] == ours.neg_log_cdf(x)[2] == 0.0
    assert ours.neg_log_cdf(x[0]) == ours.neg_log_cdf(x)[0]


def test_largest_years_below_the_mode_keep_a_finite_rate() -> None:
    """−ln F = e^(−z) for the Gumbel spread, also where F is nearly 0."""
    ours = spread.Gumbel(340.0, 51.0)
    assert ours.neg_log_cdf(ours.mode - 5.0 * ours.beta) == pytest.approx(np.exp(5.0), rel=1e-12)
    assert spread.Uniform(0.0, 1.0).neg_log_cdf(-1.0) == np.inf
    assert np.isnan(ours.neg_log_cdf(np.nan))


@settings(max_examples=30, deadline=None)
@given(st.lists(st.booleans(), max_size=9))
def test_either_is_where(first: list[bool]) -> None:
    mask = np.array(first, dtype=bool)
    np.testing.assert_array_equal(either(mask, -np.inf, 2.0), np.where(mask, -np.inf, 2.0))
