"""Curves over the pull: the exact truncation formula, tails, and what must be monotone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr, ndtri

from jointrisk.errors import InputError
from jointrisk.reliability.screening import curve, pull_outcome, refused_chance

N = 4000
STRENGTH = 1000 + 100 * ndtri((np.arange(N) + 0.5) / N)
"""Normal strengths at equal steps of probability: sums over them are quadrature."""
ONES = np.ones(N)


def test_perfect_pull_truncates_the_strength():
    loads = np.array([700.0, 900.0, 1000.0])
    found = curve(ONES, STRENGTH, STRENGTH < 1050, loads)
    below, refused = ndtr(0.5), ndtr((loads - 1000) / 100)
    np.testing.assert_allclose(found.reject, refused, atol=1.0 / N)
    np.testing.assert_allclose(found.fail_after, (below - refused) / (1 - refused), atol=2.0 / N)
    assert found.fail_before == pytest.approx(below, abs=1.0 / N)


def test_pull_above_every_failing_strength_leaves_no_failure():
    found = curve(ONES, STRENGTH, STRENGTH < 800, 800.0)
    assert found.fail_after[0] == 0.0
    assert found.fail_after_interval[0, 1] > 0.0


def test_own_error_is_integrated():
    loads = np.array([800.0, 1000.0, 1100.0])
    found = curve(ONES, STRENGTH, np.zeros(N), loads, rig_error_cov=0.05)
    exact = ndtr((loads - 1000) / np.hypot(100, 0.05 * loads))
    np.testing.assert_allclose(found.reject, exact, rtol=5e-3)


def test_bias_shifts_the_load():
    biased = curve(ONES, STRENGTH, STRENGTH < 900, 800.0, bias=0.1)
    plain = curve(ONES, STRENGTH, STRENGTH < 900, 880.0)
    assert biased.reject == plain.reject
    assert biased.fail_after == plain.fail_after


def test_bias_of_each_row_is_shared_by_its_pulls():
    bias = np.where(np.arange(N) % 2, 0.1, -0.1)
    pair = np.vstack([STRENGTH, STRENGTH])
    both = curve(ONES, pair, np.zeros(N), 900.0, bias=bias)
    one = curve(ONES, STRENGTH, np.zeros(N), 900.0, bias=bias)
    assert both.reject == one.reject


def test_tiny_refusal_is_not_lost_beside_one():
    found = refused_chance(np.array([1000.0, 1500.0]), 500.0, rig_error_cov=0.05)
    np.testing.assert_allclose(found, [ndtr(-20.0), ndtr(-40.0)])
    assert found[0] > 0
    two = curve([1.0], np.full((2, 1), 1000.0), [0.0], 500.0, rig_error_cov=0.05)
    assert two.reject[0] == pytest.approx(2 * ndtr(-20.0), rel=1e-12)


def test_step_counts_a_part_as_strong_as_the_load_as_held():
    assert refused_chance([499.0, 500.0, 501.0], 500.0).tolist() == [1.0, 0.0, 0.0]


def test_two_equal_parts_are_both_held_with_the_square():
    weight, strength = np.ones(1), np.full((2, 1), 1000.0)
    found = curve(weight, strength, [0.0], 980.0, rig_error_cov=0.04)
    each = ndtr(-(1000 / 980 - 1) / 0.04)
    assert found.reject_each[0] == pytest.approx(each)
    assert found.reject[0] == pytest.approx(1 - (1 - each) ** 2)


def test_each_weak_and_sound_follow_their_definitions():
    rng = np.random.default_rng(0)
    strength = rng.uniform(500, 1500, (3, N))
    weak = rng.random((3, N)) < 0.2
    weight = rng.uniform(0, 2, N)
    refused = strength < 900
    found = curve(weight, strength, np.zeros(N), 900.0, is_weak=weak)

    def share(flags):
        return (weight * (refused & flags)).sum() / (weight * flags).sum()

    everyone = np.ones_like(weak)
    assert found.reject[0] == pytest.approx((weight * refused.any(axis=0)).sum() / weight.sum())
    assert found.reject_each[0] == pytest.approx(share(everyone))
    assert found.reject_weak[0] == pytest.approx(share(weak))
    assert found.reject_sound[0] == pytest.approx(share(~weak))


def test_weak_flag_of_a_row_holds_for_all_its_parts():
    strength = np.vstack([STRENGTH, STRENGTH + 50])
    flags = STRENGTH < 900
    row = curve(ONES, strength, np.zeros(N), 950.0, is_weak=flags)
    part = curve(ONES, strength, np.zeros(N), 950.0, is_weak=np.vstack([flags, flags]))
    assert row.reject_weak == part.reject_weak


def test_no_weak_part_known_is_not_a_number():
    for is_weak in (None, np.zeros(N, dtype=bool)):
        found = curve(ONES, STRENGTH, np.zeros(N), 900.0, is_weak=is_weak)
        assert np.isnan(found.reject_weak[0])
        assert np.isnan(found.reject_weak_interval).all()
        assert found.reject_sound[0] == pytest.approx(found.reject_each[0])


def test_nothing_holds_a_pull_beyond_every_strength():
    found = curve(ONES, STRENGTH, STRENGTH < 900, 5000.0)
    assert found.reject[0] == 1.0
    assert found.reject_interval[0, 0] < 1.0
    assert np.isnan(found.fail_after[0])


def test_weights_undo_the_proposal():
    u = np.random.default_rng(1).standard_normal(200_000) - 2.0
    weight = np.exp(2 * u + 2)
    loads = np.array([700.0, 800.0])
    found = curve(weight, 1000 + 100 * u, np.zeros(u.size), loads)
    exact = ndtr((loads - 1000) / 100)
    inside = (found.reject_interval[:, 0] < exact) & (exact < found.reject_interval[:, 1])
    assert inside.all()
    np.testing.assert_allclose(found.reject, exact, rtol=0.03)


@settings(max_examples=25, deadline=None)
@given(
    st.integers(0, 2**31),
    st.one_of(st.just(0.0), st.floats(1e-3, 0.2)),
    st.integers(1, 3),
    st.lists(st.floats(1.0, 2000.0), min_size=2, max_size=5, unique=True),
)
def test_invariants_over_the_load(seed, cov, parts, loads):
    rng = np.random.default_rng(seed)
    loads = np.sort(loads)
    strength = rng.lognormal(6.5, 0.4, (parts, 60))
    fails = rng.random(60)
    weight = rng.exponential(size=60)
    found = curve(weight, strength, fails, loads, rig_error_cov=cov, is_weak=strength < 500)
    assert np.all(np.diff(found.reject) >= -1e-12)
    assert np.all(found.reject >= found.reject_each - 1e-12)
    for name in ("reject", "reject_each", "reject_weak", "reject_sound", "fail_after"):
        value, interval = getattr(found, name), getattr(found, f"{name}_interval")
        known = ~np.isnan(value)
        assert np.all((value[known] >= 0) & (value[known] <= 1 + 1e-12))
        assert np.all(interval[known, 0] <= value[known] + 1e-12)
        assert np.all(interval[known, 1] >= value[known] - 1e-12)
    for load, after, refused in zip(loads, found.fail_after, found.reject, strict=True):
        if refused == 1.0:  # what still holds is near the smallest double
            continue
        quick = pull_outcome(weight, strength, fails, load, rig_error_cov=cov)
        np.testing.assert_allclose(quick, (after, refused), rtol=1e-9)


def test_strength_that_says_nothing_of_service_leaves_failure_as_it_was():
    fails = np.arange(N) % 2
    found = curve(ONES, STRENGTH, fails, [800.0, 1000.0])
    np.testing.assert_allclose(found.fail_after, 0.5, atol=2e-3)


def test_common_factor_of_the_weights_cancels():
    small = curve(1e-6 * ONES, STRENGTH, STRENGTH < 900, 850.0, rig_error_cov=0.03)
    plain = curve(ONES, STRENGTH, STRENGTH < 900, 850.0, rig_error_cov=0.03)
    np.testing.assert_allclose(small.fail_after_interval, plain.fail_after_interval)
    assert small.reject[0] == pytest.approx(plain.reject[0])


def test_damage_comes_as_a_callable():
    def damaged(load):
        return np.clip((load / STRENGTH) - 0.5, 0, 1)

    found = curve(ONES, STRENGTH, damaged, [500.0, 900.0], fail_before=np.zeros(N))
    assert found.fail_before == 0.0
    held = STRENGTH >= 900
    assert found.fail_after[1] == pytest.approx(damaged(900.0)[held].mean())


def test_frame_has_a_row_a_load_and_all_bounds():
    frame = curve(ONES, STRENGTH, STRENGTH < 900, [800.0, 900.0]).to_frame()
    assert frame["load"].tolist() == [800.0, 900.0]
    assert len(frame.columns) == 16
    assert (frame["reject_low"] <= frame["reject"]).all()
    assert (frame["fail_after_high"] >= frame["fail_after"]).all()


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"loads": [0.0]}, "got 0"),
        ({"loads": [np.nan]}, "got nan"),
        ({"rig_error_cov": -0.1}, "-0.1"),
        ({"fail_chance": np.full(N, 1.5)}, "1.5"),
        ({"fail_chance": lambda _load: ONES}, "fail_before"),
        ({"weights": np.ones(3)}, r"\(3,\)"),
        ({"proof_strength": np.full(N, np.nan)}, "4000 NaN"),
        ({"is_weak": np.zeros(3, dtype=bool)}, r"\(3,\)"),
    ],
)
def test_bad_arguments_are_refused_with_their_value(change, told):
    plain = {
        "weights": ONES,
        "proof_strength": STRENGTH,
        "fail_chance": np.zeros(N),
        "loads": [900.0],
    }
    with pytest.raises(InputError, match=told):
        curve(**(plain | change))
