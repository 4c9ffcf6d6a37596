"""Single-lap coupons: what the number on a data sheet can and cannot say of a bond line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics.arguments import compatible, real
from jointrisk.mechanics.shear_lag import elastic_end

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = ["goland_reissner_factor", "strip_yield_shear", "volkersen_peak_ratio"]


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
    u = np.sqrt(1.5 * (1 - nu**2) * shear * L / (E * h**3))
    return np.asarray(1 / (1 + 2 * np.sqrt(2) * np.tanh(u * L / 2)))[()]


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
