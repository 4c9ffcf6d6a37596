"""Every family against openturns: a second library, written apart from scipy."""

from __future__ import annotations

import numpy as np
import openturns as ot
import pytest

from jointrisk import spread

EULER = 0.57721566490153286061
LOG_SD = float(np.sqrt(np.log(1.01)))
LOG_MEAN = float(np.log(25.0) - 0.5 * LOG_SD**2)
BETA = 160.0 * float(np.sqrt(6.0)) / np.pi

NORMAL = ot.Normal(0.2, 0.1)

PAIRS = {
    "normal": (spread.Normal(3.0, 2.0), ot.Normal(3.0, 2.0)),
    "lognormal": (spread.Lognormal(25.0, 2.5), ot.LogNormal(LOG_MEAN, LOG_SD, 0.0)),
    "weibull": (spread.Weibull(8.0, 25.0), ot.WeibullMin(25.0, 8.0, 0.0)),
    "weibull shifted": (spread.Weibull(1.5, 25.0, shift=5.0), ot.WeibullMin(25.0, 1.5, 5.0)),
    "gumbel": (spread.Gumbel(800.0, 160.0), ot.Gumbel(BETA, 800.0 - EULER * BETA)),
    "gumbel min": (
        spread.GumbelMin(-800.0, 160.0),
        ot.Gumbel(BETA, 800.0 - EULER * BETA) * (-1.0),
    ),
    "uniform": (spread.Uniform(0.1, 0.3), ot.Uniform(0.1, 0.3)),
    "triangular": (spread.Triangular(0.05, 0.2, 0.3), ot.Triangular(0.05, 0.2, 0.3)),
    "exponential": (spread.Exponential(3.0, shift=1.0), ot.Exponential(0.5, 1.0)),
    "gamma": (spread.Gamma(6.0, 3.0), ot.Gamma(4.0, 1.0 / 1.5, 0.0)),
    "beta": (spread.Beta(-1.0, 4.0, 1.0, 1.0), ot.Beta(2.0, 3.0, -1.0, 4.0)),
    "student": (spread.StudentT(1.0, 2.0, 5.0), ot.Student(5.0, 1.0, 2.0)),
    "frechet": (spread.Frechet(4.0, 2.0, shift=1.0), ot.Frechet(2.0, 4.0, 1.0)),
    "truncated": (
        spread.Truncated(spread.Normal(0.2, 0.1), 0.0, 0.5),
        ot.TruncatedDistribution(NORMAL, 0.0, 0.5),
    ),
    "mixture": (
        spread.Mixture([(0.1, spread.Normal(5.0, 1.0)), (0.9, spread.Gumbel(25.0, 3.0))]),
        ot.Mixture(
            [
                ot.Normal(5.0, 1.0),
                ot.Gumbel(
                    3.0 * float(np.sqrt(6.0)) / np.pi,
                    25.0 - EULER * 3.0 * float(np.sqrt(6.0)) / np.pi,
                ),
            ],
            [0.1, 0.9],
        ),
    ),
    "maximum": (
        spread.MaximumOf(spread.Weibull(2.0, 5.0), 7.0),
        ot.MaximumDistribution(ot.WeibullMin(5.0, 2.0, 0.0), 7),
    ),
}

SHARES = [0.001, 0.05, 0.3, 0.5, 0.8, 0.99, 0.9999]


@pytest.mark.parametrize("name", PAIRS)
class TestAgainstOpenturns:
    def test_quantiles(self, name: str) -> None:
        ours, theirs = PAIRS[name]
        wanted = [theirs.computeQuantile(q)[0] for q in SHARES]
        np.testing.assert_allclose(ours.ppf(SHARES), wanted, rtol=1e-7)

    def test_upper_quantiles(self, name: str) -> None:
        ours, theirs = PAIRS[name]
        wanted = [theirs.computeQuantile(q, True)[0] for q in SHARES]
        np.testing.assert_allclose(ours.isf(SHARES), wanted, rtol=1e-7)

    def test_probabilities(self, name: str) -> None:
        ours, theirs = PAIRS[name]
        x = ours.ppf(SHARES)
        np.testing.assert_allclose(ours.cdf(x), [theirs.computeCDF(v) for v in x], rtol=1e-7)
        np.testing.assert_allclose(
            ours.sf(x), [theirs.computeComplementaryCDF(v) for v in x], rtol=1e-7
        )

    def test_densities(self, name: str) -> None:
        ours, theirs = PAIRS[name]
        x = ours.ppf(SHARES)
        np.testing.assert_allclose(ours.pdf(x), [theirs.computePDF(v) for v in x], rtol=1e-6)
        np.testing.assert_allclose(
            ours.logpdf(x), [theirs.computeLogPDF(v) for v in x], rtol=1e-6, atol=1e-6
        )

    def test_moments(self, name: str) -> None:
        ours, theirs = PAIRS[name]
        assert ours.mean == pytest.approx(theirs.getMean()[0], rel=1e-6)
        assert ours.sd == pytest.approx(theirs.getStandardDeviation()[0], rel=1e-5)


@pytest.mark.parametrize("n", [0.3, 4.0])
def test_largest_of_a_poisson_number_of_events(n: float) -> None:
    """Total probability over the number of events, its weights from openturns."""
    number = ot.Poisson(n)
    base = ot.WeibullMin(5.0, 2.0, 0.0)
    ours = spread.MaximumOfEvents(spread.Weibull(2.0, 5.0), n)
    for x in (0.0, 1.0, 4.0, 12.0):
        one = base.computeCDF(x)
        wanted = sum(number.computePDF(k) * one**k for k in range(60))
        assert ours.cdf(x) == pytest.approx(wanted, rel=1e-10)


def test_mixed_labels() -> None:
    """A discrete distribution given by its values and probabilities."""
    ours = spread.Mixture(
        [(0.2, spread.Fixed(1.0)), (0.5, spread.Fixed(2.0)), (0.3, spread.Fixed(7.0))]
    )
    theirs = ot.UserDefined([[1.0], [2.0], [7.0]], [0.2, 0.5, 0.3])
    assert ours.mean == pytest.approx(theirs.getMean()[0], rel=1e-12)
    assert ours.sd == pytest.approx(theirs.getStandardDeviation()[0], rel=1e-12)
    for x in (0.5, 1.0, 1.5, 2.0, 6.9, 7.0):
        assert ours.cdf(x) == pytest.approx(theirs.computeCDF(x), abs=1e-14)
    for q in (0.1, 0.21, 0.69, 0.71, 0.99):
        assert ours.ppf(q) == theirs.computeQuantile(q)[0]


@pytest.mark.parametrize("rho", [-0.6, 0.3, 0.85])
def test_joint_scores_have_the_density_of_the_normal_copula(rho: float) -> None:
    """Log-density of correlated scores from the factor against a bivariate normal."""
    ours = spread.GaussianCopula(["a", "b"], {("a", "b"): rho}, of="scores")
    z = np.random.default_rng(0).standard_normal((20, 2))
    u = ours.decorrelate(z)
    found = -0.5 * np.sum(u**2, axis=1) - np.log(2.0 * np.pi) - np.log(np.diag(ours.factor)).sum()
    matrix = ot.CorrelationMatrix(2)
    matrix[0, 1] = rho
    theirs = ot.Normal([0.0, 0.0], [1.0, 1.0], matrix)
    np.testing.assert_allclose(found, [theirs.computeLogPDF(v) for v in z], rtol=1e-10)


def test_maximum_likelihood_of_complete_samples() -> None:
    """Two-parameter fits by the factories of openturns, least value held at zero."""
    values = np.random.default_rng(3).normal(25.0, 3.0, 60)
    sample = ot.Sample(values.reshape(-1, 1))
    normal = ot.NormalFactory().buildAsNormal(sample)
    ours = spread.fit(values, family="normal").parameters
    # Theirs has the divisor n − 1, the most likely sd the divisor n.
    assert ours["mean"] == pytest.approx(normal.getMean()[0], rel=1e-12)
    sd = normal.getStandardDeviation()[0] * np.sqrt(59.0 / 60.0)
    assert ours["sd"] == pytest.approx(sd, rel=1e-10)
    found = spread.fit(values, family="weibull").parameters
    theirs = ot.WeibullMin(found["scale"], found["shape"], 0.0)
    best = np.mean([theirs.computeLogPDF(v) for v in values])
    assert best * 60.0 == pytest.approx(
        spread.fit(values, family="weibull").log_likelihood, rel=1e-10
    )
    for scale, shape in ((1.01, 1.0), (0.99, 1.0), (1.0, 1.03), (1.0, 0.97)):
        other = ot.WeibullMin(scale * found["scale"], shape * found["shape"], 0.0)
        assert np.mean([other.computeLogPDF(v) for v in values]) < best
