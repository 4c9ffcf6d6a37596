"""Bonded joints by kind: sizes in, the force of each way to fail out, in one form for all.

Every function takes the layer by its shear modulus, its shear strength and either its toughness or
its shear strain at failure. Ways to fail whose strength is not given are left out. Fillets, steps
and tapers at the mouth get no credit.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.errors import InputError
from jointrisk.mechanics import flat, lap, members, sleeve, tubular
from jointrisk.mechanics.arguments import compatible, real

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = [
    "TEARS",
    "YIELDS",
    "Capacities",
    "double_lap",
    "plug_in_tube",
    "single_lap",
    "sleeve_over_tube",
]

YIELDS = "bond yields over its whole overlap"
TEARS = "bond tears from an end"


class Capacities(Mapping[str, "npt.NDArray[np.float64]"]):
    """Force of each way to fail by its name, each (n,) [N]; infinite where it cannot come first.

    Parameters
    ----------
    forces : mapping
        Way to fail to force [N]; they broadcast together.

    Raises
    ------
    InputError
        Where there is none, or their shapes do not fit together.
    """

    __slots__ = ("_forces",)

    def __init__(self, forces: Mapping[str, npt.ArrayLike]) -> None:
        if not forces:
            raise InputError("no way to fail; got no forces")
        shape = compatible(**{name: np.asarray(force) for name, force in forces.items()})
        self._forces = {
            name: np.broadcast_to(np.asarray(force, dtype=np.float64), shape)[()]
            for name, force in forces.items()
        }

    def __getitem__(self, name: str) -> Array:
        return self._forces[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._forces)

    def __len__(self) -> int:
        return len(self._forces)

    def __repr__(self) -> str:
        return f"Capacities({self._forces!r})"

    @property
    def force(self) -> Array:
        """Force of the weakest way, (n,) [N]."""
        return np.asarray(np.min([*self.values()], axis=0))[()]

    @property
    def weakest(self) -> npt.NDArray[np.str_]:
        """Name of the weakest way, the first named where two are equal, (n,) [-]."""
        return np.asarray(np.array([*self])[np.argmin([*self.values()], axis=0)])[()]


def plug_in_tube(
    *,
    push: bool = False,
    shoulder_radius: npt.ArrayLike | None = None,
    tube_strength: npt.ArrayLike | None = None,
    plug_strength: npt.ArrayLike | None = None,
    **joint: npt.ArrayLike,
) -> Capacities:
    """Return what a plug glued into a tube holds.

    Parameters
    ----------
    push : bool [-]
        True: pushed together, misfit reversed and strengths in compression.
    shoulder_radius : array_like, (n,) [mm]
        Outer radius of a flange that bears on the tube end in a push; None without one.
    tube_strength, plug_strength : array_like, (n,) [MPa]
        Of the members, in tension or, for a push, in compression; None leaves them out.
    **joint : mapping
        As `tubular.pull_out`.

    Returns
    -------
    Capacities
        `YIELDS`, `TEARS`, "tube breaks" and "plug breaks"; with a shoulder in a push, which then
        carries the whole load, "tube end crushes under the shoulder" in place of the first two.

    Raises
    ------
    InputError
        As `tubular.pull_out` and `members.tube_net_tension`, or for a shoulder in a push without
        tube_strength.

    Notes
    -----
    Sources and validity are those of the functions named: Volkersen (1938), Hart-Smith (1973).
    """
    bond = tubular.pull_out(**_turned(joint, push))
    forces = _bond(bond.force, bond.governs == 0, bond.yield_force)
    outer, plug = np.asarray(joint["tube_outer_radius"]), np.asarray(joint["plug_radius"])
    bore = plug + np.asarray(joint["gap"])
    if push and shoulder_radius is not None:
        if tube_strength is None:
            raise InputError("tube_strength is needed where a shoulder bears; got none")
        crushing = members.tube_end_bearing(outer, bore, tube_strength, shoulder_radius)
        forces = {"tube end crushes under the shoulder": crushing}
    if tube_strength is not None:
        forces["tube breaks"] = members.tube_net_tension(outer, bore, tube_strength)
    if plug_strength is not None:
        hole = joint.get("plug_bore_radius", 0.0)
        forces["plug breaks"] = members.tube_net_tension(plug, hole, plug_strength)
    return Capacities(forces)


def sleeve_over_tube(
    *,
    push: bool = False,
    tube_strength: npt.ArrayLike | None = None,
    sleeve_strength: npt.ArrayLike | None = None,
    **joint: npt.ArrayLike,
) -> Capacities:
    """Return what a sleeve glued over a tube holds.

    Parameters
    ----------
    push : bool [-]
        True: pushed together, misfit reversed and strengths in compression.
    tube_strength, sleeve_strength : array_like, (n,) [MPa]
        Of the members, in tension or, for a push, in compression; None leaves them out.
    **joint : mapping
        As `sleeve.pull_off`.

    Returns
    -------
    Capacities
        `YIELDS`, `TEARS`, "tube breaks" and "sleeve breaks".

    Raises
    ------
    InputError
        As `sleeve.pull_off` and `members.tube_net_tension`.

    Notes
    -----
    Sources and validity are those of the functions named: Volkersen (1938), Hart-Smith (1973).
    """
    bond = sleeve.pull_off(**_turned(joint, push))
    forces = _bond(bond.force, bond.governs == 0, bond.yield_force)
    tube, outer = np.asarray(joint["tube_outer_radius"]), joint["sleeve_outer_radius"]
    if tube_strength is not None:
        hole = joint.get("tube_bore_radius", 0.0)
        forces["tube breaks"] = members.tube_net_tension(tube, hole, tube_strength)
    if sleeve_strength is not None:
        inner = tube + np.asarray(joint["gap"])
        forces["sleeve breaks"] = members.tube_net_tension(outer, inner, sleeve_strength)
    return Capacities(forces)


def single_lap(
    *,
    thickness: npt.ArrayLike,
    modulus: npt.ArrayLike,
    yield_strength: npt.ArrayLike | None = None,
    poisson_ratio: npt.ArrayLike = 0.3,
    **layer: npt.ArrayLike,
) -> Capacities:
    """Return what a single lap of two like strips holds in a pull.

    Parameters
    ----------
    thickness : array_like, (n,) [mm]
        Of one strip.
    modulus : array_like, (n,) [MPa]
        Young's modulus of the strips.
    yield_strength : array_like, (n,) [MPa]
        Of the strips, in tension; None leaves them out.
    poisson_ratio : array_like, (n,) [-]
        Of the strips.
    **layer : mapping
        As `flat.pull_apart`, without the strips.

    Returns
    -------
    Capacities
        `YIELDS`, `TEARS`, and "strips yield", by stretch and bending together.

    Raises
    ------
    InputError
        As `flat.pull_apart` and `lap.first_strip_yield`.

    Notes
    -----
    Volkersen (1938) and Hart-Smith (1973) for the layer; Goland & Reissner (1944) and Adams,
    Comyn & Wake (1997) for the strips; all from memory. Peel is not in the first two: a brittle
    layer holds less.
    """
    bond = flat.pull_apart(
        thickness_1=thickness,
        thickness_2=thickness,
        modulus_1=modulus,
        modulus_2=modulus,
        **layer,
    )
    forces = _bond(bond.force, bond.yielded, bond.yield_force)
    if yield_strength is not None:
        area = np.asarray(layer["width"]) * np.asarray(layer["overlap"])
        shear = lap.first_strip_yield(
            layer["overlap"], thickness, modulus, poisson_ratio, yield_strength
        )
        forces["strips yield"] = shear * area
    return Capacities(forces)


def double_lap(
    *,
    inner_thickness: npt.ArrayLike,
    outer_thickness: npt.ArrayLike,
    inner_modulus: npt.ArrayLike,
    outer_modulus: npt.ArrayLike,
    inner_yield: npt.ArrayLike | None = None,
    outer_yield: npt.ArrayLike | None = None,
    **layer: npt.ArrayLike,
) -> Capacities:
    """Return what a strip glued between two like outer strips holds in a pull.

    Parameters
    ----------
    inner_thickness, outer_thickness : array_like, (n,) [mm]
        Of the strip in the middle and of each outer one.
    inner_modulus, outer_modulus : array_like, (n,) [MPa]
        Young's moduli.
    inner_yield, outer_yield : array_like, (n,) [MPa]
        Yield strengths in tension; None leaves that strip out.
    **layer : mapping
        As `flat.pull_apart`, without the strips; width and overlap of one glued face.

    Returns
    -------
    Capacities
        `YIELDS`, `TEARS`, "inner strip yields" and "outer strips yield", for the whole joint.

    Raises
    ------
    InputError
        As `flat.pull_apart`, or for a yield strength that is not positive.

    Notes
    -----
    By symmetry two faces, each with half of the inner strip: Volkersen (1938) and Hart-Smith
    (1973), from memory. Strips by equilibrium; the outer ones bend a little, which is left out.
    """
    h, H = real("inner_thickness", inner_thickness), real("outer_thickness", outer_thickness)
    bond = flat.pull_apart(
        thickness_1=h / 2,
        thickness_2=H,
        modulus_1=inner_modulus,
        modulus_2=outer_modulus,
        **layer,
    )
    forces = _bond(2 * bond.force, bond.yielded, 2 * bond.yield_force)
    width = np.asarray(layer["width"])
    if inner_yield is not None:
        forces["inner strip yields"] = real("inner_yield", inner_yield, above=0) * h * width
    if outer_yield is not None:
        forces["outer strips yield"] = real("outer_yield", outer_yield, above=0) * 2 * H * width
    return Capacities(forces)


def _bond(force: Array, yielded: npt.NDArray[np.bool_], yield_force: Array) -> dict[str, Array]:
    """Return the two ways of the layer; tearing is infinite where all yields before."""
    return {YIELDS: yield_force, TEARS: np.where(yielded, np.inf, force)}


def _turned(joint: Mapping[str, npt.ArrayLike], push: bool) -> dict[str, npt.ArrayLike]:
    """Return the arguments of a pull that stand for a push where that is asked."""
    sign = -1.0 if push else 1.0
    return {**joint, "misfit_strain": sign * np.asarray(joint.get("misfit_strain", 0.0))}
