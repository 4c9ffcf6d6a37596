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

from jointrisk.mechanics.rootfind import quick_root, rising_root

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Bools = npt.NDArray[np.bool_]

__all__ = [
    "elastic_end",
    "elastic_load",
    "failure_load",
    "holds",
    "long_overlap_load",
    "overlap_needed",
    "reverse_yield",
]


def _coth_csch(x: Array) -> tuple[Array, Array]:
    """Return coth and 1/sinh of `x` > 0, written so that nothing overflows."""
    decay = np.exp(-x)
    gap = -np.expm1(-2 * x)
    return (1 + decay * decay) / gap, 2 * decay / gap


def _tanh_sech(x: Array) -> tuple[Array, Array]:
    """Return tanh and 1/cosh of `x` >= 0, written so that nothing overflows."""
    decay = np.exp(-x)
    square = decay * decay
    return (1 - square) / (1 + square), 2 * decay / (1 + square)


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
    slope = length / 2 + np.abs((share - 0.5) * length - misfit)
    load, yielded = length.copy(), _ductile(length, slope, capacity)
    rest = np.flatnonzero(~yielded)
    if rest.size:
        found = _end_failure(length[rest], share[rest], misfit[rest], capacity[rest])
        load[rest] = np.minimum(found, length[rest])  # rounding, where misfit is immense
    return load, yielded


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


def _ductile(length: Array, slope: Array, capacity: Array) -> Bools:
    """Return where an end of outward `slope` holds until the whole overlap has yielded."""
    plastic = np.minimum(slope, length)
    return capacity >= 1 + plastic * (slope - plastic / 2)


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
        (_plastic_failure, ~(brittle | relieved)),
        (_relieved_failure, relieved & ~brittle),
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


def _plastic_failure(length: Array, lead: Array, misfit: Array, beyond: Array) -> Array:
    """Return the load at which the tip slips `beyond` yield, the mouth's slope outward."""
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


def _relieved_failure(length: Array, lead: Array, misfit: Array, beyond: Array) -> Array:
    """Return the load at which the tip slips `beyond` yield, the mouth elastic or in reverse."""
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
