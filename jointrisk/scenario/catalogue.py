"""Every quantity that the model reads: its name, unit, range, and who shares one draw of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from jointrisk.scenario.types import second_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jointrisk.scenario.types import Kind, Scope

__all__ = ["LOAD_FAMILY", "QUANTITIES", "Quantity"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """One row of the list."""

    key: str
    label: str
    dimension: str
    scope: Scope
    family: str = "lognormal"
    """Family of a spread that names none."""
    low: float = 0.0
    high: float = math.inf
    """Range that the quantity can have, in house units."""
    kind: Kind = "scatter"
    above_zero: bool = False
    """True where zero itself is refused."""


def _length(key: str, label: str, scope: Scope) -> Quantity:
    return Quantity(key, label, "length", scope, family="normal", above_zero=True)


def _strength(key: str, label: str, scope: Scope) -> Quantity:
    return Quantity(key, label, "stress", scope, above_zero=True)


def _share(key: str, label: str, scope: Scope, high: float = 1.0) -> Quantity:
    return Quantity(key, label, "ratio", scope, family="beta", high=high)


def _positive(key: str, label: str, dimension: str, scope: Scope) -> Quantity:
    return Quantity(key, label, dimension, scope, above_zero=True)


def _unknown(key: str, label: str, high: float = math.inf) -> Quantity:
    return Quantity(key, label, "ratio", "all", high=high, kind="not known")


def _doubt(key: str, label: str) -> Quantity:
    return Quantity(key, label, "ratio", "all", family="beta", high=1.0, kind="not known")


def _factor(key: str, label: str, dimension: str = "ratio") -> Quantity:
    return Quantity(key, label, dimension, "all", kind="not known", above_zero=True)


def _fact(key: str, label: str, dimension: str, low: float = 0.0) -> Quantity:
    return Quantity(key, label, dimension, "all", family="normal", low=low)


_ROWS = (
    # Own to each joint.
    _length("tube.bore", "tube bore", "joint"),
    _length("plug.diameter", "plug diameter", "joint"),
    _length("tube.outer_diameter", "tube outside diameter", "joint"),
    _length("sleeve.bore", "sleeve bore", "joint"),
    _length("plug.overlap", "overlap", "joint"),
    _share("plug.glued_share", "glued share of the overlap", "joint"),
    _share("plug.off_centre", "plug off centre, share of the gap", "joint", high=0.95),
    _length("sleeve.overlap", "overlap", "joint"),
    _share("sleeve.glued_share", "glued share of the overlap", "joint"),
    _share("sleeve.off_centre", "sleeve off centre, share of the gap", "joint", high=0.95),
    _strength("adhesive.shear_strength", "adhesive shear strength, joint to joint", "joint"),
    _positive("adhesive.toughness", "adhesive toughness in shear", "toughness", "joint"),
    _positive("adhesive.failure_strain", "adhesive shear strain at failure", "ratio", "joint"),
    _positive("preparation.plug", "preparation of the plug, strength ratio", "ratio", "joint"),
    _positive("preparation.sleeve", "preparation of the sleeve, strength ratio", "ratio", "joint"),
    _positive("preparation.tube", "preparation of the tube, strength ratio", "ratio", "joint"),
    _share("weak_bonds.keeps", "share of strength a weak bond keeps", "joint"),
    _share("weak_bonds.latent_keeps", "share a bond that damp undoes keeps", "joint"),
    _positive("ageing.steady_share", "share of strength a bond bears for long", "ratio", "joint"),
    _positive("ageing.damage_at_failure", "damage at which a bond breaks", "ratio", "joint"),
    _length("thread.engagement", "engaged length of thread", "joint"),
    _strength("plug.strength", "plug tensile strength", "joint"),
    _strength("sleeve.strength", "sleeve tensile strength", "joint"),
    _positive("rod_end.strength_ratio", "what a rod end holds over its rating", "ratio", "joint"),
    _strength("rod_end.shank_strength", "tensile strength of the rod end's shank", "joint"),
    _length("backup.hole", "hole of the back-up", "joint"),
    _strength("backup.shear_strength", "shear strength of the back-up's pin", "joint"),
    _length("backup.end_distance", "back-up's hole to the tube's mouth", "joint"),
    _length("backup.insert_end_distance", "back-up's hole to the insert's inner end", "joint"),
    _strength("backup.tube_bearing_strength", "bearing strength of the tube at a hole", "rod"),
    _strength("backup.tube_shear_strength", "shear strength of the tube to a hole's end", "rod"),
    _strength("backup.insert_bearing_strength", "bearing strength of the insert", "joint"),
    _strength("backup.insert_shear_strength", "shear strength of the insert", "joint"),
    # Own to each rod.
    _strength("tube.tension_strength", "tube tensile strength", "rod"),
    _strength("tube.compression_strength", "tube compressive strength", "rod"),
    _strength("tube.interlaminar_strength", "shear strength between the plies", "rod"),
    _positive("tube.interlaminar_toughness", "toughness between the plies", "toughness", "rod"),
    _strength("tube.modulus", "tube modulus", "rod"),
    Quantity("rods.bow", "bow of the rod, share of its length", "ratio", "rod", "normal", high=0.1),
    Quantity("rods.load_offset", "offset of the load from the axis", "length", "rod", "normal"),
    # Own to each batch.
    _positive("batch.bond_factor", "batch-to-batch factor on the bond", "ratio", "batch"),
    _share("weak_bonds.share_in_bad_batch", "share of weak bonds in a bad batch", "batch"),
    # Shared by all.
    _factor("adhesive.shear_strength_range", "adhesive strength, range of its class"),
    _factor("adhesive.toughness_range", "adhesive toughness, range of its class"),
    _factor("adhesive.shear_modulus", "adhesive shear modulus", "stress"),
    _factor("evidence.factor", "worth of the evidence for the bond strength"),
    _factor("model.bond_factor", "how well the model gives the bond's strength"),
    _factor("model.load_factor", "how well the model gives the load"),
    _unknown("model.gap_factor_exponent", "how much the gap weakens the bond"),
    _unknown("model.toughness_exponent", "how toughness follows the strength of a surface"),
    _unknown("weak_bonds.lone_weight", "chance that a joint is badly bonded", high=1.0),
    _unknown("weak_bonds.bad_batch_weight", "chance that a whole batch is bad", high=1.0),
    _unknown("weak_bonds.latent_weight", "chance that damp undoes a joint", high=1.0),
    _doubt("service.humidity", "relative humidity in service"),
    _doubt("ageing.wet_share", "share of strength left after long in wet air"),
    _factor("ageing.wetting_time", "time in which damp takes its share", "time"),
    _unknown("ageing.own_scatter", "how unlike joints age", high=2.0),
    _factor("ageing.fatigue_exponent", "slope of the fatigue line"),
    _factor("ageing.fatigue_height", "height of the fatigue line"),
    _unknown("proof.damage_from", "share of its strength from which a pull hurts a joint"),
    _unknown("proof.damage_most", "most that a pull takes of a joint that holds it", high=1.0),
    Quantity(
        "backup.stress_concentration",
        "peak over mean stress across the back-up's hole",
        "ratio",
        "all",
        low=1.0,
        kind="not known",
    ),
    Quantity("service.hottest", "hottest in service", "temperature", "all", "normal", -273.15),
    Quantity("service.coldest", "coldest in service", "temperature", "all", "normal", -273.15),
    # Facts: one value each.
    _strength("tube.shear_modulus", "tube shear modulus through the wall", "all"),
    _strength("tube.peel_strength", "tube strength through the wall", "all"),
    _fact("tube.expansion", "tube expansion along the axis", "expansion", -math.inf),
    _fact("plug.bore", "hole in the plug", "length"),
    _strength("plug.modulus", "plug modulus", "all"),
    _fact("plug.expansion", "plug expansion", "expansion", -math.inf),
    _length("sleeve.outer_diameter", "sleeve outside diameter", "all"),
    _strength("sleeve.modulus", "sleeve modulus", "all"),
    _fact("sleeve.expansion", "sleeve expansion", "expansion", -math.inf),
    _positive("rod_end.static_rating", "static rating of the rod end", "force", "all"),
    _length("backup.diameter", "pin of the back-up, across", "all"),
    _length("rods.length", "length of the rod, pin to pin", "all"),
    _fact("service.workshop_temperature", "temperature at the rig", "temperature", -273.15),
    _fact("adhesive.cure_temperature", "cure temperature", "temperature", -273.15),
)

_SECOND = tuple(
    replace(row, key=second_of(row.key), label=f"{row.label}, second end")
    for row in _ROWS
    if second_of(row.key)
)

QUANTITIES: Mapping[str, Quantity] = MappingProxyType({row.key: row for row in _ROWS + _SECOND})

LOAD_FAMILY: Mapping[str, str] = MappingProxyType(
    {"annual_maximum": "gumbel", "event": "lognormal", "sustained": "normal", "cycles": "lognormal"}
)
"""Family of the size of each kind of load, where none is named."""
