"""All regions of failure are found, the far and the flat ones too."""

from __future__ import annotations

import numpy as np
import pytest

from jointrisk.reliability.search import distinct, find_points, further_points, unexplained


def rng(seed=0):
    return np.random.default_rng(seed)


def found_betas(g, dim, seed=0):
    return [point.beta for point in find_points(g, dim, rng(seed)).points]


def test_one_plane_gives_one_point():
    assert found_betas(lambda u: 4 - u[:, 0], 3) == pytest.approx([4.0], rel=1e-3)


@pytest.mark.parametrize("seed", range(5))
def test_opposite_regions_are_both_found(seed):
    def g(u):
        return np.minimum(4 - u[:, 0], 5 + u[:, 0])

    assert found_betas(g, 4, seed) == pytest.approx([4.0, 5.0], rel=1e-3)


@pytest.mark.parametrize("dim", [2, 5])
def test_every_axis_both_ways(dim):
    betas = found_betas(lambda u: 4 - np.abs(u).max(axis=1), dim)
    assert len(betas) == 2 * dim
    assert betas == pytest.approx([4.0] * 2 * dim, rel=1e-3)


def test_region_far_beyond_the_nearest_is_dropped():
    assert found_betas(lambda u: np.minimum(3 - u[:, 0], 6 + u[:, 0]), 2) == pytest.approx(
        [3.0], rel=1e-3
    )


def test_hundred_coordinates():
    assert found_betas(lambda u: 4 - u.sum(axis=1) / 10, 100) == pytest.approx([4.0], rel=1e-3)


def test_step_without_any_slope_is_walked_to():
    def g(u):
        return np.where(u[:, 0] + u[:, 1] > 6, -1.0, 1.0)

    (nearest, *_) = find_points(g, 2, rng()).points
    assert nearest.beta == pytest.approx(6 / np.sqrt(2), abs=0.1)
    assert not nearest.converged


def test_region_of_nan_is_a_region_of_failure():
    def g(u):
        return np.where(u[:, 0] > 4, np.nan, 1.0)

    assert found_betas(g, 2)[0] == pytest.approx(4.0, abs=0.1)


def test_origin_that_fails_is_told_and_not_searched():
    found = find_points(lambda u: u[:, 0] - 1, 2, rng())
    assert found.origin_fails
    assert found.points == ()


def test_no_coordinates():
    assert find_points(lambda u: np.full(len(u), -1.0), 0, rng()).origin_fails
    assert not find_points(lambda u: np.full(len(u), 1.0), 0, rng()).origin_fails


def test_margin_that_never_fails_has_no_point():
    assert find_points(lambda u: np.ones(len(u)), 3, rng()).points == ()


def test_failing_draws_lead_to_a_point_that_was_missed():
    def g(u):
        return np.minimum(3 - u[:, 0], 4 - u[:, 1])

    known = [p for p in find_points(g, 2, rng()).points if p.u[0] > 2]
    failing = np.array([[0.2, 4.3], [0.1, 4.5], [3.2, 0.1]])
    found = further_points(g, 2, failing, known, rng())
    assert [point.beta for point in found.points] == pytest.approx([4.0], rel=1e-3)


def test_draws_near_a_known_point_are_explained():
    points = find_points(lambda u: 4 - u[:, 0], 2, rng()).points
    rows = np.array([[4.5, 0.0], [4.1, 2.0], [-4.5, 0.0], [0.0, 4.5]])
    assert unexplained(rows, points).tolist() == [False, False, True, True]
    assert unexplained(rows, ()).all()


def test_repeated_points_are_merged_nearest_first():
    points = find_points(lambda u: np.minimum(4 - u[:, 0], 3 - u[:, 1]), 2, rng()).points
    merged = distinct([*points, *reversed(points)])
    assert [point.beta for point in merged] == pytest.approx([3.0, 4.0], rel=1e-3)


def test_search_counts_its_calls():
    rows = []

    def g(u):
        rows.append(len(u))
        return np.minimum(4 - u[:, 0], 5 + u[:, 1])

    assert find_points(g, 3, rng()).evaluations == sum(rows)


def test_search_repeats_itself_for_the_same_stream():
    def g(u):
        return 5 - np.abs(u).sum(axis=1)

    one, two = find_points(g, 3, rng(4)), find_points(g, 3, rng(4))
    for a, b in zip(one.points, two.points, strict=True):
        np.testing.assert_array_equal(a.u, b.u)
