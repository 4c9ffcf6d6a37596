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
CR-112236 (1973), for the plastic one (both from memory); the overlap as an explicit
function of the slopes at its ends was derived for this program.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics.end_failure import plastic_failure, relieved_failure

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Bools = npt.NDArray[np.bool_]

__all__ = [
    "coth_csch",
    "elastic_end",
    "elastic_load",
    "end_failure",
    "failure_load",
    "holds",
    "holds_elastically",
    "long_overlap_load",
    "overlap_needed",
    "reverse_yield",
    "yields_whole",
]


def coth_csch(x: Array) -> tuple[Array, Array]:
    """Return coth and 1/sinh of `x` > 0, (n,) [-], written so that nothing overflows."""
    decay = np.exp(-x)
    gap = -np.expm1(-2 * x)
    return (1 + decay * decay) / gap, 2 * decay / gap


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
    coth, csch = coth_csch(length)
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
    coth, csch = coth_csch(length)
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
    reverse = np.abs(misfit) > 1
    some = np.flatnonzero(reverse)
    reverse[some] = np.abs(misfit[some]) * np.tanh(length[some] / 2) > 1
    return reverse


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
    load, yielded = length.copy(), yields_whole(length, share, misfit, capacity)
    rest = np.flatnonzero(~yielded)
    if rest.size:
        load[rest] = end_failure(length[rest], share[rest], misfit[rest], capacity[rest])
    return load, yielded


def yields_whole(length: Array, share: Array, misfit: Array, capacity: Array) -> Bools:
    """Return where the whole overlap yields before an end fails.

    Parameters
    ----------
    length, share, misfit, capacity : ndarray, (n,) [-]
        As in the head of this module.

    Returns
    -------
    ndarray of bool, (n,)
    """
    slope = share - 0.5
    slope *= length
    slope -= misfit
    np.abs(slope, out=slope)
    slope += length / 2
    plastic = np.minimum(slope, length)
    slope -= 0.5 * plastic
    slope *= plastic
    slope += 1
    return capacity >= slope


def end_failure(length: Array, share: Array, misfit: Array, capacity: Array) -> Array:
    """Return the load at which the first end fails, where that is before the whole has yielded.

    Parameters
    ----------
    length, share, misfit, capacity : ndarray, (n,) [-]
        As in the head of this module, of joints that `yields_whole` does not name.

    Returns
    -------
    ndarray, (n,) [-]
        Not positive where the misfit alone breaks an end.
    """
    if not length.size:
        return length
    found = _end_failure(length, share, misfit, capacity)
    return np.minimum(found, length)  # rounding, where misfit is immense


def overlap_needed(far: Array, near: Array, capacity: Array) -> Array:
    """Return the overlap at which an end slips `capacity` under given slopes.

    Parameters
    ----------
    far, near : ndarray, (n,) [-]
        Outward slopes at the other end, not negative, and at this one, not smaller than `far`.
    capacity : ndarray, (n,) [-]
        As in the head of this module.

    Returns
    -------
    ndarray, (n,) [-]
        A longer overlap slips less under the same load; inf where none is long enough.

    Notes
    -----
    The elastic part begins with slope s at slip c = min(capacity, 1), s^2 = near^2 - 2 (capacity
    - c), and ends with slope a = min(far, s); slope^2 - slip^2 is constant in it. So the overlap
    is (near - s) + ln[(a + sqrt(a^2 + c^2 - s^2))/(c - s)] + (far - a): derived.
    """
    edge = np.minimum(capacity, 1)
    s = np.minimum(np.sqrt(np.maximum(near * near - 2 * (capacity - edge), 0)), edge)
    end = np.minimum(far, s)
    with np.errstate(divide="ignore", invalid="ignore"):
        middle = np.log((end + np.sqrt(end * end + edge * edge - s * s)) / (edge - s))
    return np.asarray(near - s + middle + far - end)


def holds(length: Array, share: Array, misfit: Array, capacity: Array, load: Array) -> Bools:
    """Return where the joint is sure to hold `load`; where it is False it may still do.

    Parameters
    ----------
    length, share, misfit, capacity : ndarray, (n,) [-]
        As in the head of this module.
    load : ndarray, (n,) [-]
        Not negative.

    Returns
    -------
    ndarray of bool, (n,)
        Exact but where the misfit outweighs the load at the end that slips less.
    """
    near = load / 2 + np.abs((share - 0.5) * load - misfit)
    far = load - near
    return (far >= 0) & (overlap_needed(far, near, capacity) <= length)


def holds_elastically(
    ends: tuple[Array, Array],
    share: Array,
    misfit: Array,
    capacity: Array,
    load: Array,
) -> Bools:
    """Return where the joint is sure to hold `load` because nothing yields and nothing breaks.

    Parameters
    ----------
    ends : tuple of ndarray, (n,) [-]
        coth(length) and 1/sinh(length), as from `coth_csch`.
    share, misfit, capacity : ndarray, (n,) [-]
        As in the head of this module.
    load : ndarray, (n,) [-]
        Not negative.

    Returns
    -------
    ndarray of bool, (n,)
        Where both ends' slips are elastic and the larger one is within `capacity`. It costs a
        third of what `holds` does, and knows an end that the misfit turns round, too.

    Notes
    -----
    The larger slip decides alone: the sum of both is load (coth + 1/sinh), not negative, so that
    where the larger is at most 1 the other is at least -1. Derived.
    """
    coth, csch = ends
    near = share - 0.5
    near *= load
    near -= misfit
    np.abs(near, out=near)
    near += load / 2
    most = near * coth
    np.subtract(load, near, out=near)
    near *= csch
    most += near
    return (most <= capacity) & (most <= 1)


def _end_failure(length: Array, share: Array, misfit: Array, capacity: Array) -> Array:
    """Return the load at which the first end fails, less than all having yielded."""
    mouth = _mouth_first(length, share, misfit, capacity)
    lead = np.where(mouth, share, 1 - share)
    misfit = np.where(mouth, -misfit, misfit)
    load = np.empty_like(length)
    brittle, beyond = capacity <= 1, np.maximum(capacity - 1, 0)
    relieved = _relieved(length, lead, misfit, beyond)
    for solve, where in (
        (elastic_load, brittle),
        (plastic_failure, ~(brittle | relieved)),
        (relieved_failure, relieved & ~brittle),
    ):
        some = np.flatnonzero(where)
        if some.size:
            last = capacity if solve is elastic_load else beyond
            load[some] = solve(length[some], lead[some], misfit[some], last[some])
    return load


def _mouth_first(length: Array, share: Array, misfit: Array, capacity: Array) -> Bools:
    """Return where the mouth fails before the tip.

    Where misfit strains one end more and the load the other, there is a load at which A = B. A
    joint that fails before it fails at the end that the misfit strains.
    """
    tilt = share - 0.5
    mouth = length * tilt > misfit
    either = np.flatnonzero(mouth != (misfit < 0))
    if either.size:
        slope = misfit[either] / (2 * tilt[either])
        holds = overlap_needed(slope, slope, capacity[either]) <= length[either]
        mouth[either] = mouth[either] == holds
    return mouth


def _relieved(length: Array, lead: Array, misfit: Array, beyond: Array) -> Bools:
    """Return where the mouth's slope is inward (A < 0) as the tip slips `beyond` yield."""
    relieved = misfit > (1 - lead) * np.sqrt(2 * beyond)
    some = np.flatnonzero(relieved)
    if some.size:
        slope = misfit[some] / (1 - lead[some])  # of the tip, where the mouth's is 0
        needed = overlap_needed(np.zeros_like(slope), slope, beyond[some] + 1)
        relieved[some] = ~(needed <= length[some])
    return relieved
