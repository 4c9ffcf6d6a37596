"""The search for a load: every window of pulls that meets a target, and the floor."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jointrisk.errors import InputError

__all__ = ["ScreeningLoad", "find_load", "load_interval", "slope_at", "window_edges"]

Array = npt.NDArray[np.float64]
CurvePoint = Callable[[float], tuple[float, float]]
BISECTIONS = 32
SECTIONS = 14
GOLDEN = 0.6180339887498949
TOUCH = 1e-6
"""Smallest load looked at, as a share of the highest [-]."""
_CLOSE = 1e-9
"""Width of a bracket, as a share of the load, at which a crossing is found [-]."""
_LEAST = 0.05
"""Where the search for the low end of an interval stops, as a share of the highest [-]."""
_STEP = 0.01
"""Either side of a load, where a slope is taken [-]."""


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
    load_interval: tuple[float, float] | None = None
    """Loads between which `load` lies, by sampling [N]; the high end is inf where the sample
    does not rule out that no admissible load meets the target."""
    notes: tuple[str, ...] = ()


def find_load(
    curve_function: CurvePoint,
    *,
    target: float,
    highest: float,
    max_reject: float | None = None,
    lowest: float | None = None,
    before: float | None = None,
    touch: float | None = None,
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
        (a touch shows parts that hold nothing), smaller loads are looked at, down to `touch`.
    touch : float, optional
        Smallest load that counts as a pull [N]; a millionth of `highest` when not given.
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
    smallest = TOUCH * highest if touch is None else min(touch, bottom)
    least = 0.0 if before is None or met else smallest
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


def window_edges(found: ScreeningLoad, highest: float) -> tuple[float, ...]:
    """Give the loads where the curve crosses the target: no ends of the search, no touch [N]."""
    touch = (1.0 + _STEP) * TOUCH * highest
    return tuple(
        edge for window in found.windows for edge in window if touch < edge < found.highest
    )


def slope_at(curve_function: CurvePoint, load: float) -> float:
    """Give the percent by which the chance of failure changes with one percent of load [-]."""
    below, above = (curve_function((1.0 + s) * load)[0] for s in (-_STEP, _STEP))
    if not (below > 0.0 and above > 0.0):  # a step
        return np.inf if below != above else 0.0
    return float(np.log(above / below) / np.log((1.0 + _STEP) / (1.0 - _STEP)))


def load_interval(
    bounds: CurvePoint, target: float, load: float, highest: float
) -> tuple[float, float]:
    """Give the loads between which the smallest that meets a target lies.

    From the load where the low end of the curve's interval comes down to the target to
    that where the high end does: the curve's interval turned on its side.

    Parameters
    ----------
    bounds : callable
        Load [N] to (low, high) end of the chance of failure after the pull [-].
    target : float
        Chance of failure to meet [-].
    load : float
        Where the estimate comes down to it [N].
    highest : float
        Highest load that counts [N].

    Returns
    -------
    tuple of float
        Low end, 0 where it lies below a twentieth of `highest`, and high end, inf where no
        load is surely enough [N].
    """

    def end(which: int, sign: int, limit: float, beyond: float) -> float:
        last, width = load, 0.002
        while last != limit:
            at = last * (1.0 + sign * width)
            at = max(at, limit) if sign < 0 else min(at, limit)
            excess = bounds(at)[which] - target
            if (excess > 0.0) == (sign < 0):
                good, bad = (last, at) if sign < 0 else (at, last)
                return _crossing(lambda p: bounds(p)[which] - target, good, bad, 8)
            last, width = at, min(2.0 * width, 0.1)
        return beyond

    low = end(0, -1, min(load, _LEAST * highest), 0.0)
    if bounds(load)[1] <= target:
        return low, load
    return low, end(1, 1, max(load, highest), np.inf)


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


def _crossing(
    excess: Callable[[float], float], good: float, bad: float, halvings: int = BISECTIONS
) -> float:
    """Load between one where `excess` is <= 0 and one where it is > 0, on the good side.

    Bisection: a step of a curve is met as well as a slope, at no cost in imports.
    """
    for _ in range(halvings):
        if abs(bad - good) < _CLOSE * good:
            break
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
