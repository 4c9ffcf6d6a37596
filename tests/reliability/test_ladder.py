"""Lowest points at several distances at once, against geometry and the single search."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.reliability.form import lowest_on_sphere
from jointrisk.reliability.ladder import ladder

DISTANCES = (1.0, 2.5, 5.0)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(-3, 3), min_size=1, max_size=6).filter(lambda v: np.linalg.norm(v) > 0.1))
def test_plane_is_met_along_its_normal(normal):
    unit = np.array(normal) / np.linalg.norm(normal)
    points = ladder(lambda u: 2.0 - u @ unit, unit.size, DISTANCES)
    np.testing.assert_allclose(points, np.outer(DISTANCES, unit), atol=1e-6)


def test_points_stand_at_their_distance():
    points = ladder(lambda u: 5 - u[:, 0] - 0.1 * u[:, 1] ** 2, 2, DISTANCES)
    np.testing.assert_allclose(np.linalg.norm(points, axis=1), DISTANCES)


def test_curved_margin_agrees_with_the_single_search():
    def g(u):
        return 5 - u[:, 0] - 0.5 * u[:, 1] + 0.05 * u[:, 0] ** 2

    points = ladder(g, 2, DISTANCES, iterations=10)
    singly = [lowest_on_sphere(g, 2, beta).margin for beta in DISTANCES]
    np.testing.assert_allclose(g(points), singly, atol=1e-3)


def test_points_are_never_worse_than_the_first_guess():
    def g(u):
        return 3 - u[:, 0] + np.sin(3 * u[:, 1]) * u[:, 0]

    points = ladder(g, 2, DISTANCES)
    first = np.outer(DISTANCES, [1.0, 0.0])
    assert np.all(g(points) <= g(first) + 1e-9)


def test_resting_coordinates_stay_at_zero():
    points = ladder(lambda u: 3 - u.sum(axis=1), 3, DISTANCES, active=np.array([True, False, True]))
    assert np.all(points[:, 1] == 0)
    np.testing.assert_allclose(points[:, 0], np.array(DISTANCES) / np.sqrt(2), rtol=1e-6)


def test_flat_margin_gives_the_origin():
    assert not ladder(lambda u: np.ones(len(u)), 2, DISTANCES).any()
    assert not ladder(lambda u: np.full(len(u), np.inf), 2, DISTANCES).any()


def test_no_distance_or_no_coordinate_is_the_origin():
    assert not ladder(lambda u: 1 - u[:, 0], 2, [0.0]).any()
    assert ladder(lambda u: np.ones(len(u)), 0, DISTANCES).shape == (3, 0)


def test_undefined_margin_is_not_taken_for_a_low_one():
    def g(u):
        return np.where(u[:, 1] > 1, np.nan, 4 - u[:, 0] - 0.2 * u[:, 1])

    points = ladder(g, 2, DISTANCES)
    assert np.all(np.isfinite(points))
    assert points[:, 0] == pytest.approx(DISTANCES, rel=0.05)
