"""Learning from pulls against conjugate results, success-run tables and plain quadrature."""

from __future__ import annotations

from functools import cache

import mpmath
import numpy as np
import pytest
from scipy import integrate, stats

from jointrisk import spread
from jointrisk.reliability import learn_strength, learn_weak_fraction

LOG_MEDIAN = spread.Normal(7.0, 0.3)
WITHIN = 0.15


def conjugate(values, mean, sd, within):
    """Return posterior mean and sd of a normal mean with known spread.

    Gelman et al., Bayesian Data Analysis, sec. 2.5, from memory: precisions add up, means are
    weighted by them.
    """
    precision = 1 / sd**2 + len(values) / within**2
    return (mean / sd**2 + sum(values) / within**2) / precision, precision**-0.5


@pytest.mark.parametrize("pulls", [1, 7, 300, 10_000])
def test_loads_at_the_break_are_the_conjugate_update(pulls):
    logs = np.random.default_rng(3).normal(6.6, WITHIN, pulls)
    found = learn_strength(location=LOG_MEDIAN, within_sd=WITHIN, failed_at=np.exp(logs))
    mean, sd = conjugate(logs, 7.0, 0.3, WITHIN)
    assert found.location_mean == pytest.approx(mean, rel=1e-11)
    assert found.location_sd == pytest.approx(sd, rel=1e-9)
    q = np.array([1e-6, 0.05, 0.5, 0.999])
    np.testing.assert_allclose(found.location_quantile(q), stats.norm.ppf(q, mean, sd), rtol=1e-9)


@pytest.mark.parametrize("pulls", [0, 1, 7, 300])
def test_the_next_joint_of_a_conjugate_batch_is_lognormal_deep_into_the_tail(pulls):
    """Gelman et al., sec. 2.5, from memory: variances of location and scatter add up."""
    logs = np.random.default_rng(4).normal(7.2, WITHIN, pulls)
    found = learn_strength(location=LOG_MEDIAN, within_sd=WITHIN, failed_at=np.exp(logs))
    mean, sd = conjugate(logs, 7.0, 0.3, WITHIN)
    exact = stats.norm(mean, np.hypot(sd, WITHIN))
    u = np.array([-30.0, -9.0, -6.0, -2.0, 0.0, 3.0, 8.0])
    x = np.exp(exact.mean() + exact.std() * u)
    np.testing.assert_allclose(found.predictive.to_normal(x), u, rtol=1e-9, atol=1e-10)
    np.testing.assert_allclose(found.predictive.from_normal(u), x, rtol=1e-9)
    np.testing.assert_allclose(found.predictive.cdf(x), stats.norm.cdf(u), rtol=3e-9)
    np.testing.assert_allclose(found.predictive.pdf(x), exact.pdf(np.log(x)) / x, rtol=1e-8)
    scatter = exact.std() ** 2
    assert found.predictive.mean == pytest.approx(np.exp(mean + scatter / 2), rel=1e-10)
    assert found.predictive.sd == pytest.approx(
        np.exp(mean + scatter / 2) * np.sqrt(np.expm1(scatter)), rel=1e-9
    )


def test_a_normal_batch_is_conjugate_with_gauge_error_too_where_it_is_small():
    """With an error next to nothing the conjugate result stays."""
    loads = [910.0, 1030.0, 870.0]
    mean, sd = conjugate(loads, 1200.0, 200.0, 80.0)
    for error in (0.0, 1e-7):
        found = learn_strength(
            family="normal",
            location=spread.Normal(1200, 200),
            within_sd=80.0,
            failed_at=loads,
            rig_error_cov=error,
        )
        assert (found.location_mean, found.location_sd) == pytest.approx((mean, sd), rel=1e-8)


# Censored pulls by plain quadrature ------------------------------------------------------------


def by_mpmath(likelihood, strengths):
    """Return mean and sd of the log-median, and the chance of a joint weaker than each strength."""
    mpmath.mp.dps = 30
    edges = [7 + 0.2 * k for k in range(-15, 11)]

    def moment(part):
        return mpmath.quad(lambda m: mpmath.npdf(m, 7, 0.3) * likelihood(m) * part(m), edges)

    total = moment(lambda _m: 1)
    mean = moment(lambda m: m) / total
    sd = mpmath.sqrt(moment(lambda m: (m - mean) ** 2) / total)
    weaker = []
    for strength, size in strengths.items():

        def below(m, strength=strength, size=size):
            """Made large: the quadrature stops at an error that is small beside 1."""
            return mpmath.ncdf((mpmath.log(strength) - m) / 0.15) / size

        weaker.append(size * float(moment(below) / total))
    return float(mean), float(sd), weaker


def held(load, m, joints=2):
    return mpmath.ncdf((m - mpmath.log(load)) / 0.15) ** joints


def test_two_ends_held_broken_and_broken_below_by_mpmath():
    """A rod of two ends: S², 2 f S and 1 − S²; quadrature by mpmath, 30 digits."""
    found = learn_strength(
        location=LOG_MEDIAN,
        within_sd=WITHIN,
        survived_at=[900.0] * 6 + [1100.0],
        failed_at=[820.0],
        failed_below=[950.0, 950.0],
        joints_per_pull=2,
    )

    @cache
    def likelihood(m):
        z = (mpmath.log(820) - m) / 0.15
        broke = 2 * mpmath.npdf(z) * held(820, m, 1)
        return held(900, m) ** 6 * held(1100, m) * broke * (1 - held(950, m)) ** 2

    strengths = {60.0: 1e-76, 200.0: 1e-27, 700.0: 1.0}
    mean, sd, weaker = by_mpmath(likelihood, strengths)
    assert found.location_mean == pytest.approx(mean, rel=1e-11)
    assert found.location_sd == pytest.approx(sd, rel=1e-9)
    np.testing.assert_allclose(found.predictive.cdf(list(strengths)), weaker, rtol=1e-8)
    assert weaker[0] < 1e-20


@pytest.mark.parametrize(("kind", "load"), [("survived_at", 2500.0), ("failed_below", 400.0)])
def test_many_pulls_far_from_the_prior_by_mpmath(kind, load):
    """Two thousand pulls far out: every term underflows as a plain product."""
    found = learn_strength(
        location=LOG_MEDIAN, within_sd=WITHIN, joints_per_pull=2, **{kind: [load] * 2000}
    )

    def log_likelihood(m):
        p = held(load, m)
        return 2000 * mpmath.log(p if kind == "survived_at" else 1 - p)

    mpmath.mp.dps = 30
    at = float(found.location_mean)
    top = log_likelihood(at) - (at - 7) ** 2 / 0.18

    @cache
    def density(m):
        return mpmath.exp(log_likelihood(m) - (m - 7) ** 2 / 0.18 - top)

    edges = [at + 0.2 * k for k in range(-6, 7)]
    total = mpmath.quad(density, edges)
    mean = mpmath.quad(lambda m: m * density(m), edges) / total
    var = mpmath.quad(lambda m: (m - mean) ** 2 * density(m), edges) / total
    assert found.location_mean == pytest.approx(float(mean), rel=1e-10)
    assert found.location_sd == pytest.approx(float(mpmath.sqrt(var)), rel=1e-8)
    assert any("contradict" in note for note in found.notes)


def test_a_perfect_pull_truncates():
    """P(R < r | held p) = [F(r) − F(p)] / [1 − F(p)], as all joints of a batch become alike.

    Text book formula of truncation. With within_sd = w the rest is of the order of w².
    """
    prior = stats.norm(7.0, 0.3)
    strengths, pull = np.array([950.0, 1100.0, 2000.0]), 900.0
    exact = (prior.cdf(np.log(strengths)) - prior.cdf(np.log(pull))) / prior.sf(np.log(pull))
    for width, close in ((0.01, 2e-3), (0.001, 3e-5)):
        found = learn_strength(location=LOG_MEDIAN, within_sd=width, survived_at=[pull])
        np.testing.assert_allclose(found.predictive.cdf(strengths), exact, rtol=close)


def test_a_list_of_locations_is_bayes_rule_on_three_numbers():
    """Bayes' rule summed by hand with scipy's normal."""
    places = np.log([600.0, 900.0, 1300.0])
    prior = spread.Mixture(list(zip([0.2, 0.5, 0.3], map(spread.Fixed, places), strict=True)))
    found = learn_strength(location=prior, within_sd=WITHIN, survived_at=[800.0, 900.0])
    weight = np.array([0.2, 0.5, 0.3])
    for load in (800.0, 900.0):
        weight = weight * stats.norm.sf(np.log(load), places, WITHIN)
    weight /= weight.sum()
    assert found.location_mean == pytest.approx(weight @ places, rel=1e-12)
    below = weight @ stats.norm.cdf(np.log(500.0), places, WITHIN)
    assert found.predictive.cdf(500.0) == pytest.approx(below, rel=1e-8)


# Gauge error -----------------------------------------------------------------------------------


def test_gauge_error_of_a_normal_batch_is_a_wider_normal():
    """One joint, normal: L(1 + e) against R is Φ((m − L)/√(w² + L²c²)), sum of two normals."""
    width, error = 80.0, 0.07

    def density(m):
        one = stats.norm.sf(1000, m, np.hypot(width, 1000 * error))
        other = stats.norm.cdf(900, m, np.hypot(width, 900 * error))
        return stats.norm.pdf(m, 1100, 150) * one**3 * other

    total, first, second = (
        integrate.quad(lambda m, k=k: density(m) * m**k, 200, 2000, epsabs=0, points=[1000])[0]
        for k in range(3)
    )
    found = learn_strength(
        family="normal",
        location=spread.Normal(1100, 150),
        within_sd=width,
        survived_at=[1000.0] * 3,
        failed_below=[900.0],
        rig_error_cov=error,
    )
    mean = first / total
    assert found.location_mean == pytest.approx(mean, rel=1e-9)
    assert found.location_sd == pytest.approx(np.sqrt(second / total - mean**2), rel=1e-6)


@pytest.mark.parametrize("error", [0.03, 0.15, 0.25])
def test_gauge_error_of_a_lognormal_batch_by_double_quadrature(error):
    """Two ends, a hold, a reading at a break and a break below: over e by Gauss-Legendre.

    The reading L at a break has the density −d/dL E[S(L(1 + e))²].
    """
    node, weight = np.polynomial.legendre.leggauss(600)
    low = max(-1.0, -10 * error)
    e = low + (10 * error - low) * 0.5 * (node + 1)
    weight = weight * 0.5 * (10 * error - low) * stats.norm.pdf(e, 0, error)
    nothing = stats.norm.cdf(-1.0, 0, error)
    m = np.linspace(5.2, 8.8, 601)[:, None]

    def single(load):
        return stats.norm.sf(np.log(load * (1 + e)), m, WITHIN)

    def broke(load):
        scatter = stats.norm.pdf(np.log(load * (1 + e)), m, WITHIN)
        return (2 * single(load) * scatter) @ weight

    posterior = stats.norm.pdf(m[:, 0], 7.0, 0.3)
    posterior *= ((single(1000.0) ** 2) @ weight + nothing) ** 4
    posterior *= broke(850.0) * ((1 - single(900.0) ** 2) @ weight)
    posterior /= posterior.sum()
    found = learn_strength(
        location=LOG_MEDIAN,
        within_sd=WITHIN,
        survived_at=[1000.0] * 4,
        failed_at=[850.0],
        failed_below=[900.0],
        joints_per_pull=2,
        rig_error_cov=error,
    )
    mean = posterior @ m[:, 0]
    assert found.location_mean == pytest.approx(mean, rel=1e-7)
    sd = np.sqrt(posterior @ (m[:, 0] - mean) ** 2)
    assert found.location_sd == pytest.approx(sd, rel=1e-6)


def test_gauge_error_by_rejection_sampling():
    """A million batches drawn, pulled, and kept where the pulls went as told (numpy alone)."""
    rng = np.random.default_rng(11)
    m = rng.normal(7.0, 0.3, 1_000_000)
    keep = np.ones(m.size, dtype=bool)
    for load, holds in ((950.0, True), (1000.0, True), (1100.0, False)):
        ends = np.exp(m + WITHIN * rng.standard_normal((2, m.size)))
        acts = load * (1 + 0.12 * rng.standard_normal(m.size))
        keep &= (ends.min(axis=0) > acts) == holds
    kept = m[keep]
    new = np.exp(kept + WITHIN * rng.standard_normal(kept.size))
    found = learn_strength(
        location=LOG_MEDIAN,
        within_sd=WITHIN,
        survived_at=[950.0, 1000.0],
        failed_below=[1100.0],
        joints_per_pull=2,
        rig_error_cov=0.12,
    )
    error = kept.std() / np.sqrt(kept.size)
    assert found.location_mean == pytest.approx(kept.mean(), abs=4 * error)
    assert found.location_sd == pytest.approx(kept.std(), rel=4 / np.sqrt(kept.size))
    for strength in (600.0, 900.0, 1500.0):
        share = np.mean(new < strength)
        sampling = 4 * np.sqrt(share * (1 - share) / new.size)
        assert found.predictive.cdf(strength) == pytest.approx(share, abs=sampling)
    assert kept.size > 50_000


# Share of weak parts ---------------------------------------------------------------------------


@pytest.mark.parametrize(("survived", "failed"), [(0, 0), (5, 0), (60, 0), (40, 3), (0, 2)])
def test_a_perfect_pull_is_the_beta_binomial_update(survived, failed):
    """Gelman et al., Bayesian Data Analysis, sec. 2.4, from memory: Beta(a + failed, b + survived).

    Weak parts all break and sound ones none, so that each part is seen for what it is.
    """
    found = learn_weak_fraction(
        prior=(1.5, 30.0), weak_survives=0.0, sound_survives=1.0, survived=survived, failed=failed
    )
    exact = stats.beta(1.5 + failed, 30.0 + survived)
    assert (found.mean, found.sd) == pytest.approx((exact.mean(), exact.std()), rel=1e-10)
    q = np.array([1e-4, 0.05, 0.5, 0.95, 0.999])
    np.testing.assert_allclose(found.quantile(q), exact.ppf(q), rtol=1e-7)
    assert found.survivor_is_weak == 0.0


@pytest.mark.parametrize(("parts", "share"), [(29, 0.10), (299, 0.01)])
def test_success_run_at_95_percent(parts, share):
    """Zero-failure demonstration of every handbook: 29 parts show 90 %, 299 show 99 %.

    The even prior counts as one part that held, so one less does here.
    """
    shown = [
        float(
            learn_weak_fraction(
                prior=(1, 1), weak_survives=0.0, sound_survives=1.0, survived=n, failed=0
            ).quantile(0.95)
        )
        for n in (parts - 1, parts - 2)
    ]
    assert shown[0] <= share < shown[1]
    assert shown[0] == pytest.approx(1 - 0.05 ** (1 / parts), rel=1e-9)


def mixture_of_betas(prior, chances, survived, failed, extra=0):
    """Return ∫ w^extra × prior × likelihood: both powers expanded, summed by mpmath (40 digits)."""
    mpmath.mp.dps = 40
    a, b = prior
    weak, sound = map(mpmath.mpf, chances)
    return mpmath.fsum(
        mpmath.binomial(survived, i) * weak**i * sound ** (survived - i)
        * mpmath.binomial(failed, j) * (1 - weak) ** j * (1 - sound) ** (failed - j)
        * mpmath.beta(a + i + j + extra, b + survived + failed - i - j)
        for i in range(survived + 1)
        for j in range(failed + 1)
    )  # fmt: skip


@pytest.mark.parametrize(
    ("prior", "chances", "survived", "failed"),
    [
        ((1, 199), (0.4, 0.999), 50, 2),
        ((0.5, 0.5), (0.2, 0.9), 5, 3),
        ((0.01, 3), (0.2, 0.95), 1, 4),
        ((1, 1e6), (0.1, 0.999), 30, 1),
        ((2, 5), (0.0, 0.9), 3, 4),
        ((2, 5), (1.0, 0.9), 12, 1),
    ],
)
def test_the_share_is_a_mixture_of_betas(prior, chances, survived, failed):
    """Exact sum over how many of either kind were weak; derivation by binomial expansion."""
    found = learn_weak_fraction(
        prior=prior,
        weak_survives=chances[0],
        sound_survives=chances[1],
        survived=survived,
        failed=failed,
    )

    def term(s, extra):
        return mixture_of_betas(prior, chances, s, failed, extra)

    total = term(survived, 0)
    mean = term(survived, 1) / total
    sd = mpmath.sqrt(term(survived, 2) / total - mean**2)
    assert found.mean == pytest.approx(float(mean), rel=1e-10)
    assert found.sd == pytest.approx(float(sd), rel=1e-9)
    # One of the survivors is put down as weak: its factor becomes w times weak_survives.
    now = chances[0] * term(survived - 1, 1) / total
    following = chances[0] * term(survived, 1) / term(survived + 1, 0)
    assert found.survivor_is_weak == pytest.approx(float(now), rel=1e-9, abs=1e-300)
    assert found.next_survivor_is_weak == pytest.approx(float(following), rel=1e-9, abs=1e-300)


def test_survivors_by_drawing_lots():
    """Shares drawn, parts made and pulled, kept where the counts agree (numpy alone)."""
    rng = np.random.default_rng(5)
    w = rng.beta(2.0, 6.0, 400_000)
    weak = rng.random((7, w.size)) < w
    holds = rng.random((7, w.size)) < np.where(weak, 0.35, 0.95)
    keep = holds[:6].sum(axis=0) == 4
    chosen = weak[:6, keep], holds[:6, keep]
    found = learn_weak_fraction(
        prior=(2.0, 6.0), weak_survives=0.35, sound_survives=0.95, survived=4, failed=2
    )
    n = keep.sum()
    assert found.mean == pytest.approx(w[keep].mean(), abs=4 * w[keep].std() / np.sqrt(n))
    now = chosen[0][chosen[1]].mean()
    assert found.survivor_is_weak == pytest.approx(now, abs=4 * np.sqrt(now / n))
    following = weak[6, keep & holds[6]].mean()
    assert found.next_survivor_is_weak == pytest.approx(following, abs=4 * np.sqrt(now / n))
