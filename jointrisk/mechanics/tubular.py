"""A plug bonded into a tube and pulled along its axis: elastic shear and pull-out force.

The layer is elastic, then perfectly plastic, and fails at a slip. An end fails first when the
layer is not ductile enough for its overlap ("toughness": more overlap buys little); otherwise
the whole overlap yields first ("yield": more overlap helps). A push is a pull with the opposite
`misfit_strain`. With the roles swapped the same functions serve a sleeve over a tube.

The pull-out force never falls when toughness or failure strain rise. Without misfit and offset it
never falls with overlap or shear strength either. With them, a higher shear strength at the same
toughness can lower it; when shear strength and toughness fall by r and r^k with k at least 1, it
fell in every case tried (and for k = 2, by r itself without misfit).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.errors import InputError
from jointrisk.mechanics import shear_lag
from jointrisk.mechanics.arguments import compatible, real
from jointrisk.mechanics.layer import PullOut, ductility, layer_of, pull_out_of
from jointrisk.mechanics.overlap import (
    Overlap,
    overlap_of,
    plug_shear_compliance,
    tube_shear_compliance,
)

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = [
    "GOVERNS",
    "ElasticShear",
    "PullOut",
    "elastic_shear",
    "long_overlap_force",
    "pull_out",
]

GOVERNS = ("yield", "toughness")
"""Names of the codes in `PullOut.governs`, in order."""


@dataclass(frozen=True, slots=True)
class ElasticShear:
    """Shear stress in an elastic layer; every field has the common shape of the arguments."""

    mean: npt.NDArray[np.float64]
    """F/(P L) [MPa]."""
    mouth: npt.NDArray[np.float64]
    """At the tube mouth [MPa]."""
    tip: npt.NDArray[np.float64]
    """At the plug tip [MPa]."""
    peak: npt.NDArray[np.float64]
    """The larger of mouth and tip in magnitude [MPa]."""


def pull_out(
    *,
    tube_outer_radius: npt.ArrayLike,
    plug_radius: npt.ArrayLike,
    gap: npt.ArrayLike,
    overlap: npt.ArrayLike,
    tube_modulus: npt.ArrayLike,
    plug_modulus: npt.ArrayLike,
    adhesive_shear_modulus: npt.ArrayLike,
    adhesive_shear_strength: npt.ArrayLike,
    plug_bore_radius: npt.ArrayLike = 0.0,
    failure_shear_strain: npt.ArrayLike | None = None,
    mode_ii_toughness: npt.ArrayLike | None = None,
    misfit_strain: npt.ArrayLike = 0.0,
    offset: npt.ArrayLike = 0.0,
) -> PullOut:
    """Return the force that pulls a bonded plug out of its tube.

    Parameters
    ----------
    tube_outer_radius, plug_radius : array_like, (n,) [mm]
        R and r_p.
    gap : array_like, (n,) [mm]
        Radial gap t, per side.
    overlap : array_like, (n,) [mm]
        Glued length L.
    tube_modulus, plug_modulus : array_like, (n,) [MPa]
        Axial Young's moduli.
    adhesive_shear_modulus : array_like, (n,) [MPa]
        G.
    adhesive_shear_strength : array_like, (n,) [MPa]
        Yield stress tau_p of the layer in shear, not a lap-shear value.
    plug_bore_radius : array_like, (n,) [mm]
        r_b, 0 for a solid plug.
    failure_shear_strain : array_like, (n,) [-]
        gamma_max, elastic part included. Exactly one of this and the next is given.
    mode_ii_toughness : array_like, (n,) [N/mm]
        G_IIc, the area under the layer's stress-slip curve.
    misfit_strain : array_like, (n,) [-]
        e_m = (alpha_tube - alpha_plug) (temperature - stress-free temperature).
    offset : array_like, (n,) [mm]
        How far the plug sits off centre; at most 0.95 of the gap counts.

    Returns
    -------
    PullOut

    Raises
    ------
    InputError
        For a value outside its range, parts that do not fit into each other, shapes that do not
        broadcast, or not exactly one of failure strain and toughness.

    Notes
    -----
    With t_a = r_m ln(r_i/r_p), delta_e = t_a tau_p/G and lambda^2 = kappa/c_a the layer fails at
    slip delta_u = t_a gamma_max, or G_IIc/tau_p + delta_e/2, or sqrt(2 G_IIc t_a/G) where the
    layer breaks before it yields. The force is the least that brings an end to delta_u, or
    tau_p P L; `jointrisk.mechanics.shear_lag` has the equations. An offset leaves compliance and
    yield force as they are and takes delta_u (1 - offset/gap).

    Sources: Volkersen (1938) and Hart-Smith, NASA CR-112236 (1973), both from memory. The long
    overlap agreed with finite elements within 0.4 %. The offset agreed with a ring of springs of
    differing length, the shortest breaking first, within 4 % to half the gap where gamma_max is
    six yield strains or more. Less ductile, it was 8 % low to 11 % high at half the gap; at 0.75
    of it, 27 % low to 16 % high.

    Validity: thin layer, members elastic, shear of the members left out. Where misfit alone
    brings the ends to yield (`bounded`), the end that yields in reverse is taken to come back on
    the same path: a lower bound on the force at which the slip, counted from the stress-free
    state, reaches delta_u. 0 where misfit alone breaks an end.
    """
    joint = overlap_of(
        tube_outer_radius, plug_radius, gap, overlap, tube_modulus, plug_modulus, plug_bore_radius
    )
    modulus = real("adhesive_shear_modulus", adhesive_shear_modulus, above=0)
    strength = real("adhesive_shear_strength", adhesive_shear_strength, above=0)
    misfit = real("misfit_strain", misfit_strain)
    off = real("offset", offset, at_least=0)
    compatible(
        joint=joint.softness + joint.length,
        adhesive_shear_modulus=modulus,
        adhesive_shear_strength=strength,
        misfit_strain=misfit,
        offset=off,
        failure_shear_strain=0.0 if failure_shear_strain is None else failure_shear_strain,
        mode_ii_toughness=0.0 if mode_ii_toughness is None else mode_ii_toughness,
    )
    capacity = capacity_of(joint, modulus, strength, failure_shear_strain, mode_ii_toughness)
    return pull_out_of(layer_of(joint, modulus, strength, capacity, misfit, off / real("gap", gap)))


def capacity_of(
    joint: Overlap,
    shear_modulus: Array,
    shear_strength: Array,
    failure_shear_strain: npt.ArrayLike | None,
    mode_ii_toughness: npt.ArrayLike | None,
) -> Array:
    """Return the slip at which the layer fails over its slip at yield, given in one of two ways.

    Parameters
    ----------
    joint : Overlap, (n,) [any]
        From `jointrisk.mechanics.overlap.overlap_of`.
    shear_modulus, shear_strength : ndarray, (n,) [MPa]
        G and tau_p of the layer.
    failure_shear_strain : array_like, (n,) [-]
        gamma_max, elastic part included; None where the toughness is given.
    mode_ii_toughness : array_like, (n,) [N/mm]
        G_IIc; None where the strain is given.

    Returns
    -------
    ndarray, (n,) [-]
        gamma_max G/tau_p by definition, or `ductility`.

    Raises
    ------
    InputError
        For a value that is not positive, or not exactly one of the two.
    """
    if failure_shear_strain is not None and mode_ii_toughness is None:
        strain = real("failure_shear_strain", failure_shear_strain, above=0)
        return np.asarray(strain * shear_modulus / shear_strength)
    if mode_ii_toughness is not None and failure_shear_strain is None:
        toughness = real("mode_ii_toughness", mode_ii_toughness, above=0)
        return ductility(joint, shear_modulus, shear_strength, toughness)
    given = "neither" if mode_ii_toughness is None else "both"
    raise InputError(
        f"exactly one of failure_shear_strain and mode_ii_toughness is needed; got {given}"
    )


def long_overlap_force(
    *,
    tube_outer_radius: npt.ArrayLike,
    plug_radius: npt.ArrayLike,
    gap: npt.ArrayLike,
    tube_modulus: npt.ArrayLike,
    plug_modulus: npt.ArrayLike,
    mode_ii_toughness: npt.ArrayLike,
    plug_bore_radius: npt.ArrayLike = 0.0,
    misfit_strain: npt.ArrayLike = 0.0,
) -> Array:
    """Return the force that a bond holds however long its overlap is made.

    Parameters
    ----------
    tube_outer_radius, plug_radius : array_like, (n,) [mm]
        R and r_p.
    gap : array_like, (n,) [mm]
        Radial gap t, per side.
    tube_modulus, plug_modulus : array_like, (n,) [MPa]
        Axial Young's moduli.
    mode_ii_toughness : array_like, (n,) [N/mm]
        G_IIc, the work to part the members, per glued area.
    plug_bore_radius : array_like, (n,) [mm]
        r_b, 0 for a solid plug.
    misfit_strain : array_like, (n,) [-]
        As in `pull_out`.

    Returns
    -------
    ndarray, (n,) [N]
        Not negative.

    Raises
    ------
    InputError
        As `pull_out`.

    Notes
    -----
    F = min{S_p (s + e_m), S_t (s - e_m)}, s = sqrt(2 P G_IIc (1/S_p + 1/S_t)): derived from
    the energy that the members set free as the bond parts, whatever the layer's law. An upper
    bound at any overlap without misfit; a short overlap sheds part of it and may hold more.
    """
    joint = overlap_of(
        tube_outer_radius, plug_radius, gap, 1.0, tube_modulus, plug_modulus, plug_bore_radius
    )
    toughness = real("mode_ii_toughness", mode_ii_toughness, above=0)
    strain = real("misfit_strain", misfit_strain)
    compatible(joint=joint.softness, mode_ii_toughness=toughness, misfit_strain=strain)
    s = np.sqrt(2 * toughness * joint.softness)
    mouth, tip = joint.plug_stiffness * (s + strain), joint.tube_stiffness * (s - strain)
    return np.asarray(np.maximum(np.minimum(mouth, tip), 0))[()]


def elastic_shear(
    *,
    tube_outer_radius: npt.ArrayLike,
    plug_radius: npt.ArrayLike,
    gap: npt.ArrayLike,
    overlap: npt.ArrayLike,
    tube_modulus: npt.ArrayLike,
    plug_modulus: npt.ArrayLike,
    adhesive_shear_modulus: npt.ArrayLike,
    force: npt.ArrayLike,
    plug_bore_radius: npt.ArrayLike = 0.0,
    misfit_strain: npt.ArrayLike = 0.0,
    tube_shear_modulus: npt.ArrayLike | None = None,
    plug_shear_modulus: npt.ArrayLike | None = None,
) -> ElasticShear:
    """Return the shear stress in the layer of a joint that is still elastic.

    Parameters
    ----------
    tube_outer_radius, plug_radius : array_like, (n,) [mm]
        R and r_p.
    gap : array_like, (n,) [mm]
        Radial gap t, per side.
    overlap : array_like, (n,) [mm]
        Glued length L.
    tube_modulus, plug_modulus : array_like, (n,) [MPa]
        Axial Young's moduli.
    adhesive_shear_modulus : array_like, (n,) [MPa]
        G.
    force : array_like, (n,) [N]
        Pull F; a push is negative.
    plug_bore_radius : array_like, (n,) [mm]
        r_b, 0 for a solid plug.
    misfit_strain : array_like, (n,) [-]
        As in `pull_out`.
    tube_shear_modulus, plug_shear_modulus : array_like, (n,) [MPa]
        Through-wall shear moduli. A member without one is taken as rigid in shear.

    Returns
    -------
    ElasticShear

    Raises
    ------
    InputError
        As `pull_out`.

    Notes
    -----
    tau(z) = [g1 cosh(lambda z) - g0 cosh(lambda (L - z))]/(c lambda sinh(lambda L)) with
    g0 = -(F/S_p - e_m), g1 = F/S_t + e_m, lambda^2 = kappa/c; c = (r_m/G) ln(r_i/r_p), plus the
    shear compliance of the members on request. Without misfit the end where the less stiff
    member carries everything peaks.

    Sources: Volkersen (1938) carried over to coaxial members, from memory; member shear as in
    `jointrisk.mechanics.overlap`.

    Validity: an overlap of at least ten gaps and 1.5 plug radii. Finite elements of 106 random
    joints (middle of the layer, one gap or more from its ends) gave 0.40 to 1.04 of the peak
    without member shear; nearer the ends the shear of a soft layer rises to 1.09 of it before it
    falls to 0 at the free end. Shorter overlaps (to five gaps, 0.3 plug radii) gave up to 1.2. With
    member shear it was 0.66 to 1.13 of the peak where the members give less in shear than the
    layer, and up to 2.0 where they give more: not a limit for stress there.
    """
    joint = overlap_of(
        tube_outer_radius, plug_radius, gap, overlap, tube_modulus, plug_modulus, plug_bore_radius
    )
    modulus = real("adhesive_shear_modulus", adhesive_shear_modulus, above=0)
    pull, strain = real("force", force), real("misfit_strain", misfit_strain)
    compatible(
        joint=joint.softness + joint.length,
        adhesive_shear_modulus=modulus,
        force=pull,
        misfit_strain=strain,
        tube_shear_modulus=0.0 if tube_shear_modulus is None else tube_shear_modulus,
        plug_shear_modulus=0.0 if plug_shear_modulus is None else plug_shear_modulus,
    )
    compliance = joint.layer / modulus
    if tube_shear_modulus is not None:
        compliance = compliance + tube_shear_compliance(
            tube_outer_radius, plug_radius, gap, tube_shear_modulus
        )
    if plug_shear_modulus is not None:
        compliance = compliance + plug_shear_compliance(
            plug_radius, gap, plug_shear_modulus, plug_bore_radius
        )
    decay = np.sqrt(joint.softness / compliance)
    near = (pull / joint.plug_stiffness - strain) / (compliance * decay)
    far = (pull / joint.tube_stiffness + strain) / (compliance * decay)
    mouth = shear_lag.elastic_end(joint.length * decay, near, far)
    tip = shear_lag.elastic_end(joint.length * decay, far, near)
    mean = pull / (joint.width * joint.length)
    peak = np.where(np.abs(mouth) >= np.abs(tip), mouth, tip)
    mean, mouth, tip, peak = np.broadcast_arrays(mean, mouth, tip, peak)
    return ElasticShear(mean[()], mouth[()], tip[()], peak[()])
