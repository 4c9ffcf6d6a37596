"""Single-lap coupons against the beam equation and limits."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
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


# Ends of the lap --------------------------------------------------------------------------------

COUPONS = [
    (11.0, 12.5, 1.6, 7e4, 0.33, 0.2, 700.0),
    (20.0, 25.0, 3.0, 2.1e5, 0.3, 0.5, 1000.0),
    (5.0, 40.0, 2.0, 7e4, 0.3, 1.0, 60.0),
    (8.0, 10.0, 6.0, 2.1e5, 0.3, 0.3, 120.0),
]


def ends_of(shear, L, h, E, nu):
    """Moment and force across the strip at the lap's end, from the published factors."""
    k = lap.goland_reissner_factor(shear, L, h, E, nu)
    across = lap.goland_reissner_end_force(shear, L, h, E, nu)
    return k * shear * L * h / 2, across * shear * L * 2 * h / L


def test_force_across_is_the_slope_of_the_moment():
    """In a long strip the moment falls as exp(-sqrt(T/D) x): its slope at the lap is the force."""
    shear, L, h, E, nu = COUPONS[0][:5]
    moment, force = ends_of(shear, L, h, E, nu)
    D = E * h**3 / 12 / (1 - nu**2)
    assert force == pytest.approx(moment * math.sqrt(shear * L / D))


@pytest.mark.parametrize(("shear", "L", "h", "E", "nu", "t", "G"), COUPONS)
def test_peel_against_two_strips_on_a_bed_of_springs(shear, L, h, E, nu, t, G):
    """Gap s between the strips: D s'''' = -2 (E_a/t) s, ends D s'' = M and D s''' = -+ V."""
    E_a, D = 2.7 * G, E * h**3 / 12 / (1 - nu**2)
    moment, force = ends_of(shear, L, h, E, nu)
    bed = 2 * E_a / t / D

    def equations(x, y):
        return np.vstack([y[1], y[2], y[3], -bed * y[0]])

    def ends(a, b):
        return np.array([a[2] - moment / D, a[3] - force / D, b[2] - moment / D,
                         b[3] + force / D])  # fmt: skip

    x = L / 2 * np.sin(np.linspace(-np.pi / 2, np.pi / 2, 401))
    found = solve_bvp(equations, ends, x, np.zeros((4, x.size)), tol=1e-9, max_nodes=50_000)
    assert found.success
    ratio = lap.goland_reissner_peel_ratio(shear, L, h, E, nu, t, E_a)
    assert ratio == pytest.approx(found.y[0, -1] * E_a / t / shear, rel=1e-5)


@pytest.mark.parametrize(("shear", "L", "h", "E", "nu", "t", "G"), COUPONS)
def test_end_shear_against_the_strains_of_the_faces(shear, L, h, E, nu, t, G):
    """At an end one face is stretched by pull and bending, the other not at all.

    Shear on a face of a strip stretches it by tau/(E h) a length and, turning it about its middle,
    by 3 tau/(E h) more; two strips give tau''' = (G/t) 8/(E h) tau'. The load is the integral.
    """
    load = shear * L
    k = lap.goland_reissner_factor(shear, L, h, E, nu)
    slope = G / t * (1 + 3 * k) * load / (E * h)

    def equations(x, y):  # integral, stress, slope, curvature
        return np.vstack([y[1], y[2], y[3], 8 * G / (t * E * h) * y[2]])

    def ends(a, b):
        return np.array([a[0], b[0] - load, a[2] + slope, b[2] - slope])

    x = L / 2 * np.sin(np.linspace(-np.pi / 2, np.pi / 2, 401))
    guess = np.vstack([np.linspace(0, load, x.size), np.full(x.size, shear), 0 * x, 0 * x])
    found = solve_bvp(equations, ends, x, guess, tol=1e-9, max_nodes=50_000)
    assert found.success
    ratio = lap.goland_reissner_shear_ratio(shear, L, h, E, nu, t, G)
    assert ratio == pytest.approx(found.y[1, -1] / shear, rel=1e-5)


def test_bending_adds_to_volkersens_shear():
    """Volkersen's strips stay straight; bending makes the ends bear more."""
    case = COUPONS[0]
    bent = lap.goland_reissner_shear_ratio(*case)
    straight = lap.volkersen_peak_ratio(case[1], case[2], case[2], case[3], case[3], *case[5:])
    assert bent > straight > 1


def test_peel_of_a_very_long_lap_does_not_overflow():
    ratios = lap.goland_reissner_peel_ratio(5.0, [200.0, 2e4], 1.0, 7e4, 0.3, 0.05, 3000.0)
    assert np.isfinite(ratios).all()


@given(
    L=st.floats(3, 200), h=st.floats(0.5, 12), E=st.floats(2e4, 2.2e5), strength=st.floats(50, 2000)
)
@settings(deadline=None, max_examples=60)
def test_first_yield_of_the_strips_is_where_stretch_and_bending_meet_it(L, h, E, strength):
    shear = lap.first_strip_yield(L, h, E, 0.3, strength)
    k = lap.goland_reissner_factor(shear, L, h, E, 0.3)
    load = shear * L
    assert load / h + 6 * (k * load * h / 2) / h**2 == pytest.approx(strength, rel=1e-9)
    assert lap.first_strip_yield(L, h, E, 0.3, 1.1 * strength) > shear
    assert lap.first_strip_yield(L, 1.1 * h, E, 0.3, strength) > shear
    assert lap.first_strip_yield(1.1 * L, h, E, 0.3, strength) < shear


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: lap.goland_reissner_peel_ratio(1, 1, 1, 1, 0.3, -0.2, 1),
         r"^adhesive_thickness .* got -0\.2$"),
        (lambda: lap.goland_reissner_peel_ratio(1, 1, 1, 1, 0.3, 1, 0),
         r"^adhesive_modulus .* got 0$"),
        (lambda: lap.goland_reissner_shear_ratio(1, 1, 1, 1, 0.3, 1, -7),
         r"^adhesive_shear_modulus .* got -7$"),
        (lambda: lap.goland_reissner_end_force(1, -3, 1, 1, 0.3), r"^overlap .* got -3$"),
        (lambda: lap.first_strip_yield(1, 1, 1, 0.3, -9), r"^yield_strength .* got -9$"),
    ],
)  # fmt: skip
def test_refusals_at_the_ends(call, message):
    with pytest.raises(InputError, match=message):
        call()
