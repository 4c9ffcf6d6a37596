"""Plain facts of a scenario that a default fills in, each put another way."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from jointrisk import units
from jointrisk.scenario import tables
from jointrisk.scenario.given import read_given
from jointrisk.scenario.members import points_text

if TYPE_CHECKING:
    from collections.abc import Callable

    from jointrisk.scenario.doubt_rows import Row
    from jointrisk.scenario.tables import Points
    from jointrisk.scenario.types import Load, Scenario, Variable

    Changed = list[tuple[str, Scenario]]

__all__ = ["changed"]

_REFERENCE = 23.0
"""Temperature at which every curve of strength is 1 [degC]."""
_OWN = ("own coupons", "own pulls")


def changed(scenario: Scenario, key: str, row: Row) -> Changed | None:
    """Return what a fact could be instead: words, and the scenario with it.

    Parameters
    ----------
    scenario : Scenario
    key : str
    row : Row

    Returns
    -------
    list of (str, Scenario), or None where the key is that of a variable and no fact
        Empty where the fact has no bearing.
    """
    if key in _FACTS:
        return _FACTS[key](scenario, row)
    table, _, rest = key.partition(".")
    name, _, what = rest.rpartition(".")
    if table != "load" or what not in _LOAD_FACTS:
        return None
    found: Changed = []
    for number, load in enumerate(scenario.loads):
        if load.name == name:
            for text, other in _LOAD_FACTS[what](load, row):
                loads = (*scenario.loads[:number], other, *scenario.loads[number + 1 :])
                found.append((text, _with_loads(scenario, loads)))
    return found


def _with_loads(scenario: Scenario, loads: tuple[Load, ...]) -> Scenario:
    """Return the scenario with other loads; their means stand among the variables too."""
    means = {load.mean.key: load.mean for load in loads if load.mean is not None}
    return replace(scenario, loads=loads, variables={**scenario.variables, **means})


def _fixity(scenario: Scenario, row: Row) -> Changed:
    return [(f"{value:g}", replace(scenario, end_fixity=float(value))) for value in row.values]


def _shoulder(scenario: Scenario, row: Row) -> Changed:
    others = [value for value in row.values if value != scenario.shoulder]
    return [("yes" if value else "no", replace(scenario, shoulder=value)) for value in others]


def _life(scenario: Scenario, row: Row) -> Changed:
    found = [units.parse(value, "time") for value in row.values]
    return [(units.format_value(life, "years"), replace(scenario, life=life)) for life in found]


def _slices(scenario: Scenario, row: Row) -> Changed:
    if not (scenario.ages or scenario.cycles):
        return []
    return [(str(count), replace(scenario, slices=count)) for count in row.values]


def _batch(scenario: Scenario, row: Row) -> Changed:
    others = [count for count in row.values if count < scenario.rods_per_batch]
    return [(str(count), replace(scenario, rods_per_batch=count)) for count in others]


def _hard_stop(scenario: Scenario, row: Row) -> Changed:
    """Move the glass transition, and the last point of a curve that ends there with it."""
    found = []
    now, points = scenario.hard_stop_temperature, scenario.strength_by_temperature
    for step in row.plus:
        curve = points
        if points[-1][0] == now:
            kept = tuple(point for point in points[:-1] if point[0] < now + step)
            curve = (*kept, (now + step, points[-1][1]))
        other = replace(scenario, hard_stop_temperature=now + step, strength_by_temperature=curve)
        found.append((units.format_value(now + step, "degC"), other))
    return found


def _scaled(points: Points, factor: float) -> Points:
    """Return a curve times a factor above the reference temperature, never above 1."""
    return tuple((t, min(f * factor, 1.0) if t > _REFERENCE else f) for t, f in points)


def _adhesive_heat(scenario: Scenario, row: Row) -> Changed:
    curves = [_scaled(scenario.strength_by_temperature, factor) for factor in row.times]
    return [
        (points_text(curve, "degC"), replace(scenario, strength_by_temperature=curve))
        for curve in curves
    ]


def _wall_heat(scenario: Scenario, row: Row) -> Changed:
    """Of the tube's wall; a curve that stays as it is says nothing."""
    now = scenario.wall_strength_by_temperature
    curves = [_scaled(now, factor) for factor in row.times]
    return [
        (points_text(curve, "degC"), replace(scenario, wall_strength_by_temperature=curve))
        for curve in curves
        if curve != now
    ]


def _gap(scenario: Scenario, row: Row) -> Changed:
    curves = [tuple((float(x), float(y)) for x, y in points) for points in row.curves]
    return [
        (points_text(points, "mm"), replace(scenario, gap_factor_points=points))
        for points in curves
    ]


def _surface(scenario: Scenario, row: Row) -> Changed:
    """Read own tests as made on another surface; laboratory figures have their own factor."""
    from jointrisk import spread

    if scenario.evidence not in _OWN:
        return []
    rows = tables.preparations()
    named = next(e.value for e in scenario.assumptions if e.key == "adhesive.evidence_surface")
    of_table = {
        key: variable
        for key, variable in scenario.variables.items()
        if key.startswith("preparation.") and variable.confidence != "given"
    }
    found = []
    for name in row.values:
        factor = rows[named].ratio / rows[name].ratio
        moved = {
            key: replace(variable, spread=spread.Scaled(variable.spread, factor))
            for key, variable in of_table.items()
            if variable.spread.sd > 0.0
        }
        if moved and name != named:
            found.append((name, replace(scenario, variables={**scenario.variables, **moved})))
    return found


def _steady(scenario: Scenario, row: Row) -> Changed:
    """Count a steady load above a drawn share of the strength as a failure."""
    from jointrisk.scenario.given import build
    from jointrisk.scenario.ledger import spread_text

    key = "ageing.steady_share"
    if scenario.steady_fails or not any(load.kind == "sustained" for load in scenario.loads):
        return []
    found = []
    for raw in row.values:
        base = build(read_given(raw, "ratio"), "lognormal")
        variable: Variable = replace(scenario.variables[key], spread=base)
        variables = {**scenario.variables, key: variable}
        text = f"counted as a failure, {spread_text(base, '-')}"
        found.append((text, replace(scenario, variables=variables, steady_fails=True)))
    return found


def _direction(load: Load, row: Row) -> list[tuple[str, Load]]:
    return [(way, replace(load, direction=way)) for way in row.values if way != load.direction]


def _rate(load: Load, row: Row) -> list[tuple[str, Load]]:
    rates = [factor * load.rate for factor in row.times]
    return [(units.format_value(rate, "1/years"), replace(load, rate=rate)) for rate in rates]


def _arm(load: Load, row: Row) -> list[tuple[str, Load]]:
    return [(f"{factor:g}", replace(load, reach=factor * load.reach)) for factor in row.times]


def _mean(load: Load, row: Row) -> list[tuple[str, Load]]:
    """Move the middle of cycles by so many of their mean amplitudes."""
    from jointrisk import spread

    if load.mean is None:
        return []
    amplitude = float(load.size.spread.mean)
    found = []
    for times in row.values:
        middle = times * amplitude
        mean = replace(load.mean, spread=spread.Fixed(middle))
        found.append((units.format_value(middle, load.size.unit), replace(load, mean=mean)))
    return found


_FACTS: dict[str, Callable[[Scenario, Row], Changed]] = {
    "rods.end_fixity": _fixity,
    "rods.shoulder": _shoulder,
    "life.duration": _life,
    "life.slices": _slices,
    "batch.rods": _batch,
    "adhesive.hard_stop_temperature": _hard_stop,
    "adhesive.strength_by_temperature": _adhesive_heat,
    "tube.strength_by_temperature": _wall_heat,
    "adhesive.gap_factor": _gap,
    "adhesive.evidence_surface": _surface,
    "ageing.steady_share": _steady,
}
_LOAD_FACTS: dict[str, Callable[[Load, Row], list[tuple[str, Load]]]] = {
    "direction": _direction,
    "rate": _rate,
    "arm_ratio": _arm,
    "mean": _mean,
}
