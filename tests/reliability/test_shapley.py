"""Shapley effects: shares, groups, orders, refusals."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk import spread
from jointrisk.errors import EstimateError, InputError
from jointrisk.reliability import shapley

UNIT = spread.Normal(0.0, 1.0)
THREE = {"a": UNIT, "b": UNIT, "c": UNIT}


def function(x):
    return x["a"] * x["b"] + 2.0 * x["c"]


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32), st.floats(-0.9, 0.9))
def test_shares_are_not_negative_and_sum_to_one(seed, tie):
    found = shapley(function, THREE, correlation={("a", "c"): tie}, samples=64, seed=seed)
    assert sum(found.effect.values()) == pytest.approx(1.0, abs=1e-12)
    assert min(found.effect.values()) >= 0.0
    assert all(0.0 <= low <= high <= 1.0 for low, high in found.effect_interval.values())


def test_an_interaction_is_halved():
    """Variances 1 of a b and 4 of 2 c."""
    found = shapley(function, THREE, samples=2**14)
    assert found.effect == pytest.approx({"a": 0.1, "b": 0.1, "c": 0.8}, abs=0.01)
    assert found.variance == pytest.approx(5.0, rel=0.02)
    assert found.evaluations == 2**14 * 4


def test_tied_without_effect_still_has_a_share():
    """Y = a with b tied by r: a has 1 − r² / 2, b the rest (Owen & Prieur 2017)."""
    r = 0.8
    found = shapley(lambda x: x["a"], {"a": UNIT, "b": UNIT}, correlation={("a", "b"): r})
    assert found.effect["b"] == pytest.approx(r**2 / 2, abs=0.02)


def test_copula_path_agrees_with_the_plain_one():
    """A tie of almost nothing takes the other way through the code."""
    plain = shapley(function, THREE, samples=2**14)
    tied = shapley(function, THREE, correlation={("a", "c"): 1e-6}, samples=2**14)
    assert tied.effect == pytest.approx(plain.effect, abs=0.015)


def test_forty_variables_and_groups_of_them():
    sds = 0.1 + 0.02 * np.arange(40)
    laws = {f"x{i}": spread.Lognormal(2.0, sd) for i, sd in enumerate(sds)}
    found = shapley(lambda x: sum(x.values()), laws)
    share = sds**2 / np.sum(sds**2)
    assert found.evaluations == 2**13 * 41
    assert np.array([*found.effect.values()]) == pytest.approx(share, abs=0.008)
    halves = {"low": [f"x{i}" for i in range(20)], "high": [f"x{i}" for i in range(20, 40)]}
    grouped = shapley(lambda x: sum(x.values()), laws, groups=halves)
    assert grouped.effect["low"] == pytest.approx(share[:20].sum(), abs=0.01)
    assert grouped.evaluations == 2**13 * 3


def test_failure_event_and_chance_of_failure_agree():
    """The last load integrated out is a smooth function of the rest with the same mean."""
    event = shapley(lambda x: x["a"] + x["b"] > 1.0, THREE, samples=2**14)
    assert event.effect == pytest.approx({"a": 0.5, "b": 0.5, "c": 0.0}, abs=0.015)
    smooth = shapley(lambda x: 1.0 / (1.0 + np.exp(3 * (1 - x["a"] - x["b"]))), THREE)
    assert smooth.effect["a"] == pytest.approx(0.5, abs=0.015)
    assert smooth.effect["c"] == 0.0


def test_few_orders_are_enough_where_all_add_up():
    few = shapley(lambda x: x["a"] + 2 * x["b"] + x["c"], THREE, permutations=16)
    assert few.effect == pytest.approx({"a": 1 / 6, "b": 4 / 6, "c": 1 / 6}, abs=0.02)


def test_constants_and_their_groups_have_nothing():
    laws = THREE | {"k": spread.Fixed(2.0), "l": spread.Fixed(1.0)}
    found = shapley(function, laws, groups={"fixed": ("k", "l")}, samples=2**8)
    assert list(found.effect) == ["fixed", "a", "b", "c"]
    assert (found.effect["fixed"], found.effect_interval["fixed"]) == (0.0, (0.0, 0.0))
    nothing = shapley(lambda x: x["k"], {"k": spread.Fixed(2.0)}, samples=16)
    assert nothing.effect == {"k": 0.0}


def test_constant_output():
    found = shapley(lambda x: np.zeros(x["a"].size), THREE, samples=64)
    assert found.effect == {"a": 0.0, "b": 0.0, "c": 0.0}
    assert found.effect_interval["a"] == (0.0, 1.0)
    assert any("same in all 128 draws" in note for note in found.notes)


def test_same_seed_same_bytes_with_any_pool():
    ties = {("a", "b"): 0.4}
    alone = shapley(function, THREE, correlation=ties, seed=0, samples=2**12)
    with ThreadPoolExecutor(2) as pool:
        pooled = shapley(function, THREE, correlation=ties, seed=0, samples=2**12, pool=pool)
    assert repr(pooled) == repr(alone)
    assert shapley(function, THREE, correlation=ties, seed=1, samples=2**12) != alone


def test_frame():
    frame = shapley(function, THREE, samples=64).to_frame()
    assert list(frame.columns) == ["name", "effect", "effect_low", "effect_high"]
    assert list(frame["name"]) == ["a", "b", "c"]


def test_undefined_outputs_are_counted():
    with pytest.raises(EstimateError, match="NaN or infinite in 256 of 256 calls"):
        shapley(lambda x: x["a"] * np.nan, THREE, samples=64)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"groups": {"g": ("a", "z")}}, "'g' names 'z'.*'a', 'b', 'c'"),
        ({"groups": {"g": ("a",), "h": ("b", "a")}}, "'a' stands twice.*'g' and 'h'"),
        ({"groups": {"c": ("a", "b")}}, "'c' has the name of a variable"),
        ({"groups": {"g": ()}}, r"'g' must list.*\(\)"),
        ({"groups": {"g": "ab"}}, "'g' must list.*'ab'"),
        ({"permutations": 0}, "permutations.*got 0"),
        ({"samples": -3}, "samples.*got -3"),
        ({"confidence": 0.0}, "confidence.*got 0"),
    ],
)
def test_what_cannot_be_meant_is_refused(more, said):
    with pytest.raises(InputError, match=said):
        shapley(function, THREE, **more)
