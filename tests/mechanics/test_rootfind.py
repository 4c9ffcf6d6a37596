"""The root finder on equations whose roots are known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.mechanics.rootfind import quick_root, rising_root

CASES = {
    "cube root": (lambda x, a: (x**3 - a, 3 * x**2), np.cbrt),
    "logarithm": (lambda x, a: (np.expm1(x) - a, np.exp(x)), np.log1p),
    # Flat on both sides of a steep middle: Newton alone runs away.
    "steep": (
        lambda x, a: (np.arctan(50 * (x - a)), 50 / (1 + (50 * (x - a)) ** 2)),
        lambda a: a,
    ),
    "slope says nothing": (lambda x, a: (x - a, np.zeros_like(x)), lambda a: a),
    "slope is wrong": (lambda x, a: (x - a, np.full_like(x, -3.0)), lambda a: a),
    "sign only": (
        lambda x, a: (np.where(x > a, np.inf, x - a), np.ones_like(x)),
        lambda a: a,
    ),
}


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("where", [0.0, 0.3, 1.0])
def test_known_roots(name, where):
    equation, answer = CASES[name]
    a = np.linspace(0.01, 9.9, 501)
    high = np.full_like(a, 10.0)
    found = rising_root(equation, where * high, high, a)
    np.testing.assert_allclose(found, answer(a), rtol=2e-8)


@settings(deadline=None, max_examples=60)
@given(st.lists(st.floats(1e-6, 1e6), min_size=1, max_size=20), st.floats(0, 1))
def test_stays_in_the_bracket_and_solves(values, where):
    a = np.array(values)
    high = np.maximum(a, 1.0)
    asked = []

    def equation(x, a, high):
        asked.append(np.all((x >= 0) & (x <= high)))
        return x**3 - a, 3 * x**2

    found = rising_root(equation, where * high, high, a, high)
    assert all(asked)
    np.testing.assert_allclose(found**3, a, rtol=1e-7)


def test_settled_entries_are_not_computed_again():
    sizes = []

    def equation(x, a):
        sizes.append(x.size)
        return x**2 - a, 2 * x

    a = np.concatenate([np.full(900, 1.0), np.linspace(2, 90, 100)])
    rising_root(equation, np.ones(1000), np.full(1000, 10.0), a)
    assert sizes[0] == 1000
    assert sizes[-1] <= 100
    assert len(sizes) < 12


def test_empty():
    assert rising_root(lambda x: (x, x), np.empty(0), np.empty(0)).size == 0


# ---- in single precision first -------------------------------------------------------------


def start_in_the_middle(*parameters):
    return np.full_like(parameters[0], 5.0)


@pytest.mark.parametrize("name", CASES)
def test_quick_finds_known_roots(name):
    """Bent little or much: what the quick steps do not settle is settled by the others."""
    equation, answer = CASES[name]
    a = np.linspace(0.01, 9.9, 501)
    found = quick_root(equation, start_in_the_middle, np.full_like(a, 10.0), a)
    np.testing.assert_allclose(found, answer(a), rtol=1e-6)


def test_quick_takes_one_step_in_double_precision_where_that_is_enough():
    asked = []

    def equation(x, a):
        asked.append((x.dtype, x.size))
        return np.exp(0.3 * x) - a, 0.3 * np.exp(0.3 * x)

    a = np.linspace(4.0, 5.0, 1000)
    found = quick_root(equation, start_in_the_middle, np.full_like(a, 10.0), a)
    np.testing.assert_allclose(found, np.log(a) / 0.3, rtol=1e-9)
    assert asked == [(np.float32, 1000)] * 3 + [(np.float64, 1000)]


def test_quick_hands_on_only_what_is_not_settled():
    """Steep in one entry of many."""
    sizes = []

    def equation(x, a, steep):
        sizes.append((x.dtype, x.size))
        return np.arctan(steep * (x - a)), steep / (1 + (steep * (x - a)) ** 2)

    steep = np.full(1000, 0.1)
    steep[500] = 500.0
    a = np.linspace(1.0, 9.0, 1000)
    found = quick_root(equation, start_in_the_middle, np.full_like(a, 10.0), a, steep)
    np.testing.assert_allclose(found, a, rtol=1e-8)
    double = [size for dtype, size in sizes if dtype == np.float64]
    assert double[0] == 1000
    assert set(double[1:]) == {1}


@pytest.mark.parametrize("value", [np.nan, np.inf, 0.0, 1e30])
def test_quick_survives_a_useless_guess(value):
    a = np.linspace(0.1, 9.0, 50)
    found = quick_root(
        lambda x, a: (x**3 - a, 3 * x**2),
        lambda a: np.full_like(a, value),
        np.full_like(a, 10.0),
        a,
    )
    np.testing.assert_allclose(found, np.cbrt(a), rtol=1e-7)


def test_quick_with_nothing_to_do():
    assert quick_root(lambda x: (x, x), lambda: np.empty(0), np.empty(0)).size == 0


def test_a_settled_root_stays_where_it_is_while_others_are_searched():
    """Steps of mere rounding do not shrink, and are no reason to halve the bracket again."""
    slow = np.concatenate([np.zeros(300, dtype=bool), np.ones(900, dtype=bool)])
    a = np.linspace(1.1, 7.9, slow.size)

    def equation(x, a, slow):
        return x**2 - a, np.where(slow, 0.0, 2 * x)

    high = np.full(a.shape, 10.0)
    found = rising_root(equation, 0.1 * high, high, a, slow)
    np.testing.assert_allclose(found[~slow], np.sqrt(a[~slow]), rtol=1e-14)
