"""Force at which each bonded joint lets go, and which limit let it.

Limits that compete in one overlap (lowest force governs):

* cohesion: the adhesive's own shear strength and toughness;
* adhesion to the metal end or to the tube: the strength is the share `s` of the adhesive's
  that the surface reaches, the toughness its share ``s**m`` (m is an assumption, about 2).
  With m = 2 the whole traction law scales with s. Since s < 1 lowers strength and toughness
  together, adhesion governs where s < 1 and cohesion elsewhere: one solution per state;
* the tube wall: interlaminar shear of a composite tube's glued ply, by its own strength
  and toughness, solved where it can be lower: a law with strength r times and toughness at
  most r times another's (r <= 1) never holds more, whatever the misfit and the offset.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics import environment, limits
from jointrisk.mechanics.layer import (
    firm,
    forces_below,
    pull_out_of,
    pull_outs_of,
    softened,
)
from jointrisk.mechanics.overlap import Overlap, overlap_of
from jointrisk.mechanics.tubular import GOVERNS
from jointrisk.model.ends import inner_hole, inner_radius, outer_radius

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from jointrisk.mechanics.layer import Firm, Layer, PullOut
    from jointrisk.model.layout import Floats, Ints, Layout
    from jointrisk.scenario.types import Scenario

    Bools = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
    Codes = np.ndarray[tuple[int, ...], np.dtype[np.int8]]

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


@dataclass(frozen=True)
class BondLaw:
    """What does not change with temperature or direction, one entry per joint and draw."""

    sizes: Mapping[str, Floats]
    """Sizes and moduli as `mechanics.overlap.overlap_of` names them, up to (joints, n)."""
    joint: Overlap
    """What the shear-lag equations make of them."""
    strength: Floats
    """Adhesive shear strength at workshop temperature [MPa], (joints, n)."""
    toughness: Floats
    """Adhesive mode II toughness [N/mm], (joints, n)."""
    surface: Floats
    """Strength of the weaker surface over the adhesive's [-], (joints, n); may be above 1."""
    at_metal: Bools
    """True where the metal's surface is the weaker one, (joints, n)."""
    assembles: Bools
    """False where the drawn parts do not go together, (joints, n)."""
    toughness_exponent: Floats
    """How the toughness of a surface follows its strength [-], (1, n)."""
    modulus: Floats
    """Adhesive shear modulus at workshop temperature [MPa], (1, n)."""
    off_centre: Floats
    """How far the inner part sits off centre, over the gap [-], up to (joints, n)."""

    @cached_property
    def firm(self) -> Firm:
        """The joints limited by adhesive or surface, cool, as `mechanics.layer` takes them."""
        strength = self.strength * self.share
        toughness = self.surface_toughness
        return firm(self.joint, self.modulus, strength, toughness, self.off_centre)

    @cached_property
    def surface_toughness(self) -> Floats:
        """Mode II toughness of the weaker surface or the adhesive [N/mm], (joints, n)."""
        return limits.interface_toughness(self.toughness, self.share, self.toughness_exponent)

    @cached_property
    def share(self) -> Floats:
        """Share s of the adhesive's strength that the joint reaches, at most 1 [-], (joints, n)."""
        return np.asarray(np.clip(self.surface, TINY_STRENGTH, 1.0))

    @cached_property
    def surface_mode(self) -> Codes:
        """Index into `BOND_MODES` of cohesion or the weaker surface, (joints, n)."""
        return (self.surface < 1.0) * (np.int8(2) - self.at_metal)


@dataclass(frozen=True, slots=True)
class Day:
    """Bonds under one law at one temperature."""

    law: BondLaw
    temperature: Floats
    """(1, n) or (1, 1) [degC]."""
    ways: tuple[bool, ...]
    """Directions that are asked for, True for a push."""


@dataclass(frozen=True, slots=True)
class BondForce:
    """Pull-out (or push-in) force in one state."""

    force: Floats
    """[N], (joints, n), model factor included."""
    mode: Codes
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
    end, (wide, narrow) = scenario.end, scenario.fit
    clearance = (values[wide] - values[narrow]) / 2.0
    wall_left = outer_radius(scenario, layout) - inner_radius(scenario, layout)
    gap = np.clip(clearance, SMALLEST_GAP, LARGEST_GAP_SHARE * wall_left)
    gap_factor = environment.gap_factor(scenario.gap_factor_points, gap)
    strength = (
        values["adhesive.shear_strength"]
        * values["adhesive.shear_strength_range"]
        * values["batch.bond_factor"]
        * gap_factor ** values["model.gap_factor_exponent"]
    )
    surface, at_metal = _surface(scenario, values, weak)
    if scenario.evidence in OWN_EVIDENCE:
        strength = strength * values["evidence.factor"]
    shape = np.broadcast_shapes(strength.shape, surface.shape)
    strength = np.maximum(np.broadcast_to(strength, shape), TINY_STRENGTH)
    overlap = np.maximum(values[f"{end}.overlap"] * values[f"{end}.glued_share"], SMALLEST_GAP)
    sizes = _sizes(scenario, layout, values, gap, np.broadcast_to(overlap, shape))
    return BondLaw(
        sizes=sizes,
        joint=overlap_of(**sizes),
        strength=strength,
        toughness=np.broadcast_to(_toughness(scenario, layout, values, gap, strength), shape),
        surface=surface,
        at_metal=np.broadcast_to(at_metal, shape),
        toughness_exponent=values["model.toughness_exponent"],
        modulus=values["adhesive.shear_modulus"],
        off_centre=values[f"{end}.off_centre"],
        assembles=np.broadcast_to(clearance > 0.0, shape),
    )


def _surface(scenario: Scenario, values: Mapping[str, Floats], weak: Bools) -> tuple[Floats, Bools]:
    """Return the weaker surface's strength over the adhesive's [-], and where it is the metal's."""
    metal, tube = values[f"preparation.{scenario.end}"], values["preparation.tube"]
    kept = np.where(weak, values["weak_bonds.keeps"], 1.0)
    share = np.minimum(metal, tube) * kept
    if scenario.evidence not in OWN_EVIDENCE:
        share = share * values["evidence.factor"]
    return np.asarray(share), np.asarray(metal <= tube)


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
    radius = inner_radius(scenario, layout)
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
    """Return the force at which each joint lets go in one state, as `bond_forces` does for many."""
    days = [Day(law, temperature, (push,))]
    return bond_forces(scenario, layout, values, days, wall=wall)[0][0]


def bond_forces(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    days: Sequence[Day],
    *,
    wall: bool,
) -> list[list[BondForce]]:
    """Return the forces at which each joint lets go in several states, solved together.

    Parameters
    ----------
    scenario, layout, values
        As for `bond_law`.
    days : sequence of Day
        Their laws may differ in strength and toughness, not in the joints' sizes.
    wall : bool
        Whether the limit of the tube wall is asked for.

    Returns
    -------
    list of list of BondForce
        For each day one for each of its directions.
    """
    factors = [_softening(scenario, day.temperature) for day in days]
    own, behind = _layers(scenario, layout, values, days, factors, wall=wall)
    solved = pull_outs_of(own)
    lower: Sequence[tuple[Ints, Floats] | None] = [None] * len(own)
    if behind:
        lower = forces_below(behind, [each.force for each in solved])
    found, place = [], 0
    for day, soft in zip(days, factors, strict=True):
        states = zip(solved[place:], lower[place:], day.ways, strict=False)
        factor = values["model.bond_factor"]
        found.append(
            [_bond_force(day.law, soft > 0.0, held, below, factor) for held, below, _ in states]
        )
        place += len(day.ways)
    return found


def _layers(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    days: Sequence[Day],
    factors: Sequence[Floats],
    *,
    wall: bool,
) -> tuple[list[Layer], list[Layer]]:
    """Return the joints of all days and ways as the bond and as the wall limits them.

    The second list is empty where no wall is asked for.
    """
    ply = None
    if wall and scenario.tube_is_composite and days:
        ply = _ply(layout, values, days[0].law)
    own: list[Layer] = []
    behind: list[Layer] = []
    for day, factor in zip(days, factors, strict=True):
        soft = np.maximum(factor, TINY_STRENGTH)
        misfit = misfit_strain(scenario, values, day.temperature)
        own += _directed(softened(day.law.firm, soft, soft, misfit), day.ways)
        if ply is not None:
            kept = _ply_factor(scenario, day.temperature)
            behind += _directed(softened(ply, soft, kept, misfit), day.ways)
    return own, behind


def _bond_force(
    law: BondLaw, live: Bools, solved: PullOut, lower: tuple[Ints, Floats] | None, factor: Floats
) -> BondForce:
    """Return the lower one of the adhesive's and the wall's limit, where there is any adhesive."""
    force, mode = solved.force, law.surface_mode
    by_toughness = solved.governs == GOVERNS.index("toughness")
    bounded = solved.bounded & by_toughness  # a whole overlap that yields has forgotten its past
    if lower is not None:
        where, flat = lower[0], force.ravel()
        by_wall = np.flatnonzero(lower[1] < flat.take(where))
        if by_wall.size:
            mode = mode.copy()
            mode.ravel()[where.take(by_wall)] = BOND_MODES.index(WALL)
            flat[where.take(by_wall)] = lower[1].take(by_wall)
    if not live.all():
        force = np.where(live, force, 0.0)
    return BondForce(force * factor, mode, np.asarray(bounded), np.asarray(by_toughness))


def _directed(layer: Layer, ways: tuple[bool, ...]) -> list[Layer]:
    """Return the joints pulled, or pushed: a push is a pull with the misfit reversed."""
    return [layer._replace(misfit=-layer.misfit) if push else layer for push in ways]


def _softening(scenario: Scenario, temperature: Floats) -> Floats:
    """Return what heat leaves of the adhesive's strength and modulus, 0 where nothing [-]."""
    return np.asarray(
        environment.temperature_factor(
            scenario.strength_by_temperature, temperature, scenario.hard_stop_temperature
        )
    )


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
    soft = np.maximum(_softening(scenario, temperature), TINY_STRENGTH)
    kept = _ply_factor(scenario, temperature)
    misfit = misfit_strain(scenario, values, temperature)
    layer = softened(_ply(layout, values, law), soft, kept, misfit)
    solved = pull_out_of(*_directed(layer, (push,)))
    return np.asarray(solved.force * values["model.bond_factor"])


def _ply(layout: Layout, values: Mapping[str, Floats], law: BondLaw) -> Firm:
    """Return the joints as the glued ply of the tube wall limits them, cool."""
    rod = layout.rod_of_joint
    strength = per_joint(values["tube.interlaminar_strength"], rod)
    toughness = per_joint(values["tube.interlaminar_toughness"], rod)
    strength = np.broadcast_to(strength, law.strength.shape)
    return firm(law.joint, law.modulus, strength, toughness, law.off_centre)


def _ply_factor(scenario: Scenario, temperature: Floats) -> Floats:
    """Return what heat leaves of the strength between the plies, above 0 [-]."""
    factor = environment.piecewise_factor(scenario.wall_strength_by_temperature, temperature)
    return np.maximum(factor, TINY_STRENGTH)


def _sizes(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], gap: Floats, overlap: Floats
) -> dict[str, Floats]:
    """Return sizes and moduli of the joints; of a sleeve's, the sleeve is the outer part."""
    modulus = {
        "tube": per_joint(values["tube.modulus"], layout.rod_of_joint),
        scenario.end: values[f"{scenario.end}.modulus"],
    }
    outer, inner = scenario.glued
    return {
        "tube_outer_radius": outer_radius(scenario, layout),
        "plug_radius": inner_radius(scenario, layout),
        "plug_bore_radius": inner_hole(scenario, layout),
        "gap": gap,
        "overlap": overlap,
        "tube_modulus": modulus[outer],
        "plug_modulus": modulus[inner],
    }


def misfit_strain(scenario: Scenario, values: Mapping[str, Floats], temperature: Floats) -> Floats:
    """Return how much more the outer part has grown than the inner one since the cure [-]."""
    outer, inner = scenario.glued
    return environment.misfit_strain(
        values[f"{outer}.expansion"],
        values[f"{inner}.expansion"],
        temperature,
        values["adhesive.cure_temperature"],
    )


def per_joint(array: Floats, owner: Ints) -> Floats:
    """Spread values of rods, (copies, n), over the joints they own."""
    return array if array.shape[0] == 1 else array[owner]
