"""Chances to fail on the same weighted draws, their intervals, and those of their ratios.

With F = N/D of weighted sums the log of F errs by the sum over the draws of n/N - d/D, and the
log of a ratio by the difference of two such sums (delta method): what both have in common goes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from jointrisk.reliability.interval import ratio_interval, sums_of
from jointrisk.study.judgement import CONFIDENCE
from jointrisk.study.results import Chance

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.study.bench import Bench

    Array = npt.NDArray[np.float64]

Z = float(ndtri(0.5 + 0.5 * CONFIDENCE))


@dataclass(frozen=True, slots=True)
class Fails:
    """Failure of accepted sets, and how each draw moves its log."""

    chance: Chance
    moves: Array
    """(n,) [-]"""


def given(bench: Bench, hold: Array, fails: Array) -> Fails:
    """Return the chance to fail given that a set held [-]; 1 where none does."""
    weight = bench.weight * hold
    if not float(weight.sum()) > 0.0:
        return Fails(Chance(1.0, 0.0, 1.0), np.zeros_like(weight))
    found = ratio_interval(weight * fails, weight, bench.sample.component, CONFIDENCE)
    chance = Chance(min(found.estimate, 1.0), found.low, min(found.high, 1.0))
    return Fails(chance, moves_of(weight * fails, weight))


def moves_of(num: Array, den: Array) -> Array:
    """Return how each row moves the log of a quotient of sums, (n,) [-]."""
    total = float(num.sum())
    return np.asarray((num / total if total > 0.0 else 0.0 * num) - den / den.sum())


def error_of(bench: Bench, moves: Array) -> float:
    """Return the standard error of a log, scatter counted inside each component [-]."""
    sums = sums_of(moves, bench.sample.component)
    counts = np.maximum(sums.counts, 2.0)
    inside = np.maximum(sums.squares - sums.sums**2 / counts, 0.0) * counts / (counts - 1.0)
    return float(np.sqrt(inside.sum()))


def ratio_of(bench: Bench, one: Fails, other: Fails) -> Chance:
    """Return a failure probability over another of the same draws, with its interval."""
    over = other.chance.estimate
    if not over > 0.0:
        return Chance(np.nan, np.nan, np.nan)
    if not one.chance.estimate > 0.0:
        return Chance(0.0, 0.0, one.chance.high / over)
    return about(one.chance.estimate / over, error_of(bench, one.moves - other.moves), 1.0 / over)


def about(value: float, error: float, most: float = 1.0) -> Chance:
    """Return a positive value whose log has a standard error, at most `most`."""
    low, high = (value * float(np.exp(sign * Z * error)) for sign in (-1.0, 1.0))
    return Chance(min(value, most), low, min(high, most))


def one_after_other(first: Fails, second: Fails, bench: Bench) -> Fails:
    """Return failure in either of two spans, the second's given the first outlived."""
    early, late = first.chance.estimate, second.chance.estimate
    fails = early + (1.0 - early) * late
    if not fails > 0.0:
        high = first.chance.high + second.chance.high
        return Fails(Chance(0.0, 0.0, min(high, 1.0)), np.zeros_like(first.moves))
    moves = (1.0 - late) * early * first.moves + (1.0 - early) * late * second.moves
    return Fails(about(fails, error_of(bench, moves / fails)), moves / fails)
