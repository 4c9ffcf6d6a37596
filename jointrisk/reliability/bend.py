"""Where to draw around a design point, by the bend of the surface there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jointrisk.reliability.form import DesignPoint

__all__ = ["Lay", "lay_out"]

Array = npt.NDArray[np.float64]
Which = npt.NDArray[np.intp]

_STEP = 0.5
"""Width of the second differences [-]: the bend over the part that matters."""
_SHARPEST, _FLATTEST = 0.6, 2.0
"""Widths of the lines' density along the main bends lie between these [-]."""
_SHAPED = 0.8
"""Share of the lines laid out by the bend; the others are plain: weights are bounded."""
_AROUND, _LEAST_WIDE = (0.75, 0.85), 1.3
"""Weighted draws: shaped up to the first of these shares, wide up to the second, then plain."""
_SLACK = 0.1
"""What lies so far inside the paraboloid (part of its distance) should hold [-]."""


@dataclass(frozen=True, slots=True)
class Lay:
    """Where lines pass the tangent plane: shaped by the bend, and a plain share."""

    point: DesignPoint
    slope: float
    """Of the margin at the point, per unit of distance."""
    bend: Array
    """Main curvatures, (d,), the normal's among them as 0 [-]."""
    axes: Array
    """Main directions in columns, (d, d)."""
    width: Array
    """(d,) [-]."""

    def guess(self, v: Array) -> Array:
        """Where the paraboloid lies on each line, (n,) [-]."""
        beta = self.point.beta
        return np.asarray(np.clip(beta + 0.5 * (v @ self.axes) ** 2 @ self.bend, 0.0, 2.0 * beta))

    def holds(self, u: Array) -> npt.NDArray[np.bool_]:
        """Tell which points should hold by a good deal, (n,)."""
        t = u @ self.point.alpha
        v = u - np.outer(t, self.point.alpha)
        return np.asarray(t < self.guess(v) - _SLACK * self.point.beta)

    def log_ratio(self, y: Array) -> Array:
        """Log of shaped over plain density of places in the main directions, (n,)."""
        return np.asarray(-0.5 * y**2 @ (self.width**-2 - 1.0) - np.log(self.width).sum())

    def flat(self, y: Array) -> Array:
        """Drop the normal's part of places in the main directions, (n, d)."""
        normal = self.point.alpha @ self.axes
        return np.asarray(y - np.outer(y @ normal, normal))

    def draw(self, rng: np.random.Generator, n: int) -> tuple[Array, Which, Array]:
        """Draw n places (n, d), what made each, and weights (n,)."""
        shaped = (np.arange(n) < round(_SHAPED * n)).astype(np.intp)
        y = rng.standard_normal((n, self.width.size)) * np.where(shaped[:, None], self.width, 1.0)
        y = self.flat(y)
        share = float(shaped.mean())
        return y @ self.axes.T, shaped, 1.0 / (share * np.exp(self.log_ratio(y)) + 1.0 - share)

    def draw_around(self, rng: np.random.Generator, n: int) -> tuple[Array, Which, Array]:
        """Draw n points (n, d) around the design point, with a wide and a plain share."""
        point, dim = self.point, self.width.size
        wide = max(_LEAST_WIDE, point.beta / np.sqrt(dim))
        which = np.searchsorted(_AROUND, (np.arange(n) + 0.5) / n)
        y = rng.standard_normal((n, dim))
        near, along = which == 0, y @ (point.alpha @ self.axes)
        u = np.where((which == 1)[:, None], wide, 1.0) * (y @ self.axes.T)
        u[near] = self.flat(y[near] * self.width) @ self.axes.T
        u[near] += np.outer(point.beta + along[near], point.alpha)
        t = u @ point.alpha
        logs = np.array(
            [
                point.beta * (t - 0.5 * point.beta) + self.log_ratio(self.flat(u @ self.axes)),
                0.5 * (1.0 - wide**-2) * np.sum(u**2, axis=1) - dim * np.log(wide),
                np.zeros(n),
            ]
        )
        share = np.bincount(which, minlength=3) / n
        return u, which, -np.logaddexp.reduce(logs + np.log(share)[:, None], axis=0)


def lay_out(g: Callable[[Array], Array], point: DesignPoint) -> Lay | None:
    """Take the second differences at a design point in one call, and what follows from them.

    Beyond the paraboloid of main curvatures κ at distance β, places in the tangent plane
    have density of variance about 1 / (1 + βκ) along each main direction, as β grows.

    Parameters
    ----------
    g : callable
        Scores (n, d) to margins (n,); called with 1 + 2d + d(d - 1)/2 rows.
    point : DesignPoint
        Converged.

    Returns
    -------
    Lay
        None where the margin has no slope.

    References
    ----------
    Breitung (1984), J. Eng. Mech. 110, 357, from memory, for the factors (1 + βκ)^(-1/2);
    the widths are derived from them.
    """
    dim, step = point.u.size, _STEP
    one, two = np.triu_indices(dim, 1)
    along = step * np.eye(dim)
    offsets = np.vstack([np.zeros(dim), along, -along, along[one] + along[two]])
    values = g(point.u + offsets)
    ahead, behind = values[1 : dim + 1], values[dim + 1 : 2 * dim + 1]
    second = np.diag(ahead + behind - 2.0 * values[0])
    mixed = values[2 * dim + 1 :] - ahead[one] - ahead[two] + values[0]
    second[one, two] = second[two, one] = mixed
    slope = float(np.linalg.norm(ahead - behind)) / (2.0 * step)
    if slope == 0.0:
        return None
    flat = np.eye(dim) - np.outer(point.alpha, point.alpha)
    bend, axes = np.linalg.eigh(flat @ second @ flat / (slope * step**2))
    width = 1.0 / np.sqrt(np.maximum(1.0 + point.beta * bend, 1e-9))
    return Lay(point, slope, bend, axes, np.clip(width, _SHARPEST, _FLATTEST))
