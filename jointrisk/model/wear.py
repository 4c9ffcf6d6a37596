"""What repeated and steady loads do to the bonds of a set, slice by slice of its life."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics import fatigue
from jointrisk.mechanics.ageing import sustained_ratio
from jointrisk.model.ageing import STEADY_KEY
from jointrisk.model.loads import line_factor, sustained_sum

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from jointrisk.model.layout import Floats, Layout
    from jointrisk.scenario.types import Load, Scenario

FAR, MOST = 1e-300, 1e9
"""Smallest number that a logarithm is taken of, and largest ratio of load to strength."""


@dataclass(frozen=True, slots=True)
class Bearing:
    """What the bonds hold at the end of one slice before any wear, each joint."""

    pull: Floats
    """[N], (joints, n)."""
    push: Floats | None
    """[N], (joints, n); None where no bond is pushed."""
    years: float
    """Length of the slice [years]."""

    @property
    def lowest(self) -> Floats:
        """The lower of both directions [N], (joints, n)."""
        return self.pull if self.push is None else np.minimum(self.pull, self.push)


@dataclass(frozen=True, slots=True)
class Wear:
    """What is left at the end of one slice."""

    keeps: Floats
    """Share of the strength left for one large load, (joints, n) [-]; 0 where worn out."""
    damage: Floats
    """Share of the cycles to failure used up, over what this joint bears, (joints, n) [-]."""


def worn(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    bearings: Sequence[Bearing],
) -> list[Wear]:
    """Return what cycles leave of each joint at the end of each slice.

    The largest load of a cycle counts against the strength of its direction at the end of the
    slice, hot or cold, whichever is the lower.

    Parameters
    ----------
    scenario, layout
    values : mapping of str to ndarray, (1, n), (rods, n) or (joints, n)
        As `placed` gives them.
    bearings : sequence of Bearing
        One for each slice of the life.
    """
    limit = values["ageing.damage_at_failure"]
    exponent, height = values["ageing.fatigue_exponent"], values["ageing.fatigue_height"]
    done: Floats = np.zeros_like(bearings[0].pull)
    found = []
    for bearing in bearings:
        largest: Floats = np.zeros_like(done)
        for load in scenario.cycles:
            ratio = _ratio(scenario, layout, values, load, bearing)
            largest = np.maximum(largest, ratio)
            done = done + fatigue.miner_damage(
                ratio[None],
                np.array([load.rate]),
                bearing.years,
                coefficient=height,
                exponent=exponent,
            )
        keeps = fatigue.residual_strength(largest, done, limit)
        found.append(Wear(np.asarray(keeps), np.asarray(done / limit)))
    return found


def wear_margin(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], bearing: Bearing
) -> Floats:
    """Return ln(damage borne over damage done) at the end of one slice, (joints, n) [-].

    The fatigue line is drawn on above a ratio of 1, so that the margin has a slope everywhere;
    its sign is that of `worn`.
    """
    exponent, height = values["ageing.fatigue_exponent"], values["ageing.fatigue_height"]
    done: Floats = np.zeros_like(bearing.pull)
    largest: Floats = np.zeros_like(bearing.pull)
    for load in scenario.cycles:
        ratio = np.minimum(_ratio(scenario, layout, values, load, bearing), MOST)
        largest = np.maximum(largest, ratio)
        done = done + load.rate * bearing.years * (ratio / height) ** (1.0 / exponent)
    margin = np.log(np.maximum(values["ageing.damage_at_failure"], FAR) / np.maximum(done, FAR))
    return np.asarray(np.minimum(margin, -np.log(np.maximum(largest, FAR))))


def steady_margin(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], bearing: Bearing
) -> Floats:
    """Return ln(share that may stay on / share that does), (joints, n) [-]."""
    ratio = np.clip(steady_ratio(scenario, layout, values, bearing), FAR, MOST)
    margin = np.log(np.maximum(values[STEADY_KEY], FAR) / ratio)
    return np.asarray(np.broadcast_to(margin, bearing.pull.shape))


def steady_ratio(
    scenario: Scenario, layout: Layout, values: Mapping[str, Floats], bearing: Bearing
) -> Floats:
    """Return the share of its strength that a steady load takes of each joint, (joints, n) [-]."""
    steady = _of_joints(sustained_sum(scenario, values), layout)
    ratio = sustained_ratio(np.maximum(steady, 0.0), bearing.pull)
    if bearing.push is not None:
        ratio = np.maximum(ratio, sustained_ratio(np.maximum(-steady, 0.0), bearing.push))
    return np.asarray(ratio)


def _ratio(
    scenario: Scenario,
    layout: Layout,
    values: Mapping[str, Floats],
    load: Load,
    bearing: Bearing,
) -> Floats:
    """Return the largest load of a cycle over the strength in its direction, (joints, n) [-]."""
    assert load.mean is not None  # noqa: S101
    steady = _of_joints(sustained_sum(scenario, values), layout)
    amplitude, middle = (_of_joints(values[v.key], layout) for v in (load.size, load.mean))
    factor = values["model.load_factor"] * _of_joints(line_factor(load, values), layout)
    middle, amplitude = middle * factor, amplitude * np.abs(factor)
    highest = np.maximum(middle + amplitude + steady, 0.0)
    ratio = sustained_ratio(highest, bearing.pull)
    if bearing.push is not None:
        lowest = np.maximum(amplitude - middle - steady, 0.0)
        ratio = np.maximum(ratio, sustained_ratio(lowest, bearing.push))
    return np.asarray(np.broadcast_to(ratio, bearing.pull.shape))


def _of_joints(array: Floats, layout: Layout) -> Floats:
    """Lay values of all or of each rod, (copies, n), over the joints."""
    return array if array.shape[0] == 1 else array[layout.rod_of_joint]
