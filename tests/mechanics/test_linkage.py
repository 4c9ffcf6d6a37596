"""Levers, rods in space and sudden loads: text-book examples, virtual work, a falling weight."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation

from jointrisk.errors import InputError
from jointrisk.mechanics import linkage

# A driven lever ----------------------------------------------------------------------------------


def test_hand_on_a_lever_by_hand():
    """100 N at 300 mm, rod at 60 mm: 100 x 300/60 = 500 N square to the arm; /sin 30 = 1000 N."""
    assert linkage.rod_force(100.0, 300 / 60) == pytest.approx(500)
    assert linkage.rod_force(100.0, 300 / 60, math.radians(30)) == pytest.approx(1000)


@settings(deadline=None, max_examples=60)
@given(st.floats(-1e4, 1e4), st.floats(0.01, 100), st.floats(0.01, 3.13), st.floats(0.1, 10))
def test_rod_force_scales_and_is_least_at_a_right_angle(force, ratio, angle, factor):
    found = linkage.rod_force(force, ratio, angle)
    assert linkage.rod_force(factor * force, ratio, angle) == pytest.approx(factor * found)
    assert linkage.rod_force(force, factor * ratio, angle) == pytest.approx(factor * found)
    assert linkage.rod_force(force, ratio, math.pi - angle) == pytest.approx(found)
    assert abs(found) >= abs(linkage.rod_force(force, ratio)) * (1 - 1e-12)


@pytest.mark.parametrize("angle", [0.3, 1.2, 2.0, 2.9])
def test_driven_lever_is_a_two_force_member(angle):
    """Arm of 60 mm along x; the rod leaves its end at `angle` to the arm."""
    end = np.array([60.0, 0.0])
    far = end + 200 * np.array([math.cos(math.pi - angle), math.sin(math.pi - angle)])
    found = linkage.two_force_member(100.0 * 300, end, far, [0.0, 0.0])
    assert found == pytest.approx(linkage.rod_force(100.0, 5.0, angle))


# A rod that holds a part -------------------------------------------------------------------------


def test_strut_of_a_lid_by_hand():
    """Lid hinged at 0, 50 N down at x = 600: it turns by -30 000 N mm, the strut gives +30 000.
    Strut from (400, 0) down to (0, -300): length 500, arm 400 x 300/500 = 240 mm, turning the
    lid down when pulled. So -30 000/240 = -125 N, a push.
    """
    found = linkage.two_force_member(30_000.0, [400, 0], [0, -300], [0, 0])
    assert found == pytest.approx(-125)


def test_rod_in_space_by_hand():
    """Axis z through 0, rod from (100, 0, 0) to (100, 300, 400): unit (0, 0.6, 0.8), arm
    100 x 0.6 = 60 mm, so 6000 N mm need 100 N of tension; 0.8 of it runs along the axis.
    """
    found = linkage.two_force_member(6000.0, [100, 0, 0], [100, 300, 400], [0, 0, 0], [0, 0, 2])
    assert found == pytest.approx(100)


points = st.tuples(*[st.floats(-100, 100)] * 3).map(np.array)


@settings(deadline=None, max_examples=80)
@given(points, points, points, points, st.floats(-1e5, 1e5))
def test_rod_in_space_by_virtual_work(near, far, pivot, axis, moment):
    """Moment x turn + tension x lengthening = 0 for a small turn of the part."""
    assume(np.linalg.norm(axis) > 1 and np.linalg.norm(far - near) > 1)
    axis = axis / np.linalg.norm(axis)

    def length(turn):
        moved = pivot + Rotation.from_rotvec(turn * axis).apply(near - pivot)
        return np.linalg.norm(far - moved)

    longer = (length(1e-4) - length(-1e-4)) / 2e-4
    assume(abs(longer) > 1)
    found = linkage.two_force_member(moment, near, far, pivot, 3 * axis)
    assert found == pytest.approx(-moment / longer, rel=1e-3, abs=1e-9)


@settings(deadline=None, max_examples=60)
@given(points, points, points, st.floats(1, 1e5), st.floats(0.1, 10))
def test_plane_is_space_about_z_and_sizes_and_signs_follow(near, far, pivot, moment, scale):
    near, far, pivot = near[:2], far[:2], pivot[:2]
    r, d = near - pivot, far - near
    assume(abs(r[0] * d[1] - r[1] * d[0]) > 1 + 1e-3 * np.linalg.norm(r) * np.linalg.norm(d))
    found = linkage.two_force_member(moment, near, far, pivot)
    lifted = [np.append(point, 7.0) for point in (near, far, pivot)]
    assert linkage.two_force_member(moment, *lifted, [0, 0, 1]) == pytest.approx(found)
    assert linkage.two_force_member(moment, *lifted, [0, 0, -1]) == pytest.approx(-found)
    assert linkage.two_force_member(-moment, near, far, pivot) == -found
    scaled = linkage.two_force_member(moment, scale * near, scale * far, scale * pivot)
    assert scaled == pytest.approx(found / scale, rel=1e-6)
    beyond = linkage.two_force_member(moment, near, near + 2.5 * d, pivot)
    assert beyond == pytest.approx(found, rel=1e-6)


def test_arrays_and_scalars_go_the_same_way():
    rng = np.random.default_rng(0)
    moment, near = rng.uniform(1e3, 1e4, 5), rng.uniform(50, 100, (5, 3))
    far, axis = np.array([0.0, 200.0, 30.0]), np.array([0.1, 0.2, 1.0])
    many = linkage.two_force_member(moment, near, far, np.zeros(3), axis)
    assert many.shape == (5,)
    for i in range(5):
        one = linkage.two_force_member(moment[i], near[i], far, [0, 0, 0], axis)
        assert one == pytest.approx(many[i], rel=1e-14)
        assert np.ndim(one) == 0
    assert linkage.rod_force(moment, 2.0).shape == (5,)
    assert np.ndim(linkage.rod_force(3.0, 2.0)) == 0
    assert linkage.dynamic_factor(moment, 2.0).shape == (5,)


# Sudden loads ------------------------------------------------------------------------------------


def test_sudden_load_counts_twice():
    assert linkage.dynamic_factor() == 2
    assert linkage.dynamic_factor(0.0, 0.3) == 2
    np.testing.assert_array_equal(linkage.dynamic_factor(np.zeros(3)), [2, 2, 2])


def test_drop_by_hand():
    """12 mm on a path that gives 1 mm at rest: 1 + sqrt(1 + 24) = 6."""
    assert linkage.dynamic_factor(12.0, 1.0) == pytest.approx(6)


@pytest.mark.parametrize(("height", "give"), [(0.0, 1.0), (0.5, 1.0), (10.0, 0.5), (200.0, 3.0)])
def test_drop_against_the_motion_of_a_weight_on_a_spring(height, give):
    """x'' = g (1 - x/give) from x = 0 with the speed of the fall; the factor is max x/give."""
    g = 9810.0

    def motion(_, state):
        return [state[1], g * (1 - state[0] / give)]

    def turning(_, state):
        return state[1] - 1e-12

    turning.direction, turning.terminal = -1, True
    start = [0.0, math.sqrt(2 * g * height)]
    period = 2 * math.pi * math.sqrt(give / g)
    run = solve_ivp(motion, (0, period), start, events=turning, rtol=1e-10, atol=1e-10)
    assert linkage.dynamic_factor(height, give) == pytest.approx(run.y[0].max() / give, rel=1e-6)


@settings(deadline=None, max_examples=60)
@given(st.floats(1e-3, 1e4), st.floats(1e-3, 1e3), st.floats(1.01, 10))
def test_drop_grows_with_height_and_with_stiffness_by_their_ratio_alone(height, give, factor):
    found = linkage.dynamic_factor(height, give)
    assert found > 2
    assert linkage.dynamic_factor(factor * height, factor * give) == pytest.approx(found)
    assert linkage.dynamic_factor(factor * height, give) > found
    assert linkage.dynamic_factor(height, factor * give) < found
    # energy: weight x (height + largest give) = half spring x give squared
    assert height + found * give == pytest.approx(found**2 * give / 2)


# Refusals ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: linkage.rod_force(math.inf, 1), r"^input_force must be finite; got inf$"),
        (lambda: linkage.rod_force(1, 0), r"^arm_ratio must be .* got 0$"),
        (lambda: linkage.rod_force(1, 1, 0), r"^angle_between must be .* got 0$"),
        (lambda: linkage.rod_force(1, 1, 30), r"^angle_between in radians .* got 30 against 3\.14"),
        (lambda: linkage.rod_force([1, 2], [1, 2, 3]), r"input_force \(2,\), arm_ratio \(3,\)"),
        (lambda: linkage.two_force_member(math.nan, [1, 0], [1, 1], [0, 0]), r"^moment .* got nan"),
        (lambda: linkage.two_force_member(1, [1, 0], [1, 0], [0, 0]), r"^far_end minus .* got 0$"),
        (lambda: linkage.two_force_member(1, [1, 0], [3, 0], [0, 0]), r"^near_end and .* arm 0 mm"),
        (lambda: linkage.two_force_member(1, [0, 0], [3, 0], [0, 0]), r"lever arm 0 mm$"),
        (
            lambda: linkage.two_force_member(1, [1, 0, 0], [1, 0, 5], [0, 0, 0], [0, 0, 1]),
            r"lever arm 0 mm$",
        ),
        (
            lambda: linkage.two_force_member(1, [1, 0], [1, 1], [0, 0], [0, 0, 1]),
            r"^axis .* got \[0, 0, 1\] with 2 coordinates$",
        ),
        (
            lambda: linkage.two_force_member(1, [1, 0, 0], [1, 1, 0], [0, 0, 0]),
            r"^axis .* got None with 3 coordinates$",
        ),
        (
            lambda: linkage.two_force_member(1, [1, 0, 0], [1, 1, 0], [0, 0, 0], [0, 0, 0]),
            r"^axis must have a length; got 0$",
        ),
        (
            lambda: linkage.two_force_member(1, [1, 0, 0], [1, 1, 0], [0, 0, 0], [0, 1]),
            r"^coordinates must be 3 a point; got axis \(2,\)$",
        ),
        (
            lambda: linkage.two_force_member(1, [1, 0], [1, 1, 0], [0, 0]),
            r"2 or 3 a point; got near_end \(2,\), far_end \(3,\), pivot \(2,\)$",
        ),
        (lambda: linkage.two_force_member(1, 5, 6, 7), r"2 or 3 a point; got near_end \(\)"),
        (
            lambda: linkage.two_force_member([1, 2], np.ones((3, 2)), [5, 1], [0, 0]),
            r"moment \(2,\), points \(3,\)",
        ),
        (lambda: linkage.dynamic_factor(-1), r"^drop_height must be .* got -1$"),
        (lambda: linkage.dynamic_factor(5), r"^static_deflection .* got 5 mm without it$"),
        (lambda: linkage.dynamic_factor(5, 0), r"^static_deflection must be .* got 0$"),
        (lambda: linkage.dynamic_factor([1, 2], [1, 2, 3]), r"drop_height \(2,\), static_d"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(InputError, match=message):
        call()
