"""A cheap path for one smooth surface: many checks, and any doubt sends back.

Most limit states of a maker fail beyond one smooth, gently bent surface. There lines laid
out by the bend of the surface need few calls. Nothing is believed for being cheap: widened
draws look for other regions, every line is looked at before and beyond its root, and weighted
draws of their own have to agree. Whatever is odd ends here, with a reason, and the caller
takes the thorough way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from jointrisk.reliability.bend import Lay, lay_out
from jointrisk.reliability.crude import Counts
from jointrisk.reliability.form import DesignPoint, design_point
from jointrisk.reliability.interval import (
    Bounds,
    clopper_pearson,
    stratified_interval,
    sums_of,
    weighted_interval,
)
from jointrisk.reliability.outcome import Outcome
from jointrisk.reliability.search import spread_out
from jointrisk.reliability.space import Cell, Problem, Space
from jointrisk.reliability.streams import block_rng

__all__ = ["LEAST_ROWS", "Easy", "easy", "may_be_easy"]

Array = npt.NDArray[np.float64]
Which = npt.NDArray[np.intp]

PURPOSE = 18
LEAST_ROWS = 4000
"""With fewer rows to spend it is not tried."""
_WIDEST = 20
"""Coordinates at most: beyond, widened draws show little and the bend is dear."""
_FEW, _LOOKS = 6, (512, 320)
"""Widened draws of each width: in so few coordinates, where regions may be small, and in more."""
_LEAST_WIDTHS, _WIDTHS, _FURTHER = (2.0, 2.5), (0.5, 0.7), 3.0
"""These widths grow with the distance; no coordinate goes so much further than that."""
_NEAREST, _FARTHEST = 1.5, 9.0
"""Distances of the design point that are tried [-]."""
_SAME, _BEHIND = 0.1, 1.5
"""Two searches that end so near are one; a point so much farther out adds little [-]."""
_MOST_STARTS = 4
_PLACES = np.linspace(0.2, 1.0, 9)
"""Where on the ray to a failing draw failure may begin; the search starts there."""
_TIGHT, _LOOSE, _STEPS = 1e-3, 0.03, 30
"""Tolerances of the first search and of those that ask only where they lead; steps at most."""
_FIRST, _MOST, _MOST_EVER, _EACH = 96, 480, 20_000, 6
"""Lines at first, at most for the usual aim and for any, and calls that a line may take."""
_UNEVEN = 0.6
"""Lines that differ more are not explained by the bend [-]."""
_ROOT = 0.005
"""Last secant step, times max(1, |t|), at which a root is good enough [-]."""
_ROOTS = 1e-3
"""Relative error of the value from that [-]: the steps left are of second order."""
_ROUNDS, _BEYOND = 5, 3.0
"""Secant steps at most; how far beyond its root a line is looked at [-]."""
_CONFIRM, _COARSE = 640, 0.25
"""Weighted draws that confirm, and the largest coefficient of variation that does."""
_PLAIN = 0.999
"""Confidence of the interval that the plain draws allow [-]."""
_ERRORS = 3.5
"""The two values agree within so many of their joint standard errors."""


class Easy(NamedTuple):
    """What the cheap path gives."""

    outcome: Outcome | None
    """None where this limit state is not for it."""
    evaluations: int
    said: str
    """What confirms the outcome, or what was odd."""


class _OddError(Exception):
    """Something that the cheap path does not take."""


def may_be_easy(space: Space) -> bool:
    """Tell whether the cheap path is worth trying: no labels, some coordinates, not many."""
    return len(space.cells) == 1 and 1 < space.dim <= _WIDEST


def easy(
    problem: Problem,
    pilot: Counts,
    *,
    seed: int,
    target_cov: float,
    max_evaluations: int,
    confidence: float,
) -> Easy:
    """Estimate a failure probability where one smooth surface makes it.

    One design point from the origin; widened draws that fail elsewhere are searched from
    and have to lead to it as well. The bend there shapes the density of lines along its
    normal (importance sampling in the tangent plane, to the second-order optimum: variance
    1 / (1 + βκ) along each main curvature κ; derived). Weighted draws around the point, with
    a plain and a wide share, confirm.

    Parameters
    ----------
    problem : Problem
        One cell, 2 to 20 coordinates.
    pilot : Counts
        Plain draws, too few failures in them to count on.
    seed : int
    target_cov : float
        Coefficient of variation to reach [-].
    max_evaluations : int
        Calls of the limit state at most; with less than this would take it ends without one.
    confidence : float
        Of the gamma interval [-].

    Returns
    -------
    Easy

    References
    ----------
    Line sampling: Koutsourelis, Pradlwarter & Schueller (2004), Prob. Eng. Mech. 19, 409.
    The optimum behind the widths: Breitung (1984), J. Eng. Mech. 110, 357. From memory.
    """
    run = _Run(problem, problem.space.cells[0], seed, max_evaluations)
    try:
        point, bounds, lines = run.value(pilot, target_cov, confidence)
    except _OddError as odd:
        return Easy(None, run.used, str(odd))
    note = f"{lines:,} lines along 1 direction, laid out by the bend of the surface"
    outcome = Outcome(
        bounds, run.used, 0, bounds.estimate, points=((run.cell, point),), notes=(note,)
    )
    return Easy(outcome, run.used, f"line {bounds.estimate:.4g}, importance agrees")


@dataclass(slots=True)
class _Run:
    """Counts calls; raises `_OddError` at the first thing that is not plain."""

    problem: Problem
    cell: Cell
    seed: int
    most: int
    used: int = 0

    def value(
        self, pilot: Counts, target_cov: float, confidence: float
    ) -> tuple[DesignPoint, Bounds, int]:
        """Go the whole way: the point, the value and how many lines it took."""
        if pilot.undefined:
            raise _OddError("a margin that is not finite")
        point = self.search()
        lay = lay_out(self.margin, point)
        if lay is None:
            raise _OddError("no slope")
        self.look(lay)
        bounds, lines = self.lines(lay, target_cov, confidence)
        low, high = clopper_pearson(pilot.failures, pilot.n, _PLAIN)
        if not low <= bounds.estimate <= high:
            raise _OddError(
                f"lines give {bounds.estimate:.3g}, plain draws {low:.2g} to {high:.2g}"
            )
        value, cov = self.confirm(lay, confidence)
        # Draws that come out low hold their own scatter for low as well.
        error = np.hypot(cov * max(value, bounds.estimate), bounds.standard_error)
        if abs(value - bounds.estimate) > _ERRORS * error:
            raise _OddError(f"lines give {bounds.estimate:.3g}, weighted draws {value:.3g}")
        return point, bounds, lines

    def rng(self, use: int) -> np.random.Generator:
        """Give the stream of one use."""
        return block_rng(self.seed, PURPOSE, use)

    def margin(self, u: Array) -> Array:
        """Give margins, all finite."""
        found = self.problem.margin(u, self.cell)
        self.used += found.size
        if not np.all(np.isfinite(found)):
            raise _OddError("a margin that is not finite")
        return found

    def from_start(self, start: Array, tolerance: float) -> DesignPoint:
        """Search once, with forward differences."""
        found = design_point(
            self.margin,
            start.size,
            start,
            tolerance=tolerance,
            max_iterations=_STEPS,
            forward=True,
        )
        if not found.converged:
            raise _OddError("a search that does not settle")
        return found

    def search(self) -> DesignPoint:
        """Find the design point from the origin."""
        point = self.from_start(np.zeros(self.problem.space.dim), _TIGHT)
        if not _NEAREST <= point.beta <= _FARTHEST:
            raise _OddError(f"a design point at {point.beta:.3g}")
        return point

    def look(self, lay: Lay) -> None:
        """Look for failure elsewhere with widened draws."""
        dim, beta = lay.point.u.size, lay.point.beta
        rng, shape = self.rng(0), (_LOOKS[0] if dim <= _FEW else _LOOKS[1], dim)
        pairs = zip(_LEAST_WIDTHS, _WIDTHS, strict=True)
        widths = [max(least, width * beta) for least, width in pairs]
        wide = np.vstack([width * rng.standard_normal(shape) for width in widths])
        wide = np.clip(wide, -beta - _FURTHER, beta + _FURTHER)
        failing = wide[self.margin(wide) < 0]
        if not len(failing):
            raise _OddError("no widened draw that fails")
        nearest = failing[np.argmin(np.sum(failing**2, axis=1))]
        self.explain(np.vstack([nearest, failing[lay.holds(failing)]]), lay.point)

    def explain(self, failing: Array, point: DesignPoint) -> None:
        """Search from failing draws; each has to lead to the point or far out."""
        starts = spread_out(failing, _MOST_STARTS)
        if not len(starts):
            return
        rays = _PLACES[:, None] * starts[:, None, :]
        fails = self.margin(rays.reshape(-1, point.u.size)).reshape(-1, _PLACES.size) < 0
        for ray, nearest in zip(rays, fails.argmax(axis=1), strict=True):
            other = self.from_start(ray[nearest], _LOOSE)
            same = float(np.linalg.norm(other.u - point.u)) < _SAME * point.beta
            if not same and other.beta < point.beta + _BEHIND:
                raise _OddError(f"design points at {point.beta:.3g} and {other.beta:.3g}")

    def lines(self, lay: Lay, target_cov: float, confidence: float) -> tuple[Bounds, int]:
        """Measure the chance of failure along lines until the aim is reached."""
        rng = self.rng(1)
        most = int(min(_MOST * max(1.0, (0.05 / target_cov) ** 2), _MOST_EVER))
        unit = float(ndtr(-lay.point.beta))
        terms, which, wanted = np.empty(0), np.empty(0, dtype=np.intp), _FIRST
        while True:
            v, shaped, weight = lay.draw(rng, wanted)
            chance = ndtr(-self.roots(lay, v, rng))
            terms = np.append(terms, weight * chance / unit)
            which = np.append(which, shaped)
            uneven = float(terms.std() / terms.mean()) if terms.any() else np.inf
            if not uneven <= _UNEVEN:
                raise _OddError(f"lines that differ by {uneven:.2g} of their mean")
            found = _mean(terms, which, confidence)
            cov = found.standard_error / found.estimate
            if cov <= target_cov:
                return Bounds(*(unit * value for value in found)), terms.size
            wanted = int(np.ceil(1.1 * terms.size * (cov / target_cov) ** 2)) - terms.size
            if terms.size + wanted > most or self.used + _EACH * wanted > self.most:
                raise _OddError("lines that would be too many")

    def roots(self, lay: Lay, v: Array, rng: np.random.Generator) -> Array:
        """Find where each line crosses by secant steps, and look before and beyond."""
        alpha = lay.point.alpha

        def along(rows: Array, t: Array) -> Array:
            return self.margin(rows + t[:, None] * alpha)

        before = lay.guess(v)
        last = along(v, before)
        root = before + np.clip(last / lay.slope, -1.0, 1.0)
        left = np.arange(len(v))
        for _ in range(_ROUNDS):
            value = along(v[left], root[left])
            drop = last[left] - value
            with np.errstate(divide="ignore", invalid="ignore"):  # no slope: caught just below
                step = value * (root[left] - before[left]) / drop
            step = np.where(value == 0.0, 0.0, step)
            if not np.all(np.abs(step) < 2.0):
                raise _OddError("a line without a clear root")
            before[left], last[left] = root[left], value
            root[left] += step
            left = left[np.abs(step) * np.maximum(1.0, np.abs(root[left])) > _ROOT]
            if not left.size:
                break
        else:
            raise _OddError("a root that does not settle")
        chance = rng.random((2, len(v)))
        inside = along(v, root - 0.02 - (root + max(5.0, lay.point.beta)) * chance[0] ** 2)
        outside = along(v, root + 0.02 + _BEYOND * chance[1] ** 2)
        if not (np.all(inside >= 0) and np.all(outside < 0)):
            raise _OddError("a line that crosses more than once")
        return root

    def confirm(self, lay: Lay, confidence: float) -> tuple[float, float]:
        """Estimate once more with weighted draws: value and coefficient of variation."""
        point = lay.point
        u, which, log_weight = lay.draw_around(self.rng(2), _CONFIRM)
        fails = self.margin(u) < 0
        self.explain(u[fails & lay.holds(u)], point)
        unit = float(ndtr(-point.beta))
        terms = np.where(fails, np.exp(log_weight - np.log(unit)), 0.0)
        found = weighted_interval(terms, which, confidence)
        if not found.standard_error <= _COARSE * found.estimate:
            raise _OddError("weighted draws too coarse to confirm")
        return unit * found.estimate, found.standard_error / found.estimate


def _mean(terms: Array, which: Which, confidence: float) -> Bounds:
    """Mean of chances along lines with its interval, and what the roots are not known to."""
    scale = np.full(2, 1.0 / terms.size)
    found = stratified_interval(sums_of(terms, which, 2), scale, confidence, smooth=True)
    least = _ROOTS * found.estimate
    error = float(np.hypot(found.standard_error, least))
    return Bounds(found.estimate, found.low - least, found.high + least, error)
