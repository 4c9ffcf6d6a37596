"""Resistance of every rod of a set, by mode, direction and state.

States: in the rig today (workshop temperature, pull only) and in service, where each mode
keeps the lower of its values at the hottest and at the coldest temperature.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics import members
from jointrisk.model.bond import (
    BOND_MODES,
    BondForce,
    bond_force,
    bond_law,
    plug_radius,
    wall_force,
)
from jointrisk.model.layout import at_ends

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jointrisk.model.bond import Bools
    from jointrisk.model.layout import Floats, Layout
    from jointrisk.scenario.types import Scenario, Thread

PULL_MEMBERS = ("tube breaks in tension", "thread strips", "insert breaks at the tapped hole")
STRUT = "tube bends away as a strut"
END_BEARING = "tube end crushes under the shoulder"
LONGEST_ENGAGEMENT = 1.5
"""Engaged length of a thread that counts, over its major diameter [-]: what `thread_strip` holds
for; longer threads share the load unevenly."""
MODES = (*BOND_MODES, *PULL_MEMBERS, STRUT, END_BEARING)


@dataclass(frozen=True, slots=True)
class Resistance:
    """Resistances of one batch of draws; infinite where a mode does not act."""

    rig_joint: Floats
    """Bond of each joint in the rig, pull [N], (joints, n)."""
    rig_pull: Floats
    """Weakest link of each rod in the rig, pull [N], (rods, n)."""
    pull: Floats
    """In service, pull, by mode [N], (modes, rods, n)."""
    push: Floats | None
    """In service, push, by mode [N], (modes, rods, n); None where not asked."""
    weak: Bools
    """Which joints are weak, (joints, n)."""
    assembles: Bools
    """False for a set with a joint that cannot be put together, (n,)."""
    bounded: Bools
    """True where a lower value stands in for a missing closed form, (n,)."""
    toughness_governs: Bools
    """True where toughness rather than the whole overlap limits a joint, (joints, n)."""

    @property
    def pull_rod(self) -> Floats:
        """Weakest link of each rod in service, pull [N], (rods, n)."""
        return np.asarray(self.pull.min(axis=0))

    @property
    def push_rod(self) -> Floats | None:
        """Weakest link of each rod in service, push [N], (rods, n)."""
        return None if self.push is None else np.asarray(self.push.min(axis=0))


def resistance(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    weak: Bools,
    *,
    with_push: bool,
    with_rig: bool = True,
    with_wall: bool = True,
) -> Resistance:
    """Work out the resistances of every rod.

    Parameters
    ----------
    scenario : Scenario
    layout : Layout
    values : mapping of str to ndarray, (copies, n)
        Drawn values in the units of the house.
    weak : ndarray of bool, (joints, n)
    with_push : bool
        Whether any load pushes.
    with_rig : bool
        Whether the rig is asked for; without it the rig's numbers are those of service.
    with_wall : bool
        Whether the limit of the tube wall is asked for.
    """
    n = weak.shape[1]
    law = bond_law(scenario, layout, values, weak)
    workshop = values["service.workshop_temperature"]
    temperatures = service_temperatures(scenario, values)

    def bond(temperature: Floats, push: bool) -> BondForce:
        return bond_force(
            scenario, layout, values, law, temperature=temperature, push=push, wall=with_wall
        )

    pulls = [bond(temperature, push=False) for temperature in temperatures]
    rig = bond(workshop, push=False) if with_rig else pulls[0]
    tension = member_resistance(scenario, layout, values, n, push=False)
    pull = _by_mode(layout, pulls, tension, n)
    rig_rod = np.minimum(
        _rod_minimum(np.broadcast_to(rig.force, (layout.joints, n))),
        np.min(list(tension.values()), axis=0),
    )
    push = None
    bounded = np.logical_or.reduce([state.bounded for state in (*pulls, rig)])
    if with_push:
        push_members = member_resistance(scenario, layout, values, n, push=True)
        pushes = []
        if not scenario.shoulder:
            same = _no_misfit(scenario)
            pushes = pulls if same else [bond(t, push=True) for t in temperatures]
        push = _by_mode(layout, pushes, push_members, n)
    return Resistance(
        rig_joint=np.broadcast_to(rig.force, (layout.joints, n)),
        rig_pull=rig_rod,
        pull=pull,
        push=push,
        weak=weak,
        assembles=np.asarray(np.broadcast_to(law.assembles, (layout.joints, n)).all(axis=0)),
        bounded=np.asarray(np.broadcast_to(bounded, (layout.joints, n)).any(axis=0)),
        toughness_governs=np.broadcast_to(pulls[0].toughness_governs, (layout.joints, n)),
    )


def joint_force(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    weak: Bools,
    *,
    push: bool,
    cold: bool,
    wall: bool,
) -> Floats:
    """Return what one limit holds in one state of service, each joint [N], (joints, n).

    Parameters
    ----------
    scenario, layout, values, weak
        As for `resistance`.
    push, cold : bool
        Direction, and whether the coldest or the hottest counts.
    wall : bool
        The tube wall alone, or else the bond alone.
    """
    law = bond_law(scenario, layout, values, weak)
    temperature = service_temperatures(scenario, values)[-1 if cold else 0]
    if wall:
        force = wall_force(scenario, layout, values, law, temperature=temperature, push=push)
    else:
        force = bond_force(
            scenario, layout, values, law, temperature=temperature, push=push, wall=False
        ).force
    return np.broadcast_to(force, weak.shape)


def bond_states(scenario: Scenario, *, with_push: bool) -> list[dict[str, bool]]:
    """Return the states of service that `joint_force` can tell apart, as its arguments."""
    misfit = not _no_misfit(scenario)
    pushes = (False, True) if with_push and misfit and not scenario.shoulder else (False,)
    walls = (False, True) if scenario.tube_is_composite else (False,)
    return [
        {"push": push, "cold": cold, "wall": wall}
        for wall in walls
        for push in pushes
        for cold in ((False, True) if misfit else (False,))
    ]


def member_resistance(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], n: int, *, push: bool
) -> dict[str, Floats]:
    """Return the resistance of every member in one direction [N], (rods, n), by mode name."""
    own = (_push_members if push else _pull_members)(scenario, layout, values, n)
    return {name: np.broadcast_to(force, (layout.rods, n)) for name, force in own.items()}


def with_members(
    scenario: Scenario, layout: Layout, strength: Resistance, values: Mapping[str, Floats]
) -> Resistance:
    """Return `strength` with the members worked out anew from `values`, bonds as they are."""
    n = strength.weak.shape[1]
    pull = strength.pull.copy()
    for name, force in member_resistance(scenario, layout, values, n, push=False).items():
        pull[MODES.index(name)] = force
    push = strength.push
    if push is not None:
        push = push.copy()
        for name, force in member_resistance(scenario, layout, values, n, push=True).items():
            push[MODES.index(name)] = force
    return replace(strength, pull=pull, push=push)


def _no_misfit(scenario: Scenario) -> bool:
    tube, *plugs = (
        variable.spread
        for key in ("tube.expansion", "plug.expansion")
        for variable in scenario.at_ends(key)
    )
    return all(s.sd == 0.0 and s.mean == tube.mean for s in (tube, *plugs))


def service_temperatures(scenario: Scenario, values: Mapping[str, Floats]) -> list[Floats]:
    """Return the temperatures [degC] at which service strength is worked out.

    The coldest matters only through misfit: without it the hottest is never the stronger.
    """
    hottest, coldest = values["service.hottest"], values["service.coldest"]
    return [hottest] if _no_misfit(scenario) else [hottest, coldest]


def _by_mode(layout: Layout, bonds: list[BondForce], own: dict[str, Floats], n: int) -> Floats:
    result = np.full((len(MODES), layout.rods, n), np.inf)
    shape = (layout.joints, n)
    for state in bonds:
        force, mode = np.broadcast_to(state.force, shape), np.broadcast_to(state.mode, shape)
        for index in range(len(BOND_MODES)):
            joint = np.where(mode == index, force, np.inf)
            np.minimum(result[index], _rod_minimum(joint), out=result[index])
    for name, force in own.items():
        result[MODES.index(name)] = force
    return result


def _rod_minimum(per_joint_force: Floats) -> Floats:
    joints, n = per_joint_force.shape
    return np.asarray(per_joint_force.reshape(joints // 2, 2, n).min(axis=1))


def _tube_inner_radius(scenario: Scenario) -> float:
    return scenario.variables["tube.bore"].spread.mean / 2.0


def _pull_members(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], n: int
) -> dict[str, Floats]:
    outer = values["tube.outer_diameter"] / 2.0
    tension, strip, net = PULL_MEMBERS
    own = {
        tension: members.tube_net_tension(
            outer, _tube_inner_radius(scenario), values["tube.tension_strength"]
        )
    }
    if scenario.thread is not None:
        own[strip] = _thread_strip(scenario, layout, values, n)
        across = at_ends([t.major_diameter for t in _threads(scenario)], layout.rods)
        hole = np.maximum(across, values["plug.bore"])
        section = members.insert_net_section(
            plug_radius(scenario, layout), hole, values["plug.strength"]
        )
        own[net] = _over_ends(section, layout, n)
    return own


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
        values["plug.strength"],
    )
    return _over_ends(force, layout, n)


def _push_members(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], n: int
) -> dict[str, Floats]:
    outer, inner = values["tube.outer_diameter"] / 2.0, _tube_inner_radius(scenario)
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
    return own


def _over_ends(force: Floats, layout: Layout, n: int) -> Floats:
    return _rod_minimum(np.broadcast_to(force, (layout.joints, n)))
