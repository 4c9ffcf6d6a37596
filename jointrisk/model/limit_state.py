"""A set of rods as one plain limit state: named variables in, a margin out.

For anyone who wants to hold an assessment against another estimator. Every independent
draw is a variable of its own (``plug.overlap[3]`` is joint 3's overlap); the largest load of
the life is one too, or that of each slice of it (``load.kerb.size, slice 2``); labels are uniform
scores that fall below their chance.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jointrisk.model.loads import lasting_range, line_factor, sustained_sum
from jointrisk.model.members import TIMED, modes_of
from jointrisk.model.resistance import Service
from jointrisk.model.rodset import RodSet, rod_set
from jointrisk.scenario.types import Load, Scenario
from jointrisk.spread import MaximumOf, MaximumOfEvents, Spread, Uniform

Array = npt.NDArray[np.float64]
SMALLEST = 1e-300
GONE = -700.0
"""Margin where time alone undid a bond [-]."""


@dataclass(frozen=True, slots=True)
class LimitState:
    """Failure where `function` is below 0."""

    function: Callable[[Mapping[str, Array]], Array]
    """Margin ln(R/D) of the weakest rod under the worst load, (n,) [-]."""
    variables: Mapping[str, Spread]
    correlation: Mapping[tuple[str, str], float]
    """Product-moment correlations by names."""


def limit_state(scenario: Scenario) -> LimitState:
    """Return the limit state of the whole set over the whole life."""
    rods = rod_set(scenario)
    variables: dict[str, Spread] = {}
    for key, columns in rods.layout.columns.items():
        for name in _names(key, columns.stop - columns.start):
            variables[name] = rods.variables[key].spread
    for name in _label_names(rods):
        variables[name] = Uniform(0.0, 1.0)
    for load in scenario.loads:
        if not load.lasting:
            for name in (name for names in _load_names(load, scenario) for name in names):
                years = scenario.life / scenario.slices
                variables[name] = largest(load, years) or Uniform(0.0, 1.0)

    def function(x: Mapping[str, Array]) -> Array:
        return _margin(rods, x)

    return LimitState(function, variables, _correlations(rods))


def largest(load: Load, years: float) -> Spread | None:
    """Return the spread of the largest size of a variable load over `years` [N].

    None for a yearly largest over less than a year: no spread of the package stands for it.
    """
    if load.kind == "event":
        return MaximumOfEvents(load.size.spread, load.rate * years)
    return MaximumOf(load.size.spread, years) if years >= 1.0 else None


def _size(load: Load, years: float, drawn: Array) -> Array:
    """Return sizes [N] from what is drawn: sizes, or their chances not to be exceeded."""
    if largest(load, years) is not None:
        return drawn
    return np.asarray(load.size.spread.ppf(drawn ** (1.0 / years)))


def _names(key: str, count: int) -> list[str]:
    return [key] if count == 1 else [f"{key}[{index}]" for index in range(count)]


def _load_names(load: Load, scenario: Scenario) -> list[list[str]]:
    """Return the names of a load's largest sizes, a list for each slice of the life."""
    keys = [load.size.key]
    if scenario.slices > 1:
        keys = [f"{load.size.key}, slice {number + 1}" for number in range(scenario.slices)]
    return [_names(key, 1 if load.scope == "all" else scenario.rods) for key in keys]


def _label_names(rods: RodSet) -> list[str]:
    layout = rods.layout
    kinds = {
        "bad batch": layout.bad_batch_labels,
        "weak joint": layout.weak_joint_labels,
        "latent joint": layout.latent_joint_labels,
    }
    return [
        f"{kind}[{place}]" for kind, own in kinds.items() for place in range(own.stop - own.start)
    ]


def _correlations(rods: RodSet) -> dict[tuple[str, str], float]:
    found = {}
    layout = rods.layout
    for (first, second), value in rods.scenario.correlations.items():
        if first in layout.columns and second in layout.columns:
            columns = layout.columns[first]
            count = columns.stop - columns.start
            pairs = zip(_names(first, count), _names(second, count), strict=True)
            found.update(dict.fromkeys(pairs, value))
    return found


def _margin(rods: RodSet, x: Mapping[str, Array]) -> Array:
    layout, scenario = rods.layout, rods.scenario
    values: dict[str, Array] = {}
    for key, variable in rods.variables.items():
        columns = layout.columns.get(key)
        if columns is None:
            values[key] = np.full((1, 1), variable.spread.mean)
        else:
            values[key] = np.stack([x[name] for name in _names(key, columns.stop - columns.start)])
    n = next(iter(x.values())).shape[0]
    labels = _labels(rods, values, x, n)
    strength = rods.resistance(values, labels, with_rig=False)
    drawn = {
        load.size.key: [
            np.stack([x[name] for name in names]) for names in _load_names(load, scenario)
        ]
        for load in scenario.loads
        if not load.lasting
    }
    margins = [
        _slice_margin(rods, values, service, {key: sizes[number] for key, sizes in drawn.items()})
        for number, service in enumerate(strength.slices)
    ]
    return np.asarray(np.min(margins, axis=0))


def _slice_margin(
    rods: RodSet, values: Mapping[str, Array], service: Service, drawn: Mapping[str, Array]
) -> Array:
    """Return the margin of one slice of the life, (n,) [-]."""
    scenario = rods.scenario
    pull = service.pull.min(axis=0)
    push = None if service.push is None else service.push.min(axis=0)
    steady = sustained_sum(scenario, values)
    highest, lowest = lasting_range(scenario, values)
    margin = np.log(np.maximum(pull, SMALLEST) / np.maximum(highest, SMALLEST)).min(axis=0)
    if push is not None:
        pushed = np.log(np.maximum(push, SMALLEST) / np.maximum(-lowest, SMALLEST)).min(axis=0)
        margin = np.minimum(margin, pushed)
    names = modes_of(scenario)
    for mode in TIMED:
        if mode in names:
            gone = (service.pull[names.index(mode)] <= 0.0).any(axis=0)
            margin = np.where(gone, GONE, margin)
    for load in scenario.loads:
        if load.lasting:
            continue
        factor = values["model.load_factor"] * line_factor(load, values)
        size = _size(load, scenario.life / scenario.slices, drawn[load.size.key]) * factor
        for direction, resistance, sign in (("pull", pull, 1.0), ("push", push, -1.0)):
            if resistance is not None and load.direction in (direction, "both"):
                room = log_margin(resistance, sign * steady, size)
                margin = np.minimum(margin, room)
    return np.asarray(margin)


def log_margin(resistance: Array, steady: Array, size: Array) -> Array:
    """Return ln(R / D) of the weakest rod, D the steady part plus the variable one, (n,) [-]."""
    demand = np.maximum(steady + size, SMALLEST)
    return np.asarray(np.log(np.maximum(resistance, SMALLEST) / demand).min(axis=0))


def _labels(
    rods: RodSet, values: Mapping[str, Array], x: Mapping[str, Array], n: int
) -> npt.NDArray[np.bool_]:
    layout = rods.layout
    labels = np.zeros((n, layout.label_count), dtype=bool)
    lone = np.clip(values["weak_bonds.lone_weight"][0], 0.0, 1.0)
    bad = np.clip(values["weak_bonds.bad_batch_weight"][0], 0.0, 1.0)
    share = np.clip(values["weak_bonds.share_in_bad_batch"], 0.0, 1.0)
    latent = np.zeros((1, 1))
    if layout.latent_joint_labels.stop > layout.latent_joint_labels.start:
        latent = np.clip(values["weak_bonds.latent_weight"], 0.0, 1.0)
    for label, name in enumerate(_label_names(rods)):
        if label < layout.bad_batch_labels.stop:
            chance = bad
        elif label >= layout.weak_joint_labels.stop:
            chance = latent[0]
        else:
            batch = int(layout.batch_of_joint[label - layout.weak_joint_labels.start])
            in_bad = np.maximum(share[min(batch, share.shape[0] - 1)], lone)
            is_bad = labels[:, batch] if layout.bad_batch_labels.stop else np.zeros(n, dtype=bool)
            chance = np.where(is_bad, in_bad, lone)
        labels[:, label] = x[name] < chance
    return labels
