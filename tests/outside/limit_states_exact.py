"""Failure probabilities of `limit_states.py` by formula or quadrature, one function a case."""

from __future__ import annotations

import limit_states as states
import numpy as np
from limit_states_plain import at, expect, gumbel, law_of, lognormal, nodes, phi, score, value
from scipy import optimize, stats
from scipy.special import gamma, log_ndtr, ndtr, ndtri

from jointrisk import spread

ROOT2 = np.sqrt(2.0)


def over(strength, load):
    """Chance that the load is above the strength."""
    return expect(lambda z: load.sf(at(strength, z)))


def apart(r, d, tie=0.0):
    """Lognormal strength below lognormal load, each (mean, sd), values correlated by `tie`."""
    one, two = r[1] / r[0], d[1] / d[0]
    variance = np.log1p(one**2) + np.log1p(two**2) - 2.0 * np.log1p(tie * one * two)
    gap = np.log(r[0] / d[0]) - 0.5 * (np.log1p(one**2) - np.log1p(two**2))
    return ndtr(-gap / np.sqrt(variance))


def both(a, b, tie):
    """Chance that two tied scores are above a and b."""
    return expect(lambda z: (z > a) * ndtr((tie * z - b) / np.sqrt(1.0 - tie**2)))


def common(betas, loadings, *, all_fail):
    """System of parts with scores l z + sqrt(1 - l^2) e; fails when all, or any, exceed beta."""
    b, share = np.asarray(betas)[:, None], np.asarray(loadings)[:, None]

    def given(z):
        fails = (share * z - b) / np.sqrt(1.0 - share**2)
        if all_fail:
            return np.exp(log_ndtr(fails).sum(axis=0))
        return -np.expm1(log_ndtr(-fails).sum(axis=0))

    return expect(given)


def around(distance, bend, dim):
    """Paraboloid: mean over the squared distance w from its axis of ndtr(-(distance + bend w))."""
    law = stats.chi2(dim)
    return expect(lambda z: ndtr(-distance - bend * at(law, z)))


def labelled(pairs, chance):
    """Sum over labels of their weight times the chance given each."""
    return sum(weight * chance(value) for weight, value in pairs)


def weights_of_three():
    single = np.array([0.9, 0.09, 0.01])
    total = np.convolve(np.convolve(single, single), single)
    return [(w, i) for i, w in enumerate(total)]


def tied_weibull_and_gumbel():
    strength, load = stats.weibull_min(10.0, scale=100.0), gumbel(40.0, 6.0)

    def given(z):
        x = at(load, z)
        return ndtr((score(strength, x) + 0.5 * z) / np.sqrt(0.75))

    return expect(given)


def short_column():
    z, weight = nodes(0.2, 6)
    p, m = 500.0 + 100.0 * z[:, None], 2000.0 + 400.0 * (0.5 * z[:, None] + np.sqrt(0.75) * z)
    a, b = 4.0 * m / (8.668 * 25.0**2), (p / (8.668 * 25.0)) ** 2
    lowest = (a + np.sqrt(a**2 + 4.0 * b)) / 2.0
    return float(weight @ lognormal(5.0, 0.5).cdf(lowest) @ weight)


def tied_label():
    def given(z):
        r, weak = 1000.0 + 100.0 * z, ndtr((ndtri(0.01) - 0.5 * z) / np.sqrt(0.75))
        return weak * ndtr((400.0 - 0.5 * r) / 40.0) + (1.0 - weak) * ndtr((400.0 - r) / 40.0)

    return expect(given)


def rare_events():
    def given(z):
        r = 500.0 + 40.0 * z
        return np.where(r < 0.0, 1.0, -np.expm1(-0.02 * gumbel(200.0, 50.0).sf(r)))

    return expect(given)


def product_of_two_normals():
    def given(z):
        a = 78064.4 + 11709.7 * z
        score = (146.14 / a - 0.0104) / 0.00156
        return np.where(a > 0.0, ndtr(score), ndtr(-score))

    return expect(given)


def two_cubes():
    """Fine panels: the edge is upright where the first cube alone is 18."""
    return expect(lambda z: ndtr((np.cbrt(18.0 - (10.0 + 5.0 * z) ** 3) - 10.0) / 5.0), 5e-4)


def multimodal():
    def given(z):
        a = 1.5 + z
        return ndtr(1.5 - 20.0 * (2.0 + np.sin(2.5 * a)) / (a**2 + 4.0))

    return expect(given)


def chain():
    tied = states.CHAIN
    covs = np.array([v.sd for v in tied.values()])
    variance = np.log1p(covs**2).sum() + 2.0 * np.log1p(0.4 * covs[:-1] * covs[1:]).sum()
    return ndtr(-(np.log(8.0) + 0.5 * np.log1p(covs**2).sum()) / np.sqrt(variance))


def linear_in_20():
    i = np.arange(1, 21)
    return ndtr(-(10 * 12.0 - 10 * 10.0) / np.linalg.norm(0.5 + 0.1 * i))


def around_peak(variables, given, power=16):
    """Mean of a smooth chance: Sobol' scores around its peak, weighted."""

    def chance(z):
        return given({name: value(v, z[:, i]) for i, (name, v) in enumerate(variables.items())})

    dim = len(variables)
    peak = optimize.minimize(
        lambda z: 0.5 * z @ z - np.log(chance(z[None, :])[0] + 1e-300), np.zeros(dim)
    ).x
    z = ndtri(stats.qmc.Sobol(dim, rng=np.random.default_rng(0)).random_base2(power))
    return np.mean(chance(z + peak) * np.exp(-z @ peak - 0.5 * peak @ peak))


def oscillator(pulse):
    def given(x):
        stiffness = x["c1"] + x["c2"]
        phase = np.sqrt(stiffness / x["m"]) * x["t"] / 2.0
        return ndtr((abs(2.0 * x["f"] / stiffness * np.sin(phase)) / 3.0 - 0.5) / 0.05)

    return around_peak({k: v for k, v in pulse.items() if k != "r"}, given)


def two_masses():
    """The force asked of the second spring is minus the margin at no strength."""

    def given(x):
        asked = -states.two_masses(x | {"fs": 0.0})
        return lognormal(15.0, 1.5).cdf(asked)

    return around_peak({k: v for k, v in states.TWO_MASSES.items() if k != "fs"}, given)


def rippled():
    def given(x):
        kept = x["x1"] + 2.0 * x["x2"] + 2.0 * x["x3"] + x["x4"] - 5.0 * x["x6"]
        return lognormal(50.0, 15.0).sf(kept / 5.0)

    return around_peak({k: v for k, v in states.RIPPLED.items() if k != "x5"}, given)


def metaball(angles=1500, cells=2000):
    """In polar scores: a ray weighs exp(-r^2 / 2) where it enters; nothing fails below 3."""
    angle = np.arange(angles)[:, None] * 2.0 * np.pi / angles
    r = np.linspace(3.0, 9.0, cells + 1)
    g = states.metaball({"x1": r * np.cos(angle), "x2": r * np.sin(angle)})
    one, two = g[:, :-1], g[:, 1:]
    edge = r[:-1] + np.where((one < 0) != (two < 0), one / (one - two), 0.0) * np.diff(r)
    enters = (two < 0).astype(float) - (one < 0)
    return float((enters * np.exp(-(edge**2) / 2.0)).sum() / angles)


def rastrigin():
    """Sum of two alike terms: the spread of one on a fine grid, then quadrature over the other."""
    z = np.linspace(-9.0, 9.0, 900_001)
    term = z**2 - 5.0 * np.cos(2.0 * np.pi * z)
    order = np.argsort(term)
    below = np.cumsum(phi(z[order])) * (z[1] - z[0])
    return expect(
        lambda x: 1.0 - np.interp(10.0 - x**2 + 5.0 * np.cos(2.0 * np.pi * x), term[order], below),
        0.005,
    )


EXACT = {
    "four branches": lambda: (
        2.0 * ndtr(-3.5) + expect(lambda q: 2.0 * (abs(q) < 3.5) * ndtr(-3.0 - 0.2 * q**2))
    ),
    "opposite sides, alike": lambda: 2.0 * ndtr(-4.0),
    "opposite sides, unlike": lambda: ndtr(-3.5) + ndtr(-4.0),
    "three regions": lambda: (
        ndtr([-3.5, -3.7, -4.0]).sum()
        - both(3.5, 3.7, -0.5)
        - both(3.5, 4.0, -0.5)
        - both(3.7, 4.0, -0.5)
    ),
    "two points alike": lambda: expect(lambda z: ndtr(0.5 * z**2 - 5.0)),
    "two points, one nearer": lambda: expect(lambda z: ndtr(0.5 * (z - 0.1) ** 2 - 5.0)),
    "four corners": lambda: (2.0 * ndtr(-3.5)) ** 2,
    "steep corners": lambda: 1.0 - ndtr(4.0) * ndtr(5.0),
    "cut sets": lambda: 1.0 - (1.0 - ndtr(-2.5) * ndtr(-3.0)) * ndtr(4.2),
    "diamond": lambda: expect(lambda z: np.minimum(1.0, 2.0 * ndtr(abs(z) - 6.0))),
    "wedge": lambda: expect(lambda z: ndtr(-3.0 - 3.0 * abs(z))),
    "thin strip": lambda: expect(lambda z: (z > 3.0) * (ndtr(0.1 - z) - ndtr(-0.1 - z))),
    "narrow valley": lambda: expect(lambda z: ndtr(-3.0 - (4.0 * z) ** 4)),
    "wrapped": lambda: expect(lambda z: ndtr(-2.5 - 0.2 * z**2)),
    "series of five": lambda: common([3.5] * 5, [np.sqrt(0.5)] * 5, all_fail=False),
    "parallel of three": lambda: common([2.5] * 3, [np.sqrt(0.6)] * 3, all_fail=True),
    "series of ten": lambda: common(
        3.6 + 0.1 * np.arange(10), states.loading(np.arange(10)), all_fail=False
    ),
    "series of fifty": lambda: -np.expm1(50.0 * log_ndtr(4.5)),
    "one variable": lambda: ndtr(-6.0),
    "sphere in 3": lambda: stats.chi2.sf(25.0, 3),
    "sphere in 10": lambda: stats.chi2.sf(36.0, 10),
    "sphere in 100": lambda: stats.chi2.sf(12.8**2, 100),
    "inside a ball in 10": lambda: stats.chi2.cdf(1.0, 10),
    "linear in 100": lambda: ndtr(-4.0),
    "quadratic in 100": lambda: expect(lambda z: ndtr(-4.0 - 2.5 * z**2)),
    "bowl away in 12": lambda: around(2.5, 0.1, 11),
    "bowl around in 5": lambda: around(5.0, -0.1, 4),
    "half": lambda: 0.5,
    "nearly certain": lambda: ndtr(3.0),
    "one in 10 billion": lambda: ndtr(-6.361340902404056),
    "indicator": lambda: ndtr(-4.0),
    "indicator in 20": lambda: ndtr(-4.2),
    "island in 5": lambda: stats.ncx2.cdf(1.0, 5, 16.0),
    "step behind a slope": lambda: ndtr(-4.6) + ndtr(-4.0),
    "stairs": lambda: ndtr(-4.0),
    "thin shell": lambda: ndtr(-3.95) - ndtr(-4.05),
    "plateau": lambda: ndtr(-4.5),
    "nearly flat": lambda: ndtr(-4.5),
    "decoy slope": lambda: 1.0 - ndtr(5.2) * ndtr(3.8),
    "linear in 20": linear_in_20,
    "fifty waits": lambda: stats.gamma.sf(100.0, 50),
    "twenty waits, too short": lambda: stats.gamma.cdf(5.0, 20),
    "lognormals tied": lambda: apart((300.0, 45.0), (100.0, 30.0), 0.5),
    "product of a chain": chain,
    "Weibull and Gumbel tied": tied_weibull_and_gumbel,
    "short column": short_column,
    "label tied": tied_label,
    "weak label": lambda: labelled(
        [(0.995, 1.0), (0.005, 0.4)], lambda k: apart((1000.0 * k, 100.0 * k), (350.0, 50.0))
    ),
    "two labels": lambda: labelled(
        [(0.9 * 0.998, 0.0), (0.1 * 0.998, 1.0), (0.9 * 0.002, 3.0), (0.1 * 0.002, 4.0)],
        lambda k: ndtr(k - 5.5),
    ),
    "label of one in a million": lambda: (1 - 1e-6) * ndtr(-7.0) + 1e-6 * ndtr(-1.0),
    "three labels of three": lambda: labelled(
        weights_of_three(), lambda k: ndtr((k - 9.0) / ROOT2)
    ),
    "rare events": rare_events,
    "two makes": lambda: (
        0.99 * ndtr(-60.0 / np.hypot(6.0, 4.0)) + 0.01 * ndtr(-20.0 / np.hypot(5.0, 4.0))
    ),
    "Frechet load": lambda: over(stats.norm(200, 20), stats.invweibull(4.0, scale=15.0)),
    "Student load": lambda: over(lognormal(100, 10), stats.t(3.0, 20, 3)),
    "lognormals of CoV 1": lambda: apart((100.0, 100.0), (1.0, 1.0)),
    "Weibull of shape 0.7": lambda: over(lognormal(50, 5), stats.weibull_min(0.7, scale=2.0)),
    "five uniforms": lambda: 0.3**5 / gamma(6.0),
    "Beta and Triangular": lambda: over(
        law_of(spread.Beta(50, 150, 100, 15)), stats.triang(0.4, 20, 50)
    ),
    "bounds just meet": lambda: 2.0**3 / (3.0 * 72.0 * 42.0 * 40.0),
    "truncated strength": lambda: over(stats.truncnorm(-2.0, np.inf, 100, 10), gumbel(50, 5)),
    "product of two strengths": lambda: over(
        lognormal(1000.0, 1000.0 * np.sqrt(1.01**2 - 1.0)), gumbel(400, 60)
    ),
    "product of two normals": product_of_two_normals,
    "multimodal": multimodal,
    "two cubes": two_cubes,
    "metaball": metaball,
    "Rastrigin": rastrigin,
    "rippled sum": rippled,
    "oscillator": lambda: oscillator(states.pulse(1.0, 0.2)),
    "oscillator, small": lambda: oscillator(states.pulse(0.6, 0.1)),
    "two masses": two_masses,
}
ROUGH = {"rippled sum": 2e-3, "oscillator": 1e-3, "oscillator, small": 3e-3, "two masses": 3e-3}
"""Relative error allowed where the reference is no formula and no quadrature."""
