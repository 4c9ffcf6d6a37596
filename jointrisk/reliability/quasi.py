"""Scrambled Sobol' points: plain counting with points that fill the space evenly.

Several independent scrambles of one net are each an unbiased estimate; their scatter is an
honest error, which one net alone does not give. Labels are strata.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri, stdtrit

from jointrisk.reliability.interval import Bounds, Sums, clopper_pearson, stratified_interval
from jointrisk.reliability.outcome import Outcome, cell_names, labels_alone
from jointrisk.reliability.space import Cell, Problem
from jointrisk.reliability.streams import block_rng

__all__ = ["quasi", "scatter_bounds"]

Array = npt.NDArray[np.float64]

PURPOSE = 11
SCRAMBLES = 16
_FIRST_POWER = 9
"""Points of one scramble at first: 2**9."""
_TOGETHER = 2**11
"""Points of each scramble worked out together: pieces enough for a pool."""
_FEW = 50
"""With fewer failures than this the interval is never narrower than that of plain draws."""
_BITS = 32
"""Of a coordinate: steps of 2**-32, far below what so few points can see."""
_LEAST, _MOST = 2.0 ** -(_BITS + 1), 1.0 - 2.0 ** -(_BITS + 1)


@dataclass(slots=True)
class _Net:
    """The scrambles of one cell and the failures seen in each."""

    cell: Cell
    engines: list[Any]
    failures: Array
    undefined: Array
    points: int = 0
    """Of each scramble."""

    @property
    def step(self) -> float:
        """What one failure adds to the estimate of one scramble [-]."""
        return self.cell.probability / self.points

    @property
    def part(self) -> float:
        """Standard error this cell may add [-], half a failure at least."""
        count = self.failures.size
        scatter = float(self.failures.std(ddof=1)) * self.step / np.sqrt(count)
        return float(max(scatter, 0.5 * self.step / count))


def quasi(
    problem: Problem,
    *,
    seed: int,
    target_cov: float,
    max_evaluations: int,
    confidence: float,
) -> Outcome:
    """Estimate a failure probability from independent scrambles of a Sobol' net.

    Each cell gets 16 scrambles of 2^m points, mapped to normal scores by the inverse
    normal cdf; a coordinate of exactly 0 is moved to half a step of the net. The points of
    the cell that adds most to the scatter are doubled until the target or the limit is met.

    Parameters
    ----------
    problem : Problem
    seed : int
    target_cov : float
        Stop at this coefficient of variation [-].
    max_evaluations : int
        Never more calls of the limit state, except that one point a scramble and cell is
        always made.
    confidence : float
        Of the interval [-].

    Returns
    -------
    Outcome
        The interval is `scatter_bounds`: Student's t over the scrambles, and with few
        failures no narrower than that of as many plain draws. No failure at all gives
        zero with an upper bound above it. Labels alone give the exact value.

    References
    ----------
    Sobol' (1967); Matousek (1998), J. Complexity 14, 527, the scramble of scipy; several
    scrambles for the error: Owen (1998), ACM TOMACS 8, 71. From memory.
    """
    if problem.space.dim == 0:
        return labels_alone(problem)
    cells = problem.space.cells
    nets = [_open(problem, seed, number, cell) for number, cell in enumerate(cells)]
    power = int(np.log2(max(1.0, max_evaluations / (SCRAMBLES * len(nets)))))
    used = sum(_sample(problem, net, 2 ** min(_FIRST_POWER, power)) for net in nets)
    while True:
        found, unseen = _bounds(nets, confidence)
        notes = _doubts(nets, found, unseen, target_cov)
        steady = not notes
        outcome = _outcome(nets, found, used, notes)
        if steady and outcome.cov <= target_cov:
            return outcome
        net = max(nets, key=lambda net: net.part)
        if used + SCRAMBLES * net.points > max_evaluations:
            return outcome
        used += _sample(problem, net, net.points)


def _open(problem: Problem, seed: int, number: int, cell: Cell) -> _Net:
    """Make the scrambles of one cell, no point drawn yet."""
    from scipy.stats import qmc

    none = np.zeros(SCRAMBLES)
    dim = problem.space.dim
    rngs = (block_rng(seed, PURPOSE, number * SCRAMBLES + r) for r in range(SCRAMBLES))
    engines = [qmc.Sobol(dim, scramble=True, bits=_BITS, seed=rng) for rng in rngs]
    return _Net(cell, engines, none, none.copy())


def _sample(problem: Problem, net: _Net, points: int) -> int:
    """Add points, a power of two, to every scramble of a cell; give the calls made."""
    count = len(net.engines)
    for start in range(0, points, _TOGETHER):
        n = min(_TOGETHER, points - start)
        uniform = np.concatenate([engine.random(n) for engine in net.engines])
        margin = problem.margin(ndtri(np.clip(uniform, _LEAST, _MOST)), net.cell)
        net.failures += np.sum(~(margin >= 0).reshape(count, n), axis=1)
        net.undefined += np.isnan(margin).reshape(count, n).sum(axis=1)
    net.points += points
    return points * count


def _doubts(nets: list[_Net], found: Bounds, unseen: float, target_cov: float) -> tuple[str, ...]:
    """Say why the scatter cannot be trusted: few points fail or hold, or a cell is silent."""
    failing = sum(int(net.failures.sum()) for net in nets)
    holding = sum(int((net.points - net.failures).sum()) for net in nets)
    few = min(failing, holding)
    notes: tuple[str, ...] = ()
    if 0 < few < _FEW:
        what = "fail" if few == failing else "hold"
        notes += (f"only {few} points {what}, {_FEW} are wanted before the scatter is trusted",)
    if 0 < found.estimate < 1 and unseen > 2.0 * target_cov * found.estimate:
        notes += (f"cells where nothing was seen may add up to {unseen:.3g}",)
    return notes


def _bounds(nets: list[_Net], confidence: float) -> tuple[Bounds, float]:
    """Bounds over all cells, and how much of the upper one rests on cells without failure."""
    failures = np.array([net.failures for net in nets])
    points = np.array([net.points for net in nets], dtype=float)
    chance = np.array([net.cell.probability for net in nets])
    found, unseen = scatter_bounds(failures, points, chance, confidence)
    if found.estimate <= 0.5:
        return found, unseen
    rest, unseen = scatter_bounds(points[:, None] - failures, points, chance, confidence)
    low, high = max(0.0, 1.0 - rest.high), min(1.0, 1.0 - rest.low)
    return Bounds(1.0 - rest.estimate, low, high, rest.standard_error), unseen


def scatter_bounds(
    failures: Array, points: Array, chance: Array, confidence: float
) -> tuple[Bounds, float]:
    """Give the interval of a mean over scrambles, stratified over cells.

    The half-width is Student's t times the standard error over the R scrambles, but at
    least the upper bound of "0 of R scrambles differ" times one failure: a net splits an
    axis so evenly that all scrambles may agree. With fewer than 50 failures the scatter is
    itself a guess and skewed, so the interval is widened to hold the gamma interval of as
    many plain draws, which a net does not exceed. A cell without failure adds the bound of
    a count of 0.

    Parameters
    ----------
    failures : ndarray, (K, R)
        Failures of each cell and scramble.
    points : ndarray, (K,)
        Points of each scramble.
    chance : ndarray, (K,) [-]
        Of each cell.
    confidence : float
        [-].

    Returns
    -------
    Bounds and float
        And the part of the upper bound that comes from cells without failure [-].
    """
    count = failures.shape[1]
    step = chance / points
    means = step @ failures
    estimate, error = float(means.mean()), float(means.std(ddof=1) / np.sqrt(count))
    seen = failures.sum(axis=1) > 0
    zero = clopper_pearson(0, count, confidence)[1]
    unseen = 0.0
    if not seen.all():
        draws = (count * points[~seen]).astype(int)
        unseen = max(
            float(c) * clopper_pearson(0, int(n), confidence)[1]
            for c, n in zip(chance[~seen], draws, strict=True)
        )
    if not seen.any():
        return Bounds(0.0, 0.0, min(1.0, unseen), 0.0), unseen
    half = float(stdtrit(count - 1, 0.5 + 0.5 * confidence)) * error
    half = max(half, zero * float(step[seen].max()))
    low, high = estimate - half, estimate + half
    if failures.sum() < _FEW:
        counts = failures.sum(axis=1)
        sums = Sums(count * points, counts, counts, (counts > 0).astype(float))
        plain = stratified_interval(sums, step / count, confidence)
        low, high = min(low, plain.low), max(high, plain.high)
    return Bounds(estimate, max(0.0, low), min(1.0, high + unseen), error), unseen


def _outcome(nets: list[_Net], bounds: Bounds, used: int, doubts: tuple[str, ...]) -> Outcome:
    """Assemble the result with its notes."""
    notes = doubts
    silent = [net.cell for net in nets if not net.failures.any()]
    if silent and len(silent) < len(nets):
        notes += (f"no failure seen in {len(silent)} of {len(nets)} cells ({cell_names(silent)})",)
    most = max(net.points for net in nets)
    notes += (f"{SCRAMBLES} scrambles of up to {most:,} points in each cell",)
    undefined = sum(net.cell.probability * float(net.undefined.mean()) / net.points for net in nets)
    calls = sum(int(net.undefined.sum()) for net in nets)
    return Outcome(bounds, used, calls, bounds.estimate - undefined, not doubts, (), notes)
