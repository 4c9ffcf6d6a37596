"""What a mechanical back-up holds at each end once the bond there let go."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.mechanics.backup import backup_capacity
from jointrisk.model.bond import per_joint
from jointrisk.model.ends import metal_radii, tube_radii
from jointrisk.model.members import hole_width

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jointrisk.model.layout import Floats, Layout
    from jointrisk.scenario.types import Scenario

CUT_OPEN = 1.0 + 1e-9
"""A drawn hole nearer to an end than half its width holds nothing: distance over that half [-]."""
NO_END = 1e9
"""Distance to an end towards which the pin does not push [mm]."""


def backup_force(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], n: int, *, push: bool
) -> Floats | None:
    """Return what the back-up of each joint holds without its bond [N], (joints, n).

    None without a back-up, and for a push that a shoulder takes.

    Parameters
    ----------
    scenario : Scenario
    layout : Layout
    values : mapping of str to ndarray, (1, n), (rods, n) or (joints, n)
        Drawn values in the units of the house, as `placed` gives them.
    n : int
        Number of draws [-].
    push : bool
        In a pull the pin pushes towards the tube's end and the end of the insert inside the tube,
        or of the sleeve on it; in a push towards no end that is near.
    """
    facts = scenario.backup
    if facts is None or (push and scenario.shoulder):
        return None
    hole = hole_width(scenario, layout, values)
    mouth = values["backup.end_distance"]
    inner_end = values.get("backup.insert_end_distance")
    if inner_end is None:
        inner_end = values[f"{scenario.end}.overlap"] - mouth
    common: dict[str, Any] = {
        "pin_diameter": values["backup.diameter"],
        "pin_shear_strength": values["backup.shear_strength"],
        "hole": hole,
        "planes": facts.planes,
        "sides": facts.sides,
    }
    outer, inner = tube_radii(scenario)
    metal, hollow = metal_radii(scenario, layout)
    strength = values["tube.compression_strength" if push else "tube.tension_strength"]
    tube = backup_capacity(
        **common,
        outer=outer,
        inner=inner,
        end_distance=NO_END if push else _from_end(mouth, hole),
        bearing_strength=values["backup.tube_bearing_strength"],
        wall_shear_strength=values["backup.tube_shear_strength"],
        tensile_strength=per_joint(strength, layout.rod_of_joint),
        stress_concentration=values["backup.stress_concentration"],
    )
    insert = backup_capacity(
        **common,
        outer=metal,
        inner=hollow,
        end_distance=NO_END if push else _from_end(inner_end, hole),
        bearing_strength=values["backup.insert_bearing_strength"],
        wall_shear_strength=values["backup.insert_shear_strength"],
        tensile_strength=values[f"{scenario.end}.strength"],
    )
    return np.broadcast_to(np.minimum(tube.force, insert.force), (layout.joints, n))


def _from_end(distance: Floats, hole: Floats) -> Floats:
    """Return the distance of the hole's centre from an end [mm], at least half the hole."""
    return np.asarray(np.maximum(distance, CUT_OPEN * hole / 2.0))
