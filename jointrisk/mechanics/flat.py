"""Two flat strips glued over a length and pulled: the force at which the layer lets go.

The shear-lag solution of `tubular` without curvature: each strip has the stretch stiffness E h
per width, the layer its thickness. Bending and peel of a single lap are left out here; `lap` says
how much of them there is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from jointrisk.mechanics.arguments import compatible, real
from jointrisk.mechanics.layer import layer_of, pull_out_of
from jointrisk.mechanics.overlap import Overlap
from jointrisk.mechanics.tubular import GOVERNS, capacity_of

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = ["PullApart", "long_lap_force", "pull_apart"]


class PullApart(NamedTuple):
    """What a glued face holds; every field has the common shape of the arguments."""

    force: npt.NDArray[np.float64]
    """Least of the two ways, not negative [N]."""
    yielded: npt.NDArray[np.bool_]
    """True where the whole overlap yields, False where an end tears first [-]."""
    yield_force: npt.NDArray[np.float64]
    """tau_p times the glued area [N]."""


def pull_apart(
    *,
    width: npt.ArrayLike,
    overlap: npt.ArrayLike,
    thickness_1: npt.ArrayLike,
    thickness_2: npt.ArrayLike,
    modulus_1: npt.ArrayLike,
    modulus_2: npt.ArrayLike,
    adhesive_thickness: npt.ArrayLike,
    adhesive_shear_modulus: npt.ArrayLike,
    adhesive_shear_strength: npt.ArrayLike,
    failure_shear_strain: npt.ArrayLike | None = None,
    mode_ii_toughness: npt.ArrayLike | None = None,
    misfit_strain: npt.ArrayLike = 0.0,
) -> PullApart:
    """Return the force that shears one glued face between two flat strips.

    Parameters
    ----------
    width, overlap : array_like, (n,) [mm]
        Of the glued face, across and along the pull.
    thickness_1, thickness_2 : array_like, (n,) [mm]
        Of the two strips.
    modulus_1, modulus_2 : array_like, (n,) [MPa]
        Young's moduli of the strips.
    adhesive_thickness : array_like, (n,) [mm]
        Of the layer, t.
    adhesive_shear_modulus, adhesive_shear_strength : array_like, (n,) [MPa]
        G, and the yield stress tau_p in shear.
    failure_shear_strain : array_like, (n,) [-]
        gamma_max, elastic part included. Exactly one of this and the next is given.
    mode_ii_toughness : array_like, (n,) [N/mm]
        G_IIc.
    misfit_strain : array_like, (n,) [-]
        (alpha_2 - alpha_1) (temperature - stress-free temperature).

    Returns
    -------
    PullApart

    Raises
    ------
    InputError
        For a value outside its range, shapes that do not broadcast, or not exactly one of failure
        strain and toughness.

    Notes
    -----
    Elastic layer: Volkersen, Luftfahrtforschung 15 (1938) 41; plastic layer: Hart-Smith, NASA
    CR-112236 (1973); both from memory. `jointrisk.mechanics.shear_lag` has the equations: length
    lambda L with lambda^2 = (G/t) (1/(E1 h1) + 1/(E2 h2)), slip at failure G_IIc/tau_p + t
    tau_p/(2 G), or sqrt(2 G_IIc t/G) where the layer breaks before it yields.

    Validity: strips elastic and straight, thin layer, no peel: an upper value for a single lap.
    """
    t = real("adhesive_thickness", adhesive_thickness, above=0)
    joint = _face(width, overlap, thickness_1, thickness_2, modulus_1, modulus_2, t)
    modulus = real("adhesive_shear_modulus", adhesive_shear_modulus, above=0)
    strength = real("adhesive_shear_strength", adhesive_shear_strength, above=0)
    misfit = real("misfit_strain", misfit_strain)
    compatible(
        strips=joint.softness + joint.length,
        adhesive_thickness=t,
        adhesive_shear_modulus=modulus,
        adhesive_shear_strength=strength,
        misfit_strain=misfit,
        failure_shear_strain=0.0 if failure_shear_strain is None else failure_shear_strain,
        mode_ii_toughness=0.0 if mode_ii_toughness is None else mode_ii_toughness,
    )
    capacity = capacity_of(joint, modulus, strength, failure_shear_strain, mode_ii_toughness)
    found = pull_out_of(layer_of(joint, modulus, strength, capacity, misfit, np.zeros(())))
    return PullApart(found.force, found.governs == GOVERNS.index("yield"), found.yield_force)


def long_lap_force(
    *,
    width: npt.ArrayLike,
    thickness_1: npt.ArrayLike,
    thickness_2: npt.ArrayLike,
    modulus_1: npt.ArrayLike,
    modulus_2: npt.ArrayLike,
    mode_ii_toughness: npt.ArrayLike,
) -> Array:
    """Return the force that one glued face holds however long its overlap is made.

    Parameters
    ----------
    width : array_like, (n,) [mm]
        Of the glued face.
    thickness_1, thickness_2 : array_like, (n,) [mm]
        Of the two strips.
    modulus_1, modulus_2 : array_like, (n,) [MPa]
        Young's moduli of the strips.
    mode_ii_toughness : array_like, (n,) [N/mm]
        G_IIc.

    Returns
    -------
    ndarray, (n,) [N]
        width min(E1 h1, E2 h2) s, s = sqrt(2 G_IIc (1/(E1 h1) + 1/(E2 h2))): derived from the
        energy that the strips set free as the face parts, whatever the layer's law.

    Raises
    ------
    InputError
        For a value that is not positive.
    """
    joint = _face(width, 1.0, thickness_1, thickness_2, modulus_1, modulus_2)
    work = real("mode_ii_toughness", mode_ii_toughness, above=0)
    compatible(strips=joint.softness, mode_ii_toughness=work)
    strain = np.sqrt(2 * work * joint.softness)
    return np.asarray(np.minimum(joint.plug_stiffness, joint.tube_stiffness) * strain)[()]


def _face(
    width: npt.ArrayLike,
    overlap: npt.ArrayLike,
    thickness_1: npt.ArrayLike,
    thickness_2: npt.ArrayLike,
    modulus_1: npt.ArrayLike,
    modulus_2: npt.ArrayLike,
    layer: npt.ArrayLike = 1.0,
) -> Overlap:
    """Return the face as an overlap: strip 1 in the plug's place, strip 2 in the tube's."""
    w, L = real("width", width, above=0), real("overlap", overlap, above=0)
    h1 = real("thickness_1", thickness_1, above=0)
    h2 = real("thickness_2", thickness_2, above=0)
    E1, E2 = real("modulus_1", modulus_1, above=0), real("modulus_2", modulus_2, above=0)
    compatible(width=w, overlap=L, thickness_1=h1, thickness_2=h2, modulus_1=E1, modulus_2=E2)
    return Overlap(L, w, E1 * h1 * w, E2 * h2 * w, np.asarray(layer))
