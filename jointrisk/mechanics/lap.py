"""Single-lap coupons: what the number on a data sheet can and cannot say of a bond line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics.arguments import compatible, real
from jointrisk.mechanics.shear_lag import elastic_end

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = [
    "first_strip_yield",
    "goland_reissner_end_force",
    "goland_reissner_factor",
    "goland_reissner_peel_ratio",
    "goland_reissner_shear_ratio",
    "strip_yield_shear",
    "volkersen_peak_ratio",
]

_STEPS = 35  # each leaves 3/8 or less of the error of the one before


def volkersen_peak_ratio(
    overlap: npt.ArrayLike,
    thickness_1: npt.ArrayLike,
    thickness_2: npt.ArrayLike,
    modulus_1: npt.ArrayLike,
    modulus_2: npt.ArrayLike,
    adhesive_thickness: npt.ArrayLike,
    adhesive_shear_modulus: npt.ArrayLike,
) -> Array:
    """Return peak over mean shear stress in an elastic single lap without bending.

    Parameters
    ----------
    overlap : array_like, (n,) [mm]
        Lapped length.
    thickness_1, thickness_2 : array_like, (n,) [mm]
        Of the two strips.
    modulus_1, modulus_2 : array_like, (n,) [MPa]
        Young's moduli of the strips.
    adhesive_thickness : array_like, (n,) [mm]
        Of the layer.
    adhesive_shear_modulus : array_like, (n,) [MPa]
        Of the adhesive.

    Returns
    -------
    ndarray, (n,) [-]
        At least 1.

    Raises
    ------
    InputError
        For a value that is not positive.

    Notes
    -----
    Volkersen, Luftfahrtforschung 15 (1938) 41 (from memory): with lambda^2 = (G/t)(1/(E1 h1) +
    1/(E2 h2)) and w the larger of the two parts of that sum over the sum,
    ratio = lambda L [w coth(lambda L) + (1 - w)/sinh(lambda L)].
    """
    L = real("overlap", overlap, above=0)
    stiff_1 = _stretch(thickness_1, modulus_1, "1")
    stiff_2 = _stretch(thickness_2, modulus_2, "2")
    t = real("adhesive_thickness", adhesive_thickness, above=0)
    G = real("adhesive_shear_modulus", adhesive_shear_modulus, above=0)
    compatible(overlap=L, strip_1=stiff_1, strip_2=stiff_2, adhesive=t, modulus=G)
    soft = 1 / stiff_1 + 1 / stiff_2
    decayed = L * np.sqrt(G / t * soft)
    share = 1 / (np.minimum(stiff_1, stiff_2) * soft)
    return np.asarray(decayed * elastic_end(decayed, share, 1 - share))[()]


def _stretch(thickness: npt.ArrayLike, modulus: npt.ArrayLike, which: str) -> Array:
    """Return E h of one strip, checked."""
    h = real(f"thickness_{which}", thickness, above=0)
    E = real(f"modulus_{which}", modulus, above=0)
    compatible(thickness=h, modulus=E)
    return np.asarray(E * h)


def goland_reissner_factor(
    mean_shear: npt.ArrayLike,
    overlap: npt.ArrayLike,
    thickness: npt.ArrayLike,
    modulus: npt.ArrayLike,
    poisson_ratio: npt.ArrayLike,
) -> Array:
    """Return the bending-moment factor k at the ends of a single lap of equal strips.

    Parameters
    ----------
    mean_shear : array_like, (n,) [MPa]
        Load over lapped area.
    overlap, thickness : array_like, (n,) [mm]
        Lapped length L and thickness h of one strip.
    modulus : array_like, (n,) [MPa]
        Young's modulus E of the strips.
    poisson_ratio : array_like, (n,) [-]
        Of the strips.

    Returns
    -------
    ndarray, (n,) [-]
        Moment at the end of the lap is k (load per width) h/2; 1 at no load, falling with it.

    Raises
    ------
    InputError
        For a value that is not positive, or a Poisson ratio above 0.5.

    Notes
    -----
    k = 1/[1 + 2 sqrt(2) tanh(u L/2)], u = sqrt(3 (1 - nu^2) mean_shear L/(2 E h^3)) (Goland &
    Reissner, J. Appl. Mech. 11 (1944) A17, from memory). Validity: the lap bends as one strip of
    2 h, layer thin, strips elastic and long beside the lap.
    """
    shear, L = real("mean_shear", mean_shear, at_least=0), real("overlap", overlap, above=0)
    h, E = real("thickness", thickness, above=0), real("modulus", modulus, above=0)
    nu = real("poisson_ratio", poisson_ratio, at_least=0, at_most=0.5)
    compatible(mean_shear=shear, overlap=L, thickness=h, modulus=E, poisson_ratio=nu)
    turn = L / 2 * np.sqrt(1.5 * (1 - nu**2) * L / (E * h**3))  # u L/2 at a shear of 1
    return np.asarray(_factor(shear, turn))[()]


def _factor(shear: Array, turn: Array) -> Array:
    """Return k; `turn` sqrt(shear) is the argument of its tanh."""
    return np.asarray(1 / (1 + 2 * np.sqrt(2) * np.tanh(turn * np.sqrt(shear))))


def goland_reissner_end_force(
    mean_shear: npt.ArrayLike,
    overlap: npt.ArrayLike,
    thickness: npt.ArrayLike,
    modulus: npt.ArrayLike,
    poisson_ratio: npt.ArrayLike,
) -> Array:
    """Return the factor k' of the force across the strip at the ends of a single lap.

    Parameters
    ----------
    mean_shear : array_like, (n,) [MPa]
        Load over lapped area.
    overlap, thickness : array_like, (n,) [mm]
        Lapped length L and thickness h of one strip.
    modulus : array_like, (n,) [MPa]
        Young's modulus E of the strips.
    poisson_ratio : array_like, (n,) [-]
        Of the strips.

    Returns
    -------
    ndarray, (n,) [-]
        The force across is k' (load) 2 h/L; k' = 0 at no load.

    Raises
    ------
    InputError
        As `goland_reissner_factor`.

    Notes
    -----
    k' = k (L/(2 h)) sqrt(3 (1 - nu^2) mean_shear L/(h E)) (Goland & Reissner, J. Appl. Mech. 11
    (1944) A17, from memory): the slope of the moment in a strip that is long beside the lap.
    """
    k = goland_reissner_factor(mean_shear, overlap, thickness, modulus, poisson_ratio)
    shear, L, h, E, nu = (
        np.asarray(x) for x in (mean_shear, overlap, thickness, modulus, poisson_ratio)
    )
    return np.asarray(k * L / (2 * h) * np.sqrt(3 * (1 - nu**2) * shear * L / (h * E)))[()]


def goland_reissner_shear_ratio(
    mean_shear: npt.ArrayLike,
    overlap: npt.ArrayLike,
    thickness: npt.ArrayLike,
    modulus: npt.ArrayLike,
    poisson_ratio: npt.ArrayLike,
    adhesive_thickness: npt.ArrayLike,
    adhesive_shear_modulus: npt.ArrayLike,
) -> Array:
    """Return peak over mean shear stress in an elastic single lap of equal strips that bends.

    Parameters
    ----------
    mean_shear : array_like, (n,) [MPa]
        Load over lapped area.
    overlap, thickness : array_like, (n,) [mm]
        Lapped length L and thickness h of one strip.
    modulus : array_like, (n,) [MPa]
        Young's modulus E of the strips.
    poisson_ratio : array_like, (n,) [-]
        Of the strips.
    adhesive_thickness : array_like, (n,) [mm]
        Of the layer, t.
    adhesive_shear_modulus : array_like, (n,) [MPa]
        G of the adhesive.

    Returns
    -------
    ndarray, (n,) [-]
        At least 1.

    Raises
    ------
    InputError
        For a value that is not positive, or a Poisson ratio above 0.5.

    Notes
    -----
    ratio = [x (1 + 3 k) coth(x) + 3 (1 - k)]/4, x = L sqrt(2 G/(E h t)) (Goland & Reissner, J.
    Appl. Mech. 11 (1944) A17, flexible layer, from memory). Validity: elastic, thin layer.
    """
    k = goland_reissner_factor(mean_shear, overlap, thickness, modulus, poisson_ratio)
    t = real("adhesive_thickness", adhesive_thickness, above=0)
    G = real("adhesive_shear_modulus", adhesive_shear_modulus, above=0)
    compatible(factor=k, adhesive_thickness=t, adhesive_shear_modulus=G)
    L, h, E = (np.asarray(x) for x in (overlap, thickness, modulus))
    x = L * np.sqrt(2 * G / (E * h * t))
    return np.asarray((x * (1 + 3 * k) / np.tanh(x) + 3 * (1 - k)) / 4)[()]


def goland_reissner_peel_ratio(
    mean_shear: npt.ArrayLike,
    overlap: npt.ArrayLike,
    thickness: npt.ArrayLike,
    modulus: npt.ArrayLike,
    poisson_ratio: npt.ArrayLike,
    adhesive_thickness: npt.ArrayLike,
    adhesive_modulus: npt.ArrayLike,
) -> Array:
    """Return the peel stress at the ends of an elastic single lap over its mean shear stress.

    Parameters
    ----------
    mean_shear : array_like, (n,) [MPa]
        Load over lapped area.
    overlap, thickness : array_like, (n,) [mm]
        Lapped length L and thickness h of one strip.
    modulus : array_like, (n,) [MPa]
        Young's modulus E of the strips.
    poisson_ratio : array_like, (n,) [-]
        Of the strips.
    adhesive_thickness : array_like, (n,) [mm]
        Of the layer, t.
    adhesive_modulus : array_like, (n,) [MPa]
        Young's modulus E_a of the adhesive, not its shear modulus.

    Returns
    -------
    ndarray, (n,) [-]
        Positive: the strips are torn apart there.

    Raises
    ------
    InputError
        For a value that is not positive, or a Poisson ratio above 0.5.

    Notes
    -----
    Two strips on a bed of springs E_a/t, with the moment k T h/2 and the force across V = k T
    sqrt(3 (1 - nu^2) T/(E h)) at the lap's ends, T the load per width (Goland & Reissner, J.
    Appl. Mech. 11 (1944) A17, flexible layer, from memory; their sum of products brought to the
    end of the lap): with a^4 = 6 (1 - nu^2) E_a/(t E h^3), z = a L and
    N = sinh(z) + sin(z),
    peel = a^2 k T h/2 [sinh(z) - sin(z)]/N + a V [cosh(z) + cos(z)]/N.
    Validity: elastic, thin layer; a fillet of squeezed-out adhesive lowers it.
    """
    k = goland_reissner_factor(mean_shear, overlap, thickness, modulus, poisson_ratio)
    t = real("adhesive_thickness", adhesive_thickness, above=0)
    E_a = real("adhesive_modulus", adhesive_modulus, above=0)
    compatible(factor=k, adhesive_thickness=t, adhesive_modulus=E_a)
    shear, L, h, E = (np.asarray(x) for x in (mean_shear, overlap, thickness, modulus))
    plane = 1 - np.asarray(poisson_ratio) ** 2
    a = (6 * plane * E_a / (t * E * h**3)) ** 0.25
    z = a * L
    once, twice = 2 * np.exp(-z), np.exp(-2 * z)  # everything over exp(z)/2, so nothing overflows
    below = 1 - twice + once * np.sin(z)
    by_moment = a**2 * k * h / 2 * (1 - twice - once * np.sin(z)) / below
    across = k * np.sqrt(3 * plane * shear * L / (E * h))
    by_force = a * across * (1 + twice + once * np.cos(z)) / below
    return np.asarray(L * (by_moment + by_force))[()]


def strip_yield_shear(
    overlap: npt.ArrayLike,
    thickness: npt.ArrayLike,
    yield_strength: npt.ArrayLike,
    moment_factor: npt.ArrayLike,
) -> Array:
    """Return the mean shear stress at which the strips of a single lap begin to yield.

    Parameters
    ----------
    overlap, thickness : array_like, (n,) [mm]
        Lapped length L and thickness h of one strip.
    yield_strength : array_like, (n,) [MPa]
        Of the strips, in tension.
    moment_factor : array_like, (n,) [-]
        k of `goland_reissner_factor`, 0 to 1.

    Returns
    -------
    ndarray, (n,) [MPa]
        yield_strength h/(L (1 + 3 k)): stretch and bending on the surface (Adams, Comyn & Wake,
        1997, from memory).

    Raises
    ------
    InputError
        For a value that is not positive, or k outside 0 to 1.

    Notes
    -----
    A coupon that breaks above this figure was judged by its strips: for a ductile adhesive its
    number is a lower bound of the layer's shear strength, for a brittle one it is not one at all.
    """
    L, h = real("overlap", overlap, above=0), real("thickness", thickness, above=0)
    strength = real("yield_strength", yield_strength, above=0)
    k = real("moment_factor", moment_factor, at_least=0, at_most=1)
    compatible(overlap=L, thickness=h, yield_strength=strength, moment_factor=k)
    return np.asarray(strength * h / (L * (1 + 3 * k)))[()]


def first_strip_yield(
    overlap: npt.ArrayLike,
    thickness: npt.ArrayLike,
    modulus: npt.ArrayLike,
    poisson_ratio: npt.ArrayLike,
    yield_strength: npt.ArrayLike,
) -> Array:
    """Return the mean shear stress at which strips begin to yield, the lap turning as it is pulled.

    Parameters
    ----------
    overlap, thickness : array_like, (n,) [mm]
        Lapped length L and thickness h of one strip.
    modulus : array_like, (n,) [MPa]
        Young's modulus of the strips.
    poisson_ratio : array_like, (n,) [-]
        Of the strips.
    yield_strength : array_like, (n,) [MPa]
        Of the strips, in tension.

    Returns
    -------
    ndarray, (n,) [MPa]
        The root of shear = `strip_yield_shear` at k = `goland_reissner_factor` of that shear.

    Raises
    ------
    InputError
        As those two.

    Notes
    -----
    k falls with the load, so each step of shear (1 + 3 k) = yield_strength h/L, k from the step
    before, leaves 3/8 of the error or less: derived. Validity as `goland_reissner_factor`.
    """
    straight = strip_yield_shear(overlap, thickness, yield_strength, 0.0)
    L, h = real("overlap", overlap, above=0), real("thickness", thickness, above=0)
    E, nu = real("modulus", modulus, above=0), real("poisson_ratio", poisson_ratio, at_least=0)
    goland_reissner_factor(straight, L, h, E, nu)  # refuses what it cannot use
    turn = L / 2 * np.sqrt(1.5 * (1 - nu**2) * L / (E * h**3))
    shear = straight / 4
    for _ in range(_STEPS):
        shear = straight / (1 + 3 * _factor(shear, turn))
    return np.asarray(shear)[()]
