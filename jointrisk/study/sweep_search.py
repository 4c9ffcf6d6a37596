"""The values at which a target comes to be met, by root-finding on common draws.

The curve tells between which of its points failure crosses the target. For each crossing draws
are made anew that favour failure there, the same for every value, so that failure over the value
is smooth and its root is that of a plain function. Where the two ends of the interval of failure
cross the target, the interval of the value ends.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.study.band import band
from jointrisk.study.common import common_draws
from jointrisk.study.sweep_points import as_chance, buildable, judged_bounds
from jointrisk.study.sweep_results import Band, Edge, Window

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from jointrisk.reliability.interval import Bounds
    from jointrisk.scenario.types import Scenario, Target
    from jointrisk.study.common import Common
    from jointrisk.study.sample import Sample
    from jointrisk.study.sweep_results import SweepPoint

CLOSE = 1e-3
"""A root is read off when failure is known this near, as a share of the value or of the bracket
where that is larger [-]."""
ROUNDS = 8
VALUE_ERROR = 3e-3
"""Wanted standard error of a value at which the target is met, as a share of it [-]."""
COVS = (0.005, 0.04)
"""Coefficients of variation of failure between which the draws for a root are made [-]."""
JOINTS = 2**20
"""Joints worked out at most for both ends of a bracket."""
MOST_CROSSINGS = 4
"""Crossings that are looked at closely; more are wiggles of the sample."""
REACH = 8
"""Brackets beyond its own in which an end of the interval is looked for [-]."""
LEAST = 1e-300
BAND_QUANTILES = (0.05, 0.5, 0.95)


@dataclass(frozen=True, slots=True)
class Bracket:
    """Two neighbours of the curve, of which one meets the target."""

    low: float
    high: float
    slope: float
    """Of the log of failure over that of the value, or over the value in brackets [-]."""
    falls: bool
    """True where the target is met at the upper end."""


def brackets_of(points: Sequence[SweepPoint], target: float) -> list[Bracket]:
    """Return where the curve crosses the target, in the order of the values."""
    found = []
    known = [point for point in points if np.isfinite(point.judged.estimate)]
    for one, two in pairwise(known):
        first, second = one.judged.estimate, two.judged.estimate
        if (first <= target) == (second <= target):
            continue
        rise = np.log(max(second, LEAST)) - np.log(max(first, LEAST))
        slope = abs(rise / _apart(one.value, two.value))
        found.append(Bracket(one.value, two.value, float(slope), bool(second <= target)))
    return found


def windows_of(
    points: Sequence[SweepPoint],
    move: Callable[[float], Scenario],
    target: Target,
    seed: int,
    pool: Any = None,
) -> tuple[Window, ...]:
    """Return every range of values in which the target is met.

    Parameters
    ----------
    points : sequence of SweepPoint
        The curve.
    move : callable
        Value to the scenario with the quantity there.
    target : Target
    seed : int
    pool : object with ``map``, optional
    """
    brackets = brackets_of(points, target.probability)
    known = [point for point in points if np.isfinite(point.judged.estimate)]
    if not known:
        return ()
    ends = (known[0].value, known[-1].value)
    edges = []
    for number, bracket in enumerate(brackets):
        close = number < MOST_CROSSINGS
        find = _edge if close else _rough_edge
        edges.append((bracket.falls, find(bracket, move, target, seed, ends, pool)))
    first, last = known[0], known[-1]
    if first.judged.estimate <= target.probability:
        edges.insert(0, (True, _at_end(first)))
    if last.judged.estimate <= target.probability:
        edges.append((False, _at_end(last)))
    return tuple(Window(one[1], two[1]) for one, two in zip(edges[::2], edges[1::2], strict=True))


def _apart(one: float, two: float) -> float:
    """Return how far two values are apart: logs where both are above 0, else 1 for a bracket."""
    return float(np.log(two / one)) if one > 0.0 else 1.0


def _at_end(point: SweepPoint) -> Edge:
    return Edge(point.value, None, None, point.judged, None, of_range=True)


def _rough_edge(
    bracket: Bracket,
    move: Callable[[float], Scenario],
    target: Target,
    seed: int,
    ends: tuple[float, float],
    pool: Any = None,
) -> Edge:
    """Return a crossing to within its bracket only."""
    middle = 0.5 * (bracket.low + bracket.high)
    common, _ = _draws(bracket, move, seed, pool)
    found = as_chance(judged_bounds(common.sample(move(middle), pool, with_rig=False), target))
    return Edge(middle, bracket.low, bracket.high, found, None, of_range=False)


def _draws(
    bracket: Bracket, move: Callable[[float], Scenario], seed: int, pool: Any
) -> tuple[Common, list[Sample]]:
    cov = float(np.clip(VALUE_ERROR * bracket.slope, *COVS))
    scenarios = [move(bracket.low), move(bracket.high)]
    return common_draws(scenarios, seed, pool, with_rig=False, target_cov=cov, most_joints=JOINTS)


def _edge(
    bracket: Bracket,
    move: Callable[[float], Scenario],
    target: Target,
    seed: int,
    ends: tuple[float, float],
    pool: Any = None,
) -> Edge:
    """Return a crossing, found on draws of its own."""
    common, samples = _draws(bracket, move, seed, pool)
    known = {
        place: judged_bounds(sample, target)
        for place, sample in zip((bracket.low, bracket.high), samples, strict=True)
    }
    asked, sample = target.probability, samples[0]
    close = CLOSE * max(abs(bracket.high), bracket.high - bracket.low)
    for _ in range(ROUNDS):
        value = float(np.clip(_read(known, "estimate", asked, falls=bracket.falls), *ends))
        if min(abs(value - place) for place in known) <= close:
            break
        sample = common.sample(move(value), pool, with_rig=False)
        if not buildable(sample):
            break
        known[value] = judged_bounds(sample, target)
    sides = [_read(known, name, asked, falls=bracket.falls) for name in ("low", "high")]
    low, high = (x if ends[0] <= x <= ends[1] else None for x in sorted(sides))
    nearest = min(known, key=lambda place: abs(place - value))
    found = as_chance(known[nearest])
    return Edge(value, low, high, found, band_at(sample, target, seed, pool), of_range=False)


def _read(known: dict[float, Bounds], name: str, target: float, *, falls: bool) -> float:
    """Return where one line of a curve crosses the target, read off between known values.

    Straight lines of the log of failure over the value; beyond the known values the line goes
    on as it does between the last two.
    """
    x = np.array(sorted(known))
    lines = [getattr(known[value], name) for value in x]
    room = np.log(np.maximum(lines, LEAST) / target) * (1.0 if falls else -1.0)
    missed = np.flatnonzero(room[:-1] > 0.0)  # of a line that falls: not yet met
    place = int(missed[-1]) if missed.size else 0
    rise = room[place + 1] - room[place]
    if rise >= 0.0:
        return float(x[place + 1] if room[place + 1] > 0.0 else x[place])
    return float(x[place] - room[place] * (x[place + 1] - x[place]) / rise)


def crossing(
    at: Callable[[float], Bounds | None],
    name: str,
    bracket: Bracket,
    target: float,
    ends: tuple[float, float],
    close: float,
) -> float | None:
    """Return where one of the three lines of a curve crosses the target, None within the range.

    Parameters
    ----------
    at : callable
        Value to failure with its interval; None where nothing fits together.
    name : str
        "estimate", "low" or "high".
    bracket : Bracket
        Where to begin.
    target : float [-]
    ends : tuple of float [unit of the value]
        The range; the line is followed from the bracket to it, `REACH` brackets at most.
    close : float [unit of the value]
        How near to the root is near enough.
    """
    from scipy.optimize import brentq

    def room(value: float) -> float:
        found = at(value)
        return 1.0 if found is None else float(np.log(max(getattr(found, name), LEAST) / target))

    low, high = bracket.low, bracket.high
    step = high - low
    for _ in range(REACH):
        at_low, at_high = room(low), room(high)
        if (at_low <= 0.0) != (at_high <= 0.0):
            return float(brentq(room, low, high, xtol=close, rtol=1e-12))
        # met at both ends: back to where it is not; met at neither: on to where it is
        forward = (at_low > 0.0) == bracket.falls
        if forward and high < ends[1]:
            low, high = high, min(high + step, ends[1])
        elif not forward and low > ends[0]:
            low, high = max(low - step, ends[0]), low
        else:
            return None
        step *= 1.5
    return None


def band_at(sample: Sample, target: Target, seed: int, pool: Any = None) -> Band | None:
    """Return failure over what is not known, as the target counts it; None where all is known."""
    states = band(sample, seed, pool).target
    if not states.size:
        return None
    low, middle, high = (float(level) for level in np.quantile(states, BAND_QUANTILES))
    return Band(low, middle, high, float(np.mean(states <= target.probability)))
