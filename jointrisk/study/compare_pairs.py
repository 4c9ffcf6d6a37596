"""Two options on the same draws: how many times as often one fails as the other.

What both have in common drops out row by row, so that the ratio is known far better than
either failure probability.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import stdtrit

from jointrisk.reliability.interval import Bounds, clopper_pearson, sums_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Strata = npt.NDArray[np.intp]

ROUNDING = 1e-9
"""Ratios nearer to 1 than this are 1 [-]."""


@dataclass(frozen=True, slots=True)
class Terms:
    """A probability as a ratio of two sums over the rows of common draws."""

    fails: Array
    """Weight times chance of what is counted, (n,) [-]."""
    all: Array
    """Weight of what it is counted among, (n,) [-]; ones where the weights' own mean is known."""

    @property
    def chance(self) -> float:
        """The probability [-]."""
        return float(self.fails.sum() / self.all.sum())


def paired_ratio(first: Terms, second: Terms, component: Strata, confidence: float) -> Bounds:
    """Give the ratio of two probabilities that stand on the same rows, with its interval.

    The log of the ratio has the variance of its residuals row by row (delta method), taken
    inside the components of the mixture. The interval is that of Student with as many degrees
    of freedom as the residuals' own fourth moment leaves the variance (Satterthwaite 1946,
    Biometrics Bulletin 2, 110, from memory), and one more row as far off as the farthest is
    counted, since rare rows may be missing: a ratio that hangs on few rows gets a wide one.

    Parameters
    ----------
    first, second : Terms
        Numerator and denominator.
    component : ndarray of int, (n,)
        Component that made each row.
    confidence : float
        Between 0 and 1 [-].

    Returns
    -------
    Bounds
        All NaN where neither has failed on any row; (0, an upper bound) or (inf, from a lower
        bound) where only one has.
    """
    if not (first.chance > 0.0 and second.chance > 0.0):
        return _one_sided(first, second, confidence)
    log = np.log(first.chance) - np.log(second.chance)
    residual = _own(first) - _own(second)
    error, freedom = _error_of_mean(residual, component)
    reach = float(stdtrit(freedom, 0.5 + 0.5 * confidence)) * error if error > 0.0 else 0.0
    low, high = np.exp(log - reach), np.exp(log + reach)
    return Bounds(float(np.exp(log)), float(low), float(high), float(np.exp(log)) * error)


def told_apart(ratio: Bounds) -> bool:
    """Tell whether the interval of a ratio leaves 1 out by more than rounding."""
    return bool(ratio.low > 1.0 + ROUNDING or ratio.high < 1.0 - ROUNDING)


def _own(terms: Terms) -> Array:
    """Return each row's part in the relative error of a probability, (n,) [-]."""
    return np.asarray(terms.fails / terms.fails.mean() - terms.all / terms.all.mean())


def _one_sided(first: Terms, second: Terms, confidence: float) -> Bounds:
    nothing = clopper_pearson(0, first.fails.size, confidence)[1]
    if second.chance > 0.0:
        most = nothing * float(second.fails.max() / second.fails.mean())
        return Bounds(0.0, 0.0, most, np.nan)
    if first.chance > 0.0:
        most = nothing * float(first.fails.max() / first.fails.mean())
        return Bounds(np.inf, 1.0 / most, np.inf, np.nan)
    return Bounds(np.nan, np.nan, np.nan, np.nan)


def _error_of_mean(residual: Array, component: Strata) -> tuple[float, float]:
    """Return the standard error of a mean and the degrees of freedom of its square."""
    sums = sums_of(residual, component)
    lone = sums.counts[component] <= 1
    inside = residual - np.where(lone, 0.0, (sums.sums / np.maximum(sums.counts, 1.0))[component])
    counts = sums.counts[component]
    square = inside**2 * np.where(lone, 1.0, counts / np.maximum(counts - 1.0, 1.0))
    total, fourth = float(square.sum()), float((square**2).sum())
    if total == 0.0:
        return 0.0, 1.0
    error = float(np.sqrt(total + square.max())) / residual.size
    return error, max(2.0 * total**2 / fourth, 1.0)


def groups(apart: npt.NDArray[np.bool_], order: Sequence[int]) -> tuple[tuple[int, ...], ...]:
    """Return the largest groups of options of which no two are told apart.

    Parameters
    ----------
    apart : ndarray of bool, (k, k)
        Whether two options are told apart.
    order : sequence of int
        In which options and groups stand, such as that of the failure probabilities.

    Notes
    -----
    The cliques of the graph of ties (Bron & Kerbosch 1973, Communications of the ACM 16, 575, from
    memory).
    """
    ties = ~apart & ~np.eye(len(order), dtype=bool)
    found: list[tuple[int, ...]] = []

    def grow(group: set[int], open_: set[int], done: set[int]) -> None:
        if not open_ and not done:
            found.append(tuple(sorted(group, key=order.index)))
        for one in sorted(open_):
            near = set(np.flatnonzero(ties[one]).tolist())
            grow(group | {one}, open_ & near, done & near)
            open_, done = open_ - {one}, done | {one}

    grow(set(), set(order), set())
    return tuple(sorted(found, key=lambda group: [order.index(one) for one in group]))
