"""A pin through tube and insert, against equilibrium worked by hand and by quadrature."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from jointrisk.errors import InputError
from jointrisk.mechanics import backup, members

PINNED = {
    "pin_diameter": 4.0, "pin_shear_strength": 300.0, "outer": 8.0, "inner": 7.0,
    "end_distance": 12.0, "bearing_strength": 500.0, "wall_shear_strength": 200.0,
    "tensile_strength": 310.0,
}  # fmt: skip


def net_area(outer, inner, hole):
    """Ring less the strip within half a hole of the pin's axis, by chords."""

    def chord(y):
        return 2 * (math.sqrt(outer**2 - y**2) - math.sqrt(max(inner**2 - y**2, 0)))

    strip = quad(chord, 0, hole / 2, points=[inner] if inner < hole / 2 else None, epsabs=1e-12)
    return math.pi * (outer**2 - inner**2) - 2 * strip[0]


# Each limit --------------------------------------------------------------------------------------


def test_pin_in_double_shear_by_hand():
    """4 mm pin: pi/4 x 16 = 12.566 mm2; two planes x 12.566 x 300 MPa = 7540 N."""
    assert backup.pin_shear(4.0, 300.0) == pytest.approx(7540, abs=0.5)
    assert backup.pin_shear(4.0, 300.0, 1) == pytest.approx(3770, abs=0.5)


def test_bearing_by_hand():
    """4 mm x 1 mm x 500 MPa = 2000 N on a wall, two walls."""
    assert backup.hole_bearing(4.0, 1.0, 500.0) == 4000
    assert backup.hole_bearing(4.0, 1.0, 500.0, 1) == 2000


def test_shear_out_by_hand():
    """10 mm x 1 mm x 200 MPa = 2000 N on a plane, two planes a wall, two walls."""
    assert backup.shear_out(10.0, 1.0, 200.0) == 8000
    assert backup.shear_out(10.0, 1.0, 200.0, 1) == 4000


@pytest.mark.parametrize(
    ("outer", "inner", "hole"),
    [(8, 7, 4), (8, 7, 0.1), (8, 7, 13.9), (8, 7, 15), (8, 1, 4), (6.8, 0, 4), (20, 19, 6)],
)
def test_net_section_by_quadrature(outer, inner, hole):
    found = backup.drilled_tube_tension(outer, inner, hole, 310.0)
    assert found == pytest.approx(310 * net_area(outer, inner, hole), rel=1e-8)


def test_thin_wall_loses_two_holes():
    """Ring 2 pi x 100 x 0.01 less 2 x 2 x 0.01."""
    found = backup.drilled_tube_tension(100.005, 99.995, 2.0, 1.0)
    assert found == pytest.approx((2 * math.pi * 100 - 4) * 0.01, rel=1e-6)


def test_net_section_between_whole_tube_and_nothing():
    whole = members.tube_net_tension(8.0, 7.0, 310.0)
    assert backup.drilled_tube_tension(8.0, 7.0, 1e-9, 310.0) == pytest.approx(whole)
    assert backup.drilled_tube_tension(8.0, 7.0, 16 * (1 - 1e-9), 310.0) < 1e-3 * whole
    assert backup.drilled_tube_tension(8.0, 7.0, 4, 310.0, 2.5) == pytest.approx(
        backup.drilled_tube_tension(8.0, 7.0, 4, 310.0) / 2.5
    )


sizes = st.tuples(st.floats(1, 50), st.floats(0, 0.99), st.floats(0.01, 0.98))


@settings(deadline=None, max_examples=80)
@given(sizes, st.floats(1.01, 2), st.floats(0.1, 10))
def test_a_larger_hole_leaves_less_and_all_sizes_together_scale_as_area(size, more, scale):
    outer, hollow, cut = size
    inner, hole = hollow * outer, 2 * outer * cut
    found = backup.drilled_tube_tension(outer, inner, hole, 100.0)
    assert 0 < found < members.tube_net_tension(outer, inner, 100.0)
    wider = hole + (2 * outer - hole) * (more - 1) / 2
    assert backup.drilled_tube_tension(outer, inner, wider, 100.0) < found
    scaled = backup.drilled_tube_tension(*(scale * np.array([outer, inner, hole])), 100.0)
    assert scaled == pytest.approx(scale**2 * found, rel=1e-7)


# All of them -------------------------------------------------------------------------------------


def test_least_by_hand():
    """Pin 7540 N; bearing 4 x 1 x 2 x 500 = 4000 N; shear-out 4 x (12 - 2) x 200 = 8000 N;
    net section 310 x (47.12 - about 8.2) = 12.1 kN.
    """
    found = backup.backup_capacity(**PINNED)
    assert found.force == 4000
    assert backup.GOVERNS[found.governs] == "bearing"


@pytest.mark.parametrize(
    ("weaker", "name", "force"),
    [
        ({"pin_shear_strength": 100}, "pin", 2 * 4 * math.pi * 100),
        ({"bearing_strength": 300}, "bearing", 2 * 4 * 300),
        ({"wall_shear_strength": 40}, "shear-out", 4 * 10 * 40),
        ({"end_distance": 4}, "shear-out", 4 * 2 * 200),
        ({"end_distance": 5, "hole": 4.4}, "shear-out", 4 * 2.8 * 200),
        ({"tensile_strength": 50}, "net section", 50 * net_area(8, 7, 4)),
        ({"tensile_strength": 100, "hole": 5}, "net section", 100 * net_area(8, 7, 5)),
        ({"stress_concentration": 3.3}, "net section", 310 / 3.3 * net_area(8, 7, 4)),
        ({"planes": 1}, "pin", math.pi * 4 * 300),
        ({"sides": 1}, "bearing", 2000),
    ],
)
def test_each_limit_governs_where_it_is_the_weakest(weaker, name, force):
    found = backup.backup_capacity(**(PINNED | weaker))
    assert backup.GOVERNS[found.governs] == name
    assert found.force == pytest.approx(force, rel=1e-8)


def test_solid_insert_is_a_wall_without_bore():
    """Bearing on the whole chord 2 r_p: 2 x 4 x 6.8 x 20 = 1088 N."""
    insert = PINNED | {"outer": 6.8, "inner": 0.0, "bearing_strength": 20.0}
    assert backup.backup_capacity(**insert).force == pytest.approx(1088)


strengths = st.floats(1, 1000)


@settings(deadline=None, max_examples=80)
@given(strengths, strengths, strengths, strengths, st.floats(1.01, 5))
def test_force_follows_the_weakest_strength(pin, bearing, shear, tension, factor):
    named = {
        "pin_shear_strength": pin, "bearing_strength": bearing,
        "wall_shear_strength": shear, "tensile_strength": tension,
    }  # fmt: skip
    found = backup.backup_capacity(**(PINNED | named))
    stronger = {name: value * factor for name, value in named.items()}
    together = backup.backup_capacity(**(PINNED | stronger))
    assert together.force == pytest.approx(factor * found.force)
    assert together.force > found.force
    for place, name in enumerate(named):
        one = backup.backup_capacity(**(PINNED | named | {name: named[name] * factor}))
        assert one.force >= found.force
        if place != found.governs:
            assert one.force == found.force


def test_arrays_and_scalars_go_the_same_way():
    pins, walls = np.array([[1.0], [3.0], [5.0]]), np.array([7.0, 7.5])
    many = backup.backup_capacity(**(PINNED | {"pin_diameter": pins, "inner": walls}))
    assert many.force.shape == many.governs.shape == (3, 2)
    assert len(np.unique(many.governs)) > 1
    for i, pin in enumerate(pins[:, 0]):
        for j, wall in enumerate(walls):
            one = backup.backup_capacity(**(PINNED | {"pin_diameter": pin, "inner": wall}))
            assert (one.force, one.governs) == (many.force[i, j], many.governs[i, j])
            assert np.ndim(one.force) == 0


# Refusals ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: backup.pin_shear(0, 1), r"^diameter must be .* got 0$"),
        (lambda: backup.pin_shear(1, -4), r"^shear_strength must be .* got -4$"),
        (lambda: backup.pin_shear(1, 1, 0), r"^planes must be .* at least 1; got 0$"),
        (lambda: backup.hole_bearing(1, math.nan, 1), r"^wall must be .* got nan$"),
        (lambda: backup.hole_bearing(1, 1, 0), r"^bearing_strength must be .* got 0$"),
        (lambda: backup.shear_out(-2, 1, 1), r"^edge_distance must be .* got -2$"),
        (lambda: backup.shear_out(1, 1, 1, 0.5), r"^sides must be .* got 0\.5$"),
        (lambda: backup.drilled_tube_tension(8, 9, 4, 1), r"^inner .* got 9 against 8$"),
        (lambda: backup.drilled_tube_tension(8, 7, 16, 1), r"^hole .* got 16 against 16$"),
        (lambda: backup.drilled_tube_tension(8, 7, 4, 1, 0.8), r"^stress_conc.* got 0\.8$"),
        (lambda: backup.drilled_tube_tension([8, 9], 7, [1, 2, 3], 1), r"\(2,\), hole \(3,\)"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(InputError, match=message):
        call()


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"pin_shear_strength": 0}, r"^pin_shear_strength must be .* got 0$"),
        ({"wall_shear_strength": -1}, r"^wall_shear_strength must be .* got -1$"),
        ({"tensile_strength": 0}, r"^tensile_strength must be .* got 0$"),
        ({"inner": 8.5}, r"^inner must be less than outer; got 8\.5 against 8$"),
        ({"hole": 3.9}, r"^pin_diameter must be less than hole; got 4 against 3\.9$"),
        ({"end_distance": 2}, r"^half hole .* end_distance; got 2 against 2$"),
        ({"pin_diameter": [3, 4], "outer": [8, 9, 10]}, r"pin_diameter \(2,\), outer \(3,\)"),
        ({"planes": [1, 2], "sides": [1, 2, 2]}, r"pin \(2,\), bearing \(3,\)"),
    ],
)
def test_refusals_of_the_whole(changed, message):
    with pytest.raises(InputError, match=message):
        backup.backup_capacity(**(PINNED | changed))
