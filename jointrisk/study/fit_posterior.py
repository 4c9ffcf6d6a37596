"""What a few numbers leave open of a spread: its two parameters on a grid, with their weights.

With y the value ("normal") or its log ("lognormal", "weibull"), mu its place and sigma its width,
the weight of a pair is the likelihood times 1/sigma. For numbers that were all reached the limits
that follow are the exact ones of sampling theory: Student's and the noncentral t for the normal,
the conditional ones for Weibull. With numbers that were only held they are an approximation.

Sources: Lawless, *Statistical Models and Methods for Lifetime Data* (2nd ed. 2003), ch. 5 and
app. E; Jeffreys, *Theory of Probability* (3rd ed. 1961), sec. 3.4 (the weight 1/sigma).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.spread import Fit

    Array = npt.NDArray[np.float64]

__all__ = ["Posterior", "posterior"]

WIDTHS, PLACES = 240, 121
"""Nodes over ln sigma, and over mu at each of them [-]."""
REACH = (-9.0, 13.0)
"""How far the nodes of mu go, in its own standard deviations at that sigma [-]."""


@dataclass(frozen=True, slots=True)
class Posterior:
    """Pairs of place and width with their weights; in units of the fit that it belongs to."""

    family: str
    location: float
    scale: float
    """Place and width of the fit [unit of y]."""
    mu: Array
    """In widths of the fit from its place, (k,) [-]."""
    sigma: Array
    """In widths of the fit, (k,) [-]."""
    weight: Array
    """Sums to 1, (k,) [-]."""
    step: Array
    """How far the next mu is, in widths of the fit, (k,) [-]."""

    def quantile(self, chance: float) -> float:
        """Return the value that one more number lies below with a chance [unit of the value].

        What is not known of both parameters is averaged over.
        """
        low, high = -1e6, 1e6
        for _ in range(58):
            middle = 0.5 * (low + high)
            if float(self.weight @ below((middle - self.mu) / self.sigma, self.family)) < chance:
                low = middle
            else:
                high = middle
        return self._own(0.5 * (low + high))

    def limits(self, chance: float, levels: tuple[float, ...]) -> tuple[float, ...]:
        """Return what the spread's own quantile lies below at each level [unit of the value]."""
        y = self.mu + self.sigma * score(chance, self.family)
        return tuple(self._own(self._level(y, level)) for level in levels)

    def below(self, values: Array) -> Array:
        """Return the chance that one more number lies below each value, (n,) [-]."""
        x = self._standard(values)
        return np.array([self.weight @ below((v - self.mu) / self.sigma, self.family) for v in x])

    def band(self, values: Array, levels: tuple[float, ...]) -> Array:
        """Return the levels of the spread's own chance below each value, (n, levels) [-]."""
        x = self._standard(values)
        rows = [self._levels((v - self.mu) / self.sigma, levels) for v in x]
        return np.asarray(below(np.array(rows), self.family))

    def _level(self, y: Array, level: float) -> float:
        """Return where the weight below reaches a level, each node as wide as its step."""
        low, high = float(y.min()), float(y.max())
        for _ in range(60):
            middle = 0.5 * (low + high)
            under = self.weight @ np.clip((middle - y) / self.step + 0.5, 0.0, 1.0)
            low, high = (middle, high) if under < level else (low, middle)
        return 0.5 * (low + high)

    def _levels(self, y: Array, levels: tuple[float, ...]) -> tuple[float, ...]:
        order = np.argsort(y, kind="stable")
        reached = np.cumsum(self.weight[order]) - 0.5 * self.weight[order]
        return tuple(float(x) for x in np.interp(levels, reached, y[order]))

    def _standard(self, values: Array) -> Array:
        y = values if self.family == "normal" else np.log(values)
        return np.asarray((y - self.location) / self.scale)

    def _own(self, y: float) -> float:
        plain = self.location + self.scale * y
        return plain if self.family == "normal" else float(np.exp(min(plain, 700.0)))


def posterior(values: Array, held: Array, done: Fit) -> Posterior:
    """Return what numbers leave open of the family that was fitted to them.

    Parameters
    ----------
    values, held : ndarray, (n,), (m,) [unit of the value]
        Numbers reached, and held; n at least 2.
    done : Fit
        The most likely spread of the family.
    """
    own = (lambda x: x) if done.family == "normal" else np.log
    y = (own(values) - done.location) / done.scale
    c = (own(held) - done.location) / done.scale
    r = y.size
    # The weight falls off as sigma^(1 - r) above, and much faster below.
    log_sigma = np.linspace(
        -min(3.0, 15.0 / np.sqrt(r)), 28.0 / (r - 1.0) + 6.0 / np.sqrt(r), WIDTHS
    )
    sigma = np.exp(log_sigma)
    middle, width = _places(y, c, sigma, done.family)
    t = np.linspace(*REACH, PLACES)
    mu = middle[:, None] + width[:, None] * t
    log_weight = np.empty_like(mu)
    for row, (place, s) in enumerate(zip(mu, sigma, strict=True)):
        # L(mu, sigma) dmu dln(sigma), with dmu as wide as the row's own steps
        log_weight[row] = _log_likelihood(y, c, place[:, None], s, done.family)
    log_weight += np.log(width)[:, None]
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    kept = weight > 1e-15
    pairs = np.broadcast_to(sigma[:, None], mu.shape)[kept]
    steps = np.broadcast_to(width[:, None] * (t[1] - t[0]), mu.shape)[kept]
    place = (done.location, done.scale)
    return Posterior(done.family, *place, mu[kept], pairs, weight[kept], steps)


def score(chance: float, family: str) -> float:
    """Return the standard value that lies above a chance [-]."""
    if family == "weibull":
        return float(np.log(-np.log1p(-chance)))
    return float(special.ndtri(chance))


def below(w: Array, family: str) -> Array:
    """Return the chance of a standard value below w, as its shape [-]."""
    if family == "weibull":
        return np.asarray(-np.expm1(-np.exp(np.minimum(w, 50.0))))
    return np.asarray(special.ndtr(w))


def _log_likelihood(y: Array, c: Array, mu: Array, sigma: float, family: str) -> Array:
    """Return the log-likelihood at each place without its constants, (k,); mu (k, 1)."""
    w, v = (y - mu) / sigma, (c - mu) / sigma
    if family == "weibull":
        with np.errstate(over="ignore"):
            told = np.sum(w - np.exp(w), axis=1) - np.exp(v).sum(axis=1)
    else:
        told = -0.5 * np.sum(w * w, axis=1) + special.log_ndtr(-v).sum(axis=1)
    return np.asarray(told - y.size * np.log(sigma))


def _slope(y: Array, c: Array, mu: Array, sigma: Array, family: str) -> tuple[Array, Array]:
    """Return slope by mu, and curvature with its sign turned, each times sigma, (k,)."""
    w, v = (y - mu[:, None]) / sigma[:, None], (c - mu[:, None]) / sigma[:, None]
    if family == "weibull":
        e = np.exp(np.minimum(w, 300.0)).sum(axis=1) + np.exp(np.minimum(v, 300.0)).sum(axis=1)
        return e - y.size, e
    hazard = np.exp(-0.5 * v * v - 0.5 * np.log(2.0 * np.pi) - special.log_ndtr(-v))
    curve = y.size + np.sum(hazard * (hazard - v), axis=1)
    return w.sum(axis=1) + hazard.sum(axis=1), curve


def _places(y: Array, c: Array, sigma: Array, family: str) -> tuple[Array, Array]:
    """Return the likeliest mu at each sigma and its standard deviation there, (k,), (k,)."""
    both = np.concatenate([y, c])
    low, high = both.min() - 40.0 * sigma, both.max() + 40.0 * sigma
    for _ in range(90):
        middle = 0.5 * (low + high)
        slope, _ = _slope(y, c, middle, sigma, family)
        low, high = np.where(slope > 0.0, middle, low), np.where(slope > 0.0, high, middle)
    middle = 0.5 * (low + high)
    _, curve = _slope(y, c, middle, sigma, family)
    return middle, sigma / np.sqrt(curve)
