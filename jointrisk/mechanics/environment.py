"""Heat, water, misfit and gap: factors on strength and modulus, and how much a gap changes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.errors import InputError
from jointrisk.mechanics.arguments import compatible, less, real

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Points = Sequence[tuple[float, float]]

__all__ = [
    "gap_change",
    "gap_factor",
    "misfit_strain",
    "moisture_factor",
    "piecewise_factor",
    "temperature_factor",
]

_DRY = 0.5  # relative humidity up to which no loss was seen


MANY = 256
"""From this many values on it pays to look where most of them lie."""


def piecewise_factor(points: Points, x: npt.ArrayLike) -> Array:
    """Return a factor read from a table, straight between its points, constant beyond them.

    Parameters
    ----------
    points : sequence of (float, float) [any, -]
        Pairs of x and factor, x rising.
    x : array_like, (n,) [same as the first column]
        Where to read it.

    Returns
    -------
    ndarray, (n,) [-]

    Raises
    ------
    InputError
        For an empty table, x that do not rise, or a negative factor.
    """
    table = real("points", list(points))
    if table.ndim != 2 or table.shape[1] != 2 or not table.size:
        raise InputError(f"points must be pairs of x and factor; got shape {table.shape}")
    at, factor = table[:, 0], real("factor in points", table[:, 1], at_least=0)
    back = np.flatnonzero(np.diff(at) <= 0)
    if back.size:
        i = int(back[0])
        raise InputError(f"x in points must rise; got {at[i + 1]:g} after {at[i]:g}")
    return np.asarray(_between(real("x", x), at, factor))[()]


def _between(x: Array, at: Array, factor: Array) -> Array:
    """Return `np.interp` of the points, in less time where most `x` lie between the same two."""
    if x.size < MANY:
        return np.asarray(np.interp(x, at, factor))
    result: Array
    here = int(np.searchsorted(at, x.mean()))
    if 0 < here < at.size:
        low, high = at[here - 1], at[here]
        result = x - low
        result *= (factor[here] - factor[here - 1]) / (high - low)
        result += factor[here - 1]
    else:  # beyond an end: its factor goes on
        here = min(here, at.size - 1)
        low, high = (-np.inf, at[0]) if here == 0 else (at[-1], np.inf)
        result = np.full(x.shape, factor[here])
    others = (x < low) | (x > high)
    result[others] = np.interp(x[others], at, factor)
    return result


def temperature_factor(
    points: Points, temperature: npt.ArrayLike, hard_stop: npt.ArrayLike
) -> Array:
    """Return the factor on strength or modulus at a temperature; 0 from the hard stop up.

    Parameters
    ----------
    points : sequence of (float, float) [degC, -]
        Pairs of temperature and factor.
    temperature : array_like, (n,) [degC]
        Of the bond.
    hard_stop : array_like, (n,) [degC]
        Near the glass transition, dry or wet: from here up the adhesive carries nothing.

    Returns
    -------
    ndarray, (n,) [-]

    Raises
    ------
    InputError
        As `piecewise_factor`.
    """
    now = real("temperature", temperature)
    stop = real("hard_stop", hard_stop)
    compatible(temperature=now, hard_stop=stop)
    return np.asarray(np.where(now < stop, piecewise_factor(points, now), 0.0))[()]


def misfit_strain(
    expansion_tube: npt.ArrayLike,
    expansion_plug: npt.ArrayLike,
    temperature: npt.ArrayLike,
    stress_free_temperature: npt.ArrayLike,
) -> Array:
    """Return how much more the tube would stretch than the plug if they were apart.

    Parameters
    ----------
    expansion_tube, expansion_plug : array_like, (n,) [1/K]
        Axial coefficients of thermal expansion.
    temperature, stress_free_temperature : array_like, (n,) [degC]
        Now, and when the bond set.

    Returns
    -------
    ndarray, (n,) [-]
        (alpha_tube - alpha_plug) (temperature - stress-free temperature).

    Raises
    ------
    InputError
        For values that are not finite.
    """
    tube, plug = real("expansion_tube", expansion_tube), real("expansion_plug", expansion_plug)
    now = real("temperature", temperature)
    free = real("stress_free_temperature", stress_free_temperature)
    compatible(expansion_tube=tube, expansion_plug=plug, temperature=now, stress_free=free)
    return np.asarray((tube - plug) * (now - free))[()]


def gap_change(
    expansion_outer: npt.ArrayLike,
    expansion_inner: npt.ArrayLike,
    outer_bore_radius: npt.ArrayLike,
    inner_radius: npt.ArrayLike,
    temperature: npt.ArrayLike,
    stress_free_temperature: npt.ArrayLike,
) -> Array:
    """Return by how much heat has opened the radial gap between two coaxial parts.

    Parameters
    ----------
    expansion_outer, expansion_inner : array_like, (n,) [1/K]
        Coefficients of thermal expansion around the axis, which for a laminate are not those
        along it; 0 for the inside of a part that does not grow.
    outer_bore_radius, inner_radius : array_like, (n,) [mm]
        Of the two faces of the gap.
    temperature, stress_free_temperature : array_like, (n,) [degC]
        Now, and when the bond set.

    Returns
    -------
    ndarray, (n,) [mm]
        (alpha_outer r_outer - alpha_inner r_inner) (temperature - stress-free temperature);
        negative where the gap closes.

    Raises
    ------
    InputError
        For radii that are not positive, or a bore not wider than what lies in it.

    Notes
    -----
    Derived: every radius of a body that grows freely grows in proportion. Validity: the layer,
    much softer than both parts, does not hold them.
    """
    outer = real("expansion_outer", expansion_outer)
    inner = real("expansion_inner", expansion_inner)
    wide = real("outer_bore_radius", outer_bore_radius, above=0)
    narrow = real("inner_radius", inner_radius, above=0)
    now = real("temperature", temperature)
    free = real("stress_free_temperature", stress_free_temperature)
    compatible(
        outer=outer, inner=inner, wide=wide, narrow=narrow, temperature=now, stress_free=free
    )
    less("inner_radius", narrow, "outer_bore_radius", wide)
    return np.asarray((outer * wide - inner * narrow) * (now - free))[()]


def moisture_factor(
    time: npt.ArrayLike,
    time_constant: npt.ArrayLike,
    humidity: npt.ArrayLike,
    saturated_factor: npt.ArrayLike,
) -> Array:
    """Return what damp leaves of the strength.

    Parameters
    ----------
    time, time_constant : array_like, (n,) [years]
        In service, and t0 of the loss; any one unit for both.
    humidity : array_like, (n,) [-]
        Mean relative humidity, 0 to 1.
    saturated_factor : array_like, (n,) [-]
        What is left after a long time at 100 % humidity, 0 to 1.

    Returns
    -------
    ndarray, (n,) [-]
        1 - (1 - saturated_factor) h (1 - exp(-time/time_constant)), h = 0 up to 50 % relative
        humidity, then straight to 1 at 100 %.

    Raises
    ------
    InputError
        For a negative time or a ratio outside 0 to 1.

    Notes
    -----
    Fitted in form to a review of aluminium lap joints (abstract read only): 40 to 60 % left at
    100 % humidity and 50 degC, most of the loss in 2000 h, none at 50 %. The straight rise of h
    is judgement. Drying, which brings part of the strength back, is left out.
    """
    age = real("time", time, at_least=0)
    constant = real("time_constant", time_constant, above=0)
    damp = real("humidity", humidity, at_least=0, at_most=1)
    left = real("saturated_factor", saturated_factor, at_least=0, at_most=1)
    compatible(time=age, time_constant=constant, humidity=damp, saturated_factor=left)
    share = np.maximum(damp - _DRY, 0) / (1 - _DRY)
    return np.asarray(1 + (1 - left) * share * np.expm1(-age / constant))[()]


def gap_factor(points: Points, gap: npt.ArrayLike) -> Array:
    """Return the factor on shear strength for the thickness of the bond line.

    Parameters
    ----------
    points : sequence of (float, float) [mm, -]
        Pairs of radial gap and factor.
    gap : array_like, (n,) [mm]
        Radial gap, per side.

    Returns
    -------
    ndarray, (n,) [-]

    Raises
    ------
    InputError
        As `piecewise_factor`, or for a gap that is not positive.

    Notes
    -----
    Empirical, on top of what the shear-lag equations make of the gap; published tests disagree.
    """
    return piecewise_factor(points, real("gap", gap, above=0))
