"""Subset simulation: a rare event as a chain of ordinary ones, each reached from the last.

Several independent runs go side by side. The chains inside a run hang together in ways
that no formula settles once and for all; the scatter of whole runs needs none. Labels are
strata: a rare label has no slope that a chain could follow.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from jointrisk.reliability.interval import Bounds, clopper_pearson, weighted_interval
from jointrisk.reliability.outcome import Outcome, cell_names, labels_alone
from jointrisk.reliability.space import Cell, Problem
from jointrisk.reliability.streams import BLOCK, block_rng

__all__ = ["run_interval", "subset"]

Array = npt.NDArray[np.float64]
Rows = npt.NDArray[np.bool_]

PURPOSE = 13
RUNS = 16
SHARE = 0.1
"""Conditional probability of a level, p0 [-]."""
_FIRST = 1000
_MOST = 20_000
"""Draws of one run in a level, at first and at most; beyond it more runs are made."""
_ENTRIES = 2**23
"""Scores of one level held at once, at most."""
_GROUPS = 5
"""Groups of chains between which the step is tuned."""
_WANTED = 0.44
"""Accepted share that the tuning aims at [-]."""
_FLAT = 0.5
"""Share of ties above which a margin cannot make a level [-]."""
_FEW = 10
"""Failing draws of a run that are enough where no further level can be made."""
_LARGEST_SCATTER = 0.25
"""Of one run [-]: its bias grows with the square of it, about a quarter of that."""
_NARROWEST = 1e-3
_LEAST_LOG = -690.0


_State = tuple[Array, Array, Rows]


@dataclass(slots=True)
class _Level:
    """Draws of the runs still under way, given that each is below its own level."""

    u: Array
    """(R, N, d)."""
    margin: Array
    """(R, N); -inf where it is NaN."""
    undefined: Rows
    log_chance: Array
    """Log chance of the level, (R,)."""
    tune: Array
    """Factor on the step of each run, (R,)."""


@dataclass(slots=True)
class _Runs:
    """What whole runs over all cells gave."""

    values: list[Array] = field(default_factory=list)
    defined: list[Array] = field(default_factory=list)
    used: int = 0
    undefined: int = 0
    stuck: set[int] = field(default_factory=set)
    """Cells where a run met a flat margin or the limit."""
    silent: Array = field(default_factory=lambda: np.zeros(0))
    """Plain draws of each cell, all of them holding; 0 where a run saw failure."""

    @property
    def scatter(self) -> float:
        """Coefficient of variation of one run [-]; inf where none saw failure."""
        runs = np.concatenate(self.values)
        mean = float(runs.mean())
        return float(runs.std(ddof=1)) / mean if mean > 0 else float("inf")

    def excess(self, target_cov: float) -> float:
        """Scatter over what is allowed, of the mean and of one run; at most 1 is enough."""
        runs = RUNS * len(self.values)
        return self.scatter * max(1.0 / (float(np.sqrt(runs)) * target_cov), 1.0 / _LARGEST_SCATTER)


def subset(
    problem: Problem,
    *,
    seed: int,
    target_cov: float,
    max_evaluations: int,
    confidence: float,
) -> Outcome:
    """Estimate a failure probability by subset simulation.

    Sixteen runs with 1,000 draws in a level come first. From their scatter follows how
    many draws meet the target; all runs are then made anew with them, up to 20,000 a
    level, and beyond that more runs are added. The seeds of a level are the very draws
    that put it there, so a run is biased upwards in proportion to its variance; a run may
    therefore scatter by a quarter at most, whatever the target. Chains move by
    conditional sampling: each coordinate becomes ρ u + √(1 − ρ²) ξ, kept where the row
    stays below the level; the step is tuned between groups of chains to an accepted share
    of 0.44 and goes by the scatter of the other runs' seeds.

    Parameters
    ----------
    problem : Problem
    seed : int
    target_cov : float
        Stop at this coefficient of variation [-].
    max_evaluations : int
        Calls of the limit state at most, but for the level under way; one level is
        always made.
    confidence : float
        Of the interval [-].

    Returns
    -------
    Outcome
        With `run_interval`. `settled` is False where a run met a flat margin or the limit,
        and where single runs scatter more than they may.

    References
    ----------
    Au & Beck (2001), Prob. Eng. Mech. 16, 263; Papaioannou, Betz, Zwirglmaier & Straub
    (2015), Prob. Eng. Mech. 41, 89, algorithm of adaptive conditional sampling. From
    memory.
    """
    if problem.space.dim == 0:
        return labels_alone(problem)
    size, used, batch, found = _first_size(problem, max_evaluations), 0, 0, _Runs()
    earlier: tuple[_Runs, int] | None = None
    while True:
        before = found.used
        for number in range(len(problem.space.cells)):
            _run_cell(problem, number, found, seed, batch, size, max_evaluations - used)
        batch += 1
        used += found.used - before
        if found.stuck and earlier is not None:
            found, size = earlier  # the limit came in the middle: the smaller runs are whole
            break
        excess = found.excess(target_cov)
        if excess <= 1.0 or not np.isfinite(excess):
            break
        fits = size * (max_evaluations - used) / (found.used - before)
        larger = _larger_size(problem, size, excess, fits)
        if fits < larger:
            break
        if larger > size:
            earlier = None if found.stuck else (found, size)
            size, found = larger, _Runs()
    return _outcome(problem, found, used, confidence, size)


def _first_size(problem: Problem, most: int) -> int:
    """Draws of a run in a level at first: a whole number of chains in every group."""
    unit = round(_GROUPS / SHARE)
    fits = most // (4 * RUNS * len(problem.space.cells))
    return max(unit, min(_FIRST, fits) // unit * unit)


def _larger_size(problem: Problem, size: int, excess: float, fits: float) -> int:
    """Draws of a run in a level that would meet the target, as far as the limit allows."""
    unit = round(_GROUPS / SHARE)
    most = min(_MOST, _ENTRIES // (RUNS * problem.space.dim))
    wanted = int(min(most, fits, size * min(max(1.1 * excess**2, 1.5), 8.0)))
    return max(size, wanted // unit * unit)


def _run_cell(
    problem: Problem, number: int, found: _Runs, seed: int, batch: int, size: int, most: int
) -> None:
    """Take all runs of one cell down to failure and add what they give."""
    cell, cells = problem.space.cells[number], len(problem.space.cells)
    rng = block_rng(seed, PURPOSE, batch * cells + number)
    first = number == 0
    if first:
        found.values.append(np.zeros(RUNS))
        found.defined.append(np.zeros(RUNS))
    if found.silent.size == 0:
        found.silent = np.zeros(cells)
    values, defined, alive = np.zeros(RUNS), np.zeros(RUNS), np.arange(RUNS)
    level = _plain(problem, cell, rng, size, found)
    plain_fails = bool((level.margin < 0).any())
    while alive.size:
        fails = level.margin < 0
        share = fails.mean(axis=1)
        at = _thresholds(level)
        done = (share >= SHARE) | np.isnan(at) | (level.log_chance < _LEAST_LOG)
        chance = np.exp(level.log_chance)
        values[alive[done]] = (chance * share)[done]
        sound = (fails & ~level.undefined).mean(axis=1)
        defined[alive[done]] = (chance * sound)[done]
        if np.any(done & (share < SHARE) & (share * size < _FEW)):
            found.stuck.add(number)
        alive = alive[~done]
        if alive.size and found.used >= most:
            found.stuck.add(number)
            break
        if alive.size:
            level = _next(problem, cell, rng, _kept(level, ~done), at[~done], found)
    found.values[-1] += cell.probability * values
    found.defined[-1] += cell.probability * defined
    found.silent[number] = 0 if plain_fails or values.any() else RUNS * size


def _plain(problem: Problem, cell: Cell, rng: np.random.Generator, n: int, found: _Runs) -> _Level:
    """Make the level of plain draws."""
    u = rng.standard_normal((RUNS, n, problem.space.dim))
    margin, undefined = _margins(problem, cell, u, found)
    return _Level(u, margin, undefined, np.zeros(RUNS), np.full(RUNS, 0.6))


def _margins(problem: Problem, cell: Cell, u: Array, found: _Runs) -> tuple[Array, Rows]:
    """Give margins and which are NaN, (R, k), in calls of at most a block."""
    rows = u.reshape(-1, u.shape[2])
    parts = [problem.margin(rows[at : at + BLOCK], cell) for at in range(0, len(rows), BLOCK)]
    margin = np.concatenate(parts).reshape(u.shape[:2])
    undefined = np.isnan(margin)
    found.used += margin.size
    found.undefined += int(undefined.sum())
    return np.where(undefined, -np.inf, margin), undefined


def _kept(level: _Level, rows: Rows) -> _Level:
    """Keep the runs that go on."""
    return _Level(
        level.u[rows],
        level.margin[rows],
        level.undefined[rows],
        level.log_chance[rows],
        level.tune[rows],
    )


def _thresholds(level: _Level) -> Array:
    """Next level of each run, (R,): margin <= it; NaN where the margin is too flat.

    Ties make the share below the quantile larger than p0. Where more than half tie, the
    level is put just below them.
    """
    number = round(SHARE * level.margin.shape[1])
    at = np.maximum(np.partition(level.margin, number - 1, axis=1)[:, number - 1], 0.0)
    tied = (level.margin <= at[:, None]).mean(axis=1) > _FLAT
    below = np.nextafter(at, -np.inf)
    some = (level.margin <= below[:, None]).any(axis=1)
    return np.where(tied, np.where(some & (below >= 0), below, np.nan), at)


def _next(
    problem: Problem,
    cell: Cell,
    rng: np.random.Generator,
    level: _Level,
    at: Array,
    found: _Runs,
) -> _Level:
    """Draw the next level from seeds of this one, chains in groups, the step tuned between."""
    seeds = _seeds(level, at, rng)
    rows = np.arange(seeds.shape[0])[:, None]
    width = _widths(level.u[rows, seeds])
    tune, length = level.tune, level.margin.shape[1] // seeds.shape[1]
    states: list[_State] = []
    for turn, group in enumerate(np.split(seeds, _GROUPS, axis=1)):
        step = np.minimum(1.0, tune[:, None] * width)[:, None, :]
        u, margin = level.u[rows, group], level.margin[rows, group]
        undefined = level.undefined[rows, group]
        states.append((u, margin, undefined))
        taken = np.zeros(seeds.shape[0])
        for _ in range(length - 1):
            trial = np.sqrt(1.0 - step**2) * u + step * rng.standard_normal(u.shape)
            value, lost = _margins(problem, cell, trial, found)
            kept = value <= at[:, None]
            u = np.where(kept[:, :, None], trial, u)
            margin, undefined = np.where(kept, value, margin), np.where(kept, lost, undefined)
            states.append((u, margin, undefined))
            taken += kept.mean(axis=1) / (length - 1)
        tune = np.clip(tune * np.exp((taken - _WANTED) / np.sqrt(turn + 1)), 0.02, 2.0)
    share = (level.margin <= at[:, None]).mean(axis=1)
    return _Level(
        np.concatenate([state[0] for state in states], axis=1),
        np.concatenate([state[1] for state in states], axis=1),
        np.concatenate([state[2] for state in states], axis=1),
        level.log_chance + np.log(share),
        tune,
    )


def _widths(u: Array) -> Array:
    """Give each run the scatter of the other runs' seeds, (R, d), from all of them (R, k, d).

    A step from a run's own seeds is longer just where they happen to lie far out, and so
    draws them in: the chance then leans low, the more so the more coordinates there are.
    """
    others = u.shape[1] * (len(u) - 1)
    if others == 0:
        return np.ones((1, u.shape[2]))
    total, square = u.sum(axis=1), (u**2).sum(axis=1)
    mean = (total.sum(axis=0) - total) / others
    variance = (square.sum(axis=0) - square) / others - mean**2
    return np.asarray(np.sqrt(np.maximum(variance, _NARROWEST**2)))


def _seeds(level: _Level, at: Array, rng: np.random.Generator) -> npt.NDArray[np.intp]:
    """Rows of each run below its level, in random order, repeated where there are too few."""
    number = round(SHARE * level.margin.shape[1])
    return np.array(
        [
            np.resize(rng.permutation(np.flatnonzero(margin <= level_at)), number)
            for margin, level_at in zip(level.margin, at, strict=True)
        ]
    )


def run_interval(values: npt.ArrayLike, confidence: float) -> Bounds:
    """Give the mean of independent runs and its interval.

    The logs of the runs are close to normal, so the upper bound is that of a lognormal
    mean: mean log + s²/2, plus Student's t times √(s²/R + s⁴/(2(R − 1))). The lower bound
    starts from the mean log alone, since the mean of runs leans high. Where a run is zero
    the gamma interval of `weighted_interval` is used.

    Parameters
    ----------
    values : array_like, (R,) [-]
        Estimates of the runs, R >= 2.
    confidence : float
        [-].

    Returns
    -------
    Bounds

    References
    ----------
    Cox's method, with Student's t: Olsson (2005), J. Statistics Education 13(1). From
    memory.
    """
    runs = np.asarray(values, dtype=float)
    if np.any(runs <= 0.0):
        return weighted_interval(runs, None, confidence)
    log, count = np.log(runs), runs.size
    square = float(log.var(ddof=1))
    middle = float(log.mean())
    half = float(stdtrit(count - 1, 0.5 + 0.5 * confidence)) * np.sqrt(
        square / count + square**2 / (2.0 * (count - 1))
    )
    mean, error = float(runs.mean()), float(runs.std(ddof=1)) / np.sqrt(count)
    low = float(np.exp(middle - half))
    high = float(np.exp(min(0.0, middle + 0.5 * square + half)))
    return Bounds(mean, min(low, mean), max(high, mean), error)


def _outcome(problem: Problem, found: _Runs, used: int, confidence: float, size: int) -> Outcome:
    """Assemble the result; cells where no run saw failure add the bound of a count of 0."""
    cells = problem.space.cells
    runs = np.concatenate(found.values)
    bounds = run_interval(runs, confidence)
    if np.all(runs >= 1.0 - 1e-12):
        draws = runs.size * size
        bounds = Bounds(1.0, clopper_pearson(draws, draws, confidence)[0], 1.0, 0.0)
    elif bounds.estimate > 0.5:
        rest = run_interval(1.0 - runs, confidence)
        low, high = max(0.0, 1.0 - rest.high), 1.0 - rest.low
        bounds = Bounds(1.0 - rest.estimate, low, high, rest.standard_error)
    silent = [n for n in range(len(cells)) if found.silent[n] > 0]
    unseen = max(
        (
            cells[n].probability * clopper_pearson(0, int(found.silent[n]), confidence)[1]
            for n in silent
        ),
        default=0.0,
    )
    high = (unseen or 1.0) if bounds.estimate == 0 else min(1.0, bounds.high + unseen)
    notes: tuple[str, ...] = (f"{runs.size} runs with {size:,} draws in each level",)
    if found.stuck:
        names = cell_names(cells[n] for n in sorted(found.stuck))
        notes += (f"the margin is too flat, or failure too far, for a run to go on ({names})",)
    wild = np.isfinite(found.scatter) and found.scatter > _LARGEST_SCATTER
    if wild:
        notes += (
            f"single runs scatter by {found.scatter:.2g} of their mean, more than "
            f"{_LARGEST_SCATTER:g}: the mean may lean",
        )
    return Outcome(
        bounds._replace(high=high),
        used,
        found.undefined,
        float(np.concatenate(found.defined).mean()),
        not found.stuck and not wild,
        notes=notes,
    )
