"""What pulls say of the location of a batch: the log-likelihood, gauge error included.

A joint's strength R has a normal score about the location m: (T(R) − m)/w with T = ln for a
lognormal batch, T the value itself for a normal one, and w the spread inside the batch. A pull
of k joints breaks the weakest: it holds the score y with chance S(y)^k, S(y) = Φ(−y), and
breaks at y with density k φ(y) S(y)^(k−1).

The load that acts is L(1 + e), e normal with standard deviation c. For a reading L:

    held          H(L) = E[S^k at L(1 + e)]
    broke below   1 − H(L)
    broke at      −dH/dL, the density of the reading at the break

In the lognormal batch 1 + e ≤ 0 breaks nothing. With s = ln(1 + e)/c, or e/c for a normal
batch, the acting score is z + t s, so that H is an integral over s (t ≤ 1) or over the strength
(t > 1) of something smooth and all but log-concave: the trapezoid rule on an evenly spaced
grid converges exponentially (Trefethen and Weideman (2014), SIAM Review 56(3), 385-458,
doi:10.1137/130932132).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

__all__ = ["Kind", "Pulls", "condensed", "log_chance", "log_held"]

Array = npt.NDArray[np.float64]
Kind = Literal["survived_at", "failed_at", "failed_below"]

KINDS: tuple[Kind, ...] = ("survived_at", "failed_at", "failed_below")
MARGIN = 9.0
"""The grid goes on for so many scores past where the integrand can peak."""
STEP = 0.45
"""Step of the grid where one joint breaks, in scores; finer for more."""
MOST_NODES = 1200
ROWS = 256
"""Locations at a time: those far out need a longer grid than the others."""
_LOG_ROOT_TWO_PI = 0.5 * float(np.log(2.0 * np.pi))


@dataclass(frozen=True, slots=True)
class Pulls:
    """Pulls of one kind."""

    kind: Kind
    loads: Array
    """Loads read, (d,) [N]."""
    counts: Array
    """How many pulls each stands for, (d,) [-]; not whole and signed after condensing."""

    @classmethod
    def of(cls, kind: Kind, loads: Sequence[float] | Array, log: bool, width: float) -> Pulls:
        """Return pulls with equal loads counted, or condensed where they are many.

        Parameters
        ----------
        kind : str
            What was seen.
        loads : sequence of float, (n,) [N]
            Loads read.
        log : bool
            True for a lognormal batch.
        width : float [-, or N]
            Spread inside the batch, of the log for a lognormal one.
        """
        distinct, counts = np.unique(np.asarray(loads, dtype=np.float64), return_counts=True)
        at = np.log(distinct) if log else distinct
        at, weights = condensed(at, counts.astype(np.float64), 0.5 * width)
        return cls(kind, np.exp(at) if log else at, weights)


def condensed(x: Array, counts: Array, width: float) -> tuple[Array, Array]:
    """Return few points with weights that give the same sums of any smooth function.

    Where a panel holds more points than a polynomial of degree 15 needs, its points are
    replaced by the nodes of the polynomial: Σ n f(x) = Σ W f(node).

    Parameters
    ----------
    x : ndarray, (d,) [any]
        Points, sorted.
    counts : ndarray, (d,) [-]
        Their weights.
    width : float [same as x]
        Of a panel: the function is a polynomial of degree 15 over it, to rounding.

    Returns
    -------
    tuple of ndarray, (e,) [same as x, and -]

    Notes
    -----
    Barycentric interpolation at Chebyshev points: Berrut and Trefethen (2004), SIAM Review
    46(3), 501-517, doi:10.1137/S0036144502417715.
    """
    if x.size <= 16:
        return x, counts
    panel = np.floor((x - x[0]) / width)
    points, weights = [], []
    j = np.arange(16)
    nodes, signs = -np.cos(np.pi * j / 15), (-1.0) ** j
    signs[[0, -1]] *= 0.5
    for place in np.unique(panel):
        inside = panel == place
        if inside.sum() <= 16:
            points.append(x[inside])
            weights.append(counts[inside])
            continue
        centre = x[0] + (place + 0.5) * width
        away = (x[inside] - centre)[:, None] / (0.5 * width) - nodes
        hit = away == 0.0
        share = signs / np.where(hit, 1.0, away)
        share = np.where(hit.any(axis=1)[:, None], hit, share)
        points.append(centre + 0.5 * width * nodes)
        weights.append(counts[inside] @ (share / share.sum(axis=1)[:, None]))
    return np.concatenate(points), np.concatenate(weights)


def log_chance(
    pulls: Pulls, location: Array, *, log: bool, width: float, joints: int, error: float
) -> Array:
    """Return the log-likelihood of pulls at locations.

    Parameters
    ----------
    pulls : Pulls
    location : ndarray, (n,) [log of N, or N]
        Of the batch.
    log : bool
        True for a lognormal batch.
    width : float [-, or N]
        Spread inside the batch.
    joints : int [-]
        Joints in a pull, k.
    error : float [-]
        Standard deviation of e, c.

    Returns
    -------
    ndarray, (n,) [-]
        Up to a constant that depends on the loads alone for "failed_at".
    """
    total = np.zeros(location.shape)
    for load, count in zip(pulls.loads.tolist(), pulls.counts.tolist(), strict=True):
        z = ((np.log(load) if log else load) - location) / width
        total += count * log_held(
            pulls.kind, z, error / width * (1.0 if log else load), joints, error if log else 0.0,
            0.0 if log else error,
        )  # fmt: skip
    return total


def log_held(
    kind: Kind, z: Array, t: float, joints: int, warp: float = 0.0, tilt: float = 0.0
) -> Array:
    """Return the log-chance of what one pull showed, smeared by the gauge.

    Parameters
    ----------
    kind : str
        What was seen.
    z : ndarray, (n,) [-]
        Score of the reading.
    t : float [-]
        Standard deviation of the gauge in scores; 0 for none.
    joints : int [-]
        Joints in the pull, k.
    warp : float [-]
        c for a lognormal batch, in which s = ln(1 + e)/c; else 0.
    tilt : float [-]
        c for a normal batch, in which dL(1 + e)/dL = 1 + c s; else 0.

    Returns
    -------
    ndarray, (n,) [-]
        For "failed_at" the log-density of the score of the reading.
    """
    part = _PARTS[kind]
    if t == 0.0:
        with np.errstate(divide="ignore"):
            return part(z, joints)
    over = _over_gauge if t <= 1.0 else _over_strength
    out = np.empty(z.shape)
    with np.errstate(divide="ignore"):
        for start in range(0, z.size, ROWS):
            block = slice(start, start + ROWS)
            out[block] = over(kind, z[block], t, joints, warp, tilt)
    return out


def _held(y: Array, k: int) -> Array:
    """Return ln S^k."""
    return np.asarray(k * log_ndtr(-y))


def _broke(y: Array, k: int) -> Array:
    """Return ln(1 − S^k), from the lower tail where that is small."""
    low = log_ndtr(y)
    held = k * np.where(y < 0.0, np.log1p(-np.exp(np.minimum(low, -0.1))), log_ndtr(-y))
    return np.where(y < -30.0, np.log(k) + low, _log1mexp(held))


def _density(y: Array, k: int) -> Array:
    """Return ln(k φ S^(k−1))."""
    found = np.log(k) - 0.5 * y * y - _LOG_ROOT_TWO_PI
    return np.asarray(found + (k - 1) * log_ndtr(-y) if k > 1 else found)


def _log1mexp(log_p: Array) -> Array:
    """Return ln(1 − p) from ln p."""
    return np.where(
        log_p > -0.7, np.log(-np.expm1(log_p)), np.log1p(-np.exp(np.minimum(log_p, -0.6)))
    )


_PARTS: dict[Kind, Callable[[Array, int], Array]] = {
    "survived_at": _held,
    "failed_at": _density,
    "failed_below": _broke,
}


def _grid(reach: Array, step: float, below: Array | float = MARGIN) -> tuple[Array, Array]:
    """Return grids from 0 to where the integrand may peak and beyond, (n, m), and log steps."""
    low, high = np.minimum(1.5 * reach, 0.0) - below, np.maximum(1.5 * reach, 0.0) + MARGIN
    count = min(MOST_NODES, int(np.ceil(float((high - low).max()) / step)) + 1)
    size = (high - low) / (count - 1)
    return low[:, None] + size[:, None] * np.arange(count), np.log(size)


def _over_gauge(kind: Kind, z: Array, t: float, k: int, warp: float, tilt: float) -> Array:
    """Return the log of the integral over the gauge's score s, for t up to 1."""
    joints = np.where(z > 0.0, k, 1)
    peak = -joints * t * z / (1.0 + joints * t * t)
    if kind != "failed_at":  # one side is flat: nothing draws the gauge away from 0 there
        peak = np.where((z > 0.0) == (kind == "survived_at"), peak, 0.0)
    s, log_step = _grid(peak, STEP / np.sqrt(1.0 + k * t * t), _far_down(z, t, k, warp))
    terms = _gauge_density(s, warp, tilt if kind == "failed_at" else 0.0)
    terms += _PARTS[kind](z[:, None] + t * s, k)
    total = _log_sum(terms) + log_step
    if kind == "survived_at" and warp:
        nothing, below = log_ndtr(-1.0 / warp), _gauge_below(s[:, 0], warp)
        below = below + np.log1p(-np.exp(np.minimum(nothing - below, 0.0)))
        total = np.logaddexp(total, below + _held(z + t * s[:, 0], k))
        total = np.minimum(np.logaddexp(total, nothing), 0.0)
    return total


def _far_down(z: Array, t: float, k: int, warp: float) -> Array:
    """Return how far the grid goes on below, (n,): far where 1 + e near 0 tells the pull best."""
    below = np.full(z.shape, 40.0 if warp > 0.1 else MARGIN)
    if not warp:
        return below
    doubtful = z * warp > 0.7 * np.sqrt(t * t + 1.0 / k)
    far = np.minimum(1.05 * np.maximum(z, 0.0) / t, 12.0 / warp) + MARGIN
    return np.where(doubtful, np.maximum(below, far), below)


def _over_strength(kind: Kind, z: Array, t: float, k: int, warp: float, tilt: float) -> Array:
    """Return the log of the integral over the score y of the strength, for t above 1."""
    joints = np.where(z > 0.0, k, 1)
    peak = z / (1.0 + joints * t * t)
    y, log_step = _grid(peak, STEP / np.sqrt(1.0 + k))
    s = (y - z[:, None]) / t
    terms = _density(y, k)
    if kind == "survived_at":
        terms += _gauge_below(s, warp)
    elif kind == "failed_below":
        terms += log_ndtr(-(np.expm1(warp * s) / warp if warp else s))
    else:
        terms += _gauge_density(s, warp, tilt) - np.log(t)
    return _log_sum(terms) + log_step


def _gauge_density(s: Array, warp: float, tilt: float) -> Array:
    """Return the log-density of the gauge's score."""
    if warp:
        v = np.expm1(warp * s) / warp
        return np.asarray(-0.5 * v * v + warp * s - _LOG_ROOT_TWO_PI)
    found = -0.5 * s * s - _LOG_ROOT_TWO_PI
    return found + np.log(np.maximum(1.0 + tilt * s, 0.0)) if tilt else found


def _gauge_below(s: Array, warp: float) -> Array:
    """Return the log-chance of a gauge's score below s."""
    return np.asarray(log_ndtr(np.expm1(warp * s) / warp if warp else s))


def _log_sum(terms: Array) -> Array:
    """Return ln Σ exp along the last axis, the ends at half weight, (n,)."""
    terms[:, [0, -1]] -= np.log(2.0)
    top = terms.max(axis=1)
    top = np.where(np.isfinite(top), top, 0.0)
    return np.asarray(np.log(np.exp(terms - top[:, None]).sum(axis=1)) + top)
