"""The search for a load on curves that are known in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.errors import InputError
from jointrisk.reliability.loads import find_load


def falling(load):
    """Failure halves every 100 N; refusal rises linearly to 1 at 1000 N."""
    return 0.01 * 2.0 ** (-load / 100), min(1.0, load / 1000)


def valley(load):
    """Failure falls to 1e-6 at 500 N and rises again: the pull does damage."""
    return 1e-6 * np.exp(((load - 500) / 100) ** 2), min(1.0, load / 1000)


def waves(load):
    """Two valleys."""
    return 1e-4 * (1.01 + np.cos(load / 100)), 0.0


def test_smallest_load_of_a_falling_curve():
    found = find_load(falling, target=0.001, highest=900.0)
    exact = 100 * np.log2(10)
    assert found.reachable
    assert found.load == pytest.approx(exact, rel=1e-6)
    assert found.load >= exact
    assert found.windows == ((found.load, 900.0),)
    assert found.fail_after == pytest.approx(0.001, rel=1e-6)
    assert found.reject == pytest.approx(exact / 1000, rel=1e-6)
    assert found.floor == pytest.approx(falling(900.0)[0])
    assert found.floor_load == pytest.approx(900.0)


@settings(max_examples=30, deadline=None)
@given(st.floats(1e-5, 9e-3))
def test_load_found_does_meet_the_target(target):
    found = find_load(falling, target=target, highest=1000.0)
    assert falling(found.load)[0] <= target
    assert falling(found.load * (1 - 1e-5))[0] > target


def test_refusals_cap_the_load():
    found = find_load(falling, target=0.001, highest=900.0, max_reject=0.2)
    assert not found.reachable
    assert found.load is None
    assert found.windows == ()
    assert found.highest == pytest.approx(200.0, rel=1e-6)
    assert found.floor == pytest.approx(0.0025, rel=1e-5)
    assert found.reject is None


def test_valley_has_one_window_with_both_ends():
    target = 1e-5
    found = find_load(valley, target=target, highest=1000.0)
    half = 100 * np.sqrt(np.log(10))
    ((low, high),) = found.windows
    assert low == pytest.approx(500 - half, rel=1e-6)
    assert high == pytest.approx(500 + half, rel=1e-6)
    assert found.load == low
    assert found.floor == pytest.approx(1e-6, rel=1e-6)
    assert found.floor_load == pytest.approx(500, rel=1e-2)


def test_window_narrower_than_the_grid_is_found_through_the_floor():
    found = find_load(valley, target=1.0005e-6, highest=1000.0, lowest=10.0, points=9)
    ((low, high),) = found.windows
    assert low < 500 < high
    assert high - low < 6


def test_every_window_is_reported():
    found = find_load(waves, target=1e-4, highest=1200.0, lowest=50.0)
    assert len(found.windows) == 2
    for (low, high), turn in zip(found.windows, (1, 3), strict=True):
        middle = 100 * np.pi * turn
        assert (low + high) / 2 == pytest.approx(middle, rel=0.01)
        assert waves(low)[0] <= 1e-4
        assert waves(high)[0] <= 1e-4


def test_target_met_without_a_pull_is_load_zero():
    found = find_load(falling, target=0.02, highest=900.0)
    assert found.load == 0.0
    assert found.windows == ((0.0, 900.0),)


def test_touch_that_meets_what_no_pull_meets_is_a_load_of_its_own():
    def kissing(load):
        return (1e-6 if load > 0.05 else 0.01), 0.01

    found = find_load(kissing, target=1e-4, highest=1000.0, lowest=1.0, before=0.01)
    assert found.load == pytest.approx(0.05, rel=1e-6)
    assert found.fail_after == 1e-6
    assert found.windows == ((found.load, 1000.0),)


def test_target_met_with_no_pull_and_with_none():
    found = find_load(lambda _load: (0.5, 0.0), target=0.1, highest=100.0, before=0.01)
    assert found.load == 0.0
    assert found.windows == ((0.0, 0.0),)
    assert found.fail_after == found.floor == 0.01
    assert found.reject == 0.0


@pytest.mark.parametrize(("before", "reachable"), [(0.01, True), (0.2, False)])
def test_without_an_admissible_pull_what_counts_is_no_pull(before, reachable):
    found = find_load(
        lambda _load: (0.0, 0.9), target=0.1, highest=100.0, max_reject=0.1, before=before
    )
    assert found.reachable is reachable
    assert found.floor == before
    assert found.floor_load == 0.0


def test_floor_above_the_target_is_unreachable():
    found = find_load(lambda load: (1e-3 + falling(load)[0], 0.0), target=5e-4, highest=1000.0)
    assert not found.reachable
    assert found.floor == pytest.approx(1e-3 + falling(1000.0)[0])


def test_even_the_lowest_load_refuses_too_many():
    found = find_load(lambda _load: (0.5, 0.9), target=0.1, highest=100.0, max_reject=0.1)
    assert not found.reachable
    assert found.floor == 0.5


def test_step_is_met_on_its_good_side():
    def step(load):
        return (1e-6 if load >= 333.0 else 1e-2), 0.0

    found = find_load(step, target=1e-4, highest=1000.0)
    assert found.load == pytest.approx(333.0, rel=1e-6)
    assert step(found.load)[0] == 1e-6


def test_undefined_failure_counts_as_certain():
    def gone(load):
        return (np.nan, 1.0) if load > 500 else falling(load)

    found = find_load(gone, target=0.001, highest=900.0)
    ((_, high),) = found.windows
    assert high == pytest.approx(500, rel=1e-3)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"target": 0.0}, "got 0"),
        ({"target": 1.0}, "got 1"),
        ({"highest": np.inf}, "inf"),
        ({"highest": -5.0}, "-5"),
        ({"lowest": 2000.0}, "2000"),
        ({"max_reject": 0.0}, "got 0"),
        ({"max_reject": 1.5}, "1.5"),
    ],
)
def test_bad_arguments_are_refused_with_their_value(change, told):
    with pytest.raises(InputError, match=told):
        find_load(falling, **({"target": 0.001, "highest": 900.0} | change))
