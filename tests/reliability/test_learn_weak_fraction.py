"""The share of weak parts: directions, extremes, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.errors import InputError
from jointrisk.reliability import LearnedFraction, learn_weak_fraction

Q = np.array([0.01, 0.25, 0.5, 0.75, 0.99])
PLAIN = {
    "prior": (1.0, 99.0),
    "weak_survives": 0.3,
    "sound_survives": 0.99,
    "survived": 20,
    "failed": 1,
}


def learn(**change) -> LearnedFraction:
    return learn_weak_fraction(**(PLAIN | change))


exponents = st.floats(0.2, 200.0)
told = st.fixed_dictionaries(
    {
        "prior": st.tuples(exponents, exponents),
        "weak_survives": st.floats(0.0, 0.6),
        "sound_survives": st.floats(0.6, 1.0),
        "survived": st.integers(0, 500),
        "failed": st.integers(0, 20),
    }
)


@settings(max_examples=20, deadline=None)
@given(told)
def test_a_survivor_speaks_for_fewer_weak_parts_and_a_break_for_more(case):
    found = learn(**case)
    one_more = learn(**case | {"survived": case["survived"] + 1})
    broken = learn(**case | {"failed": case["failed"] + 1})
    assert np.all(one_more.quantile(Q) <= found.quantile(Q) + 1e-9)
    assert np.all(broken.quantile(Q) >= found.quantile(Q) - 1e-9)
    assert one_more.mean <= found.mean + 1e-12


@settings(max_examples=20, deadline=None)
@given(told)
def test_a_survivor_is_less_often_weak_than_a_part_not_pulled(case):
    found = learn(**case)
    assert 0.0 <= found.next_survivor_is_weak <= found.survivor_is_weak + 1e-12
    assert found.survivor_is_weak <= found.mean + 1e-12
    assert 0.0 < found.mean < 1.0
    assert np.all(np.isfinite([found.sd, found.log_evidence, found.surprise]))


def test_survivor_told_is_the_next_one_a_pull_before():
    """By exchange: one of n that survived is as the n-th was when it had just survived."""
    assert learn(survived=20).survivor_is_weak == pytest.approx(
        learn(survived=19).next_survivor_is_weak, rel=1e-9
    )


def test_where_none_survived_the_next_survivor_stands_for_it():
    found = learn(survived=0, failed=2)
    assert found.survivor_is_weak == found.next_survivor_is_weak > 0.0


@pytest.mark.parametrize("chance", [0.4, 1.0])
def test_equal_survival_teaches_nothing_and_says_so(chance):
    failed = 0 if chance == 1.0 else 14
    found = learn(weak_survives=chance, sound_survives=chance, survived=10, failed=failed)
    assert (found.mean, found.sd) == pytest.approx((0.01, np.sqrt(0.01 * 0.99 / 101)), rel=1e-9)
    assert found.survivor_is_weak == pytest.approx(0.01, rel=1e-9)
    assert f"chance {chance:g}: this pull teaches nothing" in found.notes[0]


def test_without_pulls_it_is_the_prior():
    found = learn(survived=0, failed=0)
    assert found.mean == pytest.approx(0.01, rel=1e-12)
    assert found.notes == ()


def test_many_parts_tell_the_share_that_breaks():
    """A million parts, 3 % broken: w 0.7 + (1 − w) 0.01 = 0.03 (law of large numbers)."""
    found = learn(survived=970_000, failed=30_000)
    assert found.mean == pytest.approx(0.02 / 0.69, abs=4e-4)
    assert found.sd < 4e-4


def test_weak_parts_that_always_hold_cannot_be_seen():
    found = learn(weak_survives=1.0, sound_survives=1.0, failed=0)
    assert found.survivor_is_weak == pytest.approx(found.mean)
    swapped = learn(weak_survives=1.0, sound_survives=0.9)
    assert "(1) than sound ones (0.9): were the two swapped?" in swapped.notes[0]
    assert swapped.survivor_is_weak > swapped.mean


def test_counts_that_no_share_explains_are_told():
    found = learn(weak_survives=0.9, survived=0, failed=12)
    assert "no share of weak parts explains 12 broken of 12" in " ".join(found.notes)


def test_more_weak_parts_than_the_prior_expects_are_told():
    found = learn(prior=(1, 99), survived=20, failed=20)
    assert "more weak parts than the prior expects" in " ".join(found.notes)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"prior": (0, 1)}, r"prior must be two numbers \(a, b\) .*got \(0, 1\)"),
        ({"prior": 3.0}, r"prior .*got 3.0"),
        ({"prior": (1, 2, 3)}, r"got \(1, 2, 3\)"),
        ({"prior": (1, np.inf)}, r"got \(1, inf\)"),
        ({"weak_survives": 1.2}, "weak_survives must be a chance from 0 to 1, got 1.2"),
        ({"sound_survives": -0.1}, "sound_survives .*got -0.1"),
        ({"sound_survives": "0.9"}, "sound_survives .*got '0.9'"),
        ({"sound_survives": np.nan}, "sound_survives .*got nan"),
        ({"survived": -1}, "survived must be a whole number .*got -1"),
        ({"survived": 3.5}, "survived .*got 3.5"),
        ({"failed": True}, "failed .*got True"),
        ({"weak_survives": 0.0, "sound_survives": 0.0}, "both 0: nothing can survive"),
        ({"weak_survives": 1.0, "sound_survives": 1.0}, "both 1, .*failed is 1"),
    ],
)
def test_what_is_refused_is_told_by_name_and_value(change, words):
    with pytest.raises(InputError, match=words):
        learn(**change)


@pytest.mark.parametrize("q", [-0.1, 1.1, np.nan])
def test_a_quantile_of_no_chance_is_refused(q):
    with pytest.raises(InputError, match="q must lie from 0 to 1"):
        learn().quantile(q)
