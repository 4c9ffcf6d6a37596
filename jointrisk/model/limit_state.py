"""A set of rods as one plain limit state: named variables in, a margin out.

For anyone who wants to hold an assessment against another estimator. Every independent
draw is a variable of its own (``plug.overlap[3]`` is joint 3's overlap); the largest load of
the life is one too; labels are uniform scores that fall below their chance.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jointrisk.model.loads import sustained_sum
from jointrisk.model.rodset import RodSet, rod_set
from jointrisk.scenario.types import Load, Scenario
from jointrisk.spread import MaximumOf, MaximumOfEvents, Spread, Uniform

Array = npt.NDArray[np.float64]
SMALLEST = 1e-300


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
        if load.kind != "sustained":
            for name in _names(load.size.key, 1 if load.scope == "all" else scenario.rods):
                variables[name] = largest(load, scenario.life) or Uniform(0.0, 1.0)

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


def _label_names(rods: RodSet) -> list[str]:
    layout = rods.layout
    weak = range(layout.label_count - layout.bad_batch_labels.stop)
    bad = [f"bad batch[{batch}]" for batch in range(layout.bad_batch_labels.stop)]
    return bad + [f"weak joint[{joint}]" for joint in weak]


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
    strength = rods.resistance(values, _labels(rods, values, x, n), with_rig=False)
    pull, push = strength.pull_rod, strength.push_rod
    steady = sustained_sum(scenario, values)
    factor = values["model.load_factor"]
    margin = np.log(np.maximum(pull, SMALLEST) / np.maximum(steady, SMALLEST)).min(axis=0)
    if push is not None:
        pushed = np.log(np.maximum(push, SMALLEST) / np.maximum(-steady, SMALLEST)).min(axis=0)
        margin = np.minimum(margin, pushed)
    for load in scenario.loads:
        if load.kind == "sustained":
            continue
        names = _names(load.size.key, 1 if load.scope == "all" else scenario.rods)
        drawn = np.stack([x[name] for name in names])
        size = _size(load, scenario.life, drawn) * factor
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
    for label, name in enumerate(_label_names(rods)):
        if label < layout.bad_batch_labels.stop:
            chance = bad
        else:
            batch = int(layout.batch_of_joint[label - layout.weak_joint_labels.start])
            in_bad = np.maximum(share[min(batch, share.shape[0] - 1)], lone)
            is_bad = labels[:, batch] if layout.bad_batch_labels.stop else np.zeros(n, dtype=bool)
            chance = np.where(is_bad, in_bad, lone)
        labels[:, label] = x[name] < chance
    return labels
