"""Extremes of the solution without units, where floating point could give way."""

import mpmath
import numpy as np
import pytest

from jointrisk.mechanics import shear_lag

mpmath.mp.dps = 40


@pytest.mark.parametrize("length", [1e-6, 1e-3, 0.5, 3.0, 30.0, 400.0, 5000.0])
@pytest.mark.parametrize(("near", "far"), [(1.0, 1.0), (0.3, 0.9), (1.0, -0.7)])
def test_elastic_end_against_forty_digits(length, near, far):
    x = mpmath.mpf(length)
    expected = mpmath.mpf(near) * mpmath.coth(x) + mpmath.mpf(far) * mpmath.csch(x)
    found = shear_lag.elastic_end(np.array([length]), np.array([near]), np.array([far]))
    assert found[0] == pytest.approx(float(expected), rel=1e-12)


def length_needed(load, share, misfit, beyond):
    """Overlap at which the tip fails under `load`, in forty digits, and if both ends are plastic.

    Walked through slip and slope instead of place: slope^2/2 - area under the stress-slip curve
    is constant, so the lengths of the zones are explicit in the load. Tip leading, A >= 0.
    """
    A = mpmath.mpf(share) * load - mpmath.mpf(misfit)
    B = load - A
    s = mpmath.sqrt(B**2 - 2 * mpmath.mpf(beyond))  # slope where the tip's plastic zone begins
    if s < A:
        return B - s + 2 * mpmath.atanh(s) + A - s, True
    return B - s + mpmath.atanh(s) + mpmath.asinh(A / mpmath.sqrt(1 - s**2)), False


def failure_loads(*values):
    return shear_lag.failure_load(
        *np.broadcast_arrays(*(np.atleast_1d(v).astype(float) for v in values))
    )


@pytest.mark.parametrize(
    ("share", "misfit"), [(0.5, 0.0), (0.45, 0.2), (0.2, 0.0), (0.1, -0.05), (0.6, 0.9), (0.0, 0.0)]
)
def test_length_is_recovered_in_forty_digits(share, misfit):
    length, capacity = (v.ravel() for v in np.meshgrid([1.0, 2.5, 5.0, 9.0], [1.05, 1.5, 3, 9, 30]))
    share = max(share, 1e-12)
    load, yielded = failure_loads(length, share, misfit, capacity)
    compared = 0
    for x, u, f, whole in zip(length, capacity, load, yielded, strict=True):
        near, far = (1 - share) * f + misfit, share * f - misfit
        if whole or near < far or far < 0:
            continue
        needed, _ = length_needed(mpmath.mpf(float(f)), share, misfit, u - 1)
        # Where the length says little about the load any more, so does the load about the length.
        assert float(needed) == pytest.approx(x, rel=1e-5)
        compared += 1
    assert compared >= 3


def test_both_states_were_walked_through():
    states = set()
    for share in (0.1, 0.5):
        load, _ = failure_loads(5.0, share, 0.0, 4.0)
        states.add(length_needed(mpmath.mpf(float(load[0])), share, 0.0, 3.0)[1])
    assert states == {True, False}


def test_whole_overlap_yields_at_its_own_length():
    load, yielded = failure_loads([0.5, 3.0, 40.0], [0.1, 0.5, 0.9], 0.2, 1e4)
    np.testing.assert_array_equal(load, [0.5, 3.0, 40.0])
    assert yielded.all()


def test_long_overlap_load_is_never_passed_without_misfit():
    rng = np.random.default_rng(1)
    length, share = 10 ** rng.uniform(-2, 2.5, 5000), rng.uniform(0.01, 0.99, 5000)
    capacity = 10 ** rng.uniform(-1, 3, 5000)
    load, _ = failure_loads(length, share, 0.0, capacity)
    limit = shear_lag.long_overlap_load(share, np.zeros(5000), capacity)
    assert np.all(load <= limit * (1 + 1e-9))
    assert np.all(load[length > 10 + 5 * capacity] > 0.9999 * limit[length > 10 + 5 * capacity])


def test_one_capacity_on_either_side_of_yield_is_continuous():
    """Elastic just below, one end plastic just above."""
    length = np.geomspace(0.1, 300, 200)
    args = (length, np.full_like(length, 0.3), np.full_like(length, 0.05))
    below, _ = shear_lag.failure_load(*args, np.full_like(length, 1 - 1e-9))
    above, _ = shear_lag.failure_load(*args, np.full_like(length, 1 + 1e-9))
    np.testing.assert_allclose(above, below, rtol=1e-7)


def test_load_is_continuous_across_every_state():
    """Capacity swept finely through all states: no jumps, never falling."""
    capacity = np.geomspace(0.2, 400, 40_001)
    for share, misfit, length in [(0.2, 0.0, 12.0), (0.8, 0.7, 12.0), (0.5, 2.5, 20.0)]:
        load, _ = shear_lag.failure_load(
            *(np.full_like(capacity, v) for v in (length, share, misfit)), capacity
        )
        rise = np.diff(load)
        assert rise.min() >= -1e-9
        assert rise.max() < 2e-3 * load.max()
        assert load[-1] == length


@pytest.mark.parametrize("misfit", [-2.0, -0.9, 0.0, 0.9, 2.0])
def test_reverse_yield_is_the_elastic_state_without_load(misfit):
    length = np.array([0.2, 1.0, 3.0, 50.0])
    tip = shear_lag.elastic_end(length, np.full(4, misfit), np.full(4, -misfit))
    found = shear_lag.reverse_yield(length, np.full(4, misfit))
    np.testing.assert_array_equal(found, np.abs(tip) > 1)


def test_guess_of_the_failing_end_is_corrected():
    """A misfit that loads the end which does not fail: either end's own answer is the same."""
    rng = np.random.default_rng(0)
    n = 5000
    length, share = 10 ** rng.uniform(-0.5, 1.5, n), rng.uniform(0.05, 0.95, n)
    misfit, capacity = rng.uniform(-0.9, 0.9, n), 10 ** rng.uniform(-0.3, 2, n)
    load, _ = shear_lag.failure_load(length, share, misfit, capacity)
    turned, _ = shear_lag.failure_load(length, 1 - share, -misfit, capacity)
    np.testing.assert_allclose(turned, load, rtol=1e-9, atol=1e-9)
    # Leaning towards the end that the misfit does not load makes the order of the ends change.
    changes = (load * (2 * share - 1) > 2 * misfit) != (-misfit > 0)
    assert 0.1 < changes.mean() < 0.9


@pytest.mark.parametrize("capacity", [0.3, 1.0, 1.4, 6.0])
@pytest.mark.parametrize("far", [0.0, 0.2, 0.55])
def test_overlap_needed_against_forty_digits(far, capacity):
    """dx = d slip/slope; slope squared less twice the area under the law is constant."""
    near = 0.8 * np.sqrt(2 * capacity - 1 if capacity > 1 else capacity**2)
    if near < far:
        return
    area = lambda w: w**2 / 2 if w <= 1 else w - mpmath.mpf(1) / 2  # noqa: E731
    level = mpmath.mpf(near) ** 2 / 2 - area(capacity)
    slope = lambda w: mpmath.sqrt(abs(2 * (level + area(w))))  # noqa: E731
    # The slip falls from the tip to its least, at slope 0, and rises again to the mouth's.
    least = mpmath.sqrt(-2 * level) if level > -0.5 else mpmath.mpf(1) / 2 - level
    end = mpmath.mpf(far) ** 2 / 2 - level
    mouth = mpmath.sqrt(2 * end) if end < 0.5 else end + mpmath.mpf(1) / 2
    expected = sum(
        mpmath.quad(lambda w: 1 / slope(w), sorted({least, *([1] if least < 1 < top else []), top}))
        for top in (mpmath.mpf(capacity), mouth)
        if top > least
    )
    found = shear_lag.overlap_needed(*(np.array([value]) for value in (far, near, capacity)))
    assert found[0] == pytest.approx(float(expected), rel=1e-12)


def random_layers(n, seed=0):
    rng = np.random.default_rng(seed)
    length, share = 10 ** rng.uniform(-1, 1.7, n), rng.uniform(0.02, 0.98, n)
    return length, share, rng.uniform(-1.5, 1.5, n), 10 ** rng.uniform(-0.5, 2, n)


def test_no_overlap_is_long_enough_beyond_the_energy_of_the_layer():
    capacity = np.array([0.5, 1.0, 7.0])
    limit = np.sqrt([0.25, 1.0, 13.0])
    args = np.array([0.1, 0.1, 0.1])
    assert np.isinf(shear_lag.overlap_needed(args, limit * (1 + 1e-12), capacity)).all()
    assert np.isfinite(shear_lag.overlap_needed(args, limit * (1 - 1e-9), capacity)).all()


@pytest.mark.parametrize("margin", [-1e-6, 1e-6])
def test_holds_just_below_its_failure_load_and_not_above(margin):
    layers = random_layers(20_000)
    length, share, misfit, _ = layers
    load, _ = shear_lag.failure_load(*layers)
    alive = load > 1e-3 * length
    asked = np.maximum(load, 0) * (1 + margin)
    found = shear_lag.holds(*layers, asked)
    outward = asked / 2 > np.abs((share - 0.5) * asked - misfit)
    assert (alive & outward).mean() > 0.3
    assert np.all(found[alive & outward] == (margin < 0))
    assert not np.any(found & ~outward)


def test_what_holds_is_never_above_the_failure_load():
    layers = random_layers(20_000, seed=3)
    load, _ = shear_lag.failure_load(*layers)
    asked = np.random.default_rng(4).uniform(0, 1.2, load.size) * layers[0]
    found = shear_lag.holds(*layers, asked)
    assert np.all(load[found] >= asked[found] * (1 - 1e-9))
    assert 0.1 < found.mean() < 0.9


def test_single_precision_first_loses_nothing():
    """Every load against the equation of its own state, solved by bisection in the test."""
    layers = random_layers(3000, seed=5)
    length, share, misfit, capacity = layers
    load, yielded = shear_lag.failure_load(*layers)
    chosen = ~yielded & (load > 0) & (np.abs((share - 0.5) * load - misfit) < load / 2)
    low, high = np.zeros(load.size), length.copy()
    for _ in range(60):
        middle = (low + high) / 2
        near = middle / 2 + np.abs((share - 0.5) * middle - misfit)
        far = np.maximum(middle - near, 0.0)
        longer = shear_lag.overlap_needed(far, near, capacity) > length
        low, high = np.where(longer, low, middle), np.where(longer, middle, high)
    assert chosen.mean() > 0.2
    np.testing.assert_allclose(load[chosen], low[chosen], rtol=1e-9)
