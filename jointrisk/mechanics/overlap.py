"""Geometry and compliance of a plug bonded into a tube (or a sleeve over one).

z = 0 at the tube mouth, where the plug carries the whole force; z = L at the plug tip, where
the tube carries it. r_b plug bore, r_p plug, t gap, r_i = r_p + t, r_m = r_p + t/2, R tube.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics.arguments import compatible, less, real

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = ["Overlap", "overlap_of", "plug_shear_compliance", "tube_shear_compliance"]

_NEVER_QUITE_RIGID = 1e-12  # keeps the softer member's share below 1 in floating point


@dataclass(frozen=True)
class Overlap:
    """What the shear-lag equations need to know of a joint; every field broadcasts to (n,)."""

    length: Array
    """Glued overlap L [mm]."""
    width: Array
    """Glued circumference P = 2 pi r_m [mm]."""
    plug_stiffness: Array
    """S_p = E_p pi (r_p^2 - r_b^2) [N]."""
    tube_stiffness: Array
    """S_t = E_t pi (R^2 - r_i^2) [N]."""
    layer: Array
    """r_m ln(r_i/r_p), the gap as the shear flow sees it [mm]."""

    @cached_property
    def softness(self) -> Array:
        """Compliance kappa = P (1/S_p + 1/S_t) [1/(MPa mm)]."""
        return self.width * (1 / self.plug_stiffness + 1 / self.tube_stiffness)

    @cached_property
    def plug_share(self) -> Array:
        """The plug's part of `softness`, between 0 and 1 [-]."""
        share = self.tube_stiffness / (self.plug_stiffness + self.tube_stiffness)
        return np.clip(share, _NEVER_QUITE_RIGID, 1 - _NEVER_QUITE_RIGID)


def overlap_of(
    tube_outer_radius: npt.ArrayLike,
    plug_radius: npt.ArrayLike,
    gap: npt.ArrayLike,
    overlap: npt.ArrayLike,
    tube_modulus: npt.ArrayLike,
    plug_modulus: npt.ArrayLike,
    plug_bore_radius: npt.ArrayLike,
) -> Overlap:
    """Return the derived geometry of a plug in a tube, after checking it.

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
    plug_bore_radius : array_like, (n,) [mm]
        r_b, 0 for a solid plug.

    Returns
    -------
    Overlap

    Raises
    ------
    InputError
        For sizes that are not positive, or do not fit into each other.
    """
    outer = real("tube_outer_radius", tube_outer_radius, above=0)
    plug = real("plug_radius", plug_radius, above=0)
    t = real("gap", gap, above=0)
    bore = real("plug_bore_radius", plug_bore_radius, at_least=0)
    length = real("overlap", overlap, above=0)
    tube_e = real("tube_modulus", tube_modulus, above=0)
    plug_e = real("plug_modulus", plug_modulus, above=0)
    compatible(
        tube_outer_radius=outer,
        plug_radius=plug,
        gap=t,
        overlap=length,
        tube_modulus=tube_e,
        plug_modulus=plug_e,
        plug_bore_radius=bore,
    )
    inner = plug + t
    less("plug_radius + gap", inner, "tube_outer_radius", outer)
    less("plug_bore_radius", bore, "plug_radius", plug)
    middle = plug + t / 2
    return Overlap(
        length=length,
        width=2 * np.pi * middle,
        plug_stiffness=plug_e * np.pi * (plug * plug - bore * bore),
        tube_stiffness=tube_e * np.pi * (outer * outer - inner * inner),
        layer=middle * np.log1p(t / plug),
    )


def tube_shear_compliance(
    tube_outer_radius: npt.ArrayLike,
    plug_radius: npt.ArrayLike,
    gap: npt.ArrayLike,
    tube_shear_modulus: npt.ArrayLike,
) -> Array:
    """Return the mean axial lag of the tube wall behind its bore, per bond shear stress.

    Parameters
    ----------
    tube_outer_radius, plug_radius, gap : array_like, (n,) [mm]
        R, r_p and t.
    tube_shear_modulus : array_like, (n,) [MPa]
        Through the wall (axial-radial), not in its plane.

    Returns
    -------
    ndarray, (n,) [mm/MPa]

    Raises
    ------
    InputError
        For a value that is not positive.

    Notes
    -----
    c_t = r_m K/(G (R^2 - r_i^2)), K = 2/(R^2 - r_i^2) [R^4 ln(R/r_i)/2 - R^2 (R^2 - r_i^2)/4
    - (R^2 - r_i^2)^2/8]: shear falling to 0 at the free outside. A thin wall h gives h/(3 G).
    After Tsai, Oplinger & Morton, Int. J. Solids Struct. 35 (1998) 1163, and Nairn (1997),
    both from memory. Valid for an overlap longer than the wall is thick.
    """
    outer = real("tube_outer_radius", tube_outer_radius, above=0)
    plug = real("plug_radius", plug_radius, above=0)
    t = real("gap", gap, above=0)
    modulus = real("tube_shear_modulus", tube_shear_modulus, above=0)
    compatible(tube_outer_radius=outer, plug_radius=plug, gap=t, tube_shear_modulus=modulus)
    inner = plug + t
    less("plug_radius + gap", inner, "tube_outer_radius", outer)
    ring = outer**2 - inner**2
    K = 2 / ring * (outer**4 * np.log(outer / inner) / 2 - outer**2 * ring / 4 - ring**2 / 8)
    return np.asarray((plug + t / 2) * K / (modulus * ring))


def plug_shear_compliance(
    plug_radius: npt.ArrayLike,
    gap: npt.ArrayLike,
    plug_shear_modulus: npt.ArrayLike,
    plug_bore_radius: npt.ArrayLike = 0.0,
) -> Array:
    """Return the mean axial lag of the plug behind its surface, per bond shear stress.

    Parameters
    ----------
    plug_radius, gap : array_like, (n,) [mm]
        r_p and t.
    plug_shear_modulus : array_like, (n,) [MPa]
        Shear modulus of the plug.
    plug_bore_radius : array_like, (n,) [mm]
        r_b, 0 for a solid plug.

    Returns
    -------
    ndarray, (n,) [mm/MPa]

    Raises
    ------
    InputError
        For a value that is not positive, or a bore as large as the plug.

    Notes
    -----
    c_p = 2 r_m/(G D^2) [D^2/8 - r_b^2 D/4 + (r_b^4/2) ln(r_p/r_b)], D = r_p^2 - r_b^2: the
    integral of the same shear-lag assumption, shear falling to 0 at the free bore. A solid
    plug gives r_m/(4 G), a thin one of wall h gives h/(3 G). Sources as `tube_shear_compliance`.
    """
    plug = real("plug_radius", plug_radius, above=0)
    t = real("gap", gap, above=0)
    modulus = real("plug_shear_modulus", plug_shear_modulus, above=0)
    bore = real("plug_bore_radius", plug_bore_radius, at_least=0)
    compatible(plug_radius=plug, gap=t, plug_shear_modulus=modulus, plug_bore_radius=bore)
    less("plug_bore_radius", bore, "plug_radius", plug)
    ring = plug**2 - bore**2
    # r_b^4 ln(r_p/r_b) goes to 0 with the bore; the floor only keeps 0 times infinity away.
    core = bore**4 / 2 * np.log(plug / np.maximum(bore, 1e-9 * plug))
    lag = ring**2 / 8 - bore**2 * ring / 4 + core
    return np.asarray(2 * (plug + t / 2) * lag / (modulus * ring**2))
