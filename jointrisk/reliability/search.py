"""Where does it fail: all design points of a margin, not just the first.

One search from the origin finds one point. Systems have several, far apart, and a single
one gives a confident wrong number. So the margin is also probed along many directions at
several radii; the failing and the weakest probes become further starts. Where the margin
has no slope (an indicator, a step) a failing probe is walked towards the origin instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from jointrisk.reliability.form import DesignPoint, Margin, design_point

__all__ = ["Found", "distinct", "find_points", "further_points", "spread_out", "unexplained"]

Array = npt.NDArray[np.float64]

_RADII = (2.0, 3.5, 5.0, 7.0)
_DIRECTIONS = 512
_MOST_POINTS = 64
_MOST_STARTS = 12
_PATIENCE = 3
"""Starts in a row that may find nothing new, and two more for each point found."""
_ROUNDS = 6
"""Times that failing probes which no point explains are searched from."""
_APART = 0.5
"""Two design points nearer than this are one [-]."""
_REACH = 2.5
"""A point this much farther out than the nearest adds less than 1e-3 of it [-]."""


@dataclass(frozen=True, slots=True)
class Found:
    """Design points, nearest first, and what they cost."""

    points: tuple[DesignPoint, ...]
    evaluations: int
    origin_fails: bool = False


def find_points(g: Margin, dim: int, rng: np.random.Generator) -> Found:
    """Find the design points of a margin from many starts.

    Parameters
    ----------
    g : callable
        Scores (n, d) to margins (n,); a NaN margin counts as failure.
    dim : int
        Number of coordinates d.
    rng : numpy.random.Generator
        For the directions of the probes.

    Returns
    -------
    Found
        No points where the origin itself fails: plain draws see that region well.
    """
    if dim == 0:
        return Found((), 1, bool(_fails(g(np.zeros((1, 0))))[0]))
    if _fails(g(np.zeros((1, dim))))[0]:
        return Found((), 1, True)
    failing, starts, used = _probe(g, dim, rng)
    points: tuple[DesignPoint, ...] = ()
    fruitless, used = 0, used + 1
    for start in starts:
        point = design_point(g, dim, start)
        used += point.evaluations
        known = points
        points = distinct([*points, point]) if point.converged else points
        fruitless = fruitless + 1 if len(points) == len(known) else 0
        if fruitless >= _PATIENCE + 2 * len(points):
            break
    for _ in range(_ROUNDS):
        further = further_points(g, dim, failing[unexplained(failing, points)], points, rng)
        used += further.evaluations
        if not further.points:
            break
        points = distinct([*points, *further.points])
    return Found(points, used)


def _probe(g: Margin, dim: int, rng: np.random.Generator) -> tuple[Array, Array, int]:
    """Look along random directions at several radii: failing probes, starts, how many.

    Starts are the origin, the weakest probes that hold, and directions at random.
    """
    unit = rng.standard_normal((_DIRECTIONS, dim))
    unit /= np.linalg.norm(unit, axis=1, keepdims=True)
    probes = (np.array(_RADII)[:, None, None] * unit).reshape(-1, dim)
    values = np.asarray(g(probes), dtype=float)
    fails = _fails(values)
    weakest = probes[~fails][np.argsort(values[~fails], kind="stable")[:64]]
    near = probes[: 4 * _MOST_POINTS]
    starts = np.vstack([np.zeros(dim), spread_out(weakest, 4), near])
    return probes[fails], starts, probes.shape[0]


def further_points(
    g: Margin,
    dim: int,
    failing: Array,
    known: Sequence[DesignPoint],
    rng: np.random.Generator,
) -> Found:
    """Turn failing draws into design points that are not among the known ones.

    Parameters
    ----------
    g : callable
        Scores (n, d) to margins (n,).
    dim : int
    failing : ndarray, (m, d) [-]
        Draws that fail.
    known : sequence of DesignPoint
    rng : numpy.random.Generator

    Returns
    -------
    Found
        New points only.
    """
    points: list[DesignPoint] = []
    used = 0
    for start in spread_out(failing, _MOST_STARTS):
        point = design_point(g, dim, start)
        used += point.evaluations
        if not point.converged:
            point = _walk_in(g, start, rng)
            used += point.evaluations
        points.append(point)
    old = {id(point) for point in known}
    merged = distinct([*known, *points])
    return Found(tuple(p for p in merged if id(p) not in old), used)


def distinct(points: Sequence[DesignPoint]) -> tuple[DesignPoint, ...]:
    """Drop repeated and far points; nearest first, converged before walked at like distance."""
    kept: list[DesignPoint] = []
    centres = np.empty((0, points[0].u.size if points else 0))
    for point in sorted(points, key=lambda p: p.beta + 0.3 * (not p.converged)):
        if kept and point.beta > kept[0].beta + _REACH:
            break
        if np.all(np.sum((centres - point.u) ** 2, axis=1) > _APART**2):
            kept.append(point)
            centres = np.vstack([centres, point.u])
    return tuple(kept[:_MOST_POINTS])


def unexplained(u: Array, points: Sequence[DesignPoint]) -> npt.NDArray[np.bool_]:
    """Which rows the plain density covers better than any shifted component, (n,).

    A component at u* outweighs the plain density where u·u* > |u*|²/2.
    """
    if not points:
        return np.ones(u.shape[0], dtype=bool)
    centres = np.array([point.u for point in points])
    lead = u @ centres.T - 0.5 * np.sum(centres**2, axis=1)
    rows: npt.NDArray[np.bool_] = lead.max(axis=1) < 0.0
    return rows


def _fails(values: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Margin below 0, or NaN."""
    rows: npt.NDArray[np.bool_] = ~(np.asarray(values, dtype=float) >= 0.0)
    return rows


def spread_out(points: Array, most: int) -> Array:
    """Pick points in different directions (more than 40 degrees apart), nearest first."""
    length = np.linalg.norm(points, axis=1)
    left = points[length > 0][np.argsort(length[length > 0], kind="stable")]
    picked: list[Array] = []
    while left.shape[0] and len(picked) < most:
        picked.append(left[0])
        cosine = left @ left[0] / (np.linalg.norm(left, axis=1) * np.linalg.norm(left[0]))
        left = left[cosine < 0.77]
    return np.array(picked).reshape(-1, points.shape[1])


def _walk_in(g: Margin, start: Array, rng: np.random.Generator, rounds: int = 24) -> DesignPoint:
    """Walk a failing point towards the origin by random steps that still fail.

    Needs no slope. The step is a pull inward plus noise; it grows when it works and
    shrinks when it does not.
    """
    u, step, used = start, 0.3, 0
    for _ in range(rounds):
        pull = 1.0 - step * rng.random((64, 1))
        trials = pull * (u + step * rng.standard_normal((64, u.size)))
        used += trials.shape[0]
        length = np.where(_fails(g(trials)), np.linalg.norm(trials, axis=1), np.inf)
        best = int(np.argmin(length))
        better = length[best] < np.linalg.norm(u)
        u = trials[best] if better else u
        step = min(0.5, 1.3 * step) if better else 0.6 * step
    beta = float(np.linalg.norm(u))
    alpha = u / beta if beta > 0 else u
    margin = float(np.asarray(g(u[None, :]), dtype=float)[0])
    return replace(
        DesignPoint(u, beta, alpha, margin, False, used + 1), alpha=np.asarray(alpha, dtype=float)
    )
