"""A spread stretched and moved: against the closed form of the family it leads to, and scipy."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from jointrisk import spread
from jointrisk.errors import InputError

X = np.array([-3.0, 0.5, 2.0, 7.0, 11.0])


@pytest.mark.parametrize(
    ("scaled", "same"),
    [
        (spread.Scaled(spread.Normal(2.0, 0.5), 3.0, 1.0), spread.Normal(7.0, 1.5)),
        (spread.Scaled(spread.Lognormal(2.0, 0.5), 3.0), spread.Lognormal(6.0, 1.5)),
        (spread.Scaled(spread.Gumbel(2.0, 0.5), 0.5, -1.0), spread.Gumbel(0.0, 0.25)),
        (spread.Scaled(spread.Uniform(0.0, 1.0), 4.0, 2.0), spread.Uniform(2.0, 6.0)),
        (spread.Scaled(spread.Weibull(3.0, 10.0), 2.0, -4.0), spread.Weibull(3.0, 20.0, -4.0)),
        (spread.Scaled(spread.Fixed(3.0), 2.0, 1.0), spread.Fixed(7.0)),
    ],
)
def test_within_a_family_it_is_another_of_the_family(scaled, same):
    for name in ("mean", "sd"):
        assert getattr(scaled, name) == pytest.approx(getattr(same, name), abs=1e-12)
    for name in ("cdf", "sf"):
        assert getattr(scaled, name)(X) == pytest.approx(getattr(same, name)(X), abs=1e-15)
    q = np.array([1e-9, 0.02, 0.5, 0.97])
    for name in ("ppf", "isf"):
        assert getattr(scaled, name)(q) == pytest.approx(getattr(same, name)(q), rel=1e-12)
    scores = np.array([-8.0, 0.3, 8.0])
    assert scaled.from_normal(scores) == pytest.approx(same.from_normal(scores), rel=1e-12)


def test_density_and_scores_against_scipy():
    scaled = spread.Scaled(spread.Gamma(4.0, 2.0), 2.5, -3.0)
    law = stats.gamma(4.0, loc=-3.0, scale=2.5)
    assert scaled.pdf(X) == pytest.approx(law.pdf(X), rel=1e-10)
    assert scaled.logpdf(X[1:]) == pytest.approx(law.logpdf(X[1:]), rel=1e-10)
    assert scaled.to_normal(X[1:]) == pytest.approx(stats.norm.ppf(law.cdf(X[1:])), rel=1e-9)


@given(factor=st.floats(1e-3, 1e3), shift=st.floats(-1e3, 1e3), score=st.floats(-6.0, 6.0))
def test_it_is_the_base_stretched_and_moved(factor, shift, score):
    base = spread.Lognormal(3.0, 1.0)
    scaled = spread.Scaled(base, factor, shift)
    moved = factor * float(base.from_normal(score)) + shift
    assert float(scaled.from_normal(score)) == pytest.approx(moved, rel=1e-12, abs=1e-9)
    assert scaled.mean == pytest.approx(factor * base.mean + shift)
    assert scaled.sd == pytest.approx(factor * base.sd)


def test_atoms_move_along():
    scaled = spread.Scaled(spread.Mixture([(0.3, spread.Fixed(1.0)), (0.7, spread.Normal(5, 1))]),
                           2.0, 10.0)  # fmt: skip
    assert float(scaled.cdf(12.0) - scaled.cdf(12.0 - 1e-6)) == pytest.approx(0.3, abs=1e-3)


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: spread.Scaled(spread.Normal(0.0, 1.0), 0.0), r"factor.*above 0.*got 0"),
        (lambda: spread.Scaled(spread.Normal(0.0, 1.0), -2.0), r"factor.*above 0.*got -2"),
        (lambda: spread.Scaled(spread.Normal(0.0, 1.0), np.inf), r"factor.*finite.*inf"),
        (lambda: spread.Scaled(spread.Normal(0.0, 1.0), 1.0, np.nan), r"shift.*finite.*nan"),
        (lambda: spread.Scaled(3.0), r"base"),
    ],
)
def test_what_is_no_stretch_is_refused(call, match):
    with pytest.raises(InputError, match=match):
        call()


def test_it_says_what_it_is():
    scaled = spread.Scaled(spread.Normal(2.0, 0.5), 3.0, 1.0)
    assert str(scaled).startswith("3 times (")
    assert str(scaled).endswith("plus 1")
    assert scaled.parameters["factor"] == 3.0
    assert scaled.parameters["shift"] == 1.0
