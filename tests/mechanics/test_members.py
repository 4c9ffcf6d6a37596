"""Members in series with the bond."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from jointrisk.errors import InputError
from jointrisk.mechanics import members

TUBE = (8.0, 7.0)
AREA = math.pi * 15.0
INERTIA = math.pi / 4 * (8**4 - 7**4)


def secant_load(length, modulus, strength, bow, offset):
    """First fibre yield of a strut with a bow and eccentric ends, from the beam equation."""
    euler = math.pi**2 * modulus * INERTIA / length**2

    def excess(force):
        x = force / euler
        arm = bow / (1 - x) + offset / math.cos(math.pi / 2 * math.sqrt(x))
        return force / AREA + force * arm * 8.0 / INERTIA - strength

    return brentq(excess, 1e-9, euler * (1 - 1e-12), xtol=1e-9, rtol=1e-14)


@pytest.mark.parametrize("length", [50.0, 300.0, 600.0, 2000.0])
@pytest.mark.parametrize("bow", [0.0, 0.6, 4.0])
def test_bow_alone_is_exact(length, bow):
    found = members.strut_perry_robertson(length, *TUBE, 8e4, 450.0, bow)
    if bow:
        assert found == pytest.approx(secant_load(length, 8e4, 450.0, bow, 0.0), rel=1e-9)
    else:
        squash, euler = 450 * AREA, math.pi**2 * 8e4 * INERTIA / length**2
        assert found == pytest.approx(min(squash, euler), rel=1e-9)


@pytest.mark.parametrize("length", [50.0, 300.0, 600.0, 2000.0])
@pytest.mark.parametrize(("bow", "offset"), [(0.0, 0.05), (0.0, 1.0), (1.0, 1.0), (0.5, 8.0)])
def test_offset_is_below_the_secant_formula_by_at_most_one_percent(length, bow, offset):
    exact = secant_load(length, 8e4, 450.0, bow, offset)
    found = members.strut_perry_robertson(length, *TUBE, 8e4, 450.0, bow, offset)
    assert 0.99 * exact <= found <= exact * (1 + 1e-9)


@settings(deadline=None, max_examples=100)
@given(
    st.floats(1, 1e5), st.floats(0.01, 0.999), st.floats(1, 1e6), st.floats(0.1, 1e4),
    st.floats(0, 100), st.floats(0, 100), st.floats(0.3, 3),
)  # fmt: skip
def test_strut_holds_less_than_squash_and_euler(length, hollow, E, strength, bow, offset, K):
    found = members.strut_perry_robertson(length, 10.0, 10 * hollow, E, strength, bow, offset, K)
    squash = members.tube_net_tension(10.0, 10 * hollow, strength)
    euler = members.euler_load(length, 10.0, 10 * hollow, E, K)
    assert 0 < found <= min(squash, euler) * (1 + 1e-9)
    crooked = members.strut_perry_robertson(
        length, 10.0, 10 * hollow, E, strength, bow + 1, offset, K
    )
    assert crooked <= found


def test_euler_effective_length():
    straight = members.euler_load(600.0, *TUBE, 8e4)
    assert straight == pytest.approx(math.pi**2 * 8e4 * INERTIA / 600**2)
    assert members.euler_load(600.0, *TUBE, 8e4, 0.5) == pytest.approx(4 * straight)


def test_net_tension_of_a_bar():
    assert members.tube_net_tension(1.0, 0.0, 100.0) == pytest.approx(100 * math.pi)


def test_wall_buckling_limits():
    """Thick walls approach 0.605 E t/R; the knock-down falls with R/t to 0.099."""
    thick = members.wall_buckling_sp8007(10.0, 9.999999 - 2, 1e5, 1e5)
    area = math.pi * (100 - 7.999999**2)
    ratio = 2.000001 / 8.9999995
    knock = 1 - 0.901 * (1 - math.exp(-math.sqrt(1 / ratio) / 16))
    assert thick / area == pytest.approx(knock * 0.605e5 * ratio)
    radius_over_wall = np.array([10, 100, 1000, 1e5, 1e9])
    inner = 1 - 1 / radius_over_wall
    stress = members.wall_buckling_sp8007(1.0, inner, 1.0, 1.0) / (np.pi * (1 - inner**2))
    knocked = stress / 0.605 * (1 + inner) / 2 / (1 - inner)
    assert np.all(np.diff(knocked) < 0)
    assert knocked[-1] == pytest.approx(0.099, abs=1e-6)


def test_wall_buckling_uses_the_geometric_mean_modulus():
    a = members.wall_buckling_sp8007(10.0, 9.5, 9e4, 1e4)
    assert a == pytest.approx(members.wall_buckling_sp8007(10.0, 9.5, 3e4, 3e4))


def test_bearing_counts_only_the_covered_wall():
    full = members.tube_end_bearing(*TUBE, 450.0)
    assert full == pytest.approx(450 * AREA)
    assert members.tube_end_bearing(*TUBE, 450.0, 12.0) == pytest.approx(full)
    assert members.tube_end_bearing(*TUBE, 450.0, 7.5) == pytest.approx(450 * math.pi * 7.25)
    assert members.tube_end_bearing(*TUBE, 450.0, 6.5) == 0


def test_strip_is_linear_in_length_and_strength():
    one = members.thread_strip(6.0, 1.0, 1.0, 1.0)
    assert members.thread_strip(6.0, 1.0, 9.0, 310.0) == pytest.approx(9 * 310 * one)


def test_insert_net_section():
    found = members.insert_net_section(6.8, 6.0, 310.0)
    assert found == pytest.approx(310 * math.pi * (6.8**2 - 3.0**2))


def test_rod_end():
    np.testing.assert_allclose(members.rod_end([1e3, 2e3], 1.2), [1200, 2400])


def test_arrays_and_scalars_go_the_same_way():
    n = np.array([400.0, 600.0, 800.0])
    many = members.strut_perry_robertson(n, *TUBE, 8e4, 450.0, n / 500)
    for length, force in zip(n, many, strict=True):
        one = members.strut_perry_robertson(length, *TUBE, 8e4, 450.0, length / 500)
        assert one == force
        assert np.ndim(one) == 0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: members.tube_net_tension(8, 8.5, 1), r"inner_radius .* got 8\.5 against 8$"),
        (lambda: members.tube_net_tension(8, 7, -3), r"^strength must be .* got -3$"),
        (lambda: members.tube_net_tension(8, [6, 7], [1, 2, 3]), r"\(2,\), strength \(3,\)"),
        (lambda: members.euler_load(0, 8, 7, 1), r"^length must be .* got 0$"),
        (lambda: members.euler_load(9, 8, 7, math.nan), r"^modulus must be .* got nan$"),
        (lambda: members.euler_load(9, 8, 7, 1, -0.5), r"^fixity must be .* got -0\.5$"),
        (lambda: members.strut_perry_robertson(9, 8, 7, 1, 1, -0.2), r"^bow .* got -0\.2$"),
        (lambda: members.strut_perry_robertson(9, 8, 7, 1, 1, 0, -4), r"^load_offset .* got -4$"),
        (lambda: members.wall_buckling_sp8007(8, 7, 1, 0), r"^hoop_modulus .* got 0$"),
        (lambda: members.tube_end_bearing(8, 7, 1, -7), r"^shoulder_radius .* got -7$"),
        (lambda: members.thread_stress_area(1, 0.8), r"1\.3 pitch .* got 1\.04 against 1$"),
        (lambda: members.thread_strip(6, 1, 0, 300), r"^engagement must be .* got 0$"),
        (lambda: members.insert_net_section(3, 6, 300), r"hole_diameter .* got 6 against 6$"),
        (lambda: members.rod_end(-100), r"^static_rating must be .* got -100$"),
        (lambda: members.rod_end([1, 2], [1, 2, 3]), r"\(2,\), strength_ratio \(3,\)"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(InputError, match=message):
        call()
