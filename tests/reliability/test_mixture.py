"""Importance mixture: weights average to one whatever the proposal, and estimate exactly."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from jointrisk.errors import InputError
from jointrisk.reliability import mixture
from jointrisk.reliability.mixture import Proposal, counts_of, draw

NAN = np.nan
N = 40_000


def proposal(shares, directions, forced=None):
    directions = np.array(directions, dtype=float)
    none = np.zeros((len(shares), 0))
    return Proposal(
        np.array(shares, dtype=float),
        directions,
        none if forced is None else np.array(forced, dtype=float),
    )


def no_labels(_label, u, _labels):
    return np.zeros(len(u))


def rng(seed=0):
    return np.random.default_rng(seed)


def holds(terms, component, truth, sigmas=4.5):
    """The stratified mean lies within `sigmas` of the truth."""
    n = terms.size
    variance = sum(terms[component == k].var() * (component == k).sum() for k in set(component))
    assert abs(terms.mean() - truth) <= sigmas * np.sqrt(variance) / n + 1e-15


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.floats(0.05, 1.0), min_size=1, max_size=5),
    st.integers(1, 4),
    st.integers(0, 2**31),
)
def test_weights_average_to_one_and_never_exceed_one_over_the_guard(raw, dim, seed):
    shares = np.array([*raw, 0.3])
    shares /= shares.sum()
    directions = np.vstack([rng(seed).normal(0, 2, (len(raw), dim)), np.zeros(dim)])
    found = draw(proposal(shares, directions), 4000, rng(seed), no_labels)
    holds(found.weight, found.component, 1.0)
    guard = np.mean(found.component == len(raw))
    assert found.weight.max() <= 1.0 / guard * (1 + 1e-12)


@pytest.mark.parametrize("beta", [2.0, 4.0, 8.0, 20.0])
def test_tail_of_one_normal(beta):
    found = draw(proposal([0.9, 0.1], [[beta], [0.0]]), N, rng(), no_labels)
    truth = ndtr(-beta)
    holds(found.weight * (found.u[:, 0] > beta) / truth, found.component, 1.0)


def test_two_far_regions_need_both_components():
    far = proposal([0.45, 0.45, 0.1], [[4, 0], [0, -5], [0, 0]])
    found = draw(far, N, rng(), no_labels)
    fails = (found.u[:, 0] > 4) | (found.u[:, 1] < -5)
    holds(found.weight * fails, found.component, 1 - ndtr(4.0) * ndtr(5.0))


def test_forced_label_is_weighted_back_to_its_nominal_chance():
    tied = proposal([0.5, 0.5], np.zeros((2, 1)), [[0.9], [NAN]])
    found = draw(tied, N, rng(), lambda _l, u, _s: np.full(len(u), 0.003))
    holds(found.weight * found.labels[:, 0], found.component, 0.003)
    holds(found.weight * ~found.labels[:, 0], found.component, 0.997)


def test_later_label_depends_on_score_and_on_earlier_label():
    def chance(label, u, labels):
        if label == 0:
            return ndtr(u[:, 0] - 2)
        assert labels.shape == (len(u), 1)
        return np.where(labels[:, 0], 0.5, 0.01)

    tied = proposal([0.4, 0.3, 0.3], [[1.0], [0.0], [0.0]], [[1.0, NAN], [0.5, 0.5], [NAN, NAN]])
    found = draw(tied, N, rng(), chance)
    first = ndtr(-2 / np.sqrt(2))
    holds(found.weight * found.labels[:, 0], found.component, first)
    both = found.labels.all(axis=1)
    holds(found.weight * both, found.component, 0.5 * first)
    second = 0.5 * first + 0.01 * (1 - first)
    holds(found.weight * found.labels[:, 1], found.component, second)


def test_label_forced_to_an_impossible_outcome_weighs_nothing():
    tied = proposal([0.5, 0.5], np.zeros((2, 1)), [[1.0], [NAN]])
    found = draw(tied, 1000, rng(), lambda _l, u, _s: np.zeros(len(u)))
    assert np.all(found.weight[found.labels[:, 0]] == 0)
    assert found.weight.sum() == pytest.approx(1000)


def test_label_forced_off_is_still_covered_by_the_guard():
    tied = proposal([0.8, 0.2], np.zeros((2, 1)), [[0.0], [NAN]])
    found = draw(tied, N, rng(), lambda _l, u, _s: np.full(len(u), 0.2))
    assert not found.labels[found.component == 0].any()
    holds(found.weight * found.labels[:, 0], found.component, 0.2)


def test_given_coordinates_stay_and_add_nothing_to_the_weight():
    fixed = np.column_stack([rng(1).standard_normal(N), np.full(N, NAN)])
    moved = proposal([0.8, 0.2], [[3.0, 3.0], [0.0, 0.0]])
    found = draw(moved, N, rng(), no_labels, fixed=fixed, mask=[True, False])
    np.testing.assert_array_equal(found.u[:, 0], fixed[:, 0])
    alone = draw(proposal([0.8, 0.2], [[3.0], [0.0]]), N, rng(), no_labels)
    assert alone.weight.max() == pytest.approx(found.weight.max(), rel=0.01)
    holds(found.weight * (found.u[:, 1] > 3), found.component, ndtr(-3.0))


def test_shift_that_follows_a_given_coordinate():
    given_scores = rng(2).standard_normal(N)
    fixed = np.column_stack([given_scores, np.zeros(N)])
    scale = np.column_stack([np.clip(4 - given_scores, 0, None), np.ones(N)])
    moved = proposal([0.85, 0.15], [[0.0, 1.0], [0.0, 0.0]])
    found = draw(moved, N, rng(), no_labels, scale=scale, fixed=fixed, mask=[True, False])
    fails = found.u.sum(axis=1) > 4
    terms = found.weight * fails
    truth = ndtr(-4 / np.sqrt(2))
    assert abs(terms.mean() - truth) < 4.5 * terms.std() / np.sqrt(N)


@pytest.mark.parametrize("dim", [1, 2, 6])
def test_wide_component_is_weighted_back(dim):
    shares, directions = np.array([0.5, 0.3, 0.2]), np.zeros((3, dim))
    directions[0] = 1.0
    wide = Proposal(shares, directions, np.zeros((3, 0)), np.array([1.0, 2.5, 1.0]))
    found = draw(wide, N, rng(), no_labels)
    holds(found.weight, found.component, 1.0)
    holds(found.weight * (found.u[:, 0] < -3.5), found.component, ndtr(-3.5))
    assert found.weight.max() <= 1 / 0.2 + 1e-9


def test_wide_component_leaves_given_coordinates_out():
    fixed = np.column_stack([rng(1).standard_normal(N), np.zeros(N)])
    wide = Proposal(np.array([0.6, 0.4]), np.zeros((2, 2)), np.zeros((2, 0)), np.array([3.0, 1.0]))
    found = draw(wide, N, rng(), no_labels, fixed=fixed, mask=[True, False])
    np.testing.assert_array_equal(found.u[:, 0], fixed[:, 0])
    holds(found.weight * (found.u[:, 1] > 3), found.component, ndtr(-3.0))


def test_widened_component_is_no_guard():
    with pytest.raises(InputError, match="holds 0"):
        Proposal(np.ones(1), np.zeros((1, 1)), np.zeros((1, 0)), np.array([1.5]))


@pytest.mark.parametrize("width", [0.0, -1.0, np.inf, np.nan])
def test_bad_width_is_refused_with_its_value(width):
    with pytest.raises(InputError, match=f"{width:g}"):
        Proposal(np.array([0.5, 0.5]), np.zeros((2, 1)), np.zeros((2, 0)), np.array([width, 1.0]))


def test_counts_follow_shares_by_largest_remainder():
    mixed = proposal([0.5, 0.25, 0.25], np.zeros((3, 1)))
    assert counts_of(mixed, 7).tolist() == [3, 2, 2]
    assert counts_of(mixed, 8).tolist() == [4, 2, 2]
    component = draw(mixed, 8, rng(), no_labels).component
    assert component.tolist() == [0, 0, 0, 0, 1, 1, 2, 2]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0.01, 1.0), min_size=1, max_size=8), st.integers(1, 1000))
def test_counts_sum_to_n_and_the_guard_is_drawn(raw, n):
    shares = np.array([*raw, 0.1 * sum(raw)])
    shares /= shares.sum()
    directions = np.vstack([np.ones((len(raw), 1)), [[0.0]]])
    counts = counts_of(proposal(shares, directions), n)
    assert counts.sum() == n
    assert counts.min() >= 0
    assert counts[-1] >= 1


def test_memory_is_chunked_without_changing_a_weight(monkeypatch):
    directions = np.vstack([rng(3).normal(0, 2, (30, 2)), [0.0, 0.0]])
    many = proposal(np.full(31, 1 / 31), directions)
    whole = draw(many, 500, rng(), no_labels).log_weight
    monkeypatch.setattr(mixture, "_CHUNK", 1000)
    np.testing.assert_allclose(draw(many, 500, rng(), no_labels).log_weight, whole, rtol=1e-12)


def test_weights_of_a_far_component_do_not_overflow():
    far = draw(proposal([0.9, 0.1], [[37.0], [0.0]]), 2000, rng(), no_labels)
    assert np.all(np.isfinite(far.log_weight))
    assert far.log_weight.min() < -600


@pytest.mark.parametrize(
    ("shares", "directions", "forced", "told"),
    [
        ([0.5, 0.6], [[1], [0]], None, "1.1"),
        ([1.5, -0.5], [[1], [0]], None, ">= 0"),
        ([0.99, 0.01], [[1], [0]], None, "0.01"),
        ([1.0], [[1]], None, "holds 0"),
        ([0.5, 0.5], [[0], [0]], [[1.2], [NAN]], "1.2"),
        ([0.5, 0.5], [[np.inf], [0]], None, "finite"),
        ([0.5, 0.5], [[0]], None, "2, 1 and 2"),
    ],
)
def test_bad_proposal_is_refused_with_its_value(shares, directions, forced, told):
    with pytest.raises(InputError) as caught:
        proposal(shares, directions, forced)
    assert told in str(caught.value)


def test_wrong_number_of_axes_is_refused():
    with pytest.raises(InputError, match=r"\(2,\)"):
        Proposal(np.array([0.5, 0.5]), np.zeros(2), np.zeros((2, 0)))


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"scale": np.ones(10)}, r"\(10, 1\)"),
        ({"fixed": np.zeros((10, 1))}, "mask"),
        ({"mask": [True]}, "fixed"),
        ({"fixed": np.zeros((10, 1)), "mask": [True, False]}, r"\(2,\)"),
        ({"fixed": np.zeros((9, 1)), "mask": [True]}, r"\(9, 1\)"),
    ],
)
def test_bad_shapes_are_refused(more, told):
    with pytest.raises(InputError, match=told):
        draw(proposal([1.0], [[0.0]]), 10, rng(), no_labels, **more)


def test_no_draws_are_refused():
    with pytest.raises(InputError, match="got 0"):
        draw(proposal([1.0], [[0.0]]), 0, rng(), no_labels)


def test_chance_outside_its_range_is_refused_with_its_value():
    tied = proposal([1.0], [[0.0]], [[NAN]])
    with pytest.raises(InputError, match=r"label 0 .* 1\.5"):
        draw(tied, 10, rng(), lambda _l, u, _s: np.full(len(u), 1.5))
