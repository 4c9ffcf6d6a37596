"""Directional sampling: closed forms by chi-square, narrow stretches, labels, NaN, limits."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import quad
from scipy.special import ndtr

from jointrisk import spread
from jointrisk.reliability import estimate
from jointrisk.reliability.directional import directional, radius_of
from jointrisk.reliability.space import Problem, Space

UNIT = spread.Normal(0.0, 1.0)
TWO = {"a": UNIT, "b": UNIT}
COIN = spread.Mixture([(1 - 1e-4, spread.Fixed(0.0)), (1e-4, spread.Fixed(1.0))])


def units(count):
    return {f"x{i}": UNIT for i in range(count)}


def square(x):
    return sum(v**2 for v in x.values())


def run(margin, variables=TWO, **more):
    asked = {"seed": 0, "target_cov": 0.05, "max_evaluations": 200_000, "confidence": 0.95}
    return directional(Problem(Space.of(variables), margin), **(asked | more))


def holds(margin, variables, truth, **more):
    """Met its aim, and the truth inside an interval of 99.9 %."""
    found = run(margin, variables, confidence=0.999, **more)
    assert found.settled
    assert found.cov <= more.get("target_cov", 0.05)
    assert found.bounds.low <= truth <= found.bounds.high, (found.bounds, truth)
    return found


# --- closed forms -----------------------------------------------------------------------------


@pytest.mark.parametrize("dim", [1, 2, 3, 10, 100])
@pytest.mark.parametrize("score", [-35.0, -8.0, -1.0, 0.0, 2.0, 8.0, 35.0])
def test_radius_by_chi_square(dim, score):
    """The same chance beyond it as beyond the normal score, in logs and in both tails."""
    squared = radius_of([score], dim)[0] ** 2
    if score >= 0:
        assert stats.chi2.logsf(squared, dim) == pytest.approx(stats.norm.logsf(score), rel=1e-9)
    elif squared > 1e-200:
        assert stats.chi2.logcdf(squared, dim) == pytest.approx(stats.norm.logcdf(score), rel=1e-9)


@pytest.mark.parametrize("dim", [1, 2, 10, 100])
@pytest.mark.parametrize("chance", [0.3, 1e-4, 1e-9, 1e-14])
def test_outside_a_sphere_by_chi_square(dim, chance):
    """Every ray says the same: no scatter."""
    radius = float(np.sqrt(stats.chi2.isf(chance, dim)))
    found = holds(lambda x: radius - np.sqrt(square(x)), units(dim), chance)
    assert found.bounds.estimate == pytest.approx(chance, rel=0.01)
    assert found.evaluations < 7000


@pytest.mark.parametrize("dim", [1, 2, 10, 100])
@pytest.mark.parametrize("chance", [0.3, 1e-4, 1e-9])
def test_inside_a_ball_by_chi_square(dim, chance):
    radius = float(np.sqrt(stats.chi2.ppf(chance, dim)))
    found = holds(lambda x: np.sqrt(square(x)) - radius, units(dim), chance)
    assert found.bounds.estimate == pytest.approx(chance, rel=0.01)


@pytest.mark.parametrize("dim", [2, 10, 100])
def test_inside_a_ball_and_outside_a_sphere_together(dim):
    """Both ends of each ray fail, the middle holds."""
    inner, outer = (float(np.sqrt(stats.chi2.ppf(p, dim))) for p in (1e-3, 0.998))
    found = run(lambda x: np.minimum(square(x) - inner**2, outer**2 - square(x)), units(dim))
    assert found.bounds.estimate == pytest.approx(3e-3, rel=0.01)


@pytest.mark.parametrize(("beta", "dim"), [(2.0, 1), (6.0, 1), (30.0, 1), (3.0, 2), (8.0, 2)])
def test_plane(beta, dim):
    def margin(x):
        return beta - sum(x.values()) / np.sqrt(dim)

    holds(margin, units(dim), ndtr(-beta), target_cov=0.1)


def test_one_variable_needs_two_rays_only():
    found = run(lambda x: np.minimum(3.0 - x["a"], 3.5 + x["a"]), {"a": UNIT})
    assert found.bounds.estimate == pytest.approx(ndtr(-3.0) + ndtr(-3.5), rel=0.01)
    assert found.cov < 0.01


def test_plane_thirty_away():
    """Squares of such chances vanish in a double."""
    found = run(lambda x: 30.0 - x["a"], max_evaluations=400_000, target_cov=0.2, confidence=0.999)
    assert found.bounds.low <= ndtr(-30.0) <= found.bounds.high
    assert 0 < found.bounds.estimate < 1e-190


def test_two_sided():
    truth = ndtr(-3.0) + ndtr(-3.3)
    holds(lambda x: np.minimum(3.0 - x["x0"], 3.3 + x["x0"]), units(3), truth, target_cov=0.1)


@pytest.mark.parametrize("dim", [2, 3])
def test_ball_off_centre_by_noncentral_chi_square(dim):
    """Rays go in and out again."""
    truth = stats.ncx2.cdf(1.0, dim, 9.0)
    holds(lambda x: square(x) - 6 * x["x0"] + 8.0, units(dim), truth, target_cov=0.1)


def test_four_branches():
    """Waarts (2000), thesis, Delft: 2.22e-3; by quadrature in turned axes."""

    def margin(x):
        a, b = x["a"], x["b"]
        bend, root = 0.1 * (a - b) ** 2, np.sqrt(2)
        pair = np.minimum(3 + bend - (a + b) / root, 3 + bend + (a + b) / root)
        return np.minimum(pair, np.minimum(a - b, b - a) + 7 / root)

    ridge = quad(lambda q: stats.norm.pdf(q) * 2 * ndtr(-(3 + 0.2 * q**2)), 0, 3.5)[0]
    holds(margin, TWO, 2 * ndtr(-3.5) + 2 * ridge)


@pytest.mark.parametrize("width", [0.02, 0.1, 0.5, 2.0])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_shell_of_any_width_leans_neither_way(width, sign):
    """A stretch narrower than the gaps is met seldom and counts more; one that holds, too."""
    inner = 3.0
    shell = stats.chi2.sf(inner**2, 5) - stats.chi2.sf((inner + width) ** 2, 5)
    runs = [
        run(
            lambda x: sign * (abs(np.sqrt(square(x)) - inner - width / 2) - width / 2),
            units(5),
            confidence=0.999,
            target_cov=1e-3,
            max_evaluations=25_000,
            seed=seed,
        ).bounds
        for seed in range(5)
    ]
    truth = shell if sign > 0 else 1.0 - shell
    assert all(r.low <= truth <= r.high for r in runs)
    error = float(np.sqrt(np.mean([r.standard_error**2 for r in runs]) / 5))
    assert error < 0.1 * shell
    assert abs(np.mean([r.estimate for r in runs]) - truth) < 3.0 * error


def test_plane_far_out_in_many_variables_is_not_met_and_says_so():
    """No better than plain draws there: an honest interval is all it can give."""
    found = estimate(
        lambda x: 4.0 - sum(x.values()) / 10, units(100), method="directional",
        max_evaluations=50_000, seed=0,
    )  # fmt: skip
    assert not found.converged
    assert found.interval[0] <= ndtr(-4.0) <= found.interval[1]
    assert any("not converged" in note for note in found.notes)


def test_interval_holds_its_confidence_over_seeds():
    """Nominal 95 %: coverage, and no wider than it has to be."""
    seeds, truth = 120, stats.norm.sf(3.0) * 2
    runs = [
        run(lambda x: 3.0 - abs(x["a"]), seed=seed, target_cov=0.1).bounds for seed in range(seeds)
    ]
    held = sum(r.low <= truth <= r.high for r in runs)
    assert held >= stats.binom.ppf(0.001, seeds, 0.95)
    values = np.array([r.estimate for r in runs])
    assert values.mean() == pytest.approx(truth, rel=0.04)
    half = np.median([(r.high - r.low) / 2 for r in runs])
    assert half <= 1.3 * stats.norm.ppf(0.975) * values.std()


# --- labels, ends of the scale, what is not smooth ---------------------------------------------


def test_rare_label_is_a_stratum():
    truth = 1e-4 * ndtr(-1.0) + (1 - 1e-4) * ndtr(-6.0)
    found = holds(lambda x: np.where(x["w"] > 0, 1.0, 6.0) - x["a"], {"a": UNIT, "w": COIN}, truth)
    assert found.bounds.estimate == pytest.approx(truth, rel=0.01)


def test_silent_label_is_named():
    found = run(lambda x: np.where(x["w"] > 0, -1.0, 1.0), {"a": UNIT, "w": COIN})
    assert found.bounds.estimate == pytest.approx(1e-4)
    assert any("no failure seen in 1 of 2 cells (w = 0)" in note for note in found.notes)


def test_labels_alone_are_exact():
    found = run(lambda x: 0.5 - x["w"], {"w": COIN})
    assert found.bounds[:3] == pytest.approx((1e-4, 1e-4, 1e-4), rel=1e-12)


@pytest.mark.parametrize("level", [1.0, 0.0])
def test_no_failure_leaves_the_bound_of_the_pairs_drawn(level):
    """A margin of 0 holds."""
    found = run(lambda x: level + 0 * x["a"], max_evaluations=3000)
    assert found.bounds.estimate == found.bounds.low == 0.0
    assert found.bounds.high == pytest.approx(1 - 0.025 ** (1 / 128))
    assert found.cov == np.inf


def test_all_fail():
    found = run(lambda x: -1.0 + 0 * x["a"], target_cov=0.01)
    assert found.bounds.estimate == found.bounds.high == 1.0
    assert found.bounds.low == pytest.approx(0.025 ** (1 / 128))


def test_near_one_the_interval_is_that_of_what_holds():
    """The small side is as sharp as if it had been asked for."""
    small = run(lambda x: 5.0 - np.sqrt(square(x)), units(2)).bounds
    large = run(lambda x: np.sqrt(square(x)) - 5.0, units(2)).bounds
    assert 1.0 - large.estimate == pytest.approx(small.estimate, rel=0.01)
    assert 1.0 - large.low == pytest.approx(small.high, rel=0.01)
    assert large.low <= stats.chi2.cdf(25.0, 2) <= large.high < 1.0


@pytest.mark.parametrize("jump", [2.0, 4.0])
def test_indicator(jump):
    holds(lambda x: np.where(x["a"] > jump, -1.0, 1.0), TWO, ndtr(-jump), target_cov=0.1)


def test_infinite_margins():
    holds(lambda x: np.where(x["a"] > 3, -np.inf, np.inf), TWO, ndtr(-3.0), target_cov=0.1)


def test_nan_fails_and_is_told_apart():
    found = holds(lambda x: np.where(x["a"] > 2.5, np.nan, 2.5 - x["b"]), TWO, 1 - ndtr(2.5) ** 2)
    assert found.undefined > 0
    assert found.defined == pytest.approx(ndtr(-2.5) * ndtr(2.5), rel=0.2)


def test_all_nan():
    found = run(lambda x: np.nan * x["a"])
    assert found.bounds.estimate == 1.0
    assert found.defined == pytest.approx(0.0, abs=1e-12)


# --- same numbers, limits, errors ----------------------------------------------------------------


def test_same_seed_same_bytes_other_seed_other_draws():
    def margin(x):
        return 3.0 - x["a"]

    assert repr(run(margin)) == repr(run(margin))
    assert run(margin).bounds != run(margin, seed=1).bounds


def test_one_row_at_a_time_gives_the_same_bytes():
    """Whatever the batches, the limit state may not see them."""

    def margin(x):
        return 2.0 - x["a"] - 0.1 * x["b"] ** 3

    def single(x):
        pieces = [margin({k: v[i : i + 7] for k, v in x.items()}) for i in range(0, x["a"].size, 7)]
        return np.concatenate(pieces)

    few = {"max_evaluations": 5000, "target_cov": 0.2}
    assert repr(run(margin, **few)) == repr(run(single, **few))


@pytest.mark.parametrize("workers", [1, 3])
def test_a_pool_gives_the_same_bytes(workers):
    asked = {"method": "directional", "target_cov": 0.1, "seed": 4}
    with ThreadPoolExecutor(workers) as pool:
        shared = estimate(lambda x: 3.0 - x["a"] - 0.1 * x["b"] ** 2, TWO, pool=pool, **asked)
    assert repr(shared) == repr(estimate(lambda x: 3.0 - x["a"] - 0.1 * x["b"] ** 2, TWO, **asked))


def test_limit_is_kept_within_one_round():
    found = run(lambda x: 4.0 - x["a"], target_cov=1e-3, max_evaluations=50_000)
    assert found.cov > 1e-3
    assert 45_000 < found.evaluations < 60_000
    assert found.bounds.low <= ndtr(-4.0) <= found.bounds.high


def test_a_margin_of_the_wrong_shape_is_refused():
    with pytest.raises(Exception, match=r"shape \(64,\)|shape \(128,\)"):
        run(lambda x: x["a"][:1])


@settings(max_examples=8, deadline=None)
@given(st.floats(2.0, 4.5), st.floats(0.0, 6.3))
def test_turning_the_limit_state_changes_nothing_but_the_draws(beta, angle):
    found = run(
        lambda x: beta - np.cos(angle) * x["a"] - np.sin(angle) * x["b"],
        target_cov=0.1,
        confidence=0.9999,
    )
    assert found.bounds.low <= ndtr(-beta) <= found.bounds.high
