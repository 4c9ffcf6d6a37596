"""Directional sampling: along a ray the chance of failure is exact, only directions are drawn.

A place on a ray is named by the normal score of its radius, so that the chance between two
places is that of a standard normal variable in any number of variables. Directions come in
opposite pairs. Labels are strata.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import gammainccinv, gammaincinv, ndtr

from jointrisk.reliability.crossings import Crossings, crossings, normal_measure
from jointrisk.reliability.interval import Bounds, Sums, clopper_pearson, stratified_interval
from jointrisk.reliability.outcome import Outcome, cell_names, labels_alone
from jointrisk.reliability.space import Cell, Problem
from jointrisk.reliability.streams import block_rng

__all__ = ["directional", "radius_of"]

Array = npt.NDArray[np.float64]

PURPOSE = 15
_FIRST = 128
"""Pairs of directions of a cell at first."""
_PILOT = 32
"""Pairs that tell how far out to look."""
_OUTWARD = (2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 13.0, 17.0, 22.0, 28.0, 36.0)
"""Scores of the radius looked at until something fails [-]."""
_BEYOND, _LEAST, _UNSEEN, _INMOST = 3.0, 5.0, 8.0, 8.0
"""How far beyond that, at least, where nothing fails, and inwards at most [-]."""
_FIXED_PART = 0.06
"""Part of a ray, at its end, where `crossings` has places that are not at random [-]."""
_CHUNK = 256
_ROOT_ERROR = 0.005
"""Relative error of a chance from the roots' own tolerance [-]."""
_FEW = 0.25
"""Coefficient of variation above which a few directions carry the value [-]."""
_UNIT = 1e-120
"""Sums are in units of it, so that squares of tiny chances do not vanish [-]."""


@dataclass(slots=True)
class _Stratum:
    """One cell and the sums over its pairs of directions so far."""

    cell: Cell
    reach: float
    """Score of the radius up to which rays are looked at [-]."""
    fails: Sums
    holds: Sums
    lost: float = 0.0
    """Sum of the chances of failing stretches next to a NaN [-]."""
    narrow: bool = False
    """A stretch shorter than the gaps was seen: more places from now on."""

    @property
    def pairs(self) -> int:
        """Pairs in the sums."""
        return int(self.fails.counts[0])


def directional(
    problem: Problem,
    *,
    seed: int,
    target_cov: float,
    max_evaluations: int,
    confidence: float,
) -> Outcome:
    """Estimate a failure probability by directional sampling.

    With a uniform direction a and the radius R, whose square is chi-square with as many
    degrees of freedom as there are coordinates, the probability is the mean over a of
    P(g(R a) < 0). All failing stretches of a ray count. A ray is looked at in twelve places
    at random distances, in 28 once a narrow stretch was seen, and each change of sign is
    refined. A stretch of width w between two places of gap h > w is met with chance w/h
    and counts h/w times, so that short ones lean neither way (derived).

    Good where failure is about as far away in every direction, in any number of variables;
    for one plane far out in many variables no better than plain draws.

    Parameters
    ----------
    problem : Problem
    seed : int
    target_cov : float
        Stop at this coefficient of variation [-].
    max_evaluations : int
        Stop after as many calls of the limit state; 128 pairs of directions are always
        made in each cell.
    confidence : float
        Of the interval [-]: a gamma interval; where few directions carry the value its
        upper end is at least that of no failure in as many pairs.

    Returns
    -------
    Outcome

    References
    ----------
    Bjerager (1988), J. Eng. Mech. 114, 1285; Ditlevsen, Melchers & Gluver (1990), Comput.
    Struct. 36, 355. From memory.
    """
    if problem.space.dim == 0:
        return labels_alone(problem)
    run = _Run(problem, seed)
    strata = [
        _Stratum(cell, run.reach(cell), _no_sums(), _no_sums()) for cell in problem.space.cells
    ]
    wanted = np.full(len(strata), _FIRST)
    while True:
        for stratum, pairs in zip(strata, wanted, strict=True):
            for start in range(0, int(pairs), _CHUNK):
                run.sample(stratum, min(_CHUNK, int(pairs) - start))
        bounds = _bounds(strata, confidence)
        cov = bounds.standard_error / bounds.estimate if bounds.estimate > 0 else float("inf")
        if cov <= target_cov or run.used >= max_evaluations:
            return _outcome(run, strata, bounds)
        each = run.used / sum(stratum.pairs for stratum in strata)
        wanted = _allocation(strata, cov / target_cov, (max_evaluations - run.used) / each)


def radius_of(score: npt.ArrayLike, dim: int) -> Array:
    """Give the radius that has the same chance beyond it as a standard normal score.

    Parameters
    ----------
    score : array_like, (n,) [-]
    dim : int
        Number of independent standard normal coordinates, >= 1.

    Returns
    -------
    ndarray, (n,) [-]
        Root of the chi-square quantile at Φ(score); exact in both tails (derived).
    """
    s = np.asarray(score, dtype=float)
    tail = ndtr(-np.abs(s))
    half = 0.5 * dim
    square = np.where(s < 0, gammaincinv(half, tail), gammainccinv(half, tail))
    return np.asarray(np.sqrt(2.0 * square))


@dataclass(slots=True)
class _Run:
    """Counts calls and hands out streams; cells are served in a fixed order."""

    problem: Problem
    seed: int
    used: int = 0
    undefined: int = 0
    streams: int = 0

    def rays(self, pairs: int) -> tuple[Array, np.random.Generator]:
        """Draw unit vectors and their opposites, (2 n, d), from the next stream."""
        self.streams += 1
        rng = block_rng(self.seed, PURPOSE, self.streams)
        v = rng.standard_normal((pairs, self.problem.space.dim))
        v /= np.linalg.norm(v, axis=1, keepdims=True)
        return np.concatenate([v, -v]), rng

    def margin(self, u: Array, cell: Cell) -> Array:
        """Give margins and count them."""
        found = self.problem.margin(u, cell)
        self.used += found.size
        self.undefined += int(np.isnan(found).sum())
        return found

    def reach(self, cell: Cell) -> float:
        """Tell how far out to look: some way beyond the first failure going out and in."""
        a, _ = self.rays(_PILOT)
        for score in _OUTWARD:
            ends = radius_of(np.array([score, -min(score, _INMOST)]), a.shape[1])
            if np.any(~(self.margin(np.concatenate(ends[:, None, None] * a), cell) >= 0)):
                return max(score + _BEYOND, _LEAST)
        return _UNSEEN

    def sample(self, stratum: _Stratum, pairs: int) -> None:
        """Add pairs of directions to a stratum."""
        a, rng = self.rays(pairs)
        stop = np.full(len(a), min(stratum.reach, _OUTWARD[-1] + 1.0))
        start = -np.minimum(stop, _INMOST)
        found = crossings(
            lambda row, s: self.margin(radius_of(s, a.shape[1])[:, None] * a[row], stratum.cell),
            start,
            stop,
            float(stop[0]),
            np.ones(len(a), dtype=bool),
            rng.random(len(a)),
            winding=stratum.narrow,
        )
        fails, holds, lost, narrow = _measure(found, float(start[0]), float(stop[0]))
        stratum.fails = stratum.fails.plus(_sums(fails.reshape(2, -1).mean(axis=0)))
        stratum.holds = stratum.holds.plus(_sums(holds.reshape(2, -1).mean(axis=0)))
        stratum.lost += float(lost.sum()) / 2.0
        stratum.narrow |= narrow


def _measure(found: Crossings, start: float, stop: float) -> tuple[Array, Array, Array, bool]:
    """Chance of failing, of holding and of failing next to a NaN on each ray, (n,) each.

    Stretches narrower than the gap count in inverse proportion to the chance to be met.
    """
    everywhere = np.full(len(found.t), np.inf)
    fails, holds, lost = normal_measure(found, -everywhere, everywhere)
    gap = (stop - start) / (found.t.shape[1] - 4)  # two ends and two places near the stop
    row, at = np.nonzero(np.isfinite(found.root))
    ends = found.root[row, at]
    within = np.flatnonzero(row[1:] == row[:-1])
    a, b, row, place = ends[within], ends[within + 1], row[within], at[within] + 1
    free = b < stop - _FIXED_PART * (stop - start)
    met = np.where(free, np.clip((b - a) / gap, 1e-9, 1.0), 1.0)
    more = (1.0 / met - 1.0) * np.where(a > 0, ndtr(-a) - ndtr(-b), ndtr(b) - ndtr(a))
    failing = found.fails[row, place]
    np.add.at(fails, row, np.where(failing, more, 0.0))
    np.add.at(holds, row, np.where(failing, 0.0, more))
    np.add.at(lost, row, np.where(found.undefined[row, place], more, 0.0))
    return fails, holds, lost, bool(np.any(met < 1.0))


def _no_sums() -> Sums:
    """Make sums of nothing."""
    return Sums(np.zeros(1), np.zeros(1), np.zeros(1), np.zeros(1))


def _sums(terms: Array) -> Sums:
    """Sum terms of one stratum in the unit."""
    scaled = terms / _UNIT
    return Sums(
        np.array([float(terms.size)]),
        np.array([scaled.sum()]),
        np.array([(scaled**2).sum()]),
        np.array([scaled.max(initial=0.0)]),
    )


def _bounds(strata: list[_Stratum], confidence: float) -> Bounds:
    """Interval of what fails; near one it is that of what holds."""
    found = _interval(strata, [stratum.fails for stratum in strata], confidence)
    if found.estimate <= 0.5:
        return found
    rest = _interval(strata, [stratum.holds for stratum in strata], confidence)
    low, high = max(0.0, 1.0 - rest.high), max(0.0, 1.0 - rest.low)
    return Bounds(max(0.0, 1.0 - rest.estimate), low, high, rest.standard_error)


def _interval(strata: list[_Stratum], parts: list[Sums], confidence: float) -> Bounds:
    """Gamma interval, with what the roots along the rays are not known to.

    Where a few directions carry the value those that would carry more may not have been
    drawn; the upper bound is then at least that of a count of 0 in the pairs.
    """
    chance = np.array([stratum.cell.probability for stratum in strata])
    pairs = np.array([stratum.pairs for stratum in strata])
    laid = Sums(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))
    found = Bounds(*(_UNIT * v for v in stratified_interval(laid, chance / pairs, confidence)))
    unseen = float(chance @ [clopper_pearson(0, int(n), confidence)[1] for n in pairs])
    if found.estimate == 0.0:
        return found._replace(high=min(1.0, unseen))
    high = found.high * (1.0 + 2.0 * _ROOT_ERROR)
    if found.standard_error > _FEW * found.estimate:
        high = max(high, unseen)
    low = found.low * (1.0 - 2.0 * _ROOT_ERROR)
    error = float(np.hypot(found.standard_error, _ROOT_ERROR * found.estimate))
    return Bounds(found.estimate, low, min(1.0, high), error)


def _allocation(strata: list[_Stratum], excess: float, left: float) -> npt.NDArray[np.intp]:
    """Pairs each stratum gets next: by its part of the scatter, a floor for all (Neyman)."""
    pairs = np.array([stratum.pairs for stratum in strata], dtype=float)
    mean = np.array([stratum.fails.sums[0] for stratum in strata]) / pairs
    square = np.array([stratum.fails.squares[0] for stratum in strata]) / pairs
    chance = np.array([stratum.cell.probability for stratum in strata])
    part = chance * np.sqrt(np.maximum(square - mean**2, 0.0))
    even = np.full(len(strata), 1.0 / len(strata))
    share = 0.9 * part / part.sum() + 0.1 * even if part.sum() > 0 else even
    done = float(pairs.sum())
    wanted = 1.1 * done * excess**2 - done if np.isfinite(excess) else 3.0 * done
    total = min(max(wanted, 64.0), 3.0 * done, max(left, 1.0))
    return np.ceil(total * share).astype(np.intp)


def _outcome(run: _Run, strata: list[_Stratum], bounds: Bounds) -> Outcome:
    """Assemble the result with its notes."""
    notes: tuple[str, ...] = (f"{sum(s.pairs for s in strata):,} pairs of directions",)
    silent = [stratum.cell for stratum in strata if not stratum.fails.sums[0] > 0]
    if 0 < len(silent) < len(strata):
        notes += (
            f"no failure seen in {len(silent)} of {len(strata)} cells ({cell_names(silent)})",
        )
    lost = sum(s.cell.probability * s.lost / s.pairs for s in strata)
    return Outcome(
        bounds,
        run.used,
        run.undefined,
        max(0.0, bounds.estimate - lost),
        notes=notes,
    )
