"""Force at which each bonded joint lets go, and which limit let it.

Limits that compete in one overlap (lowest force governs):

* cohesion: the adhesive's own shear strength and toughness;
* adhesion to the insert or to the tube: the strength is the share `s` of the adhesive's
  that the surface reaches, the toughness its share ``s**m`` (m is an assumption, about 2).
  With m = 2 the whole traction law scales with s. Since s < 1 lowers strength and toughness
  together, adhesion governs where s < 1 and cohesion elsewhere: one solution per state;
* the tube wall: interlaminar shear of a composite tube's inner ply, by its own strength
  and toughness, solved where it can be lower: a law with strength r times and toughness at
  most r times another's (r <= 1) never holds more, whatever the misfit and the offset.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics import environment, limits, tubular
from jointrisk.model.layout import at_ends

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jointrisk.model.layout import Floats, Ints, Layout
    from jointrisk.scenario.types import Scenario

    Bools = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]

WALL = "tube wall shears between plies at the bond"
BOND_MODES = (
    "bond lets go inside the adhesive (cohesion)",
    "bond lets go at the insert (adhesion)",
    "bond lets go at the tube (adhesion)",
    WALL,
)
OWN_EVIDENCE = ("own coupons", "own pulls")
SMALLEST_GAP = 1e-3
LARGEST_GAP_SHARE = 0.95
TINY_STRENGTH = 1e-9


@dataclass(frozen=True, slots=True)
class BondLaw:
    """What does not change with temperature or direction, one entry per joint and draw."""

    gap: Floats
    """Radial gap [mm], (joints, n)."""
    overlap: Floats
    """Wetted overlap [mm], (joints, n)."""
    strength: Floats
    """Adhesive shear strength at workshop temperature [MPa], (joints, n)."""
    toughness: Floats
    """Adhesive mode II toughness [N/mm], (joints, n)."""
    share: Floats
    """Share s of the strength that the weaker surface reaches, at most 1 [-], (joints, n)."""
    surface_mode: Ints
    """Index into `BOND_MODES` of cohesion or the weaker surface, (joints, n)."""
    assembles: Bools
    """False where the drawn insert does not enter the drawn tube, (joints, n)."""


@dataclass(frozen=True, slots=True)
class BondForce:
    """Pull-out (or push-in) force in one state."""

    force: Floats
    """[N], (joints, n), model factor included."""
    mode: Ints
    """Index into `BOND_MODES`, (joints, n)."""
    bounded: Bools
    """True where a lower value stands in for a missing closed form, (joints, n)."""
    toughness_governs: Bools
    """True where more overlap no longer helps much, (joints, n)."""


def bond_law(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], weak: Bools
) -> BondLaw:
    """Combine the drawn variables into one traction law per joint.

    Parameters
    ----------
    scenario : Scenario
    layout : Layout
    values : mapping of str to ndarray, (1, n), (rods, n) or (joints, n)
        Drawn values in the units of the house, as `placed` gives them.
    weak : ndarray of bool, (joints, n)
        Which joints are weak.
    """
    clearance = (values["tube.bore"] - values["plug.diameter"]) / 2.0
    wall_left = values["tube.outer_diameter"] / 2.0 - plug_radius(scenario, layout)
    gap = np.clip(clearance, SMALLEST_GAP, LARGEST_GAP_SHARE * wall_left)
    gap_factor = environment.gap_factor(scenario.gap_factor_points, gap)
    strength = (
        values["adhesive.shear_strength"]
        * values["adhesive.shear_strength_range"]
        * values["batch.bond_factor"]
        * gap_factor ** values["model.gap_factor_exponent"]
    )
    share, surface_mode = _surface_share(scenario, values, weak)
    if scenario.evidence in OWN_EVIDENCE:
        strength = strength * values["evidence.factor"]
    shape = np.broadcast_shapes(strength.shape, share.shape)
    strength = np.maximum(np.broadcast_to(strength, shape), TINY_STRENGTH)
    overlap = np.maximum(values["plug.overlap"] * values["plug.glued_share"], SMALLEST_GAP)
    return BondLaw(
        gap=np.broadcast_to(gap, shape),
        overlap=np.broadcast_to(overlap, shape),
        strength=strength,
        toughness=np.broadcast_to(_toughness(scenario, layout, values, gap, strength), shape),
        share=share,
        surface_mode=surface_mode,
        assembles=np.broadcast_to(clearance > 0.0, shape),
    )


def _surface_share(
    scenario: Scenario, values: Mapping[str, Floats], weak: Bools
) -> tuple[Floats, Ints]:
    plug, tube = values["preparation.plug"], values["preparation.tube"]
    kept = np.where(weak, values["weak_bonds.keeps"], 1.0)
    share = np.minimum(plug, tube) * kept
    if scenario.evidence not in OWN_EVIDENCE:
        share = share * values["evidence.factor"]
    surface = np.where(np.broadcast_to(plug <= tube, share.shape), 1, 2)
    mode = np.where(share < 1.0, surface, 0)
    return np.clip(share, TINY_STRENGTH, 1.0), mode


def _toughness(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    gap: Floats,
    strength: Floats,
) -> Floats:
    """Return the mode II toughness [N/mm]; from the failure strain where that is given.

    The area under an elastic, perfectly plastic law of layer thickness t_a that fails at
    shear strain g: ``tau t_a (g - tau / 2G)``, or ``G g**2 t_a / 2`` where g is not above
    the yield strain. Source: area of the law, mechanics of the shear-lag layer.
    """
    if scenario.toughness_given:
        return values["adhesive.toughness"] * values["adhesive.toughness_range"]
    strain = values["adhesive.failure_strain"] * values["adhesive.toughness_range"]
    modulus = values["adhesive.shear_modulus"]
    radius = plug_radius(scenario, layout)
    middle = radius + gap / 2.0
    thickness = middle * np.log1p(gap / radius)
    yield_strain = strength / modulus
    plastic = strength * thickness * (strain - yield_strain / 2.0)
    return np.where(strain >= yield_strain, plastic, 0.5 * modulus * strain**2 * thickness)


def bond_force(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    law: BondLaw,
    *,
    temperature: Floats,
    push: bool,
    wall: bool,
) -> BondForce:
    """Return the force at which each joint lets go in one state.

    Parameters
    ----------
    scenario, layout, values, law
        As for and from `bond_law`.
    temperature : ndarray, (1, n) or (1, 1) [degC]
    push : bool
        A push is a pull with the misfit reversed.
    wall : bool
        Whether the limit of the tube wall is asked for.
    """
    factor = environment.temperature_factor(
        scenario.strength_by_temperature, temperature, scenario.hard_stop_temperature
    )
    live = np.broadcast_to(factor > 0.0, law.strength.shape)
    factor = np.maximum(factor, TINY_STRENGTH)
    strength = law.strength * law.share * factor
    toughness = limits.interface_toughness(
        law.toughness, law.share, values["model.toughness_exponent"]
    )
    common = _geometry(scenario, layout, values, law, temperature, push, factor)
    solved = tubular.pull_out(
        **common, adhesive_shear_strength=strength, mode_ii_toughness=toughness
    )
    force, mode = np.array(solved.force), law.surface_mode.copy()
    by_toughness = solved.governs == tubular.GOVERNS.index("toughness")
    bounded = solved.bounded & by_toughness  # a whole overlap that yields has forgotten its past
    if wall and scenario.tube_is_composite:
        own, tough = _wall_law(scenario, layout, values, temperature)
        # the bond is never the stronger where its strength and toughness are both this much lower
        below = (strength <= own) & (toughness * own <= tough * strength)
        asked = ~np.broadcast_to(below, force.shape)
        wall_force = np.full(force.shape, np.inf)
        if asked.any():
            wall_force[asked] = _solved_where(asked, common, own, tough)
        mode[wall_force < force] = BOND_MODES.index(WALL)
        np.minimum(force, wall_force, out=force)
    force = np.where(live, force, 0.0) * values["model.bond_factor"]
    return BondForce(force, mode, np.asarray(bounded), np.asarray(by_toughness))


def wall_force(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    law: BondLaw,
    *,
    temperature: Floats,
    push: bool,
) -> Floats:
    """Return the force at which the tube wall alone would let each joint go [N], (joints, n).

    Parameters
    ----------
    scenario, layout, values, law, temperature, push
        As for `bond_force`; the tube is a composite one.
    """
    factor = environment.temperature_factor(
        scenario.strength_by_temperature, temperature, scenario.hard_stop_temperature
    )
    factor = np.maximum(factor, TINY_STRENGTH)
    common = _geometry(scenario, layout, values, law, temperature, push, factor)
    everywhere = np.ones(law.strength.shape, dtype=bool)
    solved = _solved_where(everywhere, common, *_wall_law(scenario, layout, values, temperature))
    return np.asarray(solved.reshape(everywhere.shape) * values["model.bond_factor"])


def _wall_law(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], temperature: Floats
) -> tuple[Floats, Floats]:
    """Return shear strength [MPa] and toughness [N/mm] between the plies at a temperature."""
    factor = environment.piecewise_factor(scenario.wall_strength_by_temperature, temperature)
    rod = layout.rod_of_joint
    strength = per_joint(values["tube.interlaminar_strength"], rod)
    toughness = per_joint(values["tube.interlaminar_toughness"], rod)
    return strength * np.maximum(factor, TINY_STRENGTH), toughness


def _solved_where(
    asked: Bools, common: Mapping[str, Floats], strength: Floats, toughness: Floats
) -> Floats:
    """Return the pull-out force of the joints asked for [N], (m,)."""

    def pick(array: Floats) -> Floats:
        return np.broadcast_to(array, asked.shape)[asked]

    solved = tubular.pull_out(
        **{key: pick(np.asarray(value)) for key, value in common.items()},
        adhesive_shear_strength=pick(strength),
        mode_ii_toughness=pick(toughness),
    )
    return np.asarray(solved.force)


def _geometry(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    law: BondLaw,
    temperature: Floats,
    push: bool,
    softening: Floats,
) -> dict[str, Floats]:
    """Return sizes and stiffnesses of the joints in one state, as `tubular.pull_out` names them."""
    misfit = environment.misfit_strain(
        values["tube.expansion"],
        values["plug.expansion"],
        temperature,
        values["adhesive.cure_temperature"],
    )
    return {
        "tube_outer_radius": values["tube.outer_diameter"] / 2.0,
        "plug_radius": plug_radius(scenario, layout),
        "plug_bore_radius": values["plug.bore"] / 2.0,
        "gap": law.gap,
        "overlap": law.overlap,
        "tube_modulus": per_joint(values["tube.modulus"], layout.rod_of_joint),
        "plug_modulus": values["plug.modulus"],
        "adhesive_shear_modulus": values["adhesive.shear_modulus"] * softening,
        "misfit_strain": -misfit if push else misfit,
        "offset": values["plug.off_centre"] * law.gap,
    }


def plug_radius(scenario: Scenario, layout: Layout) -> Floats:
    """Return the nominal radius of the plugs [mm], (1, 1) or (joints, 1) where the ends differ."""
    ends = scenario.at_ends("plug.diameter")
    return at_ends([end.spread.mean / 2.0 for end in ends], layout.rods)


def per_joint(array: Floats, owner: Ints) -> Floats:
    """Spread values of rods, (copies, n), over the joints they own."""
    return array if array.shape[0] == 1 else array[owner]
