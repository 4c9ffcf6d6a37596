"""The search for a pull on few evaluations: what a load leaves takes long to work out.

The curve over the load is worked out on a coarse grid and read off between (straight lines of
its logarithm over that of the load); wherever the search comes to an edge, a floor or a limit,
the curve is worked out there, and the search is made again until it stays.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.reliability.loads import find_load
from jointrisk.study.bench import chance_refused

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from jointrisk.reliability.loads import ScreeningLoad
    from jointrisk.study.bench import Bench

    Array = npt.NDArray[np.float64]

NOTHING: Mapping[float, tuple[float, float]] = MappingProxyType({})
GRID = 19
"""Loads worked out at first [-]."""
FINE = 121
"""Loads at which the curve is read off for crossings [-]."""
ROUNDS = 10
CLOSE = 1e-3
"""An edge is found when the curve is worked out this near on both its sides [-]."""
FLAT = 0.01
"""A floor is found when its neighbours are this near [-]."""
LOWEST_SHARE = 0.01
"""Lowest load looked at, as a share of the strength of a middling rod [-]."""
LEAST = 1e-300
SAME = 1e-9
"""Loads nearer to each other than this are one [-]."""
ENDS_READ = 401
"""Loads at which the curve is read off for the ends of an interval of the load [-]."""
ENDS_TRIED = 2
"""Loads at which an end's own interval is worked out [-]."""
SLACK = 1e-6
"""On the share of rods one is willing to break, so that the load of just that share counts [-]."""


def find_pull(
    bench: Bench,
    after: Callable[[float], float],
    target: float,
    before: float,
    highest: float,
    max_reject: float | None,
    *,
    known: Mapping[float, tuple[float, float]] = NOTHING,
    bounds: Callable[[float], tuple[float, float]] | None = None,
    points: int = GRID,
) -> ScreeningLoad:
    """Find every window of pulls after which the target is met, and the floor.

    Parameters
    ----------
    bench : Bench
    after : callable
        Load [N] to the chance of failure after the pull [-]; NaN where too little holds it.
    target, before : float [-]
        Chance of failure to meet, and that with no pull.
    highest : float [N]
    max_reject : float, optional [-]
    known : mapping of float to tuple of float
        Loads [N] at which the chance after the pull (1 where it is not known) and the share of
        rods that break in it are known already [-].
    bounds : callable, optional
        Load [N] to the ends of the interval of the chance after the pull [-]: the load is then
        given an interval of its own.
    points : int
        Loads worked out at first, but for those that are known [-].
    """
    lowest = min(LOWEST_SHARE * middling(bench), highest)
    table = {load: at for load, at in known.items() if lowest <= load <= highest}

    def work_out(load: float) -> None:
        value = after(load)
        table[load] = (1.0 if np.isnan(value) else value, refused_by(bench, load))

    for load in _missing(np.geomspace(lowest, highest, points), sorted(table)):
        work_out(load)
    most = None if max_reject is None else min(1.0, max_reject * (1.0 + SLACK))
    for _ in range(ROUNDS):
        found = find_load(
            _reader(table),
            target=target,
            highest=highest,
            lowest=lowest,
            max_reject=most,
            before=before,
            touch=lowest,
            points=FINE,
        )
        asked = _asked(found, sorted(table))
        if not asked:
            break
        for load in asked:
            work_out(load)
    found = _snapped(found, table, target)
    if bounds is None or not found.load:
        return found
    return replace(found, load_interval=_ends(found, _reader(table), bounds, target, lowest))


def _missing(grid: Array, known: list[float]) -> list[float]:
    """Return both ends of a grid of loads, and those of it that no known load lies near."""
    if not known:
        return [float(load) for load in grid]
    near = 0.5 * np.log(grid[-1] / grid[0]) / max(grid.size - 1, 1)
    apart = np.abs(np.log(grid[:, None] / np.array(known))).min(axis=1)
    asked = apart > near
    asked[[0, -1]] = apart[[0, -1]] > SAME
    return [float(load) for load in grid[asked]]


def _ends(
    found: ScreeningLoad,
    read: Callable[[float], tuple[float, float]],
    bounds: Callable[[float], tuple[float, float]],
    target: float,
    lowest: float,
) -> tuple[float, float]:
    """Return the loads at which the ends of the curve's own interval come to the target [N].

    The ends over the estimate hardly change with the load: they are worked out at the load, and
    once more at the end that they give. The high end is infinite where no admissible load
    surely meets the target.
    """
    load = found.load or lowest

    def crossing(end: int, loads: Array, wanted: bool, beyond: float) -> float:
        values = np.array([read(float(x))[0] for x in loads])
        at = load
        for _ in range(ENDS_TRIED):
            factor = bounds(at)[end] / max(read(at)[0], LEAST)
            reached = np.flatnonzero((values * factor <= target) == wanted)
            if reached.size == 0:
                return beyond
            at = float(loads[reached[0]])
        return at

    low = crossing(0, np.geomspace(load, lowest, ENDS_READ), False, lowest)
    high = crossing(1, np.geomspace(load, max(found.highest, load), ENDS_READ), True, np.inf)
    return low, high


def _reader(table: dict[float, tuple[float, float]]) -> Callable[[float], tuple[float, float]]:
    """Return the curve between the loads at which it is known."""
    loads = np.log(sorted(table))
    values = np.array([table[load] for load in sorted(table)])
    logs = np.log(np.maximum(values, LEAST))
    zero = values[:, 0] == 0.0

    def read(load: float) -> tuple[float, float]:
        at = np.log(load)
        fails, refused = (float(np.exp(np.interp(at, loads, column))) for column in logs.T)
        place = int(np.searchsorted(loads, at - 1e-12))
        return (0.0 if zero[min(place, zero.size - 1)] and fails <= LEAST else fails), refused

    return read


def _asked(found: ScreeningLoad, known: list[float]) -> list[float]:
    """Return the loads at which the curve must still be worked out."""
    loads = np.array(known)
    edges = {edge for window in found.windows for edge in window} | {found.highest}
    places = [(edge, CLOSE) for edge in edges] + [(found.floor_load, FLAT)]
    asked: set[float] = set()
    for place, near in places:
        at = int(np.argmin(np.abs(loads - place)))
        here = abs(loads[at] / place - 1.0) < SAME if place > 0.0 else True
        if not here and loads[0] < place < loads[-1]:
            below = int(np.searchsorted(loads, place)) - 1
            if loads[below + 1] > (1.0 + near) * loads[below]:
                asked |= {float(place), float(np.sqrt(loads[below] * loads[below + 1]))}
        elif near == FLAT:
            around = pairwise(loads[max(at - 1, 0) : at + 2])
            asked |= {float(np.sqrt(a * b)) for a, b in around if b > (1.0 + near) * a}
    return sorted(asked)


def _snapped(
    found: ScreeningLoad, table: dict[float, tuple[float, float]], target: float
) -> ScreeningLoad:
    """Move the first window's start to the next load at which the target is known to be met."""
    if not found.load:
        return found
    meets = [
        load
        for load, (fails, _) in sorted(table.items())
        if (1.0 - 1e-9) * found.load <= load <= found.windows[0][1] and fails <= target
    ]
    if not meets or meets[0] > (1.0 + 2.0 * CLOSE) * found.load:
        return found
    first = (meets[0], found.windows[0][1])
    fails, refused = table[meets[0]]
    return replace(
        found,
        load=meets[0],
        windows=(first, *found.windows[1:]),
        fail_after=fails,
        reject=refused,
    )


def middling(bench: Bench) -> float:
    """Return the median of the weakest link in the rig [N]; of the strong where it is 0."""
    strengths = bench.outcome.in_rig
    order = np.argsort(strengths, axis=None)
    weights = np.broadcast_to(bench.weight, strengths.shape).ravel()[order]
    below = np.cumsum(weights)
    median = float(strengths.ravel()[order[np.searchsorted(below, 0.5 * below[-1])]])
    return median or float(strengths.max())


def refused_by(bench: Bench, load: float) -> float:
    """Return the share of all rods that break in the pull [-]."""
    return of_all(bench, chance_refused(bench, load))


def of_all(bench: Bench, each: Array) -> float:
    """Return the expectation over all rods of what each has, (rods, n)."""
    return float((bench.weight * each).sum() / bench.weight.sum() / each.shape[0])
