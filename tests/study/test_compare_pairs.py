"""Ratios on common draws: the delta method by hand, coverage by simulation, ties as cliques."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from jointrisk.study.compare_pairs import Terms, groups, paired_ratio, told_apart

ONE = np.zeros(4, dtype=np.intp)


def terms(fails):
    fails = np.asarray(fails, dtype=float)
    return Terms(fails, np.ones_like(fails))


def test_a_probability_is_what_failed_over_all():
    assert Terms(np.array([0.2, 0.1]), np.array([1.0, 0.5])).chance == pytest.approx(0.2)


def test_ratio_and_interval_by_hand():
    """Four rows of one component: log(5/4), residuals of the relative errors, Student."""
    one, other = np.array([2.0, 1.0, 1.0, 1.0]), np.array([1.0, 1.0, 1.0, 1.0])
    found = paired_ratio(terms(one), terms(other), ONE, 0.95)
    residual = one / 1.25 - other
    square = residual**2 * 4 / 3
    error = math.sqrt(square.sum() + square.max()) / 4  # one more like the farthest
    freedom = 2 * square.sum() ** 2 / (square**2).sum()
    reach = stats.t.ppf(0.975, freedom) * error
    assert found.estimate == pytest.approx(1.25)
    assert found.low == pytest.approx(1.25 * math.exp(-reach))
    assert found.high == pytest.approx(1.25 * math.exp(reach))
    assert found.standard_error == pytest.approx(1.25 * error)


def test_what_differs_between_components_is_no_error():
    """Each component's own mean is known from its own rows; only the scatter inside counts."""
    component = np.repeat([0, 1], 50)
    one = terms(np.where(component == 0, 3.0, 1.0))
    other = terms(np.where(component == 0, 1.0, 2.0))
    found = paired_ratio(one, other, component, 0.95)
    assert found.low == found.estimate == found.high == pytest.approx(4 / 3)
    apart = paired_ratio(one, other, np.zeros(100, dtype=np.intp), 0.95)
    assert apart.low < found.estimate < apart.high


def test_the_weights_themselves_may_be_what_varies():
    """A ratio of two shares: rows that weigh more in both parts of a share are no error."""
    rng = np.random.default_rng(1)
    weight = rng.gamma(0.2, 5.0, 2000)
    one, other = Terms(0.3 * weight, weight), Terms(0.1 * weight, weight)
    found = paired_ratio(one, other, np.zeros(2000, dtype=np.intp), 0.95)
    assert found.estimate == pytest.approx(3.0)
    assert found.high / found.low < 1.0 + 1e-9


def test_the_same_rows_are_never_told_apart():
    rng = np.random.default_rng(2)
    fails = rng.random(100)
    found = paired_ratio(terms(fails), terms(fails), np.zeros(100, dtype=np.intp), 0.95)
    assert (found.low, found.estimate, found.high) == (1.0, 1.0, 1.0)
    assert not told_apart(found)
    shuffled = paired_ratio(
        terms(fails * (1 + 1e-15)), terms(fails), np.zeros(100, dtype=np.intp), 0.95
    )
    assert not told_apart(shuffled)


def test_where_one_never_failed_the_other_bounds_the_ratio():
    n = 1000
    some = np.zeros(n)
    some[:10] = 1.0
    none = np.zeros(n)
    strata = np.zeros(n, dtype=np.intp)
    low = paired_ratio(terms(none), terms(some), strata, 0.95)
    most = (1 - 0.025 ** (1 / n)) * n / 10  # Clopper and Pearson: none of n, over the 10 seen
    assert low.estimate == low.low == 0.0
    assert low.high == pytest.approx(most)
    high = paired_ratio(terms(some), terms(none), strata, 0.95)
    assert high.estimate == high.high == math.inf
    assert high.low == pytest.approx(1 / most)
    assert told_apart(low)
    assert told_apart(high)
    neither = paired_ratio(terms(none), terms(none), strata, 0.95)
    assert math.isnan(neither.estimate)
    assert not told_apart(neither)


LAWS = {
    "alike": (0.999, 1.0),
    "half alike": (0.7, 1.0),
    "apart": (0.0, 1.0),
    "heavy": (0.9, 1.6),
}


@pytest.mark.parametrize("law", LAWS)
def test_the_interval_covers_and_is_not_wide(law):
    """Lognormal rows of which the correlation and the ratio of means (0.95) are known.

    2000 runs: the share covered has a standard error of 0.5 %.
    """
    alike, sd = LAWS[law]
    rng = np.random.default_rng(3)
    runs, n = 2000, 2000
    strata = np.zeros(n, dtype=np.intp)
    covered, widths, logs = 0, [], []
    for _ in range(runs):
        u, v = rng.standard_normal((2, n))
        one = 0.95 * np.exp(sd * (alike * u + math.sqrt(1 - alike**2) * v))
        found = paired_ratio(terms(one), terms(np.exp(sd * u)), strata, 0.95)
        covered += found.low <= 0.95 <= found.high
        widths.append(math.log(found.high / found.low))
        logs.append(math.log(found.estimate))
    # the heavy rows hang on few draws: a little short of nominal is all that can be had
    assert covered / runs > (0.925 if law == "heavy" else 0.935)
    assert np.median(widths) < 1.3 * 2 * 1.96 * np.std(logs)


@settings(deadline=None, max_examples=50)
@given(st.integers(0, 2**32), st.integers(1, 4))
def test_turned_round_it_is_the_inverse(seed, parts):
    rng = np.random.default_rng(seed)
    component = np.sort(rng.integers(0, parts, 60))
    weight = rng.gamma(1.0, 1.0, 60)
    one, other = (Terms(weight * rng.random(60), weight) for _ in range(2))
    found = paired_ratio(one, other, component, 0.9)
    turned = paired_ratio(other, one, component, 0.9)
    assert turned.estimate == pytest.approx(1 / found.estimate)
    assert turned.low == pytest.approx(1 / found.high)
    assert turned.high == pytest.approx(1 / found.low)
    wider = paired_ratio(one, other, component, 0.99)
    assert wider.low < found.low < found.estimate < found.high < wider.high


def ties(count, *pairs):
    apart = ~np.eye(count, dtype=bool)
    for i, j in pairs:
        apart[i, j] = apart[j, i] = False
    return apart


@pytest.mark.parametrize(
    ("apart", "order", "expected"),
    [
        (ties(3), [2, 0, 1], ((2,), (0,), (1,))),
        (ties(3, (0, 1)), [2, 0, 1], ((2,), (0, 1))),
        (ties(3, (0, 1), (1, 2)), [0, 1, 2], ((0, 1), (1, 2))),
        (ties(3, (0, 1), (1, 2), (0, 2)), [1, 0, 2], ((1, 0, 2),)),
        (ties(4, (0, 1), (1, 2), (2, 3), (3, 0)), [0, 1, 2, 3], ((0, 1), (0, 3), (1, 2), (2, 3))),
    ],
)
def test_groups_by_hand(apart, order, expected):
    assert groups(apart, order) == expected


@settings(deadline=None, max_examples=60)
@given(st.integers(1, 6), st.data())
def test_groups_hold_every_tie_and_nothing_else(count, data):
    pairs = list(itertools.combinations(range(count), 2))
    tied = {pair for pair in pairs if data.draw(st.booleans())}
    found = groups(ties(count, *tied), list(range(count)))
    inside = {pair for group in found for pair in itertools.combinations(sorted(group), 2)}
    assert inside == tied
    assert set(itertools.chain(*found)) == set(range(count))
    for one, other in itertools.permutations(found, 2):
        assert not set(one) <= set(other)
