"""A metal sleeve bonded over the end of a tube: the overlap of `tubular`, roles swapped."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.errors import InputError
from jointrisk.mechanics import tubular
from jointrisk.mechanics.arguments import less, real

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["pull_off"]


def pull_off(
    *,
    sleeve_outer_radius: npt.ArrayLike,
    tube_outer_radius: npt.ArrayLike,
    gap: npt.ArrayLike,
    overlap: npt.ArrayLike,
    sleeve_modulus: npt.ArrayLike,
    tube_modulus: npt.ArrayLike,
    adhesive_shear_modulus: npt.ArrayLike,
    adhesive_shear_strength: npt.ArrayLike,
    tube_bore_radius: npt.ArrayLike = 0.0,
    failure_shear_strain: npt.ArrayLike | None = None,
    mode_ii_toughness: npt.ArrayLike | None = None,
    misfit_strain: npt.ArrayLike = 0.0,
    offset: npt.ArrayLike = 0.0,
) -> tubular.PullOut:
    """Return the force that pulls a bonded sleeve off its tube.

    Parameters
    ----------
    sleeve_outer_radius, tube_outer_radius : array_like, (n,) [mm]
        Outside of the sleeve and of the tube that is glued into it.
    gap : array_like, (n,) [mm]
        Radial gap t, per side; the sleeve's bore radius is the tube's outside and the gap.
    overlap : array_like, (n,) [mm]
        Glued length L.
    sleeve_modulus, tube_modulus : array_like, (n,) [MPa]
        Axial Young's moduli.
    adhesive_shear_modulus, adhesive_shear_strength : array_like, (n,) [MPa]
        As in `tubular.pull_out`.
    tube_bore_radius : array_like, (n,) [mm]
        0 for a solid rod.
    failure_shear_strain : array_like, (n,) [-]
        Exactly one of this and the next is given.
    mode_ii_toughness : array_like, (n,) [N/mm]
        As in `tubular.pull_out`.
    misfit_strain : array_like, (n,) [-]
        e_m = (alpha_sleeve - alpha_tube) (temperature - stress-free temperature).
    offset : array_like, (n,) [mm]
        How far the tube sits off centre.

    Returns
    -------
    tubular.PullOut

    Raises
    ------
    InputError
        As `tubular.pull_out`, in the names used here.

    Notes
    -----
    The sleeve takes the place of the tube and the tube that of the plug: the inner member carries
    everything at the sleeve's mouth, the outer one at the end of the tube. Equations, sources and
    validity are those of `tubular.pull_out`.
    """
    outer = real("sleeve_outer_radius", sleeve_outer_radius, above=0)
    inner = real("tube_outer_radius", tube_outer_radius, above=0)
    bore = real("tube_bore_radius", tube_bore_radius, at_least=0)
    thickness = real("gap", gap, above=0)
    less("tube_bore_radius", bore, "tube_outer_radius", inner)
    try:
        bore_of_sleeve = inner + thickness
    except ValueError:
        raise InputError(
            f"tube_outer_radius {inner.shape} and gap {thickness.shape} do not fit together"
        ) from None
    less("tube_outer_radius + gap", bore_of_sleeve, "sleeve_outer_radius", outer)
    return tubular.pull_out(
        tube_outer_radius=outer,
        plug_radius=inner,
        plug_bore_radius=bore,
        gap=thickness,
        overlap=overlap,
        tube_modulus=real("sleeve_modulus", sleeve_modulus, above=0),
        plug_modulus=real("tube_modulus", tube_modulus, above=0),
        adhesive_shear_modulus=adhesive_shear_modulus,
        adhesive_shear_strength=adhesive_shear_strength,
        failure_shear_strain=failure_shear_strain,
        mode_ii_toughness=mode_ii_toughness,
        misfit_strain=misfit_strain,
        offset=offset,
    )
