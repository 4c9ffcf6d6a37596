"""Lines: exact where the margin is a plane, unbiased where it is not, cheap in both."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import quad
from scipy.special import ndtr

from jointrisk import spread
from jointrisk.reliability.crossings import crossings, normal_measure, normal_slack
from jointrisk.reliability.line import _rings, _share, line
from jointrisk.reliability.search import find_points
from jointrisk.reliability.space import Problem, Space
from jointrisk.reliability.streams import block_rng

UNIT = spread.Normal(0.0, 1.0)
TWO = {"a": UNIT, "b": UNIT}


def problem(margin, variables=TWO):
    return Problem(Space.of(variables), margin)


def run(found, **more):
    settings_ = {"seed": 0, "target_cov": 0.05, "max_evaluations": 200_000, "confidence": 0.95}
    return line(found, **(settings_ | more))


def axis_lines(g, count, **more):
    """Look for crossings of g(t) on like lines from -6 to 6."""
    start, stop = np.full(count, -6.0), np.full(count, 6.0)
    full = np.ones(count, dtype=bool)
    shift = np.linspace(0.05, 0.95, count)
    asked = {"guess": 2.0, "full": full, "shift": shift} | more
    calls = []

    def along(_row, t):
        calls.append(t.size)
        return g(t)

    found = crossings(along, start, stop, **asked)
    measure = normal_measure(found, np.full(count, -np.inf), np.full(count, np.inf))
    return found, measure, sum(calls)


@pytest.mark.parametrize("beta", [-2.0, 0.0, 1.0, 4.0, 8.0, 30.0])
@pytest.mark.parametrize("dim", [1, 2, 30])
def test_plane_is_exact_on_every_line(beta, dim):
    many = {f"x{i}": UNIT for i in range(dim)}
    found = run(problem(lambda x: beta - sum(x.values()) / np.sqrt(dim), many))
    assert found.bounds.estimate == pytest.approx(ndtr(-beta), rel=2e-3)
    assert found.bounds.low < ndtr(-beta) < found.bounds.high
    assert found.cov <= 2e-4  # rounding only: every line says the same


def test_plane_costs_about_five_calls_a_line():
    found = run(problem(lambda x: 3.0 - x["a"] - 0 * x["b"]))
    search = find_points(lambda u: 3.0 - u[:, 0], 2, block_rng(0, 14, 1)).evaluations
    lines = int(found.notes[0].split()[0])
    assert (found.evaluations - search - 1024) / lines < 6.5  # 1,024 for the second look


def test_interval_holds_its_confidence_over_seeds():
    """A curved surface: nominal 90 %."""
    exact = quad(lambda v: stats.norm.pdf(v) * stats.norm.sf(2.5 + 0.4 * v * v), -9, 9)[0]
    bowl = problem(lambda x: 2.5 + 0.4 * x["b"] ** 2 - x["a"])
    bounds = [run(bowl, seed=seed, confidence=0.9).bounds for seed in range(40)]
    held = sum(b.low <= exact <= b.high for b in bounds)
    assert held >= stats.binom.ppf(0.001, 40, 0.9)
    assert np.mean([b.estimate for b in bounds]) == pytest.approx(exact, rel=0.03)


def test_interval_is_no_wider_than_it_has_to_be():
    """Half-width at most 1.3 times 1.96 standard deviations over seeds."""
    exact = quad(lambda v: stats.norm.pdf(v) * stats.norm.sf(2.5 + 0.1 * v * v), -9, 9)[0]
    bowl = problem(lambda x: 2.5 + 0.1 * x["b"] ** 2 - x["a"])
    bounds = [run(bowl, seed=seed, target_cov=0.2).bounds for seed in range(40)]
    spread_ = np.std([b.estimate for b in bounds], ddof=1)
    assert np.median([b.high - b.low for b in bounds]) / 2.0 <= 1.3 * 1.96 * spread_
    held = sum(b.low <= exact <= b.high for b in bounds)
    assert held >= stats.binom.ppf(0.001, 40, 0.95)


def test_interval_knows_what_the_roots_do_not():
    """A margin cut off at the root has no slope there: lines all alike, yet not exact."""
    found = run(problem(lambda x: np.where(x["a"] > 3.0123, -1.0, 1.0)))
    half = 0.5 * (found.bounds.high - found.bounds.low)
    assert abs(found.bounds.estimate - ndtr(-3.0123)) <= half
    assert half >= 1e-4 * found.bounds.estimate


def test_band_on_the_line_is_seen():
    """Failure between 3.0 and 3.4 only: both ends of the line hold."""
    found = run(problem(lambda x: np.abs(x["a"] - 3.2) - 0.2))
    assert found.bounds.estimate == pytest.approx(ndtr(-3.0) - ndtr(-3.4), rel=1e-2)


def test_winding_lines_are_looked_at_everywhere():
    """Failure above 3, save a gap from 3.3 to 4.3: the ends look plain."""

    def margin(x):
        return np.where(x["a"] < 3.8, np.maximum(3.0 - x["a"], x["a"] - 3.3), 4.3 - x["a"])

    found = run(problem(margin))
    exact = ndtr(-3.0) - ndtr(-3.3) + ndtr(-4.3)
    assert found.bounds.estimate == pytest.approx(exact, rel=1e-2)
    assert any("more than once" in note for note in found.notes)


@pytest.mark.parametrize("dim", [2, 5])
def test_sphere_fails_in_every_direction(dim):
    """Lines far out fail whole and are rare: without rings they are missed."""
    many = {f"x{i}": UNIT for i in range(dim)}
    radius = np.sqrt(stats.chi2.isf(1e-3, dim))
    found = run(
        problem(lambda x: radius - np.sqrt(sum(v**2 for v in x.values())), many), confidence=0.999
    )
    assert found.bounds.low <= 1e-3 <= found.bounds.high


def test_point_in_the_wrong_place_is_no_bias(monkeypatch):
    """Lines at right angles to the truth still give the mean, with more scatter."""
    from jointrisk.reliability import line as module
    from jointrisk.reliability.form import DesignPoint
    from jointrisk.reliability.search import Found

    wrong = DesignPoint(np.array([0.0, 2.0]), 2.0, np.array([0.0, 1.0]), 0.0, True, 1)
    monkeypatch.setattr(module, "find_points", lambda *_: Found((wrong,), 1))
    found = run(problem(lambda x: 2.0 - x["a"]), confidence=0.999)
    assert found.bounds.low <= ndtr(-2.0) <= found.bounds.high
    assert found.cov > 0


@pytest.mark.parametrize("beta", [3.0, 5.0])
def test_step_without_a_slope(beta):
    found = run(problem(lambda x: np.where(x["a"] > beta, -1.0, 1.0)), confidence=0.999)
    assert found.bounds.low <= ndtr(-beta) <= found.bounds.high
    assert found.cov <= 0.05


def test_undefined_margins_fail_and_are_told_apart():
    found = run(problem(lambda x: np.where(x["a"] > 3, np.nan, 3.0 - x["b"])))
    assert found.bounds.estimate == pytest.approx(1 - ndtr(3.0) ** 2, rel=0.02)
    assert found.defined == pytest.approx(ndtr(-3.0) * ndtr(3.0), rel=0.05)
    assert found.undefined > 0


def test_nothing_seen_gives_an_upper_bound():
    found = run(problem(lambda x: 1.0 + 0 * x["a"]), max_evaluations=5000)
    assert found.bounds.estimate == found.bounds.low == 0.0
    assert 0.0 < found.bounds.high < 0.1
    assert found.cov == np.inf


def test_labels_are_strata_and_a_silent_one_is_named():
    coin = spread.Mixture([(0.999, spread.Fixed(0.0)), (0.001, spread.Fixed(1.0))])
    found = run(problem(lambda x: np.where(x["w"] > 0, 2 - x["a"], 1.0), {"a": UNIT, "w": coin}))
    assert found.bounds.estimate == pytest.approx(0.001 * ndtr(-2.0), rel=1e-2)
    assert any("1 of 2 cells (w = 0)" in note for note in found.notes)


def test_same_seed_same_bytes():
    bowl = problem(lambda x: 2.5 + 0.4 * x["b"] ** 2 - x["a"])
    assert repr(run(bowl)) == repr(run(bowl))
    assert run(bowl).bounds != run(bowl, seed=1).bounds


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**31), st.integers(1, 6), st.integers(2, 5))
def test_shares_cover_space_once(seed, count, dim):
    """Every place lies in the share of its nearest point, and in no other."""
    rng = np.random.default_rng(seed)
    at = rng.standard_normal((count, dim))
    square = 0.5 * np.sum(at**2, axis=1)
    place = 2.0 * rng.standard_normal((50, dim))
    owner = np.argmin(np.linalg.norm(place[:, None] - at, axis=2), axis=1)
    cell = Space.of({"a": UNIT}).cells[0]
    for k in range(count):
        others = np.arange(count) != k
        alpha = at[k] / np.linalg.norm(at[k])
        region = _rings(cell, alpha, 2.0, at[others] - at[k], square[others] - square[k])[0]
        t = place @ alpha
        low, high = _share(region, place - t[:, None] * alpha)
        np.testing.assert_array_equal((low < t) & (t < high), owner == k)


@pytest.mark.parametrize("dim", [2, 3, 12])
def test_rings_together_are_the_normal_density(dim):
    """Mean of |v|² over the rings by their chances: d - 1, and none along the direction."""
    cell = Space.of({"a": UNIT}).cells[0]
    rings = _rings(cell, np.eye(dim)[0], 3.0, np.zeros((0, dim)), np.zeros(0))
    rng = np.random.default_rng(1)
    assert sum(ring.chance for ring in rings) == pytest.approx(1.0)
    draws = [ring.draw(rng, 4000) for ring in rings]
    square = sum(
        r.chance * np.mean(np.sum(v**2, axis=1)) for r, v in zip(rings, draws, strict=True)
    )
    assert square == pytest.approx(dim - 1, rel=0.05)
    assert all(np.all(v[:, 0] == 0) for v in draws)
    for ring, v in zip(rings, draws, strict=True):
        beyond = stats.chi2(dim - 1).sf(np.sum(v**2, axis=1))
        assert np.all((beyond >= ring.ring[0] * 0.999) & (beyond <= ring.ring[1] * 1.001))


@settings(max_examples=60, deadline=None)
@given(st.floats(-5, 5), st.floats(0.05, 3.0), st.sampled_from(["line", "exp", "cube", "step"]))
def test_root_of_any_shape_is_found(root, size, shape):
    shapes = {
        "line": lambda t: size * (root - t),
        "exp": lambda t: 1 - np.exp(size * (t - root)),
        "cube": lambda t: (root - t) ** 3 + 0.2 * (root - t),
        "step": lambda t: np.where(t > root, -1.0, 1.0),
    }
    found, (fails, holds, _), calls = axis_lines(shapes[shape], 8)
    slack = 3.0 if shape == "cube" else 1.0  # nearly level at its root: the hardest
    assert found.single_root == pytest.approx(root, abs=1e-2 * slack / max(1.0, abs(root)))
    assert fails == pytest.approx(ndtr(-root), rel=1.5e-2 * slack)
    np.testing.assert_allclose(fails + holds, 1.0, atol=1e-12)
    assert calls <= 8 * 30


@settings(max_examples=60, deadline=None)
@given(st.floats(-4, 4), st.floats(0.05, 2.0), st.sampled_from(["exp", "square", "step"]))
def test_root_is_out_by_no_more_than_its_slack(root, size, shape):
    shapes = {
        "exp": lambda t: 1 - np.exp(size * (t - root)),
        "square": lambda t: (root - t) * (1.0 + size * (t - root) ** 2),
        "step": lambda t: np.where(t > root, -1.0, 1.0),
    }
    found, (fails, *_), _ = axis_lines(shapes[shape], 8)
    slack = np.nanmax(np.where(np.isfinite(found.root), found.slack, np.nan), axis=1)
    # The bend is taken from a chord nearby, so it is a guess within a factor of a few.
    assert np.all(np.abs(found.single_root - root) <= 4.0 * slack + 1e-9)
    assert np.all(slack <= 6e-3)
    everywhere = np.full(8, np.inf)
    out = normal_slack(found, -everywhere, everywhere)
    np.testing.assert_allclose(out, stats.norm.pdf(found.single_root) * slack, rtol=1e-12)
    assert np.all(np.abs(fails - ndtr(-root)) <= 4.5 * out + 1e-9)
    assert not normal_slack(found, np.full(8, root + 0.1), everywhere).any()


def test_straight_margin_has_no_slack():
    found, *_ = axis_lines(lambda t: 2.0 - t, 8)
    assert found.slack.max() < 1e-12


def test_long_secant_is_not_trusted():
    """Steep before, nearly level beyond the guess: the ends put the root far too near."""
    found, *_ = axis_lines(lambda t: np.where(t < 2, 1e3 * (2 - t) + 0.01, 0.01 * (3 - t)), 4)
    assert found.single_root == pytest.approx(3.0, abs=1e-2)


def test_coarse_look_costs_three_and_takes_the_rest_where_it_must():
    plain = np.zeros(5, dtype=bool)
    assert axis_lines(lambda t: 2.0 - t, 5, full=plain)[2] <= 15
    _, (fails, *_), calls = axis_lines(lambda t: np.abs(t) - 2.0, 5, full=plain)
    assert fails == pytest.approx(1 - 2 * ndtr(-2.0), rel=1e-3)
    assert calls > 5 * 12


def test_hidden_crossing_is_flagged_on_lines_looked_at_everywhere():
    def g(t):
        return np.where(t < 4, np.maximum(2.0 - t, t - 3.0), 5.0 - t)

    assert axis_lines(g, 40)[0].winding
    assert not axis_lines(lambda t: 2.0 - t, 40)[0].winding
    many = axis_lines(g, 5, winding=True)[1][0]
    assert many == pytest.approx(ndtr(-2.0) - ndtr(-3.0) + ndtr(-5.0), rel=2e-3)


def test_infinite_margins_are_halved():
    _, (fails, *_), _ = axis_lines(lambda t: np.where(t > 2.2, -np.inf, np.inf), 6)
    assert fails == pytest.approx(ndtr(-2.2), rel=5e-3)


def test_measure_counts_the_share_only():
    found, *_ = axis_lines(lambda t: 1.0 - t, 3)
    fails, holds, lost = normal_measure(found, np.full(3, 0.5), np.full(3, 2.0))
    assert fails == pytest.approx(ndtr(2.0) - ndtr(1.0), rel=1e-6)
    assert holds == pytest.approx(ndtr(1.0) - ndtr(0.5), rel=1e-6)
    assert lost == pytest.approx(0.0)
