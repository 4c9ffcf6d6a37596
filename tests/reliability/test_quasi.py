"""Scrambled nets: what their scatter says, and what it must say near zero and one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.special import ndtr

from jointrisk import spread
from jointrisk.reliability.quasi import SCRAMBLES, quasi, scatter_bounds
from jointrisk.reliability.space import Problem, Space

UNIT = spread.Normal(0.0, 1.0)


def problem(margin, **variables):
    return Problem(Space.of(variables or {"a": UNIT, "b": UNIT}), margin)


def run(found, **more):
    settings_ = {"seed": 0, "target_cov": 0.05, "max_evaluations": 2**18, "confidence": 0.95}
    return quasi(found, **(settings_ | more))


def plane(beta):
    return problem(lambda x: beta - (x["a"] + x["b"]) / np.sqrt(2))


def test_even_points_beat_plain_draws():
    found = run(plane(1.0), target_cov=1e-4, max_evaluations=2**17)
    plain = np.sqrt(ndtr(1.0) * ndtr(-1.0) / found.evaluations)
    assert found.bounds.standard_error < 0.3 * plain
    assert abs(found.bounds.estimate - ndtr(-1.0)) < 4 * found.bounds.standard_error


def test_interval_holds_its_confidence_over_seeds():
    seeds, truth = 100, ndtr(-2.5)
    held = 0
    for seed in range(seeds):
        low, high = run(plane(2.5), seed=seed, max_evaluations=8192, confidence=0.9).bounds[1:3]
        held += low <= truth <= high
    assert held >= stats.binom.ppf(0.001, seeds, 0.9)


def test_interval_holds_with_a_handful_of_failures():
    """About four failures in all: the scatter of the scrambles is then a guess."""
    seeds, truth = 100, 5e-4
    margin = problem(lambda x: stats.norm.isf(truth) - x["a"], a=UNIT, b=UNIT)
    held = 0
    for seed in range(seeds):
        low, high = run(margin, seed=seed, max_evaluations=8192, confidence=0.9).bounds[1:3]
        held += low <= truth <= high
    assert held >= stats.binom.ppf(0.001, seeds, 0.9)


def test_agreement_of_all_scrambles_is_no_certainty():
    """One axis cut at a point of the net: every scramble counts the same."""
    found = run(problem(lambda x: -x["a"], a=UNIT), max_evaluations=8192)
    assert found.bounds.standard_error == 0.0
    assert found.bounds.low < 0.5 < found.bounds.high
    assert found.bounds.high - found.bounds.low < 1e-3


def test_no_failure_gives_the_bound_of_a_count_of_nothing():
    found = run(plane(9.0), max_evaluations=8192)
    assert found.bounds.estimate == 0.0
    assert found.bounds.high == pytest.approx(1 - 0.025 ** (1 / 8192))
    assert found.cov == np.inf


def test_near_one_is_the_mirror_of_near_zero():
    low = run(problem(lambda x: 2.5 - x["a"], a=UNIT), target_cov=1e-9, max_evaluations=2**14)
    high = run(problem(lambda x: x["a"] - 2.5, a=UNIT), target_cov=1e-9, max_evaluations=2**14)
    assert low.bounds.estimate + high.bounds.estimate == pytest.approx(1.0, abs=1e-12)
    assert low.bounds.low + high.bounds.high == pytest.approx(1.0, abs=1e-12)


def test_limit_is_kept():
    for limit in (16, 100, 5000, 40_000):
        assert run(plane(3.0), max_evaluations=limit, target_cov=1e-9).evaluations <= limit


def test_points_go_where_the_scatter_is():
    """The label of chance 0.001 fails half the time, the other once in a thousand."""
    coin = spread.Mixture([(0.999, spread.Fixed(0.0)), (0.001, spread.Fixed(3.0))])
    calls = {0.0: 0, 3.0: 0}

    def margin(x):
        calls[float(x["w"][0])] += x["w"].size
        return 3.0 - x["a"] - x["b"] * 1e-3 - x["w"]

    found = run(problem(margin, a=UNIT, b=UNIT, w=coin), confidence=0.999)
    assert found.bounds.low <= 0.999 * ndtr(-3.0) + 0.001 * 0.5 <= found.bounds.high
    assert calls[0.0] >= 4 * calls[3.0]


def test_cell_without_failure_widens_the_upper_bound_only():
    coin = spread.Mixture([(0.9, spread.Fixed(0.0)), (0.1, spread.Fixed(1.0))])
    found = run(
        problem(lambda x: np.where(x["w"] > 0, 1 - x["a"], 1.0), a=UNIT, w=coin),
        max_evaluations=2**14,
    )
    exact = 0.1 * ndtr(-1.0)
    assert found.bounds.low <= exact <= found.bounds.high
    assert found.bounds.high - found.bounds.estimate > found.bounds.estimate - found.bounds.low
    assert any("no failure seen in 1 of 2 cells (w = 0)" in note for note in found.notes)


def test_bounds_widen_with_the_scatter_and_with_confidence():
    points, chance = np.array([1000.0]), np.ones(1)
    even = scatter_bounds(np.full((1, SCRAMBLES), 50.0), points, chance, 0.95)[0]
    uneven = np.array([np.tile([30.0, 70.0], SCRAMBLES // 2)])
    wide = scatter_bounds(uneven, points, chance, 0.95)[0]
    wider = scatter_bounds(uneven, points, chance, 0.99)[0]
    assert even.estimate == wide.estimate == 0.05
    assert wider.low < wide.low < even.low < 0.05 < even.high < wide.high < wider.high
    # Student's t of 15 degrees times the standard error of sixteen 0.03 and 0.07
    error = 0.02 * np.sqrt(16 / 15) / 4
    assert wide.high == pytest.approx(0.05 + stats.t.ppf(0.975, 15) * error)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(0, 4), min_size=SCRAMBLES, max_size=SCRAMBLES))
def test_few_failures_are_never_narrower_than_plain_counts(failures):
    counts = np.array([failures], dtype=float)
    found = scatter_bounds(counts, np.array([100.0]), np.ones(1), 0.95)[0]
    total, n = counts.sum(), 100 * SCRAMBLES
    if 0 < total < 50:
        assert found.low <= stats.gamma.ppf(0.025, total) / n * 1.05
        assert found.high >= stats.gamma.ppf(0.975, total + 1) / n * 0.95
    assert 0.0 <= found.low <= found.estimate <= found.high <= 1.0


def test_undefined_margins_are_counted_and_taken_out():
    found = run(problem(lambda x: np.where(x["a"] > 1, np.nan, 1.5 - x["b"]), a=UNIT, b=UNIT))
    assert found.undefined == pytest.approx(ndtr(-1.0) * found.evaluations, rel=0.02)
    assert found.defined == pytest.approx(ndtr(1.0) * ndtr(-1.5), rel=0.1)


def test_same_seed_same_bytes_other_seed_other_points():
    assert repr(run(plane(2.0))) == repr(run(plane(2.0)))
    assert run(plane(2.0)).bounds != run(plane(2.0), seed=1).bounds
