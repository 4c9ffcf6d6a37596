"""One failure probability with its interval, by a named method or by `auto`'s choice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from scipy.special import ndtr, ndtri

from jointrisk.errors import InputError
from jointrisk.reliability.choice import FIRST, PILOT, choose, enough, pilot_note
from jointrisk.reliability.crude import Counts, count_failures
from jointrisk.reliability.directional import directional
from jointrisk.reliability.easy import LEAST_ROWS, easy, may_be_easy
from jointrisk.reliability.form import DesignPoint, design_point
from jointrisk.reliability.importance import PURPOSE, Weighted, importance
from jointrisk.reliability.interval import clopper_pearson
from jointrisk.reliability.line import line
from jointrisk.reliability.outcome import Outcome, both_note, short_note, undefined_note
from jointrisk.reliability.pools import Pool
from jointrisk.reliability.quasi import quasi
from jointrisk.reliability.search import find_points
from jointrisk.reliability.sorm import sorm
from jointrisk.reliability.space import Cell, Correlation, LimitState, Problem, Space
from jointrisk.reliability.streams import block_rng, resolve_seed
from jointrisk.reliability.subset import subset
from jointrisk.spread import Spread

__all__ = ["METHODS", "Estimate", "FailurePoint", "estimate"]

_OF_THEIR_OWN = {"quasi": quasi, "subset": subset, "line": line, "directional": directional}

METHODS = ("auto", "crude", "quasi", "form", "sorm", "importance", "subset", "line", "directional")

_MOST_CRUDE = 2_000_000
_MOST_QUASI = 2**21
_MOST_WEIGHTED = 1_000_000


@dataclass(frozen=True, slots=True)
class FailurePoint:
    """A most likely point of failure."""

    values: dict[str, float]
    """Every variable by name, each in its own unit."""
    scores: dict[str, float]
    """Normal score of each coordinate [-]; labels and constants have none."""
    beta: float
    """Distance in independent normal scores [-]."""
    alpha: dict[str, float]
    """Direction cosine by name [-]: loads positive, strengths negative."""
    probability: float
    """First-order probability, times the chance of its labels [-]."""
    converged: bool


@dataclass(frozen=True, slots=True)
class Estimate:
    """A failure probability and what it is worth."""

    probability: float
    interval: tuple[float, float]
    """Two-sided sampling interval [-]; NaN for "form", which draws nothing."""
    confidence: float
    cov: float
    """Coefficient of variation of the estimate [-]; inf when no failure was seen."""
    evaluations: int
    method: str
    converged: bool
    design_points: tuple[FailurePoint, ...] = ()
    alpha: dict[str, float] | None = None
    """Direction cosines at the point of largest first-order probability [-]."""
    notes: tuple[str, ...] = ()

    @property
    def beta(self) -> float:
        """Reliability index −Φ⁻¹(probability) [-]."""
        return float(-ndtri(self.probability))


def estimate(
    limit_state: LimitState,
    variables: Mapping[str, Spread],
    *,
    correlation: Correlation | None = None,
    correlation_of: str = "values",
    method: str = "auto",
    target_cov: float = 0.05,
    max_evaluations: int | None = None,
    confidence: float = 0.95,
    seed: int | None = None,
    pool: Pool | None = None,
) -> Estimate:
    """Estimate the probability that a limit state is below zero.

    Parameters
    ----------
    limit_state : callable
        Mapping of name to values (n,) in; margin (n,) out, failure where it is < 0. A NaN
        counts as failure and is told in the notes.
    variables : mapping of str to Spread
    correlation : mapping of (str, str) to float, optional
        Coefficients [-] of the pairs that hang together.
    correlation_of : str
        "values" (product-moment) or "scores" (of the normal scores).
    method : str
        "crude": plain Monte Carlo. "quasi": the same on scrambled Sobol' points.
        "form": first order, no interval. "sorm": second order, no interval, both bounds
        of several points in the notes. "importance": weighted draws around all design
        points. "subset": subset simulation, sixteen runs or more. "line": lines along the
        design points, each with its exact chance of failure. "directional": rays from the
        middle, likewise; good where failure lies all around. "auto": a block of plain
        draws first; where it shows too few failures a cheap path for one smooth surface, or
        two methods that have to agree; its notes say which and why.
    target_cov : float
        Coefficient of variation to reach [-].
    max_evaluations : int, optional
        Rows at most; when not given 2,000,000 for "crude", 2**21 for "quasi" and
        1,000,000 for the others. "form" and "sorm" do not use it.
    confidence : float
        Of the interval [-].
    seed : int, optional
        0 is a seed; a fixed default when not given.
    pool : object with ``map``, optional
        Shares out blocks of plain draws, and with the other methods the rows of large
        batches, 4,096 a piece. Results do not depend on it.

    Returns
    -------
    Estimate

    Raises
    ------
    InputError
        If an argument is out of range or the limit state returns another shape.
    """
    _check(method, target_cov, max_evaluations, confidence)
    task = _Task(
        limit_state,
        Space.of(variables, correlation, correlation_of),
        Space.of(variables, correlation, correlation_of, enumerate_labels=False),
        target_cov,
        max_evaluations,
        confidence,
        resolve_seed(seed),
        pool,
    )
    if method == "crude":
        return task.counted(max_evaluations or _MOST_CRUDE)
    if method == "form":
        return task.first_order()
    if method == "importance":
        return task.weighted()
    if method == "auto":
        return task.chosen()
    return task.other(method)


def _check(method: str, target_cov: float, max_evaluations: int | None, confidence: float) -> None:
    """Refuse settings out of range."""
    if method not in METHODS:
        raise InputError(f"method must be one of {', '.join(map(repr, METHODS))}, got {method!r}")
    if not (np.isfinite(target_cov) and target_cov > 0):
        raise InputError(f"target_cov must be finite and > 0, got {target_cov:g}")
    if max_evaluations is not None and max_evaluations < 1:
        raise InputError(f"max_evaluations must be >= 1, got {max_evaluations}")
    if not 0.0 < confidence < 1.0:
        raise InputError(f"confidence must lie between 0 and 1, got {confidence:g}")


@dataclass(frozen=True, slots=True)
class _Task:
    """One call of `estimate`, with a method each."""

    limit_state: LimitState
    space: Space
    plain: Space
    target_cov: float
    max_evaluations: int | None
    confidence: float
    seed: int
    pool: Pool | None

    def counts(self, most: int) -> Counts:
        return count_failures(
            Problem(self.plain, self.limit_state),
            seed=self.seed,
            target_cov=self.target_cov,
            max_evaluations=most,
            pool=self.pool,
        )

    def counted(self, most: int, notes: tuple[str, ...] = ()) -> Estimate:
        """Use plain Monte Carlo."""
        found = self.counts(most)
        low, high = clopper_pearson(found.failures, found.n, self.confidence)
        notes += undefined_note(found.undefined, found.n)
        sound = (found.failures - found.undefined) / found.n
        notes += both_note(found.failures / found.n, sound, low)
        converged = found.cov <= self.target_cov
        if found.failures == 0:
            notes += (f"no failure in {found.n:,} draws: only an upper bound is known",)
        elif not converged:
            notes += (short_note(found.cov, self.target_cov, found.n),)
        return Estimate(
            found.failures / found.n,
            (low, high),
            self.confidence,
            found.cov,
            found.n,
            "crude",
            converged,
            notes=notes,
        )

    def first_order(self) -> Estimate:
        """Use FORM in each cell; the value is the sum over cells of chance times Φ(−β)."""
        problem, dim, used = Problem(self.space, self.limit_state, self.pool), self.space.dim, 0
        points: list[FailurePoint] = []
        total, settled = 0.0, True
        for number, cell in enumerate(self.space.cells):
            margin = partial(problem.margin, cell=cell)
            found = find_points(margin, dim, block_rng(self.seed, PURPOSE, number))
            used += found.evaluations
            local = found.points
            if found.origin_fails and dim:
                local = (design_point(margin, dim),)
                used += local[0].evaluations
                local = local if local[0].converged else ()
                settled &= bool(local)
            total += cell.probability * (local[0].probability if local else found.origin_fails)
            settled &= local[0].converged if local else True
            points += [_failure_point(self.space, cell, point) for point in local]
        points.sort(key=lambda point: -point.probability)
        notes: tuple[str, ...] = (
            "first-order value at the nearest point of each cell: no interval",
        )
        if len(points) > 1:
            notes += (f"{len(points)} design points found: the others may add to the value",)
        if not points:
            notes += ("no design point found: nothing failed where the search looked",)
        if points and not settled:
            notes += ("a search did not settle on the surface",)
        return Estimate(
            total,
            (float("nan"), float("nan")),
            self.confidence,
            float("nan"),
            used,
            "form",
            bool(points) and settled,
            tuple(points),
            points[0].alpha if points else None,
            notes,
        )

    def weighted(self, notes: tuple[str, ...] = ()) -> Estimate:
        """Use importance sampling."""
        found = importance(
            Problem(self.space, self.limit_state, self.pool),
            seed=self.seed,
            target_cov=self.target_cov,
            max_evaluations=self.max_evaluations or _MOST_WEIGHTED,
            confidence=self.confidence,
        )
        points = sorted(
            (_failure_point(self.space, s.cell, p) for s in found.strata for p in s.points),
            key=lambda point: -point.probability,
        )
        bounds = found.bounds
        converged = found.cov <= self.target_cov
        notes += undefined_note(found.undefined, found.evaluations)
        notes += both_note(bounds.estimate, found.defined, bounds.low)
        if bounds.estimate == 0.0:
            notes += (f"no failure in {found.evaluations:,} draws: only an upper bound is known",)
        elif not converged:
            notes += (short_note(found.cov, self.target_cov, found.evaluations),)
        return Estimate(
            bounds.estimate,
            (bounds.low, bounds.high),
            self.confidence,
            found.cov,
            found.evaluations,
            "importance",
            converged,
            tuple(points),
            points[0].alpha if points else None,
            notes + _silent_note(found),
        )

    def other(self, method: str) -> Estimate:
        """Use a method of its own module."""
        problem = Problem(self.space, self.limit_state, self.pool)
        if method == "sorm":
            found = sorm(problem, seed=self.seed)
        else:
            run = _OF_THEIR_OWN[method]
            most = _MOST_QUASI if method == "quasi" else _MOST_WEIGHTED
            found = run(
                problem,
                seed=self.seed,
                target_cov=self.target_cov,
                max_evaluations=self.max_evaluations or most,
                confidence=self.confidence,
            )
        return self.told(method, found)

    def told(self, method: str, found: Outcome) -> Estimate:
        """Name the points of an outcome and say what it is worth."""
        bounds, cov = found.bounds, found.cov
        points = sorted(
            (_failure_point(self.space, cell, point) for cell, point in found.points),
            key=lambda point: -point.probability,
        )
        drawn = not np.isnan(bounds.low)
        exact = bounds.low == bounds.high
        notes = undefined_note(found.undefined, found.evaluations)
        notes += both_note(bounds.estimate, found.defined, bounds.low)
        if bounds.estimate == 0.0 and drawn and not exact:
            notes += (f"no failure in {found.evaluations:,} draws: only an upper bound is known",)
        elif cov > self.target_cov and not exact:
            notes += (short_note(cov, self.target_cov, found.evaluations),)
        return Estimate(
            bounds.estimate,
            (bounds.low, bounds.high),
            self.confidence,
            0.0 if exact else float(cov),
            found.evaluations,
            method,
            bool(found.settled and (exact or not drawn or cov <= self.target_cov)),
            tuple(points),
            points[0].alpha if points else None,
            found.notes + notes,
        )

    def chosen(self) -> Estimate:
        """Make plain draws, try the cheap path, then have two methods agree."""
        most = self.max_evaluations or _MOST_WEIGHTED
        if self.space.dim == 0:
            return self.other("line")
        quick, spent = may_be_easy(self.space) and most >= LEAST_ROWS, 0
        for rows in (FIRST, PILOT) if quick else (PILOT,):
            pilot = self.counts(min(rows, most))
            if enough(pilot, self.target_cov, most):
                note = pilot_note(pilot, "so plain Monte Carlo is enough")
                return self.counted(most, (note,))
            found = self.quickly(pilot, most) if rows == FIRST else spent
            if isinstance(found, Estimate):
                return found
            spent = found
        dim = self.space.dim if len(self.space.cells) == 1 else 0
        return choose(self.run, pilot, self.target_cov, most, dim=dim, spent=spent)

    def quickly(self, pilot: Counts, most: int) -> Estimate | int:
        """Take the cheap path: its answer, or the rows that it used without one."""
        quick = easy(
            Problem(self.space, self.limit_state, self.pool),
            pilot,
            seed=self.seed,
            target_cov=self.target_cov,
            max_evaluations=most - pilot.n,
            confidence=self.confidence,
        )
        if quick.outcome is None:
            return quick.evaluations
        found = self.told("line", quick.outcome)
        notes = pilot_note(pilot), quick.said, *found.notes
        return replace(found, evaluations=pilot.n + quick.evaluations, notes=notes)

    def run(self, method: str, target_cov: float, rows: int) -> Estimate:
        """Use one method with an aim and a limit of its own."""
        task = replace(self, target_cov=target_cov, max_evaluations=rows)
        return task.weighted() if method == "importance" else task.other(method)


def _failure_point(space: Space, cell: Cell, point: DesignPoint) -> FailurePoint:
    """Name the entries of a design point."""
    values = {name: float(v[0]) for name, v in space.values(point.u[None, :], cell).items()}
    scores = space.correlate(point.u[None, :])[0]
    return FailurePoint(
        values,
        {name: float(s) for name, s in zip(space.coordinates, scores, strict=True)},
        point.beta,
        space.directions(point.alpha),
        cell.probability * float(ndtr(-point.beta)),
        point.converged,
    )


def _silent_note(found: Weighted) -> tuple[str, ...]:
    """Name the cells that showed no failure while others did."""
    silent = [s for s in found.strata if not s.sums.sums.any()]
    if not silent or len(silent) == len(found.strata):
        return ()
    names = "; ".join(
        ", ".join(f"{name} = {value:g}" for name, value in s.cell.labels) for s in silent[:4]
    )
    return (f"no failure seen in {len(silent)} of {len(found.strata)} cells ({names})",)
