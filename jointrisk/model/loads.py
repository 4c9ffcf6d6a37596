"""Chance that the loads of a life stay below given resistances.

For given resistances and given lasting variables the variable loads of a life are
independent of everything else, so the chance that none exceeds is a product of their
distribution functions: exact, smooth, no load need be drawn.

With S the sum of the sustained loads (tension positive), a pull Q fails a rod where
``Q > R_pull - S``, a push where ``Q > R_push + S``; S alone fails it where it exceeds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jointrisk.model.draws import Change
    from jointrisk.model.layout import Floats
    from jointrisk.scenario.types import Load, Scenario

SMALLEST = 1e-300


def sustained_sum(scenario: Scenario, values: Mapping[str, Floats]) -> Floats:
    """Return the sum of the sustained loads [N], (copies, n); 0 without any."""
    total: Floats = np.zeros((1, 1))
    for load in scenario.loads:
        if load.kind == "sustained":
            total = total + values[load.size.key]
    return total * values["model.load_factor"]


def exceed_rate(load: Load, size: Floats, change: Change | None = None) -> Floats:
    """Return minus the log of the chance that one year's loads stay at or below `size`.

    Parameters
    ----------
    load : Load
        Of kind "annual_maximum" (``-ln F(x)``) or "event" (``rate (1 - F(x))``).
    size : ndarray, (..., n) [N]
        Below 0 the load exceeds for sure: an infinite rate.
    change : Change, optional
        A changed spread of the load.
    """
    spread = load.size.spread
    asked = size
    if change is not None:
        asked = spread.mean + (size - change.shift - spread.mean) / max(change.squeeze, SMALLEST)
    above = spread.sf(asked)
    if load.kind == "event":
        rate = load.rate * above
    else:
        with np.errstate(divide="ignore"):  # a bounded load that always exceeds: log(0)
            rate = -np.log1p(-above)
    return np.where(size < 0.0, np.inf, rate)


@dataclass(frozen=True, slots=True)
class Hazard:
    """Yearly failure rates at given resistances [1/years].

    ``exp(-rate * years)`` is the chance to outlive `years`, exactly, as long as the
    resistances stay the same.
    """

    total: Floats
    """Any rod of the set, (n,)."""
    rod: Floats
    """Each rod, (rods, n)."""
    mode: Floats
    """Each mode over the whole set, (modes, n)."""


def hazard(
    scenario: Scenario,
    values: Mapping[str, Floats],
    pull: Floats,
    push: Floats | None,
    changes: Mapping[str, Change],
) -> Hazard:
    """Return the failure rates of a set for given resistances.

    Parameters
    ----------
    scenario : Scenario
    values : mapping of str to ndarray, (copies, n)
    pull, push : ndarray, (modes, rods, n) [N]
        Resistances by mode; `push` None where nothing pushes.
    changes : mapping of str to Change
        Changed spreads of loads, by key.
    """
    modes, rods, n = pull.shape
    steady = sustained_sum(scenario, values)
    factor = values["model.load_factor"]
    by_mode, by_rod, total = np.zeros((modes, n)), np.zeros((rods, n)), np.zeros(n)
    for load in scenario.loads:
        if load.kind == "sustained":
            continue
        room = room_for(load, pull, push, steady) / factor
        change = changes.get(load.size.key)
        rate_rod = exceed_rate(load, room.min(axis=0), change)
        by_rod += rate_rod
        if load.scope == "all":
            by_mode += exceed_rate(load, room.min(axis=1), change)
            total += rate_rod.max(axis=0)
        else:
            by_mode += exceed_rate(load, room, change).sum(axis=1)
            total += rate_rod.sum(axis=0)
    alone = steady > pull
    if push is not None:
        alone = alone | (-steady > push)
    by_mode[alone.any(axis=1)] = np.inf
    by_rod[alone.any(axis=0)] = np.inf
    total[alone.any(axis=(0, 1))] = np.inf
    return Hazard(total, by_rod, by_mode)


def room_for(load: Load, pull: Floats, push: Floats | None, steady: Floats) -> Floats:
    """Return what a variable load may reach before a rod fails [N], shaped like `pull`."""
    rooms = []
    if load.direction in ("pull", "both"):
        rooms.append(pull - steady)
    if load.direction in ("push", "both") and push is not None:
        rooms.append(push + steady)
    return rooms[0] if len(rooms) == 1 else np.minimum(rooms[0], rooms[1])


def pushes(scenario: Scenario) -> bool:
    """Tell whether any load can push the rod."""
    return any(
        load.direction in ("push", "both")
        if load.kind != "sustained"
        else bool(load.size.spread.cdf(np.float64(0.0)) > 0.0)
        for load in scenario.loads
    )


def typical_size(load: Load, years: float, exceeded: float = 0.5) -> float:
    """Return the size of a variable load that its largest of `years` exceeds so often [N].

    Parameters
    ----------
    load : Load
    years : float [years]
    exceeded : float [-]
        Chance that the largest of the life is above it; 0.5 for the middling one.
    """
    rate = float(-np.log1p(-exceeded)) / years
    above = min(rate / load.rate, 1.0) if load.kind == "event" else float(-np.expm1(-rate))
    return max(float(load.size.spread.isf(np.float64(above))), SMALLEST)
