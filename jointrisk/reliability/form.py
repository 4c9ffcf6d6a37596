"""Design points: where a limit state is nearest to the origin of normal scores.

Limit states here take scores (n, d) and give margins (n,), failure below 0. Gradients are
finite differences made in one batched call, so a vectorised limit state is cheap however
many variables it has.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from jointrisk.errors import InputError

__all__ = ["DesignPoint", "design_point", "gradient", "joint_design_point", "lowest_on_sphere"]

Array = npt.NDArray[np.float64]
Margin = Callable[[Array], Array]

_STEP = 1e-4
"""Half width of the central difference [-]: truncation and rounding are both below 1e-7."""
_LONGEST = 40.0
"""No point farther from the origin is looked at [-]; beyond 38 a double holds no chance."""
_TRIALS = 0.5 ** np.arange(12.0)
"""Step lengths of one line search, evaluated together [-]."""


@dataclass(frozen=True, slots=True)
class DesignPoint:
    """A point of a limit state in the space of normal scores."""

    u: Array
    """Scores, (d,) [-]."""
    beta: float
    """Distance from the origin [-], negative when the origin itself fails."""
    alpha: Array
    """Unit normal that points into the failure region, (d,) [-]; NaN for a flat margin."""
    margin: float
    """Value of the limit state there, in its own unit."""
    converged: bool
    evaluations: int

    @property
    def probability(self) -> float:
        """First-order failure probability, Φ(−β) [-]."""
        return float(ndtr(-self.beta))


def gradient(
    g: Margin, u: Array, step: float = _STEP, *, forward: bool = False
) -> tuple[float, Array]:
    """Give the margin and its central-difference gradient from one call of 2d + 1 rows.

    Parameters
    ----------
    g : callable
        Scores (n, d) to margins (n,).
    u : ndarray, (d,) [-]
        Where.
    step : float
        Half width of the difference [-].
    forward : bool
        Forward differences: d + 1 rows, and an error that grows with the bend.

    Returns
    -------
    float and ndarray, (d,)
        In the margin's unit; entries that are not finite are given as 0.
    """
    offsets = step * np.eye(u.size)
    rows = (u, u + offsets) if forward else (u, u + offsets, u - offsets)
    values = np.asarray(g(np.vstack(rows)), dtype=float)
    with np.errstate(invalid="ignore"):  # a margin may be infinite; its slope is then 0
        if forward:
            slope = (values[1:] - values[0]) / step
        else:
            slope = (values[1 : u.size + 1] - values[u.size + 1 :]) / (2.0 * step)
    return float(values[0]), np.where(np.isfinite(slope), slope, 0.0)


def design_point(
    g: Margin,
    dim: int,
    start: npt.ArrayLike | None = None,
    *,
    tolerance: float = 1e-4,
    max_iterations: int = 60,
    longest: float = _LONGEST,
    forward: bool = False,
) -> DesignPoint:
    """Find a point of g = 0 that is nearest to the origin, from one start.

    The Hasofer-Lind-Rackwitz-Fiessler step with a line search on the merit function
    ``|u|^2 / 2 + c |g|`` (improved HL-RF; Zhang & Der Kiureghian 1995, from memory; the
    original step: Rackwitz & Fiessler 1978). As long as full steps are good, the gradient
    comes from the same call as the step.

    Parameters
    ----------
    g : callable
        Scores (n, d) to margins (n,).
    dim : int
        Number of coordinates d.
    start : array_like, (d,) [-], optional
        Where to begin; the origin when not given.
    tolerance : float
        Accepted distance from the surface and from the foot of the normal [-].
    max_iterations : int
        Give up after as many steps.
    longest : float
        No point farther from the origin is looked at [-].
    forward : bool
        Forward differences: about half the rows.

    Returns
    -------
    DesignPoint
        `converged` is False where the margin is flat or the search did not settle.

    Raises
    ------
    InputError
        If `start` has another shape than (d,).
    """
    u, rows = _start(start, dim), (1 if forward else 2) * dim + 1
    margin, slope = gradient(g, u, forward=forward)
    origin = float(np.asarray(g(np.zeros((1, dim))), dtype=float)[0]) if u.any() else margin
    used, converged, bold = rows + int(u.any()), False, True
    for _ in range(max_iterations):
        size = float(np.linalg.norm(slope))
        if size == 0 or not np.isfinite(margin):
            break
        foot = slope * (slope @ u - margin) / size**2
        if abs(margin) <= tolerance * size and np.linalg.norm(foot - u) <= tolerance * max(
            1.0, float(np.linalg.norm(u))
        ):
            converged = True
            break
        trials = _clip(u + _TRIALS[:, None] * (foot - u), longest)
        if bold:
            there = gradient(g, trials[0], forward=forward)
            used += rows
            bold = _chosen(u, margin, size, foot, trials[:1], np.array(there[:1])) == (0, True)
            if bold:
                u, (margin, slope) = trials[0], there
                continue
        values = np.asarray(g(trials), dtype=float)
        chosen, enough = _chosen(u, margin, size, foot, trials, values)
        u, bold = trials[chosen], enough and chosen == 0
        margin, slope = gradient(g, u, forward=forward)
        used += trials.shape[0] + rows
    return _point(u, margin, slope, origin, converged, used)


def _start(start: npt.ArrayLike | None, dim: int) -> Array:
    """Give the start as floats, (d,)."""
    if dim < 1:
        raise InputError(f"the number of coordinates must be >= 1, got {dim}")
    u = np.zeros(dim) if start is None else np.array(start, dtype=float)
    if u.shape != (dim,) or not np.all(np.isfinite(u)):
        raise InputError(f"start must be {dim} finite numbers, got shape {u.shape}")
    return u


def _clip(points: Array, longest: float) -> Array:
    """Pull points that lie farther out than `longest` back onto that sphere."""
    length = np.linalg.norm(points, axis=1, keepdims=True)
    clipped: Array = points * np.minimum(1.0, longest / np.maximum(length, 1e-300))
    return clipped


def _chosen(
    u: Array, margin: float, size: float, foot: Array, trials: Array, values: Array
) -> tuple[int, bool]:
    """First trial that lowers the merit enough (Armijo), else the one of lowest merit."""
    reach = float(foot @ foot)
    penalty = 2.0 * float(np.linalg.norm(u)) / size
    if margin != 0.0:
        # Bounded: beside a bent surface a larger one lets only tiny steps through.
        most = 2.0 * max(float(np.linalg.norm(u)), reach**0.5) / size
        penalty = max(penalty, min(0.5 * reach / abs(margin), most))
    merit = 0.5 * np.sum(trials**2, axis=1) + penalty * np.abs(values)
    merit = np.where(np.isfinite(merit), merit, np.inf)
    now = 0.5 * float(u @ u) + penalty * abs(margin)
    descent = float(u @ (foot - u)) - penalty * abs(margin)
    enough = merit <= now + 1e-4 * _TRIALS[: merit.size] * min(descent, 0.0)
    good = bool(enough.any())
    return int(np.argmax(enough)) if good else int(np.argmin(merit)), good


def _point(
    u: Array, margin: float, slope: Array, origin: float, converged: bool, used: int
) -> DesignPoint:
    """Assemble the result; β is negative where the origin fails."""
    size = float(np.linalg.norm(slope))
    alpha = -slope / size if size > 0 else np.full(u.size, np.nan)
    beta = float(np.linalg.norm(u)) * (-1.0 if origin < 0 else 1.0)
    return DesignPoint(u, beta, alpha, margin, converged, used)


def joint_design_point(
    margins: Sequence[Margin], dim: int, start: npt.ArrayLike | None = None
) -> DesignPoint:
    """Find the point nearest to the origin where several margins are all at most 0.

    The corner of two surfaces has no normal, so the search is a constrained one
    (sequential quadratic programming; Kraft 1988, as in scipy's SLSQP).

    Parameters
    ----------
    margins : sequence of callable
        Each takes scores (n, d) to margins (n,).
    dim : int
        Number of coordinates d.
    start : array_like, (d,) [-], optional
        Where to begin; the origin when not given.

    Returns
    -------
    DesignPoint
        `converged` is True where all margins are at most 0 within 1e-6 of their size at
        the origin; `alpha` points from the origin to it.
    """
    from scipy.optimize import minimize

    begin = _start(start, dim)
    counted = [_Counted(g) for g in margins]
    at_origin = [abs(_value(g, np.zeros(dim))) for g in counted]
    if not np.all(np.isfinite(at_origin)):
        return DesignPoint(begin, 0.0, _unit(begin), max(at_origin), False, len(margins))
    sizes = [size if size > 0 else 1.0 for size in at_origin]

    def constraint(g: Margin, size: float) -> dict[str, object]:
        return {
            "type": "ineq",
            "fun": lambda u: -_value(g, u) / size,
            "jac": lambda u: -gradient(g, u)[1] / size,
        }

    found = minimize(
        lambda u: 0.5 * float(u @ u),
        begin,
        jac=lambda u: u,
        method="SLSQP",
        constraints=[constraint(g, size) for g, size in zip(counted, sizes, strict=True)],
        options={"maxiter": 60, "ftol": 1e-8},
    )
    u = np.asarray(found.x, dtype=float)
    worst = max(_value(g, u) / s for g, s in zip(counted, sizes, strict=True))
    used = sum(g.rows for g in counted)
    beta = float(np.linalg.norm(u))
    return DesignPoint(u, beta, _unit(u), worst, bool(worst <= 1e-6 and beta < _LONGEST), used)


def _value(g: Margin, u: Array) -> float:
    """Give the margin at one point."""
    return float(np.asarray(g(u[None, :]), dtype=float)[0])


@dataclass(slots=True)
class _Counted:
    """A margin that counts its rows."""

    g: Margin
    rows: int = 0

    def __call__(self, u: Array) -> Array:
        self.rows += u.shape[0]
        return self.g(u)


def lowest_on_sphere(
    g: Margin,
    dim: int,
    beta: float,
    start: npt.ArrayLike | None = None,
    *,
    tolerance: float = 1e-3,
    max_iterations: int = 40,
) -> DesignPoint:
    """Find a point of smallest margin at distance `beta` from the origin.

    The advanced mean-value step ``u <- -beta grad g / |grad g|`` (Youn, Choi & Du 2005,
    "Enriched performance measure approach", from memory), with step halving along the
    sphere where it does not lower the margin. Unlike `design_point` it has an answer
    wherever g = 0 lies.

    Parameters
    ----------
    g : callable
        Scores (n, d) to margins (n,).
    dim : int
        Number of coordinates d.
    beta : float
        Radius of the sphere, > 0 [-].
    start : array_like, (d,) [-], optional
        Direction to begin with; the steepest descent at the origin when not given.
    tolerance : float
        Stop when a step moves less than this share of `beta` [-].
    max_iterations : int

    Returns
    -------
    DesignPoint
        Its `beta` is the radius; `margin` is the lowest margin found.

    Raises
    ------
    InputError
        If `beta` is not positive or `start` has another shape than (d,).
    """
    if not (np.isfinite(beta) and beta > 0):
        raise InputError(f"beta must be finite and > 0, got {beta:g}")
    direction = _start(start, dim)
    used, converged = 0, False
    if not direction.any():
        direction = -gradient(g, direction)[1]
        used += 2 * dim + 1
    if not direction.any():
        direction = np.ones(dim)
    u = beta * direction / np.linalg.norm(direction)
    margin, slope = gradient(g, u)
    used += 2 * dim + 1
    for _ in range(max_iterations):
        size = float(np.linalg.norm(slope))
        if size == 0 or not np.isfinite(margin):
            break
        target = -beta * slope / size
        trials = _along_sphere(u, target, beta)
        values = np.asarray(g(trials), dtype=float)
        used += trials.shape[0]
        lower = np.flatnonzero(values < margin)
        if lower.size == 0 or np.linalg.norm(target - u) <= tolerance * beta:
            converged = True
            break
        u = trials[lower[0]]
        margin, slope = gradient(g, u)
        used += 2 * dim + 1
    return DesignPoint(u, beta, _unit(-slope), margin, converged, used)


def _along_sphere(u: Array, target: Array, beta: float) -> Array:
    """Points between `u` and `target`, pushed out to the sphere, longest step first."""
    mixed = u + _TRIALS[:, None] * (target - u)
    length = np.linalg.norm(mixed, axis=1, keepdims=True)
    pushed: Array = beta * mixed / np.maximum(length, 1e-12)
    return pushed


def _unit(vector: Array) -> Array:
    """Give the unit vector, NaN for a zero one."""
    size = float(np.linalg.norm(vector))
    return vector / size if size > 0 else np.full(vector.size, np.nan)
