"""The search for a load: every window of pulls that meets a target, and the floor."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jointrisk.errors import InputError

__all__ = ["ScreeningLoad", "find_load"]

Array = npt.NDArray[np.float64]
CurvePoint = Callable[[float], tuple[float, float]]
BISECTIONS = 32
SECTIONS = 14
GOLDEN = 0.6180339887498949


@dataclass(frozen=True, slots=True)
class ScreeningLoad:
    """The smallest pull that meets a target, or why there is none."""

    reachable: bool
    load: float | None
    """Smallest load that meets the target [N], None when unreachable; 0 when it is met with
    no pull at all."""
    windows: tuple[tuple[float, float], ...]
    """Every interval of admissible loads that meets the target [N]."""
    floor: float
    """Lowest chance of failure after a pull over the admissible loads [-]."""
    floor_load: float
    """Load at which the floor is reached [N]; 0 where no pull is admissible."""
    reject: float | None
    """Chance of refusal at `load` [-]."""
    fail_after: float | None
    """Chance of failure after the pull at `load` [-]."""
    highest: float
    """Highest admissible load [N]."""
    fail_after_interval: tuple[float, float] | None = None
    """Sampling interval at `load` [-], where the caller had one to give."""
    reject_interval: tuple[float, float] | None = None
    notes: tuple[str, ...] = ()


def find_load(
    curve_function: CurvePoint,
    *,
    target: float,
    highest: float,
    max_reject: float | None = None,
    lowest: float | None = None,
    before: float | None = None,
    points: int = 61,
) -> ScreeningLoad:
    """Find every range of load that meets a target, and the lowest value there is.

    The curve need not be monotone (a pull can do damage), so a grid is scanned for all
    crossings and each is refined. Only loads that refuse no more than `max_reject` count;
    the refused share rises with the load.

    Parameters
    ----------
    curve_function : callable
        Load [N] to (chance of failure after the pull, chance of refusal) [-].
    target : float
        Chance of failure to meet [-].
    highest : float
        Highest load looked at [N].
    max_reject : float, optional
        Largest admissible chance of refusal [-].
    lowest : float, optional
        Lowest load of the grid [N]; `highest` / 1000 when not given. Without `before` a
        target met there is taken as met with no pull at all.
    before : float, optional
        Chance of failure with no pull [-]. Where it misses the target and `lowest` meets it
        (a touch shows parts that hold nothing), smaller loads are looked at, down to a
        millionth of `highest`.
    points : int
        Points of the logarithmic grid.

    Returns
    -------
    ScreeningLoad

    Raises
    ------
    InputError
        If a limit is out of range.
    """
    bottom = highest / 1000.0 if lowest is None else lowest
    curve_function = _certain(curve_function)
    _check_search(target, bottom, highest, max_reject)
    top = (
        highest
        if max_reject is None
        else _highest_load(curve_function, bottom, highest, max_reject)
    )
    met = before is not None and before <= target
    if top is None:
        if before is None:
            return ScreeningLoad(
                False, None, (), curve_function(bottom)[0], bottom, None, None, bottom
            )
        if met:
            return ScreeningLoad(True, 0.0, ((0.0, 0.0),), before, 0.0, 0.0, before, 0.0)
        return ScreeningLoad(False, None, (), before, 0.0, None, None, 0.0)
    grid = np.geomspace(bottom, top, points) if top > bottom else np.array([bottom])
    values = np.array([curve_function(float(load))[0] for load in grid])
    least = 0.0 if before is None or met else 1e-6 * highest
    windows = _windows(curve_function, grid, values, target, least)
    floor, floor_load = _floor(curve_function, grid, values)
    if not windows and floor <= target:
        windows = _windows(curve_function, *_with(grid, values, floor_load, floor), target, least)
    if met and values[0] > target:  # a pull, however small, does harm
        windows = ((0.0, 0.0), *windows)
    if not windows:
        return ScreeningLoad(False, None, (), floor, floor_load, None, None, float(top))
    fails, refused = curve_function(windows[0][0] or bottom)
    if before is not None and met:
        fails, refused = before, 0.0
    return ScreeningLoad(
        True, windows[0][0], windows, min(floor, fails), floor_load, refused, fails, float(top)
    )


def _certain(curve_function: CurvePoint) -> CurvePoint:
    """Take an undefined chance of failure (nothing holds the pull) as 1."""

    def wrapped(load: float) -> tuple[float, float]:
        fails, refused = curve_function(load)
        return (1.0 if np.isnan(fails) else float(fails)), float(refused)

    return wrapped


def _check_search(target: float, bottom: float, highest: float, max_reject: float | None) -> None:
    """Refuse limits that make no search."""
    if not 0.0 < target < 1.0:
        raise InputError(f"target must lie between 0 and 1, got {target:g}")
    if not (np.isfinite(highest) and 0.0 < bottom <= highest):
        raise InputError(f"need 0 < lowest <= highest, got {bottom:g} N and {highest:g} N")
    if max_reject is not None and not 0.0 < max_reject <= 1.0:
        raise InputError(f"max_reject must lie in (0, 1], got {max_reject:g}")


def _highest_load(
    curve_function: CurvePoint, bottom: float, highest: float, max_reject: float
) -> float | None:
    """Largest load that refuses no more than allowed, None when even the lowest does."""
    if curve_function(highest)[1] <= max_reject:
        return highest
    if curve_function(bottom)[1] > max_reject:
        return None
    return _crossing(lambda load: curve_function(load)[1] - max_reject, bottom, highest)


def _windows(
    curve_function: CurvePoint, grid: Array, values: Array, target: float, least: float
) -> tuple[tuple[float, float], ...]:
    """Intervals of load with a value at or below the target.

    Where the lowest load of the grid meets it, the first starts at a load down to `least`;
    a `least` of 0 stands for no pull at all.
    """
    meets = values <= target
    edges: list[float] = []
    if meets[0]:
        below = least and _crossing(lambda p: curve_function(p)[0] - target, grid[0], least)
        edges.append(below)
    for i in np.flatnonzero(meets[1:] != meets[:-1]):
        good, bad = (grid[i], grid[i + 1]) if meets[i] else (grid[i + 1], grid[i])
        edges.append(_crossing(lambda load: curve_function(load)[0] - target, good, bad))
    if meets[-1]:
        edges.append(float(grid[-1]))
    return tuple(zip(edges[::2], edges[1::2], strict=True))


def _crossing(excess: Callable[[float], float], good: float, bad: float) -> float:
    """Load between one where `excess` is <= 0 and one where it is > 0, on the good side.

    Bisection: a step of a curve is met as well as a slope, at no cost in imports.
    """
    for _ in range(BISECTIONS):
        middle = 0.5 * (good + bad)
        if excess(middle) <= 0.0:
            good = middle
        else:
            bad = middle
    return float(good)


def _floor(curve_function: CurvePoint, grid: Array, values: Array) -> tuple[float, float]:
    """Lowest value over the grid, refined between its neighbours by golden sections."""
    i = int(np.argmin(values))
    low, high = float(grid[max(i - 1, 0)]), float(grid[min(i + 1, grid.size - 1)])
    best = (float(values[i]), float(grid[i]))
    left, right = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    at_left, at_right = curve_function(left)[0], curve_function(right)[0]
    for _ in range(SECTIONS):
        best = min(best, (at_left, left), (at_right, right))
        if at_left <= at_right:
            high, right, at_right = right, left, at_left
            left = high - GOLDEN * (high - low)
            at_left = curve_function(left)[0]
        else:
            low, left, at_left = left, right, at_right
            right = low + GOLDEN * (high - low)
            at_right = curve_function(right)[0]
    return best


def _with(grid: Array, values: Array, load: float, value: float) -> tuple[Array, Array]:
    """Insert one point into the grid."""
    at = int(np.searchsorted(grid, load))
    return np.insert(grid, at, load), np.insert(values, at, value)
