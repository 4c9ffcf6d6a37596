"""Failing draws with one variable drawn anew, and what labels say of a failure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from jointrisk.reliability.importance import Stratum, Weighted
from jointrisk.reliability.interval import Bounds, clopper_pearson, ratio_interval
from jointrisk.reliability.mixture import draw
from jointrisk.reliability.space import Cell, LimitState, Problem, Space, Values

__all__ = ["Opposite", "Redrawn", "contributions", "label_firsts", "labels_exactly", "part_of"]

Array = npt.NDArray[np.float64]
Found = dict[str, Bounds]

_FLOOR = 0.1
"""Part of the draws that is shared out evenly over the cells [-]."""
_LEAST_MARGIN = 1e-300
"""Stands for a margin of 0, which holds, where failing and holding change places."""


@dataclass(frozen=True, slots=True)
class Opposite:
    """A limit state with failing and holding exchanged."""

    limit_state: LimitState

    def __call__(self, x: Values) -> Array:
        """Give the margin against holding; NaN, a failure before, holds."""
        margin = np.asarray(self.limit_state(x), dtype=float)
        held = -np.maximum(margin, _LEAST_MARGIN)
        return np.where(margin >= 0, held, np.where(np.isnan(margin), 1.0, -margin))


def contributions(found: Weighted) -> Array:
    """Give each cell's share of the draws: by its part of the failures, a floor for all."""
    part = np.array([s.cell.probability * _chance(s)[0] for s in found.strata])
    return np.asarray((1.0 - _FLOOR) * part / part.sum() + _FLOOR / part.size)


def _chance(stratum: Stratum) -> tuple[float, float]:
    """Chance of failure in a cell and its standard error [-]."""
    sums, n = stratum.sums, stratum.rows
    unit = float(np.exp(stratum.log_unit))
    mean = float(sums.sums.sum()) / n
    scatter = float((sums.squares - sums.sums**2 / np.maximum(sums.counts, 1.0)).sum())
    return unit * mean, unit * float(np.sqrt(max(scatter, 0.0))) / n


def part_of(weight: Array, chance: Array, confidence: float) -> Bounds:
    """Weighted mean of chances, (m,); the upper end never below what none seen would allow.

    The few that are seen may all have small weights, and one of a large weight none yet.
    """
    found = ratio_interval(weight * chance, weight, None, confidence)
    unseen = clopper_pearson(0, weight.size, confidence)[1] * float(weight.max() / weight.mean())
    return found._replace(high=max(found.high, min(1.0, unseen)))


@dataclass(slots=True)
class Redrawn:
    """Failing draws, and whether they hold with each variable drawn anew."""

    problem: Problem
    found: Weighted
    rows: int = 0
    calls: int = 0
    undefined: int = 0
    counts: Array = field(init=False)
    """Draws of each cell."""
    _weight: list[Array] = field(default_factory=list)
    _cell: list[npt.NDArray[np.intp]] = field(default_factory=list)
    _held: dict[str, list[Array]] = field(init=False)

    def __post_init__(self) -> None:
        space = self.problem.space
        self.counts = np.zeros(len(space.cells))
        labels = [name for name, _ in space.cells[0].labels]
        self._held = {name: [] for name in (*space.coordinates, *labels)}

    @property
    def names(self) -> tuple[str, ...]:
        """Everything that varies."""
        return tuple(self._held)

    @property
    def cost(self) -> float:
        """Calls of a draw, with what follows where it fails."""
        return self.calls / self.rows

    @property
    def weight(self) -> Array:
        """Weight of each failing draw, (m,) [-], over the probability of failure."""
        share = np.array([cell.probability for cell in self.problem.space.cells]) / np.maximum(
            self.counts, 1.0
        )
        return np.asarray(np.concatenate(self._weight) * share[np.concatenate(self._cell)])

    def held(self, name: str) -> Array:
        """Chance that each failing draw holds with this variable anew, (m,) [-]."""
        return np.concatenate(self._held[name])

    def add(self, rows: int, rng: np.random.Generator) -> None:
        """Draw some more and draw anew what fails."""
        shares = contributions(self.found)
        for number, stratum in enumerate(self.found.strata):
            n = max(2, round(rows * float(shares[number])))
            made = draw(stratum.proposal, n, rng, _no_labels)
            margin = self.margin(made.u, stratum.cell)
            fails = ~(margin >= 0)
            self.rows += n
            self.counts[number] += n
            unit = np.log(self.found.bounds.estimate)
            self._weight.append(np.exp(made.log_weight[fails] - unit))
            self._cell.append(np.full(int(fails.sum()), number))
            self.redraw(made.u[fails], stratum.cell, rng)

    def margin(self, u: Array, cell: Cell) -> Array:
        """Give margins and count the calls."""
        found = self.problem.margin(u, cell)
        self.calls += found.size
        self.undefined += int(np.isnan(found).sum())
        return found

    def redraw(self, u: Array, cell: Cell, rng: np.random.Generator) -> None:
        """Draw each variable of failing draws anew, given all others.

        With scores z = L u, all but z_i stay where u moves along column i of the inverse of
        L (derived).
        """
        space = self.problem.space
        inverse = np.eye(space.dim) if space.factor is None else np.linalg.inv(space.factor)
        for i, name in enumerate(space.coordinates):
            along = inverse[:, i] / np.linalg.norm(inverse[:, i])
            step = rng.standard_normal(u.shape[0]) - u @ along
            margin = self.margin(u + np.outer(step, along), cell)
            self._held[name].append((margin >= 0).astype(float))
        for place, (name, _) in enumerate(cell.labels):
            chance = np.zeros(u.shape[0])
            for other, share in _others(space, cell, place):
                chance += share * (self.margin(u, other) >= 0)
            self._held[name].append(chance)


def _no_labels(_label: int, u: Array, _labels: npt.NDArray[np.bool_]) -> Array:
    """Chance of a label where there is none."""
    return np.zeros(u.shape[0])


# Labels ------------------------------------------------------------------------------------------


def _shares(space: Space, place: int) -> dict[float, float]:
    """Chance of each value of a label."""
    found: dict[float, float] = {}
    for cell in space.cells:
        value = cell.labels[place][1]
        found[value] = found.get(value, 0.0) + cell.probability
    return found


def _others(space: Space, cell: Cell, place: int) -> Iterator[tuple[Cell, float]]:
    """Give the cells that differ in one label only, with the chance of its value there."""
    shares = _shares(space, place)
    rest = cell.labels[:place] + cell.labels[place + 1 :]
    for other in space.cells:
        if other is not cell and other.labels[:place] + other.labels[place + 1 :] == rest:
            yield other, shares[other.labels[place][1]]


def _first_of_label(space: Space, place: int, chance: Array) -> tuple[float, Array]:
    """Give the first index of a label and its slopes in the chances of the cells."""
    weight = np.array([cell.probability for cell in space.cells])
    values = np.array([cell.labels[place][1] for cell in space.cells])
    p = float(weight @ chance)
    given, square = np.empty(weight.size), 0.0
    for value, share in _shares(space, place).items():
        here = values == value
        given[here] = float(weight[here] @ chance[here]) / share
        square += share * float(given[here][0]) ** 2
    whole = p * (1.0 - p)
    index = (square - p**2) / whole
    slopes = weight * (2.0 * (given - p) - index * (1.0 - 2.0 * p)) / whole
    return index, slopes


def label_firsts(space: Space, found: Weighted, confidence: float) -> Found:
    """Give the first index of every label from the chances of failure of the cells."""
    chance, error = np.array([_chance(stratum) for stratum in found.strata]).T
    reach = float(ndtri(0.5 + 0.5 * confidence))
    firsts: Found = {}
    for place, (name, _) in enumerate(space.cells[0].labels):
        index, slopes = _first_of_label(space, place, chance)
        own = float(np.sqrt(np.sum((slopes * error) ** 2)))
        low, value, high = np.clip([index - reach * own, index, index + reach * own], 0.0, 1.0)
        firsts[name] = Bounds(float(value), float(low), float(high), own)
    return firsts


def labels_exactly(space: Space, fails: Array) -> tuple[Found, Found]:
    """Give the first and total indices where labels are all there is, (cells,) failing."""
    weight = np.array([cell.probability for cell in space.cells])
    number = {id(cell): i for i, cell in enumerate(space.cells)}
    p = float(weight @ fails)
    first: Found = {}
    total: Found = {}
    for place, (name, _) in enumerate(space.cells[0].labels):
        index, _slopes = _first_of_label(space, place, fails)
        holds = sum(
            cell.probability * fails[number[id(cell)]] * share * (1.0 - fails[number[id(other)]])
            for cell in space.cells
            for other, share in _others(space, cell, place)
        )
        whole = float(holds) / (p * (1.0 - p))
        first[name], total[name] = (
            Bounds(index, index, index, 0.0),
            Bounds(whole, whole, whole, 0.0),
        )
    return first, total
