"""Both tails of every family against formulas evaluated with 60 digits by mpmath.

The formulas are the textbook ones (Johnson, Kotz and Balakrishnan 1994/1995), typed anew
here; nothing is compared with our own output.
"""

from __future__ import annotations

import mpmath as mp
import numpy as np
import pytest

from jointrisk import spread

mp.mp.dps = 60

ONE = mp.mpf(1)


def phi(z):
    """Lower tail of the standard normal."""
    return mp.erfc(-z / mp.sqrt(2)) / 2


def normal(mean, sd):
    return lambda x: (phi((x - mean) / sd), phi(-(x - mean) / sd))


def lognormal(mean, sd):
    s = mp.sqrt(mp.log(1 + (mp.mpf(sd) / mean) ** 2))
    m = mp.log(mean) - s**2 / 2
    return lambda x: (phi((mp.log(x) - m) / s), phi(-(mp.log(x) - m) / s))


def uniform(low, high):
    w = mp.mpf(high) - low
    return lambda x: ((x - low) / w, (high - x) / w)


def triangular(low, mode, high):
    low, mode, high = mp.mpf(low), mp.mpf(mode), mp.mpf(high)

    def tails(x):
        if x < mode:
            p = (x - low) ** 2 / ((high - low) * (mode - low))
            return p, ONE - p
        q = (high - x) ** 2 / ((high - low) * (high - mode))
        return ONE - q, q

    return tails


def exponential(mean, shift=0):
    rate = ONE / (mp.mpf(mean) - shift)
    return lambda x: (-mp.expm1(-rate * (x - shift)), mp.exp(-rate * (x - shift)))


def weibull(shape, scale, shift=0):
    def tails(x):
        t = ((x - shift) / scale) ** shape
        return -mp.expm1(-t), mp.exp(-t)

    return tails


def frechet(shape, scale, shift=0):
    def tails(x):
        t = ((x - shift) / scale) ** (-mp.mpf(shape))
        return mp.exp(-t), -mp.expm1(-t)

    return tails


def gumbel(mean, sd):
    beta = mp.mpf(sd) * mp.sqrt(6) / mp.pi
    mode = mean - mp.euler * beta

    def tails(x):
        t = mp.exp(-(x - mode) / beta)
        return mp.exp(-t), -mp.expm1(-t)

    return tails


def gumbel_min(mean, sd):
    mirrored = gumbel(-mean, sd)
    return lambda x: mirrored(-x)[::-1]


def gamma(mean, sd):
    a, scale = (mp.mpf(mean) / sd) ** 2, mp.mpf(sd) ** 2 / mean

    def tails(x):
        y = x / scale
        lower = y**a * mp.exp(-y) / mp.gamma(a + 1) * mp.hyp1f1(1, a + 1, y)
        return lower, mp.gammainc(a, y, mp.inf) / mp.gamma(a)

    return tails


def beta_series(a, b, y):
    """I_y(a, b), NIST DLMF 8.17.8."""
    return y**a * (1 - y) ** b / (a * mp.beta(a, b)) * mp.hyp2f1(a + b, 1, a + 1, y)


def beta(low, high, mean, sd):
    low, high, mean, sd = (mp.mpf(v) for v in (low, high, mean, sd))
    w = high - low
    m, v = (mean - low) / w, (sd / w) ** 2
    a, b = m * (m * (1 - m) / v - 1), (1 - m) * (m * (1 - m) / v - 1)

    def tails(x):
        y, rest = (x - low) / w, (high - x) / w
        return beta_series(a, b, y), beta_series(b, a, rest)

    return tails


def student(mean, scale, dof):
    half, nu = mp.mpf(dof) / 2, mp.mpf(dof)

    def tails(x):
        t = (x - mean) / mp.mpf(scale)
        tail = beta_series(half, ONE / 2, nu / (nu + t * t)) / 2 if t else ONE / 2
        return (tail, 1 - tail) if t < 0 else (1 - tail, tail)

    return tails


def truncated(base, low, high):
    def tails(x):
        with mp.workdps(400):  # differences of tails as small as 1e-300
            p0, q0 = base(low)
            q1 = base(high)[1] if mp.isfinite(high) else mp.mpf(0)
            p, q = base(x)
            return (p - p0) / (q0 - q1), (q - q1) / (q0 - q1)

    return tails


def mixture(*parts):
    def tails(x):
        each = [(mp.mpf(w), tail(x)) for w, tail in parts]
        return sum(w * t[0] for w, t in each), sum(w * t[1] for w, t in each)

    return tails


def maximum_of(base, count):
    def tails(x):
        p, q = base(x)
        t = -count * (mp.log1p(-q) if q < p else mp.log(p))
        return mp.exp(-t), -mp.expm1(-t)

    return tails


def maximum_of_events(base, n):
    def tails(x):
        t = n * base(x)[1]
        return mp.exp(-t), -mp.expm1(-t)

    return tails


S = spread
CASES = {
    "normal": (S.Normal(3.0, 2.0), normal(3, 2)),
    "lognormal narrow": (S.Lognormal(25.0, 2.5), lognormal(25, 2.5)),
    "lognormal wide": (S.Lognormal(2.0, 5.0), lognormal(2, 5)),
    "uniform from zero": (S.Uniform(0.0, 4.0), uniform(0, 4)),
    "uniform to zero": (S.Uniform(-4.0, 0.0), uniform(-4, 0)),
    "triangular": (S.Triangular(0.0, 0.25, 1.0), triangular(0, 0.25, 1)),
    "triangular to zero": (S.Triangular(-1.0, -0.25, 0.0), triangular(-1, -0.25, 0)),
    "exponential": (S.Exponential(3.0), exponential(3)),
    "exponential shifted": (S.Exponential(3.0, shift=1.0), exponential(3, 1)),
    "weibull": (S.Weibull(1.7, 600.0), weibull(mp.mpf(1.7), 600)),
    "weibull narrow": (S.Weibull(20.0, 5.0), weibull(20, 5)),
    "weibull shifted": (S.Weibull(2.0, 5.0, shift=-3.0), weibull(2, 5, -3)),
    "frechet": (S.Frechet(4.0, 2.0), frechet(4, 2)),
    "frechet heavy": (S.Frechet(1.5, 2.0, shift=0.0), frechet(1.5, 2)),
    "gumbel": (S.Gumbel(800.0, 160.0), gumbel(800, 160)),
    "gumbel min": (S.GumbelMin(25.0, 3.0), gumbel_min(25, 3)),
    "gamma": (S.Gamma(25.0, 5.0), gamma(25, 5)),
    "gamma skewed": (S.Gamma(1.0, 1.5), gamma(1, 1.5)),
    "gamma narrow": (S.Gamma(100.0, 4.0), gamma(100, 4)),
    "beta": (S.Beta(0.0, 1.0, 0.4, 0.15), beta(0, 1, 0.4, 0.15)),
    "beta skewed": (S.Beta(0.0, 1.0, 0.8, 0.08), beta(0, 1, 0.8, 0.08)),
    "beta up to zero": (S.Beta(-2.0, 0.0, -0.4, 0.2), beta(-2, 0, -0.4, 0.2)),
    "beta like a bath": (S.Beta(0.0, 1.0, 0.5, 0.35), beta(0, 1, 0.5, 0.35)),
    "beta hard on the end": (S.Beta(0.0, 1.0, 0.99, 0.005), beta(0, 1, 0.99, 0.005)),
    "student 3": (S.StudentT(0.0, 1.0, 3.0), student(0, 1, 3)),
    "student 1": (S.StudentT(0.0, 1.0, 1.0), student(0, 1, 1)),
    "student 30": (S.StudentT(5.0, 2.0, 30.0), student(5, 2, 30)),
    "normal cut at zero": (
        S.Truncated(S.Normal(1.0, 1.0), low=0.0),
        truncated(normal(1, 1), mp.mpf(0), mp.inf),
    ),
    "normal far out": (
        S.Truncated(S.Normal(-5.0, 1.0), low=0.0),
        truncated(normal(-5, 1), mp.mpf(0), mp.inf),
    ),
    "normal between": (
        S.Truncated(S.Normal(0.0, 1.0), low=-2.0, high=1.0),
        truncated(normal(0, 1), mp.mpf(-2), mp.mpf(1)),
    ),
    "weak and sound": (
        S.Mixture([(0.005, S.Lognormal(5.0, 1.0)), (0.995, S.Lognormal(25.0, 2.5))]),
        mixture((0.005, lognormal(5, 1)), (0.995, lognormal(25, 2.5))),
    ),
    "gumbel and normal": (
        S.Mixture([(0.25, S.Gumbel(5.0, 2.0)), (0.75, S.Normal(0.0, 1.0))]),
        mixture((0.25, gumbel(5, 2)), (0.75, normal(0, 1))),
    ),
    "largest of 12.5 gumbel": (
        S.MaximumOf(S.Gumbel(800.0, 160.0), 12.5),
        maximum_of(gumbel(800, 160), mp.mpf(12.5)),
    ),
    "largest of 1000 normal": (
        S.MaximumOf(S.Normal(0.0, 1.0), 1000.0),
        maximum_of(normal(0, 1), 1000),
    ),
    "largest of 4 gamma": (
        S.MaximumOf(S.Gamma(2.0, 1.0), 4.0),
        maximum_of(gamma(2, 1), 4),
    ),
}


def log_tail(value) -> float:
    return float(mp.log(value)) if value > 0 else -np.inf


@pytest.mark.parametrize("u", [-37.0, -20.0, -8.0, -2.5, -0.3, 0.4, 3.0, 8.0, 20.0, 37.0])
@pytest.mark.parametrize("name", CASES)
def test_value_at_a_score_has_the_tail_of_that_score(name: str, u: float) -> None:
    """The exact tail at the nearest doubles around our value encloses that of the score."""
    ours, exact = CASES[name]
    x = float(ours.from_normal(u))
    assert np.isfinite(x)
    side = 0 if u < 0 else 1
    wanted = float(mp.log(phi(mp.mpf(-abs(u)))))
    # Room for rounding: a few units in the last place of x, and 1e-10 of the tail.
    step = 40.0 * np.spacing(abs(x))
    support = (float(ours.ppf(0.0)), float(ours.ppf(1.0)))
    around = []
    for value in (x - step, x + step):
        if value <= support[0]:
            around.append(-np.inf if side == 0 else 0.0)
        elif value >= support[1]:
            around.append(0.0 if side == 0 else -np.inf)
        else:
            around.append(log_tail(exact(mp.mpf(value))[side]))
    assert min(around) - 1e-10 <= wanted <= max(around) + 1e-10


@pytest.mark.parametrize("u", [-37.0, -20.0, -8.0, -2.5, -0.3, 0.4, 3.0, 8.0, 20.0, 37.0])
@pytest.mark.parametrize("name", CASES)
def test_tails_at_a_value(name: str, u: float) -> None:
    """Cdf and sf agree with 60 digits to 1e-11, or 1e-9 in the remotest tails."""
    ours, exact = CASES[name]
    x = float(ours.from_normal(u))
    if x in (float(ours.ppf(0.0)), float(ours.ppf(1.0))):
        return  # no double lies between this value and the end of the support
    p, q = exact(mp.mpf(x))
    for found, wanted in ((ours.cdf(x), p), (ours.sf(x), q)):
        if wanted > 1e-305:
            assert float(found / wanted) == pytest.approx(1.0, rel=1e-9)


@pytest.mark.parametrize("u", [-20.0, -8.0, -1.0, 0.5, 3.0, 8.0, 20.0])
@pytest.mark.parametrize(
    "name", [n for n in CASES if not n.startswith(("uniform", "triangular", "normal far"))]
)
def test_logpdf_is_the_slope_of_the_tail(name: str, u: float) -> None:
    ours, exact = CASES[name]
    x = mp.mpf(float(ours.from_normal(u)))
    if x in (float(ours.ppf(0.0)), float(ours.ppf(1.0))):
        return  # the density at the end of the support is a matter of definition
    side = 0 if u < 0 else 1
    h = max(abs(x), mp.mpf("1e-250")) * mp.mpf("1e-20")
    slope = abs(exact(x + h)[side] - exact(x - h)[side]) / (2 * h)
    assert slope > 0
    assert float(ours.logpdf(float(x))) == pytest.approx(float(mp.log(slope)), rel=1e-9, abs=1e-7)


@pytest.mark.parametrize("n", [0.01, 0.5, 3.0, 200.0])
@pytest.mark.parametrize("u", [-1.0, 1.0, 3.0, 8.0, 20.0, 37.0])
def test_largest_of_events_beyond_its_atom(n: float, u: float) -> None:
    """P(X > x) = 1 − exp(−n(1 − F(x))): exact in the upper tail, 0 inside the atom."""
    ours = spread.MaximumOfEvents(spread.Gumbel(800.0, 160.0), n)
    exact = maximum_of_events(gumbel(800, 160), mp.mpf(n))
    x = float(ours.from_normal(u))
    if phi(mp.mpf(u)) <= exact(mp.mpf(0))[0]:
        assert x == 0.0
        return
    p, q = exact(mp.mpf(x))
    assert float(q / phi(-mp.mpf(u))) == pytest.approx(1.0, rel=1e-10)
    assert float(ours.sf(x) / q) == pytest.approx(1.0, rel=1e-10)
    assert float(ours.cdf(x) / p) == pytest.approx(1.0, rel=1e-12)


def test_the_probability_of_no_event_is_an_atom_at_zero() -> None:
    ours = spread.MaximumOfEvents(spread.Exponential(2.0), 1.5)
    assert ours.cdf(0.0) == pytest.approx(np.exp(-1.5), rel=1e-14)
    assert ours.cdf(-1e-300) == 0.0
    assert ours.sf(-1.0) == 1.0


def test_log_density_where_the_density_underflows() -> None:
    """Normal, 60 sd out: −60²/2 − ln √(2π); the density itself is 0 in doubles."""
    ours = spread.Normal(0.0, 1.0)
    assert ours.pdf(60.0) == 0.0
    assert ours.logpdf(60.0) == pytest.approx(-1800.0 - 0.5 * np.log(2 * np.pi), rel=1e-14)
    assert spread.Exponential(1.0).logpdf(5000.0) == pytest.approx(-5000.0)
    assert spread.Weibull(2.0, 1.0).logpdf(100.0) == pytest.approx(np.log(200.0) - 1e4)
