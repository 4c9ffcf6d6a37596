"""Heat, water, misfit, gap; and the small formulas of `limits`."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.errors import InputError
from jointrisk.mechanics import environment, limits, tubular

POINTS = [(23.0, 1.0), (60.0, 0.55), (80.0, 0.2)]


def test_table_is_read_straight_between_points_and_constant_beyond():
    found = environment.piecewise_factor(POINTS, [-40, 23, 41.5, 60, 70, 80, 200])
    np.testing.assert_allclose(found, [1, 1, 0.775, 0.55, 0.375, 0.2, 0.2])
    assert environment.piecewise_factor([(5.0, 0.3)], 99.0) == 0.3


@pytest.mark.parametrize("middle", [-50.0, 23.0, 30.0, 65.0, 79.0, 200.0])
@pytest.mark.parametrize("order", ["C", "F"])
def test_many_values_are_read_as_few_are(middle, order):
    x = np.array(middle + 30.0 * np.random.default_rng(1).standard_normal((40, 25)), order=order)
    found = environment.piecewise_factor(POINTS, x)
    np.testing.assert_allclose(found, np.interp(x, *np.transpose(POINTS)), rtol=1e-14)
    one = environment.piecewise_factor([(5.0, 0.3)], x)
    assert (one == 0.3).all()


def test_nothing_is_left_from_the_hard_stop_up():
    found = environment.temperature_factor(POINTS, [50.0, 64.9, 65.0, 90.0], 65.0)
    np.testing.assert_allclose(found, [0.55 + 0.45 * 10 / 37, 0.55 - 0.35 * 4.9 / 20, 0, 0])
    np.testing.assert_allclose(
        environment.temperature_factor(POINTS, 60.0, [59.0, 61.0]), [0, 0.55]
    )


def test_misfit_is_positive_when_the_tube_would_be_longer():
    """Aluminium plug in carbon, cooled: the plug shrinks more."""
    cold = environment.misfit_strain(-0.2e-6, 23.5e-6, -20.0, 23.0)
    assert cold == pytest.approx(23.7e-6 * 43)
    assert environment.misfit_strain(11.5e-6, 11.5e-6, 80.0, 23.0) == 0


def test_moisture_corners():
    args = {"time_constant": 0.25, "saturated_factor": 0.45}
    assert environment.moisture_factor(0.0, humidity=1.0, **args) == 1
    assert environment.moisture_factor(50.0, humidity=0.5, **args) == 1
    assert environment.moisture_factor(50.0, humidity=1.0, **args) == pytest.approx(0.45)
    assert environment.moisture_factor(0.25, humidity=0.75, **args) == pytest.approx(
        1 - 0.55 * 0.5 * (1 - 1 / math.e)
    )


@settings(deadline=None, max_examples=100)
@given(st.floats(0, 100), st.floats(0.01, 10), st.floats(0, 1), st.floats(0, 1), st.floats(0, 10))
def test_moisture_never_strengthens_nor_recovers(time, constant, humidity, left, more):
    now = environment.moisture_factor(time, constant, humidity, left)
    later = environment.moisture_factor(time + more, constant, humidity, left)
    assert left * (1 - 1e-12) <= later <= now * (1 + 1e-12)
    assert now <= 1


def test_gap_factor_reads_its_table():
    table = [(0.05, 1.0), (0.25, 1.0), (0.5, 0.85), (1.0, 0.75)]
    np.testing.assert_allclose(
        environment.gap_factor(table, [0.01, 0.25, 0.375, 2.0]), [1, 1, 0.925, 0.75]
    )


def test_interface_toughness():
    np.testing.assert_allclose(limits.interface_toughness(3.0, 0.5, [0, 1, 2]), [3, 1.5, 0.75])


def test_torque_shear_is_in_equilibrium():
    stress = limits.torque_shear([5000.0, -5000.0], 6.8, 0.2, 30.0)
    np.testing.assert_allclose(stress * 2 * math.pi * 6.9 * 30 * 6.9, 5000)


def test_square_law_keeps_the_ductility(joint):
    """`interface_toughness` with exponent 2: force in proportion, as its docstring says."""
    whole = tubular.pull_out(**joint, mode_ii_toughness=0.8).force
    weaker = joint | {"adhesive_shear_strength": 25.0 * 0.35}
    reduced = limits.interface_toughness(0.8, 0.35, 2.0)
    assert tubular.pull_out(**weaker, mode_ii_toughness=reduced).force == pytest.approx(
        0.35 * whole, rel=1e-8
    )


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: environment.piecewise_factor([], 1.0), r"pairs of x and factor; got shape \(0,\)"),
        (lambda: environment.piecewise_factor([(1, 2, 3)], 1.0), r"got shape \(1, 3\)"),
        (lambda: environment.piecewise_factor([(1, 1), (1, 2)], 1.0), r"got 1 after 1$"),
        (lambda: environment.piecewise_factor([(3, 1), (2.5, 2)], 1.0), r"got 2\.5 after 3$"),
        (lambda: environment.piecewise_factor([(1, -0.25)], 1.0), r"factor .* got -0\.25$"),
        (lambda: environment.piecewise_factor([(1, 1), (2,)], 1.0), r"points must be a number"),
        (lambda: environment.piecewise_factor(POINTS, math.nan), r"^x must be finite; got nan$"),
        (lambda: environment.temperature_factor(POINTS, [1, 2], [1, 2, 3]), r"\(2,\), hard_stop"),
        (lambda: environment.moisture_factor(-1, 1, 1, 1), r"^time .* at least 0; got -1$"),
        (lambda: environment.moisture_factor(1, 1, 65, 1), r"^humidity .* at most 1; got 65$"),
        (lambda: environment.moisture_factor(1, 1, 1, 1.5), r"^saturated_factor .* got 1\.5$"),
        (lambda: environment.gap_factor([(1, 1)], 0.0), r"^gap must be .* got 0$"),
        (lambda: environment.misfit_strain(1, 1, math.inf, 1), r"^temperature .* got inf$"),
        (lambda: limits.interface_toughness(1, 1, -2), r"^exponent .* got -2$"),
        (lambda: limits.interface_toughness(1, 0, 2), r"^strength_ratio .* got 0$"),
        (lambda: limits.torque_shear(1, 1, 1, -30), r"^overlap .* got -30$"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(InputError, match=message):
        call()


@given(
    outer=st.floats(-1e-6, 3e-5),
    inner=st.floats(-1e-6, 3e-5),
    radius=st.floats(1.0, 30.0),
    gap=st.floats(0.01, 1.0),
    warmer=st.floats(-120.0, 120.0),
)
def test_a_gap_changes_as_its_two_faces_grow(outer, inner, radius, gap, warmer):
    """Each face grows by its own strain: what the two radii become is counted out."""
    wide = radius + gap
    after = wide * (1 + outer * warmer) - radius * (1 + inner * warmer)
    change = environment.gap_change(outer, inner, wide, radius, 20.0 + warmer, 20.0)
    assert change == pytest.approx(after - gap, abs=1e-12)


def test_one_material_all_through_keeps_the_gap_in_proportion():
    change = environment.gap_change(23.5e-6, 23.5e-6, 7.2, 7.0, 80.0, 20.0)
    assert change == pytest.approx(0.2 * 23.5e-6 * 60.0)


def test_a_bore_inside_its_plug_has_no_gap():
    with pytest.raises(InputError, match=r"inner_radius.*outer_bore_radius.*7.*6\.9"):
        environment.gap_change(0.0, 0.0, 6.9, 7.0, 10.0, 20.0)
