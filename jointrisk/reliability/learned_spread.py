"""The strength of one new joint of a batch whose location is known by weights only.

About each location the score of the strength is normal; over the locations it is a mixture of
very many normals. Its own normal score as a function of the strength is smooth and nearly
straight, so it is laid down once on knots (quintic Hermite, halved until the exact value between
the knots is met) and read off for any number of draws.

Source: mixture of normals by definition; Hermite interpolation, any text book on numerics.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, ndtr, ndtri_exp

from jointrisk.spread import Spread
from jointrisk.spread.base import score

__all__ = ["LearnedStrength"]

Array = npt.NDArray[np.float64]

_LOG_ROOT_TWO_PI = 0.5 * float(np.log(2.0 * np.pi))
_REACH = 39.0
_FIRST_KNOTS = 65
_SCORES = np.linspace(-_REACH, _REACH, 157)
_MOST_KNOTS = 2**15
_CLOSE = 1e-11
"""Error of a normal score that is allowed, as a share of 1 + |score|."""
_THINNEST = 1e-12
_BLOCK = 2**21
_NEWTON = 12
_ENDLESS = 1e-9
"""Share of a moment in the last locations that doubles hold from which it is called infinite."""


@dataclass(frozen=True, slots=True, eq=False)
class LearnedStrength(Spread):
    """Strength of a new, untested joint: scatter inside the batch about weighted locations.

    Parameters
    ----------
    locations : ndarray, (k,) [log of the unit, or unit of the strength]
        Where the batch may lie, sorted.
    log_weights : ndarray, (k,) [-]
        Logs of their weights, which add up to 1.
    within_sd : float [-, or unit of the strength]
        Spread inside the batch, of the log for a lognormal one.
    log : bool
        True for a lognormal batch.
    endless : bool
        True where locations have no upper end but that of doubles.
    """

    label: ClassVar[str] = "learned strength"
    scored: ClassVar[bool] = True
    locations: Array
    log_weights: Array
    within_sd: float
    log: bool
    endless: bool = False
    _at: Array = field(init=False, repr=False)
    """Knots, of the log for a lognormal batch, (m,)."""
    _scores: Array = field(init=False, repr=False)
    """Score, its slope and its bend at the knots, (3, m)."""

    def __post_init__(self) -> None:
        weights = self.log_weights - np.logaddexp.reduce(self.log_weights)
        object.__setattr__(self, "log_weights", weights)
        with np.errstate(all="ignore"):
            sums = _summed(self.log_weights)
            at, scores = _knots(self, sums, _first_knots(self, sums))
        object.__setattr__(self, "_at", at)
        object.__setattr__(self, "_scores", scores)

    @property
    def mean(self) -> float:
        """Mean, infinite where it is infinite [unit of the strength]."""
        return self._moments()[0]

    @property
    def sd(self) -> float:
        """Standard deviation, infinite where it is infinite [unit of the strength]."""
        return self._moments()[1]

    @property
    def parameters(self) -> Mapping[str, float]:
        """Median, mean and standard deviation: the spread has no formula of its own."""
        return {"median": float(self.ppf(0.5)), "mean": self.mean, "sd": self.sd}

    def _moments(self) -> tuple[float, float]:
        weight = np.exp(self.log_weights)
        if not self.log:
            mean = float(weight @ self.locations)
            between = float(weight @ (self.locations - mean) ** 2)
            return mean, float(np.hypot(self.within_sd, np.sqrt(between)))
        within = self.within_sd**2
        parts = self.log_weights + self.locations + 0.5 * within
        log_mean, squares = np.logaddexp.reduce(parts), parts + self.locations + 0.5 * within
        # A weight at the last location that still counts here goes on beyond what doubles hold.
        if self.endless and _last(parts) > _ENDLESS:
            return float(np.inf), float(np.inf)
        with np.errstate(over="ignore"):
            mean = float(np.exp(log_mean))
            if self.endless and _last(squares) > _ENDLESS:
                return mean, float(np.inf)
            ratio = np.exp(self.locations + 0.5 * within - log_mean)
            square = weight @ (ratio - 1.0) ** 2 + np.expm1(within) * (weight @ ratio**2)
            return mean, mean * float(np.sqrt(square))

    # ------------------------------------------------------------------ hooks

    def _to_normal(self, x: Array) -> Array:
        y = np.log(np.maximum(x, 0.0)) if self.log else x
        return self._read(y)[0]

    def _from_normal(self, u: Array) -> Array:
        y = self._invert(u)
        return np.exp(y) if self.log else y

    def _tails(self, x: Array) -> tuple[Array, Array]:
        z = self._to_normal(x)
        return np.asarray(ndtr(z)), np.asarray(ndtr(-z))

    def _quantile(self, p: Array, q: Array) -> Array:
        return self._from_normal(score(p, q))

    def _logpdf(self, x: Array) -> Array:
        y = np.log(np.maximum(x, 0.0)) if self.log else x
        z, slope = self._read(y)
        found = np.log(slope) - 0.5 * z * z - _LOG_ROOT_TWO_PI
        return np.where(x > 0.0, found - y, -np.inf) if self.log else np.asarray(found)

    def _read(self, y: Array) -> tuple[Array, Array]:
        """Return the score and its slope at y; straight on beyond the knots."""
        k = np.clip(np.searchsorted(self._at, y) - 1, 0, self._at.size - 2)
        step = self._at[k + 1] - self._at[k]
        share = (y - self._at[k]) / step
        inside = np.clip(share, 0.0, 1.0)
        value, slope = _polynomial(self._coefficients(k, step), inside)
        beyond = np.where(share == inside, 0.0, (share - inside) * slope)
        return value + beyond, slope / step

    def _invert(self, u: Array) -> Array:
        """Return y at scores u, by Newton steps inside the interval of the knots."""
        scores = self._scores[0]
        k = np.clip(np.searchsorted(scores, u) - 1, 0, self._at.size - 2)
        step = self._at[k + 1] - self._at[k]
        coefficients = self._coefficients(k, step)
        goal = np.clip(u, scores[0], scores[-1])
        share = (goal - scores[k]) / (scores[k + 1] - scores[k])
        for _ in range(_NEWTON):
            value, slope = _polynomial(coefficients, share)
            moved = np.clip(share - (value - goal) / slope, 0.0, 1.0)
            far = np.max(np.abs(moved - share), initial=0.0)
            share = moved
            if far < 1e-9:  # the next step would be its square
                break
        _, slope = _polynomial(coefficients, share)
        beyond = np.where(u == goal, 0.0, (u - goal) / slope)
        return np.asarray(self._at[k] + (share + beyond) * step)

    def _coefficients(self, k: npt.NDArray[np.intp], step: Array) -> tuple[Array, ...]:
        """Return the coefficients of the quintic in each interval, each (n,)."""
        p, v, a = self._scores[0][k], self._scores[1][k] * step, self._scores[2][k] * step**2
        rise = self._scores[0][k + 1] - p
        w, b = self._scores[1][k + 1] * step, self._scores[2][k + 1] * step**2
        return (
            p,
            v,
            0.5 * a,
            10.0 * rise - 6.0 * v - 4.0 * w - 1.5 * a + 0.5 * b,
            -15.0 * rise + 8.0 * v + 7.0 * w + 1.5 * a - b,
            6.0 * rise - 3.0 * v - 3.0 * w - 0.5 * a + 0.5 * b,
        )

    def __str__(self) -> str:
        return f"{self.label}, median {float(self.ppf(0.5)):.6g}, sd {self.sd:.6g}"


def _last(parts: Array) -> float:
    """Return the share of the last term in a sum given by its logs."""
    return float(np.exp(parts[-1] - np.logaddexp.reduce(parts)))


def _polynomial(coefficients: tuple[Array, ...], at: Array) -> tuple[Array, Array]:
    """Return value and slope of polynomials, coefficients from the constant up."""
    value, slope = coefficients[-1], np.zeros_like(at)
    for c in coefficients[-2::-1]:
        slope = slope * at + value
        value = value * at + c
    return value, slope


def _summed(weights: Array) -> tuple[Array, Array]:
    """Return the log weight of all locations before each and from each on, (k + 1,)."""
    below = np.minimum(np.logaddexp.accumulate(weights), 0.0)
    above = np.minimum(np.logaddexp.accumulate(weights[::-1])[::-1], 0.0)
    return np.concatenate([[-np.inf], below]), np.concatenate([above, [-np.inf]])


def _exact(spread: LearnedStrength, sums: tuple[Array, Array], y: Array) -> Array:
    """Return score, slope and bend at sorted y, (3, n), from all locations that count there.

    Locations further than 39 spreads away on the one side add nothing, on the other all of
    their weight.
    """
    at, weights, width = spread.locations, spread.log_weights, spread.within_sd
    lower, upper = sums
    first = np.searchsorted(at, y - _REACH * width)
    last = np.searchsorted(at, y + _REACH * width)
    out = np.empty((3, y.size))
    start = 0
    while start < y.size:
        low = first[start]
        rows = np.arange(start, y.size)
        spans = last[start:] - low
        fits = ((rows - start + 1) * spans <= _BLOCK) & (spans <= 2 * spans[0] + 256)
        stop = start + max(1, int(np.argmin(fits)) if not fits.all() else rows.size)
        block, near = slice(start, stop), slice(low, last[stop - 1])
        z = (y[block, None] - at[near]) / width
        below = np.logaddexp(_log_sum(weights[near] + log_ndtr(z)), lower[near.start])
        above = np.logaddexp(_log_sum(weights[near] + log_ndtr(-z)), upper[near.stop])
        out[:, block] = _curve(below, above, weights[near] - 0.5 * z * z, z, width)
        start = stop
    return out


def _curve(below: Array, above: Array, terms: Array, z: Array, width: float) -> Array:
    """Return score, slope and bend, (3, n), from log tails and the terms of the density."""
    score_at = np.where(below < above, 1.0, -1.0) * ndtri_exp(np.minimum(below, above))
    density = _log_sum(terms)
    slope = np.exp(density + 0.5 * score_at * score_at) / width
    drift = -np.sum(z * np.exp(terms - density[:, None]), axis=1) / width
    return np.array([score_at, slope, slope * (drift + score_at * slope)])


def _log_sum(terms: Array) -> Array:
    """Return ln Σ exp along the last axis, (n,)."""
    if not terms.shape[1]:
        return np.full(terms.shape[0], -np.inf)
    top = terms.max(axis=1)
    return np.asarray(np.log(np.exp(terms - top[:, None]).sum(axis=1)) + top)


def _first_knots(spread: LearnedStrength, sums: tuple[Array, Array]) -> Array:
    """Return where to begin: evenly spaced, and where the locations' own scores are."""
    at, width = spread.locations, _REACH * spread.within_sd
    below, above = sums[0][1:], sums[1][:-1]
    scores = np.where(below < above, ndtri_exp(below), -ndtri_exp(above))
    place = np.searchsorted(np.maximum.accumulate(scores), _SCORES)
    even = np.linspace(at[0] - width, at[-1] + width, _FIRST_KNOTS)
    return np.union1d(even, at[np.minimum(place, at.size - 1)])


def _knots(spread: LearnedStrength, sums: tuple[Array, Array], y: Array) -> tuple[Array, Array]:
    """Return knots, (m,), with scores, slopes and bends, (3, m), close enough together."""
    z = _exact(spread, sums, y)
    reach = np.flatnonzero(np.abs(z[0]) <= _REACH)
    keep = slice(max(int(reach[0]) - 1, 0), int(reach[-1]) + 2)
    y, z = y[keep], z[:, keep]
    rough = np.ones(y.size - 1, dtype=bool)
    while rough.any() and y.size < _MOST_KNOTS:
        at = np.flatnonzero(rough)
        step = y[at + 1] - y[at]
        middle = y[at] + 0.5 * step
        guess = 0.5 * (z[0, at] + z[0, at + 1]) + 0.15625 * step * (z[1, at] - z[1, at + 1])
        guess += step**2 / 64.0 * (z[2, at] + z[2, at + 1])
        exact = _exact(spread, sums, middle)
        still = ~(np.abs(guess - exact[0]) <= _CLOSE * (1.0 + np.abs(exact[0])))
        y, z = np.insert(y, at + 1, middle), np.insert(z, at + 1, exact, axis=1)
        where = at + np.arange(at.size)
        rough = np.zeros(y.size - 1, dtype=bool)
        rough[where[still]] = rough[where[still] + 1] = True
        rough &= np.minimum(np.abs(z[0, :-1]), np.abs(z[0, 1:])) <= _REACH
        rough &= np.diff(y) > _THINNEST * (spread.within_sd + np.abs(y[1:]))
    return y, z
