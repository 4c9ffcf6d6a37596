"""A cross pin, bolt or screw through tube and insert, as a mechanical back-up of the bond.

It does not add to the bond: the glue is stiffer than a pin in its hole, so the pin takes the load
only after the bond let go, and the end holds the larger of the two. The holes weaken the wall from
the first day on: `drilled_tube_tension` competes with the bond as well. Forces in N.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics.arguments import compatible, less, real

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = [
    "GOVERNS",
    "Backup",
    "backup_capacity",
    "drilled_tube_tension",
    "hole_bearing",
    "pin_shear",
    "shear_out",
]

GOVERNS = ("pin", "bearing", "shear-out", "net section")
"""Names of the codes in `Backup.governs`, in order."""


@dataclass(frozen=True, slots=True)
class Backup:
    """What a pinned end holds without its bond; every field has the common shape."""

    force: npt.NDArray[np.float64]
    """Least of the four forces [N]."""
    governs: npt.NDArray[np.int8]
    """What limits it: an index into `GOVERNS`, the first of equals [-]."""


def pin_shear(
    diameter: npt.ArrayLike, shear_strength: npt.ArrayLike, planes: npt.ArrayLike = 2
) -> Array:
    """Return the force that shears the pin.

    Parameters
    ----------
    diameter : array_like, (n,) [mm]
        Of the pin; of a thread that lies in the shear plane, its core.
    shear_strength : array_like, (n,) [MPa]
        Of the pin.
    planes : array_like, (n,) [-]
        Shear planes: 2 for a pin through both walls, 1 for a screw from one side.

    Returns
    -------
    ndarray, (n,) [N]
        planes (pi/4) diameter^2 shear_strength: equilibrium, shear even over the section.

    Raises
    ------
    InputError
        For a size or strength that is not positive, or less than one plane.

    Notes
    -----
    Validity: solid pin, close fit. Bending of the pin across a gap is left out; it counts where
    the gap is no longer small against the diameter.
    """
    d = real("diameter", diameter, above=0)
    strength = real("shear_strength", shear_strength, above=0)
    count = real("planes", planes, at_least=1)
    compatible(diameter=d, shear_strength=strength, planes=count)
    return np.asarray(count * np.pi / 4 * d * d * strength)[()]


def hole_bearing(
    pin_diameter: npt.ArrayLike,
    wall: npt.ArrayLike,
    bearing_strength: npt.ArrayLike,
    sides: npt.ArrayLike = 2,
) -> Array:
    """Return the force at which the pin crushes the side of its hole.

    Parameters
    ----------
    pin_diameter, wall : array_like, (n,) [mm]
        Of the pin, and thickness of one wall.
    bearing_strength : array_like, (n,) [MPa]
        Of the wall: force over pin_diameter times wall.
    sides : array_like, (n,) [-]
        Walls that the pin bears on: 2, or 1 for a screw from one side.

    Returns
    -------
    ndarray, (n,) [N]
        sides pin_diameter wall bearing_strength: the definition of bearing stress.

    Raises
    ------
    InputError
        For a size or strength that is not positive, or less than one side.

    Notes
    -----
    Validity: bearing strengths hold for the end distance they were measured with, about two pin
    diameters or more (from memory). Both walls share alike.
    """
    d = real("pin_diameter", pin_diameter, above=0)
    t = real("wall", wall, above=0)
    strength = real("bearing_strength", bearing_strength, above=0)
    count = real("sides", sides, at_least=1)
    compatible(pin_diameter=d, wall=t, bearing_strength=strength, sides=count)
    return np.asarray(count * d * t * strength)[()]


def shear_out(
    edge_distance: npt.ArrayLike,
    wall: npt.ArrayLike,
    shear_strength: npt.ArrayLike,
    sides: npt.ArrayLike = 2,
) -> Array:
    """Return the force at which the pin tears the wall between hole and end out.

    Parameters
    ----------
    edge_distance : array_like, (n,) [mm]
        Length of a shear plane, along the rod: from the edge of the hole to the end of the wall,
        that is the distance of its centre less half the hole.
    wall : array_like, (n,) [mm]
        Thickness of one wall.
    shear_strength : array_like, (n,) [MPa]
        Of the wall, in its plane.
    sides : array_like, (n,) [-]
        Walls that the pin bears on: 2, or 1 for a screw from one side.

    Returns
    -------
    ndarray, (n,) [N]
        2 sides edge_distance wall shear_strength: equilibrium, two shear planes in each wall.

    Raises
    ------
    InputError
        For a size or strength that is not positive, or less than one side.

    Notes
    -----
    Counting from the edge of the hole gives a low figure. A shear-out strength that was worked
    out with the distance of the centre goes with that distance. Only the direction in which the
    pin pushes towards the end: a pull for the tube.
    """
    e = real("edge_distance", edge_distance, above=0)
    t = real("wall", wall, above=0)
    strength = real("shear_strength", shear_strength, above=0)
    count = real("sides", sides, at_least=1)
    compatible(edge_distance=e, wall=t, shear_strength=strength, sides=count)
    return np.asarray(2 * count * e * t * strength)[()]


def drilled_tube_tension(
    outer: npt.ArrayLike,
    inner: npt.ArrayLike,
    hole: npt.ArrayLike,
    strength: npt.ArrayLike,
    stress_concentration: npt.ArrayLike = 1.0,
) -> Array:
    """Return the pull that breaks a tube across a hole drilled through both walls.

    Parameters
    ----------
    outer, inner : array_like, (n,) [mm]
        Radii of the wall; 0 inside for a bar, such as a solid insert.
    hole : array_like, (n,) [mm]
        Diameter of the hole, square to the axis and through it.
    strength : array_like, (n,) [MPa]
        Tensile strength of the wall.
    stress_concentration : array_like, (n,) [-]
        Peak over mean stress of the net section at failure: 1 for a ductile metal that yields
        first; more for a wall that does not, up to about 3 (judgement).

    Returns
    -------
    ndarray, (n,) [N]

    Raises
    ------
    InputError
        For sizes that are not positive or do not fit, or a concentration below 1.

    Notes
    -----
    force = strength/stress_concentration [pi (R^2 - r^2) - s(R) + s(r)], with the strip that the
    hole cuts from a circle s(R) = 2 [a sqrt(R^2 - a^2) + R^2 asin(a/R)], a = hole/2, and
    s(r) = pi r^2 for a hole wider than the bore (derived here; a thin wall h loses 2 hole h).
    """
    R, r = real("outer", outer, above=0), real("inner", inner, at_least=0)
    d = real("hole", hole, above=0)
    sigma = real("strength", strength, above=0)
    peak = real("stress_concentration", stress_concentration, at_least=1)
    compatible(outer=R, inner=r, hole=d, strength=sigma, stress_concentration=peak)
    less("inner", r, "outer", R)
    less("hole", d, "twice outer", 2 * R)
    net = np.pi * (R * R - r * r) - _strip(R, d / 2) + _strip(r, d / 2)
    return np.asarray(sigma / peak * net)[()]


def _strip(radius: Array, half: Array) -> Array:
    """Return the area of a circle within `half` of a diameter."""
    a = np.minimum(half, radius)
    # arctan2 instead of arcsin(a/radius): no bore gives 0/0 there.
    across = np.sqrt((radius - a) * (radius + a))
    return np.asarray(2 * (a * across + radius * radius * np.arctan2(a, across)))


def backup_capacity(
    *,
    pin_diameter: npt.ArrayLike,
    pin_shear_strength: npt.ArrayLike,
    outer: npt.ArrayLike,
    inner: npt.ArrayLike,
    end_distance: npt.ArrayLike,
    bearing_strength: npt.ArrayLike,
    wall_shear_strength: npt.ArrayLike,
    tensile_strength: npt.ArrayLike,
    hole: npt.ArrayLike | None = None,
    planes: npt.ArrayLike = 2,
    sides: npt.ArrayLike = 2,
    stress_concentration: npt.ArrayLike = 1.0,
) -> Backup:
    """Return the pull that a pinned end holds once its bond is gone.

    Parameters
    ----------
    pin_diameter : array_like, (n,) [mm]
        As in `pin_shear`.
    pin_shear_strength : array_like, (n,) [MPa]
        Of the pin.
    outer, inner : array_like, (n,) [mm]
        Radii of the drilled wall.
    end_distance : array_like, (n,) [mm]
        From the centre of the hole to the end of the wall.
    bearing_strength, wall_shear_strength, tensile_strength : array_like, (n,) [MPa]
        Of the wall, as in `hole_bearing`, `shear_out` and `drilled_tube_tension`.
    hole : array_like, (n,) [mm]
        Diameter of the hole, not less than the pin; None for the pin's.
    planes, sides : array_like, (n,) [-]
        Shear planes of the pin and walls it bears on. The net section always lacks both walls.
    stress_concentration : array_like, (n,) [-]
        As in `drilled_tube_tension`.

    Returns
    -------
    Backup

    Raises
    ------
    InputError
        As the four functions do; for a hole tighter than its pin, or one that cuts the end.

    Notes
    -----
    The least of `pin_shear`, `hole_bearing`, `shear_out` from the edge of the hole, and
    `drilled_tube_tension`. The insert has the same four limits: ask again with its radii,
    strengths and distance to its own end, and take the lower. One pin; several do not share
    evenly.
    """
    d = real("pin_diameter", pin_diameter, above=0)
    R, r = real("outer", outer, above=0), real("inner", inner, at_least=0)
    cut = d if hole is None else real("hole", hole, above=0)
    end = real("end_distance", end_distance, above=0)
    compatible(pin_diameter=d, outer=R, inner=r, hole=cut, end_distance=end)
    less("inner", r, "outer", R)
    less("pin_diameter", d, "hole", np.where(cut == d, np.inf, cut))  # a close fit may be equal
    less("half hole", cut / 2, "end_distance", end)
    forces = (
        pin_shear(d, real("pin_shear_strength", pin_shear_strength, above=0), planes),
        hole_bearing(d, R - r, bearing_strength, sides),
        shear_out(
            end - cut / 2, R - r, real("wall_shear_strength", wall_shear_strength, above=0), sides
        ),
        drilled_tube_tension(
            R, r, cut, real("tensile_strength", tensile_strength, above=0), stress_concentration
        ),
    )
    compatible(**dict(zip(("pin", "bearing", "shear_out", "net_section"), forces, strict=True)))
    each = np.stack(np.broadcast_arrays(*forces))
    return Backup(
        force=np.asarray(each.min(axis=0))[()],
        governs=np.asarray(each.argmin(axis=0), dtype=np.int8)[()],
    )
