"""Second-order reliability: the limit surface as a paraboloid at each design point."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from jointrisk.reliability.form import DesignPoint, Margin, design_point, gradient
from jointrisk.reliability.interval import Bounds
from jointrisk.reliability.outcome import Outcome
from jointrisk.reliability.search import find_points
from jointrisk.reliability.space import Cell, Problem
from jointrisk.reliability.streams import block_rng

__all__ = ["breitung", "curvatures", "paraboloid", "sorm", "tvedt", "union_bounds"]

Array = npt.NDArray[np.float64]

PURPOSE = 12
_STEP = 1e-2
"""Half width of the second difference [-]: rounding is then below 1e-10 of the margin."""
_ROWS = 4096
_NODES = 64


def curvatures(g: Margin, point: DesignPoint) -> tuple[Array, int]:
    """Give the main curvatures of the limit surface at a design point.

    The Hessian is taken by central differences in axes turned so that the last one is the
    normal; its tangential block over the slope has the curvatures as eigenvalues.

    Parameters
    ----------
    g : callable
        Scores (n, d) to margins (n,).
    point : DesignPoint

    Returns
    -------
    ndarray, (d - 1,) [-], and int
        Positive where the surface bends away from the origin; calls made. NaN where the
        margin is not finite around the point or has no slope.
    """
    dim = point.u.size
    if dim == 1:
        return np.empty(0), 0
    slope = float(np.linalg.norm(gradient(g, point.u)[1]))
    # The signs of the axes do not matter; a QR of (normal, unit axes) turns them.
    axes = np.linalg.qr(np.column_stack([point.alpha, np.eye(dim)]))[0][:, 1:dim].T
    first, second = np.triu_indices(dim - 1)
    parts = [
        _second(g, point.u, axes[first[at : at + _ROWS]], axes[second[at : at + _ROWS]])
        for at in range(0, first.size, _ROWS)
    ]
    hessian = np.empty((dim - 1, dim - 1))
    hessian[first, second] = hessian[second, first] = np.concatenate(parts)
    used = 2 * dim + 1 + 4 * first.size
    if slope == 0 or not np.all(np.isfinite(hessian)):
        return np.full(dim - 1, np.nan), used
    return np.asarray(np.linalg.eigvalsh(hessian / slope)), used


def _second(g: Margin, u: Array, a: Array, b: Array) -> Array:
    """Mixed second derivatives along pairs of unit vectors, (n,)."""
    signs = ((1, 1), (1, -1), (-1, 1), (-1, -1))
    with np.errstate(invalid="ignore"):  # infinite margins give NaN, told by the caller
        found = [s * t * np.asarray(g(u + _STEP * (s * a + t * b)), dtype=float) for s, t in signs]
        return np.asarray(sum(found) / (4.0 * _STEP**2), dtype=float)


def breitung(beta: float, kappa: npt.ArrayLike) -> float:
    """Give Φ(−β) Π (1 + β κ)^(−1/2), exact as β grows.

    Parameters
    ----------
    beta : float
        Distance of the design point, >= 0 [-].
    kappa : array_like, (d - 1,) [-]
        Curvatures; 1 + β κ > 0.

    Returns
    -------
    float
        [-].

    References
    ----------
    Breitung (1984), J. Eng. Mech. 110, 357.
    """
    return float(ndtr(-beta) * np.prod((1.0 + beta * np.asarray(kappa, dtype=float)) ** -0.5))


def tvedt(beta: float, kappa: npt.ArrayLike) -> float:
    """Give the three-term formula.

    Parameters
    ----------
    beta, kappa
        As in `breitung`; the formula also needs 1 + (β + 1) κ > 0, else it is NaN.

    Returns
    -------
    float
        [-].

    References
    ----------
    Tvedt (1983), Veritas report RDIV/20-004-83; as told in Madsen, Krenk & Lind (1986),
    Methods of Structural Safety. From memory.
    """
    bend = np.asarray(kappa, dtype=float)
    if np.any(1.0 + (beta + 1.0) * bend <= 0):
        return float("nan")
    near = float(np.prod((1.0 + beta * bend) ** -0.5))
    far = float(np.prod((1.0 + (beta + 1.0) * bend) ** -0.5))
    turned = float(np.real(np.prod((1.0 + (beta + 1j) * bend) ** -0.5)))
    tail = float(ndtr(-beta))
    density = float(np.exp(-0.5 * beta**2) / np.sqrt(2.0 * np.pi))
    lead = beta * tail - density
    return tail * near + lead * (near - far) + (beta + 1.0) * lead * (near - turned)


def paraboloid(beta: float, kappa: npt.ArrayLike) -> float:
    """Give the exact chance that U > β + ½ Σ κ V², all independent standard normal.

    The moment generating function of U − ½ Σ κ V² is exp(s²/2) Π (1 + s κ)^(−1/2); the
    chance is its inversion along a line Re s = c between 0 and the nearest branch point.
    With c at the saddle point the integrand does not swing.

    Parameters
    ----------
    beta, kappa
        As in `breitung`.

    Returns
    -------
    float
        [-].

    References
    ----------
    Tvedt (1990), J. Eng. Mech. 116, 1183.
    """
    from scipy.integrate import quad

    bend = np.asarray(kappa, dtype=float)
    saddle = 0.5 * (beta + np.sqrt(beta**2 + 4.0))
    sharpest = float(np.max(-bend, initial=0.0))
    if sharpest > 0:
        saddle = min(saddle, 0.5 * (beta + 1.0 / sharpest))

    def part(t: float) -> float:
        s = saddle + 1j * t
        log = -0.5 * t * t + 1j * t * (saddle - beta) - 0.5 * np.sum(np.log(1.0 + s * bend))
        return float(np.real(np.exp(log - at_saddle) / s))

    at_saddle = -0.5 * float(np.sum(np.log(1.0 + saddle * bend)))
    area = quad(part, 0.0, 12.0, limit=200, epsabs=0.0, epsrel=1e-8)[0]
    return float(np.exp(0.5 * saddle**2 - saddle * beta + at_saddle) * area / np.pi)


def union_bounds(probability: npt.ArrayLike, alpha: npt.ArrayLike) -> tuple[float, float]:
    """Bound the chance of a union of half-spaces from the chances of its pairs.

    Parameters
    ----------
    probability : array_like, (k,) [-]
        Of each half-space, below 1.
    alpha : array_like, (k, d)
        Its unit normal, into the failing side.

    Returns
    -------
    tuple of float
        Low and high [-].

    References
    ----------
    Ditlevsen (1979), J. Struct. Mech. 7, 453. The chance of a pair is an integral over the
    correlation: Plackett (1954), Biometrika 41, 351.
    """
    single = np.asarray(probability, dtype=float)
    order = np.argsort(-single, kind="stable")
    single, normals = single[order], np.asarray(alpha, dtype=float)[order]
    pair = _pairs(-ndtri(single), np.clip(normals @ normals.T, -1.0, 1.0), single)
    below = np.tril(pair, -1)
    low = float(single[0] + np.sum(np.maximum(0.0, single - below.sum(axis=1))[1:]))
    return low, max(low, float(min(1.0, np.sum(single - below.max(axis=1)))))


def _pairs(beta: Array, rho: Array, single: Array) -> Array:
    """Chance that both of two correlated scores exceed their betas, (k, k)."""
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    angle = np.arcsin(rho)
    a, b = beta[:, None], beta[None, :]
    total = single[:, None] * single[None, :]
    for node, weight in zip(nodes, weights, strict=True):
        theta = 0.5 * angle * (1.0 + node)
        square = np.maximum(np.cos(theta) ** 2, 1e-300)
        power = (a * a + b * b - 2.0 * a * b * np.sin(theta)) / (2.0 * square)
        total = total + weight * angle * np.exp(-np.minimum(power, 745.0)) / (4.0 * np.pi)
    return np.clip(total, 0.0, np.minimum(single[:, None], single[None, :]))


@dataclass(slots=True)
class _Watched:
    """A margin that counts its calls and NaNs."""

    margin: Margin
    calls: int = 0
    undefined: int = 0

    def __call__(self, u: Array) -> Array:
        found = np.asarray(self.margin(u), dtype=float)
        self.calls += found.size
        self.undefined += int(np.isnan(found).sum())
        return found


@dataclass(frozen=True, slots=True)
class _Second:
    """Second-order values of one cell or one point."""

    value: float
    low: float
    high: float
    simple: float
    """By Breitung's formula."""
    three: float
    """By Tvedt's three terms."""
    settled: bool
    notes: tuple[str, ...] = ()


def sorm(problem: Problem, *, seed: int) -> Outcome:
    """Estimate a failure probability from the curvatures at the design points.

    Each point has the chance of its paraboloid (`paraboloid`); several points of a cell
    are joined by `union_bounds` and the middle is given. There is no interval.

    Parameters
    ----------
    problem : Problem
    seed : int
        For the search.

    Returns
    -------
    Outcome
        `settled` is False where no point was found, a search did not settle, or
        1 + β κ <= 0 at a point: the surface bends around the origin more than a sphere,
        the point is not a nearest one, and its first-order value is used.
    """
    total, used, undefined = np.zeros(5), 0, 0
    settled = True
    notes: tuple[str, ...] = ()
    points: list[tuple[Cell, DesignPoint]] = []
    for number, cell in enumerate(problem.space.cells):
        g = _Watched(partial(problem.margin, cell=cell))
        found = find_points(g, problem.space.dim, block_rng(seed, PURPOSE, number))
        local = found.points
        if found.origin_fails and problem.space.dim:
            local = tuple(p for p in (design_point(g, problem.space.dim),) if p.converged)
            settled &= bool(local)
        here = _joined([_at_point(g, point) for point in local], local, found.origin_fails)
        total += cell.probability * np.array(
            [here.value, here.low, here.high, here.simple, here.three]
        )
        settled &= here.settled
        notes += tuple(note for note in here.notes if note not in notes)
        points += [(cell, point) for point in local]
        used, undefined = used + g.calls, undefined + g.undefined
    nan = float("nan")
    value, low, high, simple, three = (float(v) for v in total)
    notes = (
        f"second-order value: no interval; Breitung {simple:.4g}, Tvedt's three terms {three:.4g}",
        *((f"union of several points: between {low:.4g} and {high:.4g}",) if low < high else ()),
        *notes,
    )
    if not points and problem.space.dim:
        notes += ("no design point found: nothing failed where the search looked",)
    exact = problem.space.dim == 0
    return Outcome(
        Bounds(value, nan, nan, nan),
        used,
        undefined,
        settled=settled and (bool(points) or exact),
        points=tuple(points),
        notes=notes,
    )


def _at_point(g: Margin, point: DesignPoint) -> _Second:
    """Second-order chance at one point; a failing origin is turned inside out."""
    first = point.probability
    plain = _Second(first, first, first, first, first, False)
    if not point.converged:
        return replace(plain, notes=("a search did not settle on the surface: first order there",))
    kappa, _ = curvatures(g, point)
    inside = point.beta < 0
    beta, bend = abs(point.beta), -kappa if inside else kappa
    if not np.all(np.isfinite(bend)):
        return replace(plain, notes=("no curvature at a design point: first order there",))
    least = float(np.min(1.0 + beta * bend, initial=1.0))
    if least <= 1e-3:
        return replace(
            plain,
            notes=(f"curvature makes second order invalid: 1 + beta kappa = {least:.3g}",),
        )
    found = [min(1.0, f(beta, bend)) for f in (paraboloid, breitung, tvedt)]
    if inside:
        found = [1.0 - value for value in found]
    return _Second(found[0], found[0], found[0], found[1], found[2], True)


def _joined(parts: list[_Second], points: tuple[DesignPoint, ...], origin_fails: bool) -> _Second:
    """Join the points of one cell."""
    if not parts:
        flat = float(origin_fails)
        return _Second(flat, flat, flat, flat, flat, True)
    if len(parts) == 1:
        return parts[0]
    alpha = np.array([_direction(point) for point in points])
    tiny = np.finfo(float).tiny
    low, high = union_bounds([min(max(p.value, tiny), 1 - 1e-15) for p in parts], alpha)
    return _Second(
        0.5 * (low + high),
        low,
        high,
        min(1.0, sum(p.simple for p in parts)),
        min(1.0, sum(p.three for p in parts)),
        all(p.settled for p in parts),
        tuple(dict.fromkeys(note for p in parts for note in p.notes)),
    )


def _direction(point: DesignPoint) -> Array:
    """Give the unit vector towards the point; its normal where it sits at the origin."""
    size = float(np.linalg.norm(point.u))
    return point.u / size if size > 0 else np.nan_to_num(point.alpha)
