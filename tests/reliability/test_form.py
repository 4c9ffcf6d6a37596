"""Design points against geometry: planes, spheres, corners, flats."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from jointrisk.errors import InputError
from jointrisk.reliability.form import (
    design_point,
    gradient,
    joint_design_point,
    lowest_on_sphere,
)

vectors = st.lists(st.floats(-3, 3), min_size=1, max_size=8).filter(
    lambda v: np.linalg.norm(v) > 0.1
)


def plane(normal, distance):
    """Margin of a plane at a distance from the origin."""
    normal = np.array(normal) / np.linalg.norm(normal)
    return lambda u: distance - u @ normal


@settings(max_examples=40, deadline=None)
@given(vectors, st.floats(0.1, 30), st.floats(1e-6, 1e6))
def test_plane_is_found_exactly_in_any_unit(normal, distance, unit):
    g = plane(normal, distance)
    found = design_point(lambda u: unit * g(u), len(normal))
    alpha = np.array(normal) / np.linalg.norm(normal)
    assert found.converged
    assert found.beta == pytest.approx(distance, rel=1e-4)
    np.testing.assert_allclose(found.alpha, alpha, atol=1e-4)
    np.testing.assert_allclose(found.u, distance * alpha, atol=1e-3 * distance)


def test_probability_is_first_order():
    assert design_point(plane([1, 2], 3), 2).probability == pytest.approx(ndtr(-3), rel=1e-3)


def test_origin_that_fails_has_a_negative_beta():
    found = design_point(plane([1.0, 1.0], -2.0), 2)
    assert found.converged
    assert found.beta == pytest.approx(-2.0, rel=1e-4)
    assert found.probability == pytest.approx(ndtr(2.0), rel=1e-4)


@pytest.mark.parametrize("start", [None, [5.0, 0.0], [-2.0, 3.0], [0.0, -6.0]])
def test_parabola_from_any_start(start):
    found = design_point(lambda u: 4 - u[:, 0] + 0.1 * u[:, 1] ** 2, 2, start)
    assert found.converged
    np.testing.assert_allclose(found.u, [4, 0], atol=2e-3)


def test_start_chooses_among_two_regions():
    def g(u):
        return np.minimum(3 - u[:, 0], 4 + u[:, 1])

    assert design_point(g, 2, [3.0, 0.0]).beta == pytest.approx(3.0, rel=1e-4)
    assert design_point(g, 2, [0.0, -5.0]).beta == pytest.approx(4.0, rel=1e-4)


def test_strongly_curved_margin_needs_the_line_search():
    def g(u):
        return np.exp(0.3 * u[:, 0] + 4) - np.exp(0.8 * u[:, 1] + 1)

    found = design_point(g, 2)
    assert found.converged
    # log form of the same surface is the plane 0.3 a + 4 = 0.8 b + 1
    assert found.beta == pytest.approx(3 / np.hypot(0.3, 0.8), rel=1e-4)


@pytest.mark.parametrize(
    "g", [lambda u: np.ones(len(u)), lambda u: np.where(u[:, 0] > 3, -1.0, 1.0)]
)
def test_flat_margin_is_not_called_converged(g):
    found = design_point(g, 2)
    assert not found.converged
    assert np.all(np.isnan(found.alpha))


def test_margin_that_is_nan_is_not_called_converged():
    assert not design_point(lambda u: np.full(len(u), np.nan), 2).converged


def test_margin_that_never_fails_is_not_called_converged():
    assert not design_point(lambda u: 1 + np.exp(-u[:, 0]), 1).converged


def test_one_call_makes_a_gradient():
    calls = []

    def g(u):
        calls.append(u.shape)
        return u[:, 0] ** 2 + 3 * u[:, 1]

    value, slope = gradient(g, np.array([2.0, 1.0]))
    assert calls == [(5, 2)]
    assert value == pytest.approx(7.0)
    np.testing.assert_allclose(slope, [4.0, 3.0], rtol=1e-7)


def test_forward_gradient_needs_half_the_rows():
    calls = []

    def g(u):
        calls.append(u.shape)
        return u[:, 0] ** 2 + 3 * u[:, 1]

    value, slope = gradient(g, np.array([2.0, 1.0]), forward=True)
    assert calls == [(3, 2)]
    assert value == pytest.approx(7.0)
    np.testing.assert_allclose(slope, [4.0, 3.0], rtol=1e-4)


@pytest.mark.parametrize("dim", [2, 12])
def test_forward_search_finds_the_same_point_in_fewer_rows(dim):
    def g(u):
        return 3.0 - u[:, 0] + 0.05 * np.sum(u[:, 1:] ** 2, axis=1) + 0.02 * u[:, 0] ** 2

    slow, quick = design_point(g, dim), design_point(g, dim, forward=True)
    assert slow.converged
    assert quick.converged
    np.testing.assert_allclose(quick.u, slow.u, atol=1e-3)
    assert quick.evaluations < (0.85 if dim == 2 else 0.7) * slow.evaluations


def test_search_does_not_creep_along_a_bent_surface():
    """Sum of five uniforms from starts all around: all settle, most in few steps."""

    def g(u):
        return ndtr(u).sum(axis=1) - 0.3

    starts = 2.2 * np.random.default_rng(0).standard_normal((30, 5))
    found = [design_point(g, 5, start, tolerance=0.03, max_iterations=30) for start in starts]
    assert all(point.converged for point in found)
    assert {round(point.beta, 1) for point in found} <= {3.4, 3.5}


def test_evaluations_are_counted():
    rows = []

    def g(u):
        rows.append(len(u))
        return plane([1, 1], 3)(u)

    assert design_point(g, 2).evaluations == sum(rows)
    rows.clear()
    assert design_point(g, 2, [2.0, -1.0], forward=True).evaluations == sum(rows)
    rows.clear()
    assert lowest_on_sphere(g, 2, 3.0).evaluations == sum(rows)
    rows.clear()
    assert joint_design_point((g, g), 2).evaluations == sum(rows)
    assert min(rows) == 1  # a value alone needs no gradient


@settings(max_examples=30, deadline=None)
@given(vectors, st.floats(0.5, 30))
def test_lowest_point_of_a_plane_on_a_sphere(normal, beta):
    found = lowest_on_sphere(plane(normal, 2.0), len(normal), beta)
    alpha = np.array(normal) / np.linalg.norm(normal)
    np.testing.assert_allclose(found.u, beta * alpha, atol=2e-3 * beta)
    assert found.margin == pytest.approx(2.0 - beta, abs=1e-3 * beta)
    assert np.linalg.norm(found.u) == pytest.approx(beta)


@pytest.mark.parametrize("beta", [1.0, 3.0, 6.0])
def test_lowest_point_beats_a_dense_scan_of_the_circle(beta):
    def g(u):
        return 5 - u[:, 0] - 0.5 * u[:, 1] + 0.05 * u[:, 0] ** 2 + 0.1 * u[:, 0] * u[:, 1]

    angle = np.linspace(0, 2 * np.pi, 20_001)
    scan = g(beta * np.column_stack([np.cos(angle), np.sin(angle)])).min()
    best = min(
        lowest_on_sphere(g, 2, beta, start).margin for start in ([1, 0], [0, 1], [1, 1], [1, -1])
    )
    assert best == pytest.approx(scan, abs=1e-3)


def test_design_point_is_the_lowest_point_at_its_own_distance():
    def g(u):
        return 5 - u.sum(axis=1) + 0.1 * u[:, 0] ** 2

    point = design_point(g, 3)
    found = lowest_on_sphere(g, 3, point.beta)
    np.testing.assert_allclose(found.u, point.u, atol=0.02)
    assert found.margin == pytest.approx(0.0, abs=1e-3)


def test_sphere_of_a_flat_margin_still_gives_a_point():
    found = lowest_on_sphere(lambda u: np.ones(len(u)), 3, 2.0)
    assert np.linalg.norm(found.u) == pytest.approx(2.0)
    assert not found.converged


def test_corner_of_two_planes():
    corner = joint_design_point((lambda u: 2 - u[:, 0], lambda u: 3 - u[:, 1]), 2)
    assert corner.converged
    np.testing.assert_allclose(corner.u, [2, 3], atol=1e-4)


def test_idle_surface_leaves_the_plane_alone():
    found = joint_design_point((plane([1, 1], 3), lambda u: -5 - u[:, 0]), 2)
    assert found.beta == pytest.approx(3.0, rel=1e-4)


def test_start_on_the_surface_does_not_spoil_the_scaling():
    g = plane([1, 1], 3)
    start = design_point(g, 2).u
    found = joint_design_point((g, lambda u: 4 - u[:, 0]), 2, start)
    assert found.converged
    assert found.u[0] == pytest.approx(4.0, abs=1e-4)


def test_surfaces_that_never_meet_are_not_called_converged():
    assert not joint_design_point((lambda u: 2 - u[:, 0], lambda u: 1 + u[:, 0]), 1).converged


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: design_point(plane([1.0], 1), 0), "got 0"),
        (lambda: design_point(plane([1.0], 1), 1, [1.0, 2.0]), r"\(2,\)"),
        (lambda: design_point(plane([1.0], 1), 1, [np.nan]), "finite"),
        (lambda: lowest_on_sphere(plane([1.0], 1), 1, 0.0), "got 0"),
        (lambda: lowest_on_sphere(plane([1.0], 1), 1, np.inf), "got inf"),
    ],
)
def test_bad_arguments_are_refused_with_their_value(call, told):
    with pytest.raises(InputError, match=told):
        call()
