"""What must hold of any limit state: same bytes, and changes that change no probability."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk import spread
from jointrisk.reliability import estimate
from jointrisk.reliability.crude import count_failures
from jointrisk.reliability.space import Problem, Space
from jointrisk.reliability.streams import BLOCK

DRAWN = ["crude", "quasi", "importance", "subset", "line", "directional"]
few = settings(max_examples=3, deadline=None)
some = settings(max_examples=15, deadline=None)
seeds = st.integers(0, 2**32)

STRENGTHS = st.one_of(
    st.builds(spread.Normal, st.just(1000.0), st.floats(60, 120)),
    st.builds(spread.Lognormal, st.just(1000.0), st.floats(60, 160)),
    st.builds(spread.Weibull, st.floats(9, 16), st.just(1000.0)),
)


def variables(strength=None, demand=620.0):
    return {"r": strength or spread.Lognormal(1000, 100), "d": spread.Gumbel(demand, 60)}


def margin(x):
    return x["r"] - x["d"]


def agree(one, other):
    """Two independent answers lie within five of their joint standard errors."""
    error = np.hypot(one.cov * one.probability, other.cov * other.probability)
    assert abs(one.probability - other.probability) <= 5.0 * error


def found(g, given_variables, method, seed, **more):
    aim = {"target_cov": 0.1, "max_evaluations": 200_000}
    return estimate(g, given_variables, method=method, seed=seed, **(aim | more))


class Backwards:
    """A pool that works from the last item to the first."""

    def map(self, function, items):
        return [function(item) for item in reversed(items)][::-1]


# --- same bytes -----------------------------------------------------------------------------


@few
@given(seeds, st.integers(1, 4), st.sampled_from(["crude", "auto"]))
def test_worker_count_changes_no_byte(seed, workers, method):
    alone = found(margin, variables(), method, seed)
    with ThreadPoolExecutor(workers) as pool:
        assert repr(found(margin, variables(), method, seed, pool=pool)) == repr(alone)
    assert repr(found(margin, variables(), method, seed, pool=Backwards())) == repr(alone)


@some
@given(seeds, st.integers(1, 12), st.integers(1, 12))
def test_counts_of_a_prefix_do_not_hang_on_how_many_blocks_follow(seed, one, more):
    """Blocks are the batches: the first n are the same whatever is drawn after them."""
    problem = Problem(Space.of(variables(), enumerate_labels=False), margin)

    def seen(blocks):
        rows = []

        def watch(x):
            rows.append(np.sum(margin(x) < 0))
            return margin(x)

        task = Problem(problem.space, watch)
        count_failures(task, seed=seed, target_cov=1e-9, max_evaluations=blocks * BLOCK)
        return rows

    few_blocks, many = seen(min(one, more)), seen(max(one, more))
    assert many[: len(few_blocks)] == few_blocks


@few
@given(seeds, st.sampled_from(DRAWN))
def test_same_seed_same_bytes_and_another_seed_others(seed, method):
    one, two, other = (found(margin, variables(), method, s) for s in (seed, seed, seed + 1))
    assert repr(one) == repr(two)
    if method not in ("crude", "quasi"):  # two counts may be alike by chance
        assert repr(one) != repr(other)


# --- changes that change no probability -----------------------------------------------------


@pytest.mark.parametrize("method", DRAWN)
@few
@given(seed=seeds, strength=STRENGTHS)
def test_monotone_rescaling_of_the_margin(method, seed, strength):
    def cubed(x):
        return np.sinh(margin(x) / 200.0)

    given_variables = variables(strength)
    agree(found(margin, given_variables, method, seed), found(cubed, given_variables, method, seed))


@pytest.mark.parametrize("method", ["crude", "quasi"])
@some
@given(seed=seeds, factor=st.floats(1e-6, 1e6))
def test_counts_of_a_rescaled_margin_are_the_same(method, seed, factor):
    """Only the sign of the margin counts, so not one digit may move."""
    plain = found(margin, variables(), method, seed, max_evaluations=BLOCK)
    scaled = found(lambda x: factor * margin(x), variables(), method, seed, max_evaluations=BLOCK)
    assert scaled == plain


@pytest.mark.parametrize("method", DRAWN)
@few
@given(seed=seeds, unit=st.sampled_from([1e-6, 1e-3, 4.448, 1e3, 1e9]))
def test_other_units(method, seed, unit):
    scaled = {
        "r": spread.Lognormal(1000 * unit, 100 * unit),
        "d": spread.Gumbel(620 * unit, 60 * unit),
    }
    agree(found(margin, variables(), method, seed), found(margin, scaled, method, seed))


@pytest.mark.parametrize("method", DRAWN)
@few
@given(seed=seeds, strength=STRENGTHS)
def test_order_of_the_variables(method, seed, strength):
    given_variables = variables(strength) | {"s": spread.Normal(0, 30)}
    turned = dict(reversed(given_variables.items()))

    def three(x):
        return x["r"] + x["s"] - x["d"]

    agree(found(three, given_variables, method, seed), found(three, turned, method, seed))


@pytest.mark.parametrize("method", DRAWN)
@few
@given(seed=seeds)
def test_a_variable_that_the_margin_ignores(method, seed):
    label = spread.Mixture([(0.9, spread.Fixed(0.0)), (0.1, spread.Fixed(1.0))])
    more = variables() | {"idle": spread.Weibull(2.0, 5.0), "label": label}
    agree(found(margin, variables(), method, seed), found(margin, more, method, seed + 1))


# --- a heavier load never fails less often --------------------------------------------------


@pytest.mark.parametrize("method", ["crude", "quasi"])
@some
@given(seed=seeds, shifts=st.lists(st.floats(0, 300), min_size=2, max_size=4))
def test_counts_rise_with_the_load(method, seed, shifts):
    """The same draws for every shift: no count may fall."""
    given_variables = variables(demand=500.0)
    chances = [
        found(
            lambda x, s=s: margin(x) - s, given_variables, method, seed,
            target_cov=1e-9, max_evaluations=BLOCK,
        ).probability
        for s in sorted(shifts)
    ]  # fmt: skip
    assert np.all(np.diff(chances) >= 0)


@pytest.mark.parametrize("method", ["importance", "subset", "line", "directional", "auto"])
@few
@given(seed=seeds, shift=st.floats(0, 150))
def test_failure_rises_with_the_load_within_the_error(method, seed, shift):
    one = found(margin, variables(), method, seed)
    more = found(lambda x: margin(x) - shift, variables(), method, seed)
    error = np.hypot(one.cov * one.probability, more.cov * more.probability)
    assert more.probability >= one.probability - 5.0 * error
