"""Resistance of every rod of a set, by mode, direction and state.

States: in the rig today (workshop temperature, a pull, and a push where the rig pushes) and in
service, where each mode keeps the lower of its values at the hottest and at the coldest
temperature.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.model.ageing import aged, slice_edges
from jointrisk.model.backup import backup_force
from jointrisk.model.bond import (
    BOND_MODES,
    BondForce,
    BondLaw,
    Day,
    bond_force,
    bond_forces,
    bond_law,
    wall_force,
)
from jointrisk.model.by_mode import by_mode
from jointrisk.model.members import (
    CREPT,
    WORN,
    member_resistance,
    modes_of,
    not_in_rig,
    rod_minimum,
)
from jointrisk.model.wear import Bearing, steady_margin, steady_ratio, wear_margin, worn

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jointrisk.model.bond import Bools
    from jointrisk.model.layout import Floats, Layout
    from jointrisk.scenario.types import Scenario


@dataclass(frozen=True, slots=True)
class Service:
    """Resistances at the end of one slice of the life; infinite where a mode does not act."""

    pull: Floats
    """By mode [N], (modes, rods, n)."""
    push: Floats | None
    """By mode [N], (modes, rods, n); None where not asked."""


@dataclass(frozen=True, slots=True)
class Resistance:
    """Resistances of one batch of draws."""

    rig_joint: Floats
    """Bond of each joint in the rig, the way it loads the rod [N], (joints, n).

    A back-up does not count there. Infinite where a shoulder takes the push past the bond."""
    rig_pull: Floats
    """Weakest link of each rod that the rig reaches, pull [N], (rods, n)."""
    rig_push: Floats | None
    """The same, push; None where the rig pulls."""
    slices: tuple[Service, ...]
    """In service, one for each slice of the life."""
    steady: Floats
    """Largest share of its strength that a steady load takes of a bond, (n,) [-]."""
    weak: Bools
    """Which joints are weak, (joints, n)."""
    assembles: Bools
    """False for a set with a joint that cannot be put together, (n,)."""
    bounded: Bools
    """True where a lower value stands in for a missing closed form, (n,)."""
    toughness_governs: Bools
    """True where toughness rather than the whole overlap limits a joint, (joints, n)."""
    bearings: tuple[Bearing, ...]
    """What the bonds hold in each slice of the life before any wear."""

    @property
    def in_rig(self) -> Floats:
        """Weakest link of each rod in the rig, the way it loads the rod [N], (rods, n)."""
        return self.rig_pull if self.rig_push is None else self.rig_push

    @property
    def pull(self) -> Floats:
        """At the end of the life, pull, by mode [N], (modes, rods, n)."""
        return self.slices[-1].pull

    @property
    def push(self) -> Floats | None:
        """At the end of the life, push, by mode [N], (modes, rods, n)."""
        return self.slices[-1].push

    @property
    def pull_rod(self) -> Floats:
        """Weakest link of each rod at the end of the life, pull [N], (rods, n)."""
        return np.asarray(self.pull.min(axis=0))

    @property
    def broken_rod(self) -> Bools:
        """Rods of which a bond holds nothing though time has not undone it, (rods, n)."""
        return np.asarray((self.pull[: len(BOND_MODES)] <= 0.0).any(axis=0))

    @property
    def push_rod(self) -> Floats | None:
        """Weakest link of each rod at the end of the life, push [N], (rods, n)."""
        return None if self.push is None else np.asarray(self.push.min(axis=0))


@dataclass(frozen=True, slots=True)
class _Bonds:
    """Every bond at the end of one slice, in each state of service."""

    pulls: list[BondForce]
    pushes: list[BondForce]
    """Empty where no bond is pushed."""
    bearing: Bearing


def resistance(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    weak: Bools,
    latent: Bools,
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
    weak, latent : ndarray of bool, (joints, n)
        Which joints are weak, and which damp undoes.
    with_push : bool
        Whether any load pushes.
    with_rig : bool
        Whether the rig is asked for; without it the rig's numbers are those of service.
    with_wall : bool
        Whether the limit of the tube wall is asked for.
    """
    shape = (layout.joints, weak.shape[1])
    law = bond_law(scenario, layout, values, weak)
    edges = slice_edges(scenario)
    laws = [aged(scenario, law, values, latent, float(end)) for end in edges[1:]]
    days = [day for left in laws for day in _days(scenario, values, left, with_push=with_push)]
    in_rig = scenario.proof.rig.pushes
    if with_rig:
        ways = _ways(scenario, with_push=in_rig)
        days.append(Day(law, values["service.workshop_temperature"], ways))
    forces = bond_forces(scenario, layout, values, days, wall=with_wall)
    rig = forces.pop() if with_rig else forces[0][:1]
    count = len(forces) // len(laws)
    bonds = [
        _bonds(scenario, shape, forces[count * number :][:count], float(years), with_push=with_push)
        for number, years in enumerate(np.diff(edges))
    ]
    states = [*rig, *(state for bond in bonds for state in (*bond.pulls, *bond.pushes))]
    bounded = np.logical_or.reduce([np.broadcast_to(state.bounded, shape) for state in states])
    tension = member_resistance(scenario, layout, values, shape[1], push=False)
    pulled, pushed = (np.broadcast_to(rig[way].force, shape) for way in (0, -1))
    rig_push = None
    if in_rig and with_rig:
        if scenario.rig_spares_bonds:
            pushed = np.full(shape, np.inf)
        thrust = member_resistance(scenario, layout, values, shape[1], push=True)
        rig_push = _weakest_in_rig(scenario, pushed, thrust)
    return Resistance(
        rig_joint=pushed,
        rig_pull=_weakest_in_rig(scenario, pulled, tension),
        rig_push=rig_push,
        slices=_services(scenario, layout, values, bonds, tension, with_push=with_push),
        steady=_steady(scenario, layout, values, bonds[-1].bearing),
        weak=weak,
        assembles=np.asarray(np.broadcast_to(law.assembles, shape).all(axis=0)),
        bounded=np.asarray(bounded.any(axis=0)),
        toughness_governs=np.broadcast_to(bonds[-1].pulls[0].toughness_governs, shape),
        bearings=tuple(bond.bearing for bond in bonds),
    )


def _weakest_in_rig(scenario: Scenario, bond: Floats, members: Mapping[str, Floats]) -> Floats:
    """Return the weakest link of each rod that the rig reaches [N], (rods, n)."""
    left_out = not_in_rig(scenario)
    reached = [force for name, force in members.items() if name not in left_out]
    return np.asarray(np.minimum(rod_minimum(bond), np.min(reached, axis=0)))


def _ways(scenario: Scenario, *, with_push: bool) -> tuple[bool, ...]:
    """Return the ways in which a bond's force differs, True for a push; without misfit it is one.

    A shoulder takes a push past the bond.
    """
    apart = with_push and not scenario.shoulder and not _no_misfit(scenario)
    return (False, True) if apart else (False,)


def _days(
    scenario: Scenario, values: Mapping[str, Floats], law: BondLaw, *, with_push: bool
) -> list[Day]:
    """Return every state of service under one law."""
    ways = _ways(scenario, with_push=with_push)
    return [Day(law, each, ways) for each in service_temperatures(scenario, values)]


def _bonds(
    scenario: Scenario,
    shape: tuple[int, ...],
    forces: list[list[BondForce]],
    years: float,
    *,
    with_push: bool,
) -> _Bonds:
    """Return what the bonds hold under one law, from the forces of its `_days`."""
    pulls = [states[0] for states in forces]
    pushes: list[BondForce] = []
    if with_push and not scenario.shoulder:
        pushes = [states[-1] for states in forces]

    def lowest(way: list[BondForce]) -> Floats:
        return np.asarray(np.minimum.reduce([np.broadcast_to(state.force, shape) for state in way]))

    return _Bonds(pulls, pushes, Bearing(lowest(pulls), lowest(pushes) if pushes else None, years))


def _services(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    bonds: list[_Bonds],
    tension: dict[str, Floats],
    *,
    with_push: bool,
) -> tuple[Service, ...]:
    """Return the resistances in each slice, wear, back-up and members counted."""
    n = bonds[0].bearing.pull.shape[1]
    held = backup_force(scenario, layout, values, n, push=False)
    thrust, held_push = None, None
    if with_push:
        thrust = member_resistance(scenario, layout, values, n, push=True)
        held_push = backup_force(scenario, layout, values, n, push=True)
    wear = None
    if scenario.cycles:
        wear = worn(scenario, layout, values, [bond.bearing for bond in bonds])
    found = []
    for number, bond in enumerate(bonds):
        keeps = None if wear is None else wear[number].keeps
        gone = {}
        if keeps is not None:  # what misfit alone has broken did not die of cycles
            gone[WORN] = (keeps <= 0.0) & (bond.bearing.lowest > 0.0)
        if scenario.steady_fails:
            gone[CREPT] = steady_margin(scenario, layout, values, bond.bearing) < 0.0
        pull = by_mode(scenario, layout, _left(bond.pulls, keeps, gone), gone, held, tension)
        push = None
        if thrust is not None:
            left = _left(bond.pushes, keeps, gone)
            push = by_mode(scenario, layout, left, gone, held_push, thrust)
        found.append(Service(pull, push))
    return tuple(found)


def _left(
    states: list[BondForce], keeps: Floats | None, gone: Mapping[str, Bools]
) -> list[BondForce]:
    """Return the bonds in each state with what wear leaves of them; none where one is gone."""
    if keeps is None and not gone:
        return states
    lost = np.logical_or.reduce(list(gone.values()))
    share = np.where(lost, 0.0, 1.0 if keeps is None else keeps)
    return [replace(state, force=state.force * share) for state in states]


def _steady(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], bearing: Bearing
) -> Floats:
    if not any(load.kind == "sustained" for load in scenario.loads):
        return np.zeros(bearing.pull.shape[1])
    ratio = steady_ratio(scenario, layout, values, bearing)
    return np.asarray(np.broadcast_to(ratio, bearing.pull.shape).max(axis=0))


def joint_force(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    weak: Bools,
    latent: Bools,
    *,
    push: bool,
    cold: bool,
    wall: bool,
) -> Floats:
    """Return what one limit holds in one state at the end of the life, each joint [N], (joints, n).

    Parameters
    ----------
    scenario, layout, values, weak, latent
        As for `resistance`.
    push, cold : bool
        Direction, and whether the coldest or the hottest counts.
    wall : bool
        The tube wall alone, or else the bond alone.
    """
    law = _last_law(scenario, layout, values, weak, latent)
    temperature = service_temperatures(scenario, values)[-1 if cold else 0]
    if wall:
        force = wall_force(scenario, layout, values, law, temperature=temperature, push=push)
    else:
        force = bond_force(
            scenario, layout, values, law, temperature=temperature, push=push, wall=False
        ).force
    held = backup_force(scenario, layout, values, weak.shape[1], push=push)
    return np.broadcast_to(force if held is None else np.maximum(force, held), weak.shape)


def joint_wear(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    weak: Bools,
    latent: Bools,
    *,
    with_push: bool,
) -> dict[str, Floats]:
    """Return how far each joint is from giving way in time, by mode, (joints, n) [-].

    A margin that is below 0 where the mode has come about by the end of the life, if the whole
    life had the strength of its end. Arguments as for `resistance`.
    """
    if not scenario.cycles and not scenario.steady_fails:
        return {}
    law = _last_law(scenario, layout, values, weak, latent)
    days = _days(scenario, values, law, with_push=with_push)
    forces = bond_forces(scenario, layout, values, days, wall=False)
    bearing = _bonds(scenario, weak.shape, forces, scenario.life, with_push=with_push).bearing
    found = {}
    if scenario.cycles:
        found[WORN] = wear_margin(scenario, layout, values, bearing)
    if scenario.steady_fails:
        found[CREPT] = steady_margin(scenario, layout, values, bearing)
    return found


def _last_law(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], weak: Bools, latent: Bools
) -> BondLaw:
    """Return the law of the bonds at the end of the life."""
    law = bond_law(scenario, layout, values, weak)
    return aged(scenario, law, values, latent, scenario.life)


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


def with_members(
    scenario: Scenario, layout: Layout, strength: Resistance, values: Mapping[str, Floats]
) -> Resistance:
    """Return `strength` with the members worked out anew from `values`, bonds as they are."""
    n, names = strength.weak.shape[1], modes_of(scenario)

    def renewed(old: Floats, push: bool) -> Floats:
        new = old.copy()
        for name, force in member_resistance(scenario, layout, values, n, push=push).items():
            new[names.index(name)] = force
        return new

    slices = tuple(
        Service(
            renewed(service.pull, push=False),
            None if service.push is None else renewed(service.push, push=True),
        )
        for service in strength.slices
    )
    return replace(strength, slices=slices)


def _no_misfit(scenario: Scenario) -> bool:
    tube, *metals = (
        variable.spread
        for key in ("tube.expansion", f"{scenario.end}.expansion")
        for variable in scenario.at_ends(key)
    )
    return all(s.sd == 0.0 and s.mean == tube.mean for s in (tube, *metals))


def service_temperatures(scenario: Scenario, values: Mapping[str, Floats]) -> list[Floats]:
    """Return the temperatures [degC] at which service strength is worked out.

    The coldest matters only through misfit: without it the hottest is never the stronger.
    """
    hottest, coldest = values["service.hottest"], values["service.coldest"]
    return [hottest] if _no_misfit(scenario) else [hottest, coldest]
