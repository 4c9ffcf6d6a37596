"""Shear lag of an overlap with an elastic, then perfectly plastic layer, without units.

Lengths are multiplied by lambda = sqrt(kappa/c), slips divided by the slip at yield c tau_p, and
forces by P tau_p/lambda. What is left is

    slip'' = stress(slip),   stress = slip between -1 and 1, else -1 or 1,   0 <= x <= length,

with slope -A at the mouth (x = 0) and +B at the tip (x = length):

    A = share load - misfit,   B = (1 - share) load + misfit,   A + B = load,

where `share` is the plug's part of the compliance, (1/S_p)/(1/S_p + 1/S_t). Because the stress
never falls with slip, every slip rises with the load and the end with the larger of A and B slips
most. The joint fails when that end reaches `capacity`.

Turning the joint round (share -> 1 - share, misfit -> -misfit) swaps mouth and tip. The functions
for one end are therefore written for the tip, and called "lead" there: `lead` = 1 - share.

Source: Volkersen, Luftfahrtforschung 15 (1938) 41, for the elastic layer; Hart-Smith, NASA
CR-112236 (1973), for the plastic one (both from memory); the end slip as an explicit function
of the elastic length was derived for this program.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics.rootfind import rising_root

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Bools = npt.NDArray[np.bool_]

__all__ = ["elastic_end", "elastic_load", "failure_load", "long_overlap_load", "reverse_yield"]


def _coth_csch(x: Array) -> tuple[Array, Array]:
    """Return coth and 1/sinh of `x` > 0, written so that nothing overflows."""
    decay = np.exp(-x)
    gap = -np.expm1(-2 * x)
    return (1 + decay * decay) / gap, 2 * decay / gap


def _tanh_sech(x: Array) -> tuple[Array, Array]:
    """Return tanh and 1/cosh of `x` >= 0, written so that nothing overflows."""
    decay = np.exp(-x)
    return np.tanh(x), 2 * decay / (1 + decay * decay)


def elastic_end(length: Array, near: Array, far: Array) -> Array:
    """Return the slip at one end of an elastic overlap.

    Parameters
    ----------
    length : ndarray, (n,) [-]
        Overlap.
    near, far : ndarray, (n,) [-]
        Outward slope at this end and at the other (A and B for the mouth, B and A for the tip).

    Returns
    -------
    ndarray, (n,) [-]
        near coth(length) + far/sinh(length).
    """
    coth, csch = _coth_csch(length)
    return near * coth + far * csch


def elastic_load(length: Array, lead: Array, misfit: Array, slip: Array) -> Array:
    """Return the load at which the tip of an elastic overlap reaches `slip`.

    Parameters
    ----------
    length, lead, misfit : ndarray, (n,) [-]
        As in the head of this module.
    slip : ndarray, (n,) [-]
        At most 1.

    Returns
    -------
    ndarray, (n,) [-]
        Negative where the misfit alone gives more than `slip`.
    """
    coth, csch = _coth_csch(length)
    return (slip - misfit * np.tanh(length / 2)) / (lead * coth + (1 - lead) * csch)


def reverse_yield(length: Array, misfit: Array) -> Bools:
    """Return where the misfit alone brings both ends to yield, one of them in reverse.

    Parameters
    ----------
    length, misfit : ndarray, (n,) [-]
        As in the head of this module. Without load the slips of the two ends are opposite.

    Returns
    -------
    ndarray of bool, (n,)
    """
    return np.abs(misfit) * np.tanh(length / 2) > 1


def long_overlap_load(share: Array, misfit: Array, capacity: Array) -> Array:
    """Return the load that an endless overlap holds.

    Parameters
    ----------
    share, misfit, capacity : ndarray, (n,) [-]
        As in the head of this module.

    Returns
    -------
    ndarray, (n,) [-]
        Least load with A or B = sqrt(2 W), W the area under stress up to `capacity`.
    """
    root = np.where(capacity > 1, np.sqrt(np.maximum(2 * capacity - 1, 0)), capacity)
    return np.minimum((root + misfit) / share, (root - misfit) / (1 - share))


def failure_load(
    length: Array, share: Array, misfit: Array, capacity: Array
) -> tuple[Array, Bools]:
    """Return the load at which an end first reaches its slip capacity, or all has yielded.

    An end that the misfit has brought to reverse yield is taken to come back on the same path. A
    layer that unloads elastically carries more at the same slips: the result is a lower bound.

    Parameters
    ----------
    length, share, misfit, capacity : ndarray, (n,) [-]
        As in the head of this module.

    Returns
    -------
    load : ndarray, (n,) [-]
        Not positive where the misfit alone breaks an end.
    yielded : ndarray of bool, (n,)
        True where the whole overlap yields before an end fails.
    """
    tilt = 2 * share - 1
    likely = np.clip(long_overlap_load(share, misfit, capacity), 0, length)
    mouth = likely * tilt > 2 * misfit
    load, yielded = _lead_failure(length, share, misfit, capacity, mouth)
    # The guess is proved right when the end it chose is the one that slips most at the result.
    wrong = np.flatnonzero((load > 0) & ((load * tilt > 2 * misfit) != mouth))
    if wrong.size:
        load[wrong], yielded[wrong] = _lead_failure(
            length[wrong], share[wrong], misfit[wrong], capacity[wrong], ~mouth[wrong]
        )
    return load, yielded


def _lead_failure(
    length: Array, share: Array, misfit: Array, capacity: Array, mouth: Bools
) -> tuple[Array, Bools]:
    """Return the load at which the mouth (where `mouth`) or the tip fails, and if all yielded."""
    lead = np.where(mouth, share, 1 - share)
    misfit = np.where(mouth, -misfit, misfit)
    load = elastic_load(length, lead, misfit, np.minimum(capacity, 1.0))
    slope = lead * length + misfit
    plastic = np.minimum(slope, length)
    yielded = capacity >= 1 + plastic * (slope - plastic / 2)
    load[yielded] = length[yielded]
    cracks = np.flatnonzero((capacity > 1) & ~yielded)
    if cracks.size:
        load[cracks] = _plastic_failure(
            length[cracks], lead[cracks], misfit[cracks], capacity[cracks] - 1
        )
    return load, yielded


def _plastic_failure(length: Array, lead: Array, misfit: Array, beyond: Array) -> Array:
    """Return the load at which the tip has slipped `beyond` yield, less than all having yielded."""
    half = length / 2
    load = np.empty_like(length)
    both = _both_ends(half, half, lead, misfit, beyond)[0] >= 0
    if both.any():
        chosen = (half[both], lead[both], misfit[both], beyond[both])
        q = rising_root(_both_ends, _first_q(*chosen), chosen[0], *chosen)
        tanh = np.tanh(q)
        load[both] = 2 * (chosen[0] - q + tanh)
        both[both] = (1 - chosen[1]) * load[both] - chosen[2] >= tanh
    one = ~both
    if one.any():
        rest = (length[one], lead[one], misfit[one], beyond[one])
        high = np.minimum(np.sqrt(2 * rest[3]), rest[0])
        b = rising_root(_one_end, np.sqrt(2 * rest[3] + 1) - 1, high, *rest)
        load[one] = _reverse_checked(b, *rest)
    return load


def _reverse_checked(b: Array, length: Array, lead: Array, misfit: Array, beyond: Array) -> Array:
    """Return the load for one plastic end, put right where the mouth yields in reverse."""
    load = _one_end_load(b, length, lead, misfit)[0]
    tanh, sech = _tanh_sech(length - b)
    back = sech + ((1 - lead) * load - misfit) * tanh < -1
    if back.any():
        chosen = (length[back], lead[back], misfit[back], beyond[back])
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


def _first_q(half: Array, lead: Array, misfit: Array, beyond: Array) -> Array:
    """Return a guess at the root of `_both_ends`: its cubic near 0, its asymptote far out."""
    edge = np.sqrt(2 * beyond)
    lack = np.maximum(misfit + 2 * lead * half - edge, 0.0)
    near = np.minimum(np.sqrt(2 * edge * lack), np.cbrt(1.5 * lack / lead))
    far = 1 + half - (np.sqrt(2 * beyond + 1) - misfit) / (2 * lead)
    return np.where(near > 1, np.maximum(far, 1.0), near)


def _both_ends(
    q: Array, half: Array, lead: Array, misfit: Array, beyond: Array
) -> tuple[Array, Array]:
    """Return the equation for the half length `q` of the elastic middle, both ends plastic.

    The elastic middle ends with slope T = tanh q at slip 1, so the tip's plastic length is
    b = B - T and its slip 1 + T b + b^2/2 = 1 + (B^2 - T^2)/2, while load = length - 2 (q - T).
    """
    tanh = np.tanh(q)
    square = tanh * tanh
    slope = np.sqrt(square + 2 * beyond)
    value = slope - misfit - 2 * lead * (half - q + tanh)
    return value, tanh * (1 - square) / slope + 2 * lead * square


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
