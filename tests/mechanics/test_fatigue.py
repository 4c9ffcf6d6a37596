"""Cycles to failure, damage, and what is left for one large load."""

import math

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from jointrisk.errors import InputError
from jointrisk.mechanics import fatigue

SLOPE = 0.12  # J. Soc. Mat. Sci. Japan 34(386), 1985, abstract
# Slopes k of N ~ S^-k, SNL/MSU/DOE composite fatigue database v29.0, 2019, one epoxy paste, and
# Liu, Wang, Wu and Keller, Composite Structures 2021: fitted to the specimen values of both.
MEASURED_K = {"R 0.1": 8.7, "R -1": 7.4, "wet, R 0.1": 9.6, "wet, R -1": 6.8, "composite": 7.4}

exponents = st.floats(0.08, 0.2)
shares = st.floats(0.05, 1.0)
counts = st.floats(0.0, 1e7)
modest = settings(deadline=None, max_examples=100)


def blocks(least=1):
    return st.lists(st.tuples(shares, counts), min_size=least, max_size=5)


def damage(pairs, years=1.0, exponent=SLOPE):
    share, count = np.array(pairs).reshape(-1, 2).T
    return fatigue.miner_damage(share, count, years, exponent=exponent)


# Published ------------------------------------------------------------------------------------


def test_the_line_of_the_japanese_lap_joints():
    """0.75 to 0.25 of the static strength at 1e3 to 1e7: worked out by hand from 1.71 N^-0.12."""
    found = fatigue.endurance_ratio([1e3, 1e4, 1e5, 1e6, 1e7], exponent=SLOPE)
    assert_allclose(found, [0.75, 0.57, 0.43, 0.33, 0.25], atol=0.006)
    assert_allclose(found[1:] / found[:-1], 0.76, atol=0.002)


@pytest.mark.parametrize("k", MEASURED_K.values(), ids=MEASURED_K)
def test_other_series_fall_as_steeply(k):
    """A trend: over a factor of 2 in load their lives part from the line's by less than 3 times."""
    ours = fatigue.cycles_to_failure([0.3, 0.6], exponent=SLOPE)
    assert 1 / 3 < (ours[0] / ours[1]) / 2**k < 3


def test_common_advice_for_a_million_cycles():
    """0.2 to 0.35 of the static strength, common design advice, from memory."""
    found = fatigue.endurance_ratio(1e6, exponent=[SLOPE, 0.13, 0.14])
    assert np.all((found > 0.2) & (found < 0.35))


@pytest.mark.parametrize("share", ["0.9", "0.43", "0.05", "1e-20"])
@pytest.mark.parametrize("slope", ["0.11", "0.14"])
def test_cycles_to_failure_against_many_digits(share, slope):
    with mpmath.workdps(40):
        exact = (mpmath.mpf("1.71") / mpmath.mpf(share)) ** (1 / mpmath.mpf(slope))
    found = fatigue.cycles_to_failure(float(share), exponent=float(slope))
    assert found == pytest.approx(float(exact), rel=1e-12)


def test_by_hand_with_a_square_law():
    """A = 1, b = 1/2: N = r^-2. So 4, 16 and 100 cycles; 1 + 4 + 10 of them, 2 years."""
    line = {"coefficient": 1.0, "exponent": 0.5}
    share, count = [0.5, 0.25, 0.1], [1.0, 4.0, 10.0]
    assert_allclose(fatigue.cycles_to_failure(share, **line), [4, 16, 100])
    assert fatigue.miner_damage(share, count, 2.0, **line) == pytest.approx(2 * 0.6)
    assert fatigue.life_to_damage(share, count, 1.5, **line) == pytest.approx(2.5)
    assert fatigue.residual_strength(0.5, 0.6, 1.5) == pytest.approx(0.8)


@modest
@given(blocks(), exponents)
def test_blocks_are_worth_one_block_of_their_power_mean(pairs, exponent):
    """Text book: Miner on a straight line gives the mean of order k = 1/b of the ratios."""
    share, count = np.array(pairs).T
    if count.sum() == 0:
        return
    k = 1 / exponent
    mean = (count @ share**k / count.sum()) ** exponent
    one = count.sum() / fatigue.cycles_to_failure(mean, exponent=exponent)
    assert damage(pairs, exponent=exponent) == pytest.approx(one, rel=1e-9)


# What must hold -------------------------------------------------------------------------------


@modest
@given(shares, exponents, st.floats(1.0, 3.0))
def test_the_line_reads_the_same_both_ways(share, exponent, coefficient):
    line = {"coefficient": coefficient, "exponent": exponent}
    lived = fatigue.cycles_to_failure(share, **line)
    assert fatigue.endurance_ratio(lived, **line) == pytest.approx(share, rel=1e-12)
    assert fatigue.cycles_to_failure(
        fatigue.endurance_ratio(lived, **line), **line
    ) == pytest.approx(lived, rel=1e-11)


@modest
@given(counts, st.floats(1.0, 10.0), exponents, st.floats(1.0, 1.5))
def test_more_cycles_and_a_steeper_line_bear_less(count, times, exponent, steeper):
    now = fatigue.endurance_ratio(count, exponent=exponent)
    assert 0 <= now <= 1
    assert fatigue.endurance_ratio(count * times, exponent=exponent) <= now
    if count >= 1:
        assert fatigue.endurance_ratio(count, exponent=exponent * steeper) <= now


@modest
@given(st.floats(0, 3), st.floats(0, 1), exponents)
def test_a_larger_load_is_lived_through_less_often(share, more, exponent):
    lived = fatigue.cycles_to_failure([share, share + more], exponent=exponent)
    assert lived[1] <= lived[0]


@modest
@given(blocks(), st.randoms(), st.floats(0, 50))
def test_the_order_of_blocks_makes_no_difference(pairs, random, years):
    shuffled = random.sample(pairs, len(pairs))
    assert damage(shuffled, years) == pytest.approx(damage(pairs, years), rel=1e-12)


@modest
@given(blocks(least=0), blocks(least=0), st.floats(0, 50), st.floats(0, 50))
def test_damage_adds_over_blocks_and_years(some, others, years, more):
    both = damage(some + others, years)
    assert both == pytest.approx(damage(some, years) + damage(others, years), rel=1e-12)
    assert damage(some, years + more) == pytest.approx(
        damage(some, years) + damage(some, more), rel=1e-9, abs=1e-300
    )


@modest
@given(blocks(), st.floats(1.0, 2.0))
def test_damage_grows_with_the_loads(pairs, larger):
    share, count = np.array(pairs).T
    assert fatigue.miner_damage(share * larger, count, 1.0, exponent=SLOPE) >= damage(pairs)


@modest
@given(blocks(), st.floats(0.1, 5.0), exponents)
def test_after_its_life_the_damage_is_at_the_limit(pairs, limit, exponent):
    share, count = np.array(pairs).T
    life = fatigue.life_to_damage(share, count, limit, exponent=exponent)
    if damage(pairs, exponent=exponent) < 1e-200:
        assert life > 1e190
    else:
        assert damage(pairs, life, exponent) == pytest.approx(limit, rel=1e-12)


@modest
@given(st.floats(0, 3), st.floats(0, 3), st.floats(0, 1), st.floats(0.2, 3))
def test_strength_left_falls_from_all_to_the_largest_cycle(share, done, more, limit):
    left, later = fatigue.residual_strength(share, [done, done + more], limit)
    assert 0 <= later <= left <= 1
    if done < limit:
        assert left >= min(share, 1) * (1 - 1e-12)
    assert fatigue.residual_strength(share, 0.0, limit) == 1
    assert fatigue.residual_strength(share, limit, limit) == 0
    nearly = fatigue.residual_strength(share, limit * (1 - 1e-9), limit)
    assert nearly == pytest.approx(min(share, 1), abs=1e-8)


@modest
@given(st.floats(0.05, 1), st.floats(0, 1))
def test_one_block_leaves_a_straight_line_of_its_cycles(share, part):
    """Broutman and Sahu (1972), from memory: R0 - (R0 - S) n/N."""
    lived = fatigue.cycles_to_failure(share, exponent=SLOPE)
    done = fatigue.miner_damage([share], [part * lived], 1.0, exponent=SLOPE)
    if done < 1:
        left = fatigue.residual_strength(share, done, 1.0)
        assert left == pytest.approx(1 - (1 - share) * part, rel=1e-12)


# Ends and shapes ------------------------------------------------------------------------------


def test_the_cap_and_the_ends_of_the_line():
    assert_allclose(fatigue.endurance_ratio([0, 1, 80, 1e300], exponent=SLOPE)[:3], 1)
    found = fatigue.cycles_to_failure([0, 1e-300, 1, 1 + 1e-9, 5, math.inf], exponent=SLOPE)
    assert_allclose(found, [math.inf, math.inf, 1.71 ** (1 / SLOPE), 0, 0, 0])


def test_one_cycle_above_the_strength_is_the_end_and_none_is_nothing():
    over = {"ratios": [[0.2, 0.2, math.inf], [1.1, 1.1, math.inf]], "exponent": SLOPE}
    rare = [[0.0, 0.0, 0.0], [1e-3, 0.0, 0.0]]
    assert_allclose(fatigue.miner_damage(cycles_per_year=rare, years=3.0, **over), [math.inf, 0, 0])
    assert_allclose(fatigue.miner_damage(cycles_per_year=rare, years=0.0, **over), 0)
    assert_allclose(fatigue.life_to_damage(cycles_per_year=rare, **over), [0, math.inf, math.inf])
    assert_allclose(fatigue.residual_strength([0.2, 2.0, math.inf], math.inf, 1.0), 0)
    assert_allclose(fatigue.residual_strength([2.0, math.inf], 0.5, 1.0), 1)


def test_no_block_does_no_damage():
    assert damage([]) == 0
    found = fatigue.miner_damage(np.empty((0, 4)), np.empty(0), 1.0, exponent=SLOPE)
    assert_allclose(found, np.zeros(4))


def test_draws_are_worked_out_each_by_itself():
    """As many blocks as draws, so that a mix-up of the axes would go unseen by its shape."""
    rng = np.random.default_rng(0)
    share, count = rng.uniform(0.1, 0.9, (3, 3)), rng.uniform(1, 1e4, (3, 3))
    exponent, years = rng.uniform(0.11, 0.14, 3), rng.uniform(1, 9, 3)
    whole = fatigue.miner_damage(share, count, years, exponent=exponent)
    shared = fatigue.miner_damage(share, count[:, 0], years, exponent=exponent)
    alike = fatigue.miner_damage(share[:, 0], count, years, exponent=exponent)
    for i in range(3):
        each = {"years": years[i], "exponent": exponent[i]}
        one = fatigue.miner_damage(share[:, i], count[:, i], **each)
        assert np.shape(one) == ()
        assert whole[i] == pytest.approx(one, rel=1e-13)
        assert shared[i] == pytest.approx(
            fatigue.miner_damage(share[:, i], count[:, 0], **each), rel=1e-13
        )
        assert alike[i] == pytest.approx(
            fatigue.miner_damage(share[:, 0], count[:, i], **each), rel=1e-13
        )


def test_copies_of_a_joint_keep_their_axis():
    """(blocks, copies, n) with counts for all, counts for each draw, an exponent for each draw."""
    rng = np.random.default_rng(0)
    share = rng.uniform(0.1, 0.9, (2, 4, 5))
    count, own = np.array([10.0, 300.0]), rng.uniform(1, 1e3, (2, 5))
    exponent = rng.uniform(0.11, 0.14, 5)
    found = fatigue.miner_damage(share, count, 2.0, exponent=exponent)
    assert found.shape == (4, 5)
    drawn = fatigue.miner_damage(share, own, 2.0, exponent=exponent)
    for copy in range(4):
        assert_allclose(
            found[copy], fatigue.miner_damage(share[:, copy], count, 2.0, exponent=exponent)
        )
        assert_allclose(
            drawn[copy], fatigue.miner_damage(share[:, copy], own, 2.0, exponent=exponent)
        )
    years = fatigue.miner_damage([0.3], [1.0], [1.0, 2.0], exponent=SLOPE)
    assert years[1] == pytest.approx(2 * years[0])
    assert fatigue.miner_damage([0.0], [1.0], [1.0, 2.0], exponent=SLOPE).shape == (2,)


# Refusals -------------------------------------------------------------------------------------


def miner(ratios=0.5, cycles=1.0, years=1.0, exponent=SLOPE):
    return fatigue.miner_damage(ratios, cycles, years, exponent=exponent)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: fatigue.endurance_ratio(-3, exponent=1), r"^cycles .* at least 0; got -3$"),
        (lambda: fatigue.endurance_ratio(1, exponent=0), r"^exponent .* above 0; got 0$"),
        (lambda: fatigue.endurance_ratio(1, exponent=1, coefficient=-2), r"^coeff.* got -2$"),
        (lambda: fatigue.endurance_ratio([1, 2], exponent=[1, 1, 1]), r"cycles \(2,\), exponent"),
        (lambda: fatigue.cycles_to_failure(-0.5, exponent=1), r"^ratio .* at least 0; got -0\.5$"),
        (lambda: fatigue.cycles_to_failure(math.nan, exponent=1), r"^ratio .* got nan$"),
        (lambda: fatigue.cycles_to_failure(-math.inf, exponent=1), r"^ratio .* got -inf$"),
        (lambda: fatigue.cycles_to_failure("half", exponent=1), r"^ratio .* got 'half'$"),
        (miner, r"row for each block; got shapes \(\) and \(\)$"),
        (lambda: miner([0.5], 1.0), r"got shapes \(1,\) and \(\)$"),
        (lambda: miner([0.5, 0.1], [1.0]), r"got shapes \(2,\) and \(1,\)$"),
        (lambda: miner(np.ones((1, 3)), [1.0], [1, 2]), r"ratios \(3,\), years \(2,\)$"),
        (lambda: miner([-0.1], [1.0]), r"^ratios .* got -0\.1$"),
        (lambda: miner([0.1], [-7.0]), r"^cycles_per_year .* got -7$"),
        (lambda: miner([0.1], [math.inf]), r"^cycles_per_year .* finite.* got inf$"),
        (lambda: miner([0.1], [1.0], -2), r"^years .* got -2$"),
        (lambda: miner([0.1], [1.0], exponent=-0.1), r"^exponent .* got -0\.1$"),
        (lambda: fatigue.residual_strength(0.5, -0.25, 1), r"^damage .* got -0\.25$"),
        (lambda: fatigue.residual_strength(0.5, 0.5, 0), r"^limit .* above 0; got 0$"),
        (lambda: fatigue.residual_strength(-4, 0.5, 1), r"^ratio_of_largest_block .* got -4$"),
        (lambda: fatigue.residual_strength([1, 1], [1, 1, 1], 1), r"\(2,\), damage \(3,\)"),
        (lambda: fatigue.life_to_damage([0.5], [1], -1.5, exponent=1), r"^limit .* got -1\.5$"),
        (
            lambda: fatigue.life_to_damage([[0.5, 0.5]], [1], [1, 1, 1], exponent=1),
            r"ratios \(2,\), limit \(3,\)",
        ),
    ],
)
def test_refusals(call, message):
    with pytest.raises(InputError, match=message):
        call()
