"""A scenario with one quantity moved: what a sweep, a rating or a question "what if" works on.

What a quantity is moved to is its average. Its scatter goes along: lengths, temperatures, angles
and shares keep their standard deviation, since the tool that makes them stays the same; strengths,
moduli, loads and factors keep their coefficient of variation.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from jointrisk import units
from jointrisk.errors import InputError, nearest
from jointrisk.scenario.catalogue import QUANTITIES
from jointrisk.scenario.given import hold_within
from jointrisk.scenario.types import second_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from jointrisk.scenario.types import Load, Scenario, Variable
    from jointrisk.spread import Spread

__all__ = ["GAP", "LIFE", "LOADS", "movable", "moved", "place_of", "read_place"]

GAP, LOADS, LIFE = "gap", "loads", "life.duration"
"""Keys beside those of the variables: the radial gap of every joint [mm], the factor on all loads
[-], and the life [years]."""
_ADDED = ("mm", "degC", "deg")
"""Units of what keeps its standard deviation."""
_SHARES = ("glued_share", "off_centre", "keeps", "weight", "share")


def movable(scenario: Scenario) -> dict[str, str]:
    """Return the keys that can be moved, each with its unit."""
    found = {key: variable.unit for key, variable in scenario.variables.items()}
    found.update({variable.key: variable.unit for variable in _sizes(scenario)})
    return {**found, GAP: "mm", LIFE: "years"} | ({LOADS: "-"} if scenario.loads else {})


def place_of(scenario: Scenario, key: str) -> float:
    """Return where a quantity stands now, in its unit (see `movable`).

    Raises
    ------
    InputError
        If there is no such quantity.
    """
    _known(scenario, key)
    if key == GAP:
        wide, narrow = (float(scenario.variables[fit].spread.mean) for fit in scenario.fit)
        return 0.5 * (wide - narrow)
    if key == LOADS:
        return 1.0
    if key == LIFE:
        return scenario.life
    return float(_variable(scenario, key).spread.mean)


def read_place(scenario: Scenario, key: str, text: str | float) -> float:
    """Return what a text such as "25 mm" says of a quantity, in the unit of the quantity.

    Raises
    ------
    InputError
        If there is no such quantity, or the text is no value of it.
    """
    unit = _known(scenario, key)
    if isinstance(text, int | float) and not isinstance(text, bool):
        return float(text)
    dimensions = [name for name in units.DIMENSIONS if units.house_unit(name) == unit]
    try:
        return units.parse(text, dimensions[0])
    except InputError as error:
        raise InputError(f"{key}: {error}") from None


def moved(scenario: Scenario, key: str, value: float) -> Scenario:
    """Return the scenario with one quantity moved.

    Parameters
    ----------
    scenario : Scenario
    key : str
        One of `movable`.
    value : float [unit of the quantity]
        New average.

    Raises
    ------
    InputError
        If there is no such quantity, it cannot have the value, or nothing could be glued then.
    """
    unit = _known(scenario, key)
    if not math.isfinite(value):
        raise InputError(f"{key}: is not a finite number (got {value:g})")
    if key == LIFE:
        return replace(scenario, life=_above_zero(key, value, unit))
    if key == LOADS:
        return _loads_scaled(scenario, _above_zero(key, value, unit))
    if key == GAP:
        return _fits(_with_gap(scenario, _above_zero(key, value, unit)), key, value)
    return _fits(_with(scenario, key, lambda variable: _to(variable, value)), key, value)


def _known(scenario: Scenario, key: str) -> str:
    """Return the unit of a key that there is."""
    known = movable(scenario)
    if key not in known:
        close = nearest(key, list(known))
        meant = f"; did you mean {close}?" if close else ""
        raise InputError(f"{key}: the scenario has no such quantity to move{meant}")
    return known[key]


def _above_zero(key: str, value: float, unit: str) -> float:
    if not value > 0.0:
        raise InputError(f"{key}: is not above zero (got {units.format_value(value, unit)})")
    return value


def _sizes(scenario: Scenario) -> Iterator[Variable]:
    """Yield the sizes of the loads, which stand beside the variables."""
    for load in scenario.loads:
        yield load.size
        if load.mean is not None:
            yield load.mean


def _variable(scenario: Scenario, key: str) -> Variable:
    found = scenario.variables.get(key)
    return found or next(size for size in _sizes(scenario) if size.key == key)


def _to(variable: Variable, value: float) -> Variable:
    """Return a variable whose average is `value`, held to what it can be."""
    from jointrisk import spread

    base = variable.spread
    mean = float(base.mean)
    found: Spread
    if base.sd == 0.0:
        found = spread.Fixed(value)
    elif variable.unit in _ADDED or variable.key.endswith(_SHARES) or mean * value <= 0.0:
        found = spread.Scaled(base, 1.0, value - mean)
    else:
        found = spread.Scaled(base, value / mean)
    quantity = QUANTITIES.get(variable.key)
    if quantity is not None:
        if quantity.above_zero:
            _above_zero(variable.key, value, variable.unit)
        try:
            found = hold_within(found, quantity.low, quantity.high, variable.unit)
        except InputError as error:
            raise InputError(f"{variable.key}: {error}") from None
    return replace(variable, spread=found)


def _with(scenario: Scenario, key: str, change: Callable[[Variable], Variable]) -> Scenario:
    """Return the scenario with a variable, wherever it stands, changed."""
    variables = {
        own: change(variable) if own == key else variable
        for own, variable in scenario.variables.items()
    }
    loads = tuple(_load_with(load, key, change) for load in scenario.loads)
    return replace(scenario, variables=variables, loads=loads)


def _load_with(load: Load, key: str, change: Callable[[Variable], Variable]) -> Load:
    size = change(load.size) if load.size.key == key else load.size
    mean = load.mean
    if mean is not None and mean.key == key:
        mean = change(mean)
    return replace(load, size=size, mean=mean)


def _loads_scaled(scenario: Scenario, factor: float) -> Scenario:
    """Return the scenario with every load, steady ones and cycles too, `factor` times as large."""
    for variable in tuple(_sizes(scenario)):
        scenario = _with(scenario, variable.key, lambda old: _scaled(old, factor))
    return scenario


def _scaled(variable: Variable, factor: float) -> Variable:
    from jointrisk import spread

    base = variable.spread
    fixed = base.sd == 0.0
    found: Spread = (
        spread.Fixed(factor * float(base.mean)) if fixed else spread.Scaled(base, factor)
    )
    return replace(variable, spread=found)


def _with_gap(scenario: Scenario, gap: float) -> Scenario:
    """Return the scenario with the part that is turned, plug or sleeve, moved to leave the gap."""
    wide, narrow = scenario.fit
    if scenario.end == "sleeve":
        across = float(scenario.variables[narrow].spread.mean) + 2.0 * gap
        return _with(scenario, wide, lambda variable: _to(variable, across))
    across = float(scenario.variables[wide].spread.mean) - 2.0 * gap
    if not across > 0.0:
        raise InputError(f"{GAP}: leaves no room for the {narrow.split('.')[0]} (got {gap:g} mm)")
    for key in (narrow, second_of(narrow)):
        if key in scenario.variables:
            scenario = _with(scenario, key, lambda variable: _to(variable, across))
    return scenario


def _fits(scenario: Scenario, key: str, value: float) -> Scenario:
    """Refuse sizes that leave no gap, no wall or no room for the glue."""
    got = units.format_value(value, _known(scenario, key))
    wide, narrow = scenario.fit
    mean = {name: float(variable.spread.mean) for name, variable in scenario.variables.items()}
    for own in (narrow, second_of(narrow)):
        if own in mean and mean[own] >= mean[wide]:
            raise InputError(f"{key}: leaves no gap for the glue (got {got})")
    if 0.0 < mean["tube.outer_diameter"] <= mean.get("tube.bore", 0.0):
        raise InputError(f"{key}: leaves the tube no wall (got {got})")
    if not _leaves_metal(scenario, mean):
        raise InputError(f"{key}: leaves the {scenario.end} no wall (got {got})")
    overlaps = [mean[name] for name in _overlaps(scenario) if name in mean]
    if sum(overlaps) * (1 if len(overlaps) == 2 else 2) > mean.get("rods.length", math.inf):
        raise InputError(f"{key}: the two overlaps are longer than the rod (got {got})")
    return scenario


def _leaves_metal(scenario: Scenario, mean: dict[str, float]) -> bool:
    """Return whether every metal end is wider than the hole and the thread in it."""
    if scenario.end == "sleeve":
        return mean["sleeve.outer_diameter"] > mean["sleeve.bore"]
    first = scenario.thread
    for table, thread in (("plug", first), ("second_plug", scenario.second_thread or first)):
        across = mean.get(f"{table}.diameter", mean["plug.diameter"])
        hole = mean.get(f"{table}.bore", mean["plug.bore"])
        if across <= max(hole, 0.0 if thread is None else thread.major_diameter):
            return False
    return True


def _overlaps(scenario: Scenario) -> tuple[str, str]:
    first = f"{scenario.end}.overlap"
    return first, second_of(first)
