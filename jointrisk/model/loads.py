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

from jointrisk.mechanics.linkage import rod_force
from jointrisk.scenario.types import LEAST_ANGLE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from jointrisk.model.draws import Change
    from jointrisk.model.layout import Floats, Ints
    from jointrisk.scenario.types import Load, Scenario, Variable

SMALLEST = 1e-300
MOST_AT_ONCE = 2048
"""Rods whose rates are worked out together [-]."""
RAREST_PUSH = np.float64(1e-12)
"""Chance below which cycles are not looked at for a push [-]."""


def sustained_sum(scenario: Scenario, values: Mapping[str, Floats]) -> Floats:
    """Return the sum of the sustained loads [N], (copies, n); 0 without any."""
    total: Floats = np.zeros((1, 1))
    for load in scenario.loads:
        if load.kind == "sustained":
            total = total + values[load.size.key] * line_factor(load, values)
    return total * values["model.load_factor"]


def lasting_range(scenario: Scenario, values: Mapping[str, Floats]) -> tuple[Floats, Floats]:
    """Return the highest and the lowest force of lasting loads [N], (copies, n), pull above 0.

    Sustained loads are there all the time; of the cycles one kind at a time joins them.
    """
    steady = sustained_sum(scenario, values)
    highest = lowest = steady
    for load in scenario.cycles:
        assert load.mean is not None  # noqa: S101
        factor = values["model.load_factor"] * line_factor(load, values)
        middle, swing = values[load.mean.key] * factor, values[load.size.key] * np.abs(factor)
        highest = np.maximum(highest, steady + middle + swing)
        lowest = np.minimum(lowest, steady + middle - swing)
    return highest, lowest


def line_factor(load: Load, values: Mapping[str, Floats]) -> Floats:
    """Return the force in the rod over the load as it is written, (copies, n).

    Above 0 for a load that comes anew; with its sign for a lasting one.

    Parameters
    ----------
    load : Load
    values : mapping of str to ndarray, (copies, n)
        Holds the load's `ratios` and `angle`.

    Returns
    -------
    ndarray, (copies, n)
        [-] over a size, [N/(N m)] over a moment.
    """
    ratio: Floats = np.ones((1, 1))
    for key in load.ratios:
        ratio = ratio * values[key]
    if not load.angle:
        return load.reach * ratio
    angle = np.clip(values[load.angle], LEAST_ANGLE, 180.0 - LEAST_ANGLE)
    return np.asarray(rod_force(load.reach, ratio, np.radians(angle)))


def typical_factor(load: Load, variables: Mapping[str, Variable]) -> float:
    """Return `line_factor` with each of its variables at its mean [-] or [N/(N m)]."""
    keys = (*load.ratios, load.angle) if load.angle else load.ratios
    values = {key: np.full((1, 1), variables[key].spread.mean) for key in keys}
    return float(line_factor(load, values).item())


def exceed_rate(load: Load, size: Floats, change: Change | None = None) -> Floats:
    """Return minus the log of the chance that one year's loads stay at or below `size`.

    Parameters
    ----------
    load : Load
        Of kind "annual_maximum" (``-ln F(x)``) or "event" (``rate (1 - F(x))``).
    size : ndarray, (..., n) [N]
        In the unit of the load's size: over its `line_factor`. Below 0 the load exceeds for sure:
        an infinite rate.
    change : Change, optional
        A changed spread of the load.
    """
    spread = load.size.spread
    asked = size
    if change is not None:
        asked = spread.mean + (size - change.shift - spread.mean) / max(change.squeeze, SMALLEST)
    event = load.kind == "event"
    rate = load.rate * spread.sf(asked) if event else spread.neg_log_cdf(asked)
    never = size < 0.0
    return np.where(never, np.inf, rate) if never.any() else rate


@dataclass(frozen=True, slots=True)
class Hazard:
    """Yearly failure rates at given resistances [1/years], one for each slice of the life.

    ``exp(-accumulated(rate, spans))`` is the chance to outlive the spans, exactly.
    """

    total: Floats
    """Any rod of the set, (slices, n)."""
    rod: Floats
    """Each rod, (slices, rods, n)."""
    mode: Floats
    """Each mode over the whole set, (slices, modes, n)."""


def accumulated(rate: Floats, spans: Floats) -> Floats:
    """Return the sum over slices of rate times years in it [-], from (slices, ...) to (...).

    Parameters
    ----------
    rate : ndarray, (slices, ...) [1/years]
        May be infinite.
    spans : ndarray, (slices,) [years]
        Time spent in each slice; what is not reached does not count.
    """
    total: Floats = np.zeros(rate.shape[1:])
    for each, span in zip(rate, spans, strict=True):
        if span > 0.0:
            total = total + each * span
    return total


def spans_until(edges: Floats, age: float) -> Floats:
    """Return the years of each slice that lie before an age, (slices,) [years]."""
    return np.clip(age - edges[:-1], 0.0, np.diff(edges))


def hazard(
    scenario: Scenario,
    values: Mapping[str, Floats],
    slices: Sequence[tuple[Floats, Floats | None]],
    gone: Sequence[int],
    changes: Mapping[str, Change],
) -> Hazard:
    """Return the failure rates of a set for given resistances.

    Parameters
    ----------
    scenario : Scenario
    values : mapping of str to ndarray, (copies, n)
    slices : sequence of (ndarray, ndarray or None), (modes, rods, n) [N]
        Resistances by mode in each slice, to a pull and to a push; None where nothing pushes.
    gone : sequence of int
        Modes that fail without a load where their resistance is 0.
    changes : mapping of str to Change
        Changed spreads of loads, by key.
    """
    found = [_in_slice(scenario, values, pull, push, gone, changes) for pull, push in slices]
    return Hazard(*(np.stack(part) for part in zip(*found, strict=True)))


def failure_rate(
    scenario: Scenario,
    values: Mapping[str, Floats],
    slices: Sequence[tuple[Floats, Floats | None]],
    gone: Sequence[int],
    changes: Mapping[str, Change],
) -> Floats:
    """Return `Hazard.total` alone, (slices, n) [1/years]: the weakest link of each rod decides.

    Parameters
    ----------
    scenario, values, slices, gone, changes
        As for `hazard`.
    """
    found = [_rate_in_slice(scenario, values, pull, push, gone, changes) for pull, push in slices]
    return np.stack(found)


def _rate_in_slice(
    scenario: Scenario,
    values: Mapping[str, Floats],
    pull: Floats,
    push: Floats | None,
    gone: Sequence[int],
    changes: Mapping[str, Change],
) -> Floats:
    """Return the failure rate of the set in one slice, (n,) [1/years]; as for `_in_slice`."""
    weakest, thrust = pull.min(axis=0), None if push is None else push.min(axis=0)
    steady, factor = sustained_sum(scenario, values), values["model.load_factor"]
    total = np.zeros(weakest.shape[1])
    for load in scenario.loads:
        if load.lasting:
            continue
        over, change = factor * line_factor(load, values), changes.get(load.size.key)
        room = room_for(load, weakest, thrust, steady) / over
        if load.scope == "all":
            total += exceed_rate(load, room.min(axis=0), change)
        else:
            total += exceed_rate(load, room, change).sum(axis=0)
    highest, lowest = lasting_range(scenario, values)
    alone = highest > weakest
    if thrust is not None:
        alone = alone | (-lowest > thrust)
    for mode in gone:
        alone |= pull[mode] <= 0.0
    total[alone.any(axis=0)] = np.inf
    return total


def _in_slice(
    scenario: Scenario,
    values: Mapping[str, Floats],
    pull: Floats,
    push: Floats | None,
    gone: Sequence[int],
    changes: Mapping[str, Change],
) -> tuple[Floats, Floats, Floats]:
    """Return the failure rates of the set, its rods and its modes in one slice [1/years].

    Parameters
    ----------
    scenario : Scenario
    values : mapping of str to ndarray, (copies, n)
    pull, push : ndarray, (modes, rods, n) [N]
        Resistances by mode; `push` None where nothing pushes.
    gone, changes
        As for `hazard`.
    """
    modes, rods, n = pull.shape
    steady = sustained_sum(scenario, values)
    factor = values["model.load_factor"]
    by_mode, by_rod, total = np.zeros((modes, n)), np.zeros((rods, n)), np.zeros(n)
    for load in scenario.loads:
        if load.lasting:
            continue
        over, change = factor * line_factor(load, values), changes.get(load.size.key)
        for part in _parts(n, rods):
            cut = pull[..., part], None if push is None else push[..., part]
            room = room_for(load, *cut, _of(steady, part)) / _of(over, part)
            acting, rate, rate_rod = _rates(load, room, change)
            by_mode[acting, part] += rate
            by_rod[:, part] += rate_rod
            total[part] += rate_rod.max(axis=0) if load.scope == "all" else rate_rod.sum(axis=0)
    highest, lowest = lasting_range(scenario, values)
    alone = highest > pull
    if push is not None:
        alone = alone | (-lowest > push)
    for mode in gone:
        alone[mode] |= pull[mode] <= 0.0
    by_mode[alone.any(axis=1)] = np.inf
    by_rod[alone.any(axis=0)] = np.inf
    total[alone.any(axis=(0, 1))] = np.inf
    return total, by_rod, by_mode


def _rates(load: Load, room: Floats, change: Change | None) -> tuple[slice | Ints, Floats, Floats]:
    """Return the modes that a load reaches, their rates, (k, n), and those of the rods, (rods, n).

    Parameters
    ----------
    load : Load
    room : ndarray, (modes, rods, n) [N]
        What it may reach, over its `line_factor`.
    change : Change, optional
    """
    acting = np.flatnonzero(np.isfinite(room).any(axis=(1, 2)))
    if not acting.size:
        return slice(0), np.zeros((0, room.shape[2])), np.zeros(room.shape[1:])
    room = room[acting]
    if load.scope != "all":
        rates = exceed_rate(load, room, change)
        return acting, rates.sum(axis=1), rates.max(axis=0)
    rate = exceed_rate(load, room.min(axis=1), change)
    if room.shape[1] == 1:
        return acting, rate, rate.max(axis=0, keepdims=True)
    return acting, rate, exceed_rate(load, room.min(axis=0), change)


def _parts(n: int, rods: int) -> list[slice]:
    """Return slices of the draws whose arrays stay in the processor's own memory."""
    step = max(MOST_AT_ONCE // rods, 256)
    return [slice(start, start + step) for start in range(0, n, step)]


def _of(array: Floats, part: slice) -> Floats:
    return array if array.shape[-1] == 1 else array[..., part]


def room_for(load: Load, pull: Floats, push: Floats | None, steady: Floats) -> Floats:
    """Return what a variable load may reach before a rod fails [N], shaped like `pull`."""
    rooms, still = [], not steady.any()
    if load.direction in ("pull", "both"):
        rooms.append(pull if still else pull - steady)
    if load.direction in ("push", "both") and push is not None:
        rooms.append(push if still else push + steady)
    return rooms[0] if len(rooms) == 1 else np.minimum(rooms[0], rooms[1])


def pushes(scenario: Scenario) -> bool:
    """Tell whether any load can push the rod."""
    return any(
        _below_zero(load) if load.lasting else load.direction in ("push", "both")
        for load in scenario.loads
    )


def _below_zero(load: Load) -> bool:
    """Tell whether a lasting load, or a part of its cycles, can be a push."""
    turned = load.reach < 0.0
    if load.mean is not None:
        middle = load.mean.spread
        lowest = -middle.isf(RAREST_PUSH) if turned else middle.ppf(RAREST_PUSH)
        return bool(lowest < load.size.spread.isf(RAREST_PUSH))
    size = load.size.spread
    return bool(size.sf(np.float64(0.0)) > 0.0 if turned else size.cdf(np.float64(0.0)) > 0.0)


def typical_size(load: Load, years: float, exceeded: float = 0.5) -> float:
    """Return the size of a variable load that its largest of `years` exceeds so often [N].

    As the load is written: the force in the rod is `line_factor` times as large.

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
