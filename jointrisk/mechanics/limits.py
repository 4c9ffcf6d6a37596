"""Small formulas that set the shear limits of one overlap against each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics.arguments import compatible, real

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = ["interface_toughness", "torque_shear"]


def interface_toughness(
    toughness: npt.ArrayLike, strength_ratio: npt.ArrayLike, exponent: npt.ArrayLike
) -> Array:
    """Return the toughness of an interface from that of the adhesive.

    Parameters
    ----------
    toughness : array_like, (n,) [N/mm]
        Mode II toughness of the adhesive.
    strength_ratio : array_like, (n,) [-]
        Strength of the interface over that of the adhesive.
    exponent : array_like, (n,) [-]
        2 leaves the shape of the stress-slip curve as it is, so that without misfit the pull-out
        force goes with `strength_ratio` itself.

    Returns
    -------
    ndarray, (n,) [N/mm]
        toughness strength_ratio^exponent.

    Raises
    ------
    InputError
        For a value that is not positive, or a negative exponent.

    Notes
    -----
    An assumption, not a law: its exponent belongs into the list of things not known.
    """
    whole = real("toughness", toughness, above=0)
    ratio = real("strength_ratio", strength_ratio, above=0)
    power = real("exponent", exponent, at_least=0)
    compatible(toughness=whole, strength_ratio=ratio, exponent=power)
    return np.asarray(whole * ratio**power)[()]


def torque_shear(
    torque: npt.ArrayLike,
    plug_radius: npt.ArrayLike,
    gap: npt.ArrayLike,
    overlap: npt.ArrayLike,
) -> Array:
    """Return the mean shear stress in the layer from a torque on the plug.

    Parameters
    ----------
    torque : array_like, (n,) [N mm]
        About the rod's axis, as from tightening a lock nut.
    plug_radius, gap, overlap : array_like, (n,) [mm]
        r_p, radial gap t and glued length L.

    Returns
    -------
    ndarray, (n,) [MPa]
        |torque|/(2 pi r_m^2 L), r_m = r_p + t/2: equilibrium. Peaks at the ends are left out.

    Raises
    ------
    InputError
        For sizes that are not positive.
    """
    twist = real("torque", torque)
    plug, t = real("plug_radius", plug_radius, above=0), real("gap", gap, above=0)
    length = real("overlap", overlap, above=0)
    compatible(torque=twist, plug_radius=plug, gap=t, overlap=length)
    return np.asarray(np.abs(twist) / (2 * np.pi * (plug + t / 2) ** 2 * length))[()]
