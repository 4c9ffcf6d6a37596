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


def _factor(key: str, label: str, dimension: str = "ratio") -> Quantity:
    return Quantity(key, label, dimension, "all", kind="not known", above_zero=True)


def _fact(key: str, label: str, dimension: str, low: float = 0.0) -> Quantity:
    return Quantity(key, label, dimension, "all", family="normal", low=low)


_ROWS = (
    # Own to each joint.
    _length("tube.bore", "tube bore", "joint"),
    _length("plug.diameter", "plug diameter", "joint"),
    _length("plug.overlap", "overlap", "joint"),
    _share("plug.glued_share", "glued share of the overlap", "joint"),
    _share("plug.off_centre", "plug off centre, share of the gap", "joint", high=0.95),
    _strength("adhesive.shear_strength", "adhesive shear strength, joint to joint", "joint"),
    _positive("adhesive.toughness", "adhesive toughness in shear", "toughness", "joint"),
    _positive("adhesive.failure_strain", "adhesive shear strain at failure", "ratio", "joint"),
    _positive("preparation.plug", "preparation of the plug, strength ratio", "ratio", "joint"),
    _positive("preparation.tube", "preparation of the tube, strength ratio", "ratio", "joint"),
    _share("weak_bonds.keeps", "share of strength a weak bond keeps", "joint"),
    _length("thread.engagement", "engaged length of thread", "joint"),
    _strength("plug.strength", "plug tensile strength", "joint"),
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
    Quantity("service.hottest", "hottest in service", "temperature", "all", "normal", -273.15),
    Quantity("service.coldest", "coldest in service", "temperature", "all", "normal", -273.15),
    # Facts: one value each.
    _length("tube.outer_diameter", "tube outside diameter", "all"),
    _strength("tube.shear_modulus", "tube shear modulus through the wall", "all"),
    _fact("tube.expansion", "tube expansion along the axis", "expansion", -math.inf),
    _fact("plug.bore", "hole in the plug", "length"),
    _strength("plug.modulus", "plug modulus", "all"),
    _fact("plug.expansion", "plug expansion", "expansion", -math.inf),
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
    {"annual_maximum": "gumbel", "event": "lognormal", "sustained": "normal"}
)
"""Family of the size of each kind of load, where none is named."""
