"""Weighted draws by cell: tiny weights, rare labels, and the chance in place of a count."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from jointrisk import spread
from jointrisk.reliability.importance import importance, proposal_of
from jointrisk.reliability.search import find_points
from jointrisk.reliability.space import Problem, Space

UNIT = spread.Normal(0.0, 1.0)
RARE = spread.Mixture([(0.999, spread.Fixed(0.0)), (0.001, spread.Fixed(1.0))])


def run(margin, variables, **change):
    settings = {"seed": 3, "target_cov": 0.05, "max_evaluations": 10**6, "confidence": 0.99}
    return importance(Problem(Space.of(variables), margin), **(settings | change))


def holds(found, truth):
    assert found.bounds.low <= truth <= found.bounds.high


@pytest.mark.parametrize("beta", [3.0, 10.0, 20.0, 30.0, 36.0])
def test_squares_of_tiny_weights_do_not_vanish(beta):
    found = run(lambda x: beta - x["a"], {"a": UNIT})
    assert 0 < found.cov <= 0.05
    holds(found, ndtr(-beta))


def test_rare_label_is_a_stratum_with_its_exact_chance():
    found = run(lambda x: 6 - 4 * x["w"] - x["a"], {"a": UNIT, "w": RARE})
    holds(found, 0.999 * ndtr(-6.0) + 0.001 * ndtr(-2.0))
    assert found.evaluations < 60_000


def test_label_that_always_fails_has_no_scatter():
    found = run(lambda x: 9 - 20 * x["w"] - x["a"], {"a": UNIT, "w": RARE})
    assert found.bounds.estimate == pytest.approx(0.001, rel=1e-6)


def test_draws_go_where_the_scatter_is():
    found = run(lambda x: 5 - 3.5 * x["w"] - x["a"], {"a": UNIT, "w": RARE}, target_cov=0.01)
    rows = {stratum.cell.labels[0][1]: stratum.rows for stratum in found.strata}
    assert rows[1.0] > 3 * rows[0.0]


def test_chance_in_place_of_a_count_is_sharper():
    variables = {"a": UNIT, "d": UNIT}
    space = Space.of(variables)

    def margin(x):
        return 5 - x["a"] - x["d"]

    def chance(u, cell):
        return ndtr(-(5 - space.values(u, cell)["a"]))

    counted = run(margin, variables, max_evaluations=1)
    averaged = run(margin, variables, max_evaluations=1, fail_chance=chance, integrated={"d"})
    holds(averaged, ndtr(-5 / np.sqrt(2)))
    assert averaged.cov < 0.8 * counted.cov


def test_failing_everywhere_is_told_from_its_complement():
    found = run(lambda x: -3 - x["a"], {"a": UNIT})
    holds(found, ndtr(3.0))
    assert found.bounds.high <= 1.0
    certain = run(lambda x: -1 + 0 * x["a"], {"a": UNIT})
    assert certain.bounds.estimate == certain.bounds.high == 1.0
    assert 0.99 < certain.bounds.low < 1.0


def test_nothing_seen_leaves_an_upper_bound_that_shrinks():
    few = run(lambda x: 1 + 0 * x["a"], {"a": UNIT}, max_evaluations=5000)
    many = run(lambda x: 1 + 0 * x["a"], {"a": UNIT}, max_evaluations=50_000)
    assert few.bounds.estimate == few.bounds.low == 0.0
    assert 0 < many.bounds.high < few.bounds.high < 0.01
    assert few.cov == np.inf


def test_undefined_margins_are_counted():
    found = run(lambda x: np.where(x["a"] > 3, np.nan, 1.0), {"a": UNIT})
    assert found.undefined > 0
    holds(found, ndtr(-3.0))


@pytest.mark.parametrize("seed", range(4))
def test_region_beside_a_dominant_one_is_not_missed(seed):
    def margin(x):
        far = np.hypot(x["a"] + 4.4, x["b"] - 1.0) - 1.2
        return np.minimum(4.5 - x["b"], far)

    found = run(margin, {"a": UNIT, "b": UNIT}, seed=seed, target_cov=0.02)
    angle, radius = np.meshgrid(np.linspace(0, 2 * np.pi, 2001)[:-1], (np.arange(800) + 0.5) / 800)
    a, b = -4.4 + 1.2 * radius * np.cos(angle), 1.0 + 1.2 * radius * np.sin(angle)
    disc = (np.exp(-(a**2 + b**2) / 2) * radius).mean() * 1.2**2
    holds(found, ndtr(-4.5) + disc)


def test_cap_ends_the_run():
    found = run(lambda x: 4 - x["a"], {"a": UNIT}, target_cov=1e-6, max_evaluations=30_000)
    assert 30_000 <= found.evaluations <= 60_000
    assert found.cov > 1e-6


def test_calls_are_counted():
    rows = []

    def margin(x):
        rows.append(x["a"].size)
        return 4 - x["a"]

    assert run(margin, {"a": UNIT, "w": RARE}).evaluations == sum(rows)


def test_same_seed_same_numbers():
    one, two, other = (run(lambda x: 4 - x["a"], {"a": UNIT}, seed=s) for s in (0, 0, 1))
    assert one.bounds == two.bounds
    assert one.bounds != other.bounds


def test_only_constants():
    assert run(lambda x: x["k"] - 2, {"k": spread.Fixed(1.0)}).bounds.estimate == 1.0
    assert (
        run(lambda x: x["k"] - 2, {"k": spread.Fixed(3.0)}, max_evaluations=5000).bounds.estimate
        == 0.0
    )


def test_proposal_favours_near_points_and_keeps_a_guard():
    points = find_points(
        lambda u: np.minimum(3 - u[:, 0], 5 + u[:, 0]), 1, np.random.default_rng(0)
    ).points
    mixture = proposal_of(points, np.ones(1, dtype=bool))
    assert mixture.guard_share == pytest.approx(0.15)
    assert mixture.shares[0] > 5 * mixture.shares[1] > 0.02
    np.testing.assert_allclose(mixture.directions[:, 0], [3, -5, 0, 0], atol=1e-3)
    assert mixture.widths == pytest.approx([1, 1, 3, 1], rel=1e-3)
    assert proposal_of((), np.ones(2, dtype=bool)).shares.tolist() == [1.0]
