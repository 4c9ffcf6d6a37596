"""Points of lowest margin at several distances at once.

Rare failures lie near the point of lowest margin at their distance from the origin of
standard normal space. Where the distance is not known beforehand, or differs from question
to question, a ladder of such points serves all of them: components of a proposal that
is good at every depth.

Advanced mean value iteration: ``u <- -beta grad g / |grad g|`` (Wu, Millwater & Cruse 1990,
from memory), a step being taken only where it lowers the margin, otherwise half of it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt

__all__ = ["ladder"]

Array = npt.NDArray[np.float64]
STEP = 0.05
ROUNDING = 1e-13
"""A smaller rise of the margin, relative to it or to 1, is none [-]."""


def ladder(
    margin: Callable[[Array], Array],
    dimension: int,
    distances: Sequence[float],
    *,
    active: npt.NDArray[np.bool_] | None = None,
    iterations: int = 3,
) -> Array:
    """Return the points of lowest margin at the given distances.

    Parameters
    ----------
    margin : callable
        Takes scores (n, d) [-], gives (n,); need not be smooth. Values that are not
        finite count as no slope.
    dimension : int
        Number of coordinates d.
    distances : sequence of float, (k,) [-]
        Distances from the origin; 0 gives the origin.
    active : ndarray of bool, (d,), optional
        Coordinates that may move; the others stay 0.
    iterations : int
        Gradient steps, one batched call of `margin` each.

    Returns
    -------
    ndarray, (k, d) [-]
        Zeros where the margin has no slope at all.
    """
    beta = np.asarray(distances, dtype=float)[:, None]
    moving = np.arange(dimension) if active is None else np.flatnonzero(active)
    points = np.zeros((beta.size, dimension))
    if moving.size == 0 or not np.any(beta > 0.0):
        return points
    points = beta * _downhill(margin, points[:1], moving)[0]
    best = _finite(margin(points))
    for _ in range(iterations):
        trial = beta * _downhill(margin, points, moving)
        value = _finite(margin(trial))
        halfway = points + trial
        length = np.maximum(np.linalg.norm(halfway, axis=1, keepdims=True), 1e-300)
        halfway = beta * halfway / length
        half_value = _finite(margin(halfway))
        trial = np.where((half_value < value)[:, None], halfway, trial)
        value = np.minimum(value, half_value)
        better = value < best
        points = np.where(better[:, None], trial, points)
        best = np.where(better, value, best)
        if not better.any():
            break
    return points


def _downhill(
    margin: Callable[[Array], Array], points: Array, moving: npt.NDArray[np.intp]
) -> Array:
    """Return unit vectors of steepest descent at each point, (k, d); zeros where flat."""
    count, dimension = points.shape
    steps = np.zeros((moving.size, dimension))
    steps[np.arange(moving.size), moving] = STEP
    rows = np.concatenate(
        [(points[:, None, :] + sign * steps).reshape(-1, dimension) for sign in (1, -1)]
    )
    ahead, behind = margin(rows).reshape(2, count, moving.size)
    with np.errstate(invalid="ignore"):  # infinite on both sides: no slope
        rise = ahead - behind
        rounding = np.abs(rise) <= ROUNDING * np.maximum(np.abs(ahead), 1.0)
    slope = np.where(np.isfinite(rise) & ~rounding, rise, 0.0) / (2.0 * STEP)
    gradient = np.zeros((count, dimension))
    gradient[:, moving] = slope
    length = np.linalg.norm(gradient, axis=1, keepdims=True)
    return np.where(length > 0.0, -gradient / np.where(length > 0.0, length, 1.0), 0.0)


def _finite(values: Array) -> Array:
    return np.where(np.isnan(values), np.inf, values)
