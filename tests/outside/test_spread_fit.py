"""Fits and basis values against published numbers and general-purpose libraries."""

from __future__ import annotations

import numpy as np
import openturns as ot
import pytest
from scipy import stats
from scipy.special import ndtri

from jointrisk import spread
from jointrisk.spread.basis import CMH17_WEIBULL, weibull_by_factor, weibull_conditional

# NIST/SEMATECH e-Handbook of Statistical Methods 8.2.2.1: hours to failure of ten units; ten
# more were still running at 500 hours.
NIST_HOURS = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
NIST_RUNNING = [500] * 10

# Lifetimes of 23 ball bearings in millions of turns: Lieblein and Zelen (1956), J. Research
# NBS 57, 273-316; Weibull fit 2.10 and 81.9 in Lawless, Statistical Models and Methods for
# Lifetime Data (2nd ed. 2003), example 5.1.1.
BEARINGS = [
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.48, 51.84, 51.96, 54.12, 55.56, 67.80,
    68.64, 68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
]  # fmt: skip


def test_weibull_with_running_units_as_printed_by_nist() -> None:
    """E-Handbook 8.4.1.3: shape 1.7208, characteristic life 606.5280."""
    found = spread.fit(NIST_HOURS, NIST_RUNNING, family="weibull")
    assert found.parameters["shape"] == pytest.approx(1.7208, abs=5e-5)
    assert found.parameters["scale"] == pytest.approx(606.53, abs=5e-3)
    assert found.log_likelihood == pytest.approx(-75.135, abs=5e-4)
    assert (found.failures, found.censored) == (10, 10)


def test_weibull_of_the_ball_bearings_as_printed_by_lawless() -> None:
    found = spread.fit(BEARINGS, family="weibull")
    assert found.parameters["shape"] == pytest.approx(2.10, abs=5e-3)
    assert found.parameters["scale"] == pytest.approx(81.9, abs=5e-2)


REFERENCE = {
    "normal": (stats.norm, {}, lambda f: (f.location, f.scale)),
    "lognormal": (stats.lognorm, {"floc": 0}, lambda f: (f.scale, 0.0, np.exp(f.location))),
    "weibull": (
        stats.weibull_min,
        {"floc": 0},
        lambda f: (f.parameters["shape"], 0.0, f.parameters["scale"]),
    ),
}


@pytest.mark.parametrize("family", REFERENCE)
@pytest.mark.parametrize("held", [(), (20.0, 23.5, 23.5, 27.0), tuple(np.full(40, 24.0))])
def test_same_maximum_as_scipy(family: str, held: tuple[float, ...]) -> None:
    """The general optimiser of scipy.stats on CensoredData, and its likelihood at our fit."""
    values = np.random.default_rng(5).normal(25.0, 3.0, 25)
    ours = spread.fit(values, held, family=family)
    theirs, fixed, place = REFERENCE[family]
    data = stats.CensoredData(uncensored=values, right=list(held))
    found = theirs.fit(data, **fixed)
    np.testing.assert_allclose(place(ours), found, rtol=3e-4)
    likelihood = theirs.logpdf(values, *place(ours)).sum()
    likelihood += theirs.logsf(np.array(held), *place(ours)).sum()
    assert ours.log_likelihood == pytest.approx(likelihood, rel=1e-10)
    assert ours.log_likelihood >= -theirs.nnlf(found, values) * (not held) - 1e-6 or bool(held)
    assert ours.aic == pytest.approx(4.0 - 2.0 * likelihood, rel=1e-10)


@pytest.mark.parametrize("family", REFERENCE)
def test_standard_errors_are_the_inverse_curvature_of_scipys_likelihood(family: str) -> None:
    """Second differences of the log-likelihood of scipy.stats in the printed parameters."""
    values = np.random.default_rng(2).normal(25.0, 3.0, 20)
    held = np.array([26.0, 27.0, 28.0])
    ours = spread.fit(values, held, family=family)
    names = {"normal": ("mean", "sd"), "lognormal": ("log_mean", "log_sd")}
    names = names.get(family, ("shape", "scale"))
    theirs = REFERENCE[family][0]
    arguments = {
        "normal": lambda a, b: (a, b),
        "lognormal": lambda a, b: (b, 0.0, np.exp(a)),
        "weibull": lambda a, b: (a, 0.0, b),
    }[family]

    def likelihood(a: float, b: float) -> float:
        given = arguments(a, b)
        return float(theirs.logpdf(values, *given).sum() + theirs.logsf(held, *given).sum())

    at = np.array([ours.parameters[name] for name in names])
    h = 1e-4 * at
    information = np.empty((2, 2))
    for i in range(2):
        for j in range(2):
            di, dj = np.eye(2)[i] * h, np.eye(2)[j] * h
            corners = (
                likelihood(*(at + di + dj)) - likelihood(*(at + di - dj))
                - likelihood(*(at - di + dj)) + likelihood(*(at - di - dj))
            )  # fmt: skip
            information[i, j] = -corners / (4.0 * h[i] * h[j])
    wanted = np.sqrt(np.diag(np.linalg.inv(information)))
    found = [ours.standard_errors[name] for name in names]
    np.testing.assert_allclose(found, wanted, rtol=1e-4)


def test_lognormal_errors_of_mean_and_sd_by_scatter_over_many_samples() -> None:
    """The delta method agrees with what 600 fits of 200 values scatter by, within 15 %."""
    rng = np.random.default_rng(0)
    truth = spread.Lognormal(25.0, 5.0)
    fits = [spread.fit(truth.sample(200, rng=rng)) for _ in range(600)]
    for name in ("mean", "sd"):
        seen = np.std([f.parameters[name] for f in fits])
        told = np.mean([f.standard_errors[name] for f in fits])
        assert told == pytest.approx(seen, rel=0.15)


def test_normal_errors_of_a_complete_sample() -> None:
    """σ/√n and σ/√(2n) with the most likely σ (Meeker and Escobar 1998, ch. 8)."""
    values = np.arange(1.0, 11.0)
    found = spread.fit(values, family="normal")
    assert found.parameters["mean"] == pytest.approx(5.5, rel=1e-12)
    assert found.parameters["sd"] == pytest.approx(np.std(values), rel=1e-10)
    assert found.standard_errors["mean"] == pytest.approx(np.std(values) / np.sqrt(10), rel=1e-8)
    assert found.standard_errors["sd"] == pytest.approx(np.std(values) / np.sqrt(20), rel=1e-8)


# ------------------------------------------------------------------ basis values

# Tolerance factors of the normal: tables of CMH-17-1G (MIL-HDBK-17-1F 8.5.10 and 8.5.11).
B_FACTORS = {5: 3.407, 6: 3.006, 10: 2.355, 15: 2.068, 20: 1.926, 30: 1.777}
A_FACTORS = {5: 5.741, 6: 5.062, 10: 3.981, 15: 3.520, 20: 3.295, 30: 3.064}


@pytest.mark.parametrize(("n", "factor"), B_FACTORS.items())
def test_b_basis_factor_as_tabulated(n: int, factor: float) -> None:
    # The tables round up in the last place.
    assert spread.normal_factor(n) == pytest.approx(factor, abs=1.1e-3)


@pytest.mark.parametrize(("n", "factor"), A_FACTORS.items())
def test_a_basis_factor_as_tabulated(n: int, factor: float) -> None:
    assert spread.normal_factor(n, fraction=0.99) == pytest.approx(factor, abs=1.1e-3)


@pytest.mark.parametrize("n", range(3, 31))
@pytest.mark.parametrize("fraction", [0.90, 0.99])
def test_factor_against_openturns(n: int, fraction: float) -> None:
    """The noncentral t of another library: P(T ≤ k√n) = 0.95."""
    factor = spread.normal_factor(n, fraction)
    theirs = ot.NonCentralStudent(n - 1.0, float(ndtri(fraction)) * np.sqrt(n), 0.0)
    assert theirs.computeCDF(factor * np.sqrt(n)) == pytest.approx(0.95, abs=1e-6)


@pytest.mark.parametrize("family", ["normal", "lognormal"])
def test_basis_value_is_mean_minus_factor_times_sd(family: str) -> None:
    x = np.array([22.1, 24.0, 24.9, 25.3, 26.7, 28.0])
    y = x if family == "normal" else np.log(x)
    wanted = y.mean() - 3.006257 * y.std(ddof=1)
    found = spread.basis_value(x, family=family)
    assert found == pytest.approx(wanted if family == "normal" else np.exp(wanted), rel=1e-6)


@pytest.mark.parametrize(
    ("n", "fraction", "confidence"), [(4, 0.90, 0.95), (12, 0.75, 0.80), (20, 0.90, 0.95)]
)
def test_weibull_basis_holds_its_confidence(n: int, fraction: float, confidence: float) -> None:
    """200 samples of a known Weibull: exceeded by the fraction as often as claimed."""
    rng = np.random.default_rng(n)
    runs, shape, scale = 200, 8.0, 25.0
    truth = scale * (-np.log(fraction)) ** (1.0 / shape)
    held = 0
    for _ in range(runs):
        x = scale * rng.weibull(shape, n)
        held += (
            spread.basis_value(x, family="weibull", fraction=fraction, confidence=confidence)
            <= truth
        )
    low, high = stats.binom(runs, confidence).ppf([1e-4, 1.0 - 1e-4])
    assert low <= held <= high


@pytest.mark.parametrize("n", [20, 40])
@pytest.mark.parametrize("fraction", sorted(CMH17_WEIBULL))
def test_handbook_factor_against_the_exact_limit(n: int, fraction: float) -> None:
    """CMH-17's factor is an average over samples: mean deviation below 1 % of V over 40."""
    rng = np.random.default_rng(7)
    deviation = []
    for _ in range(40):
        x = 25.0 * rng.weibull(8.0, n)
        median = spread.fit(x, family="weibull").spread.ppf(1.0 - fraction)
        drop = np.log(median / weibull_by_factor(x, fraction))
        exact = np.log(median / weibull_conditional(x, fraction, 0.95))
        deviation.append(exact / drop - 1.0)
    assert abs(np.mean(deviation)) < 0.012
    assert np.std(deviation) < 0.06


# ------------------------------------------------------------------ comparing families


def test_anderson_darling_against_scipy() -> None:
    frame = spread.compare_fits(BEARINGS)
    logs = np.log(BEARINGS)
    z = np.sort((logs - logs.mean()) / logs.std(ddof=1))
    i = np.arange(1, z.size + 1)
    wanted = -z.size - np.mean((2 * i - 1) * (stats.norm.logcdf(z) + stats.norm.logsf(z[::-1])))
    assert frame.loc["lognormal", "anderson_darling"] == pytest.approx(wanted, rel=1e-10)
    test = stats.goodness_of_fit(
        stats.weibull_min,
        np.array(BEARINGS),
        known_params={"loc": 0.0},
        statistic="ad",
        n_mc_samples=1,
        rng=np.random.default_rng(0),
    )
    assert frame.loc["weibull", "anderson_darling"] == pytest.approx(test.statistic, rel=1e-4)


def test_significance_is_uniform_where_the_family_is_true() -> None:
    """Under the null the significance falls below 0.05 in some 5 % of 300 samples."""
    rng = np.random.default_rng(11)
    below = {"normal": 0, "weibull": 0}
    for _ in range(300):
        frame = spread.compare_fits(rng.normal(100.0, 5.0, 20))
        below["normal"] += frame.loc["normal", "significance"] < 0.05
        frame = spread.compare_fits(25.0 * rng.weibull(8.0, 20))
        below["weibull"] += frame.loc["weibull", "significance"] < 0.05
    for count in below.values():
        assert 0.015 * 300 < count < 0.1 * 300


def test_the_true_family_wins_on_many_numbers() -> None:
    rng = np.random.default_rng(0)
    assert spread.compare_fits(rng.lognormal(3.0, 0.5, 400)).index[0] == "lognormal"
    assert spread.compare_fits(rng.weibull(1.5, 400)).index[0] == "weibull"
    assert spread.compare_fits(rng.normal(3.0, 2.0, 400) + 20.0).index[0] == "normal"
