"""Mean and standard deviation by quadrature over the normal score."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy import special

from jointrisk.spread.base import MOST_ATOMS, FloatArray, Spread, jump_weights, score

__all__ = ["moments", "normal_nodes"]


def normal_nodes(*spreads: Spread) -> tuple[FloatArray, FloatArray]:
    """Return nodes in normal scores and their weights for expectations of spreads.

    Gauss–Legendre with 16 points on panels 0.5 wide over −37.5 to 37.5, cut where the
    distribution function of any of them jumps, so that the quantile is smooth inside each panel.

    Returns
    -------
    tuple of ndarray, (k,) [-]
        Scores u and weights w·φ(u).
    """
    edges = np.linspace(-37.5, 37.5, 151)
    for spread in spreads:
        jumps = spread._jumps()
        if not 0 < jumps.size <= MOST_ATOMS:
            continue
        with np.errstate(all="ignore"):
            right = score(*spread._tails(jumps))
            left = score(*spread._tails(np.nextafter(jumps, -np.inf)))
        edges = np.union1d(edges, np.clip(np.concatenate([left, right]), -37.5, 37.5))
    node, weight = np.polynomial.legendre.leggauss(16)
    half = 0.5 * np.diff(edges)[:, None]
    u = (edges[:-1, None] + half * (1.0 + node)).ravel()
    density = np.exp(-0.5 * u * u) / np.sqrt(2.0 * np.pi)
    return u, (half * weight).ravel() * density


@lru_cache(maxsize=1024)
def moments(spread: Spread, heavy: bool = False) -> tuple[float, float]:
    """Return mean and standard deviation by quadrature over the normal score.

    A sum over the atoms where there is nothing else. A quadrature cannot see infinity: with
    `heavy` (a part of the spread has no standard deviation) the tail exponent is read off
    between scores 30 and 37, and tells which moments are infinite.
    """
    jumps = spread._jumps()
    if jumps.size:
        weight = jump_weights(spread, jumps)
        if abs(float(weight.sum()) - 1.0) < 1e-9:
            return moments_of_sum(jumps, weight)
    u, weight = normal_nodes(spread)
    mean, sd = moments_of_sum(spread.from_normal(u), weight)
    if not heavy:
        return mean, sd
    upper, lower = _growth(spread, 1.0), _growth(spread, -1.0)
    if max(upper, lower) >= 0.999:
        return (np.inf if upper >= lower else -np.inf), np.inf
    return mean, (np.inf if max(upper, lower) >= 0.4995 else sd)


def _growth(spread: Spread, side: float) -> float:
    """Return d ln|x| / d ln(1/tail) far out on one side: 1/k where the tail goes as x^(−k)."""
    scores = np.array([30.0, 37.0])
    with np.errstate(all="ignore"):
        log_x = np.log(np.abs(spread.from_normal(side * scores)))
        slope = -np.diff(log_x) / np.diff(special.log_ndtr(-scores))
    if np.isposinf(log_x[1]):
        return float(np.inf)
    return float(slope[0]) if np.isfinite(slope[0]) else 0.0


def moments_of_sum(x: FloatArray, weight: FloatArray) -> tuple[float, float]:
    """Return mean and standard deviation of values x with weights."""
    keep = weight > 0.0
    x, weight = x[keep], weight[keep]
    with np.errstate(all="ignore"):
        mean = float(weight @ x)
        return mean, float(np.sqrt(weight @ (x - mean) ** 2))
