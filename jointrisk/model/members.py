"""What else of a rod can fail: tube, strut, thread, metal end, rod end, and other parts in line.

Members do not age and do not feel heat here. Each function gives forces by mode name, and a
mode that does not act in a direction is not named there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics import backup, members
from jointrisk.model.bond import BOND_MODES, per_joint
from jointrisk.model.draws import laid
from jointrisk.model.ends import inner_radius, metal_radii, tube_radii
from jointrisk.model.layout import at_ends

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jointrisk.model.layout import Floats, Layout
    from jointrisk.scenario.types import Part, Scenario, Thread

PULL_MEMBERS = ("tube breaks in tension", "thread strips", "insert breaks at the tapped hole")
SLEEVE = "sleeve breaks round the tube"
STRUT = "tube bends away as a strut"
END_BEARING = "tube end crushes under the shoulder"
BACKUP = "back-up gives way after the bond"
DRILLED = ("tube breaks at the hole of the back-up", "insert breaks at the hole of the back-up")
ROD_END = "rod end breaks"
WORN = "bond dies of repeated load"
CREPT = "bond gives way to a steady load"
TIMED = (WORN, CREPT)
"""Modes that come about without a load of their own, by what was there all the time."""
LONGEST_ENGAGEMENT = 1.5
"""Engaged length of a thread that counts, over its major diameter [-]: what `thread_strip` holds
for; longer threads share the load unevenly."""
WIDEST_HOLE = 0.999
"""A drawn hole of a back-up is at most this share of the insert [-]."""


def modes_of(scenario: Scenario) -> tuple[str, ...]:
    """Return the name of every way in which a scenario's rods can fail, the bond's first.

    The names of the insert's ways call a sleeve by its name.
    """
    timed = ((WORN,) if scenario.cycles else ()) + ((CREPT,) if scenario.steady_fails else ())
    drilled = (BACKUP, *DRILLED) if scenario.backup is not None else ()
    end = (ROD_END,) if scenario.rod_end is not None else ()
    sleeve = (SLEEVE,) if scenario.end == "sleeve" else ()
    own = (*BOND_MODES, *PULL_MEMBERS, *sleeve, STRUT, END_BEARING, *timed, *drilled, *end)
    parts = (lets_go(part) for part in scenario.parts)
    return (*(_named(scenario, name) for name in own), *parts)


def _named(scenario: Scenario, mode: str) -> str:
    return mode if scenario.end == "plug" else mode.replace("insert", "sleeve")


def lets_go(part: Part) -> str:
    """Return the name of the mode in which a part in line fails."""
    return f"{part.name} lets go"


def not_in_rig(scenario: Scenario) -> frozenset[str]:
    """Return the modes that a pull or push in the rig does not reach."""
    names = {lets_go(part) for part in scenario.parts if not part.in_rig}
    if scenario.rod_end is not None and not scenario.rod_end.in_rig:
        names.add(ROD_END)
    return frozenset(names)


def member_resistance(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], n: int, *, push: bool
) -> dict[str, Floats]:
    """Return the resistance of every member in one direction [N], (rods, n), by mode name."""
    own = (_push_members if push else _pull_members)(scenario, layout, values, n)
    if scenario.backup is not None:
        own |= _drilled(scenario, layout, values, n, push=push)
    own = {_named(scenario, name): force for name, force in own.items()}
    own |= _in_line(scenario, layout, values, n, push=push)
    return {name: np.broadcast_to(force, (layout.rods, n)) for name, force in own.items()}


def rod_minimum(per_joint_force: Floats) -> Floats:
    """Return the weaker end of each rod [N], (rods, n), from (joints, n)."""
    return np.minimum(per_joint_force[::2], per_joint_force[1::2])


def hole_width(scenario: Scenario, layout: Layout, values: Mapping[str, Floats]) -> Floats:
    """Return the width of the back-up's hole [mm]: its pin's at least, and inside both parts."""
    hole = np.maximum(values["backup.hole"], values["backup.diameter"])
    return np.asarray(np.minimum(hole, 2.0 * WIDEST_HOLE * inner_radius(scenario, layout)))


def _pull_members(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], n: int
) -> dict[str, Floats]:
    tension, strip, net = PULL_MEMBERS
    tube = members.tube_net_tension(*tube_radii(scenario), values["tube.tension_strength"])
    own = {tension: tube} | _sleeve(scenario, layout, values, n)
    if scenario.thread is not None:
        own[strip] = _thread_strip(scenario, layout, values, n)
        hole = at_ends([t.major_diameter for t in _threads(scenario)], layout.rods)
        if scenario.end == "plug":
            hole = np.maximum(hole, values["plug.bore"])
        section = members.insert_net_section(
            metal_radii(scenario, layout)[0], hole, values[f"{scenario.end}.strength"]
        )
        own[net] = _over_ends(section, layout, n)
    return own


def _sleeve(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], n: int
) -> dict[str, Floats]:
    """Return what the wall of a sleeve round the tube's end holds; nothing for a plug.

    In a push, too, its tensile strength counts: a metal that yields in a push does not part.
    """
    if scenario.end == "plug":
        return {}
    wall = members.tube_net_tension(*metal_radii(scenario, layout), values["sleeve.strength"])
    return {SLEEVE: _over_ends(wall, layout, n)}


def _threads(scenario: Scenario) -> list[Thread]:
    """Return the threads of both ends, once where they are alike."""
    return [thread for thread in (scenario.thread, scenario.second_thread) if thread is not None]


def _thread_strip(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], n: int
) -> Floats:
    threads = _threads(scenario)
    across = at_ends([thread.major_diameter for thread in threads], layout.rods)
    force = members.thread_strip(
        across,
        at_ends([thread.pitch for thread in threads], layout.rods),
        np.minimum(values["thread.engagement"], LONGEST_ENGAGEMENT * across),
        values[f"{scenario.end}.strength"],
    )
    return _over_ends(force, layout, n)


def _push_members(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], n: int
) -> dict[str, Floats]:
    outer, inner = tube_radii(scenario)
    length = values["rods.length"]
    own = {
        STRUT: np.asarray(
            members.strut_perry_robertson(
                length=length,
                outer_radius=outer,
                inner_radius=inner,
                modulus=values["tube.modulus"],
                compression_strength=values["tube.compression_strength"],
                bow=values["rods.bow"] * length,
                load_offset=values["rods.load_offset"],
                fixity=scenario.end_fixity,
            )
        )
    }
    if scenario.shoulder:
        own[END_BEARING] = np.asarray(
            members.tube_end_bearing(outer, inner, values["tube.compression_strength"])
        )
    if scenario.thread is not None:
        own[PULL_MEMBERS[1]] = _thread_strip(scenario, layout, values, n)
    return own if scenario.shoulder else own | _sleeve(scenario, layout, values, n)


def _drilled(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], n: int, *, push: bool
) -> dict[str, Floats]:
    """Return what tube and insert hold across the hole of the back-up, by mode name.

    The whole force is taken to pass the hole, though behind it a sound bond has taken part of
    it over already. Under a shoulder a push does not pass through the insert.
    """
    hole = hole_width(scenario, layout, values)
    strength = values["tube.compression_strength" if push else "tube.tension_strength"]
    tube, insert = DRILLED
    wall = backup.drilled_tube_tension(
        *tube_radii(scenario),
        hole,
        per_joint(strength, layout.rod_of_joint),
        values["backup.stress_concentration"],
    )
    own = {tube: _over_ends(wall, layout, n)}
    if not (push and scenario.shoulder):
        strength = values[f"{scenario.end}.strength"]
        bar = backup.drilled_tube_tension(*metal_radii(scenario, layout), hole, strength)
        own[insert] = _over_ends(bar, layout, n)
    return own


def _in_line(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], n: int, *, push: bool
) -> dict[str, Floats]:
    """Return what rod ends and other parts in line hold, by mode name."""
    own = {}
    if scenario.rod_end is not None:
        own[ROD_END] = _over_ends(_rod_end(scenario, values, push=push), layout, n)
    for part in scenario.parts:
        key = part.key("push" if push else "pull")
        if key in scenario.variables:
            on_rod = part.at == "rod"
            force = laid(values, key, layout, on_rod=on_rod)
            own[lets_go(part)] = force if on_rod else _over_ends(force, layout, n)
    return own


def _rod_end(scenario: Scenario, values: Mapping[str, Floats], *, push: bool) -> Floats:
    """Return what each rod end holds [N], (joints, n): its rating's share, or its shank."""
    force = members.rod_end(values["rod_end.static_rating"], values["rod_end.strength_ratio"])
    shank = scenario.rod_end.shank if scenario.rod_end is not None else None
    if shank is None or push:
        return np.asarray(force)
    area = members.thread_stress_area(shank.major_diameter, shank.pitch)
    return np.asarray(np.minimum(force, area * values["rod_end.shank_strength"]))


def _over_ends(force: Floats, layout: Layout, n: int) -> Floats:
    return rod_minimum(np.broadcast_to(force, (layout.joints, n)))
