"""One root each of many rising scalar equations, all solved together."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = ["rising_root"]

_MOST_STEPS = 200
_RELATIVE_STEP = 1e-9  # Newton's steps shrink quadratically: what is left after this one is nil.


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
        # A zero slope gives inf or NaN, which fails the test for a good step.
        with np.errstate(divide="ignore", invalid="ignore"):
            step = -value / slope
            good = (x + step >= low) & (x + step <= high) & (np.abs(step) <= 0.5 * np.abs(before))
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
