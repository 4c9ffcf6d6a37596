"""Parts of one strength, and what a pull of them is worth by quadrature.

A part has classes: a chance, a law of the strength in the rig, and the chance to fail in
service at a given strength. For one pull of one part the own error and the bias of the gauge
act as one normal error. Nothing here calls the package but to name the spreads.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import stats
from scipy.integrate import fixed_quad
from scipy.optimize import brentq
from scipy.special import ndtr

from jointrisk import spread

LEVELS = (1e-15, 1e-12, 1e-9, 1e-6, 1e-4, 1e-2, 0.1, 0.3, 0.5)
SIGMAS = np.array([-9, -6, -4, -2, -1, 0, 1, 2, 4, 6, 9])


@dataclass(frozen=True, slots=True)
class Part:
    """One part: what the package is given, and what the quadrature is given."""

    name: str
    variables: Mapping[str, spread.Spread]
    strength: Callable
    margin: Callable
    classes: tuple
    """Chance, law of the strength in the rig, chance to fail in service at that strength."""
    loads: tuple
    target: float
    error: float = 0.0
    bias: float = 0.0
    kinks: tuple = ()
    """Strengths where the chance to fail turns sharply [N]."""

    @property
    def total(self):
        return float(np.hypot(self.error, self.bias))


def integral(law, function, knots):
    """Mean of `function` under `law`, Gauss-Legendre between knots and quantiles."""
    low, high = law.support()
    ends = np.concatenate([law.ppf(LEVELS), law.isf(LEVELS), np.asarray(knots, dtype=float)])
    ends = np.unique(np.clip(ends, max(low, ends.min()), min(high, ends.max())))
    return sum(
        fixed_quad(lambda r: law.pdf(r) * function(r), a, b, n=40)[0]
        for a, b in pairwise(ends)
        if b - a > 1e-9 * abs(b)
    )


def holding(part, load):
    """Chance to hold and to be refused at a strength, and the knots of both."""
    if part.total == 0:
        return (lambda r: 1.0 * (r >= load)), (lambda r: 1.0 * (r < load)), [load]
    knots = load * (1.0 + part.total * SIGMAS)
    return (
        lambda r: ndtr((r / load - 1.0) / part.total),
        lambda r: ndtr((1.0 - r / load) / part.total),
        knots,
    )


def mean(part, function, knots=()):
    """Mean of function(r, fails(r)) over the classes."""
    total = 0.0
    for chance, law, fails in part.classes:
        if isinstance(law, float):
            total += chance * float(function(np.array([law]), fails)[0])
        else:
            kinks = [*knots, *part.kinks]
            total += chance * integral(law, lambda r, f=fails: function(r, f), kinks)
    return total


def refused(part, load):
    _, refuse, knots = holding(part, load)
    return mean(part, lambda r, _f: refuse(r), knots)


def held(part, load):
    hold, _, knots = holding(part, load)
    return mean(part, lambda r, _f: hold(r), knots)


def after(part, load):
    hold, _, knots = holding(part, load)
    return mean(part, lambda r, fails: hold(r) * fails(r), knots) / held(part, load)


def crossings(curve, target, grid):
    """Loads where a curve crosses the target, looked for between the points of a grid."""
    above = np.array([curve(load) > target for load in grid])
    return [
        brentq(lambda load: np.log(curve(load) / target), grid[i], grid[i + 1], rtol=1e-6)
        for i in np.flatnonzero(above[1:] != above[:-1])
    ]


def before(part):
    return mean(part, lambda r, fails: fails(r))


def lognormal(mean, sd):
    log_sd = np.sqrt(np.log1p((sd / mean) ** 2))
    return stats.lognorm(log_sd, scale=mean * np.exp(-(log_sd**2) / 2))


def gumbel(mean, sd):
    scale = sd * np.sqrt(6) / np.pi
    return stats.gumbel_r(mean - np.euler_gamma * scale, scale)


def beta(low, high, mean, sd):
    share = (mean - low) / (high - low)
    count = share * (1 - share) * ((high - low) / sd) ** 2 - 1
    return stats.beta(share * count, (1 - share) * count, low, high - low)


def aged(demand, factor):
    """Chance that strength times a random factor falls below the demand."""

    def fails(r):
        r = np.asarray(r, dtype=float)
        low, high = factor.support()
        ends = np.linspace(low, high, 9)
        return sum(
            fixed_quad(
                lambda a: factor.pdf(a) * demand.sf(a * r[..., None]), ends[i], ends[i + 1], n=20
            )[0]
            for i in range(8)
        )

    return fails


def coin(chance, value):
    return spread.Mixture([(1.0 - chance, spread.Fixed(1.0)), (chance, spread.Fixed(value))])


def plain(x):
    return x["r"]


def less(x):
    return x["r"] - x["d"]


def labelled(x):
    return x["k"] * x["r"]


def labelled_less(x):
    return x["k"] * x["r"] - x["d"]


def aged_less(x):
    return x.get("k", 1.0) * x["r"] * x["age"] - x["d"]


def kissing(x):
    return np.where(x["k"] > 0, x["r"], x["q"])


N, LN, G = spread.Normal, spread.Lognormal, spread.Gumbel
QUIET = stats.norm(500, 60)
GUST = gumbel(400, 40)
KNOCK = {"r": N(1000, 100), "age": spread.Uniform(0.5, 0.9), "d": G(300, 30)}
TRIANGLE = stats.triang(0.25, 300, 400)

PARTS = (
    Part("normal", {"r": N(1000, 100), "d": N(500, 60)}, plain, less,
         ((1.0, stats.norm(1000, 100), QUIET.sf),), (700, 850, 1000), 1e-6, 0.03),
    Part("lognormal, gauge with a bias", {"r": LN(1000, 120), "d": G(400, 60)}, plain, less,
         ((1.0, lognormal(1000, 120), gumbel(400, 60).sf),), (600, 800, 1000), 3e-6, 0.02, 0.03),
    Part("Weibull, perfect rig", {"r": spread.Weibull(8.0, 1000.0), "d": G(350, 50)}, plain, less,
         ((1.0, stats.weibull_min(8.0, scale=1000), gumbel(350, 50).sf),),
         (400, 600, 800), 1e-4),
    Part("weak label", {"k": coin(0.005, 0.5), "r": LN(1000, 100), "d": G(400, 40)},
         labelled, labelled_less,
         ((0.995, lognormal(1000, 100), GUST.sf), (0.005, lognormal(500, 50), GUST.sf)),
         (400, 550, 700), 1e-5, 0.03),
    Part("rare weak label", {"k": coin(1e-4, 0.3), "r": LN(1000, 80), "d": G(300, 30)},
         labelled, labelled_less,
         ((0.9999, lognormal(1000, 80), gumbel(300, 30).sf),
          (1e-4, lognormal(300, 24), gumbel(300, 30).sf)), (250, 350, 500), 1e-6, 0.05),
    Part("two makes", {"r": spread.Mixture([(0.99, N(1000, 80)), (0.01, N(550, 60))]),
                       "d": N(400, 40)}, plain, less,
         ((0.99, stats.norm(1000, 80), stats.norm(400, 40).sf),
          (0.01, stats.norm(550, 60), stats.norm(400, 40).sf)), (400, 550, 700), 1e-5, 0.03),
    Part(
        "kissing bonds",
        {"k": coin(0.003, 0.0), "r": LN(1000, 100), "q": spread.Uniform(0, 300), "d": G(350, 35)},
        kissing,
        lambda x: kissing(x) - x["d"],
        (
            (0.997, lognormal(1000, 100), gumbel(350, 35).sf),
            (0.003, stats.uniform(0, 300), gumbel(350, 35).sf),
        ),
        (150, 250, 400),
        1e-4,
        0.03,
    ),
    Part("bonds that hold nothing", {"k": coin(0.004, 0.0), "r": LN(1000, 100), "d": G(400, 40)},
         labelled, labelled_less,
         ((0.996, lognormal(1000, 100), GUST.sf), (0.004, 0.0, GUST.sf)),
         (50, 500, 800), 5e-8, 0.03),
    Part("knock-down", KNOCK, plain, aged_less,
         ((1.0, stats.norm(1000, 100), aged(gumbel(300, 30), stats.uniform(0.5, 0.4))),),
         (700, 850, 950), 2e-5, 0.03),
    Part("weak and knocked down", KNOCK | {"k": coin(0.01, 0.5)}, labelled, aged_less,
         ((0.99, stats.norm(1000, 100), aged(gumbel(300, 30), stats.uniform(0.5, 0.4))),
          (0.01, stats.norm(500, 50), aged(gumbel(300, 30), stats.uniform(0.5, 0.4)))),
         (450, 600, 800), 3e-4, 0.03),
    Part("poor rig", {"r": N(1000, 100), "d": N(500, 60)}, plain, less,
         ((1.0, stats.norm(1000, 100), QUIET.sf),), (600, 800, 1000), 5e-6, 0.15, 0.1),
    Part("bounded strength", {"r": spread.Uniform(700, 1300), "d": N(550, 60)}, plain, less,
         ((1.0, stats.uniform(700, 600), stats.norm(550, 60).sf),), (650, 800, 1000), 1e-5),
    Part("bounded strength and load",
         {"r": spread.Beta(400, 1600, 1000, 150), "d": spread.Triangular(300, 400, 700)},
         plain, less, ((1.0, beta(400, 1600, 1000, 150), TRIANGLE.sf),), (500, 600, 700), 1e-5,
         0.02, kinks=(400, 700)),
)  # fmt: skip

SCORES, SHARES = np.polynomial.hermite_e.hermegauss(31)
SHARES = SHARES / SHARES.sum()


class Twelve:
    """Twelve parts in series under one demand: nested quadrature over bias, load, strength."""

    error, bias = 0.03, 0.03
    variables = {f"r{i}": N(1000, 100) for i in range(12)} | {"d": G(400, 40)}
    nodes, weights = np.polynomial.legendre.leggauss(2000)
    r = 1000 + 900 * nodes
    mass = 900 * weights * stats.norm(1000, 100).pdf(r)
    d = 700 + 450 * nodes
    demand = 450 * weights * gumbel(400, 40).pdf(d)

    def strength(self, x):
        return np.array([x[f"r{i}"] for i in range(12)])

    def margin(self, x):
        return self.strength(x).min(axis=0) - x["d"]

    def exact(self, load):
        """Refusal of any, of each, and failure after, at one load."""
        refuse = each = hold = both = 0.0
        for z, share in zip(SCORES, SHARES, strict=True):
            score = (self.r / load - 1 - self.bias * z) / self.error
            kept, lost = self.mass * stats.norm.cdf(score), self.mass * stats.norm.sf(score)
            one = kept.sum()
            below = np.interp(self.d, self.r, np.cumsum(kept) - 0.5 * kept) / one
            any_below = -np.expm1(12 * np.log1p(-below))
            refuse += share * -np.expm1(12 * np.log1p(-lost.sum()))
            each += share * lost.sum()
            hold += share * one**12
            both += share * one**12 * (self.demand * any_below).sum()
        return refuse, each, both / hold
