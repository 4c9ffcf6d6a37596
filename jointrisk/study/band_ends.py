"""From noisy failure probabilities at states of what is not known to a band with known ends.

A few hundred states leave few beyond the ends of the band: sorted, they tell its lower end to a
factor of 2 only. Most of what moves the log of the failure probability from state to state can
be told from the unknowns themselves,

    ln p(z) = c + sum_i (a_i z_i + b_i (z_i^2 - 1) + d_i z_i s) + rest,    s = sum_j e_j z_j

with z their normal scores and s the steepest direction. The fit (least squares, weighted, with a
ridge chosen by generalised cross-validation: Golub, Heath and Wahba 1979, Technometrics 21, from
memory) says at thousands of states where ln p lies but for the rest, and each rest is lent to
states of about the same ln p. Noise of the small samples is taken out of the rests: they are drawn
in so that their variance is what is left of it without the noise.

How well the ends are known comes from leaving out one of 32 groups of states at a time, the fit
made anew (jackknife; Tukey 1958, from memory): the states differ by what is not known and by the
noise of their draws, so both are in it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import betaincinv, ndtri

from jointrisk.reliability.interval import clopper_pearson

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

GROUPS = 32
STUDENT = 2.0395
"""Two-sided 95 % point of Student's t with 31 degrees of freedom."""
FEWEST_STATES = 64
"""With fewer that failed nothing is fitted."""
STATES_A_TERM = 5
"""States for each term of the fit, at least."""
MOST_UNSEEN = 0.25
"""Share of states without a failure, above which nothing is fitted [-]."""
NEAR = 12
"""One state in so many on either side is lent a rest."""
REFERENCE, REFERENCE_AGAIN = 2**14, 2**12
"""States at which the fit is read; those without a group at the first of them."""
NEARBY = 0.02
"""Share of the states on either side by which the slope of a quantile is told [-]."""
LEVELS = 320
"""Even shares of the states at which the fit meets the rests; half of them without a group."""
PENALTIES = 10.0 ** np.arange(-2.0, 4.6, 0.5)
"""Ridges that are tried, in states [-]."""
ROUNDS = 2
LEAST_NOISE = 1e-6
"""Variance of a log that every state is given, for the weights [-]."""
TINY = 1e-12
MOST_COUNTED = 10
"""A share of the states counts as if from so many times the states at most."""


@dataclass(frozen=True, slots=True)
class Logs:
    """Logs of the failure probability at the states of which a draw failed."""

    scores: Array
    """Of the unknowns, (k, m) [-]."""
    value: Array
    """(k,)"""
    noise: Array
    """Variance of the sampling error of each, (k,)."""
    unseen: float
    """Share of all states of which no draw failed [-]."""


@dataclass(frozen=True, slots=True)
class Fit:
    """What the logs are fitted by."""

    logs: Logs
    terms: Array
    """At each state, (k, p) [-]."""
    far: Array
    """The same at many states, (r, p) [-]."""
    weights: Array
    """Of each state, (k,) [-]."""


def equally_likely(
    scores: Array, chance: Array, variance: Array, reference: Array, *, again: bool
) -> tuple[Array, Array] | None:
    """Return failure probabilities of equally likely states, and the same without each group.

    Parameters
    ----------
    scores : ndarray, (n, m) [-]
        Normal scores of the unknowns at each state.
    chance, variance : ndarray, (n,) [-]
        Failure probability there, estimated, and the variance of its sampling error.
    reference : ndarray, (r, m) [-]
        Scores of many states.
    again : bool
        False leaves out the second part.

    Returns
    -------
    ndarray, (n,) [-]
        Sorted.
    ndarray, (GROUPS, n) or (0, n) [-]
        The same, each without one group of states.
    None
        Where the states are too few to fit anything.
    """
    seen = chance > 0.0
    unseen = 1.0 - float(seen.mean())
    kinds = _kinds(int(seen.sum()), scores.shape[1])
    if seen.sum() < FEWEST_STATES or unseen > MOST_UNSEEN or not kinds:
        return None
    relative = np.minimum((np.sqrt(variance[seen]) / chance[seen]) ** 2, 1.0)
    noise = np.log1p(relative)
    logs = Logs(scores[seen], np.log(chance[seen]) + 0.5 * noise, noise, unseen)
    fit = _fitted(logs, kinds, reference)
    every = np.ones(logs.value.size, dtype=bool)
    group = np.arange(logs.value.size) % GROUPS
    whole = _curve(fit, every, chance.size, LEVELS)
    out = range(GROUPS if again else 0)
    fewer = replace(fit, far=fit.far[:REFERENCE_AGAIN])
    each = [_curve(fewer, group != g, chance.size, LEVELS // 2) for g in out]
    return whole, np.array(each).reshape(len(each), chance.size)


def quantiles(values: Array, levels: float | Sequence[float] | Array) -> Array:
    """Return quantiles of equally likely states: the k-th of n stands at (k - 1/2)/n."""
    return np.asarray(np.quantile(values, levels, method="hazen"))


def quantile_interval(values: Array, again: Array, level: float, confidence: float) -> Array:
    """Return between what a quantile of equally likely states lies, (2,) [-].

    Without groups the interval is that of independent states: the share of them that lies below
    the quantile is a binomial count.

    Parameters
    ----------
    values : ndarray, (n,) [-]
        Sorted.
    again : ndarray, (g, n) [-]
        The same without each group; none where nothing was fitted.
    level : float
        Share of the states below it [-].
    confidence : float
        [-]
    """
    found = float(quantiles(values, level))
    each = np.quantile(again, level, axis=1, method="hazen") if again.size else np.zeros(1)
    if not (found > 0.0 and np.all(each > 0.0)):
        share = clopper_pearson(round(level * values.size), values.size, confidence)
        return quantiles(values, share)
    beside = np.clip([level - NEARBY, level + NEARBY], 0.0, 1.0)
    slope = float(np.ptp(np.log(np.maximum(quantiles(values, beside), found * TINY))))
    slope /= float(np.ptp(beside))
    error = np.hypot(_error(np.log(each)), slope * _read_error(level))
    step = STUDENT * error
    return np.minimum(found * np.exp([-step, step]), 1.0)


def share_interval(values: Array, again: Array, limit: float, confidence: float) -> Array:
    """Return between what the share of states at or below a limit lies, (2,) [-].

    The interval of a binomial count (Clopper and Pearson), of as many states as would have the
    error that the groups show (Korn and Graubard 1998, Survey Methodology 24, from memory).
    """
    count = values.size
    share = float(np.mean(values <= limit))
    counted = float(count)
    if again.size and 0.0 < share < 1.0:
        levels = (np.arange(count) + 0.5) / count
        error = _error(np.array([np.interp(limit, own, levels) for own in again]))
        error = float(np.hypot(error, _read_error(share)))
        counted = min(share * (1.0 - share) / max(error**2, TINY), MOST_COUNTED * count)
    inside, outside = share * counted, (1.0 - share) * counted
    half = 0.5 * (1.0 - confidence)
    low = betaincinv(inside, outside + 1.0, half) if inside > 0.0 else 0.0
    high = betaincinv(inside + 1.0, outside, 1.0 - half) if outside > 0.0 else 1.0
    return np.array([low, high])


def _read_error(share: float) -> float:
    """Return the error of a share of states that the fit is read at, at most [-]."""
    return float(np.sqrt(share * (1.0 - share) / REFERENCE))


def _error(each: Array) -> float:
    """Return the standard error of what was worked out without each group."""
    return float(np.sqrt((GROUPS - 1) / GROUPS * np.sum((each - each.mean()) ** 2)))


def _kinds(states: int, unknowns: int) -> int:
    """Return how many kinds of terms so many states carry: straight, bent, products; 0: none."""
    carried = states // STATES_A_TERM - 1
    return int(min(carried // max(unknowns, 1), 3)) if unknowns else 0


def _columns(scores: Array, kinds: int, steep: Array) -> Array:
    """Return the terms of the fit, (k, p) [-]."""
    made = [scores]
    if kinds > 1:
        made.append(scores**2 - 1.0)
    if kinds > 2:
        made.append(scores * (scores @ steep)[:, None])
    return np.concatenate(made, axis=1)


def _fitted(logs: Logs, kinds: int, reference: Array) -> Fit:
    """Choose the terms and weigh the logs by what is left unexplained and by their noise."""
    weights = np.ones(logs.value.size)
    for _ in range(ROUNDS):
        slope = _ridge(logs.scores, logs.value, weights)[0]
        steep = slope / max(float(np.linalg.norm(slope)), TINY)
        columns = _columns(logs.scores, kinds, steep)
        curve, middle, free = _ridge(columns, logs.value, weights)
        at = (columns - middle) @ curve
        rest = logs.value - at
        rest -= weights @ rest / weights.sum()
        spread = weights @ rest**2 * rest.size / (rest.size - free)
        left = max(float(spread - weights @ logs.noise) / float(weights.sum()), 0.0)
        # a state that came out too high looks less noisy than it is: only the trend may weigh
        weights = 1.0 / (left + _trend(at, logs.noise) + LEAST_NOISE)
        weights = weights / weights.mean()
    return Fit(logs, columns, _columns(reference, kinds, steep), weights)


def _trend(at: Array, noise: Array) -> Array:
    """Return the straight line of the noise over the fit, a fifth of its mean at least, (k,)."""
    off = at - at.mean()
    slope = off @ noise / max(float(off @ off), TINY)
    return np.asarray(np.maximum(noise.mean() + slope * off, 0.2 * noise.mean()))


def _ridge(columns: Array, value: Array, weights: Array) -> tuple[Array, Array, float]:
    """Return coefficients by the ridge that predicts best, means of the columns, freedom taken."""
    middle = weights @ columns / weights.sum()
    root = np.sqrt(weights)
    own = (columns - middle) * root[:, None]
    sought = (value - weights @ value / weights.sum()) * root
    square, axes = np.linalg.eigh(own.T @ own)
    square = np.maximum(square, TINY)
    along = axes.T @ (own.T @ sought)
    kept = square / (square + PENALTIES[:, None])
    free = 1.0 + kept.sum(axis=1)
    outside = max(float(sought @ sought - np.sum(along**2 / square)), 0.0)
    missed = outside + np.sum((1.0 - kept) ** 2 * along**2 / square, axis=1)
    best = int(np.argmin(missed / (value.size - free) ** 2))
    return axes @ (along / (square + PENALTIES[best])), middle, float(free[best])


def _curve(fit: Fit, kept: npt.NDArray[np.bool_], count: int, steps: int) -> Array:
    """Return so many equally likely failure probabilities, from some of the states, (count,)."""
    logs, terms, weights = fit.logs, fit.terms[kept], fit.weights[kept]
    value, noise = logs.value[kept], logs.noise[kept]
    curve, middle, free = _ridge(terms, value, weights)
    level = weights @ value / weights.sum() - middle @ curve
    at = terms @ curve + level
    rest = (value - at) * np.sqrt(value.size / (value.size - free))
    left = max(float(np.mean(rest**2 - noise)), 0.0)
    rest *= np.sqrt(left / (left + noise + TINY))
    joined = _lent(at, rest, np.sort(fit.far @ curve + level), steps)
    levels = (np.arange(count) + 0.5) / count
    among = (levels - logs.unseen) / (1.0 - logs.unseen)
    places = (np.arange(joined.size) + 0.5) / joined.size
    made = np.exp(np.minimum(np.interp(among, places, joined), 0.0))
    return np.where(among < 0.0, 0.0, made)


def _lent(at: Array, rest: Array, reference: Array, steps: int) -> Array:
    """Return the curve at even shares of many states, each with the rests of its neighbours.

    What the rests do steadily from one neighbour to the next is followed to the place itself.

    Parameters
    ----------
    at, rest : ndarray, (k,) [-]
        The fit at each state, and what it leaves.
    reference : ndarray, (r,) [-]
        The fit at many states, sorted.
    steps : int
        Even shares.
    """
    order = np.argsort(at, kind="stable")
    at, rest = at[order], rest[order]
    share = (np.searchsorted(reference, at) + 0.5) / (reference.size + 1.0)
    levels = (np.arange(steps) + 0.5) / steps
    width = 2 * max(at.size // NEAR, 1) + 1
    first = np.clip(np.searchsorted(share, levels) - width // 2, 0, at.size - width)
    near = first[:, None] + np.arange(width)
    score, lent = ndtri(share)[near], rest[near]
    off = score - score.mean(axis=1, keepdims=True)
    spread = np.maximum(np.sum(off**2, axis=1), TINY)
    slope = np.sum(off * lent, axis=1) / spread
    lent = lent - slope[:, None] * (score - ndtri(levels)[:, None])
    places = (np.arange(reference.size) + 0.5) / reference.size
    return np.asarray(np.sort((np.interp(levels, places, reference)[:, None] + lent).ravel()))
