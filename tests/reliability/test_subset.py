"""Subset simulation: bias, coverage over seeds, flat margins, undefined ones, strata."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.special import ndtr

from jointrisk import spread
from jointrisk.reliability.space import Problem, Space
from jointrisk.reliability.subset import RUNS, _widths, run_interval, subset

UNIT = spread.Normal(0.0, 1.0)
TWO = {"a": UNIT, "b": UNIT}


def problem(margin, variables=TWO):
    return Problem(Space.of(variables), margin)


def run(found, **more):
    settings_ = {"seed": 0, "target_cov": 0.1, "max_evaluations": 400_000, "confidence": 0.95}
    return subset(found, **(settings_ | more))


def plane(beta):
    return problem(lambda x: beta - (x["a"] + x["b"]) / np.sqrt(2))


@pytest.mark.parametrize("beta", [0.0, 1.0, 3.0, 5.0])
def test_plane(beta):
    found = run(plane(beta), confidence=0.999)
    assert found.bounds.low <= ndtr(-beta) <= found.bounds.high
    assert found.settled
    assert found.cov <= 0.1


def test_interval_holds_its_confidence_over_seeds():
    """Nominal 90 %: bias and scatter together, not scatter alone."""
    seeds, truth = 80, ndtr(-3.0)
    runs = [run(plane(3.0), seed=seed, confidence=0.9).bounds for seed in range(seeds)]
    held = sum(r.low <= truth <= r.high for r in runs)
    assert held >= stats.binom.ppf(0.001, seeds, 0.9)
    values = np.array([r.estimate for r in runs])
    assert values.mean() == pytest.approx(truth, rel=0.04)
    half = np.median([(r.high - r.low) / 2 for r in runs])
    assert half <= 1.3 * stats.norm.ppf(0.95) * values.std()


def test_one_run_scatters_little_whatever_the_target():
    """The bias of a run follows its variance, and no mean over runs takes it away."""
    found = run(plane(4.0), target_cov=1.0)
    assert found.settled
    assert found.cov <= 0.25 / np.sqrt(RUNS) + 1e-9


def test_target_beyond_the_limit_is_not_met_and_keeps_the_limit():
    found = run(plane(4.0), target_cov=0.001, max_evaluations=200_000)
    assert found.cov > 0.001
    assert found.evaluations <= 200_000
    assert found.bounds.low <= ndtr(-4.0) <= found.bounds.high


def test_failure_too_far_for_the_limit_is_bounded_and_not_settled():
    found = run(plane(30.0), max_evaluations=20_000)
    assert not found.settled
    assert found.bounds.low == 0.0 <= ndtr(-30.0) <= found.bounds.high < 0.1
    assert any("too far" in note for note in found.notes)


@pytest.mark.parametrize("level", [1.0, 0.0])
def test_flat_margin_that_holds_has_only_an_upper_bound(level):
    found = run(problem(lambda x: level + 0 * x["a"]))
    assert not found.settled
    draws = found.evaluations
    assert found.bounds[:3] == pytest.approx((0.0, 0.0, 1 - 0.025 ** (1 / draws)))


def test_flat_margin_that_fails_is_certain():
    found = run(problem(lambda x: -1 + 0 * x["a"]))
    assert found.settled
    assert found.bounds.estimate == found.bounds.high == 1.0
    assert 0.999 < found.bounds.low < 1.0


@pytest.mark.parametrize("beta", [1.0, 2.0])
def test_indicator_that_plain_draws_reach(beta):
    found = run(problem(lambda x: np.where(x["a"] > beta, -1.0, 1.0)), confidence=0.999)
    assert found.settled
    assert found.bounds.low <= ndtr(-beta) <= found.bounds.high


def test_indicator_that_plain_draws_do_not_reach_is_not_settled():
    found = run(problem(lambda x: np.where(x["a"] > 5, -1.0, 1.0)), max_evaluations=50_000)
    assert not found.settled
    assert found.bounds.low <= ndtr(-5.0) <= found.bounds.high
    assert any("too flat" in note for note in found.notes)


def test_stairs_are_walked_down():
    """A margin in whole numbers: more than half of the draws tie at some steps."""
    found = run(problem(lambda x: 5.0 - np.floor(1 + x["a"] + x["b"])), confidence=0.999)
    assert found.settled
    assert found.bounds.low <= ndtr(-5 / np.sqrt(2)) <= found.bounds.high


def test_two_regions_far_apart_are_both_seen():
    found = run(problem(lambda x: 3.5 - np.abs(x["a"])), confidence=0.999, target_cov=0.05)
    assert found.bounds.low <= 2 * ndtr(-3.5) <= found.bounds.high


def test_rare_label_is_a_stratum():
    """A label of chance 1e-4 carries nearly all failures; chains alone would not find it."""
    coin = spread.Mixture([(1 - 1e-4, spread.Fixed(0.0)), (1e-4, spread.Fixed(1.0))])
    found = run(
        problem(lambda x: np.where(x["w"] > 0, 1.0, 6.0) - x["a"], {"a": UNIT, "w": coin}),
        confidence=0.999,
    )
    exact = 1e-4 * ndtr(-1.0) + (1 - 1e-4) * ndtr(-6.0)
    assert found.bounds.low <= exact <= found.bounds.high
    assert found.settled


def test_undefined_margins_fail_and_are_told_apart():
    found = run(
        problem(lambda x: np.where(x["a"] > 2.5, np.nan, 2.5 - x["b"])),
        target_cov=0.03,
        confidence=0.999,
    )
    assert found.bounds.low <= 1 - ndtr(2.5) ** 2 <= found.bounds.high
    assert found.undefined > 0
    assert found.defined == pytest.approx(ndtr(-2.5) * ndtr(2.5), rel=0.15)


def test_same_seed_same_bytes_other_seed_other_draws():
    assert repr(run(plane(3.0))) == repr(run(plane(3.0)))
    assert run(plane(3.0)).bounds != run(plane(3.0), seed=1).bounds


def test_hundred_variables():
    many = {f"x{i}": UNIT for i in range(100)}
    found = run(problem(lambda x: 3.0 - sum(x.values()) / 10, many), confidence=0.999)
    assert found.bounds.low <= ndtr(-3.0) <= found.bounds.high


def test_sphere_in_a_hundred_variables_does_not_lean():
    """Only the distance counts, and a step of a run's own seeds would draw it in."""
    many = {f"x{i}": UNIT for i in range(100)}
    found = run(problem(lambda x: 12.8 - np.sqrt(sum(v**2 for v in x.values())), many))
    assert found.settled
    assert found.bounds.estimate == pytest.approx(stats.chi2.sf(12.8**2, 100), rel=0.15)


def test_step_does_not_go_by_the_seeds_it_moves():
    u = np.random.default_rng(3).standard_normal((4, 50, 3))
    other = u.copy()
    other[2] *= 3.0
    np.testing.assert_allclose(_widths(other)[2], _widths(u)[2], rtol=1e-12)
    assert np.all(_widths(other)[[0, 1, 3]] > 1.3 * _widths(u)[[0, 1, 3]])
    np.testing.assert_allclose(_widths(u)[0], u[1:].reshape(-1, 3).std(axis=0), rtol=1e-12)
    np.testing.assert_allclose(_widths(u[:1]), 1.0)


def test_runs_that_scatter_much_are_not_settled_even_where_their_mean_meets_the_target():
    """A steep slope leads away from the region that counts; some runs never see it."""
    steep = problem(lambda x: np.minimum(5.0 - x["b"], 50.0 * (3.8 - x["a"])))
    found = run(steep, target_cov=1.0, max_evaluations=60_000)
    assert found.cov < 1.0
    assert not found.settled
    assert any("single runs scatter by" in note for note in found.notes)


def test_run_interval_holds_for_skewed_runs():
    """Lognormal runs of known mean, scatter 0.5: nine in ten intervals hold it."""
    rng = np.random.default_rng(5)
    runs = np.exp(0.5 * rng.standard_normal((2000, RUNS)) - 0.125)
    held = sum(b.low <= 1.0 <= b.high for b in (run_interval(r, 0.9) for r in runs))
    assert held / 2000 > 0.88


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(1e-9, 1.0), min_size=2, max_size=20), st.floats(1e-9, 1e3))
def test_run_interval_is_ordered_and_scales(runs, unit):
    found = run_interval(runs, 0.95)
    assert 0 <= found.low <= found.estimate <= found.high * (1 + 1e-12)
    scaled = run_interval(np.array(runs) * min(unit, 1.0), 0.95)
    assert scaled.low == pytest.approx(found.low * min(unit, 1.0), rel=1e-6)


def test_run_interval_with_runs_that_saw_nothing():
    found = run_interval([0.0] * 15 + [1e-3], 0.95)
    assert found.low < found.estimate == pytest.approx(1e-3 / 16)
    # Poisson bounds of one count, in units of one run's share
    assert found.high == pytest.approx(stats.gamma.ppf(0.975, 2) * 1e-3 / 16, rel=0.05)
