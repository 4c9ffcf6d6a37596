"""A smooth surface through failure probabilities at states of what is not known.

The log of the failure rate is written as a constant, a curve of each coordinate and a product of
each two of the steepest ones, z being normal scores:

    ln h(z) = c + sum_i f_i(z_i) + sum_ij b_ij z_i z_j + rest,

f_i of Hermite polynomials (degree 1 to 3; to 5 where there are few coordinates), independent of
each other and of variance 1 (polynomial chaos: Sudret 2008, Reliability Engineering & System Safety
93, from memory). The fit is to the mean of the rates, errors in proportion (gamma model with log
link). Each kind of coefficient is then drawn towards 0 by the share of its squares that is error
(James & Stein 1961, from memory). The error of each estimate is known and taken out of what the
surface leaves; that remainder belongs to the states and no test tells anything of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import factorial
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.study.plan_worth import GROUPS, groups_of

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.intp]

MOST_PAIRED = 16
"""Coordinates of which products are fitted, at most: the steepest ones [-]."""
DEGREES, MORE_DEGREES, FEW = 3, 5, 4
"""Degree of the curves, and where there are few coordinates, up to so many [-]."""
SMALLEST = 1e-300
FLOOR = 0.01
"""Rates below this share of the middling one start the fit as if they were there [-]."""
STEPS, LONGEST_STEP, CLOSE = 40, 1.0, 1e-4
"""Of the fit: rounds, largest change of a log in one of them, and where it ends."""
FARTHEST = 3.0
"""Normal scores farther out are taken as this: a cubic is not to be trusted there [-]."""


@dataclass(frozen=True, slots=True)
class Surface:
    """Fitted coefficients of the whole and of the replicates with one group left out."""

    pairs: Ints
    """Coordinates of each product, (p, 2)."""
    weights: Array
    """(1 + GROUPS, b): constant, each degree of all coordinates, products."""
    rest: Array
    """Variance of what it leaves, error of the estimates taken out, (1 + GROUPS,)."""
    explained: Array
    """Variance of the surface itself, (1 + GROUPS,)."""

    def at(self, scores: Array) -> Array:
        """Return the surface at scores (k, m), (1 + GROUPS, k)."""
        return np.asarray(self.weights @ basis(scores, self.pairs).T)

    @property
    def unexplained(self) -> Array:
        """Share of the variance that the surface leaves, (1 + GROUPS,) [-]."""
        return self.rest / np.maximum(self.rest + self.explained, SMALLEST)


def basis(scores: Array, pairs: Ints) -> Array:
    """Return the functions of the surface, (k, 1 + degrees m + p).

    Parameters
    ----------
    scores : ndarray, (k, m) [-]
    pairs : ndarray of int, (p, 2)
    """
    z = np.clip(scores, -FARTHEST, FARTHEST)
    curves = [hermite(z, degree) for degree in range(1, 1 + degrees_of(z.shape[1]))]
    products = z[:, pairs[:, 0]] * z[:, pairs[:, 1]]
    return np.concatenate([np.ones((z.shape[0], 1)), *curves, products], axis=1)


def degrees_of(coordinates: int) -> int:
    """Return the degree of the curves for so many coordinates [-]."""
    return MORE_DEGREES if coordinates <= FEW else DEGREES


def hermite(z: Array, degree: int) -> Array:
    """Return the Hermite polynomial of a degree, of variance 1 under the normal law; as `z`.

    Source: recurrence of the probabilists' polynomials (from memory).
    """
    before, found = np.ones_like(z), z
    for n in range(1, degree):
        before, found = found, z * found - n * before
    return np.asarray(found / np.sqrt(factorial(degree)))


def steepest_pairs(scores: Array, logs: Array) -> Ints:
    """Return the pairs of the coordinates along which the logs change most, (p, 2)."""
    slope = np.abs(scores.T @ (logs - logs.mean()))
    steep = np.sort(np.argsort(-slope, kind="stable")[:MOST_PAIRED])
    pairs = list(combinations(steep.tolist(), 2))
    return np.array(pairs, dtype=np.intp).reshape(-1, 2)


def fitted(scores: Array, rate: Array, variance: Array, group: Ints | None = None) -> Surface:
    """Fit the surface, and again with one group left out at a time.

    Parameters
    ----------
    scores : ndarray, (n, m) [-]
    rate : ndarray, (n,)
        Estimates of the failure rate over the life [-]; 0 where no draw failed.
    variance : ndarray, (n,)
        Of the error of each.
    group : ndarray of int, (n,), optional
        By default states in their order.
    """
    group = groups_of(rate.size) if group is None else group
    typical = float(np.median(rate[rate > 0.0])) if (rate > 0.0).any() else SMALLEST
    logs = np.log(np.maximum(rate, FLOOR * typical))
    pairs = steepest_pairs(scores, logs)
    functions = basis(scores, pairs)
    kind = _kinds(scores.shape[1], pairs.shape[0])
    rows = []
    for out in range(-1, GROUPS):
        own = group != out
        part = functions[own]
        inverse = np.linalg.pinv(part.T @ part, hermitian=True)
        weights = _mean_fit(part, inverse, logs[own], rate[own])
        middle = np.exp(part @ weights)
        miss = rate[own] / middle - 1.0
        scatter = float(miss @ miss) / max(miss.size - weights.size, 1)
        weights = _drawn_in(weights, np.diag(inverse) * scatter, kind)
        left = max(scatter - float(np.mean(variance[own] / middle**2)), 0.0)
        rows.append((weights, np.log1p(left), float(np.sum(weights[1:] ** 2))))
    weights, rest, explained = (np.array(part) for part in zip(*rows, strict=True))
    return Surface(pairs, weights, rest, explained)


def _mean_fit(functions: Array, inverse: Array, logs: Array, rate: Array) -> Array:
    """Fit the log of the mean of the rates whose errors grow with them, by Fisher scoring.

    Unlike a fit to the logs it is not biased by the errors, and rates of 0 count (gamma model
    with log link: McCullagh & Nelder 1989, "Generalized linear models", from memory).
    """
    weights = inverse @ (functions.T @ logs)
    for _ in range(STEPS):
        miss = rate / np.exp(functions @ weights) - 1.0
        step = inverse @ (functions.T @ miss)
        longest = float(np.abs(functions @ step).max())
        weights = weights + step * min(1.0, LONGEST_STEP / max(longest, SMALLEST))
        if longest < CLOSE:
            break
    return np.asarray(weights)


def _kinds(coordinates: int, pairs: int) -> Ints:
    """Return the kind of each coefficient: 0 the constant, then the degrees, last products."""
    most = degrees_of(coordinates)
    degrees = np.repeat(np.arange(1, most + 1), coordinates)
    return np.concatenate([[0], degrees, np.full(pairs, most + 1)]).astype(np.intp)


def _drawn_in(weights: Array, error: Array, kind: Ints) -> Array:
    """Draw each kind of coefficient towards 0 by the share of its squares that is error."""
    drawn = weights.copy()
    for number in range(1, 1 + int(kind.max())):
        own = kind == number
        if own.any():
            signal = max(float(np.mean(weights[own] ** 2 - error[own])), 0.0)
            drawn[own] *= signal / (signal + np.maximum(error[own], SMALLEST))
    return drawn
