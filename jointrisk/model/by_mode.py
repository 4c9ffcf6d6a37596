"""Resistances of rods by mode, from what their bonds hold in every state of service."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.model.bond import BOND_MODES
from jointrisk.model.members import BACKUP, modes_of, rod_minimum
from jointrisk.spread.base import either

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jointrisk.model.bond import BondForce, Bools
    from jointrisk.model.layout import Floats, Layout
    from jointrisk.scenario.types import Scenario


def by_mode(
    scenario: Scenario,
    layout: Layout,
    bonds: list[BondForce],
    gone: Mapping[str, Bools],
    held: Floats | None,
    own: dict[str, Floats],
) -> Floats:
    """Return resistances by mode; a joint holds the larger of its bond and its back-up `held`.

    Bonds that time has undone count under its mode, with a resistance of 0, and under no other;
    with a back-up they only leave everything to it.

    Parameters
    ----------
    scenario : Scenario
    layout : Layout
    bonds : list of BondForce
        One for each state of service.
    gone : mapping of str to ndarray of bool, (joints, n)
        Which bonds time has undone, by its mode.
    held : ndarray, (joints, n) [N], or None
        What the back-up of each joint holds.
    own : dict of str to ndarray, (rods, n) [N]
        Resistances of the members.

    Returns
    -------
    ndarray, (modes, rods, n) [N]
        Infinite where a mode does not act.
    """
    names = modes_of(scenario)
    n = next(iter(own.values())).shape[1]
    shape = (layout.joints, n)
    result = np.full((len(names), layout.rods, n), np.inf)
    codes = list(range(len(BOND_MODES)))
    if held is not None:
        codes.append(names.index(BACKUP))
    for state in _merged(bonds) if held is None else bonds:
        force, mode = np.broadcast_to(state.force, shape), np.broadcast_to(state.mode, shape)
        if held is not None:
            mode = np.where(force < held, codes[-1], mode)
            force = np.maximum(force, held)
        else:
            for where in gone.values():
                force = np.where(where, np.inf, force)
        for code in codes:
            this = mode == code
            if this.any():
                held_so = rod_minimum(force + either(this, 0.0, np.inf))
                np.minimum(result[code], held_so, out=result[code])
    if held is None:
        for name, where in gone.items():
            lost = np.where(np.broadcast_to(where, shape), 0.0, np.inf)
            result[names.index(name)] = rod_minimum(lost)
    for name, force in own.items():
        result[names.index(name)] = force
    return result


def _merged(states: list[BondForce]) -> list[BondForce]:
    """Return the states with those as one that let go in the same mode everywhere."""
    found: dict[int, BondForce] = {}
    for state in states:
        other = found.get(id(state.mode), state)
        found[id(state.mode)] = replace(state, force=np.minimum(state.force, other.force))
    return list(found.values())
