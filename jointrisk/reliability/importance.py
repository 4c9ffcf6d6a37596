"""Importance sampling around every design point, cell by cell, with a guard.

Each combination of labels is a stratum with its exact probability, so a rare label costs
nothing. Inside a stratum the proposal is a mixture of the normal density moved to each
design point and a guard share of the plain density. Draws that fail where no component
looks become new starts; what they find joins the mixture and that stratum begins anew.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from functools import partial

import numpy as np
import numpy.typing as npt

from jointrisk.reliability.form import DesignPoint
from jointrisk.reliability.interval import (
    Bounds,
    Sums,
    clopper_pearson,
    stratified_interval,
    sums_of,
)
from jointrisk.reliability.mixture import Proposal, draw
from jointrisk.reliability.search import distinct, find_points, further_points, unexplained
from jointrisk.reliability.space import Cell, Problem
from jointrisk.reliability.streams import BLOCK, block_rng

__all__ = ["Stratum", "Weighted", "importance", "proposal_of"]

Array = npt.NDArray[np.float64]
FailChance = Callable[[Array, Cell], Array]

PURPOSE = 2
GUARD = 0.15
"""Share of the plain density beside the design points [-]: weights are at most 1/0.15."""
_WIDE = 0.10
"""Share of a widened density, which reaches every direction at the nearest distance [-]."""
_LEAST_WIDTH = 1.3
_FIRST_ROWS, _FEWEST_ROWS = 4096, 512
"""Draws of the first round, and where a coarse value is enough."""
_CHECK_ROWS = 1024
_MOST_RESTARTS = 8
_WIDEST = 20
"""Widened draws see failure in no more coordinates than this."""


@dataclass(slots=True)
class Stratum:
    """One cell, what is known of where it fails, and the sums so far."""

    cell: Cell
    points: tuple[DesignPoint, ...]
    proposal: Proposal
    sums: Sums
    """Of weight times chance of failure, in units of exp(`log_unit`)."""
    holds: Sums
    """Of weight times chance of no failure."""
    log_unit: float = 0.0
    """Keeps squares of tiny weights above the smallest double."""
    undefined: int = 0
    lost: float = 0.0
    """Part of `sums` where the margin is NaN."""
    restarts: int = 0
    found: list[DesignPoint] = field(default_factory=list)

    @property
    def rows(self) -> float:
        """Draws in `sums`."""
        return float(self.sums.counts.sum())


@dataclass(frozen=True, slots=True)
class Weighted:
    """What a weighted run saw."""

    bounds: Bounds
    strata: tuple[Stratum, ...]
    evaluations: int
    undefined: int

    @property
    def cov(self) -> float:
        """Coefficient of variation [-]; inf when nothing failed."""
        found = self.bounds
        return found.standard_error / found.estimate if found.estimate > 0 else float("inf")

    @property
    def defined(self) -> float:
        """The estimate if NaN counted as no failure [-]."""
        lost = sum(
            s.cell.probability / s.rows * s.lost * float(np.exp(s.log_unit)) for s in self.strata
        )
        return max(0.0, self.bounds.estimate - lost)


def proposal_of(points: tuple[DesignPoint, ...], free: npt.NDArray[np.bool_]) -> Proposal:
    """Make the mixture: a component at each design point, a wide one, and the guard.

    Shares follow the root of the first-order probabilities, so that a lesser point still
    gets draws enough to measure it. The width that puts most density at the distance β is
    β/√d: in few coordinates a wide component watches the directions between. Only
    coordinates marked in `free`, (d,), are shifted.
    """
    dim = free.size
    if not points:
        return Proposal(np.ones(1), np.zeros((1, dim)), np.zeros((1, 0)))
    beta = np.array([point.beta for point in points])
    share = np.maximum(np.exp(-0.25 * (beta**2 - beta.min() ** 2)), 0.05)
    width = float(beta.min()) / np.sqrt(max(dim, 1))
    wide = _WIDE if width > _LEAST_WIDTH and free.all() else 0.0
    shares = np.array([*((1.0 - GUARD - wide) * share / share.sum()), wide, GUARD])
    directions = np.vstack([*(point.u * free for point in points), np.zeros((2, dim))])
    widths = np.ones(shares.size)
    widths[-2] = width if wide else 1.0
    return Proposal(shares / shares.sum(), directions, np.zeros((shares.size, 0)), widths)


def importance(
    problem: Problem,
    *,
    seed: int,
    target_cov: float,
    max_evaluations: int,
    confidence: float,
    fail_chance: FailChance | None = None,
    integrated: Collection[str] = (),
) -> Weighted:
    """Estimate a failure probability by weighted draws.

    Parameters
    ----------
    problem : Problem
    seed : int
    target_cov : float
        Stop at this coefficient of variation [-].
    max_evaluations : int
        Stop after as many calls of the limit state, the search included; one round of
        draws is always made.
    confidence : float
        Of the interval [-].
    fail_chance : callable, optional
        Scores (n, d) and cell to a chance of failure, (n,) [-], in place of margin < 0:
        for a load that is integrated out exactly. The margin still guides the search.
    integrated : collection of str
        Coordinates that `fail_chance` integrates over, independent of the others: draws
        are not shifted along them.

    Returns
    -------
    Weighted
    """
    free = np.array([name not in integrated for name in problem.space.coordinates], dtype=bool)
    run = _Run(problem, seed, fail_chance, free)
    strata = [run.open(cell) for cell in problem.space.cells]
    rows = int(np.clip(10.0 / target_cov**2, _FEWEST_ROWS, _FIRST_ROWS))
    while True:
        for stratum, share in zip(strata, _allocation(strata), strict=True):
            run.sample(stratum, max(64, round(rows * share)))
        result = Weighted(
            _bounds(strata, confidence), tuple(strata), run.used, sum(s.undefined for s in strata)
        )
        left = max_evaluations - run.used
        if left <= 0 or (result.cov <= target_cov and not any(s.found for s in strata)):
            return result
        rows = _next_rows(sum(s.rows for s in strata), result.cov / target_cov, left)


@dataclass(slots=True)
class _Run:
    """Counts evaluations and hands out streams while strata are sampled."""

    problem: Problem
    seed: int
    fail_chance: FailChance | None
    free: npt.NDArray[np.bool_]
    used: int = 0
    streams: int = 0

    def rng(self) -> np.random.Generator:
        """Next stream; strata are served in a fixed order, so runs agree."""
        self.streams += 1
        return block_rng(self.seed, PURPOSE, self.streams)

    def open(self, cell: Cell) -> Stratum:
        """Search one cell, then look again with widened draws of another stream."""
        dim = self.problem.space.dim
        found = find_points(partial(self.problem.margin, cell=cell), dim, self.rng())
        self.used += found.evaluations
        stratum = _empty(cell, found.points, self.free)
        if not found.origin_fails and 0 < dim <= _WIDEST:
            wide = 2.0 * self.rng().standard_normal((_CHECK_ROWS, dim))
            self.used += _CHECK_ROWS
            self.look_again(stratum, wide[~(self.problem.margin(wide, cell) >= 0)])
        return self.restart(stratum)

    def look_again(self, stratum: Stratum, failing: Array) -> None:
        """Search from failing draws that no component explains."""
        strange = failing[unexplained(failing, stratum.points)]
        if not strange.shape[0]:
            return
        further = further_points(
            partial(self.problem.margin, cell=stratum.cell),
            self.problem.space.dim,
            strange,
            stratum.points,
            self.rng(),
        )
        self.used += further.evaluations
        stratum.found.extend(further.points)

    def restart(self, stratum: Stratum) -> Stratum:
        """Take newly found points into the mixture and drop the sums made without them."""
        if not stratum.found:
            return stratum
        merged = distinct([*stratum.points, *stratum.found])
        stratum.found.clear()
        if {id(p) for p in merged} != {id(p) for p in stratum.points}:
            fresh = _empty(stratum.cell, merged, self.free)
            stratum.points, stratum.proposal, stratum.sums = merged, fresh.proposal, fresh.sums
            stratum.holds, stratum.log_unit, stratum.undefined = fresh.holds, fresh.log_unit, 0
            stratum.lost = 0.0
        return stratum

    def sample(self, stratum: Stratum, rows: int) -> None:
        """Add draws to a stratum, a block at a time, and look at strange failures."""
        if stratum.found:
            self.restart(stratum)
        plain = stratum.proposal.shares.size == 1 and stratum.points == ()
        for start in range(0, rows, BLOCK):
            n = min(BLOCK, rows - start)
            made = draw(stratum.proposal, n, self.rng(), _no_labels)
            margin = self.problem.margin(made.u, stratum.cell)
            fails = ~(margin >= 0)
            self.used += n
            stratum.undefined += int(np.isnan(margin).sum())
            chance = self.chance(made.u, stratum.cell, fails)
            strata = stratum.proposal.shares.size
            scaled = np.exp(made.log_weight - stratum.log_unit)
            stratum.lost += float((scaled * chance)[np.isnan(margin)].sum())
            stratum.sums = stratum.sums.plus(sums_of(scaled * chance, made.component, strata))
            stratum.holds = stratum.holds.plus(
                sums_of(made.weight * (1.0 - chance), made.component, strata)
            )
            rare = fails.mean() < 0.05
            if stratum.restarts < _MOST_RESTARTS and fails.any() and (rare or not plain):
                stratum.restarts += 1
                self.look_again(stratum, made.u[fails])

    def chance(self, u: Array, cell: Cell, fails: npt.NDArray[np.bool_]) -> Array:
        """Chance of failure row by row."""
        if self.fail_chance is None:
            return fails.astype(float)
        return np.asarray(self.fail_chance(u, cell), dtype=float)


def _no_labels(_label: int, u: Array, _labels: npt.NDArray[np.bool_]) -> Array:
    """Chance of a label where there is none."""
    return np.zeros(u.shape[0])


def _empty(cell: Cell, points: tuple[DesignPoint, ...], free: npt.NDArray[np.bool_]) -> Stratum:
    """Make a stratum with no draws yet."""
    proposal = proposal_of(points, free)
    zeros = np.zeros(proposal.shares.size)
    none = Sums(zeros, zeros, zeros, zeros)
    log_unit = -0.5 * points[0].beta ** 2 if points else 0.0
    return Stratum(cell, points, proposal, none, none, log_unit)


def _bounds(strata: list[Stratum], confidence: float) -> Bounds:
    """Interval over all strata; with nothing seen, what a count of 0 in each allows."""
    seen = [s.log_unit for s in strata if s.sums.sums.any()]
    if not seen:
        unseen = sum(
            s.cell.probability
            * clopper_pearson(0, int(s.rows), confidence)[1]
            / s.proposal.guard_share
            for s in strata
        )
        return Bounds(0.0, 0.0, min(1.0, unseen), 0.0)
    unit = max(seen)
    shares = [s.cell.probability / s.rows for s in strata]
    relative = [
        share * float(np.exp(min(0.0, s.log_unit - unit)))
        for share, s in zip(shares, strata, strict=True)
    ]
    found = _joined([s.sums for s in strata], relative, confidence)
    found = Bounds(*(float(np.exp(unit)) * value for value in found))
    if found.estimate <= 0.5:
        return found
    rest = _joined([s.holds for s in strata], shares, confidence)
    if rest.estimate == 0.0:
        least = clopper_pearson(0, int(sum(s.rows for s in strata)), confidence)[1]
        return Bounds(1.0, 1.0 - least, 1.0, 0.0)
    low, high = max(0.0, 1.0 - rest.high), max(0.0, 1.0 - rest.low)
    return Bounds(max(0.0, 1.0 - rest.estimate), low, high, rest.standard_error)


def _joined(parts: list[Sums], scales: list[float], confidence: float) -> Bounds:
    """Interval of strata laid end to end, each with its own scale."""
    scale = np.concatenate(
        [np.full(part.counts.size, scale) for part, scale in zip(parts, scales, strict=True)]
    )
    joined = Sums(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))
    return stratified_interval(joined, scale, confidence)


def _allocation(strata: list[Stratum]) -> Array:
    """Share of the next draws: by each stratum's part of the scatter, a floor for all.

    Neyman's rule on the second moments seen so far.
    """
    chance = np.array([s.cell.probability for s in strata])
    if any(s.rows == 0 for s in strata):
        root = np.sqrt(chance)
        return np.asarray(root / root.sum())
    rows = np.array([s.rows for s in strata])
    square = np.array([s.sums.squares.sum() for s in strata]) / rows
    with np.errstate(divide="ignore"):  # a stratum without a failure yet has log 0
        log_part = np.log(chance) + 0.5 * np.log(square) + [s.log_unit for s in strata]
    if np.all(np.isneginf(log_part)):
        return chance
    part = np.exp(log_part - log_part.max())
    share = part / part.sum()
    return np.asarray(0.9 * share + 0.1 / len(strata))


def _next_rows(done: float, excess: float, left: int) -> int:
    """Draws to make next: what the scatter asks for, within a factor of four."""
    wanted = 1.1 * done * excess**2 - done if np.isfinite(excess) else 3.0 * done
    return int(min(max(wanted, 1024.0), 3.0 * done, float(max(left, 1024))))
