"""Variables become constants, labels or coordinates, and come back by name."""

from __future__ import annotations

import numpy as np
import pytest

from jointrisk import spread
from jointrisk.errors import InputError
from jointrisk.reliability.space import Problem, Space, checked_margin

COIN = spread.Mixture([(0.9, spread.Fixed(0.0)), (0.1, spread.Fixed(1.0))])
DIE = spread.Mixture([(1 / 6, spread.Fixed(float(i))) for i in range(1, 7)])
UNIT = spread.Normal(0.0, 1.0)


def test_sorts_variables_into_three_kinds():
    space = Space.of({"a": UNIT, "k": spread.Fixed(7.0), "coin": COIN, "b": UNIT})
    assert space.coordinates == ("a", "b")
    assert space.constants == (("k", 7.0),)
    assert [cell.labels for cell in space.cells] == [(("coin", 0.0),), (("coin", 1.0),)]
    assert [cell.probability for cell in space.cells] == pytest.approx([0.9, 0.1])


def test_values_keep_the_caller_s_order_and_shape():
    space = Space.of({"k": spread.Fixed(7.0), "a": UNIT, "coin": COIN})
    x = space.values(np.array([[1.0], [2.0]]), space.cells[1])
    assert list(x) == ["k", "a", "coin"]
    assert {name: v.tolist() for name, v in x.items()} == {
        "k": [7.0, 7.0],
        "a": [1.0, 2.0],
        "coin": [1.0, 1.0],
    }


def test_cells_are_all_combinations():
    space = Space.of({"a": UNIT, "one": COIN, "two": DIE})
    assert len(space.cells) == 12
    assert sum(cell.probability for cell in space.cells) == pytest.approx(1.0)


def test_labels_beyond_what_can_be_counted_become_coordinates():
    space = Space.of({f"die{i}": DIE for i in range(4)} | {"coin": COIN})
    assert len(space.cells) == 12
    assert space.dim == 3


def test_labels_are_coordinates_when_not_enumerated():
    space = Space.of({"coin": COIN, "a": UNIT}, enumerate_labels=False)
    assert space.coordinates == ("coin", "a")
    assert len(space.cells) == 1
    u = np.random.default_rng(0).standard_normal((20_000, 2))
    assert space.values(u, space.cells[0])["coin"].mean() == pytest.approx(0.1, abs=0.01)


def test_correlated_label_is_a_coordinate():
    space = Space.of({"coin": COIN, "a": UNIT}, {("coin", "a"): 0.5}, "scores")
    assert space.coordinates == ("coin", "a")


def test_correlation_of_values_is_that_of_the_values():
    a, b = spread.Lognormal(10, 3), spread.Gumbel(5, 1)
    space = Space.of({"a": a, "b": b}, {("a", "b"): 0.6})
    u = np.random.default_rng(0).standard_normal((200_000, 2))
    x = space.values(u, space.cells[0])
    assert np.corrcoef(x["a"], x["b"])[0, 1] == pytest.approx(0.6, abs=0.02)


def test_correlation_of_scores_is_that_of_the_scores():
    space = Space.of({"a": UNIT, "b": UNIT}, {("a", "b"): -0.4}, "scores")
    np.testing.assert_allclose(space.factor @ space.factor.T, [[1, -0.4], [-0.4, 1]])


def test_directions_do_not_hang_on_the_order_of_names():
    pair = {("a", "b"): 0.7}
    slope = np.array([0.8, -0.6])
    first = Space.of({"a": UNIT, "b": UNIT}, pair)
    other = Space.of({"b": UNIT, "a": UNIT}, pair)
    one = first.directions(_unit(first.factor.T @ slope))
    two = other.directions(_unit(other.factor.T @ slope[::-1]))
    assert one == pytest.approx({"a": 0.8, "b": -0.6})
    assert two == pytest.approx(one)


def _unit(vector):
    return vector / np.linalg.norm(vector)


def test_constants_and_labels_have_no_direction():
    space = Space.of({"a": UNIT, "k": spread.Fixed(1.0), "coin": COIN})
    assert space.directions(np.array([1.0])) == {"a": 1.0, "k": 0.0, "coin": 0.0}


def test_only_constants_is_a_space_of_no_coordinate():
    space = Space.of({"k": spread.Fixed(3.0)})
    assert space.dim == 0
    assert space.values(np.zeros((4, 0)), space.cells[0])["k"].tolist() == [3.0] * 4


@pytest.mark.parametrize(
    ("variables", "correlation", "of", "told"),
    [
        ({}, None, "values", "got none"),
        ({"a": 3.0}, None, "values", r"'a' .* got 3\.0"),
        ({"a": UNIT}, {("a", "c"): 0.1}, "values", "'c'"),
        ({"a": UNIT}, {"a": 0.1}, "values", "got 'a'"),
        ({"a": UNIT, "k": spread.Fixed(7.0)}, {("a", "k"): 0.1}, "values", "'k' is a constant, 7"),
        ({"a": UNIT, "b": UNIT}, {("a", "b"): 0.1}, "ranks", "'ranks'"),
    ],
)
def test_bad_variables_are_refused_with_their_value(variables, correlation, of, told):
    with pytest.raises(InputError, match=told):
        Space.of(variables, correlation, of)


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (np.zeros(3), r"shape \(4,\), got float64 of shape \(3,\)"),
        (np.zeros((4, 1)), r"\(4, 1\)"),
        (1.0, r"shape \(\)"),
        (np.zeros(4, dtype=bool), "bool"),
        (np.zeros(4, dtype=complex), "complex128"),
        (None, "object"),
        ({"a": 1}, "object"),
    ],
)
def test_bad_margin_is_refused_with_what_was_found_and_wanted(found, told):
    with pytest.raises(InputError, match=told):
        checked_margin(found, 4)


def test_whole_numbers_are_a_margin():
    assert checked_margin(np.array([1, -1]), 2).tolist() == [1.0, -1.0]


def test_problem_maps_scores_to_margins():
    space = Space.of({"a": spread.Normal(10, 2)})
    problem = Problem(space, lambda x: x["a"] - 8)
    assert problem.margin(np.array([[0.0], [-2.0]]), space.cells[0]).tolist() == [2.0, -2.0]
