"""Load at which the tip of a partly plastic overlap reaches its slip capacity.

For `jointrisk.mechanics.shear_lag`, whose head tells the equations and the units; `lead` is
written for the tip. Derived for this program.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics.rootfind import quick_root, rising_root

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = ["plastic_failure", "relieved_failure"]


def _tanh_sech(x: Array) -> tuple[Array, Array]:
    """Return tanh and 1/cosh of `x` >= 0, written so that nothing overflows."""
    decay = np.exp(-x)
    square = decay * decay
    return (1 - square) / (1 + square), 2 * decay / (1 + square)


def plastic_failure(length: Array, lead: Array, misfit: Array, beyond: Array) -> Array:
    """Return the load at which the tip slips `beyond` yield, the mouth's slope outward.

    Parameters
    ----------
    length, lead, misfit : ndarray, (n,) [-]
        As in `shear_lag`.
    beyond : ndarray, (n,) [-]
        Slip of the tip above that at yield.

    Returns
    -------
    ndarray, (n,) [-]
    """
    q = quick_root(_overlap_left, _first_q, length, length, lead, misfit, beyond)
    decay = np.exp(-2 * q)
    tanh = (1 - decay) / (1 + decay)
    return np.asarray((np.sqrt(tanh * tanh + 2 * beyond) - misfit) / lead)


def _first_q(length: Array, lead: Array, misfit: Array, beyond: Array) -> Array:
    """Return a guess at the root of `_overlap_left`: its cubic near 0, its asymptote far out."""
    edge, far_edge = np.sqrt(2 * beyond), np.sqrt(2 * beyond + 1)
    lack = np.maximum(misfit + lead * length - edge, 1e-30)
    near = np.minimum(np.sqrt(2 * edge * lack), np.exp(np.log(1.5 * lack / lead) / 3))
    other = (far_edge - misfit) / lead - far_edge
    elastic = np.clip(other, 1e-3, 1)
    far = (length + 1 - far_edge - other + elastic - np.log(elastic)) / 2
    return np.where(near > 1, np.maximum(far, 1), near)


def _overlap_left(
    q: Array, length: Array, lead: Array, misfit: Array, beyond: Array
) -> tuple[Array, Array]:
    """Return by how much the overlap that fails with slope s = tanh q is longer than `length`.

    The tip's plastic zone begins with slope s at slip 1, so B^2 = s^2 + 2 beyond, its length is
    B - s, and A = (B - misfit)/lead - B. Where A > s the mouth is plastic over A - s and the
    elastic middle is 2 q long; else it ends at the mouth and is q + asinh(A cosh q) long.
    """
    decay = np.exp(-2 * q)
    s = (1 - decay) / (1 + decay)
    square = s * s
    fall = 1 - square
    B = np.sqrt(square + 2 * beyond)
    load = (B - misfit) / lead
    rise = s * fall / B
    value, slope = load - 2 * (s - q) - length, rise / lead + 2 * square
    one = np.flatnonzero(load - B < s)
    if one.size:
        s, square, fall = s[one], square[one], fall[one]
        A = load[one] - B[one]
        root = np.sqrt(A * A + fall)
        value[one] += np.log((A + root) / (1 + s)) - A + s
        gain = rise[one] * (1 / lead[one] - 1)
        slope[one] += (gain + A * s) / root - gain - square
    return value, slope


def relieved_failure(length: Array, lead: Array, misfit: Array, beyond: Array) -> Array:
    """Return the load at which the tip slips `beyond` yield, the mouth elastic or in reverse.

    Parameters
    ----------
    length, lead, misfit : ndarray, (n,) [-]
        As in `shear_lag`.
    beyond : ndarray, (n,) [-]
        Slip of the tip above that at yield.

    Returns
    -------
    ndarray, (n,) [-]
    """
    given = (length, lead, misfit, beyond)
    high = np.minimum(np.sqrt(2 * beyond), length)
    b = rising_root(_one_end, np.sqrt(2 * beyond + 1) - 1, high, *given)
    load = _one_end_load(b, length, lead, misfit)[0]
    tanh, sech = _tanh_sech(length - b)
    back = np.flatnonzero(sech + ((1 - lead) * load - misfit) * tanh < -1)
    if back.size:
        chosen = tuple(array[back] for array in given)
        half = chosen[0] / 2
        q = rising_root(_opposite_ends, np.minimum(half, 1.0), half, *chosen)
        coth = 1 / np.tanh(q)
        load[back] = 2 * (np.sqrt(coth**2 + 2 * chosen[3]) - coth + q) - chosen[0]
    return load


def _opposite_ends(
    q: Array, length: Array, lead: Array, misfit: Array, beyond: Array
) -> tuple[Array, Array]:
    """Return the equation for the half length `q` of the elastic middle, mouth yielding in reverse.

    The elastic middle runs from slip -1 to 1 with slope C = coth q at both ends, so the plastic
    lengths are b = B - C and a = -A - C, and load = b - a with a + b + 2 q = length.
    """
    coth = 1 / np.tanh(q)
    slope = np.sqrt(coth * coth + 2 * beyond)
    value = misfit + lead * (2 * (slope - coth + q) - length) - slope
    fall = 1 - coth * coth
    return value, 2 * lead * (fall * (coth / slope - 1) + 1) - fall * coth / slope


def _one_end(
    b: Array, length: Array, lead: Array, misfit: Array, beyond: Array
) -> tuple[Array, Array]:
    """Return the equation for the plastic length `b` at the tip, the mouth still elastic.

    Beyond the b at which the slope s at the elastic-plastic border falls to 0 the state does not
    exist; the root lies below, so the value there is +inf.
    """
    load, tanh, stiffness = _one_end_load(b, length, lead, misfit)
    s = lead * load + misfit - b
    value = b * (s + b / 2) - beyond
    return np.where(s > 0, value, np.inf), s * (1 + b * lead * tanh / stiffness)


def _one_end_load(
    b: Array, length: Array, lead: Array, misfit: Array
) -> tuple[Array, Array, Array]:
    """Return load, tanh of the elastic length, and the divisor of the load."""
    tanh, sech = _tanh_sech(length - b)
    stiffness = lead + (1 - lead) * sech
    return (b + tanh - misfit * (1 - sech)) / stiffness, tanh, stiffness
