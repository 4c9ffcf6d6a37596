"""Plain counting: the same counts at any worker count, stopped by the target or the cap."""

from __future__ import annotations

import pickle
import tracemalloc
from concurrent.futures import ThreadPoolExecutor
from operator import itemgetter

import numpy as np
import pytest

from jointrisk import spread
from jointrisk.reliability.crude import Counts, _Block, count_failures
from jointrisk.reliability.space import Problem, Space
from jointrisk.reliability.streams import BLOCK

UNIT = spread.Normal(0.0, 1.0)


def problem(margin=lambda x: 2.0 - x["a"]):
    return Problem(Space.of({"a": UNIT, "b": UNIT}, enumerate_labels=False), margin)


def counted(margin=None, **change):
    settings = {"seed": 1, "target_cov": 1e-9, "max_evaluations": 8 * BLOCK}
    task = problem() if margin is None else problem(margin)
    return count_failures(task, **(settings | change))


class FuturesPool:
    """A pool whose ``map`` gives futures, as cluster clients do."""

    class Future:
        def __init__(self, value):
            self.value = value

        def result(self):
            return self.value

    def map(self, function, items):
        return [self.Future(function(item)) for item in items]


class EagerPool:
    """A pool that computes in reverse order and gives a list in order."""

    def map(self, function, items):
        return [function(item) for item in reversed(items)][::-1]


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_threads_change_nothing(workers):
    with ThreadPoolExecutor(workers) as pool:
        assert counted(pool=pool) == counted()


@pytest.mark.parametrize("pool", [FuturesPool(), EagerPool()])
def test_any_object_with_map_is_a_pool(pool):
    assert counted(pool=pool) == counted()


def test_cap_is_kept_in_whole_blocks():
    assert counted(max_evaluations=3 * BLOCK + 5).n == 3 * BLOCK


def test_less_than_a_block_is_made_as_asked():
    assert counted(max_evaluations=100).n == 100


def test_target_stops_the_count():
    found = counted(target_cov=0.05, max_evaluations=10**9)
    assert found.cov <= 0.05
    assert found.n == BLOCK * 2


def test_seed_zero_is_a_seed_of_its_own():
    assert counted(seed=0) != counted(seed=1)
    assert counted(seed=0) == counted(seed=0)


def test_undefined_margins_are_failures_and_counted():
    def gaps(x):
        return np.where(x["a"] > 1, np.nan, x["b"] + 3)

    found = counted(gaps, max_evaluations=BLOCK)
    plain = counted(lambda x: 1.0 - x["a"], max_evaluations=BLOCK)
    assert found.undefined == plain.failures
    assert found.failures > found.undefined


def test_margin_of_exactly_zero_has_not_failed():
    assert counted(lambda x: 0.0 * x["a"]).failures == 0


def test_memory_stays_at_one_block():
    rows = []

    def watched(x):
        rows.append(x["a"].size)
        return x["a"]

    counted(watched)
    assert set(rows) == {BLOCK}


def test_scatter_of_a_count():
    assert Counts(100, 0, 10_000).cov == pytest.approx(np.sqrt(0.99 / 100))
    assert Counts(0, 0, 10).cov == np.inf
    assert Counts(10, 0, 10).cov == 0.0


def test_block_can_be_sent_to_another_process():
    job = _Block(problem(itemgetter("a")), 1, BLOCK)
    assert pickle.loads(pickle.dumps(job))(3) == job(3)  # noqa: S301


def test_many_blocks_need_the_memory_of_a_few():
    def peak(blocks):
        tracemalloc.start()
        counted(max_evaluations=blocks * BLOCK)
        top = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return top

    peak(1)
    assert peak(32) < 2 * peak(2)
