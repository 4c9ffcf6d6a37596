"""Checks of the numbers handed to the functions of this room.

Each check turns its argument into a float array once and complains about the worst
entry, so that a caller with a million draws learns which quantity went wrong and how far.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.errors import InputError

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = ["compatible", "less", "real", "real_or_endless"]


def real(
    name: str,
    value: npt.ArrayLike,
    *,
    above: float = -math.inf,
    at_least: float = -math.inf,
    at_most: float = math.inf,
) -> Array:
    """Return `value` as finite floats inside the limits.

    Parameters
    ----------
    name : str
        What the caller calls the quantity.
    value : array_like, (n,) [any]
        The numbers.
    above, at_least, at_most : float [same as value]
        Open lower, closed lower and closed upper limit.

    Returns
    -------
    numpy.ndarray, (n,) [same as value]

    Raises
    ------
    InputError
        With the name, the worst entry and the limits.
    """
    try:
        array = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError) as cause:
        raise InputError(f"{name} must be a number or numbers, got {value!r}") from cause
    if array.size == 0:
        return array
    low, high = float(array.min()), float(array.max())
    # A NaN makes both ends NaN, and every comparison below false.
    if -math.inf < low and low > above and low >= at_least and high <= at_most and high < math.inf:
        return array
    too_low = not (-math.inf < low and low > above and low >= at_least)
    allowed = ["finite"]
    if above > -math.inf:
        allowed.append(f"above {above:g}")
    if at_least > -math.inf:
        allowed.append(f"at least {at_least:g}")
    if at_most < math.inf:
        allowed.append(f"at most {at_most:g}")
    raise InputError(f"{name} must be {', '.join(allowed)}; got {low if too_low else high:g}")


def real_or_endless(name: str, value: npt.ArrayLike) -> Array:
    """Return `value` as floats from 0 up, where inf is one of the answers.

    Parameters
    ----------
    name : str
        What the caller calls the quantity.
    value : array_like, (n,) [any]
        The numbers.

    Returns
    -------
    numpy.ndarray, (n,) [same as value]

    Raises
    ------
    InputError
        As `real`, for a negative number or none.
    """
    try:
        array = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        return real(name, value)  # which says what is wrong
    real(name, np.where(array == math.inf, 0.0, array), at_least=0)
    return array


def less(small_name: str, small: npt.ArrayLike, large_name: str, large: npt.ArrayLike) -> None:
    """Raise unless `small` < `large` everywhere.

    Parameters
    ----------
    small_name, large_name : str
        What the caller calls them.
    small, large : array_like, (n,) [same as each other]
        The numbers, already known to be finite.

    Raises
    ------
    InputError
        With both names and the pair that is furthest out.
    """
    compatible(**{"small": small, "large": large})
    excess = np.subtract(small, large)
    if excess.size and excess.max() >= 0:
        worst = np.unravel_index(int(np.argmax(excess)), excess.shape)
        pair = [float(np.broadcast_to(side, excess.shape)[worst]) for side in (small, large)]
        raise InputError(
            f"{small_name} must be less than {large_name}; got {pair[0]:g} against {pair[1]:g}"
        )


def compatible(**arrays: npt.ArrayLike) -> tuple[int, ...]:
    """Return the common shape of `arrays`.

    Parameters
    ----------
    **arrays : array_like, (n,) [any]
        Named numbers.

    Returns
    -------
    tuple of int

    Raises
    ------
    InputError
        With the shapes, where they cannot be broadcast together.
    """
    shapes = {name: np.shape(array) for name, array in arrays.items()}
    try:
        return np.broadcast_shapes(*shapes.values())
    except ValueError as cause:
        found = ", ".join(f"{name} {shape}" for name, shape in shapes.items() if shape)
        raise InputError(f"shapes do not fit together: {found}") from cause
