"""Intervals hold their confidence over seeds and are not wide for it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr, ndtri

from jointrisk.errors import InputError
from jointrisk.reliability.interval import (
    Sums,
    clopper_pearson,
    ratio_interval,
    stratified_interval,
    sums_of,
    weighted_interval,
    weighted_quantile,
)

SEEDS = 2000


def judged(bounds, truth, *, least=0.93, widest=1.3):
    """Coverage over seeds, and half width against the scatter of the estimates."""
    estimate, low, high, _ = np.array(bounds).T
    held = np.mean((low <= truth) & (truth <= high))
    assert held >= least, f"{100 * held:.1f} % of the intervals hold {truth:g}"
    half = np.median(high - low) / 2.0
    assert half <= widest * 1.96 * estimate.std(), f"half width {half:g}"


def shifted(rng, n, beta):
    """Weighted terms of a normal tail: four fifths shifted to it, one fifth plain."""
    component = np.repeat([0, 1], [n - n // 5, n // 5])
    u = rng.standard_normal(n) + beta * (component == 0)
    weight = 1.0 / (0.8 * np.exp(beta * u - beta**2 / 2) + 0.2)
    return u, weight, component


@pytest.mark.parametrize(("n", "p"), [(1000, 0.02), (400, 0.1), (300, 0.5)])
def test_weighted_interval_holds_for_plain_counts(n, p):
    rng = np.random.default_rng(1)
    found = [weighted_interval((rng.random(n) < p) * 1.0) for _ in range(SEEDS)]
    judged(found, p)


@pytest.mark.parametrize(("n", "beta"), [(100, 3.0), (400, 4.0)])
def test_weighted_interval_holds_for_importance_weights(n, beta):
    rng = np.random.default_rng(2)
    found = []
    for _ in range(SEEDS):
        u, weight, component = shifted(rng, n, beta)
        found.append(weighted_interval(weight * (u > beta), component))
    judged(found, ndtr(-beta))


@pytest.mark.parametrize("sigma", [0.5, 1.0])
def test_weighted_interval_holds_for_skewed_terms(sigma):
    rng = np.random.default_rng(3)
    terms = np.exp(sigma * rng.standard_normal((SEEDS, 150)) - sigma**2 / 2)
    judged([weighted_interval(row) for row in terms], 1.0)


def test_ratio_interval_holds_and_uses_the_covariance():
    rng = np.random.default_rng(4)
    found = []
    for _ in range(SEEDS):
        u, weight, component = shifted(rng, 400, 2.0)
        whole = weight * (u > 1.0)
        part = whole * (u > 2.0)
        found.append(ratio_interval(part, whole, component))
    judged(found, ndtr(-2.0) / ndtr(-1.0))


@pytest.mark.parametrize("q", [0.001, 0.05])
def test_weighted_quantile_holds(q):
    rng = np.random.default_rng(5)
    found = []
    for _ in range(300):
        u, weight, component = shifted(rng, 500, 3.0)
        found.append(weighted_quantile(-u, weight, q, component))
    judged(found, ndtri(q), least=0.92)


@pytest.mark.parametrize("spread", [0.01, 0.1, 0.5])
def test_smooth_terms_have_an_interval_as_narrow_as_their_scatter(spread):
    """Nearly equal chances: what the largest adds to a count would be far too much."""
    rng = np.random.default_rng(8)
    terms = 1.0 + spread * rng.uniform(-1.0, 1.0, (SEEDS, 100))
    whole = np.full(1, 0.01)
    judged([stratified_interval(sums_of(row), whole, smooth=True) for row in terms], 1.0)


def test_smooth_is_only_about_what_the_largest_adds():
    terms = np.r_[np.ones(3), np.zeros(997)]
    scale = np.full(1, 1e-3)
    counted, smooth = (stratified_interval(sums_of(terms), scale, smooth=s) for s in (False, True))
    assert counted.standard_error == smooth.standard_error
    assert smooth[:3] == pytest.approx(counted[:3], rel=2e-3)


def test_smooth_terms_all_alike_have_no_width():
    found = stratified_interval(sums_of(np.full(50, 0.3)), np.full(1, 0.02), smooth=True)
    assert found.low == found.estimate == found.high == pytest.approx(0.3)
    counted = stratified_interval(sums_of(np.full(50, 0.3)), np.full(1, 0.02))
    assert counted.low < counted.estimate < counted.high


def test_lone_smooth_term_is_not_taken_as_certain():
    sums = sums_of(np.array([1.0, 0.5, 0.5]), np.array([0, 1, 1]))
    found = stratified_interval(sums, np.full(2, 1 / 3), smooth=True)
    assert found.high > 1.3 * found.estimate


def test_variance_is_taken_inside_components():
    terms = np.r_[np.full(50, 1.0), np.full(50, 3.0)]
    split = weighted_interval(terms, np.repeat([0, 1], 50))
    mixed = weighted_interval(terms)
    assert split.standard_error == 0.0
    assert mixed.standard_error == pytest.approx(terms.std(ddof=1) / 10)
    assert split.high - split.low < mixed.high - mixed.low


def test_component_of_one_draw_is_not_taken_as_certain():
    alone = weighted_interval(np.array([1.0, 0.0, 0.0]), np.array([0, 1, 1]))
    assert alone.standard_error == pytest.approx(1 / 3)


def test_zero_terms_give_an_upper_bound_from_the_largest_weight():
    found = weighted_interval(np.zeros(100), largest=5.0)
    assert found[:2] == (0.0, 0.0)
    assert found.high == pytest.approx(5.0 * clopper_pearson(0, 100)[1])


def test_ratio_with_zero_numerator_has_an_upper_bound():
    found = ratio_interval(np.zeros(100), np.full(100, 2.0))
    assert found.high == pytest.approx(clopper_pearson(0, 100)[1])


def test_ratio_with_zero_denominator_is_undefined():
    assert np.all(np.isnan(ratio_interval(np.zeros(5), np.zeros(5))))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(0, 10), min_size=2, max_size=60),
    st.floats(0.5, 0.99),
    st.floats(1e-30, 1e30),
)
def test_interval_encloses_the_mean_and_scales_with_the_unit(terms, confidence, unit):
    terms = np.array(terms)
    terms[terms < 1e-3] = 0.0
    found = weighted_interval(terms, confidence=confidence, largest=1.0)
    assert found.low <= found.estimate <= found.high
    assert found.estimate == pytest.approx(terms.mean())
    scaled = weighted_interval(unit * terms, confidence=confidence, largest=unit)
    np.testing.assert_allclose(scaled, np.array(found) * unit, rtol=1e-6, atol=1e-7 * unit)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 50), st.integers(1, 50), st.floats(0.5, 0.95))
def test_more_confidence_is_never_narrower(failures, more, confidence):
    n = failures + more
    low, high = clopper_pearson(failures, n, confidence)
    wide_low, wide_high = clopper_pearson(failures, n, 0.5 + 0.5 * confidence)
    assert wide_low <= low <= failures / n <= high <= wide_high


def test_tiny_terms_keep_their_interval():
    terms = np.r_[np.full(50, 1e-200), np.zeros(50)]
    found = weighted_interval(terms)
    assert 0 < found.low < found.estimate < found.high < 2e-200


def test_sums_of_parts_add_up_to_the_sums_of_the_whole():
    rng = np.random.default_rng(6)
    terms, component = rng.random(90), rng.integers(0, 3, 90)
    whole = sums_of(terms, component, 3)
    parts = sums_of(terms[:40], component[:40], 3).plus(sums_of(terms[40:], component[40:], 3))
    for one, other in zip(whole, parts, strict=True):
        np.testing.assert_allclose(one, other)


def test_strata_of_known_shares():
    sums = Sums(
        counts=np.array([100.0, 100.0]),
        sums=np.array([50.0, 1.0]),
        squares=np.array([50.0, 1.0]),
        maxima=np.array([1.0, 1.0]),
    )
    found = stratified_interval(sums, np.array([0.01, 0.99]) / 100)
    assert found.estimate == pytest.approx(0.01 * 0.5 + 0.99 * 0.01)
    variance = (0.01**2 * 0.25 + 0.99**2 * 0.0099) / 99
    assert found.standard_error == pytest.approx(np.sqrt(variance), rel=1e-6)


def test_quantile_of_equal_weights_is_the_order_statistic():
    values = np.random.default_rng(7).permutation(np.arange(1.0, 101.0))
    found = weighted_quantile(values, np.ones(100), 0.05)
    assert found.estimate == 5.0
    assert found.low < 5.0 < found.high


def test_quantile_out_of_reach_has_an_open_end():
    found = weighted_quantile(np.arange(10.0), np.ones(10), 0.001)
    assert found.low == -np.inf
    assert found.estimate == 0.0


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: clopper_pearson(5, 4), "5 of 4"),
        (lambda: clopper_pearson(0, 0), "0 of 0"),
        (lambda: clopper_pearson(1, 4, 1.0), "got 1"),
        (lambda: weighted_interval([]), r"\(0,\)"),
        (lambda: weighted_interval([1.0, -2.0]), "-2"),
        (lambda: weighted_interval([1.0, np.nan]), "nan"),
        (lambda: weighted_interval([1.0, np.inf]), "inf"),
        (lambda: weighted_interval([1.0, 2.0], np.array([0])), r"\(1,\)"),
        (lambda: ratio_interval([1.0, 2.0], [1.0]), r"\(2,\) and \(1,\)"),
        (lambda: weighted_quantile([1.0], [1.0], 1.5), "1.5"),
        (lambda: weighted_quantile([np.nan], [1.0], 0.5), "1 NaN"),
        (lambda: weighted_quantile([1.0, 2.0], [1.0], 0.5), r"\(2,\)"),
    ],
)
def test_bad_arguments_are_refused_with_their_value(call, told):
    with pytest.raises(InputError, match=told):
        call()
