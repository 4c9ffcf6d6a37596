"""Members against text-book figures (from memory, each with its arithmetic)."""

import math

import pytest

from jointrisk.mechanics import lap, members


def test_euler_of_a_round_bar():
    """Steel bar 20 mm, 1 m, pinned: I = pi d^4/64 = 7854 mm4, pi^2 210000 7854/1e6 = 16.28 kN."""
    assert members.euler_load(1000.0, 10.0, 0.0, 210_000.0) == pytest.approx(16_278, rel=1e-3)


@pytest.mark.parametrize("slenderness", [0.2, 0.5, 1.0, 1.5, 2.0, 3.0])
def test_steel_column_curve(slenderness):
    """Curve a of EN 1993-1-1, 6.3.1.2 (from memory): Perry with imperfection 0.21.

    chi = 1/(Phi + sqrt(Phi^2 - s^2)), Phi = [1 + 0.21 (s - 0.2) + s^2]/2; the imperfection stands
    for bow A R/I. Printed tables give 0.666 at s = 1.
    """
    strength, modulus, outer, inner = 275.0, 210_000.0, 30.0, 27.0
    gyration = math.sqrt(outer**2 + inner**2) / 2
    length = slenderness * math.pi * math.sqrt(modulus / strength) * gyration
    bow = 0.21 * (slenderness - 0.2) * gyration**2 / outer
    found = members.strut_perry_robertson(length, outer, inner, modulus, strength, bow)
    ratio = found / members.tube_net_tension(outer, inner, strength)
    phi = (1 + 0.21 * (slenderness - 0.2) + slenderness**2) / 2
    assert ratio == pytest.approx(1 / (phi + math.sqrt(phi**2 - slenderness**2)), rel=1e-9)
    if slenderness == 1.0:
        assert ratio == pytest.approx(0.666, abs=5e-4)


def test_secant_formula_of_an_eccentric_column():
    """Load at the edge of the kern of a stocky bar halves its strength: sigma = 2 F/A."""
    bar = members.strut_perry_robertson(1.0, 10.0, 0.0, 2e5, 200.0, 0.0, 10.0 / 4)
    assert bar == pytest.approx(members.tube_net_tension(10.0, 0.0, 200.0) / 2, rel=1e-4)


@pytest.mark.parametrize(("ratio", "knockdown"), [(100, 0.581), (500, 0.322), (1000, 0.224)])
def test_shell_knockdown(ratio, knockdown):
    """NASA SP-8007 knock-down, worked by hand from its formula (from memory)."""
    wall = 2.0 / (2 * ratio + 1)  # outer radius 1 and mean radius `ratio` walls
    force = members.wall_buckling_sp8007(1.0, 1.0 - wall, 1.0, 1.0)
    stress = force / (math.pi * (1 - (1 - wall) ** 2))
    assert stress * ratio / 0.605 == pytest.approx(knockdown, abs=2e-3)


def test_standard_aluminium_coupon_yields_at_eleven():
    """12.5 mm lap of 1.6 mm strips, yield 270 MPa: strips give way from about 11 MPa mean."""
    shear = 11.0
    k = lap.goland_reissner_factor(shear, 12.5, 1.6, 7e4, 0.33)
    assert lap.strip_yield_shear(12.5, 1.6, 270.0, k) == pytest.approx(shear, rel=0.05)
