"""Single-lap coupons against the beam equation and limits."""

import math

import numpy as np
import pytest
from scipy.integrate import quad, solve_bvp

from jointrisk.errors import InputError
from jointrisk.mechanics import lap


def moment_factor_by_beam(shear, L, h, E, nu):
    """k from the bending of strip and lap under tension, solved as a boundary-value problem.

    Strip of stiffness D from its pivot to the lap, lap of 8 D to its middle (by symmetry no
    deflection from the load line there); the axis jumps by h/2 at the lap's end.
    """
    load, D = shear * L, E * h**3 / 12 / (1 - nu**2)
    free, half = 30 * math.sqrt(D / load), L / 2
    slope = h / (2 * (free + half))  # load line against the strips

    def equations(x, y):
        # x in 0..1 maps both parts; y = deflection and slope of strip, then of lap
        strip = (slope * free * x - y[0]) * load / D
        lapped = (slope * (free + half * x) - h / 2 - y[2]) * load / (8 * D)
        return np.vstack([free * y[1], -free * strip, half * y[3], -half * lapped])

    def ends(a, b):
        return np.array([a[0], b[0] - a[2], b[1] - a[3], b[2]])

    x = 1 - np.geomspace(1, 1e-4, 400)
    mesh = np.unique(np.concatenate([x, [0.0, 1.0]]))
    found = solve_bvp(equations, ends, mesh, np.zeros((4, mesh.size)), tol=1e-8, max_nodes=20_000)
    assert found.success
    moment = load * (slope * free - found.sol(1.0)[0])
    return moment / (load * h / 2)


@pytest.mark.parametrize(
    ("shear", "L", "h", "E"), [(5, 12.5, 1.6, 7e4), (20, 12.5, 1.6, 7e4), (25, 40, 2, 7e4)]
)
def test_moment_factor_against_the_beam_equation(shear, L, h, E):
    found = lap.goland_reissner_factor(shear, L, h, E, 0.33)
    assert found == pytest.approx(moment_factor_by_beam(shear, L, h, E, 0.33), rel=2e-3)


def test_moment_factor_limits():
    assert lap.goland_reissner_factor(0.0, 12.5, 1.6, 7e4, 0.33) == 1
    far = lap.goland_reissner_factor(1e6, 100.0, 1.0, 7e4, 0.33)
    assert far == pytest.approx(1 / (1 + 2 * math.sqrt(2)))


@pytest.mark.parametrize(("E2", "h2"), [(7e4, 1.6), (2e5, 1.6), (7e4, 5.0), (1e4, 1.0)])
def test_peak_ratio_against_the_stress_it_belongs_to(E2, h2):
    """tau = A cosh + B sinh fixed by strains at the ends; mean by quadrature."""
    L, G, t, s1, s2 = 25.0, 700.0, 0.2, 7e4 * 1.6, E2 * h2
    w = math.sqrt(G / t * (1 / s1 + 1 / s2))
    start, end = -G / t / s1 / w, G / t / s2 / w  # slopes over w for unit load
    a = (end - start * math.cosh(w * L)) / math.sinh(w * L)

    def stress(x):
        return a * math.cosh(w * x) + start * math.sinh(w * x)

    mean = quad(stress, 0, L)[0] / L
    assert mean == pytest.approx(1 / L)  # equilibrium with the unit load
    ratio = lap.volkersen_peak_ratio(L, 1.6, h2, 7e4, E2, t, G)
    assert ratio == pytest.approx(max(stress(0), stress(L)) / mean, rel=1e-9)


def test_peak_ratio_of_a_short_lap_is_one():
    assert lap.volkersen_peak_ratio(1e-3, 1.6, 1.6, 7e4, 7e4, 0.2, 700) == pytest.approx(1)


def test_strip_yield():
    """Stretch plus bending reach the yield stress on the surface."""
    shear = lap.strip_yield_shear(12.5, 1.6, 270.0, 0.7)
    load = shear * 12.5
    assert load / 1.6 + 6 * (0.7 * load * 1.6 / 2) / 1.6**2 == pytest.approx(270.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: lap.goland_reissner_factor(1, 1, 1, 1, 0.7), r"^poisson_ratio .* got 0\.7$"),
        (lambda: lap.goland_reissner_factor(-1, 1, 1, 1, 0.3), r"^mean_shear .* got -1$"),
        (lambda: lap.volkersen_peak_ratio(1, 1, -2, 1, 1, 1, 1), r"^thickness_2 .* got -2$"),
        (lambda: lap.volkersen_peak_ratio(1, 1, 1, 0, 1, 1, 1), r"^modulus_1 .* got 0$"),
        (lambda: lap.strip_yield_shear(1, 1, 1, 1.25), r"^moment_factor .* got 1\.25$"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(InputError, match=message):
        call()
