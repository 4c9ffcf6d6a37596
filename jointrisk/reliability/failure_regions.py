"""Failure regions behind a label: where a few coordinates far out make ordinary parts fail.

A search by slopes does not see a step: a score that makes a joint weak below its chance has
no slope. So some coordinates are thrown far out, few at a time, the others left as they fall;
what fails there is stripped of all that it does not need, and joins the mixture.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from jointrisk.reliability.form import DesignPoint, design_point
from jointrisk.reliability.importance import Stratum, Weighted, proposal_of
from jointrisk.reliability.interval import Bounds, Sums, stratified_interval, sums_of
from jointrisk.reliability.mixture import draw
from jointrisk.reliability.search import distinct, unexplained
from jointrisk.reliability.space import Problem
from jointrisk.reliability.streams import BLOCK

__all__ = ["further_regions", "weighed"]

Array = npt.NDArray[np.float64]
Fails = Callable[[Array], npt.NDArray[np.bool_]]
Next = Callable[[], np.random.Generator]

_ROWS, _FEWEST = 8192, 512
"""Draws of the look over all cells at most, and in each cell at least."""
_TOGETHER, _NEAR, _FAR = 3, 1.5, 4.5
"""Coordinates thrown out together at most, and how far [-]."""
_FAR_STEP = 4.0
"""How far one coordinate goes to be seen as a step: its chance is above 3e-5 [-]."""
_STRIPPED = 64
"""Failing draws that are stripped."""
_HALVINGS = 6
_STEP = 0.02
"""A margin that a step so long does not change has no slope there [-]."""
_COMMON = 0.05
"""A cell that fails more often needs no look."""


def further_regions(
    problem: Problem, found: Weighted, next_rng: Next, rows: int
) -> tuple[Weighted, int]:
    """Look for regions that no component explains and take them into the mixtures.

    Parameters
    ----------
    problem : Problem
    found : Weighted
        What a search has found.
    next_rng : callable
        Gives the next stream.
    rows : int
        Draws of the look [-], 8,192 at most and 512 a cell at least.

    Returns
    -------
    Weighted and int
        The same object where nothing was found, else with new points and no draws yet; calls.
    """
    each = max(_FEWEST, min(_ROWS, rows) // len(found.strata))
    strata, calls = [], 0
    for stratum in found.strata:
        points, more = _points(problem, stratum, each, next_rng())
        calls += more
        strata.append(stratum if points is stratum.points else _empty(stratum, points))
    if all(one is other for one, other in zip(strata, found.strata, strict=True)):
        return found, calls
    return replace(found, strata=tuple(_empty(s, s.points) for s in strata)), calls


def weighed(
    problem: Problem,
    found: Weighted,
    next_rng: Next,
    *,
    target_cov: float,
    max_evaluations: int,
    confidence: float,
) -> Weighted:
    """Weigh the failures by draws from mixtures that stay as they are.

    Parameters
    ----------
    problem : Problem
    found : Weighted
        Its strata must be without draws; they take in the new ones.
    next_rng : callable
        Gives the next stream.
    target_cov : float
        Stop at this coefficient of variation [-].
    max_evaluations : int
        Stop after as many calls; one round is always made.
    confidence : float
        Of the gamma interval [-].

    Returns
    -------
    Weighted
        `evaluations` are those made here.
    """
    share = np.sqrt([s.cell.probability for s in found.strata])
    rows, used = 4096, 0
    while True:
        for stratum, part in zip(found.strata, share / share.sum(), strict=True):
            n = max(128, round(rows * float(part)))
            _sample(problem, stratum, n, next_rng)
            used += n
        undefined = sum(s.undefined for s in found.strata)
        result = replace(
            found,
            bounds=_bounds(found.strata, confidence),
            evaluations=used,
            undefined=undefined,
        )
        if result.cov <= target_cov or used >= max_evaluations:
            return result
        share = _scatter(found.strata) + 0.1 * _scatter(found.strata).mean() + 1e-300
        wanted = 1.1 * used * (result.cov / target_cov) ** 2 - used
        rows = int(min(max(1024.0, wanted), 3.0 * used, max(1024.0, max_evaluations - used)))


def _empty(stratum: Stratum, points: tuple[DesignPoint, ...]) -> Stratum:
    """Make the stratum anew with these points and no draws."""
    dim = stratum.proposal.directions.shape[1]
    proposal = proposal_of(points, np.ones(dim, dtype=bool))
    zeros = np.zeros(proposal.shares.size)
    none = Sums(zeros, zeros, zeros, zeros)
    unit = -0.5 * points[0].beta ** 2 if points else 0.0
    return Stratum(stratum.cell, points, proposal, none, none, unit)


def _sample(problem: Problem, stratum: Stratum, rows: int, next_rng: Next) -> None:
    """Add draws to a stratum, a block at a time."""
    for start in range(0, rows, BLOCK):
        n = min(BLOCK, rows - start)
        made = draw(stratum.proposal, n, next_rng(), _no_labels)
        margin = problem.margin(made.u, stratum.cell)
        fails = ~(margin >= 0)
        terms = np.where(fails, np.exp(made.log_weight - stratum.log_unit), 0.0)
        stratum.undefined += int(np.isnan(margin).sum())
        stratum.lost += float(terms[np.isnan(margin)].sum())
        parts = stratum.proposal.shares.size
        stratum.sums = stratum.sums.plus(sums_of(terms, made.component, parts))


def _bounds(strata: tuple[Stratum, ...], confidence: float) -> Bounds:
    """Interval of all strata together."""
    unit = max(s.log_unit for s in strata)
    scale = [s.cell.probability / s.rows * float(np.exp(s.log_unit - unit)) for s in strata]
    scales = np.concatenate(
        [np.full(s.sums.counts.size, one) for s, one in zip(strata, scale, strict=True)]
    )
    joined = Sums(*(np.concatenate(c) for c in zip(*(s.sums for s in strata), strict=True)))
    found = stratified_interval(joined, scales, confidence)
    return Bounds(*(float(np.exp(unit)) * value for value in found))


def _scatter(strata: tuple[Stratum, ...]) -> Array:
    """Root of the second moment of what each stratum adds to a draw (Neyman's rule)."""
    unit = max(s.log_unit for s in strata)
    return np.array(
        [
            s.cell.probability
            * float(np.sqrt(s.sums.squares.sum() / s.rows) * np.exp(s.log_unit - unit))
            for s in strata
        ]
    )


def _no_labels(_label: int, u: Array, _labels: npt.NDArray[np.bool_]) -> Array:
    """Chance of a label where there is none."""
    return np.zeros(u.shape[0])


def _points(
    problem: Problem, stratum: Stratum, rows: int, rng: np.random.Generator
) -> tuple[tuple[DesignPoint, ...], int]:
    """Give the points of a cell with those of regions not known yet, and the calls made."""
    dim, calls = problem.space.dim, 0

    def fails(u: Array) -> npt.NDArray[np.bool_]:
        nonlocal calls
        calls += u.shape[0]
        return np.asarray(~(problem.margin(u, stratum.cell) >= 0))

    chance = float(stratum.sums.sums.sum()) / stratum.rows * float(np.exp(stratum.log_unit))
    if dim == 0 or chance > _COMMON:
        return stratum.points, 0
    u = _thrown(rows, dim, rng)
    u = u[fails(u)]
    u = u[unexplained(u, stratum.points)][:_STRIPPED]
    u = np.unique(_shrunk(fails, _stripped(fails, u)), axis=0)
    steps, more = _steps(problem, stratum, dim)
    calls += more
    new: list[DesignPoint] = []
    for row in np.vstack([steps, u[u.any(axis=1)]]):
        alone = len(new) < steps.shape[0]
        if alone or unexplained(row[None, :], [*stratum.points, *new])[0]:
            new.append(_settled(problem, stratum, row))
            calls += new[-1].evaluations
    new = [point for point in new if point.converged or not point.margin >= 0]
    known = {id(point) for point in stratum.points}
    merged = distinct([*stratum.points, *new]) if new else stratum.points
    return (merged if {id(p) for p in merged} - known else stratum.points), calls


def _steps(problem: Problem, stratum: Stratum, dim: int) -> tuple[Array, int]:
    """Points just beyond a step of one coordinate, the others 0, (m, d), and the calls made.

    A step has no slope at the middle and a lower margin far out.
    """
    unit = np.vstack([np.eye(dim), -np.eye(dim)])
    rows = np.vstack([np.zeros((1, dim)), _STEP * unit, _FAR_STEP * unit])
    margin = problem.margin(rows, stratum.cell)
    near, far = margin[1 : 2 * dim + 1], margin[2 * dim + 1 :]
    chosen = (near == margin[0]) & (far < margin[0])
    unit, bad, good = unit[chosen], np.zeros(chosen.sum()), np.full(chosen.sum(), _FAR_STEP)
    for _ in range(2 * _HALVINGS if bad.size else 0):
        middle = 0.5 * (bad + good)
        lower = problem.margin(middle[:, None] * unit, stratum.cell) < margin[0]
        good, bad = np.where(lower, middle, good), np.where(lower, bad, middle)
    return good[:, None] * unit, rows.shape[0] + 2 * _HALVINGS * bad.size


def _thrown(rows: int, dim: int, rng: np.random.Generator) -> Array:
    """Plain draws with one to three coordinates of each thrown far out, (rows, d)."""
    u = rng.standard_normal((rows, dim))
    number = rng.integers(1, min(_TOGETHER, dim) + 1, rows)
    chosen = np.argsort(np.argsort(rng.random((rows, dim)), axis=1), axis=1) < number[:, None]
    far = np.where(u < 0, -1.0, 1.0) * rng.uniform(_NEAR, _FAR, (rows, dim))
    return np.where(chosen, far, u)


def _stripped(fails: Fails, u: Array) -> Array:
    """Set to 0, smallest first, every coordinate without which a row still fails."""
    u, row = u.copy(), np.arange(u.shape[0])
    order = np.argsort(np.abs(u), axis=1)
    for place in range(u.shape[1] if u.shape[0] else 0):
        trial = u.copy()
        trial[row, order[:, place]] = 0.0
        u = np.where(fails(trial)[:, None], trial, u)
    return u


def _shrunk(fails: Fails, u: Array) -> Array:
    """Take every coordinate that is left, largest first, as near to 0 as still fails."""
    u, row = u.copy(), np.arange(u.shape[0])
    order = np.argsort(-np.abs(u), axis=1)
    for place in range(int((u != 0).sum(axis=1).max(initial=0))):
        column = order[:, place]
        bad, good = np.zeros(row.size), u[row, column].copy()
        for _ in range(_HALVINGS):
            trial = u.copy()
            trial[row, column] = 0.5 * (bad + good)
            inside = fails(trial)
            good = np.where(inside, trial[row, column], good)
            bad = np.where(inside, bad, trial[row, column])
        u[row, column] = good
    return u


def _settled(problem: Problem, stratum: Stratum, row: Array) -> DesignPoint:
    """Search by slopes in all coordinates but those in which the margin is a step.

    Coordinates that are needed and yet have no slope keep their place at the step.
    """
    place = np.flatnonzero(row)
    moved = np.repeat(row[None, :], place.size, axis=0)
    moved[np.arange(place.size), place] += np.sign(row[place]) * _STEP
    margin = problem.margin(np.vstack([row, moved]), stratum.cell)
    step = place[margin[1:] == margin[0]]
    held = np.zeros(row.size)
    held[step] = row[step]
    free = np.ones(row.size, dtype=bool)
    free[step] = False

    def rest(v: Array) -> Array:
        u = np.repeat(held[None, :], v.shape[0], axis=0)
        u[:, free] = v
        return problem.margin(u, stratum.cell)

    used, u = margin.size, row
    if 0 < step.size < row.size and rest(np.zeros((1, int(free.sum()))))[0] >= 0:
        point = design_point(rest, int(free.sum()), row[free])
        used += point.evaluations + 1
        if point.converged:
            u = held.copy()
            u[free] = point.u
    beta = float(np.linalg.norm(u))
    at = float(problem.margin(u[None, :], stratum.cell)[0])
    return DesignPoint(u, beta, u / beta, at, u is not row, used + 1)
