"""Which part goes round which at a bonded end, and the nominal sizes of both.

A plug is glued into the tube, a sleeve over it. The mechanics know an outer and an inner part, so
one set of formulas serves both kinds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.model.layout import at_ends

if TYPE_CHECKING:
    from jointrisk.model.layout import Floats, Layout
    from jointrisk.scenario.types import Scenario


def inner_radius(scenario: Scenario, layout: Layout) -> Floats:
    """Return the outside of the inner part [mm], (1, 1) or (joints, 1) where the ends differ."""
    return _radius(scenario, layout, scenario.fit[1])


def inner_hole(scenario: Scenario, layout: Layout) -> Floats:
    """Return the radius of the hole in the inner part [mm], (1, 1) or (joints, 1)."""
    return _radius(scenario, layout, f"{scenario.glued[1]}.bore")


def outer_radius(scenario: Scenario, layout: Layout) -> Floats:
    """Return the outside of the outer part [mm], (1, 1)."""
    return _radius(scenario, layout, f"{scenario.glued[0]}.outer_diameter")


def metal_radii(scenario: Scenario, layout: Layout) -> tuple[Floats, Floats]:
    """Return outside and inside of the metal end beside the tube [mm], (1, 1) or (joints, 1)."""
    if scenario.end == "plug":
        return inner_radius(scenario, layout), inner_hole(scenario, layout)
    return outer_radius(scenario, layout), _radius(scenario, layout, scenario.fit[0])


def tube_radii(scenario: Scenario) -> tuple[float, float]:
    """Return the outside and the inside of the tube [mm]."""
    outer, inner = (
        float(scenario.variables[f"tube.{name}"].spread.mean) / 2.0
        for name in ("outer_diameter", "bore")
    )
    return outer, inner


def _radius(scenario: Scenario, layout: Layout, key: str) -> Floats:
    return at_ends([end.spread.mean / 2.0 for end in scenario.at_ends(key)], layout.rods)
