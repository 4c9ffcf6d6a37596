"""Loss by damp, the scatter of it, steady loads, and a life in slices."""

import math

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import integrate, stats

from jointrisk.errors import InputError
from jointrisk.mechanics import ageing, environment

modest = settings(deadline=None, max_examples=100)
unit = st.floats(0, 1)


# Loss and its scatter -------------------------------------------------------------------------


def test_loss_of_the_aluminium_lap_joints():
    """Review of aluminium lap joints, abstract: 40 to 60 % left at 100 % humidity after a fall
    of about 2000 h, then steady to 10 000 h; no loss at 50 %. Years of 8766 h."""
    age = np.array([2000, 10_000]) / 8766
    wet = ageing.loss_reached(age, 1.0, 0.5, 2000 / 8766)
    assert 0.6 * 0.5 < wet[0] < 0.5
    assert 0.4 < wet[1] < 0.6
    assert_allclose(ageing.loss_reached(age, 0.5, 0.5, 2000 / 8766), 0)


@modest
@given(st.floats(0, 100), unit, unit, st.floats(0.01, 10), st.floats(0, 10))
def test_loss_is_what_the_moisture_factor_leaves_out(time, damp, left, constant, more):
    loss = ageing.loss_reached(time, damp, left, constant)
    kept = environment.moisture_factor(time, constant, damp, left)
    assert loss + kept == pytest.approx(1)
    assert 0 <= loss <= 1 - left + 1e-12
    assert ageing.loss_reached(time + more, damp, left, constant) >= loss - 1e-12
    assert 0 <= ageing.ageing_scatter(loss, 1 - left) <= math.sqrt(math.log1p(0.18**2))


def test_scatter_grows_from_10_to_21_percent():
    """Escobar, Meeker, Kugler and Kramer 2003: CoV 10 % when new, 21 % after ageing at 50 degC.
    Independent lognormal factors: variances of the logs add."""
    new = math.log1p(0.10**2)
    aged = math.sqrt(math.expm1(new + ageing.ageing_scatter(0.5, 0.5) ** 2))
    assert aged == pytest.approx(0.21, abs=0.005)


@modest
@given(st.floats(0, 1), st.floats(0.01, 1), st.floats(0.01, 1.0))
def test_the_factor_has_the_coefficient_of_variation_asked_for(part, full, cov):
    sd = ageing.ageing_scatter(part * full, full, cov=cov)
    if part * cov < 1e-6:
        assert sd == pytest.approx(part * cov, abs=1e-11)
    else:
        factor = stats.lognorm(s=sd)
        assert factor.median() == 1
        assert factor.std() / factor.mean() == pytest.approx(part * cov, rel=1e-6)


def test_what_does_not_age_does_not_scatter():
    assert_allclose(ageing.ageing_scatter([0.0, 0.0, 0.2], [0.0, 0.5, 0.5], cov=[0.3, 0.3, 0]), 0)


# Steady load ----------------------------------------------------------------------------------


def test_sustained_ratio_takes_either_sign_and_no_strength():
    found = ageing.sustained_ratio([300.0, -300.0, 0.0, 5.0, 0.0], [1200.0, 1200.0, 1200.0, 0, 0])
    assert_allclose(found, [0.25, 0.25, 0, math.inf, 0])


def test_the_allowed_share_is_allowed_and_half_is_not():
    """Literature, from memory: 0.3 or less in general, failures within days at half."""
    found = ageing.sustained_too_high([0.0, 0.25, 0.2500001, 0.5, math.inf])
    assert found.tolist() == [False, False, True, True, True]
    assert ageing.sustained_too_high(0.4, allowed=[0.3, 0.4, 0.5]).tolist() == [True, False, False]


@modest
@given(st.floats(-1e5, 1e5), st.floats(1, 1e5), st.floats(0.1, 10), st.floats(0.01, 1))
def test_the_ratio_has_no_unit(load, strength, scale, allowed):
    ratio = ageing.sustained_ratio(load, strength)
    assert ageing.sustained_ratio(load * scale, strength * scale) == pytest.approx(ratio)
    assert ageing.sustained_ratio(load, strength * 2) == pytest.approx(ratio / 2)
    stricter = ageing.sustained_too_high(ratio, allowed=allowed / 2)
    assert stricter >= ageing.sustained_too_high(ratio, allowed=allowed)


# Slices ---------------------------------------------------------------------------------------


def test_slices_are_judged_at_their_end():
    edges = ageing.slice_edges(6.0, 4)
    assert_allclose(edges, [0, 1.5, 3, 4.5, 6])
    strength_at = edges[1:]
    assert strength_at[-1] == 6.0
    assert_allclose(ageing.slice_edges(7, np.int64(1)), [0, 7])


@modest
@given(st.floats(1e-3, 200), st.integers(1, 60))
def test_slices_make_up_the_life(years, slices):
    edges = ageing.slice_edges(years, slices)
    assert edges.shape == (slices + 1,)
    assert edges[0] == 0
    assert edges[-1] == years
    assert_allclose(np.diff(edges), years / slices)


def test_survivals_multiply_in_each_draw():
    """Largest load of a year Gumbel; survival of T years is F(strength)^T (text book)."""
    largest = stats.gumbel_r(1000, 200)
    lengths = np.array([1.0, 2.5, 0.5])
    strength = np.array([[1900.0, 1500.0], [1700.0, 1200.0], [1400.0, 0.0]])
    found = ageing.survival_of_slices(-largest.logcdf(strength), lengths)
    exact = (largest.cdf(strength) ** lengths[:, None]).prod(axis=0)
    assert_allclose(found, exact, rtol=1e-13)


def test_small_chances_keep_their_digits():
    rates = np.array([[1e-9], [2e-9]])
    with mpmath.workdps(40):
        exact = -mpmath.expm1(-(mpmath.mpf("1e-9") * 3 + mpmath.mpf("2e-9") * 4))
    failed = 1 - ageing.survival_of_slices(rates, [3.0, 4.0])
    assert failed[0] == pytest.approx(float(exact), abs=2.3e-16)


@modest
@given(st.lists(st.floats(0, 5), min_size=1, max_size=6), st.floats(0, 1), st.floats(0.1, 3))
def test_survival_falls_with_rates_and_needs_no_order(rates, more, length):
    lengths = np.full(len(rates), length)
    now = ageing.survival_of_slices(rates, lengths)
    assert np.shape(now) == ()
    assert 0 <= now <= 1
    assert ageing.survival_of_slices(np.add(rates, more), lengths) <= now
    assert ageing.survival_of_slices(rates[::-1], lengths) == pytest.approx(now)


@modest
@given(st.floats(0, 2), st.floats(0.1, 30), st.integers(1, 20))
def test_cutting_a_life_of_one_rate_changes_nothing(rate, years, slices):
    lengths = np.diff(ageing.slice_edges(years, slices))
    found = ageing.survival_of_slices(np.full((slices, 2), rate), lengths)
    assert_allclose(found, math.exp(-rate * years), rtol=1e-12)


def test_finer_slices_come_down_to_the_life_of_an_ageing_bond():
    """Strength at the END of a slice never flatters: the integral over time is met from below."""
    rate = lambda t: 0.02 * math.exp(t / 5)  # noqa: E731
    exact = math.exp(-integrate.quad(rate, 0, 10)[0])
    found = []
    for slices in (1, 10, 100, 1000):
        edges = ageing.slice_edges(10.0, slices)
        rates = np.array([[rate(t)] for t in edges[1:]])
        found.append(float(ageing.survival_of_slices(rates, np.diff(edges))[0]))
    assert found == sorted(found)
    assert found[-1] < exact
    assert found[-1] == pytest.approx(exact, rel=1e-3)


def test_averages_must_not_be_multiplied():
    """One weak draw in ten fails in the first slice for sure and cannot fail once more."""
    rates = np.zeros((3, 10))
    rates[:, 0] = math.inf
    found = ageing.survival_of_slices(rates, np.ones(3))
    assert_allclose(found, [0, *[1] * 9])
    assert found.mean() == pytest.approx(0.9)


def test_axes_of_copies_stay():
    rates = np.arange(24.0).reshape(2, 3, 4) / 30
    found = ageing.survival_of_slices(rates, [1.0, 2.0])
    assert_allclose(found, np.exp(-rates[0] - 2 * rates[1]))


# Refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: ageing.loss_reached(-1, 1, 0.5, 1), r"^time .* at least 0; got -1$"),
        (lambda: ageing.loss_reached(1, 80, 0.5, 1), r"^humidity .* at most 1; got 80$"),
        (lambda: ageing.loss_reached(1, 1, 2.5, 1), r"^saturated_factor .* got 2\.5$"),
        (lambda: ageing.loss_reached(1, 1, 0.5, 0), r"^time_constant .* above 0; got 0$"),
        (lambda: ageing.ageing_scatter(1.5, 1), r"^loss .* at most 1; got 1\.5$"),
        (lambda: ageing.ageing_scatter(0.5, -0.5), r"^full_loss .* got -0\.5$"),
        (lambda: ageing.ageing_scatter(0.5, 0.5, cov=-0.18), r"^cov .* got -0\.18$"),
        (lambda: ageing.ageing_scatter([0.1, 0.6], [0.5, 0.4]), r"got 0\.6 against 0\.4$"),
        (lambda: ageing.ageing_scatter(0.25, 0), r"^loss .* full_loss; got 0\.25 against 0$"),
        (lambda: ageing.ageing_scatter([0, 0], [1, 1, 1]), r"loss \(2,\), full_loss \(3,\)"),
        (lambda: ageing.sustained_ratio(1, -900), r"^strength .* got -900$"),
        (lambda: ageing.sustained_ratio(math.nan, 1), r"^load .* got nan$"),
        (lambda: ageing.sustained_ratio([1, 1], [1, 1, 1]), r"load \(2,\), strength \(3,\)"),
        (lambda: ageing.sustained_too_high(-0.5), r"^ratio .* got -0\.5$"),
        (lambda: ageing.sustained_too_high(0.5, allowed=25), r"^allowed .* at most 1; got 25$"),
        (lambda: ageing.sustained_too_high(0.5, allowed=0), r"^allowed .* above 0.* got 0$"),
        (lambda: ageing.slice_edges(0, 2), r"^years .* above 0; got 0$"),
        (lambda: ageing.slice_edges([3, 4], 2), r"^years must be one number; got shape \(2,\)$"),
        (lambda: ageing.slice_edges(5, 0), r"^slices must be at least 1; got 0$"),
        (lambda: ageing.slice_edges(5, 2.5), r"^slices must be a whole number; got 2\.5$"),
        (lambda: ageing.survival_of_slices([[-0.5]], [1]), r"^rates .* got -0\.5$"),
        (lambda: ageing.survival_of_slices([[0.5]], [0]), r"^years .* above 0; got 0$"),
        (lambda: ageing.survival_of_slices([[1], [1]], 9), r"shapes \(\) and \(2, 1\)$"),
        (lambda: ageing.survival_of_slices([[1, 1]], [1, 1]), r"shapes \(2,\) and \(1, 2\)$"),
        (lambda: ageing.survival_of_slices(0.5, 1), r"shapes \(\) and \(\)$"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(InputError, match=message):
        call()
