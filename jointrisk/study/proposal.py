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

from jointrisk.model.layout import ENDS, lift_columns, lift_labels
from jointrisk.model.loads import (
    lasting_range,
    line_factor,
    room_for,
    sustained_sum,
    typical_size,
)
from jointrisk.reliability.ladder import ladder
from jointrisk.reliability.mixture import Proposal

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet

    Array = npt.NDArray[np.float64]
    Margin = Callable[[Array], Array]
    Pattern = tuple[Array, Array]

GUARD_SHARE = 0.2
EVEN_SHARE = 0.25
SOUND_LEVELS = (1.5, 3.0, 4.5, 6.0)
WEAK_LEVELS = (0.0, 1.5, 3.0, 4.5)
MEMBER_LEVELS = (2.5, 4.0, 5.5)
BAD_BELOW = 2.0
"""A bad batch is searched no farther: its joints are weak enough."""
ITERATIONS = 2
HOTTEST = 7.0
"""Too hot a day that is farther out than this is never met [-]."""
NEAR = 1.2
"""Points of like labels nearer than this serve as one [-]."""
FLOOR = 1e-12
RAREST = 1e-10
LABEL_STEP = 0.05


@dataclass(frozen=True, slots=True)
class Search:
    """One way to fail, and how far it is looked for."""

    margin: Margin
    forced: Array
    """Labels that are fixed, (L,); NaN leaves one to chance."""
    levels: tuple[float, ...]
    active: npt.NDArray[np.bool_]
    """Coordinates that may move, (d,)."""
    always: bool = False
    """Kept even where no load seems to reach it: misfit may break a bond without a load."""


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
    return laid_plan(patterns_of(single), single, full)


def patterns_of(single: RodSet, searches: Sequence[Search] | None = None) -> list[Pattern]:
    """Look for the points of one rod at which it fails, each with the labels it has there.

    Parameters
    ----------
    single : RodSet
        One rod.
    searches : sequence of Search, optional
        What is looked for; by default every way to fail.
    """
    patterns: list[Pattern] = []
    free = np.full(single.layout.label_count, np.nan)
    patterns.extend((point, free) for point in _too_hot(single))
    for search in searches_of(single) if searches is None else searches:
        for level, point in _points(single, search):
            tilted = point + _label_tilt(single, search.forced)
            if (level == 0.0 or np.any(point)) and _is_new(patterns, tilted, search.forced):
                patterns.append((tilted, search.forced))
            weak = single.layout.bad_batch_labels.stop and np.any(search.forced == 1.0)
            if weak and level < BAD_BELOW:
                bad = _bad_batch(single)
                tilted = point + _label_tilt(single, bad)
                if _is_new(patterns, tilted, bad):
                    patterns.append((tilted, bad))
    return patterns


def laid_plan(patterns: Sequence[Pattern], single: RodSet, full: RodSet) -> Plan:
    """Lay the patterns of one rod over every joint of the set, all with the same share."""
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


def searches_of(single: RodSet) -> list[Search]:
    """Return every way to fail on its own: a least of several has the slope of one of them only.

    Ends that are alike are searched once.
    """
    layout = single.layout
    free = np.full(layout.label_count, np.nan)
    joint_labels = (layout.weak_joint_labels, layout.latent_joint_labels)
    poor = [labels for labels in joint_labels if labels.stop > labels.start]
    middle = single.values(np.zeros((1, layout.dimension)))
    searches: list[Search] = []
    for end in range(ENDS if layout.second else 1):
        active = one_joint(single, end)
        for state in single.bond_states():
            sound = _bond_margin(single, end, state)
            bond = not state["wall"]
            searches.append(Search(sound, free, SOUND_LEVELS, active, always=bond))
            for label in poor if bond else ():
                forced = free.copy()
                forced[label.start + end] = 1.0
                margin = _bond_margin(single, end, state, label=label.start + end)
                searches.append(Search(margin, forced, WEAK_LEVELS, active, always=True))
        for name in single.joint_wear(middle, np.zeros((1, layout.label_count), dtype=bool)):
            margin = _wear_margin(single, end, name)
            searches.append(Search(margin, free, SOUND_LEVELS, active, always=True))
        for push in (False, True) if single.push else (False,):
            for name in single.member_resistance(middle, 1, push=push):
                margin = _member_margin(single, name, push)
                searches.append(Search(margin, free, MEMBER_LEVELS, active))
    return searches


def _points(single: RodSet, search: Search) -> list[tuple[float, Array]]:
    """Return distance and point of each step of a search; none of a limit out of reach."""
    points = ladder(
        search.margin,
        single.layout.dimension,
        search.levels,
        active=search.active,
        iterations=ITERATIONS,
    )
    if not search.always and search.margin(points[-1:])[0] > _reach(single):
        return []
    return list(zip(search.levels, points, strict=True))


def _is_new(patterns: list[Pattern], point: Array, forced: Array) -> bool:
    """Tell whether no pattern with the same labels lies next to the point."""
    return not any(
        np.array_equal(labels, forced, equal_nan=True)
        and float(np.sum((other - point) ** 2)) < NEAR**2
        for other, labels in patterns
    )


def _too_hot(single: RodSet) -> list[Array]:
    """Return the point at which the adhesive carries nothing: a cliff has no slope to follow."""
    columns = single.layout.columns.get("service.hottest")
    if columns is None:
        return []
    stop = np.float64(single.scenario.hard_stop_temperature)
    above = single.variables["service.hottest"].spread.to_normal(stop)
    point = np.zeros(single.layout.dimension)
    point[columns] = above
    return [point] if NEAR < float(above) < HOTTEST else []


def _bad_batch(single: RodSet) -> Array:
    """Return the labels of a bad batch, the joints left to chance, (L,)."""
    bad = np.full(single.layout.label_count, np.nan)
    bad[0] = 1.0
    return bad


def _reach(single: RodSet) -> float:
    """Return the log of how far above its typical size a load of chance `RAREST` may be."""
    scenario = single.scenario
    reach = [
        typical_size(load, scenario.life, RAREST) / typical_size(load, scenario.life)
        for load in scenario.loads
        if not load.lasting
    ]
    return float(np.log(max(reach))) if reach else np.inf


def _bond_margin(
    single: RodSet, end: int, state: Mapping[str, bool], *, label: int | None = None
) -> Margin:
    """Return the margin of one bond in one state, with `label` true and no other."""
    layout = single.layout

    def margin(u: Array) -> Array:
        labels = np.zeros((u.shape[0], layout.label_count), dtype=bool)
        if label is not None:
            labels[:, label] = True
        values = single.values(u, keys=single.strength_keys, labels=labels)
        force = single.joint_force(values, labels, **state)[end : end + 1]
        if not single.push or _alike(single):
            return _lowest_room(single, values, force, force if single.push else None)
        other = np.full(force.shape, np.inf)
        pull, push = (other, force) if state["push"] else (force, other)
        return _lowest_room(single, values, pull, push)

    return margin


def _wear_margin(single: RodSet, end: int, name: str) -> Margin:
    """Return the margin of one bond against time, or of its back-up where that is larger."""

    def margin(u: Array) -> Array:
        values = single.values(u, keys=single.strength_keys)
        labels = np.zeros((u.shape[0], single.layout.label_count), dtype=bool)
        own = single.joint_wear(values, labels)[name][end]
        held = single.backup_force(values, u.shape[0])
        if held is None:
            return np.asarray(own)
        pull, push = held[0][end : end + 1], held[1]
        if push is not None:
            push = push[end : end + 1]
        elif single.push:  # the shoulder bears it
            push = np.full(pull.shape, np.inf)
        room = _lowest_room(single, values, pull, push)
        return np.asarray(np.maximum(own, room))

    return margin


def _alike(single: RodSet) -> bool:
    """Tell whether a bond holds as much in a push as in a pull and is asked for both."""
    return not any(state["push"] for state in single.bond_states()) and not single.scenario.shoulder


def _member_margin(single: RodSet, name: str, push: bool) -> Margin:
    def margin(u: Array) -> Array:
        values = single.values(u, keys=single.strength_keys)
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
        / (values["model.load_factor"] * line_factor(load, values))
        / typical_size(load, scenario.life)
        for load in scenario.loads
        if not load.lasting
    ]
    if scenario.cycles:
        highest, lowest = lasting_range(scenario, values)
        rooms.append(pull / np.maximum(highest, FLOOR))
        if push is not None:
            rooms.append(push / np.maximum(-lowest, FLOOR))
    if not rooms:
        rooms = [pull - steady if push is None else np.minimum(pull - steady, push + steady)]
    return np.asarray(np.log(np.maximum(np.min(rooms, axis=0), FLOOR)).min(axis=0))


def one_joint(single: RodSet, end: int) -> npt.NDArray[np.bool_]:
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
