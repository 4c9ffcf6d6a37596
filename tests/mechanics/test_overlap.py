"""Compliance of members and layer against integrals of the shear they stand for."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from jointrisk.errors import InputError
from jointrisk.mechanics.overlap import (
    overlap_of,
    plug_shear_compliance,
    tube_shear_compliance,
)

TUBES = [(8.0, 6.8, 0.2), (14.0, 5.0, 0.5), (20.3, 20.0, 0.1), (30.0, 3.0, 1.0)]


def mean_lag_of_tube(R, r_i, G):
    """Area mean of the axial lag behind the bore for unit stress there, shear 0 at R.

    Uniform axial stress growth in the ring: r tau(r) = r_i (R^2 - r^2)/(R^2 - r_i^2).
    """
    ring = R**2 - r_i**2

    def lag(r):
        return quad(lambda s: r_i * (R**2 - s**2) / (ring * s * G), r_i, r)[0]

    return quad(lambda r: lag(r) * 2 * r / ring, r_i, R)[0]


def mean_lag_of_plug(r_p, r_b, G):
    ring = r_p**2 - r_b**2

    def lag(r):
        return quad(lambda s: r_p * (s**2 - r_b**2) / (ring * s * G), r, r_p)[0]

    return quad(lambda r: lag(r) * 2 * r / ring, r_b, r_p)[0]


@pytest.mark.parametrize(("R", "r_p", "t"), TUBES)
def test_tube_against_its_integral(R, r_p, t):
    # Bond stress acts at r_m on the drawing but at r_i on the tube: same force, so r_m/r_i.
    expected = mean_lag_of_tube(R, r_p + t, 4000.0) * (r_p + t / 2) / (r_p + t)
    assert tube_shear_compliance(R, r_p, t, 4000.0) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("r_p", "r_b"), [(6.8, 3.4), (6.8, 0.5), (6.8, 6.5), (6.8, 0.0)])
def test_plug_against_its_integral(r_p, r_b):
    expected = mean_lag_of_plug(r_p, r_b, 26_000.0) * (r_p + 0.1) / r_p
    found = plug_shear_compliance(r_p, 0.2, 26_000.0, r_b)
    assert found == pytest.approx(expected, rel=1e-8)


def test_solid_plug_and_thin_walls():
    """r_m/(4 G) for a bar; h/(3 G) for a wall bent into a large circle."""
    assert plug_shear_compliance(6.0, 0.2, 26_000.0) == pytest.approx(6.1 / 104_000)
    assert plug_shear_compliance(1000.0, 0.2, 1.0, 999.0) == pytest.approx(1 / 3, rel=2e-3)
    assert tube_shear_compliance(1001.2, 1000.0, 0.2, 1.0) == pytest.approx(1 / 3, rel=2e-3)


def test_thin_layer_is_its_gap():
    joint = overlap_of(600.0, 500.0, 0.2, 10.0, 1.0, 1.0, 0.0)
    assert joint.layer == pytest.approx(0.2, rel=1e-6)
    assert joint.width == pytest.approx(2 * math.pi * 500.1)


def test_shares_follow_the_softer_member():
    joint = overlap_of(8.0, 6.0, 0.5, 10.0, [1.0, 1e9, 1e30], [1e9, 1.0, 1.0], 0.0)
    assert joint.plug_share[0] < 1e-8
    assert joint.plug_share[1] > 1 - 1e-8
    assert joint.plug_share[2] < 1
    np.testing.assert_allclose(
        joint.softness, joint.width * (1 / joint.plug_stiffness + 1 / joint.tube_stiffness)
    )


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: tube_shear_compliance(8, 6.8, 0.2, -4.0), r"tube_shear_modulus .* got -4$"),
        (lambda: plug_shear_compliance(6.8, 0.2, 0.0), r"plug_shear_modulus .* got 0$"),
        (lambda: plug_shear_compliance(6.8, 0.2, 1.0, 7.5), r"got 7\.5 against 6\.8$"),
        (lambda: tube_shear_compliance(6.9, 6.8, 0.2, 1.0), r"got 7 against 6\.9$"),
        (lambda: tube_shear_compliance([8, 9], 6.8, [0.1] * 3, 1.0), r"\(2,\), gap \(3,\)"),
        (lambda: plug_shear_compliance([8, 9], [0.1] * 3, 1.0), r"\(2,\), gap \(3,\)"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(InputError, match=message):
        call()
