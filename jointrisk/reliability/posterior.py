"""One unknown after data: its prior times a likelihood, integrated on panels.

The unknown is carried as the standard normal score u of its prior, so that every spread will
do, bounded ones, mixtures and lists of values too: the posterior density over u is
φ(u)·L(x(u)). Gauss-Legendre panels are halved until the mass of each no longer changes;
everything is held as a log, so that data far from the prior cost digits of nothing.

Bayes' rule as in any text, e.g. Gelman et al., *Bayesian Data Analysis* (3rd ed. 2013), ch. 1-3.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jointrisk.errors import InputError
from jointrisk.reliability.posterior_panels import (
    PROJECT,
    REACH,
    at_the_end,
    halved,
    log_weights_of,
    nodes_of,
    panels_of,
    resolved,
    worth_a_look,
)
from jointrisk.spread import Mixture, Spread
from jointrisk.spread.solve import find_root

__all__ = ["Part", "Posterior", "posterior_of"]

Array = npt.NDArray[np.float64]
LogLikelihood = Callable[[Spread, Array], Array]

_LOG_ROOT_TWO_PI = 0.5 * float(np.log(2.0 * np.pi))
_AT_END = 1e-9
"""Posterior mass at the end of the scores from which it is cut off there."""


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """The posterior under one prior (one part of it, where the prior is a mixture)."""

    prior: Spread
    edges: Array
    """Ends of the panels, (p, 2), scores of `prior` [-]."""
    log_density: Array
    """Log of the posterior density over the score at the nodes, (p, 16) [-]."""

    @property
    def values(self) -> Array:
        """The unknown at the nodes, (p, 16) [unit of the unknown]."""
        return self.prior.from_normal(nodes_of(self.edges))

    @property
    def log_weights(self) -> Array:
        """Log of the posterior weight of each node, (p, 16) [-]."""
        return self.log_density + log_weights_of(self.edges)

    @property
    def mass(self) -> Array:
        """Posterior mass of each panel, (p,) [-]."""
        return np.asarray(np.exp(self.log_weights).sum(axis=1))

    def below(self, u: Array) -> Array:
        """Return the posterior mass at or below scores `u` of the prior.

        Parameters
        ----------
        u : ndarray, (n,) [-]
            Scores.

        Returns
        -------
        ndarray, (n,) [-]
        """
        panel = np.minimum(np.searchsorted(self.edges[:, 1], u), self.edges.shape[0] - 1)
        low, high = self.edges[panel].T
        at = np.clip((2.0 * u - low - high) / (high - low), -1.0, 1.0)
        before = np.cumsum(self.mass) - self.mass
        return np.asarray(before[panel] + _series(self._integral()[:, panel], at))

    def score(self, mass: Array) -> Array:
        """Return the scores of the prior with posterior mass `mass` at or below them.

        Parameters
        ----------
        mass : ndarray, (n,) [-]
            From 0 to that of all panels.

        Returns
        -------
        ndarray, (n,) [-]
        """
        total = np.cumsum(self.mass)
        panel = np.minimum(np.searchsorted(total, mass), total.size - 1)
        goal = mass - (total - self.mass)[panel]
        integral = self._integral()[:, panel]

        def residual(at: Array, i: npt.NDArray[np.intp]) -> Array:
            return _series(integral[:, i], at) - goal[i]

        where = find_root(residual, np.full(mass.size, -1.0), np.ones(mass.size))
        low, high = self.edges[panel].T
        return np.asarray(0.5 * (low + high) + 0.5 * (high - low) * where)

    def _integral(self) -> Array:
        """Return Legendre coefficients of the mass from the panel's start, (17, p)."""
        density = np.exp(self.log_density) * 0.5 * np.diff(self.edges)
        return np.asarray(np.polynomial.legendre.legint((density @ PROJECT).T, lbnd=-1))


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """What is believed of one unknown after the data."""

    prior: Spread
    parts: tuple[Part, ...]
    log_evidence: float
    """Log of the chance (or density) of the data under the prior [-]."""
    left_out: float = 0.0
    """Share far out in the tails that is left out, where a prior reaches very far [-]."""

    @property
    def values(self) -> Array:
        """The unknown at all nodes, (k,) [unit of the unknown]."""
        return np.concatenate([part.values.ravel() for part in self.parts])

    @property
    def scores(self) -> Array:
        """Scores of all nodes, each of its own part of the prior, (k,) [-]."""
        return np.concatenate([nodes_of(part.edges).ravel() for part in self.parts])

    @property
    def log_weights(self) -> Array:
        """Log of the posterior weight of each node, (k,) [-]."""
        return np.concatenate([part.log_weights.ravel() for part in self.parts])

    def expect(self, values: Array) -> tuple[float, float]:
        """Return mean and standard deviation of something known at the nodes.

        Parameters
        ----------
        values : ndarray, (k,) [any]
            What it is at `values`.

        Returns
        -------
        tuple of float [same as values]
        """
        weight = np.exp(self.log_weights)
        keep = weight > 0.0
        weight, values = weight[keep] / weight[keep].sum(), values[keep]
        mean = float(weight @ values)
        return mean, float(np.sqrt(weight @ (values - mean) ** 2))

    def quantile(self, q: npt.ArrayLike) -> Array:
        """Return the value that the unknown lies at or below with chance `q`.

        Parameters
        ----------
        q : array_like, (n,) [-]
            Chances, 0 to 1.

        Returns
        -------
        ndarray, (n,) [unit of the unknown]

        Raises
        ------
        InputError
            If `q` is no chance.
        """
        try:
            chance = np.asarray(q, dtype=np.float64)
        except (TypeError, ValueError):
            raise InputError(f"q must be a number from 0 to 1, got {q!r}") from None
        if not np.all((chance >= 0.0) & (chance <= 1.0)):
            raise InputError(f"q must lie from 0 to 1, got {q!r}")
        flat = chance.ravel()
        ends = self.prior.ppf(np.array([0.0, 1.0]))
        found = np.where(flat == 0.0, ends[0], np.where(flat == 1.0, ends[1], self._inner(flat)))
        return found.reshape(chance.shape)[()]

    def _inner(self, q: Array) -> Array:
        """Return quantiles at q inside 0 to 1, (n,): between those of the parts."""
        masses = [float(part.mass.sum()) for part in self.parts]
        each = np.array(
            [
                part.prior.from_normal(part.score(q * mass))
                for part, mass in zip(self.parts, masses, strict=True)
            ]
        )
        low, high = each.min(axis=0), each.max(axis=0)
        if len(self.parts) == 1:
            return np.asarray(low)

        def residual(x: Array, i: npt.NDArray[np.intp]) -> Array:
            below = sum(part.below(part.prior.to_normal(x)) for part in self.parts)
            return np.asarray(below - q[i] * sum(masses))

        return np.asarray(find_root(residual, low, high))


def _series(coefficients: Array, at: Array) -> Array:
    """Return Legendre series, (m, n), each at its own place, (n,)."""
    return np.asarray(np.polynomial.legendre.legval(at, coefficients, tensor=False))


def posterior_of(
    prior: Spread, log_likelihood: LogLikelihood, resolution: float = np.inf
) -> Posterior:
    """Return the posterior of one unknown.

    Parameters
    ----------
    prior : Spread [unit of the unknown]
        Before the data. The parts of a mixture are taken one by one: a score tells nothing of
        values between two of them that lie far apart.
    log_likelihood : callable
        The spread that scores belong to and the scores, (n,), in; log-likelihood of the data,
        (n,), out; as a function of the unknown it has one peak.
    resolution : float [unit of the unknown]
        Most that the unknown may move over a panel.

    Returns
    -------
    Posterior

    Raises
    ------
    InputError
        If no value that the prior allows can give the data, or it reaches too far.
    """
    parts, left_out = [], 0.0
    for weight, spread in _flat(prior):

        def log_density(u: Array, weight: float = weight, spread: Spread = spread) -> Array:
            with np.errstate(all="ignore"):
                found = log_likelihood(spread, u.ravel()).reshape(u.shape)
            found = found - 0.5 * u * u + (np.log(weight) - _LOG_ROOT_TWO_PI)
            return np.where(np.isnan(found), -np.inf, found)

        edges = worth_a_look(panels_of(spread), log_density)
        if spread.scored and at_the_end(edges):
            edges = worth_a_look(panels_of(spread, further=True), log_density)
        if edges.size:
            edges, density = halved(edges, log_density)
            if np.isfinite(resolution):
                edges, density, lost = resolved(edges, density, spread, resolution)
                left_out = max(left_out, lost)
            parts.append(Part(spread, edges, density))
    if not parts:
        raise InputError(
            "the pulls cannot be had under this prior: no value that it allows gives them any"
            " chance that a double can hold; check the loads, their units and the prior"
        )
    evidence = float(np.logaddexp.reduce(np.concatenate([p.log_weights.ravel() for p in parts])))
    scaled = (Part(p.prior, p.edges, p.log_density - evidence) for p in parts)
    kept = tuple(p for p in scaled if p.mass.sum() > 0.0)
    for part in kept:
        _check_ends(part)
    return Posterior(prior, kept, evidence, left_out)


def _check_ends(part: Part) -> None:
    """Refuse data so far out that the score ends before the posterior does."""
    if part.prior.scored:
        return
    for side, edges in ((0.0, -part.edges[:, 0]), (1.0, part.edges[:, 1])):
        share = float(part.mass[edges >= REACH].sum())
        if share > _AT_END and not np.isfinite(part.prior.ppf(side)):
            raise InputError(
                f"the pulls lie more than {REACH:g} standard scores out under the prior"
                f" ({part.prior}), further than can be reckoned: they contradict it; check the"
                " loads, their units and the prior"
            )


def _flat(prior: Spread) -> list[tuple[float, Spread]]:
    """Return the parts of a mixture, of mixtures too, with their weights."""
    if not isinstance(prior, Mixture):
        return [(1.0, prior)]
    return [
        (weight * inner, part) for weight, spread in prior.parts for inner, part in _flat(spread)
    ]
