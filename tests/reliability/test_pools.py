"""Pools: any object with a map, every method that draws, and not a byte of difference."""

from __future__ import annotations

import pickle
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from operator import itemgetter

import numpy as np
import pytest
from scipy.special import ndtr

from jointrisk import spread
from jointrisk.errors import InputError
from jointrisk.reliability import estimate
from jointrisk.reliability.pools import mapped
from jointrisk.reliability.space import PIECE, Problem, Space

LEFT = itemgetter("c")
"""Margin that any process can be sent."""
VARIABLES = {
    "a": spread.Lognormal(3.0, 1.0),
    "b": spread.Gumbel(0.0, 1.0),
    "c": spread.Normal(2.0, 1.0),
}
TIED = {("a", "b"): 0.4}
DRAWN = ["crude", "quasi", "importance", "subset", "directional", "line"]


class Watched:
    """A pool that keeps how many items it was given at once."""

    def __init__(self):
        self.given = []

    def map(self, function, items):
        self.given.append(len(items))
        return [function(item) for item in items]


class Futures(Watched):
    """A pool whose ``map`` gives futures, as cluster clients do."""

    class Future:
        def __init__(self, value):
            self.value = value

        def result(self):
            return self.value

    def map(self, function, items):
        return [self.Future(found) for found in super().map(function, items)]


def bowl(x):
    """Curved, so that lines have a scatter and go on."""
    return x["c"] + 0.1 * x["a"] - 0.3 * x["b"] ** 2


def run(method, margin=bowl, pool=None, **more):
    asked = {"target_cov": 0.01, "max_evaluations": 40_000, "seed": 5} | more
    return estimate(margin, VARIABLES, correlation=TIED, method=method, pool=pool, **asked)


@pytest.mark.parametrize("pool", [None, Watched(), Futures()])
def test_results_come_in_the_order_of_the_items(pool):
    assert list(mapped(pool, lambda k: k * k, range(5))) == [0, 1, 4, 9, 16]


@pytest.mark.parametrize("method", [*DRAWN, "auto"])
def test_any_number_of_threads_gives_the_same_bytes(method):
    alone = repr(run(method))
    for workers in (1, 2, 3):
        with ThreadPoolExecutor(workers) as pool:
            assert repr(run(method, pool=pool)) == alone


def test_processes_give_the_same_bytes():
    with ProcessPoolExecutor(2) as pool:
        for method in DRAWN:
            assert repr(run(method, LEFT, pool)) == repr(run(method, LEFT)), method


@pytest.mark.parametrize("method", DRAWN)
def test_every_method_that_draws_hands_out_work(method):
    pool = Watched()
    run(method, pool=pool, target_cov=0.003, max_evaluations=80_000)
    assert max(pool.given) > 1


def test_large_batches_go_in_like_pieces_with_a_pool_or_without():
    rows = []

    def watched(x):
        rows.append(x["a"].size)
        return x["a"]

    space = Space.of(VARIABLES, TIED)
    u = np.random.default_rng(0).standard_normal((2 * PIECE + 7, 3))
    pool = Watched()
    with_pool = Problem(space, watched, pool).margin(u, space.cells[0])
    without = Problem(space, watched).margin(u, space.cells[0])
    assert rows == 2 * [PIECE, PIECE, 7]
    assert pool.given == [3]
    np.testing.assert_array_equal(with_pool, without)
    np.testing.assert_allclose(with_pool, space.values(u, space.cells[0])["a"], rtol=1e-14)


def test_what_is_sent_to_a_worker_leaves_the_pool_behind():
    class Opened(Watched):
        def map(self, function, items):
            return super().map(pickle.loads(pickle.dumps(function)), items)  # noqa: S301

        def __reduce__(self):
            raise TypeError("a pool cannot be sent")

    space = Space.of(VARIABLES)
    u = np.ones((PIECE + 1, 3))
    margin = Problem(space, LEFT, Opened()).margin(u, space.cells[0])
    np.testing.assert_array_equal(margin, space.values(u, space.cells[0])["c"])


def test_refusals_of_a_worker_reach_the_caller():
    with ThreadPoolExecutor(2) as pool, pytest.raises(InputError, match=r"\(4096,\)"):
        run("quasi", lambda x: x["a"][:-1], pool)


def test_pool_does_not_change_what_is_true():
    exact = float(ndtr(VARIABLES["a"].to_normal(0.9)))
    with ThreadPoolExecutor(2) as pool:
        found = run("importance", lambda x: x["a"] - 0.9, pool, confidence=0.999)
    assert found.interval[0] <= exact <= found.interval[1]
