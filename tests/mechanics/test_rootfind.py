"""The root finder on equations whose roots are known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.mechanics.rootfind import rising_root

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
