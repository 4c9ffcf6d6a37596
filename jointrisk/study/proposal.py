"""Where to draw so that rare failures are seen: the proposal of a set of rods.

Every rod and both ends of it are alike, so the search runs on one rod and its result is
laid over every joint of the set. Searched are the ways to fail (the bond under each
direction of load, each member) from sound labels, and the bond of a weak joint, at several
distances each. A pilot sample then tells which of them matter, and their shares follow; a
guard share stays with the plain density, so that what no search saw is still met.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.model.bond import BOND_MODES
from jointrisk.model.layout import ENDS, lift_columns, lift_labels
from jointrisk.model.loads import room_for, sustained_sum, typical_size
from jointrisk.reliability.ladder import ladder
from jointrisk.reliability.mixture import Proposal

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet

    Array = npt.NDArray[np.float64]
    Margin = Callable[[Array], Array]

GUARD_SHARE = 0.2
EVEN_SHARE = 0.25
SOUND_LEVELS = (1.5, 3.0, 4.5, 6.0)
WEAK_LEVELS = (0.0, 1.5, 3.0, 4.5)
MEMBER_LEVELS = (2.5, 4.0, 5.5)
BAD_BELOW = 2.0
"""A bad batch is searched no farther: its joints are weak enough."""
FLOOR = 1e-12
RAREST = 1e-10
LABEL_STEP = 0.05


@dataclass(frozen=True, slots=True)
class Plan:
    """A proposal and which pattern (search and distance) each component belongs to."""

    proposal: Proposal
    pattern: npt.NDArray[np.intp]
    """(K,); 0 is the guard."""


def first_plan(single: RodSet, full: RodSet) -> Plan:
    """Build the proposal before any draw: equal shares for all patterns beside the guard.

    Parameters
    ----------
    single, full : RodSet
        The same scenario with one rod, and with all.
    """
    patterns: list[tuple[Array, Array]] = []
    ends = range(ENDS) if single.layout.second else range(1)
    for end, (margin, forced, levels) in ((e, s) for e in ends for s in _searches(single, e)):
        points = ladder(margin, single.layout.dimension, levels, active=_one_joint(single, end))
        tilt = _label_tilt(single, forced)
        for point, level in zip(points, levels, strict=True):
            if level == 0.0 or np.any(point):
                patterns.append((point + tilt, forced))
            in_bad = single.layout.bad_batch_labels.stop and np.any(forced == 1.0)
            if in_bad and level < BAD_BELOW:
                bad = _bad_batch(single)
                patterns.append((point + _label_tilt(single, bad), bad))
    directions = [np.zeros(full.layout.dimension)]
    forcings = [np.full(full.layout.label_count, np.nan)]
    pattern = [0]
    for number, (point, forced) in enumerate(patterns, start=1):
        for direction, labels in _lifted(single, full, point, forced):
            directions.append(direction)
            forcings.append(labels)
            pattern.append(number)
    pattern_of = np.array(pattern, dtype=np.intp)
    weights = np.full(len(patterns) + 1, 1.0 / max(len(patterns), 1))
    proposal = Proposal(_shares(pattern_of, weights), np.stack(directions), np.stack(forcings))
    return Plan(proposal, pattern_of)


def refined_plan(plan: Plan, component: npt.NDArray[np.intp], terms: Array) -> Plan:
    """Give the patterns shares by what they brought in a pilot sample.

    Parameters
    ----------
    plan : Plan
        The plan the pilot was drawn from.
    component : ndarray of int, (n,)
        Component of each pilot draw.
    terms : ndarray, (n,) [-]
        Weight times failure chance of each.
    """
    patterns = int(plan.pattern.max()) + 1
    brought = np.bincount(plan.pattern[component], terms, minlength=patterns)
    brought[0] = 0.0
    if patterns == 1 or not brought.sum() > 0.0:
        return plan
    even = np.full(patterns, EVEN_SHARE / (patterns - 1))
    weights = even + (1.0 - EVEN_SHARE) * brought / brought.sum()
    proposal = Proposal(
        _shares(plan.pattern, weights), plan.proposal.directions, plan.proposal.forced
    )
    return Plan(proposal, plan.pattern)


def _shares(pattern: npt.NDArray[np.intp], weights: Array) -> Array:
    """Share the draws: the guard its own, the rest by pattern, evenly inside each."""
    inside = np.bincount(pattern)
    shares = weights[pattern] / inside[pattern]
    shares[0] = 0.0
    if shares.size == 1:
        return np.ones(1)
    shares *= (1.0 - GUARD_SHARE) / shares.sum()
    shares[0] = GUARD_SHARE
    return np.asarray(shares / shares.sum())


def _searches(single: RodSet, end: int) -> list[tuple[Margin, Array, tuple[float, ...]]]:
    """Return (margin, forced labels, distances) of every search on one end of one rod."""
    layout = single.layout
    free = np.full(layout.label_count, np.nan)
    searches: list[tuple[Margin, Array, tuple[float, ...]]] = [
        (_bond_margin(single, None), free, SOUND_LEVELS)
    ]
    weak_labels = layout.weak_joint_labels
    if weak_labels.stop > weak_labels.start:
        weak = free.copy()
        weak[weak_labels.start + end] = 1.0
        searches.append((_bond_margin(single, end), weak, WEAK_LEVELS))
    for push in (False, True) if single.push else (False,):
        values = single.values(np.zeros((1, layout.dimension)))
        for name in single.member_resistance(values, 1, push=push):
            margin = _member_margin(single, name, push)
            if _within_reach(single, margin):
                searches.append((margin, free, MEMBER_LEVELS))
    return searches


def _bad_batch(single: RodSet) -> Array:
    """Return the labels of a bad batch, the joints left to chance, (L,)."""
    bad = np.full(single.layout.label_count, np.nan)
    bad[0] = 1.0
    return bad


def _within_reach(single: RodSet, margin: Margin) -> bool:
    """Tell whether a load of chance `RAREST` could find the member at the largest distance."""
    point = ladder(margin, single.layout.dimension, MEMBER_LEVELS[-1:], iterations=1)
    scenario = single.scenario
    reach = [
        typical_size(load, scenario.life, RAREST) / typical_size(load, scenario.life)
        for load in scenario.loads
        if load.kind != "sustained"
    ]
    return bool(margin(point)[0] < np.log(max(reach, default=1.0)))


def _bond_margin(single: RodSet, weak_end: int | None) -> Margin:
    layout = single.layout
    weak = weak_end is not None

    def margin(u: Array) -> Array:
        labels = np.zeros((u.shape[0], layout.label_count), dtype=bool)
        if weak:
            labels[:, layout.weak_joint_labels.start + (weak_end or 0)] = True
        values = single.values(u)
        strength = single.resistance(values, labels, with_rig=False, with_wall=not weak)
        bonds = slice(0, len(BOND_MODES))
        pull = strength.pull[bonds].min(axis=0)
        push = None if strength.push is None else strength.push[bonds].min(axis=0)
        return _lowest_room(single, values, pull, push)

    return margin


def _member_margin(single: RodSet, name: str, push: bool) -> Margin:
    def margin(u: Array) -> Array:
        values = single.values(u)
        own = single.member_resistance(values, u.shape[0], push=push)[name]
        other = np.full(own.shape, np.inf)
        return _lowest_room(single, values, other if push else own, own if push else other)

    return margin


def _lowest_room(
    single: RodSet, values: Mapping[str, Array], pull: Array, push: Array | None
) -> Array:
    """Log of what the loads may reach over what they typically reach, lowest over loads, (n,)."""
    scenario = single.scenario
    steady = sustained_sum(scenario, values)
    rooms = [
        room_for(load, pull, push, steady)
        / values["model.load_factor"]
        / typical_size(load, scenario.life)
        for load in scenario.loads
        if load.kind != "sustained"
    ]
    if not rooms:
        rooms = [pull - steady if push is None else np.minimum(pull - steady, push + steady)]
    return np.asarray(np.log(np.maximum(np.min(rooms, axis=0), FLOOR)).min(axis=0))


def _one_joint(single: RodSet, end: int) -> npt.NDArray[np.bool_]:
    """Which columns belong to one end, its rod or something shared."""
    active = np.ones(single.layout.dimension, dtype=bool)
    other = ("second end", "first end")[end]
    for key, columns in single.layout.columns.items():
        if single.layout.scopes[key] == "joint":
            active[columns.start + 1 - end] = False
        elif single.layout.scopes[key] == other:
            active[columns] = False
    return active


def _label_tilt(single: RodSet, forced: Array) -> Array:
    """Slope of the log chance of the forced labels, (d,): where their weights are unknown."""
    asked = np.flatnonzero(forced == 1.0)
    dimension = single.layout.dimension
    if asked.size == 0:
        return np.zeros(dimension)
    steps = LABEL_STEP * np.eye(dimension)
    rows = np.concatenate([steps, -steps])
    labels = np.zeros((rows.shape[0], single.layout.label_count), dtype=bool)
    tilt = np.zeros(dimension)
    for label in asked:
        chance = np.log(np.maximum(single.label_chance(int(label), rows, labels), FLOOR))
        ahead, behind = chance.reshape(2, dimension)
        tilt += (ahead - behind) / (2.0 * LABEL_STEP)
    return tilt


def _lifted(single: RodSet, full: RodSet, point: Array, forced: Array) -> list[tuple[Array, Array]]:
    """Lay one rod's point and labels over every joint of the set; each result once.

    Where the ends differ a point stays at the end it was found for.
    """
    found: dict[bytes, tuple[Array, Array]] = {}
    for rod in range(full.layout.rods):
        for end in range(1 if full.layout.second else ENDS):
            direction = np.zeros(full.layout.dimension)
            direction[lift_columns(single.layout, full.layout, rod, end)] = point
            labels = np.full(full.layout.label_count, np.nan)
            labels[lift_labels(single.layout, full.layout, rod, end)] = forced
            found.setdefault(direction.tobytes() + labels.tobytes(), (direction, labels))
    return list(found.values())
