"""Planning tests on a linear, normal problem whose every answer is known in closed form.

One quantity is not known, theta ~ N(0, s0^2); ln p = a + b theta. A test of k parts reads the mean
of k values around theta, each with standard deviation sw. Then

* the posterior variance is 1 / (1 / s0^2 + k / sw^2), whatever comes out (conjugate normal;
  Raiffa & Schlaifer 1961, from memory);
* the posterior mean has variance s0^2 less that, and with theta is bivariate normal, so that the
  chance to be wrong about "ln p <= ln target" is one of scipy's bivariate normal.

Success runs: n = ln(1 - C) / ln R, 29 parts for 90/95 and 299 for 99/95 (Lipson & Sheth 1973, and
common practice; from memory), against scipy's binomial.
"""

import math
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.special import ndtri

from jointrisk.errors import InputError
from jointrisk.study.plan_rods import binomial
from jointrisk.study.plan_runs import SHOWN, parts_without_failure
from jointrisk.study.plan_surface import basis, fitted, hermite
from jointrisk.study.plan_tests import evidence_split
from jointrisk.study.plan_worth import (
    chance_of,
    expected_wrong,
    groups_of,
    normal_log_likelihood,
    posterior,
    weighted_quantiles,
    worth,
)

PRIOR_SD, WITHIN_SD, SLOPE, LEVEL = 0.3, 0.25, -6.0, -7.0
TARGET = math.exp(LEVEL - 0.8 * SLOPE * PRIOR_SD)  # met where theta is above -0.8 of its sd
STATES, TRUTHS = 2048, 512


def states(seed):
    rng = np.random.default_rng(seed)
    return PRIOR_SD * ndtri((rng.permutation(STATES) + rng.random(STATES)) / STATES), rng


@cache
def found(count, seed=1, target=TARGET):
    """Return what the program expects of a test of `count` parts."""
    theta, _ = states(seed)
    truths = np.arange(0, STATES, STATES // TRUTHS)
    group, logs = groups_of(STATES), LEVEL + SLOPE * theta
    weight = None
    if count:
        drawn = np.random.default_rng(1000 + seed).standard_normal(TRUTHS)
        sd = WITHIN_SD / math.sqrt(count)
        weight = posterior(normal_log_likelihood(theta[truths] + sd * drawn, theta, sd))
    return worth(lambda _: logs, weight, group[truths], group, target, truths)


def left_sd(count):
    return 1.0 / math.sqrt(1.0 / PRIOR_SD**2 + count / WITHIN_SD**2)


def wrong_in_closed_form(count):
    """Chance that what is likelier after the test is not so, by scipy's bivariate normal."""
    border = (math.log(TARGET) - LEVEL) / SLOPE / PRIOR_SD  # in sd of theta; met above it
    if count == 0:
        return min(stats.norm.sf(border), stats.norm.cdf(border))
    mean_sd = math.sqrt(PRIOR_SD**2 - left_sd(count) ** 2)
    rho = mean_sd / PRIOR_SD
    # the posterior is normal: met is the likelier where its mean is above the border
    at = border * PRIOR_SD / mean_sd
    both = stats.multivariate_normal.cdf([border, at], cov=[[1.0, rho], [rho, 1.0]])
    return stats.norm.cdf(border) + stats.norm.cdf(at) - 2.0 * both


@pytest.mark.parametrize("count", [1, 2, 4, 8, 16])
def test_band_left_by_a_test(count):
    width = 2.0 * stats.norm.ppf(0.95) * abs(SLOPE) * left_sd(count)
    assert found(count).width[0] == pytest.approx(width, rel=0.015)


@pytest.mark.parametrize("count", [1, 4, 16])
def test_chance_of_a_wrong_decision(count):
    each = [found(count, seed=seed).wrong[0] for seed in range(2, 7)]
    assert np.mean(each) == pytest.approx(wrong_in_closed_form(count), rel=0.06)


def test_expected_ends_of_the_band():
    """The 95 % point of p after the test is lognormal: its mean is that of scipy's."""
    told, count = found(4), 4
    sd = left_sd(count)
    spread = abs(SLOPE) * math.sqrt(PRIOR_SD**2 - sd**2)
    middle = LEVEL + stats.norm.ppf(0.95) * abs(SLOPE) * sd
    exact = stats.lognorm(spread, scale=math.exp(middle)).mean()
    assert told.high[0] == pytest.approx(exact, rel=0.08)
    assert told.top[0] == pytest.approx(middle, abs=0.05)
    assert told.middle[0] == pytest.approx(LEVEL, abs=0.05)


def test_chance_that_the_target_is_plain():
    """Clear where the mean is 1.645 posterior sd or more off the border, either way."""
    count, border = 4, (math.log(TARGET) - LEVEL) / SLOPE
    sd = left_sd(count)
    law = stats.norm(0.0, math.sqrt(PRIOR_SD**2 - sd**2))
    reach = stats.norm.ppf(0.95) * sd
    exact = law.cdf(border - reach) + law.sf(border + reach)
    assert found(count).clear[0] == pytest.approx(exact, abs=0.03)


def test_intervals_hold_over_seeds():
    exact = wrong_in_closed_form(4)
    inside = 0
    for seed in range(2, 26):
        chance = chance_of(found(4, seed=seed).wrong)
        inside += chance.low < exact < chance.high
    assert inside >= 20  # 95 % of 24 less three standard deviations


def test_no_part_brings_nothing():
    none = found(0)
    assert none.wrong[0] == pytest.approx(wrong_in_closed_form(0), abs=1e-3)
    flat = posterior(np.zeros((TRUTHS, STATES)))
    theta, _ = states(1)
    logs, group = LEVEL + SLOPE * theta, groups_of(STATES)
    same = worth(lambda _: logs, flat, group[:: STATES // TRUTHS], group, TARGET)
    assert same.wrong[0] == pytest.approx(none.wrong[0], abs=1e-12)
    assert same.width[0] == pytest.approx(none.width[0], rel=1e-3)


def test_more_parts_bring_more():
    each = [found(count) for count in (0, 1, 2, 4, 8, 16)]
    assert np.all(np.diff([one.width[0] for one in each]) < 0.0)
    assert np.all(np.diff([one.wrong[0] for one in each]) < 0.0)


def test_without_a_target_there_is_no_decision():
    told = found(4, target=None)
    assert np.isnan(told.wrong).all()
    assert told.width[0] == found(4).width[0]


# Parts of the reckoning ---------------------------------------------------------------------------


def test_weighted_quantiles_are_those_of_numpy_where_all_weigh_alike():
    values = np.random.default_rng(2).normal(size=999)
    found_ = weighted_quantiles(values, np.full((1, 999), 1 / 999))[:, 0]
    exact = np.quantile(values, (0.05, 0.5, 0.95), method="inverted_cdf")
    assert found_ == pytest.approx(exact, abs=1e-12)


def test_expected_wrong_never_passes_its_bounds():
    after = np.array([0.1, 0.9, 0.4])
    assert 0.0 <= expected_wrong(after, 0.45) <= 0.45
    assert expected_wrong(np.full(3, 0.3), 0.3) == 0.3


@pytest.mark.parametrize(("reliability", "confidence", "parts"), [
    (0.90, 0.95, 29), (0.99, 0.95, 299), (0.95, 0.95, 59), (0.90, 0.90, 22), (0.99, 0.90, 230),
])  # fmt: skip
def test_success_runs_as_tables_have_them(reliability, confidence, parts):
    assert parts_without_failure(reliability, confidence) == parts


@given(st.floats(0.01, 0.999), st.floats(0.01, 0.999))
def test_success_runs_by_the_binomial(reliability, confidence):
    """scipy's binomial: so many hold by luck no oftener than 1 - C, one fewer would oftener."""
    parts = parts_without_failure(reliability, confidence)
    by_luck = stats.binom.pmf(0, [parts, max(parts - 1, 0)], 1.0 - reliability)
    assert by_luck[0] <= (1.0 - confidence) * (1 + 1e-9)
    assert parts == 1 or by_luck[1] > (1.0 - confidence) * (1 - 1e-9)


@pytest.mark.parametrize("value", [0.0, 1.0, -0.1, 1.5, math.nan])
def test_success_runs_refuse_what_is_no_share(value):
    with pytest.raises(InputError, match=f"reliability must be above 0 and below 1, got {value:g}"):
        parts_without_failure(value, 0.9)
    with pytest.raises(InputError, match=f"confidence must be above 0 and below 1, got {value:g}"):
        parts_without_failure(0.9, value)


def test_the_table_shows_29_and_299():
    assert {parts_without_failure(*line) for line in SHOWN} >= {29, 299}


def test_binomial_by_scipy():
    chances = np.array([1e-9, 0.003, 0.4, 1.0 - 1e-9])
    exact = stats.binom.pmf(np.arange(30), 29, chances[:, None])
    assert binomial(chances, 29) == pytest.approx(exact, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("sd", [0.1, 0.2, 0.2936, 0.6])
def test_what_coupons_tell_of_the_evidence(sd):
    """Against plain draws of the two parts of the log: regression of one on their sum."""
    hidden = min(math.sqrt(math.log1p(0.20**2)), sd)
    rng = np.random.default_rng(5)
    shown = math.sqrt(sd**2 - hidden**2) * rng.standard_normal(400_000)
    whole = (shown + hidden * rng.standard_normal(shown.size)) / sd
    slope = float(np.mean(shown * whole))
    told, left = evidence_split(sd)
    assert told == pytest.approx(slope, abs=2e-3)
    assert left == pytest.approx(float(np.var(shown - slope * whole)), abs=1e-3)


# The surface --------------------------------------------------------------------------------------


def test_hermite_functions_are_orthonormal():
    """Gauss & Hermite by numpy: products of the functions average to 0, squares to 1."""
    points, weights = np.polynomial.hermite_e.hermegauss(12)
    functions = np.stack(
        [np.ones(12), *(hermite(points, degree) for degree in range(1, 6))], axis=1
    )
    gram = functions.T @ ((weights / weights.sum())[:, None] * functions)
    assert gram == pytest.approx(np.eye(6), abs=1e-10)


def truth(z):
    return -6.0 + 1.2 * z[:, 0] - 0.7 * z[:, 1] + 0.3 * z[:, 0] * z[:, 1] + 0.2 * z[:, 1] ** 2


def noisy(seed, noise, rest=0.0):
    rng = np.random.default_rng(seed)
    z = ndtri((rng.permuted(np.tile(np.arange(1024), (6, 1)), axis=1).T + 0.5) / 1024)
    own = math.sqrt(rest) * rng.standard_normal(1024)
    mean = np.exp(truth(z) + own - rest / 2.0)
    shape = 1.0 / noise
    rate = mean * rng.gamma(shape, 1.0 / shape, 1024)
    return z, rate, noise * mean**2


def test_the_surface_finds_the_rates_behind_noisy_ones():
    surface = fitted(*noisy(3, 0.25))
    z = np.random.default_rng(4).standard_normal((500, 6)).clip(-2.5, 2.5)
    miss = surface.at(z)[0] - truth(z)
    assert abs(miss.mean()) < 0.05
    assert miss.std() < 0.25
    assert surface.unexplained[0] < 0.03


def test_what_the_surface_cannot_explain_is_told():
    surface = fitted(*noisy(5, 0.05, rest=0.3))
    assert surface.rest[0] == pytest.approx(0.3, rel=0.25)


def test_rates_of_nothing_are_counted():
    z, rate, variance = noisy(6, 0.25)
    none = rate.copy()
    none[::3] = 0.0
    lower = fitted(z, none, variance)
    zero = np.zeros((1, 6))
    ratio = lower.at(zero)[0, 0] - fitted(z, rate, variance).at(zero)[0, 0]
    assert ratio == pytest.approx(math.log(2.0 / 3.0), abs=0.15)


def test_a_basis_has_one_column_for_each_function():
    pairs = np.array([[0, 1], [0, 2]])
    assert basis(np.zeros((5, 3)), pairs).shape == (5, 1 + 5 * 3 + 2)
    assert basis(np.zeros((5, 9)), pairs).shape == (5, 1 + 3 * 9 + 2)
