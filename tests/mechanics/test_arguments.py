"""The checks of arguments: what passes, and what a refusal says."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jointrisk.errors import InputError
from jointrisk.mechanics.arguments import compatible, less, real, real_or_endless

finite = st.floats(allow_nan=False, allow_infinity=False)


@given(st.lists(finite))
def test_finite_numbers_pass_unchanged(values):
    found = real("x", values)
    assert found.dtype == np.float64
    assert found.tolist() == values


@given(st.lists(finite, max_size=5), st.sampled_from([math.nan, math.inf, -math.inf]), st.randoms())
def test_one_number_that_is_none_spoils_all(values, bad, random):
    values = [*values, bad]
    random.shuffle(values)
    with pytest.raises(InputError, match=rf"^x must be finite; got {bad}$"):
        real("x", values)


@given(finite, finite)
def test_limits_are_open_or_closed_as_named(value, limit):
    for name, allowed in {
        "above": value > limit,
        "at_least": value >= limit,
        "at_most": value <= limit,
    }.items():
        if allowed:
            assert real("x", value, **{name: limit}) == value
        else:
            with pytest.raises(InputError, match=r"^x must be finite, ") as caught:
                real("x", value, **{name: limit})
            assert f"{limit:g}; got {value:g}" in str(caught.value)


def test_all_limits_are_told_and_the_worst_entry():
    with pytest.raises(InputError) as caught:
        real("share", [0.2, 1.5, 7.25], at_least=0, at_most=1)
    assert str(caught.value) == "share must be finite, at least 0, at most 1; got 7.25"
    with pytest.raises(InputError, match=r"got -3$"):
        real("share", [0.2, -3, 7.25], at_least=0, at_most=1)


@pytest.mark.parametrize("value", ["thick", [1, "two"], None, [[1], [1, 2]], {"a": 1}])
def test_what_is_no_number_is_quoted(value):
    if value is None:  # numpy reads None as NaN
        with pytest.raises(InputError, match=r"^x must be finite; got nan$"):
            real("x", value)
        return
    with pytest.raises(InputError) as caught:
        real("x", value)
    assert repr(value) in str(caught.value)


def test_nothing_is_always_within_limits():
    assert real("x", [], above=5).size == 0
    less("a", np.empty(0), "b", np.empty(0))


def test_endless_is_an_answer_but_not_none_nor_less_than_nothing():
    found = real_or_endless("x", [0, 2.5, math.inf])
    assert found.tolist() == [0, 2.5, math.inf]
    assert real_or_endless("x", []).size == 0
    for bad, told in ((math.nan, "nan"), (-math.inf, "-inf"), (-0.5, "-0.5"), ("a", "'a'")):
        with pytest.raises(InputError, match=rf"^x must be .*[ ;]got {told}$"):
            real_or_endless("x", bad)


def test_less_names_the_pair_that_is_furthest_out():
    less("bore", [1.0, 2.0], "plug", 3.0)
    with pytest.raises(InputError, match=r"^bore must be less than plug; got 5 against 2\.5$"):
        less("bore", np.array([[3.0], [5.0]]), "plug", np.array([4.0, 2.5]))
    with pytest.raises(InputError, match=r"got 3 against 3$"):
        less("bore", 3.0, "plug", 3.0)


def test_common_shape():
    assert compatible(a=1.0, b=np.ones((4, 1)), c=[1, 2, 3]) == (4, 3)
    with pytest.raises(InputError, match=r"^shapes do not fit together: b \(2,\), c \(3,\)$"):
        compatible(a=1.0, b=[1, 2], c=[1, 2, 3])
