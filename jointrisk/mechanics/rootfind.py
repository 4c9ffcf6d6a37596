"""One root each of many rising scalar equations, all solved together."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = ["quick_root", "rising_root"]

_MOST_STEPS = 200
_RELATIVE_STEP = 1e-9  # Newton's steps shrink quadratically: what is left after this one is nil.
_QUICK_STEPS = 3
_SMALL_STEP = 1e-5  # of the bracket


def rising_root(
    equation: Callable[..., tuple[Array, Array]],
    start: Array,
    high: Array,
    *parameters: Array,
) -> Array:
    """Return x in [0, high] where `equation` changes from negative to positive.

    Newton's method, replaced by halving wherever it leaves the bracket or stops shrinking.
    Entries that have settled leave the computation.

    Parameters
    ----------
    equation : callable
        ``equation(x, *parameters)`` gives value and slope, each (n,); the value may be +inf
        where only its sign is known.
    start, high : ndarray, (n,) [-]
        First guess, and upper end of the bracket. The value must be negative at 0 and not
        negative at `high`.
    *parameters : ndarray, (n,) [any]
        Handed on to `equation`.

    Returns
    -------
    ndarray, (n,) [-]
    """
    root = np.clip(start, 0.0, high)
    entries = np.arange(root.size)
    x, low, tiny = root, np.zeros_like(root), 1e-13 * high
    last = before = high
    for _ in range(_MOST_STEPS):
        value, slope = equation(x, *parameters)
        below = value < 0
        low, high = np.where(below, x, low), np.where(below, high, x)
        # A slope near zero gives inf or NaN, which fails the test for a good step.
        with np.errstate(all="ignore"):
            step = -value / slope
            small = np.abs(step) <= _RELATIVE_STEP * x + tiny  # of a settled entry mere rounding
            shrinks = small | (np.abs(step) <= 0.5 * np.abs(before))
            good = (x + step >= low) & (x + step <= high) & shrinks
        step = np.where(good, step, 0.5 * (low + high) - x)
        x = x + step
        last, before = step, last
        root[entries] = x
        moving = np.abs(step) > _RELATIVE_STEP * x + tiny
        if not moving.any():
            break
        if np.count_nonzero(moving) < 0.7 * moving.size:
            entries, x, low, high = entries[moving], x[moving], low[moving], high[moving]
            last, before, tiny = last[moving], before[moving], tiny[moving]
            parameters = tuple(parameter[moving] for parameter in parameters)
    return root


def quick_root(
    equation: Callable[..., tuple[Array, Array]],
    guess: Callable[..., Array],
    high: Array,
    *parameters: Array,
) -> Array:
    """Return what `rising_root` does, for an equation that is not much bent, in less time.

    Newton's method: a few steps in single precision, which cost a third, then one in double.
    Where that last one is not small `rising_root` goes on.

    Parameters
    ----------
    equation : callable
        As in `rising_root`; it works in the precision of what it is given.
    guess : callable
        ``guess(*parameters)`` gives where to start, (n,), above 0.
    high : ndarray, (n,) [-]
        As in `rising_root`.
    *parameters : ndarray, (n,) [any]
        Handed on to `equation` and `guess`.

    Returns
    -------
    ndarray, (n,) [-]
        Off by about 1e-10 high^2 times curvature over twice the slope.
    """
    single: Any = tuple(array.astype(np.float32) for array in parameters)
    top: Any = high.astype(np.float32)
    with np.errstate(all="ignore"):
        x = np.fmin(guess(*single), top)
        for _ in range(_QUICK_STEPS):
            value, slope = equation(x, *single)
            x = np.fmax(np.fmin(x - value / slope, top), 0.25 * x)  # neither NaN nor 0
        root: Array = x.astype(np.float64)
        value, slope = equation(root, *parameters)
        step = value / slope
        good = (np.abs(step) <= _SMALL_STEP * high) & (slope > 0) & (root - step <= high)
        rest = np.flatnonzero(~good)
        start = root[rest]
        root -= step
    if rest.size:
        chosen = tuple(array[rest] for array in (high, *parameters))
        root[rest] = rising_root(equation, start, *chosen)
    return root
