"""Panels of normal scores on which a posterior is integrated: where they lie, how fine they are.

Gauss-Legendre with 16 nodes a panel, of densities held as logs. A panel is halved until its mass
no longer changes (adaptive quadrature, any text book on numerics).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from jointrisk.errors import InputError
from jointrisk.spread import Spread
from jointrisk.spread.base import score

__all__ = [
    "NODE",
    "PROJECT",
    "REACH",
    "WEIGHT",
    "at_the_end",
    "halved",
    "log_weights_of",
    "nodes_of",
    "panels_of",
    "resolved",
    "worth_a_look",
]

Array = npt.NDArray[np.float64]
LogDensity = Callable[[Array], Array]

NODE, WEIGHT = np.polynomial.legendre.leggauss(16)
PROJECT = np.polynomial.legendre.legvander(NODE, 15) * WEIGHT[:, None] * (np.arange(16) + 0.5)
"""Values at the nodes to coefficients of Legendre polynomials, from the right, (16, 16)."""
_LEFT = PROJECT @ np.polynomial.legendre.legvander(0.5 * (NODE - 1.0), 15).T
_RIGHT = PROJECT @ np.polynomial.legendre.legvander(0.5 * (NODE + 1.0), 15).T
"""Values at the nodes to those at the nodes of either half."""
REACH = 37.5
"""Scores are looked at from minus to plus this: all that doubles can hold."""
_FURTHEST = 1e5
"""So far where value and score follow from each other directly."""
_FORGET = 900.0
"""A panel of a mass below exp(-this) of the largest is dropped: it is nothing to a double."""
_CARE = 120.0
"""A panel of a mass below exp(-this) of the largest need not be exact."""
_CLOSE = 1e-10
_THINNEST = 1e-9
"""Panels narrower than this are not halved: scores hold no more digits."""
_HALVINGS = 48
_MOST_PANELS = 2**15
_MOST_LOST = 1e-11
"""Share of the posterior that may be left out where a prior reaches further than can be held."""


def at_the_end(edges: Array) -> bool:
    """Return whether panels go as far as scores are looked at."""
    return bool(edges.size) and bool(np.abs(edges).max() >= REACH)


def panels_of(prior: Spread, further: bool = False) -> Array:
    """Return panels one score wide, cut where the prior jumps, (p, 2); or far beyond."""
    ends = np.linspace(-REACH, REACH, 76)
    if further:
        beyond = REACH * np.geomspace(1.03, _FURTHEST / REACH, 300)
        ends = np.concatenate([-beyond[::-1], ends, beyond])
    jumps = prior._jumps()
    if jumps.size:
        with np.errstate(all="ignore"):
            after = score(*prior._tails(jumps))
            before = score(*prior._tails(np.nextafter(jumps, -np.inf)))
        cuts = np.clip(np.concatenate([before, after]), -REACH, REACH)
        ends = np.union1d(ends, cuts)
    return np.asarray(np.column_stack([ends[:-1], ends[1:]]))


def worth_a_look(edges: Array, log_density: LogDensity) -> Array:
    """Return the panels that can hold mass: those beside the best, and the not hopeless."""
    middle, half = edges.mean(axis=1), 0.5 * np.diff(edges)[:, 0]
    looked = log_density(middle[:, None] + half[:, None] * np.array([-1 + 1e-9, 0.0, 1 - 1e-9]))
    best = looked.max(axis=1)
    top = best.max()
    if not np.isfinite(top):
        return edges[:0]
    keep = best > top - _FORGET
    near = np.flatnonzero(best == top)
    for step in (-1, 1):
        keep[np.clip(near + step, 0, best.size - 1)] = True
    return np.asarray(edges[keep])


def halved(edges: Array, log_density: LogDensity) -> tuple[Array, Array]:
    """Return panels, (p, 2), fine enough for the posterior, and the density on them, (p, 16)."""
    done: list[tuple[Array, Array]] = []
    density = log_density(nodes_of(edges))
    best = -np.inf
    for halving in range(_HALVINGS):
        mass = _log_mass(edges, density)
        best = max(best, float(mass.max()))
        middle = edges.mean(axis=1)
        edges = np.column_stack([edges[:, 0], middle, middle, edges[:, 1]]).reshape(-1, 2)
        density = log_density(nodes_of(edges))
        finer = _log_mass(edges, density)
        best = max(best, float(finer.max()))
        with np.errstate(invalid="ignore"):
            change = np.abs(np.logaddexp(finer[::2], finer[1::2]) - mass)
        rounding = _CLOSE + 64.0 * np.finfo(float).eps * abs(best)
        settled = np.repeat((change <= rounding) | (mass < best - _CARE), 2)
        settled |= np.diff(edges)[:, 0] < _THINNEST
        settled |= halving == _HALVINGS - 1
        alive = finer > best - _FORGET
        done.append((edges[settled & alive], density[settled & alive]))
        edges, density = edges[~settled & alive], density[~settled & alive]
        if not edges.size:
            break
    edges, density = (np.concatenate(part) for part in zip(*done, strict=True))
    alive = _log_mass(edges, density) > best - _FORGET
    order = np.argsort(edges[alive, 0], kind="stable")
    return edges[alive][order], density[alive][order]


def resolved(
    edges: Array, density: Array, prior: Spread, resolution: float
) -> tuple[Array, Array, float]:
    """Return panels over none of which the unknown moves further than `resolution`.

    The log-density is a polynomial over each by now, so nothing is asked for again. Where the
    prior reaches so far that they would be too many, those of least mass are dropped; the share
    that was is returned with edges and density.
    """
    mass, width = _log_mass(edges, density), _width(edges, prior)
    order = np.argsort(-mass, kind="stable")
    enough = np.cumsum(np.maximum(np.ceil(width / resolution), 1.0)[order]) > _MOST_PANELS
    lost = float(np.exp(np.logaddexp.reduce(mass[order][enough]) - np.logaddexp.reduce(mass)))
    if lost > _MOST_LOST:
        raise InputError(
            f"location ({prior}) reaches too far: within what 1 in {1 / _MOST_LOST:,.0f} leaves"
            f" out it covers more than {_MOST_PANELS} times within_sd = {resolution:g}; give one"
            " that is narrower or has lighter tails, or a within_sd that is not next to nothing"
        )
    keep = np.sort(order[~enough])
    edges, density = edges[keep], density[keep]
    for _ in range(_HALVINGS):
        wide = _width(edges, prior) > resolution
        wide &= np.diff(edges)[:, 0] > _THINNEST
        if not wide.any():
            break
        low, high = edges[wide].T
        middle = 0.5 * (low + high)
        new = np.column_stack([low, middle, middle, high]).reshape(-1, 2)
        with np.errstate(invalid="ignore"):
            inner = np.stack([density[wide] @ _LEFT, density[wide] @ _RIGHT], axis=1)
        inner = np.where(np.isnan(inner), -np.inf, inner).reshape(-1, NODE.size)
        edges = np.concatenate([edges[~wide], new])
        density = np.concatenate([density[~wide], inner])
    order = np.argsort(edges[:, 0], kind="stable")
    return edges[order], density[order], lost


def nodes_of(edges: Array) -> Array:
    """Return the nodes of panels, (p, 16)."""
    return np.asarray(edges.mean(axis=1)[:, None] + 0.5 * np.diff(edges) * NODE)


def log_weights_of(edges: Array) -> Array:
    """Return the log weights of the nodes of panels, (p, 16)."""
    return np.asarray(np.log(0.5 * np.diff(edges)) + np.log(WEIGHT))


def _log_mass(edges: Array, density: Array) -> Array:
    """Return the log mass of panels, (p,)."""
    return np.asarray(np.logaddexp.reduce(density + log_weights_of(edges), axis=1))


def _width(edges: Array, prior: Spread) -> Array:
    """Return how far the unknown moves over each panel, (p,)."""
    ends = prior.from_normal(nodes_of(edges)[:, [0, -1]])
    return np.asarray(ends[:, 1] - ends[:, 0])
