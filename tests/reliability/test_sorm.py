"""Second order against quadrature of the paraboloid and against exact unions."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import quad
from scipy.special import ndtr

from jointrisk import spread
from jointrisk.reliability.form import design_point
from jointrisk.reliability.sorm import breitung, curvatures, paraboloid, sorm, tvedt, union_bounds
from jointrisk.reliability.space import Problem, Space

UNIT = spread.Normal(0.0, 1.0)


def bowl(beta, kappa):
    """Margin of a paraboloid whose axis is the first coordinate."""
    kappa = np.asarray(kappa)
    return lambda u: beta - u[:, 0] + 0.5 * u[:, 1:] ** 2 @ kappa


def problem(g, dim):
    names = [f"x{i}" for i in range(dim)]
    return Problem(
        Space.of(dict.fromkeys(names, UNIT)), lambda x: g(np.column_stack([x[n] for n in names]))
    )


@pytest.mark.parametrize(
    ("beta", "kappa"), [(0.0, 0.3), (0.5, -1.5), (3.0, 0.2), (3.0, -0.2), (3.0, 5.0), (6.0, -0.1)]
)
def test_paraboloid_of_one_curvature_by_quadrature(beta, kappa):
    exact = quad(
        lambda v: stats.norm.pdf(v) * stats.norm.sf(beta + 0.5 * kappa * v * v),
        -14,
        14,
        points=[-3, 0, 3],
        epsabs=0,
        limit=200,
    )[0]
    assert paraboloid(beta, [kappa]) == pytest.approx(exact, rel=1e-6)


@pytest.mark.parametrize("kappa", [0.05, 2.0])
@pytest.mark.parametrize("count", [9, 50])
def test_paraboloid_of_like_curvatures_is_a_chi_square(kappa, count):
    exact = quad(
        lambda q: stats.chi2(count).pdf(q) * stats.norm.sf(2.0 + 0.5 * kappa * q),
        0,
        300,
        points=[1, 5, 10, 30, 60],
        epsabs=0,
        limit=300,
    )[0]
    assert paraboloid(2.0, [kappa] * count) == pytest.approx(exact, rel=1e-5)


def test_paraboloid_of_unlike_curvatures_far_out():
    beta, bend = 9.0, (0.15, -0.06)
    v = np.linspace(-14, 14, 1401)
    plane = beta + 0.5 * (bend[0] * v[:, None] ** 2 + bend[1] * v**2)
    # The trapezoid rule is exact to rounding for a smooth integrand that dies at both ends.
    grid = stats.norm.pdf(v)[:, None] * stats.norm.pdf(v) * stats.norm.sf(plane)
    exact = grid.sum() * (v[1] - v[0]) ** 2
    assert paraboloid(beta, bend) == pytest.approx(exact, rel=1e-6)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.0, 30.0), st.lists(st.floats(0.0, 3.0), max_size=8))
def test_bending_away_lowers_the_chance(beta, kappa):
    flat = ndtr(-beta)
    assert paraboloid(beta, kappa) <= flat * (1 + 1e-6)
    assert paraboloid(beta, [*kappa, 0.5]) < paraboloid(beta, kappa) * (1 + 1e-9)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.0, 35.0), st.integers(0, 30))
def test_all_formulas_agree_on_a_plane(beta, count):
    flat = np.zeros(count)
    for formula in (paraboloid, breitung, tvedt):
        assert formula(beta, flat) == pytest.approx(ndtr(-beta), rel=1e-6)


def test_breitung_is_the_limit_of_far_points():
    errors = [
        abs(breitung(beta, [1 / beta]) / paraboloid(beta, [1 / beta]) - 1)
        for beta in (2.0, 4.0, 8.0, 16.0)
    ]
    assert all(b < 0.4 * a for a, b in pairwise(errors))


def test_three_terms_are_nearer_than_one():
    for beta, kappa in ((3.0, [0.2]), (4.0, [0.1, 0.1]), (3.0, [-0.1])):
        exact = paraboloid(beta, kappa)
        assert abs(tvedt(beta, kappa) - exact) < abs(breitung(beta, kappa) - exact)


def test_three_terms_have_no_value_where_they_do_not_hold():
    assert np.isnan(tvedt(1.0, [-0.6]))


@pytest.mark.parametrize("unit", [1e-6, 1.0, 1e6])
def test_curvatures_in_turned_axes_and_any_unit(unit):
    rng = np.random.default_rng(3)
    turn = np.linalg.qr(rng.standard_normal((5, 5)))[0]
    wanted = [-0.1, 0.0, 0.05, 0.3]

    def g(u):
        return unit * bowl(3.0, wanted)(u @ turn)

    found, used = curvatures(g, design_point(g, 5))
    np.testing.assert_allclose(found, wanted, atol=2e-3)
    assert used == 11 + 4 * 10


def test_sphere_has_the_curvature_of_its_radius():
    def g(u):
        return 4.0 - np.linalg.norm(u, axis=1)

    found, _ = curvatures(g, design_point(g, 3, [1.0, 0.5, 0.2]))
    np.testing.assert_allclose(found, [-0.25, -0.25], rtol=1e-3)


@settings(max_examples=30, deadline=None)
@given(st.floats(0.5, 5.0), st.floats(0.5, 5.0), st.floats(-0.95, 0.95))
def test_union_of_two_half_spaces_is_exact(first, second, rho):
    """Two normals at correlation rho; the chance of both from scipy."""
    single = np.array([ndtr(-first), ndtr(-second)])
    both = stats.multivariate_normal([0, 0], [[1, rho], [rho, 1]]).cdf([-first, -second])
    low, high = union_bounds(single, [[1.0, 0.0], [rho, np.sqrt(1 - rho**2)]])
    assert low == pytest.approx(high, rel=1e-12)
    assert low == pytest.approx(single.sum() - both, rel=1e-6)


@pytest.mark.parametrize("beta", [1.5, 2.0, 3.0])
def test_union_of_independent_half_spaces_lies_between(beta):
    low, high = union_bounds([ndtr(-beta)] * 6, np.eye(6))
    exact = -np.expm1(6 * stats.norm.logcdf(beta))
    assert low <= exact <= high


def test_union_of_one_with_itself_is_itself():
    low, high = union_bounds([1e-3, 1e-3], [[1.0, 0.0], [1.0, 0.0]])
    assert low == pytest.approx(1e-3, rel=0.05)
    assert high == pytest.approx(1e-3, rel=0.05)


@pytest.mark.parametrize("kappa", [[0.2], [-0.1], [0.3, 0.1, -0.05]])
def test_whole_method_on_a_paraboloid(kappa):
    found = sorm(problem(bowl(3.5, kappa), len(kappa) + 1), seed=0)
    assert found.settled
    assert found.bounds.estimate == pytest.approx(paraboloid(3.5, kappa), rel=3e-3)
    assert np.isnan(found.bounds.low)
    assert np.isnan(found.cov)


def test_failing_origin_is_turned_inside_out():
    found = sorm(problem(lambda u: -bowl(2.0, [0.4])(u), 2), seed=0)
    assert found.settled
    assert found.bounds.estimate == pytest.approx(1 - paraboloid(2.0, [0.4]), rel=1e-4)


def test_curvature_around_the_origin_is_refused_with_its_number():
    found = sorm(problem(lambda u: 3.5 - np.linalg.norm(u, axis=1), 2), seed=0)
    assert not found.settled
    told = [note for note in found.notes if "1 + beta kappa" in note]
    assert len(told) == 1
    assert abs(float(told[0].split("=")[1])) < 1e-3


def test_labels_are_summed():
    coin = spread.Mixture([(0.99, spread.Fixed(0.0)), (0.01, spread.Fixed(2.0))])
    space = Space.of({"a": UNIT, "b": UNIT, "w": coin})
    found = sorm(Problem(space, lambda x: 4 - x["w"] - x["a"] + 0.1 * x["b"] ** 2), seed=0)
    exact = 0.99 * paraboloid(4.0, [0.2]) + 0.01 * paraboloid(2.0, [0.2])
    assert found.bounds.estimate == pytest.approx(exact, rel=1e-3)


@pytest.mark.parametrize(("level", "exact"), [(1.0, 0.0), (-1.0, 1.0)])
def test_flat_margin_is_not_settled(level, exact):
    found = sorm(problem(lambda u: np.full(len(u), level), 2), seed=0)
    assert not found.settled
    assert found.bounds.estimate == exact


def test_step_is_taken_to_first_order_and_said():
    found = sorm(problem(lambda u: np.where(u[:, 0] > 3, -1.0, 1.0), 2), seed=0)
    assert not found.settled
    assert found.bounds.estimate == pytest.approx(ndtr(-3.0), rel=0.1)
    assert any("did not settle" in note for note in found.notes)
