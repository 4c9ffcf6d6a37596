"""What a linkage makes of a force that somebody knows: text-book statics, and sudden loads."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.errors import InputError
from jointrisk.mechanics.arguments import compatible, less, real

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = ["dynamic_factor", "rod_force", "two_force_member"]

_NO_ARM = 1e-12  # of the distance from pivot to rod; below it is rounding


def rod_force(
    input_force: npt.ArrayLike, arm_ratio: npt.ArrayLike, angle_between: npt.ArrayLike = np.pi / 2
) -> Array:
    """Return the force in a rod that is driven by a lever.

    Parameters
    ----------
    input_force : array_like, (n,) [N]
        On the lever, square to its arm.
    arm_ratio : array_like, (n,) [-]
        Arm of the input over arm of the rod, both from the pivot.
    angle_between : array_like, (n,) [-]
        Between the rod and its arm, in radians; a right angle gives the least force.

    Returns
    -------
    ndarray, (n,) [N]
        input_force arm_ratio/sin(angle_between): equilibrium of moments about the pivot. The sign
        is that of `input_force`.

    Raises
    ------
    InputError
        For a ratio that is not positive, or an angle outside 0 to pi (degrees, perhaps).

    Notes
    -----
    Validity: at rest, friction and weight left out. Near 0 and pi the rod is in line with its arm
    and the force grows without bound: take the angle of the travel furthest from a right one.
    """
    force = real("input_force", input_force)
    ratio = real("arm_ratio", arm_ratio, above=0)
    angle = real("angle_between", angle_between, above=0)
    compatible(input_force=force, arm_ratio=ratio, angle_between=angle)
    less("angle_between in radians", angle, "pi", np.pi)
    return np.asarray(force * ratio / np.sin(angle))[()]


def two_force_member(
    moment: npt.ArrayLike,
    near_end: npt.ArrayLike,
    far_end: npt.ArrayLike,
    pivot: npt.ArrayLike,
    axis: npt.ArrayLike | None = None,
) -> Array:
    """Return the axial force in a rod that holds a part turning about an axis.

    Parameters
    ----------
    moment : array_like, (n,) [N mm]
        What the rod has to give to the part about the axis, right-handed (counter-clockwise in a
        plane): the opposite of the moment of all other loads.
    near_end, far_end : array_like, (n, 2) or (n, 3) [mm]
        Ends of the rod: on the part, and on what it is held by.
    pivot : array_like, (n, 2) or (n, 3) [mm]
        Any point of the axis.
    axis : array_like, (n, 3) [-]
        Direction of the axis, of any length; None in a plane, where it stands square to it.

    Returns
    -------
    ndarray, (n,) [N]
        Tension positive.

    Raises
    ------
    InputError
        For points of different dimension, a rod or an axis without length, a missing or needless
        axis, or a rod whose line meets the axis or runs along it.

    Notes
    -----
    F = moment/[(r x u) . axis/|axis|], r = near_end - pivot, u = (far_end - near_end)/|far_end -
    near_end|: equilibrium of moments about the axis. Validity: the rod is loaded at its ends
    alone, with free pivots; at rest, no friction.
    """
    load = real("moment", moment)
    near, far, about = _vectors((2, 3), near_end=near_end, far_end=far_end, pivot=pivot)
    if (near.shape[-1] == 2) is not (axis is None):
        raise InputError(
            f"axis must be given with points in space and only there; got {axis!r} with "
            f"{near.shape[-1]} coordinates"
        )
    r, u = near - about, _unit("far_end minus near_end", far - near)
    if axis is None:
        arm = np.asarray(r[..., 0] * u[..., 1] - r[..., 1] * u[..., 0])
    else:
        (turning,) = _vectors((3,), axis=axis)
        compatible(near_end=r, axis=turning)
        arm = np.asarray((np.cross(r, u) * _unit("axis", turning)).sum(axis=-1))
    compatible(moment=load, points=arm)
    if np.any(np.abs(arm) <= _NO_ARM * np.sqrt((r * r).sum(axis=-1))):
        raise InputError(
            "near_end and far_end must make a line that passes the axis at a distance; got lever "
            "arm 0 mm"
        )
    return np.asarray(load / arm)[()]


def _vectors(sizes: tuple[int, ...], **named: npt.ArrayLike) -> list[Array]:
    """Return arrays whose last axis holds coordinates, all of one of the `sizes`."""
    found = {name: real(name, value) for name, value in named.items()}
    shapes = {name: array.shape for name, array in found.items()}
    last = {shape[-1:] for shape in shapes.values()}
    if len(last) > 1 or last.pop() not in {(size,) for size in sizes}:
        told = ", ".join(f"{name} {shape}" for name, shape in shapes.items())
        raise InputError(f"coordinates must be {' or '.join(map(str, sizes))} a point; got {told}")
    compatible(**found)
    return list(found.values())


def _unit(name: str, vector: Array) -> Array:
    """Return vectors of length 1."""
    length = np.sqrt((vector * vector).sum(axis=-1, keepdims=True))
    if np.any(length == 0):
        raise InputError(f"{name} must have a length; got 0")
    return np.asarray(vector / length)


def dynamic_factor(
    drop_height: npt.ArrayLike = 0.0, static_deflection: npt.ArrayLike | None = None
) -> Array:
    """Return what a suddenly applied or falling weight counts, over the same weight at rest.

    Parameters
    ----------
    drop_height : array_like, (n,) [mm]
        Free fall before the weight touches; 0 for a load put on at once, which gives 2.
    static_deflection : array_like, (n,) [mm]
        Of the whole load path under the weight at rest; needed with a drop height.

    Returns
    -------
    ndarray, (n,) [-]
        1 + sqrt(1 + 2 drop_height/static_deflection).

    Raises
    ------
    InputError
        For a negative height, a deflection that is not positive, or none where there is a drop.

    Notes
    -----
    Energy of the fall = energy of a linear spring (text book). Validity: elastic, the path is
    light against the weight, nothing is lost in the blow: a high figure.
    """
    height = real("drop_height", drop_height, at_least=0)
    if static_deflection is None:
        if np.any(height > 0):
            raise InputError(
                f"static_deflection must be given with a drop_height; got {height.max():g} mm "
                "without it"
            )
        return np.asarray(np.full_like(height, 2.0))[()]
    deflection = real("static_deflection", static_deflection, above=0)
    compatible(drop_height=height, static_deflection=deflection)
    return np.asarray(1 + np.sqrt(1 + 2 * height / deflection))[()]
