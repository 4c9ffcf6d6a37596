"""What a pull takes of the joints that held it, and what is left of a set in service.

A joint of strength R0 in the rig, pulled or pushed, that held an applied load P keeps

    R1 = R1 [1 - d clip((P/R0 - a)/(1 - a), 0, 1)]

of its strength in service. Where the damage begins (a) and the most that it takes (d) are not
known. The law is a judgement: nothing for a light pull, d for one that the joint only just held,
a straight line between. Damage takes of the strength in the rig alike, so that repeated pulls add
up. Cycles wear what is left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.model.ageing import aged
from jointrisk.model.backup import backup_force
from jointrisk.model.bond import bond_force, bond_law
from jointrisk.model.members import member_resistance, not_in_rig, rod_minimum
from jointrisk.model.wear import Bearing, steady_margin, worn

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from jointrisk.model.bond import Bools
    from jointrisk.model.layout import Floats, Ints, Layout
    from jointrisk.scenario.types import Scenario

DAMAGE_FROM = "proof.damage_from"
DAMAGE_MOST = "proof.damage_most"
NEVER = 1.0
"""Damage that begins at this share of the strength or above never begins [-]."""

NOTHING = 1e-9
"""A joint that holds less than this holds nothing [N]."""


def share_kept(applied: Floats, strength: Floats, begins: Floats, most: Floats) -> Floats:
    """Return the share of its strength that a joint keeps which held a pull.

    Parameters
    ----------
    applied : ndarray, (joints, n) [N]
        Load that the joint felt.
    strength : ndarray, (joints, n) [N]
        What it would have held in the rig.
    begins : ndarray, (1, n) [-]
        Share of the strength from which a pull does damage; none does at 1 or above.
    most : ndarray, (1, n) [-]
        Taken of a joint that only just held.

    Returns
    -------
    ndarray, (joints, n) [-]

    Notes
    -----
    Source: judgement, see above.
    """
    ratio = applied / np.maximum(strength, NOTHING)
    room = np.where(begins < NEVER, 1.0 - begins, 1.0)
    reached = np.clip((ratio - begins) / room, 0.0, 1.0)
    return np.asarray(1.0 - np.where(begins < NEVER, most * reached, 0.0))


@dataclass(frozen=True, slots=True)
class Beside:
    """What of a set holds beside its bonds: no pull hurts it."""

    reached: Mapping[str, Floats]
    """Parts that the rig reaches, by the mode in which they fail [N], (rods, n)."""
    rig: Floats
    """Weakest of them [N], (rods, n)."""
    pull: Floats
    """Weakest part of each rod in a pull in service, bonds left out [N], (rods, n)."""
    push: Floats | None
    """The same in a push; None where nothing pushes."""
    backup_pull: Floats | None
    """What the back-up of each joint holds in a pull [N], (joints, n); None without one."""
    backup_push: Floats | None

    def rows(self, rows: Ints) -> Beside:
        """Return some draws of what holds in service; those of the rig are left out."""

        def of(part: Floats | None) -> Floats | None:
            return part if part is None or part.shape[-1] == 1 else part[:, rows]

        return Beside(
            reached={},
            rig=self.rig[:, rows],
            pull=self.pull[:, rows],
            push=of(self.push),
            backup_pull=of(self.backup_pull),
            backup_push=of(self.backup_push),
        )


def beside(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], n: int, *, with_push: bool
) -> Beside:
    """Work out what holds beside the bonds.

    Parameters
    ----------
    scenario : Scenario
    layout : Layout
    values : mapping of str to ndarray, (1, n), (rods, n) or (joints, n)
        As `placed` gives them.
    n : int
        Number of draws.
    with_push : bool
        Whether any load pushes.
    """
    tension = member_resistance(scenario, layout, values, n, push=False)
    pushed = scenario.proof.rig.pushes
    thrust = {}
    if with_push or pushed:
        thrust = member_resistance(scenario, layout, values, n, push=True)
    in_rig = thrust if pushed else tension
    push, held_push = None, None
    if with_push:
        push = np.asarray(np.min(list(thrust.values()), axis=0))
        held_push = backup_force(scenario, layout, values, n, push=True)
    left_out = not_in_rig(scenario)
    reached = {name: force for name, force in in_rig.items() if name not in left_out}
    return Beside(
        reached=reached,
        rig=np.asarray(np.min(list(reached.values()), axis=0)),
        pull=np.asarray(np.min(list(tension.values()), axis=0)),
        push=push,
        backup_pull=backup_force(scenario, layout, values, n, push=False),
        backup_push=held_push,
    )


def weakened(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    bearings: Sequence[Bearing],
    other: Beside,
    share: Floats,
) -> list[tuple[Floats, Floats | None]]:
    """Return the weakest link of each rod of which every bond keeps a share of its strength.

    Parameters
    ----------
    scenario : Scenario
    layout : Layout
    values : mapping of str to ndarray, (1, n), (rods, n) or (joints, n)
        As `placed` gives them; those of loads and of ageing are read.
    bearings : sequence of Bearing
        What the bonds hold unhurt, one for each slice of the life.
    other : Beside
    share : ndarray, (joints, n) [-]

    Returns
    -------
    list of (ndarray, ndarray or None), each (1, rods, n) [N]
        In a pull and in a push at the end of each slice: one mode for all. A rod with a bond that
        time has undone holds 0.
    """
    left = [
        Bearing(
            bearing.pull * share,
            None if bearing.push is None else bearing.push * share,
            bearing.years,
        )
        for bearing in bearings
    ]
    wear = worn(scenario, layout, values, left) if scenario.cycles else None
    found = []
    for number, bearing in enumerate(left):
        keeps = None if wear is None else wear[number].keeps
        if scenario.steady_fails:
            holds = steady_margin(scenario, layout, values, bearing) >= 0.0
            keeps = holds.astype(float) if keeps is None else keeps * holds
        pull = _rods(bearing.pull, keeps, other.backup_pull, other.pull)
        push = None
        if other.push is not None:
            push = other.push
            if bearing.push is not None:
                push = _rods(bearing.push, keeps, other.backup_push, other.push)
        found.append((pull[None], None if push is None else push[None]))
    return found


def _rods(bond: Floats, keeps: Floats | None, backup: Floats | None, other: Floats) -> Floats:
    """Return the weakest link of each rod [N], (rods, n)."""
    joint = bond if keeps is None else bond * keeps
    if backup is not None:
        joint = np.maximum(joint, backup)
    return np.asarray(np.minimum(rod_minimum(joint), other))


def time_undoes(scenario: Scenario) -> tuple[int, ...]:
    """Return the modes of `weakened` that fail without a load where nothing is left to hold."""
    return (0,) if scenario.cycles or scenario.steady_fails else ()


def rig_joint(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    weak: Bools,
    latent: Bools,
    *,
    years: float,
) -> Floats:
    """Return what each bond holds in the rig after some years of service [N], (joints, n).

    Damp counts; what cycles have worn off a bond by then does not. Infinite where the rig pushes
    and a shoulder takes it past the bond.

    Parameters
    ----------
    scenario : Scenario
    layout : Layout
    values : mapping of str to ndarray, (1, n), (rods, n) or (joints, n)
        As `placed` gives them.
    weak, latent : ndarray of bool, (joints, n)
        Which joints are weak, and which damp undoes.
    years : float [years]
    """
    if scenario.rig_spares_bonds:
        return np.full(weak.shape, np.inf)
    law = aged(scenario, bond_law(scenario, layout, values, weak), values, latent, years)
    workshop = values["service.workshop_temperature"]
    push = scenario.proof.rig.pushes
    force = bond_force(
        scenario, layout, values, law, temperature=workshop, push=push, wall=True
    ).force
    return np.asarray(np.broadcast_to(force, weak.shape))
