"""Streams: a seed is a seed, blocks are their own, and no call depends on another."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.errors import InputError
from jointrisk.reliability.streams import (
    BLOCK,
    DEFAULT_SEED,
    block_rng,
    normal_block,
    resolve_seed,
)


def test_block_is_the_agreed_size():
    assert BLOCK == 16_384


@pytest.mark.parametrize("seed", [0, 1, 2**40, np.int64(7)])
def test_seed_is_kept(seed):
    found = resolve_seed(seed)
    assert found == seed
    assert type(found) is int


def test_no_seed_is_always_the_same_one():
    assert resolve_seed(None) == resolve_seed(None) == DEFAULT_SEED


@pytest.mark.parametrize("seed", [True, False, 1.0, "1", -1, np.bool_(True)])
def test_bad_seed_is_refused_with_its_value(seed):
    with pytest.raises(InputError, match=r"integer >= 0") as caught:
        resolve_seed(seed)
    assert str(seed) in str(caught.value)


def test_stream_is_numpy_s_own_recipe():
    wanted = np.random.Generator(np.random.PCG64(np.random.SeedSequence(5, spawn_key=(2, 9))))
    np.testing.assert_array_equal(block_rng(5, 2, 9).random(8), wanted.random(8))


@settings(max_examples=30, deadline=None)
@given(st.tuples(*[st.integers(0, 50)] * 3), st.tuples(*[st.integers(0, 50)] * 3))
def test_streams_differ_exactly_when_their_address_does(first, second):
    same = np.array_equal(block_rng(*first).random(4), block_rng(*second).random(4))
    assert same == (first == second)


def test_normal_block_has_the_moments_of_a_standard_normal():
    u = normal_block(0, 1, 0, 3)
    assert u.shape == (BLOCK, 3)
    assert np.abs(u.mean(axis=0)).max() < 4 / np.sqrt(BLOCK)
    assert np.abs(u.var(axis=0) - 1).max() < 4 * np.sqrt(2 / BLOCK)
    assert np.abs(np.corrcoef(u.T) - np.eye(3)).max() < 4 / np.sqrt(BLOCK)


def test_coordinates_lie_in_one_piece_of_memory():
    u = normal_block(3, 1, 2, 2, rows=10)
    assert u.shape == (10, 2)
    assert u.flags.f_contiguous
    np.testing.assert_array_equal(u, normal_block(3, 1, 2, 2, rows=10))
