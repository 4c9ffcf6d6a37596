"""The chance that two draws fail which share one variable: the first index of a failure.

The shared score is drawn from a mixture moved to where pairs are likeliest to fail; given
it, several copies of all the rest are drawn from the mixture of the design points, each
moved only by what the shared score leaves of it. All weights are exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from jointrisk.reliability.importance import GUARD, Stratum
from jointrisk.reliability.interval import Bounds, stratified_interval, sums_of
from jointrisk.reliability.mixture import Proposal, draw
from jointrisk.reliability.space import Problem

__all__ = ["Pairs"]

Array = npt.NDArray[np.float64]

COPIES = 8
"""Draws of the rest for each shared score: 28 pairs."""
_NEAREST = 8
"""Design points of a cell that the shared score is moved towards in pairs."""
_IMPOSSIBLE = 4.5
"""So many standard errors below 0 a variance is no chance (3e-6) [-]."""
_LEAST_REST = 1e-6
_WIDE, _WIDTH = 0.1, 2.0
"""Share and least width of a widened density of the shared score [-]."""
_FURTHEST = 2.0
"""A component is moved no further than so many times its own way [-]."""


@dataclass(slots=True)
class Pairs:
    """Draws that share the score along one direction."""

    problem: Problem
    strata: Sequence[Stratum]
    shares: Array
    """Chance with which a cell is drawn, (cells,) [-]."""
    along: Array
    """Unit vector of the shared score in independent scores, (d,) [-]."""
    unit: float
    """The probability of failure."""
    terms: Array = field(default_factory=lambda: np.empty(0))
    component: npt.NDArray[np.intp] = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    undefined: int = 0
    seen: bool = False

    def add(self, rows: int, rng: np.random.Generator) -> int:
        """Draw `rows` shared scores with their copies; give the calls made."""
        shared = draw(_shared_proposal(self.strata, self.along), rows, rng, _no_labels)
        order = rng.permutation(rows)
        score, weight = shared.u[order, 0], shared.weight[order]
        mixed = rng.permutation(rows * COPIES)  # the copies of a score may share no component
        chance = np.empty(rows * COPIES)
        chance[mixed] = self.chances(np.repeat(score, COPIES)[mixed], rng)
        off = chance.reshape(rows, COPIES) - 1.0
        pairs = (off.sum(axis=1) ** 2 - (off**2).sum(axis=1)) / (COPIES * (COPIES - 1))
        self.seen = self.seen or bool(chance.any())
        self.terms = np.append(self.terms, weight * pairs)
        self.component = np.append(self.component, shared.component[order])
        return rows * COPIES

    def chances(self, score: Array, rng: np.random.Generator) -> Array:
        """Weight of each draw where it fails, else 0, over `unit`, (n,)."""
        cells = rng.choice(len(self.strata), size=score.size, p=self.shares)
        found = np.zeros(score.size)
        for number, stratum in enumerate(self.strata):
            rows = np.flatnonzero(cells == number)
            if not rows.size:
                continue
            u, log_weight = _rest(stratum, self.along, score[rows], rng)
            margin = self.problem.margin(u, stratum.cell)
            self.undefined += int(np.isnan(margin).sum())
            part = stratum.cell.probability / (self.shares[number] * self.unit)
            found[rows] = np.where(~(margin >= 0), part * np.exp(log_weight), 0.0)
        return found

    def bounds(self, confidence: float) -> Bounds:
        """Variance of the chance of failure given the shared score, over `unit`² [-].

        A pair adds (c − 1)(c' − 1), whose error from that of `unit` is of second order. The
        interval is the gamma interval of one more than it, the chance that both fail over
        that of independent draws. A variance far below 0 shows that the pairs miss failures
        which others have: it is not known then.
        """
        if not self.seen:
            return Bounds(0.0, 0.0, np.inf, np.inf)
        sums = sums_of(self.terms + 1.0, self.component)
        scale = np.full(sums.counts.size, 1.0 / self.terms.size)
        found = stratified_interval(sums, scale, confidence)
        if found.estimate + _IMPOSSIBLE * found.standard_error < 1.0:
            return Bounds(0.0, 0.0, np.inf, np.inf)
        return Bounds(found.estimate - 1.0, found.low - 1.0, found.high - 1.0, found.standard_error)


def _no_labels(_label: int, u: Array, _labels: npt.NDArray[np.bool_]) -> Array:
    """Chance of a label where there is none."""
    return np.zeros(u.shape[0])


def _shared_proposal(strata: Sequence[Stratum], along: Array) -> Proposal:
    """Make the mixture of the shared score: where two failures are nearest, and wide ones.

    Two points at distances β with direction cosines α along the shared score a are both
    reached at least cost a² + Σ (β − α a)² / (1 − α²), that is at a = Σ (αβ / (1 − α²)) /
    (1 + Σ α² / (1 − α²)) (derived).
    """
    beta, a, chance = [], [], []
    for stratum in strata:
        for point in stratum.points[:_NEAREST]:
            beta.append(point.beta)
            a.append(float(point.u @ along))
            chance.append(stratum.cell.probability)
    if not beta:
        return Proposal(np.ones(1), np.zeros((1, 1)), np.zeros((1, 0)))
    b, shared, weight = np.array(beta), np.array(a), np.array(chance)
    cosine = shared / b
    rest = np.maximum(1.0 - cosine**2, _LEAST_REST)
    pull, hold = cosine * b / rest, cosine**2 / rest
    centre = (pull[:, None] + pull) / (1.0 + hold[:, None] + hold)
    cost = centre**2 + _way(b, cosine, rest, centre) + _way(b, cosine, rest, centre.T).T
    cost -= 2.0 * np.log(weight[:, None] * weight)
    one, two = np.triu_indices(b.size)
    share = np.maximum(np.exp(-0.25 * (cost[one, two] - cost.min())), 0.05)
    centres = np.concatenate([centre[one, two], [0.0, 0.0]])
    shares = np.concatenate([(1.0 - GUARD - _WIDE) * share / share.sum(), [_WIDE, GUARD]])
    widths = np.ones(shares.size)
    widths[-2] = max(_WIDTH, 0.5 * float(np.abs(centres).max()))
    return Proposal(shares / shares.sum(), centres[:, None], np.zeros((shares.size, 0)), widths)


def _way(beta: Array, cosine: Array, rest: Array, centre: Array) -> Array:
    """Square of what the rest has to go for each first point, (k, k)."""
    left: Array = (beta[:, None] - cosine[:, None] * centre) ** 2 / rest[:, None]
    return left


def _rest(
    stratum: Stratum, along: Array, score: Array, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Draw all but the shared score from the mixture of a cell; scores, (n, d), and log weights.

    A component at u* is moved along the rest of u* by (β² − a a*) / (β² − a*²) of it, which is
    where the plane through u* stands at the shared score a (derived).
    """
    mirror = _mirror(along)
    proposal = stratum.proposal
    turned = proposal.directions @ mirror
    length, shared = np.sum(turned**2, axis=1), turned[:, 0]
    rest = np.maximum(length - shared**2, _LEAST_REST)
    scale = np.clip((length - score[:, None] * shared) / rest, 0.0, _FURTHEST)
    fixed = np.zeros((score.size, along.size))
    fixed[:, 0] = score
    mask = np.zeros(along.size, dtype=bool)
    mask[0] = True
    made = draw(
        Proposal(proposal.shares, turned, proposal.forced, proposal.widths),
        score.size,
        rng,
        _no_labels,
        scale=scale,
        fixed=fixed,
        mask=mask,
    )
    return made.u @ mirror, made.log_weight


def _mirror(along: Array) -> Array:
    """Reflection that lays a unit vector on the first axis, (d, d): its own inverse."""
    normal = along.copy()
    normal[0] -= 1.0
    square = float(normal @ normal)
    unit = np.eye(along.size)
    if square < _LEAST_REST**2:
        return unit
    return np.asarray(unit - 2.0 * np.outer(normal, normal) / square)
