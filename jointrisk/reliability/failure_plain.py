"""Indices of a failure that plain draws see often: no search that could miss a region.

Failing draws are the failures themselves, without weights. Drawing one variable of each anew
tells its total index; how the draws crowd along one variable, against its own spread, its first.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy.special import bdtrc, ndtr, ndtri

from jointrisk.reliability.failure_aims import Found, first_of, total_of
from jointrisk.reliability.interval import Bounds, clopper_pearson
from jointrisk.reliability.space import Problem
from jointrisk.spread import Spread

__all__ = ["Pilot", "Plain", "look"]

Array = npt.NDArray[np.float64]

_SEEN, _LEAST = 32, 256
"""Plain draws are enough where so many fail in the pilot's; draws of it at least."""
_WIDEST, _OFTEN = 20, 0.05
"""In no more coordinates than this a search is sure and cheap, if failure is rarer than this."""
_EDGES = 256
"""Edges from failing draws along a variable at most."""
_TAIL, _OCTAVE, _MIDDLE = 12, 4, 32
"""Halvings of the chance in each tail, bins in each, bins between the tails."""
_AGAIN = 1024
"""Failing draws whose other variables are all drawn anew, as a check."""
_TOGETHER = 2**14
"""Rows tried in one call, about."""
_STRANGE = 1e-5
"""Chance of what the check saw below which the bins are not believed [-]."""


@dataclass(frozen=True, slots=True)
class Pilot:
    """Plain draws that tell how often failure comes."""

    n: int
    failures: int
    undefined: int
    scores: Array
    """Correlated scores of the draws that fail, (m, d) [-]."""
    opposite: bool
    """More than half failed; then `scores` are of those that hold."""

    @property
    def common(self) -> bool:
        """Whether plain draws do: enough fail, and a search would be dearer or surer to miss."""
        seen, dim = self.scores.shape
        return bool(seen >= _SEEN and (dim > _WIDEST or seen >= _OFTEN * self.n))


def look(problem: Problem, most: int, rng: np.random.Generator) -> Pilot:
    """Make plain draws, few where next to nothing fails.

    Parameters
    ----------
    problem : Problem
        Of one cell: labels are coordinates.
    most : int
        Draws at most [-]; 256 are made in any case.
    rng : numpy.random.Generator

    Returns
    -------
    Pilot
    """
    space = problem.space
    limit = max(_LEAST, most)
    n, step = 0, min(limit, 2048)
    fails, scores = np.empty(0, dtype=bool), np.empty((0, space.dim))
    undefined = 0
    while step > 0:
        u = rng.standard_normal((space.dim, step)).T
        margin = problem.margin(u, space.cells[0])
        undefined += int(np.isnan(margin).sum())
        fails = np.append(fails, ~(margin >= 0))
        scores = np.vstack([scores, space.correlate(u)])
        n += step
        rarer = min(int(fails.sum()), n - int(fails.sum()))
        hopeless = 4 * rarer * limit < _SEEN * n
        step = 0 if hopeless or rarer >= 16 * _SEEN else min(n, limit - n)
    failures = int(fails.sum())
    opposite = 2 * failures > n
    return Pilot(n, failures, undefined, scores[~fails if opposite else fails], opposite)


@dataclass(slots=True)
class Plain:
    """Plain draws, what fails among them and what is learnt from each failure."""

    problem: Problem
    """Of one cell: labels are coordinates."""
    pilot: Pilot
    n: int = 0
    failures: int = 0
    calls: int = 0
    undefined: int = 0
    redrawn: int = 0
    """Failing draws that had one variable drawn anew."""
    again: int = 0
    """Failing draws whose other variables were drawn anew."""
    held: Array = field(init=False)
    """How many hold with one variable anew, (d,)."""
    failed: Array = field(init=False)
    """How many of `again` fail with all but one variable anew, (d,)."""
    edges: list[Array] = field(init=False)
    """Inner edges of the bins of each coordinate, scores [-]."""
    counts: list[Array] = field(init=False)
    """Failing draws in each bin."""

    def __post_init__(self) -> None:
        space = self.problem.space
        self.held, self.failed = np.zeros(space.dim), np.zeros(space.dim)
        self.edges = [
            _edges(spread, self.pilot.scores[:, i]) for i, spread in enumerate(space.spreads)
        ]
        self.counts = [np.zeros(edges.size + 1) for edges in self.edges]

    def cost(self, anew: bool) -> float:
        """Give the calls of a draw, with one a variable where it fails and they are drawn anew."""
        return 1.0 + self.problem.space.dim * self.failures / self.n * anew

    def add(self, rows: int, rng: np.random.Generator, *, anew: bool = True) -> None:
        """Make some more draws and learn from those that fail; `anew` for the total indices."""
        u = rng.standard_normal((self.problem.space.dim, rows)).T
        failing = u[self.fails(u)]
        self.n += rows
        self.failures += failing.shape[0]
        scores = self.problem.space.correlate(failing)
        for i, edges in enumerate(self.edges):
            place = np.searchsorted(edges, scores[:, i])
            self.counts[i] += np.bincount(place, minlength=edges.size + 1)
        if anew:
            self.one_anew(failing, rng)
        self.others_anew(failing[: _AGAIN - self.again], rng)

    def fails(self, u: Array) -> npt.NDArray[np.bool_]:
        """Tell which scores fail and count the calls."""
        margin = self.problem.margin(u, self.problem.space.cells[0])
        self.calls += margin.size
        self.undefined += int(np.isnan(margin).sum())
        return np.asarray(~(margin >= 0))

    def one_anew(self, u: Array, rng: np.random.Generator) -> None:
        """Draw each variable anew given all others: along a column of the inverse factor."""
        space = self.problem.space
        inverse = np.eye(space.dim) if space.factor is None else np.linalg.inv(space.factor)
        inverse = inverse / np.linalg.norm(inverse, axis=0)

        def moved(i: int, u: Array) -> Array:
            step = rng.standard_normal(u.shape[0]) - u @ inverse[:, i]
            return np.asarray(u + np.outer(step, inverse[:, i]))

        self.redrawn += u.shape[0]
        self.held += u.shape[0] - self.failing(u, moved)

    def others_anew(self, u: Array, rng: np.random.Generator) -> None:
        """Draw all variables but one anew: along all but a row of the factor."""
        space = self.problem.space
        factor = np.eye(space.dim) if space.factor is None else space.factor

        def moved(i: int, u: Array) -> Array:
            fresh = rng.standard_normal(u.shape)
            return np.asarray(fresh + np.outer((u - fresh) @ factor[i], factor[i]))

        self.again += u.shape[0]
        self.failed += self.failing(u, moved)

    def failing(self, u: Array, moved: Callable[[int, Array], Array]) -> Array:
        """Count the draws that fail where each coordinate's rule has moved them, (d,).

        Few draws are tried for many coordinates in one call.
        """
        dim, n = self.problem.space.dim, u.shape[0]
        found = np.zeros(dim)
        together = max(1, _TOGETHER // max(n, 1))
        for start in range(0, dim if n else 0, together):
            part = range(start, min(dim, start + together))
            fails = self.fails(np.concatenate([moved(i, u) for i in part]))
            found[part.start : part.stop] = fails.reshape(len(part), n).sum(axis=1)
        return found

    def learnt(self, confidence: float) -> tuple[Bounds, Found, Found, list[str]]:
        """Give the probability, total and first indices, and names whose first is blurred."""
        p, names = self.chance(confidence), self.problem.space.coordinates
        if not self.failures:
            return p, {}, {}, []
        total = {name: total_of(self.holds(i, confidence), p) for i, name in enumerate(names)}
        parts = {name: self.first(i, confidence) for i, name in enumerate(names)}
        first = {name: first_of(found, p) for name, (found, _) in parts.items()}
        return p, total, first, [name for name, (_, resolved) in parts.items() if not resolved]

    def chance(self, confidence: float) -> Bounds:
        """Probability of failure."""
        p = self.failures / self.n
        low, high = clopper_pearson(self.failures, self.n, confidence)
        return Bounds(p, low, high, float(np.sqrt(p * (1.0 - p) / self.n)))

    def holds(self, i: int, confidence: float) -> Bounds:
        """Chance that a failure holds with coordinate i anew."""
        return _counted(int(self.held[i]), self.redrawn, confidence)

    def crowding(self, i: int, confidence: float) -> Bounds:
        """Variance of P(F | X_i) over p²: that of the ratio of two densities of X_i.

        By Bayes P(F | x) / p = f(x | F) / f(x). Over bins of chance P and share π among the
        failures it is Σ π²/P − 1, by pairs of draws (a U-statistic, no bias from the scatter of
        the shares); its variance from the shares (Hoeffding 1948, both terms). What varies
        inside a bin is lost.
        """
        m, count = float(self.failures), self.counts[i]
        if m < 2:
            return Bounds(0.0, 0.0, np.inf, np.inf)
        edges = np.concatenate([[-np.inf], self.edges[i], [np.inf]])
        chance = np.maximum(np.diff(ndtr(edges)), 1e-300)
        pairs = count * (count - 1.0) / (m * (m - 1.0))
        ratio = count / m / chance
        mean = float(np.sum(pairs / chance))
        first = max(float(np.sum(count / m * ratio**2)) - float(np.sum(ratio * count / m)) ** 2, 0)
        second = float(np.sum(pairs / chance**2))
        error = float(np.sqrt(4.0 * first / m + 2.0 * second / (m * (m - 1.0))))
        reach = float(ndtri(0.5 + 0.5 * confidence)) * error
        return Bounds(mean - 1.0, max(mean - 1.0 - reach, 0.0), mean - 1.0 + reach, error)

    def first(self, i: int, confidence: float) -> tuple[Bounds, bool]:
        """Variance of P(F | X_i) over p², and whether the bins resolve it.

        Where more of the failures fail again with all others anew than the bins allow, those
        are counted instead: q = E[P(F | X_i) | F] = p (1 + the variance sought).
        """
        found, p = self.crowding(i, confidence), self.failures / self.n
        again, failed = self.again, int(self.failed[i])
        most = min(1.0, p * (1.0 + max(found.estimate, 0.0) + 3.0 * found.standard_error))
        if not failed or most >= 1.0 or bdtrc(failed - 1, again, most) > _STRANGE:
            return found, True
        counted = _counted(failed, again, confidence)
        low, value, high = (max(v / p - 1.0, 0.0) for v in (counted[1], counted[0], counted[2]))
        return Bounds(value, low, high, counted.standard_error / p), False


def _counted(count: int, n: int, confidence: float) -> Bounds:
    """Give a chance from a count."""
    if not n:
        return Bounds(0.0, 0.0, 1.0, np.inf)
    part = count / n
    return Bounds(
        part, *clopper_pearson(count, n, confidence), float(np.sqrt(part * (1 - part) / n))
    )


def _edges(spread: Spread, scores: Array) -> Array:
    """Edges of the bins of one coordinate [-]: atoms where it has nothing else.

    Else bins that halve towards both ends, and failing draws of the pilot, which are dense
    where the failures are.
    """
    atoms = spread.atoms
    if atoms:
        return np.asarray(ndtri(np.cumsum([chance for _, chance in atoms])[:-1]))
    tail = 0.25 * 2.0 ** -(np.arange(_TAIL * _OCTAVE + 1) / _OCTAVE)
    low = ndtri(np.sort(tail))
    middle = ndtri(np.linspace(0.25, 0.75, _MIDDLE + 1)[1:-1])
    order = np.sort(scores)
    if order.size > _EDGES:
        order = order[np.linspace(0, order.size - 1, _EDGES).astype(np.intp)]
    return np.unique(np.concatenate([low, middle, -low, order]))
