"""Line sampling: along each line the chance of failure is exact, only the lines are drawn.

Lines run along the direction of a design point. With several points, space is shared out:
every place belongs to the nearest of them, and each set of lines measures failure in its
own share only. The mean over lines is then unbiased for any limit state, as far as the
points tried on a line see where it fails. Labels are strata, and so are rings: lines far
from the direction are rare but may fail whole, and plain draws would not show them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.special import gammainccinv, ndtr

from jointrisk.reliability.crossings import crossings, normal_measure, normal_slack
from jointrisk.reliability.form import DesignPoint, Margin, design_point, gradient
from jointrisk.reliability.interval import (
    Bounds,
    Sums,
    clopper_pearson,
    stratified_interval,
    sums_of,
)
from jointrisk.reliability.outcome import Outcome, cell_names, labels_alone
from jointrisk.reliability.search import distinct, find_points, further_points, unexplained
from jointrisk.reliability.space import Cell, Problem
from jointrisk.reliability.streams import block_rng

__all__ = ["line"]

Array = npt.NDArray[np.float64]

PURPOSE = 14
_FIRST, _FIRST_OUTER = 100, 20
"""Lines of the inmost ring of a share at first, and of each other ring."""
_MOST_RINGS = 6
_EVERY_FIRST, _EVERY = 4, 8
"""One line in so many looks everywhere, at first and later, until one winds."""
_CHUNK = 2048
_MOST_REGIONS = 64
_WIDEST, _WIDTH, _CHECK_ROWS = 20, 2.0, 1024
"""A second look for regions: in no more coordinates than this, so much wider, so many draws."""
_ROUNDING = 1e-4
"""Least relative half-width [-]: lines all alike have no scatter, but sums are rounded."""
_BEFORE, _BEYOND, _LEAST = 2.5, 3.0, 5.0
"""How far a line is looked at before and beyond the design distance, and at least [-]."""
_SMALLEST = 1e-300
_NONE = sums_of(np.zeros(0), None, 1)


@dataclass(slots=True)
class _Region:
    """One ring of one share of space, the direction of its lines, and the sums so far."""

    cell: Cell
    ring: tuple[float, float]
    """Chance that a line is farther out than its outer and than its inner edge [-]."""
    alpha: Array
    beta: float
    sides: Array
    """Other points minus this one, (k, d); the share is where u·side < offset."""
    offsets: Array
    unit: float
    """Sums are in units of it, so that squares of tiny chances do not vanish [-]."""
    fails: Sums
    holds: Sums
    guess: float
    undefined_part: float = 0.0
    slack: float = 0.0
    """Sum over lines of how far their chance may be out by the roots, in `unit`."""
    winding: bool = False

    @property
    def lines(self) -> int:
        """Lines in the sums."""
        return int(self.fails.counts[0])

    @property
    def chance(self) -> float:
        """Of the cell and the ring [-]."""
        return self.cell.probability * (self.ring[1] - self.ring[0])

    @property
    def first(self) -> int:
        """Lines at first."""
        return _FIRST if self.ring[1] == 1.0 else _FIRST_OUTER

    def draw(self, rng: np.random.Generator, lines: int) -> Array:
        """Draw where lines pass the plane through the origin, (n, d) [-]."""
        v = rng.standard_normal((lines, self.alpha.size))
        v -= (v @ self.alpha)[:, None] * self.alpha
        if v.shape[1] > 1:
            outside = self.ring[0] + (self.ring[1] - self.ring[0]) * rng.random(lines)
            radius = np.sqrt(2.0 * gammainccinv(0.5 * (v.shape[1] - 1), outside))
            v *= (radius / np.linalg.norm(v, axis=1))[:, None]
        return v


def line(
    problem: Problem,
    *,
    seed: int,
    target_cov: float,
    max_evaluations: int,
    confidence: float,
) -> Outcome:
    """Estimate a failure probability by line sampling.

    Each share gets 100 lines first, and 20 in each ring farther out; the chances of the
    rings fall evenly in the logarithm from 0.1 to that of the design point. A line is
    looked at in three places, and in twelve where these are not "holds before, fails
    beyond"; one line in four at first, in eight later, is looked at in all twelve anyway.
    Does a line cross more than once, the ring begins anew with 28 places for all. A
    failing stretch between two places that both hold is not seen; the places lie
    at random in their gaps, so that a stretch is not missed on every line.

    Parameters
    ----------
    problem : Problem
    seed : int
    target_cov : float
        Stop at this coefficient of variation [-].
    max_evaluations : int
        Stop after as many calls of the limit state, the search included; one round of
        lines is always made.
    confidence : float
        Of the gamma interval [-].

    Returns
    -------
    Outcome

    References
    ----------
    Koutsourelis, Pradlwarter & Schueller (2004), Prob. Eng. Mech. 19, 409; several
    directions: Papaioannou & Straub (2021), Struct. Safety 88, 102025. From memory.
    """
    if problem.space.dim == 0:
        return labels_alone(problem)
    run = _Run(problem, seed)
    regions = [region for cell in problem.space.cells for region in run.open(cell)]
    wanted = np.array([region.first for region in regions])
    while True:
        for region, lines in zip(regions, wanted, strict=True):
            run.sample(region, int(lines))
        bounds = _bounds(regions, confidence)
        cov = bounds.standard_error / bounds.estimate if bounds.estimate > 0 else float("inf")
        if cov <= target_cov or run.used >= max_evaluations:
            return _outcome(run, regions, bounds)
        wanted = _allocation(regions, cov / target_cov, max_evaluations - run.used)


@dataclass(slots=True)
class _Run:
    """Counts calls and hands out streams; regions are served in a fixed order."""

    problem: Problem
    seed: int
    used: int = 0
    undefined: int = 0
    streams: int = 0
    points: tuple[tuple[Cell, DesignPoint], ...] = ()

    def rng(self) -> np.random.Generator:
        """Next stream."""
        self.streams += 1
        return block_rng(self.seed, PURPOSE, self.streams)

    def margin(self, u: Array, cell: Cell) -> Array:
        """Give margins and count them."""
        found = self.problem.margin(u, cell)
        self.used += found.size
        self.undefined += int(np.isnan(found).sum())
        return found

    def open(self, cell: Cell) -> list[_Region]:
        """Search one cell and share it out among the points found."""
        dim, g = self.problem.space.dim, partial(self.margin, cell=cell)
        found = find_points(g, dim, self.rng())
        points = found.points
        if not found.origin_fails and 0 < dim <= _WIDEST:
            points = self.look_again(g, points, dim)
        points = points[:_MOST_REGIONS]
        if not points and found.origin_fails:
            inner = design_point(g, dim)
            points = (inner,) if inner.converged else ()
        if not points:
            slope = gradient(g, np.zeros(dim))[1]
            size = float(np.linalg.norm(slope))
            alpha = -slope / size if size > 0 else np.eye(dim)[0]
            return _rings(cell, alpha, 0.0, np.zeros((0, dim)), np.zeros(0))
        self.points += tuple((cell, point) for point in points)
        at = np.array([point.u for point in points])
        square = 0.5 * np.sum(at**2, axis=1)
        regions = []
        for k, point in enumerate(points):
            others = np.arange(len(points)) != k
            sides, offsets = at[others] - at[k], square[others] - square[k]
            regions += _rings(cell, _direction(point), point.beta, sides, offsets)
        return regions

    def look_again(
        self, g: Margin, points: tuple[DesignPoint, ...], dim: int
    ) -> tuple[DesignPoint, ...]:
        """Search from widened draws that fail where no point found explains it."""
        wide = _WIDTH * self.rng().standard_normal((_CHECK_ROWS, dim))
        failing = wide[~(g(wide) >= 0)]
        strange = failing[unexplained(failing, points)]
        if not len(strange):
            return points
        return distinct([*points, *further_points(g, dim, strange, points, self.rng()).points])

    def sample(self, region: _Region, lines: int) -> None:
        """Add lines to a region; begin anew where one winds."""
        rng, every = self.rng(), _EVERY if region.lines else _EVERY_FIRST
        for start in range(0, lines, _CHUNK):
            v = region.draw(rng, min(_CHUNK, lines - start))
            shift = rng.random(len(v))
            full = np.full(len(v), region.winding)
            full[::every] = True
            if self.measure(region, v, full, shift) and not region.winding:
                again, zero = max(region.lines, region.first), _NONE
                region.fails, region.holds = zero, zero
                region.undefined_part = region.slack = 0.0
                region.winding = True
                self.sample(region, again)
                return

    def measure(self, region: _Region, v: Array, full: npt.NDArray[np.bool_], shift: Array) -> bool:
        """Add the chance of failure on every line; True where one winds."""
        low, high = _share(region, v)
        inside = low < high
        v, full, low, high = v[inside], full[inside], low[inside], high[inside]
        fails, holds, lost = np.zeros(inside.size), np.zeros(inside.size), np.zeros(inside.size)
        winds = False
        if len(v):
            ends = _ends(region, low, high)
            found = crossings(
                lambda row, t: self.margin(v[row] + t[:, None] * region.alpha, region.cell),
                *ends,
                region.guess,
                full,
                shift[inside],
                winding=region.winding,
            )
            parts = normal_measure(found, low, high)
            fails[inside], holds[inside], lost[inside] = parts
            region.slack += float(normal_slack(found, low, high).sum()) / region.unit
            winds = found.winding
            single = found.single_root
            if single.size:
                region.guess = float(np.median(single))
        region.fails = region.fails.plus(sums_of(fails / region.unit))
        region.holds = region.holds.plus(sums_of(holds))
        region.undefined_part += float(lost.sum())
        return winds


def _rings(cell: Cell, alpha: Array, beta: float, sides: Array, offsets: Array) -> list[_Region]:
    """Make the rings of a share with no lines yet."""
    unit = max(float(ndtr(-max(beta, 0.0))), _SMALLEST)
    edges = np.array([0.0, 1.0])
    if alpha.size > 1:
        decades = -np.log10(unit)
        count = int(np.clip(np.ceil(decades), 1, _MOST_RINGS))
        edges = np.array([0.0, *np.logspace(-max(decades, 1.0), -1.0, count), 1.0])
    return [
        _Region(
            cell,
            (float(a), float(b)),
            alpha,
            beta,
            sides,
            offsets,
            unit,
            _NONE,
            _NONE,
            beta,
        )
        for a, b in pairwise(edges)
    ]


def _direction(point: DesignPoint) -> Array:
    """Direction of the lines: the normal, or towards the point where there is none."""
    size = float(np.linalg.norm(point.u))
    if point.converged or size == 0:
        return point.alpha
    return point.u / size


def _share(region: _Region, v: Array) -> tuple[Array, Array]:
    """Where each line enters and leaves the share of its point, (n,) each [-]."""
    low, high = np.full(len(v), -np.inf), np.full(len(v), np.inf)
    for side, offset in zip(region.sides, region.offsets, strict=True):
        slope, left = float(side @ region.alpha), offset - v @ side
        if slope > 1e-12:
            high = np.minimum(high, left / slope)
        elif slope < -1e-12:
            low = np.maximum(low, left / slope)
        else:
            high = np.where(left > 0, high, -np.inf)
    return low, high


def _ends(region: _Region, low: Array, high: Array) -> tuple[Array, Array]:
    """First and last place looked at on each line, (n,) each [-]."""
    reach = abs(region.beta)
    first, last = -max(reach + _BEFORE, _LEAST), max(reach + _BEYOND, _LEAST)
    start, stop = np.maximum(low, first), np.minimum(high, last)
    beyond, before = low >= last, high <= first
    start = np.where(before, np.maximum(low, high - 1.0), start)
    stop = np.where(beyond, np.minimum(high, low + 1.0), stop)
    return start, stop


def _bounds(regions: list[_Region], confidence: float) -> Bounds:
    """Gamma interval over all regions; near one it is that of what holds."""
    chance = np.array([region.chance for region in regions])
    lines = np.array([region.lines for region in regions])
    seen = [region.unit for region in regions if region.fails.sums[0] > 0]
    if not seen:
        zero = [clopper_pearson(0, int(n), confidence)[1] for n in lines]
        return Bounds(0.0, 0.0, min(1.0, float(chance @ zero)), 0.0)
    unit = max(seen)
    scale = chance / lines * np.array([region.unit / unit for region in regions])
    slack = unit * float(scale @ np.array([region.slack for region in regions]))
    found = stratified_interval(_laid([r.fails for r in regions]), scale, confidence, smooth=True)
    found = Bounds(*(unit * value for value in found))
    if found.estimate <= 0.5:
        return _with_roots(found, slack)
    rest = stratified_interval(
        _laid([r.holds for r in regions]), chance / lines, confidence, smooth=True
    )
    if rest.estimate == 0.0:
        return Bounds(1.0, 1.0 - clopper_pearson(0, int(lines.sum()), confidence)[1], 1.0, 0.0)
    rest = _with_roots(rest, slack)
    low, high = max(0.0, 1.0 - rest.high), max(0.0, 1.0 - rest.low)
    return Bounds(max(0.0, 1.0 - rest.estimate), low, high, rest.standard_error)


def _with_roots(found: Bounds, slack: float) -> Bounds:
    """Add what the roots along the lines are not known to, on the same side for all."""
    slack += _ROUNDING * found.estimate
    return Bounds(
        found.estimate,
        max(0.0, found.low - slack),
        min(1.0, found.high + slack),
        float(np.hypot(found.standard_error, slack)),
    )


def _laid(parts: list[Sums]) -> Sums:
    """Lay strata end to end."""
    return Sums(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))


def _allocation(regions: list[_Region], excess: float, left: int) -> npt.NDArray[np.intp]:
    """Lines each region gets next: by its part of the scatter, a floor for all (Neyman)."""
    lines = np.array([region.lines for region in regions], dtype=float)
    mean = np.array([region.fails.sums[0] for region in regions]) / lines
    square = np.array([region.fails.squares[0] for region in regions]) / lines
    chance = np.array([region.chance * region.unit for region in regions])
    part = chance / chance.max() * np.sqrt(np.maximum(square - mean**2, 0.0))
    even = np.full(len(regions), 1.0 / len(regions))
    share = 0.9 * part / part.sum() + 0.1 * even if part.sum() > 0 else even
    done = float(lines.sum())
    wanted = 1.1 * done * excess**2 - done if np.isfinite(excess) else 3.0 * done
    total = min(max(wanted, 64.0), 3.0 * done, max(left / 5.0, 64.0))
    return np.ceil(total * share).astype(np.intp)


def _outcome(run: _Run, regions: list[_Region], bounds: Bounds) -> Outcome:
    """Assemble the result with its notes."""
    total = sum(region.lines for region in regions)
    ways = {region.alpha.tobytes() for region in regions}
    notes: tuple[str, ...] = (f"{total:,} lines along {len(ways)} directions",)
    winding = {region.alpha.tobytes() for region in regions if region.winding}
    if winding:
        notes += (f"lines cross the surface more than once along {len(winding)} of them",)
    cells = run.problem.space.cells
    loud = {id(region.cell) for region in regions if region.fails.sums[0] > 0}
    silent = [cell for cell in cells if id(cell) not in loud]
    if 0 < len(silent) < len(cells):
        notes += (f"no failure seen in {len(silent)} of {len(cells)} cells ({cell_names(silent)})",)
    lost = sum(r.chance * r.undefined_part / r.lines for r in regions)
    return Outcome(
        bounds,
        run.used,
        run.undefined,
        max(0.0, bounds.estimate - lost),
        points=run.points,
        notes=notes,
    )
