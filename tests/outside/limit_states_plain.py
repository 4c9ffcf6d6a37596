"""Limit states from plain NumPy and SciPy scores: no spread of the package is asked for values.

Quadrature over one score, a fine grid over two, weighted draws over more.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from scipy import stats
from scipy.special import log_ndtr, ndtr, ndtri

from jointrisk import spread

phi = stats.norm.pdf


@cache
def nodes(step, order):
    """Gauss-Legendre over panels of the scores from -12 to 12, weighted by the density."""
    at, weight = np.polynomial.legendre.leggauss(order)
    edges = np.arange(-12.0, 12.0, step)[:, None]
    z = (edges + step / 2.0 * (1.0 + at)).ravel()
    return z, np.tile(weight * step / 2.0, edges.size) * phi(z)


def expect(function, step=0.05, order=6):
    """Mean of a function of one standard normal score."""
    z, weight = nodes(step, order)
    return float(weight @ function(z))


def at(law, z):
    """Values of a scipy.stats spread from scores, sharp in both tails."""
    return np.where(z < 0, law.ppf(ndtr(np.minimum(z, 0))), law.isf(ndtr(-np.maximum(z, 0))))


def score(law, x):
    """Scores from values of a scipy.stats spread, sharp in both tails."""
    p, q = np.maximum(law.cdf(x), 1e-300), np.maximum(law.sf(x), 1e-300)
    return np.where(p < 0.5, ndtri(p), -ndtri(q))


def gumbel(mean, sd):
    scale = sd * np.sqrt(6.0) / np.pi
    return stats.gumbel_r(mean - np.euler_gamma * scale, scale)


def lognormal(mean, sd):
    log_sd = np.sqrt(np.log1p((sd / mean) ** 2))
    return stats.lognorm(log_sd, scale=mean / np.exp(log_sd**2 / 2.0))


def law_of(given):
    """The same spread from scipy.stats."""
    match given:
        case spread.Normal():
            return stats.norm(given.mean, given.sd)
        case spread.Lognormal():
            return lognormal(given.mean, given.sd)
        case spread.Gumbel():
            return gumbel(given.mean, given.sd)
        case spread.Weibull():
            return stats.weibull_min(given.shape, scale=given.scale)
        case spread.Frechet():
            return stats.invweibull(given.shape, scale=given.scale)
        case spread.Exponential():
            return stats.expon(scale=given.mean)
        case spread.StudentT():
            return stats.t(given.dof, given.mean, given.scale)
        case spread.Uniform():
            return stats.uniform(given.low, given.high - given.low)
        case spread.Triangular():
            width = given.high - given.low
            return stats.triang((given.mode - given.low) / width, given.low, width)
        case spread.Beta():
            width = given.high - given.low
            at, sd = (given.mean - given.low) / width, given.sd / width
            both = at * (1.0 - at) / sd**2 - 1.0
            return stats.beta(at * both, (1.0 - at) * both, given.low, width)
        case spread.Truncated():
            base = given.base
            return stats.truncnorm((given.low - base.mean) / base.sd, np.inf, base.mean, base.sd)
    raise TypeError(given)


def value(given, z):
    """Values from scores; the common ones and mixtures by hand."""
    match given:
        case spread.Normal():
            return given.mean + given.sd * z
        case spread.Lognormal():
            log_sd = np.sqrt(np.log1p((given.sd / given.mean) ** 2))
            return given.mean * np.exp(log_sd * z - log_sd**2 / 2.0)
        case spread.Mixture() if given.atoms:
            values, chances = np.array(sorted(given.atoms)).T
            below = np.searchsorted(np.cumsum(chances)[:-1], ndtr(z), side="left")
            return values[below]
        case spread.Mixture():
            grid = np.linspace(0.0, 160.0, 40_001)
            cdf = sum(w * law_of(part).cdf(grid) for w, part in given.parts)
            sf = sum(w * law_of(part).sf(grid) for w, part in given.parts)
            scores = np.where(cdf < 0.5, ndtri(cdf), -ndtri(sf))
            return np.interp(z, scores, grid)
        case spread.MaximumOfEvents():
            rate = -log_ndtr(z) / given.expected_count
            return np.maximum(law_of(given.base).isf(np.minimum(rate, 1.0)), 0.0)
    return at(law_of(given), z)


def margin(case, z):
    """Limit state of independent scores (n, d)."""
    names = list(case.variables)
    if case.correlation:
        tie = np.eye(len(names))
        for (a, b), coefficient in case.correlation.items():
            i, j = names.index(a), names.index(b)
            if case.correlation_of == "values":
                one, two = (case.variables[n].sd / case.variables[n].mean for n in (a, b))
                coefficient = np.log1p(coefficient * one * two) / np.sqrt(
                    np.log1p(one**2) * np.log1p(two**2)
                )
            tie[i, j] = tie[j, i] = coefficient
        z = z @ np.linalg.cholesky(tie).T
    return case.limit_state({n: value(case.variables[n], z[:, i]) for i, n in enumerate(names)})


def on_grid(case, lines=0.1, cells=1000):
    """Mass of the failing part of a fine grid of scores, its edge put in by straight lines."""
    edges = np.linspace(-9.0, 9.0, cells + 1)
    first, weight = nodes(lines, 3) if len(case.variables) == 2 else (np.zeros(1), np.ones(1))
    z = np.stack(np.meshgrid(first, edges, indexing="ij"), axis=-1).reshape(-1, 2)
    g = margin(case, z[:, -len(case.variables) :]).reshape(first.size, -1)
    one, two = g[:, :-1], g[:, 1:]
    with np.errstate(divide="ignore", invalid="ignore"):
        cross = np.where((one < 0) == (two < 0), 0.0, one / (one - two))
    middle = edges[:-1] + cross * np.diff(edges)
    start, end = np.where(one < 0, edges[:-1], middle), np.where(two < 0, edges[1:], middle)
    mass = np.where(start > 0, ndtr(-start) - ndtr(-end), ndtr(end) - ndtr(start))
    return float(weight @ np.where((one < 0) | (two < 0), mass, 0.0).sum(axis=1))


def drawn(case, draws=600_000):
    """Mean and standard error of weighted plain draws, wider than the scores for small chances."""
    wide = 1.0 if case.reference > 5e-4 else 1.8
    dim = len(case.variables)
    z = wide * np.random.default_rng(0).standard_normal((draws, dim))
    log_weight = dim * np.log(wide) - 0.5 * (1.0 - wide**-2) * (z**2).sum(axis=1)
    terms = (margin(case, z) < 0) * np.exp(log_weight)
    return terms.mean(), terms.std() / np.sqrt(draws)
