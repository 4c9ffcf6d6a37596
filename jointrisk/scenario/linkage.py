"""What a linkage makes of a load that is known elsewhere: ratios and an angle, or a moment."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from jointrisk import units
from jointrisk.errors import InputError
from jointrisk.scenario.catalogue import Quantity
from jointrisk.scenario.given import Given
from jointrisk.scenario.ledger import YOURS, Ledger
from jointrisk.scenario.recipe import refuse, times
from jointrisk.scenario.types import LEAST_ANGLE

if TYPE_CHECKING:
    from jointrisk.scenario.recipe import Whose
    from jointrisk.scenario.shape import LoadTable
    from jointrisk.scenario.types import Load

__all__ = ["as_size", "resolve_factors", "tell_force"]

_LEAST = 1e-3  # of a ratio: further down a lever is none, and nothing is divided by zero
_POINTS = ("near_end", "far_end", "pivot")
_NEWTON_MM = 1000.0  # in a newton metre
_ARITHMETIC = "arithmetic"
_LABELS = {
    "arm_ratio": "arm ratio of load",
    "dynamic_factor": "dynamic factor of load",
    "angle": "angle between rod and arm of load",
}


def resolve_factors(ledger: Ledger, at: str, table: LoadTable) -> tuple[tuple[str, ...], str]:
    """Enter arm_ratio, dynamic_factor and angle; return keys of the ratios and of the angle.

    Parameters
    ----------
    ledger : Ledger
        Takes variables, problems and what is assumed.
    at : str
        Place of the load in the file, such as ``load[1]``.
    table : LoadTable
        The load, with a name.
    """
    if table.kind == "sustained":
        what = "has no meaning for a load that is always there: write what comes at once as event"
        refuse(ledger, at, table, ("dynamic_factor",), what)
    keys = {}
    for name in _LABELS:
        found = getattr(table, name)
        if found is None:
            continue
        if found.scope:
            what = "has no scope of its own: write scope beside the load's name"
            ledger.problem(f"{at}.{name}", what, f'"{found.scope}"')
            continue
        keys[name] = f"load.{table.name}.{name}"
        ledger.enter_at(f"{at}.{name}", _quantity(table, name), found, "scenario", *YOURS)
    ratios = tuple(key for name, key in keys.items() if name != "angle")
    return ratios, keys.get("angle", "")


def _quantity(table: LoadTable, name: str) -> Quantity:
    is_angle = name == "angle"
    return Quantity(
        f"load.{table.name}.{name}",
        f"{_LABELS[name]} {table.name}",
        "angle" if is_angle else "ratio",
        table.scope or "all",  # type: ignore[arg-type]
        family="normal" if is_angle else "lognormal",
        low=LEAST_ANGLE if is_angle else _LEAST,
        high=180.0 - LEAST_ANGLE if is_angle else math.inf,
        above_zero=not is_angle,
    )


def as_size(ledger: Ledger, at: str, table: LoadTable) -> tuple[LoadTable, float, dict[str, Whose]]:
    """Return the load with its moment as its size, and the force in the rod over it [N/(N m)].

    A load without a moment comes back as it is, with 1. The sign of the moment gives the
    direction of a load that comes anew; its size is then above zero. That of a lasting load
    stays, and so does the sign of what is returned.

    Parameters
    ----------
    ledger, at, table
        As for `resolve_factors`.

    Returns
    -------
    tuple of LoadTable, float [N/(N m)] and dict
        The last says whose the direction is, where the moment gives it.
    """
    if table.moment is None:
        if not ledger.broken(f"{at}.moment"):
            _needless(ledger, at, table)
        return table, 1.0, {}
    before = len(ledger.problems)
    if table.size is not None or table.recipe is not None:
        rival = "a recipe" if table.recipe else "size"
        what = f"goes with no force: one of moment and {rival} is enough"
        ledger.problem(f"{at}.moment", what, table.moment.text)
    what = "has no meaning beside a moment: the points say where the arm is"
    refuse(ledger, at, table, ("arm_ratio", "angle"), what)
    reach = _reach(ledger, at, table)
    if len(ledger.problems) > before or reach is None or table.kind is None:
        return table, 1.0, {}
    if table.kind in ("sustained", "cycles"):
        return table.model_copy(update={"size": table.moment}), reach, {}
    return _with_direction(ledger, at, table, reach)


def _needless(ledger: Ledger, at: str, table: LoadTable) -> None:
    """Refuse points that nothing turns about."""
    for name in (*_POINTS, "axis"):
        found = getattr(table, name)
        if found is not None:
            ledger.problem(f"{at}.{name}", "has no meaning without a moment", _shown(name, found))


def _reach(ledger: Ledger, at: str, table: LoadTable) -> float | None:
    """Return the force in the rod over the moment [N/(N m)], None where the points give none."""
    from jointrisk.mechanics.linkage import two_force_member

    points = {name: getattr(table, name) for name in _POINTS}
    for name, point in points.items():
        if point is None and not ledger.broken(f"{at}.{name}"):
            what = "is missing: a moment needs both ends of the rod and the pivot"
            ledger.problem(f"{at}.{name}", what, "", '["20 mm", "5 mm"]')
    if None in points.values() or not _match(ledger, at, table):
        return None
    if table.near_end == table.far_end:
        ledger.problem(f"{at}.far_end", "is where near_end is", _shown("far_end", table.far_end))
        return None
    try:
        per = two_force_member(_NEWTON_MM, **points, axis=table.axis)
    except InputError:
        what = "is in line with far_end and the pivot: the rod has no arm to turn by"
        ledger.problem(f"{at}.near_end", what, _shown("near_end", table.near_end))
        return None
    for name in (*_POINTS, "axis"):
        found = getattr(table, name)
        if found is not None:
            ledger.assume(f"load.{table.name}.{name}", _shown(name, found), "scenario", *YOURS)
    return float(per)


def _match(ledger: Ledger, at: str, table: LoadTable) -> bool:
    """Tell whether points and axis have as many coordinates as go together."""
    before = len(ledger.problems)
    count = len(table.near_end or ())
    for name in _POINTS[1:]:
        other = len(getattr(table, name))
        if other != count:
            what = "has another number of coordinates than near_end"
            ledger.problem(f"{at}.{name}", what, str(other), str(count))
    key, axis = f"{at}.axis", table.axis
    if axis is None and count == 3 and not ledger.broken(key):
        what = "is missing: in space a part turns about a direction"
        ledger.problem(key, what, "", "[0, 0, 1]")
    if axis is not None and count == 2:
        what = "has no meaning in a plane: the pivot stands square to it"
        ledger.problem(key, what, _shown("axis", axis))
    if axis is not None and not any(axis):
        ledger.problem(key, "has no length", _shown("axis", axis))
    return len(ledger.problems) == before and not ledger.broken(key)


def _with_direction(
    ledger: Ledger, at: str, table: LoadTable, reach: float
) -> tuple[LoadTable, float, dict[str, Whose]]:
    """Return a load that comes anew with a size above zero, pulling or pushing as it does."""
    moment = table.moment
    assert moment is not None  # noqa: S101
    backward = _middle(moment) < 0
    way = "push" if backward is (reach > 0) else "pull"
    if table.direction not in (None, "both", way):
        what = f"does not go with the moment, under which the rod meets a {way}"
        expected = f'"{way}", "both", or nothing'
        ledger.problem(f"{at}.direction", what, f'"{table.direction}"', expected)
    size = times(moment, -1.0, "moment") if backward else moment
    whose: dict[str, Whose] = {}
    if table.direction is None:
        whose["direction"] = ("scenario", "the sign of the moment and the points", _ARITHMETIC)
    changes = {"size": size, "direction": table.direction or way}
    return table.model_copy(update=changes), abs(reach), whose


def _middle(given: Given) -> float:
    """Return a number whose sign is that of the middle of a value as written."""
    found = [given.numbers[key] for key in ("value", "mean", "median") if key in given.numbers]
    if found:
        return found[0]
    limits = given.never_outside or (0.0, 0.0)
    return sum(given.numbers.get(key, 0.0) for key in ("p05", "p95")) + sum(limits)


def _shown(name: str, numbers: tuple[float, ...] | None) -> str:
    """Return coordinates as a person reads them."""
    unit = "-" if name == "axis" else "mm"
    return ", ".join(units.format_value(number, unit) for number in numbers or ())


def tell_force(ledger: Ledger, load: Load) -> None:
    """Write down the middling force in the rod, where it is not the size as written."""
    of_moment = load.size.unit != "N"
    if not (of_moment or load.ratios or load.angle):
        return
    from jointrisk.mechanics.linkage import rod_force

    def middle(key: str) -> float:
        return float(ledger.variables[key].spread.ppf(0.5))

    ratio = math.prod(middle(key) for key in load.ratios)
    angle = math.radians(middle(load.angle)) if load.angle else math.pi / 2
    factor = float(rod_force(load.reach, ratio, angle))
    size = middle(load.size.key) * factor
    text = units.format_value(size, "N")
    if load.mean is not None:
        ends = [middle(load.mean.key) * factor + sign * abs(size) for sign in (-1.0, 1.0)]
        text = " to ".join(units.format_value(end, "N") for end in ends)
    elif not load.lasting:
        text += {"both": ", pull and push"}.get(load.direction, f", {load.direction}")
    source = "moment / arm x dynamic_factor" if of_moment else "size x arm_ratio / sin(angle)"
    source += "" if of_moment else " x dynamic_factor"
    told = f"{source}, each at its median, before model.load_factor"
    ledger.assume(f"load.{load.name}.in_the_rod", text, "scenario", told, _ARITHMETIC)
