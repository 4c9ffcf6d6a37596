"""The fit of coupons against published data sets, tables, closed forms and plain integration."""

import math

import numpy as np
import openturns as ot
import pytest
from scipy import integrate, stats

from jointrisk import spread
from jointrisk.study.fit_batches import split
from jointrisk.study.fit_checks import critical_residual, ranks
from jointrisk.study.fit_posterior import posterior
from jointrisk.study.fit_study import fit

NONE = np.array([])

# NIST/SEMATECH e-Handbook 8.2.2.1 and 8.4.1.3: ten failures, ten units still running at 500 hours.
HOURS = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]

# NIST/SEMATECH e-Handbook 1.3.5.17.1, after Tietjen and Moore (1972): uranium isotope data.
URANIUM = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]

# Davies and Goldsmith, Statistical Methods in Research and Production (4th ed. 1972): yield of
# dyestuff of six batches, five samples each; from memory, as reprinted in many text books.
DYESTUFF = [
    [1545, 1440, 1440, 1520, 1580],
    [1540, 1555, 1490, 1560, 1495],
    [1595, 1550, 1605, 1510, 1560],
    [1445, 1440, 1595, 1465, 1545],
    [1595, 1630, 1515, 1635, 1625],
    [1520, 1455, 1450, 1480, 1445],
]


def sample(n, seed, cov=0.12):
    return np.exp(np.random.default_rng(seed).normal(3.0, cov, n))


# Fits ------------------------------------------------------------------------------------------


def test_weibull_with_held_ones_as_printed_by_nist():
    """E-Handbook 8.4.1.3: shape 1.7208, characteristic life 606.5280; ranks of a 20-strong set."""
    found = fit([*HOURS, *[500] * 10], unit="N", held=[False] * 10 + [True] * 10)
    weibull = found.family("weibull")
    assert weibull.parameters["shape"] == pytest.approx(1.7208, abs=5e-5)
    assert weibull.parameters["scale"] == pytest.approx(606.53, abs=5e-3)
    assert (found.broke, found.held) == (10, 10)
    assert [c.rank for c in found.coupons][:10] == pytest.approx([i / 21 for i in range(1, 11)])
    assert [c.rank for c in found.coupons][10:] == [None] * 10


def test_ranks_of_held_ones_between():
    """Herd and Johnson's mean ranks of a textbook set: order 1, 2+, 3, 4+, 5 of five.

    Adjusted ranks 1, 2.25 and 4.125 of 6 (Johnson 1964): (6 - 1)/(1 + 4) = 1.25 after the first
    held, (6 - 2.25)/(1 + 1) = 1.875 after the second.
    """
    found = fit([1, 2, 3, 4, 5], unit="N", held=[False, True, False, True, False])
    got = [c.rank for c in found.coupons if c.rank is not None]
    assert got == pytest.approx([1 / 6, (1 + 1.25) / 6, (2.25 + 1.875) / 6])


# What is expected of the next --------------------------------------------------------------------


@pytest.mark.parametrize("n", [3, 6, 30])
@pytest.mark.parametrize("family", ["lognormal", "normal"])
def test_expected_of_the_next_is_students_t(n, family):
    """Geisser, *Predictive Inference* (1993), ch. 2: mean + t s sqrt(1 + 1/n), by scipy's t."""
    x = sample(n, n)
    y = np.log(x) if family == "lognormal" else x
    left = posterior(x, NONE, spread.fit(x, family=family))
    for chance in (0.01, 0.001):
        wanted = y.mean() + stats.t.ppf(chance, n - 1) * y.std(ddof=1) * math.sqrt(1 + 1 / n)
        found = left.quantile(chance)
        found = math.log(found) if family == "lognormal" else found
        assert found == pytest.approx(wanted, rel=1e-8, abs=1e-8)


@pytest.mark.parametrize("n", [3, 6, 30])
def test_limits_of_a_quantile_are_those_of_the_noncentral_t(n):
    """mean - k s, k by scipy's noncentral t at either level: what handbooks tabulate."""
    x = sample(n, 10 + n)
    y = np.log(x)
    left = posterior(x, NONE, spread.fit(x))
    root = math.sqrt(n)
    for chance in (0.1, 0.01):
        delta = -stats.norm.ppf(chance) * root
        wanted = [y.mean() - stats.nct.ppf(1 - level, n - 1, delta) / root * y.std(ddof=1)
                  for level in (0.05, 0.95)]  # fmt: skip
        found = np.log(left.limits(chance, (0.05, 0.95)))
        np.testing.assert_allclose(found, wanted, atol=2e-3 * y.std(ddof=1) * max(1.0, 12 / n))


@pytest.mark.parametrize("held", [NONE, np.array([21.0, 24.0, 24.0])])
def test_expected_of_the_next_weibull_by_its_single_integral(held):
    """With r breaks, T(s) the sum of e^(y/s) over all: P(Y > y) = E (1 + e^(y/s)/T)^-r.

    The mean over the weight s^(1-r) e^(sum y/s) T^-r in ln s; Lawless (2003), sec. 5.1.
    """
    x = sample(6, 4)
    y, every = np.log(x), np.log(np.concatenate([x, held]))
    middle = every.mean()

    def parts(log_s):
        s = math.exp(log_s)
        total = np.exp((every - middle) / s).sum()
        weight = (1 - y.size) * log_s + ((y - middle) / s).sum() - y.size * math.log(total)
        return s, total, math.exp(weight + offset)

    offset = 0.0
    offset = -max(math.log(parts(u)[2]) for u in np.linspace(-4, 0, 50))
    left = posterior(x, held, spread.fit(x, held, family="weibull"))
    for value in (left.quantile(0.01), left.quantile(0.2)):
        at = math.log(value)

        def above(log_s, at=at):
            s, total, weight = parts(log_s)
            return weight * (1.0 + math.exp((at - middle) / s) / total) ** -y.size

        top = integrate.quad(above, -6, 6, limit=300)[0]
        all_ = integrate.quad(lambda u: parts(u)[2], -6, 6, limit=300)[0]
        assert left.below(np.array([value]))[0] == pytest.approx(1 - top / all_, rel=1e-4)


def test_lognormal_with_held_ones_by_plain_integration():
    """The weights summed on a plain grid of scipy's densities, twice as fine as needed."""
    x, held = sample(5, 8), np.array([20.0, 25.0])
    y, c = np.log(x), np.log(held)
    mu = np.linspace(y.mean() - 3.0, y.mean() + 5.0, 1601)[:, None]
    log_s = np.linspace(-4.5, 2.5, 701)
    s = np.exp(log_s)
    log_l = sum(stats.norm.logpdf(v, mu, s) for v in y) + sum(stats.norm.logsf(v, mu, s) for v in c)
    weight = np.exp(log_l - log_l.max())
    left = posterior(x, held, spread.fit(x, held))
    for chance in (0.01, 0.1):
        at = math.log(left.quantile(chance))
        plain = (weight * stats.norm.cdf(at, mu, s)).sum() / weight.sum()
        assert plain == pytest.approx(chance, rel=5e-3)
    low = math.log(left.limits(0.1, (0.05,))[0])
    below = (weight * (mu + s * stats.norm.ppf(0.1) <= low)).sum() / weight.sum()
    assert below == pytest.approx(0.05, rel=0.05)


@pytest.mark.parametrize("family", ["weibull", "lognormal"])
def test_of_the_next_ones_as_many_break_below_as_is_said(family):
    """100 sets of 5 from a known spread: the mean true chance below what is expected of 1 in 10."""
    rng = np.random.default_rng(17)
    truth = spread.Weibull(9.0, 20.0) if family == "weibull" else spread.Lognormal(20.0, 2.5)
    chances = []
    for _ in range(100):
        x = truth.sample(5, rng=rng)
        chances.append(truth.cdf(posterior(x, NONE, spread.fit(x, family=family)).quantile(0.1)))
    error = np.std(chances) / math.sqrt(len(chances))
    assert np.mean(chances) == pytest.approx(0.1, abs=4.0 * error)
    assert error < 0.017


# Basis values ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("n", "b", "a"), [(5, 3.407, 5.741), (10, 2.355, 3.981), (30, 1.777, 3.064)]
)
def test_basis_values_by_the_handbooks_factors(n, b, a):
    """CMH-17-1G, tables of one-sided tolerance factors of the normal (B and A basis)."""
    x = sample(n, 30 + n)
    found = fit(list(x), unit="MPa").family("normal")
    wanted = [x.mean() - k * x.std(ddof=1) for k in (b, a)]
    assert [each.value for each in found.basis] == pytest.approx(wanted, abs=2e-3 * x.std(ddof=1))


# Far out -----------------------------------------------------------------------------------------


def test_uranium_isotopes_as_printed_by_nist():
    """E-Handbook 1.3.5.17.1: G = 2.4687; the upper one-sided critical value is 2.032."""
    found = fit(URANIUM, unit="N").outliers
    assert found.residual == pytest.approx(2.4687, abs=1e-4)
    assert critical_residual(8, level=0.10) == pytest.approx(2.032, abs=5e-4)
    assert [(out.row, out.side) for out in found.flagged] == [(8, "high")]
    assert found.mean_without == pytest.approx(np.mean(URANIUM[:-1]))


# Two-sided 5 % values of the maximum normed residual: CMH-17-1G table 8.5.7 and Grubbs and Beck
# (1972), Technometrics 14(4), 847-854; from memory.
@pytest.mark.parametrize(
    ("n", "critical"), [(3, 1.154), (5, 1.715), (8, 2.127), (10, 2.290), (20, 2.708), (30, 2.908)]
)
def test_critical_values_as_tabulated(n, critical):
    assert critical_residual(n) == pytest.approx(critical, abs=1.5e-3)


def test_share_of_weak_ones_by_openturns():
    """Clopper and Pearson's bound by another library's beta."""
    found = fit([20, 19, 21, 18, 22, 20.5, 5, 19.5], unit="MPa").weak
    assert found.rows == (7,)
    assert found.share_high == pytest.approx(ot.Beta(2.0, 7.0, 0.0, 1.0).computeQuantile(0.95)[0])
    clean = fit([20, 19, 21, 18, 22, 20.5], unit="MPa").weak
    assert clean.share_high == pytest.approx(1.0 - 0.05 ** (1 / 6))


# Batches -----------------------------------------------------------------------------------------


def test_dyestuff_as_printed():
    """Mean squares 11,271.5 and 2,451.25, components 1,764.05 and 2,451.25 (Davies 1972)."""
    found = split([np.array(batch, dtype=float) for batch in DYESTUFF])
    assert found.mean == 1527.5
    assert found.within == pytest.approx(2451.25)
    assert found.between == pytest.approx(1764.05)
    theirs = stats.f_oneway(*DYESTUFF)
    assert (found.ratio, found.significance) == pytest.approx((theirs.statistic, theirs.pvalue))


def test_limits_between_batches_of_one_size_are_closed():
    """(F/F_q - 1)/n times the variance inside (Searle, Casella and McCulloch 1992, sec. 3.5)."""
    found = split([np.array(batch, dtype=float) for batch in DYESTUFF])
    wanted = [
        max(0.0, (found.ratio / stats.f.ppf(q, 5, 24) - 1.0) / 5.0) * found.within
        for q in (0.95, 0.05)
    ]
    assert (found.low, found.high) == pytest.approx(wanted, rel=1e-9)


def test_the_next_of_a_new_batch():
    """Of 400 sets of 6 batches of unlike size, 1 in 10 of the next lie below, within noise."""
    rng = np.random.default_rng(6)
    counts, between, within = (2, 3, 4, 4, 5, 3), 0.15, 0.06
    chances = []
    for _ in range(400):
        groups = [3.0 + between * rng.normal() + within * rng.normal(size=n) for n in counts]
        at = math.log(split(groups).quantile(0.1))
        chances.append(stats.norm.cdf(at, 3.0, math.hypot(between, within)))
    assert np.mean(chances) == pytest.approx(0.1, abs=0.02)


def test_ranks_of_a_set_that_all_broke():
    """i/(n + 1): Weibull (1939), Gumbel (1958)."""
    found = fit([3.0, 1.0, 2.0], unit="N")
    assert [c.rank for c in found.coupons] == pytest.approx([0.75, 0.25, 0.5])
    assert ranks([]) == []
