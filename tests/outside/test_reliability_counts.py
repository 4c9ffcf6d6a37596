"""Intervals against scipy.stats, and success-run figures every handbook prints."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from jointrisk.reliability.interval import clopper_pearson, weighted_interval, weighted_quantile


@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.999])
@pytest.mark.parametrize(("failures", "n"), [(0, 10), (1, 10), (5, 10), (10, 10), (3, 16_384)])
def test_clopper_pearson_is_scipy_s_exact_interval(failures, n, confidence):
    exact = stats.binomtest(failures, n).proportion_ci(confidence, method="exact")
    assert clopper_pearson(failures, n, confidence) == pytest.approx((exact.low, exact.high))


@pytest.mark.parametrize(("parts", "survives"), [(29, 0.90), (59, 0.95), (299, 0.99)])
def test_success_run_at_95_percent(parts, survives):
    """Zero-failure demonstration: 29 parts show 90 %, 59 show 95 %, 299 show 99 %.

    The one-sided 95 % bound is the upper end of the two-sided 90 % interval.
    """
    assert clopper_pearson(0, parts, 0.90)[1] <= 1 - survives
    assert clopper_pearson(0, parts - 1, 0.90)[1] > 1 - survives


@pytest.mark.parametrize("failures", [1, 4, 30])
def test_unit_weights_give_the_exact_poisson_interval(failures):
    """Fay & Feuer's interval becomes Garwood's (1936) when all weights are one."""
    n = 2_000_000
    terms = np.zeros(n)
    terms[:failures] = 1.0
    found = weighted_interval(terms)
    low = stats.chi2.ppf(0.025, 2 * failures) / 2
    high = stats.chi2.ppf(0.975, 2 * (failures + 1)) / 2
    assert (found.low * n, found.high * n) == pytest.approx((low, high), rel=1e-4)


def test_many_terms_give_the_normal_interval():
    terms = np.random.default_rng(0).gamma(4.0, size=200_000)
    found = weighted_interval(terms)
    normal = stats.norm.interval(0.95, terms.mean(), stats.sem(terms))
    assert (found.low, found.high) == pytest.approx(normal, rel=1e-4)


@pytest.mark.parametrize("q", [0.01, 0.1, 0.5])
def test_quantile_interval_agrees_with_order_statistics(q):
    values = np.random.default_rng(1).standard_normal(1000)
    exact = stats.quantile_test(values, q=stats.norm.ppf(q), p=q).confidence_interval(0.95)
    found = weighted_quantile(values, np.ones(1000), q)
    width = exact.high - exact.low
    assert found.low == pytest.approx(exact.low, abs=0.4 * width)
    assert found.high == pytest.approx(exact.high, abs=0.4 * width)
