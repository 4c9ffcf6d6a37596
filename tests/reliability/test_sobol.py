"""Variance-based indices: invariants, ties, refusals."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk import spread
from jointrisk.errors import EstimateError, InputError
from jointrisk.reliability import sobol
from jointrisk.reliability.indices import SCRAMBLES, points_each, ratio_over_scrambles

UNIT = spread.Normal(0.0, 1.0)
PAIR = {"a": UNIT, "b": spread.Normal(0.0, 2.0)}


def total_of(x):
    return x["a"] + x["b"]


def twisted(x):
    return x["a"] * x["b"] + x["a"] ** 2


def test_shift_and_scale_of_the_output_change_nothing():
    plain = sobol(twisted, PAIR, samples=2**9)
    moved = sobol(lambda x: 1e5 - 7.0 * twisted(x), PAIR, samples=2**9)
    assert [*moved.first.values()] == pytest.approx([*plain.first.values()], abs=1e-9)
    assert [*moved.total.values()] == pytest.approx([*plain.total.values()], abs=1e-9)
    assert moved.variance == pytest.approx(49.0 * plain.variance)


@settings(max_examples=15, deadline=None)
@given(st.permutations(["a", "b", "c"]), st.integers(0, 2**32))
def test_an_inert_variable_has_nothing_whatever_the_order(order, seed):
    laws = {"a": UNIT, "b": spread.Uniform(1, 3), "c": spread.Weibull(2.0, 3.0)}
    found = sobol(lambda x: x["a"] * x["b"], {n: laws[n] for n in order}, samples=64, seed=seed)
    assert list(found.first) == list(found.total) == order
    assert found.total["c"] == 0.0
    assert found.first["c"] == pytest.approx(0.0, abs=1e-12)
    assert any("no output of 64 changed with c" in note for note in found.notes)
    for name in order:
        low, high = found.first_interval[name]
        assert 0.0 <= low <= found.first[name] <= high <= 1.0


def test_a_variable_that_is_all_has_one():
    found = sobol(lambda x: np.exp(x["a"]), {"a": UNIT, "b": UNIT}, samples=2**10)
    assert found.first["a"] == pytest.approx(1.0, abs=1e-3)
    assert found.first_interval["a"][1] == 1.0
    assert found.total == pytest.approx({"a": 1.0, "b": 0.0}, abs=1e-9)


def test_labels_and_constants():
    """y = w + k a, w 0 or 1 with chance 0.3: variances 0.21 and 0.04."""
    coin = spread.Mixture([(0.7, spread.Fixed(0.0)), (0.3, spread.Fixed(1.0))])
    laws = {"w": coin, "k": spread.Fixed(0.2), "a": UNIT}
    found = sobol(lambda x: x["w"] + x["k"] * x["a"], laws)
    assert found.first["w"] == pytest.approx(0.84, abs=0.01)
    assert found.total["a"] == pytest.approx(0.16, abs=0.01)
    assert (found.first["k"], found.total_interval["k"]) == (0.0, (0.0, 0.0))
    assert found.variance == pytest.approx(0.25, rel=0.02)
    assert found.mean == pytest.approx(0.3, abs=0.01)


def test_perfect_company_has_all_of_it_and_nothing_alone():
    found = sobol(lambda x: x["a"], {"a": UNIT, "b": UNIT}, correlation={("a", "b"): 0.999})
    assert found.first["b"] == pytest.approx(0.998, abs=0.005)
    assert found.total["b"] == 0.0
    assert found.total["a"] == pytest.approx(1 - 0.999**2, abs=1e-4)
    assert any("hang together" in note for note in found.notes)


def test_ties_do_not_hang_on_the_order_of_names():
    laws, ties = {"a": UNIT, "b": UNIT, "c": UNIT}, {("a", "b"): 0.5, ("b", "c"): -0.3}
    there = sobol(lambda x: x["a"] + x["b"] * x["c"], laws, correlation=ties)
    back = sobol(lambda x: x["a"] + x["b"] * x["c"], dict(reversed(laws.items())), correlation=ties)
    for name in laws:
        assert there.first[name] == pytest.approx(back.first[name], abs=0.03)
        assert there.total[name] == pytest.approx(back.total[name], abs=0.03)


def test_bool_outputs_are_zeros_and_ones():
    assert sobol(lambda x: x["a"] > 0, PAIR, samples=2**8).first["a"] == pytest.approx(1.0)


def test_a_function_may_write_into_what_it_gets():
    def rude(x):
        x["a"] *= 2.0
        x["b"][:] += x["a"]
        return x["b"]

    polite = sobol(lambda x: 2.0 * x["a"] + x["b"], PAIR, samples=2**8)
    assert sobol(rude, PAIR, samples=2**8).first == polite.first


def test_a_constant_output_has_no_indices_and_says_so():
    found = sobol(lambda x: np.full(x["a"].size, 0.1), PAIR, samples=2**8)
    assert found.first == found.total == {"a": 0.0, "b": 0.0}
    assert found.first_interval["a"] == (0.0, 1.0)
    assert found.variance == 0.0
    assert any("same in all 512 draws" in note for note in found.notes)


def test_a_variance_on_few_draws_is_told():
    found = sobol(lambda x: x["a"] > 3.2, PAIR)
    assert any("rests on about" in note and "failure_sobol" in note for note in found.notes)
    assert not any("rests on" in note for note in sobol(total_of, PAIR).notes)


def test_same_seed_same_bytes_with_any_pool():
    ties = {("a", "b"): 0.3}
    alone = sobol(twisted, PAIR, correlation=ties, seed=0)
    with ThreadPoolExecutor(3) as pool:
        assert repr(sobol(twisted, PAIR, correlation=ties, seed=0, pool=pool)) == repr(alone)
    assert sobol(twisted, PAIR, correlation=ties, seed=1).first != alone.first


def test_frame_has_a_row_a_variable():
    found = sobol(total_of, PAIR, samples=2**8)
    frame = found.to_frame()
    assert list(frame["name"]) == ["a", "b"]
    assert list(frame.columns[1:]) == [
        f"{kind}{end}" for kind in ("first", "total") for end in ("", "_low", "_high")
    ]
    assert frame["total_high"][1] == found.total_interval["b"][1]


@pytest.mark.parametrize(
    ("asked", "points"), [(1, 2), (16, 2), (17, 4), (1000, 128), (2**13, 1024)]
)
def test_samples_are_taken_up_to_a_power_of_two(asked, points):
    found, notes = points_each(asked)
    assert found == points
    assert bool(notes) == (asked != points * SCRAMBLES)
    assert all(f"{asked:,} taken up to {points * SCRAMBLES:,}" in note for note in notes)


def test_ratio_over_scrambles_is_students_interval_for_a_known_variance():
    num = np.array([0.2, 0.4, 0.3, 0.3, 0.1, 0.5, 0.3, 0.3])
    value, (low, high) = ratio_over_scrambles(num, np.ones(8), 0.9)
    half = 1.8945786 * np.std(num, ddof=1) / np.sqrt(8)  # t of 7 degrees, any table
    assert (value, low, high) == pytest.approx((0.3, 0.3 - half, 0.3 + half), rel=1e-6)


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_an_output_without_a_value_is_refused_by_count(bad):
    function = lambda x: np.where(x["a"] > 0, bad, x["b"])  # noqa: E731
    with pytest.raises(EstimateError, match=r"NaN or infinite in 768 of 1,536 calls"):
        sobol(function, PAIR, samples=2**8)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"samples": 0}, "samples must lie in 1.*got 0"),
        ({"samples": 2.5}, "samples must be an integer.*got 2.5"),
        ({"samples": True}, "samples must be an integer.*got True"),
        ({"confidence": 1.0}, "confidence.*got 1"),
        ({"seed": -1}, "seed.*got -1"),
        ({"correlation": {("a", "z"): 0.5}}, "'z'"),
        ({"correlation": {("a", "b"): 0.5}, "correlation_of": "ranks"}, "'ranks'"),
    ],
)
def test_what_cannot_be_meant_is_refused(more, said):
    with pytest.raises(InputError, match=said):
        sobol(total_of, PAIR, **more)


def test_another_shape_is_refused():
    with pytest.raises(InputError, match=r"function must return.*\(16,\).*\(2, 16\)"):
        sobol(lambda x: np.array([x["a"], x["b"]]), PAIR, samples=16)


def test_no_variable_and_no_spread_are_refused():
    with pytest.raises(InputError, match="at least one spread"):
        sobol(total_of, {})
    with pytest.raises(InputError, match=r"'a' must be a spread.*3"):
        sobol(total_of, {"a": 3.0})
