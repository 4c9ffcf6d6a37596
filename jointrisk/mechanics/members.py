"""What else in a rod can fail: tube, strut, thread, plug and rod end. Forces in N.

Radii of the tube are those of its wall. A member's own spread and model error belong to the
caller; nothing here holds a margin.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics.arguments import compatible, less, real

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = [
    "euler_load",
    "insert_net_section",
    "rod_end",
    "strut_perry_robertson",
    "thread_stress_area",
    "thread_strip",
    "tube_end_bearing",
    "tube_net_tension",
    "wall_buckling_sp8007",
]

_SECANT = 4 / np.pi - 1
_STRIP_WORST_SIZES = 0.9
_SHEAR_OF_TENSILE = 0.6


def _wall(outer_radius: npt.ArrayLike, inner_radius: npt.ArrayLike) -> tuple[Array, Array]:
    """Return both radii, checked."""
    outer = real("outer_radius", outer_radius, above=0)
    inner = real("inner_radius", inner_radius, at_least=0)
    less("inner_radius", inner, "outer_radius", outer)
    return outer, inner


def tube_net_tension(
    outer_radius: npt.ArrayLike, inner_radius: npt.ArrayLike, strength: npt.ArrayLike
) -> Array:
    """Return the force at which a tube breaks in tension, or crushes in compression.

    Parameters
    ----------
    outer_radius, inner_radius : array_like, (n,) [mm]
        Of the wall; 0 inside for a bar.
    strength : array_like, (n,) [MPa]
        Tensile strength, or compressive strength for a push.

    Returns
    -------
    ndarray, (n,) [N]
        strength pi (R^2 - r^2).

    Raises
    ------
    InputError
        For sizes or strengths that are not positive.
    """
    outer, inner = _wall(outer_radius, inner_radius)
    sigma = real("strength", strength, above=0)
    compatible(outer_radius=outer, inner_radius=inner, strength=sigma)
    return np.asarray(sigma * np.pi * (outer**2 - inner**2))[()]


def euler_load(
    length: npt.ArrayLike,
    outer_radius: npt.ArrayLike,
    inner_radius: npt.ArrayLike,
    modulus: npt.ArrayLike,
    fixity: npt.ArrayLike = 1.0,
) -> Array:
    """Return the push at which a straight elastic strut bows out.

    Parameters
    ----------
    length : array_like, (n,) [mm]
        Between the pivots.
    outer_radius, inner_radius : array_like, (n,) [mm]
        Of the wall.
    modulus : array_like, (n,) [MPa]
        Axial Young's modulus, for a laminate in bending.
    fixity : array_like, (n,) [-]
        Effective length over length; 1 for pivots at both ends, the usual rod.

    Returns
    -------
    ndarray, (n,) [N]
        pi^2 E I/(fixity length)^2, I = pi (R^4 - r^4)/4 (Euler; any text book).

    Raises
    ------
    InputError
        For a value that is not positive.

    Notes
    -----
    Validity: transverse shear left out; it takes 1/(1 + P_E/(G A_s)) of the load, with A_s about
    half of a thin tube's area: 5 % for G about 40 times the stress P_E/A.
    """
    outer, inner = _wall(outer_radius, inner_radius)
    L, E = real("length", length, above=0), real("modulus", modulus, above=0)
    K = real("fixity", fixity, above=0)
    compatible(length=L, outer_radius=outer, inner_radius=inner, modulus=E, fixity=K)
    return np.asarray(np.pi**3 * E * (outer**4 - inner**4) / (4 * (K * L) ** 2))[()]


def strut_perry_robertson(
    length: npt.ArrayLike,
    outer_radius: npt.ArrayLike,
    inner_radius: npt.ArrayLike,
    modulus: npt.ArrayLike,
    compression_strength: npt.ArrayLike,
    bow: npt.ArrayLike = 0.0,
    load_offset: npt.ArrayLike = 0.0,
    fixity: npt.ArrayLike = 1.0,
) -> Array:
    """Return the push at which the extreme fibre of a crooked strut reaches its strength.

    Parameters
    ----------
    length : array_like, (n,) [mm]
        Between the pivots.
    outer_radius, inner_radius : array_like, (n,) [mm]
        Of the wall.
    modulus : array_like, (n,) [MPa]
        Axial Young's modulus.
    compression_strength : array_like, (n,) [MPa]
        Axial compressive strength.
    bow : array_like, (n,) [mm]
        Initial crookedness at the middle.
    load_offset : array_like, (n,) [mm]
        Distance of the load's line from the axis, alike at both ends.
    fixity : array_like, (n,) [-]
        Effective length over length.

    Returns
    -------
    ndarray, (n,) [N]

    Raises
    ------
    InputError
        For sizes, stiffness or strength that are not positive, or a negative bow or offset.

    Notes
    -----
    With x = F/P_E: F/A + F R/I [bow + load_offset (1 + 0.273 x)]/(1 - x) = strength, a quadratic
    in x. The bow grows by 1/(1 - x) (Perry 1886, Robertson 1925, from memory). An offset grows by
    sec(pi/2 sqrt(x)), which (1 + (4/pi - 1) x)/(1 - x) meets from above within 1 %; plain
    1/(1 - x) would be up to 27 % too low. Bow and offset are taken on the same side.
    """
    euler = euler_load(length, outer_radius, inner_radius, modulus, fixity)
    outer, inner = _wall(outer_radius, inner_radius)
    strength = real("compression_strength", compression_strength, above=0)
    crooked = real("bow", bow, at_least=0)
    aside = real("load_offset", load_offset, at_least=0)
    compatible(load=euler, compression_strength=strength, bow=crooked, load_offset=aside)
    squash = strength * np.pi * (outer**2 - inner**2)
    per_offset = 4 * outer / (outer**2 + inner**2)  # A R/I
    curve = euler * (_SECANT * aside * per_offset - 1)
    slope = euler * (1 + (crooked + aside) * per_offset) + squash
    root = 2 * squash / (slope + np.sqrt(slope * slope + 4 * curve * squash))
    return np.asarray(root * euler)[()]


def wall_buckling_sp8007(
    outer_radius: npt.ArrayLike,
    inner_radius: npt.ArrayLike,
    axial_modulus: npt.ArrayLike,
    hoop_modulus: npt.ArrayLike,
) -> Array:
    """Return the push at which the wall of a thin tube buckles.

    Parameters
    ----------
    outer_radius, inner_radius : array_like, (n,) [mm]
        Of the wall; the radius in the formula is their mean.
    axial_modulus, hoop_modulus : array_like, (n,) [MPa]
        Of the wall, the same twice for a metal.

    Returns
    -------
    ndarray, (n,) [N]

    Raises
    ------
    InputError
        For a value that is not positive.

    Notes
    -----
    stress = gamma 0.605 sqrt(E_x E_theta) t/R, gamma = 1 - 0.901 (1 - exp(-sqrt(R/t)/16)), over
    the section (NASA SP-8007, from memory; the mean modulus for a laminate is a rough rule).
    Validity: R/t below 1500, tube longer than its radius, elastic. In a thick wall the figure
    lies above the compressive strength, which then governs.
    """
    outer, inner = _wall(outer_radius, inner_radius)
    along = real("axial_modulus", axial_modulus, above=0)
    around = real("hoop_modulus", hoop_modulus, above=0)
    compatible(outer_radius=outer, inner_radius=inner, axial_modulus=along, hoop_modulus=around)
    wall, radius = outer - inner, (outer + inner) / 2
    knockdown = 1 - 0.901 * (1 - np.exp(-np.sqrt(radius / wall) / 16))
    stress = knockdown * 0.605 * np.sqrt(along * around) * wall / radius
    return np.asarray(stress * np.pi * (outer**2 - inner**2))[()]


def tube_end_bearing(
    outer_radius: npt.ArrayLike,
    inner_radius: npt.ArrayLike,
    compression_strength: npt.ArrayLike,
    shoulder_radius: npt.ArrayLike | None = None,
) -> Array:
    """Return the push at which a shoulder of the plug crushes the tube end.

    Parameters
    ----------
    outer_radius, inner_radius : array_like, (n,) [mm]
        Of the tube wall.
    compression_strength : array_like, (n,) [MPa]
        Of the tube end, cut square.
    shoulder_radius : array_like, (n,) [mm]
        Outer radius of the shoulder; None where it covers the wall.

    Returns
    -------
    ndarray, (n,) [N]
        strength pi (min(R, shoulder)^2 - r^2), 0 where the shoulder does not reach the wall.

    Raises
    ------
    InputError
        For a value that is not positive.

    Notes
    -----
    Plain equilibrium. Validity: square ends in full contact.
    """
    outer, inner = _wall(outer_radius, inner_radius)
    strength = real("compression_strength", compression_strength, above=0)
    if shoulder_radius is not None:
        outer = np.minimum(outer, real("shoulder_radius", shoulder_radius, above=0))
    compatible(outer_radius=outer, inner_radius=inner, compression_strength=strength)
    return np.asarray(strength * np.pi * np.maximum(outer**2 - inner**2, 0))[()]


def thread_stress_area(major_diameter: npt.ArrayLike, pitch: npt.ArrayLike) -> Array:
    """Return the area on which a bolt of this thread carries its tensile strength.

    Parameters
    ----------
    major_diameter, pitch : array_like, (n,) [mm]
        d and P.

    Returns
    -------
    ndarray, (n,) [mm2]
        pi/4 ((d2 + d3)/2)^2, d2 = d - 0.6495 P, d3 = d - 1.2269 P (ISO 898-1, as quoted).

    Raises
    ------
    InputError
        For a value that is not positive, or a pitch that leaves no core.

    Notes
    -----
    For unified threads the tables use d - 0.9743 P for (d2 + d3)/2 (d - 0.9382 P here), about
    1.5 % less area.
    """
    d, P = _thread(major_diameter, pitch)
    return np.asarray(np.pi / 4 * (d - (0.649519 + 1.226869) / 2 * P) ** 2)[()]


def _thread(major_diameter: npt.ArrayLike, pitch: npt.ArrayLike) -> tuple[Array, Array]:
    """Return both, checked."""
    d = real("major_diameter", major_diameter, above=0)
    P = real("pitch", pitch, above=0)
    less("1.3 pitch", 1.3 * P, "major_diameter", d)
    return d, P


def thread_strip(
    major_diameter: npt.ArrayLike,
    pitch: npt.ArrayLike,
    engagement: npt.ArrayLike,
    tensile_strength: npt.ArrayLike,
) -> Array:
    """Return the pull that strips the internal thread of a plug.

    Parameters
    ----------
    major_diameter, pitch : array_like, (n,) [mm]
        d and P.
    engagement : array_like, (n,) [mm]
        Length of full threads in mesh, runout and chamfers not counted.
    tensile_strength : array_like, (n,) [MPa]
        R_m of the plug.

    Returns
    -------
    ndarray, (n,) [N]

    Raises
    ------
    InputError
        For a value that is not positive, or a pitch that leaves no core.

    Notes
    -----
    Shear area per mm = pi d [0.5 + 0.57735 (d - d2)/P], d2 = d - 0.6495 P (FED-STD-H28/2B, basic
    sizes, as quoted), times 0.9 for sizes within tolerance, times 0.6 R_m in shear (as quoted).
    Validity: the bolt is not softer than the plug; engagement up to about 1.5 d, since longer
    ones do not share the load evenly.
    """
    d, P = _thread(major_diameter, pitch)
    length = real("engagement", engagement, above=0)
    strength = real("tensile_strength", tensile_strength, above=0)
    compatible(major_diameter=d, pitch=P, engagement=length, tensile_strength=strength)
    area = np.pi * d * (0.5 + 0.57735 * 0.649519) * _STRIP_WORST_SIZES * length
    return np.asarray(area * _SHEAR_OF_TENSILE * strength)[()]


def insert_net_section(
    plug_radius: npt.ArrayLike, hole_diameter: npt.ArrayLike, strength: npt.ArrayLike
) -> Array:
    """Return the pull at which a plug breaks across its tapped hole.

    Parameters
    ----------
    plug_radius : array_like, (n,) [mm]
        Least outer radius along the hole, grooves counted.
    hole_diameter : array_like, (n,) [mm]
        Major diameter of the thread.
    strength : array_like, (n,) [MPa]
        Tensile strength of the plug.

    Returns
    -------
    ndarray, (n,) [N]
        strength pi (r_p^2 - d^2/4).

    Raises
    ------
    InputError
        For a value that is not positive, or a hole as wide as the plug.

    Notes
    -----
    Plain equilibrium, no stress concentration: ductile metal, static load.
    """
    radius = real("plug_radius", plug_radius, above=0)
    hole = real("hole_diameter", hole_diameter, above=0)
    sigma = real("strength", strength, above=0)
    compatible(plug_radius=radius, hole_diameter=hole, strength=sigma)
    less("hole_diameter", hole, "twice plug_radius", 2 * radius)
    return np.asarray(sigma * np.pi * (radius**2 - hole**2 / 4))[()]


def rod_end(static_rating: npt.ArrayLike, strength_ratio: npt.ArrayLike = 1.0) -> Array:
    """Return the force at which a rod end fails.

    Parameters
    ----------
    static_rating : array_like, (n,) [N]
        Catalogue static load rating.
    strength_ratio : array_like, (n,) [-]
        What a part holds over its rating: a spread about 1 or more, or one over the use factor.

    Returns
    -------
    ndarray, (n,) [N]
        Their product.

    Raises
    ------
    InputError
        For a value that is not positive.
    """
    rating = real("static_rating", static_rating, above=0)
    ratio = real("strength_ratio", strength_ratio, above=0)
    compatible(static_rating=rating, strength_ratio=ratio)
    return np.asarray(rating * ratio)[()]
