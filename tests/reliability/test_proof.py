"""The public screening: shapes, damage, weak parts, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from jointrisk import spread
from jointrisk.errors import InputError
from jointrisk.reliability import screen, smallest_load

STRENGTH = spread.Normal(1000.0, 100.0)
DEMAND = spread.Normal(500.0, 60.0)
WEAK = spread.Mixture([(0.99, spread.Fixed(0.0)), (0.01, spread.Fixed(1.0))])
PLAIN = {"r": STRENGTH, "d": DEMAND}
MIXED = {"r": STRENGTH, "d": DEMAND, "w": WEAK}


def margin(x):
    return x["r"] - x["d"]


def strength(x):
    return x["r"]


def weakened(x):
    return x["r"] * np.where(x["w"] > 0, 0.4, 1.0)


def weak_margin(x):
    return weakened(x) - x["d"]


def hurt(x, applied):
    """Margin after a pull that takes up to 40 % of the strength when it comes near it."""
    near = np.clip((applied / weakened(x) - 0.7) / 0.3, 0, 1)
    return weakened(x) * (1 - 0.4 * near) - x["d"]


def test_refusal_is_the_cdf_of_the_strength():
    found = screen(margin, strength, PLAIN, loads=[600, 800, 900], confidence=0.999)
    exact = ndtr((found.loads - 1000) / 100)
    assert np.all(found.reject_interval[:, 0] <= exact)
    assert np.all(exact <= found.reject_interval[:, 1])
    np.testing.assert_allclose(found.reject, exact, rtol=0.05)
    assert found.notes == ()


def test_before_is_the_plain_probability():
    found = screen(margin, strength, PLAIN, loads=[800], confidence=0.999)
    low, high = found.fail_before_interval
    assert low <= ndtr(-500 / np.hypot(100, 60)) <= high


def test_pull_helps_and_helps_more_when_harder():
    found = screen(margin, strength, PLAIN, loads=[700, 800, 900, 1000], rig_error_cov=0.03)
    assert np.all(np.diff(found.fail_after) < 0)
    assert found.fail_after[0] < found.fail_before


def test_mixed_population_catches_the_weak_and_spares_the_sound():
    found = screen(
        weak_margin,
        weakened,
        MIXED,
        loads=[550.0],
        rig_error_cov=0.02,
        is_weak=lambda x: x["w"] > 0,
        confidence=0.999,
    )
    weak = ndtr((550 - 400) / np.hypot(40, 11))
    sound = ndtr((550 - 1000) / np.hypot(100, 11))
    assert found.reject_weak[0] == pytest.approx(weak, rel=1e-4)
    assert found.reject_sound[0] == pytest.approx(sound, rel=0.05)
    low, high = found.reject_interval[0]
    assert low <= 0.01 * weak + 0.99 * sound <= high


def test_two_parts_on_one_pull_line():
    found = screen(
        lambda x: np.minimum(x["a"], x["b"]) - x["d"],
        lambda x: np.vstack([x["a"], x["b"]]),
        {"a": STRENGTH, "b": STRENGTH, "d": DEMAND},
        loads=[850.0],
        is_weak=lambda x: np.vstack([x["a"] < 800, x["b"] < 800]),
        confidence=0.999,
    )
    each = ndtr(-1.5)
    low, high = found.reject_interval[0]
    assert low <= 1 - (1 - each) ** 2 <= high
    assert found.reject_each[0] == pytest.approx(each, rel=0.05)
    assert found.reject_weak[0] == 1.0


def test_damage_turns_the_curve_up_again():
    loads = [300.0, 500.0, 900.0]
    kept = screen(weak_margin, weakened, MIXED, loads=loads, rig_error_cov=0.03)
    found = screen(weak_margin, weakened, MIXED, loads=loads, rig_error_cov=0.03, after_pull=hurt)
    assert np.all(found.fail_after >= 0.9 * kept.fail_after)
    assert found.fail_after[1] < found.fail_after[0]
    assert found.fail_after[1] < found.fail_after[2]
    np.testing.assert_allclose(found.fail_before, kept.fail_before, rtol=0.3)


def test_damage_against_plain_simulation():
    rng = np.random.default_rng(0)
    n, load = 2_000_000, 450.0
    r, d, w = rng.normal(1000, 100, n), rng.normal(500, 60, n), rng.random(n) < 0.01
    x = {"r": r, "d": d, "w": w * 1.0}
    applied = load * (1 + 0.03 * rng.standard_normal(n))
    held = weakened(x) >= applied
    failed = held & (hurt(x, applied) < 0)
    plain = failed.sum() / held.sum()
    found = screen(weak_margin, weakened, MIXED, loads=[load], rig_error_cov=0.03, after_pull=hurt)
    error = plain / np.sqrt(failed.sum())
    own = np.diff(found.fail_after_interval[0])[0] / 3.92
    assert abs(found.fail_after[0] - plain) < 4 * np.hypot(error, own)


def test_after_pull_without_harm_is_no_after_pull():
    settings = {"loads": [800.0, 900.0], "rig_error_cov": 0.03, "seed": 4}
    plain = screen(margin, strength, PLAIN, **settings)
    same = screen(margin, strength, PLAIN, after_pull=lambda x, _p: margin(x), **settings)
    np.testing.assert_allclose(same.fail_after, plain.fail_after)
    np.testing.assert_allclose(same.reject, plain.reject)


def test_after_pull_sees_only_loads_that_were_held():
    seen = []

    def watch(x, applied):
        seen.append(np.max(applied - x["r"] * (1 + 1e-12)))
        return margin(x)

    screen(margin, strength, PLAIN, loads=[900.0], rig_error_cov=0.03, after_pull=watch)
    # the search for points pulls at exactly the load; the last call is the curve itself
    assert seen[-1] <= 0


def test_undefined_margin_after_the_pull_is_failure():
    def gone(x, _applied):
        return np.full(x["r"].size, np.nan)

    found = screen(margin, strength, PLAIN, loads=[800.0], after_pull=gone)
    assert found.fail_after[0] == pytest.approx(1.0)


def test_gauge_bias_makes_refusals_uncertain_together():
    found = screen(
        margin,
        strength,
        PLAIN,
        loads=[800.0],
        rig_error_cov=0.02,
        rig_bias_sd=0.03,
        confidence=0.999,
    )
    exact = ndtr(-200 / np.hypot(100, 800 * np.hypot(0.02, 0.03)))
    assert found.reject_interval[0, 0] <= exact <= found.reject_interval[0, 1]


def test_correlation_with_the_demand_is_kept():
    """Strength that goes with the demand makes failure rarer."""
    loads = [800.0]
    alone = screen(margin, strength, PLAIN, loads=loads)
    tied = screen(margin, strength, PLAIN, loads=loads, correlation={("r", "d"): 0.6})
    assert tied.fail_before < 0.3 * alone.fail_before


def test_same_seed_same_bytes():
    one, two = (screen(margin, strength, PLAIN, loads=[900.0], seed=0) for _ in range(2))
    assert repr(one) == repr(two)
    assert repr(one) != repr(screen(margin, strength, PLAIN, loads=[900.0], seed=1))


def test_measure_out_of_reach_is_told():
    found = screen(margin, strength, PLAIN, loads=[900.0], target_cov=1e-4)
    assert "900 N" in " ".join(found.notes)


def test_smallest_load_meets_its_target_and_no_smaller_one_does():
    found = smallest_load(margin, strength, PLAIN, target=1e-6, rig_error_cov=0.03)
    assert found.reachable
    check = screen(
        margin, strength, PLAIN, loads=[0.95 * found.load, 1.05 * found.load], rig_error_cov=0.03
    )
    assert check.fail_after[0] > 1e-6 > check.fail_after[1]
    low, high = found.fail_after_interval
    assert low <= 1e-6 <= high
    assert found.reject_interval[0] <= found.reject <= found.reject_interval[1]


def test_default_top_is_the_load_that_nearly_none_holds():
    found = smallest_load(margin, strength, PLAIN, target=1e-6)
    assert found.highest == pytest.approx(1309, rel=0.05)


def test_refusals_make_it_unreachable_with_the_floor():
    found = smallest_load(margin, strength, PLAIN, target=1e-12, max_reject=0.1, rig_error_cov=0.03)
    assert not found.reachable
    assert found.load is None
    assert found.highest == pytest.approx(867, rel=0.02)
    floor = screen(margin, strength, PLAIN, loads=[found.floor_load], rig_error_cov=0.03)
    assert found.floor == pytest.approx(floor.fail_after[0], rel=0.25)


def test_target_met_already_needs_no_pull():
    found = smallest_load(margin, strength, PLAIN, target=0.01)
    assert found.load == 0.0


def test_damage_closes_the_window_from_above():
    found = smallest_load(
        weak_margin,
        weakened,
        MIXED,
        target=3e-4,
        rig_error_cov=0.03,
        after_pull=hurt,
        max_reject=0.5,
    )
    ((low, high),) = found.windows
    assert low < found.floor_load < high < found.highest


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"loads": [0.0]}, r"\[0\.0\]"),
        ({"loads": []}, r"\[\]"),
        ({"rig_error_cov": -0.1}, "rig_error_cov .* -0.1"),
        ({"rig_bias_sd": np.inf}, "rig_bias_sd .* inf"),
        ({"target_cov": 0.0}, "target_cov .* 0"),
        ({"seed": -1}, "-1"),
        ({"is_weak": lambda x: x["r"]}, "float64"),
        ({"is_weak": lambda _x: np.zeros(3, dtype=bool)}, r"\(3,\)"),
        ({"after_pull": lambda _x, _p: np.zeros(3)}, r"after_pull .* \(3,\)"),
        ({"proof_strength": lambda _x: 1.0}, r"proof_strength .* \(\)"),
        ({"proof_strength": lambda x: np.full(x["r"].size, np.nan)}, "NaN"),
        ({"limit_state": lambda _x: np.zeros(3)}, r"limit_state .* \(3,\)"),
    ],
)
def test_bad_arguments_are_refused_with_their_value(change, told):
    plain = {
        "limit_state": margin,
        "proof_strength": strength,
        "variables": PLAIN,
        "loads": [800.0],
    }
    with pytest.raises(InputError, match=told):
        screen(**(plain | change))


@pytest.mark.parametrize(
    ("change", "told"),
    [({"target": 2.0}, "2"), ({"max_reject": -1.0}, "-1"), ({"highest": -5.0}, "-5")],
)
def test_bad_limits_are_refused_with_their_value(change, told):
    with pytest.raises(InputError, match=told):
        smallest_load(margin, strength, PLAIN, **({"target": 1e-6} | change))
