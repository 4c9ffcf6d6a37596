"""Resolving the use: life, target, temperatures, loads, pulls, rig and correlations."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk import units
from jointrisk.errors import InputError, nearest
from jointrisk.scenario import linkage, recipe, tables
from jointrisk.scenario.catalogue import LOAD_FAMILY, Quantity
from jointrisk.scenario.given import Given
from jointrisk.scenario.ledger import YOURS, Ledger
from jointrisk.scenario.types import Load, Pull, Target, second_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.scenario.recipe import Whose
    from jointrisk.scenario.shape import CorrelationTable, LoadTable, PullTable, TargetTable

__all__ = [
    "resolve_correlations",
    "resolve_life",
    "resolve_loads",
    "resolve_pulls",
    "resolve_service",
    "resolve_target",
]

_WAYS = ("probability", "index", "failure_would_be")
_LARGEST_INDEX = 8.0
_GIVEN: Whose = ("scenario", *YOURS)


def resolve_life(ledger: Ledger, loads: Sequence[LoadTable]) -> float:
    """Return the life [years]; it must be given where a load comes in years."""
    key = "life.duration"
    in_years = any(recipe.kind_of(load) in ("annual_maximum", "event") for load in loads)
    if key not in ledger.given and in_years and not ledger.broken(key):
        ledger.problem(key, "is missing, though a load comes so often a year", "", '"10 years"')
    if key not in ledger.given and (in_years or ledger.broken(key)):
        return 1.0
    life = ledger.one(key) or 0.0
    if life <= 0:
        ledger.problem(key, "is not above zero", ledger.given[key].text)
    return life


def resolve_target(ledger: Ledger, table: TargetTable | None) -> Target | None:
    """Return the target, from one of three ways of saying it."""
    if table is None or ledger.broken("target"):
        return None
    ways = [way for way in _WAYS if f"target.{way}" in ledger.given]
    if len(ways) != 1:
        if not ledger.broken(*(f"target.{way}" for way in _WAYS)):
            got = " and ".join(ways) or "none"
            ledger.problem("target", "takes exactly one of its three ways", got, _one_of())
        return None
    scope = ledger.fact("target.scope", table.scope)
    if table.failure_would_be is not None:
        return _from_words(ledger, table, scope or "set")
    period = ledger.fact("target.period", table.period)
    probability = _probability(ledger, table)
    if probability is None:
        return None
    text = f"{probability:.3g}"
    ledger.assume("target.probability", text, "scenario", *YOURS)
    return Target(probability, period or "life", scope or "set", YOURS[0])  # type: ignore[arg-type]


def resolve_service(ledger: Ledger) -> None:
    """Temperatures in the workshop and in service, and the damp."""
    names = ("workshop_temperature", "hottest", "coldest", "humidity")
    keys = tuple(f"service.{name}" for name in names)
    for key in keys:
        ledger.variable(key)
    absent = [key for key in keys[1:] if key not in ledger.given and not ledger.broken(key)]
    if absent:
        ledger.warn(
            "service-temperature-default",
            f"{' and '.join(absent)} not given: an outdoor default is taken. Heat softens "
            "adhesives and damp weakens them, so write what the rod meets.",
        )


def resolve_loads(ledger: Ledger, tables_: Sequence[LoadTable]) -> tuple[Load, ...]:
    """Return the loads whose size could be read."""
    loads = []
    names: dict[str, int] = {}
    for number, table in enumerate(tables_, start=1):
        at = f"load[{number}]"
        if table.name is not None and table.name in names:
            other = f"load[{names[table.name]}]"
            ledger.problem(f"{at}.name", f"is the name of {other} too", f'"{table.name}"')
            continue
        if table.name is not None:
            names[table.name] = number
        load = _load(ledger, at, table)
        if load is not None:
            loads.append(load)
    return tuple(loads)


def resolve_pulls(ledger: Ledger, tables_: Sequence[PullTable]) -> tuple[Pull, ...]:
    """Return the proof pulls already done; all of them go the way of the rig."""
    way = ledger.given.get("proof.direction") or "pull"
    pulls = []
    for number, table in enumerate(tables_, start=1):
        if table.load is None or table.load.plain is None:
            continue
        key = f"pull[{number}].load"
        if table.load.plain <= 0:
            ledger.problem(key, "is not above zero", table.load.text)
        ledger.assume(key, units.format_value(table.load.plain, "N"), "scenario", *YOURS)
        pulls.append(Pull(table.label or f"{way} {number}", table.load.plain))
    return tuple(pulls)


def resolve_correlations(
    ledger: Ledger, tables_: Sequence[CorrelationTable], loads: Sequence[Load]
) -> dict[tuple[str, str], float]:
    """Return the correlations, each of two quantities with the same scope."""
    found: dict[tuple[str, str], float] = {}
    of_life = {load.size.key for load in loads if not load.lasting}
    for number, table in enumerate(tables_, start=1):
        at = f"correlation[{number}]"
        if table.between is None or table.value is None or ledger.broken(at):
            continue
        if not -1 <= table.value <= 1:
            got = f"{table.value:g}"
            ledger.problem(f"{at}.value", "is out of range", got, "-1 to 1")
        elif _matched(ledger, f"{at}.between", table.between, of_life):
            pair = table.between
            if pair in found or pair[::-1] in found:
                names = " and ".join(pair)
                ledger.problem(f"{at}.between", "is said twice", names)
            else:
                found[pair] = table.value
    _attainable(ledger, found)
    return found


def _one_of() -> str:
    words = "|".join(f'"{name}"' for name in tables.targets())
    return f"probability, index, or failure_would_be = {words}"


def _from_words(ledger: Ledger, table: TargetTable, scope: str) -> Target | None:
    row = tables.targets()[table.failure_would_be or ""]
    if table.period == "life":
        what = "a target by what a failure would do is for one year"
        ledger.problem("target.period", what, '"life"', '"year"')
        return None
    said = f"{row.probability:g} in a year"
    ledger.assume("target.failure_would_be", table.failure_would_be or "", "scenario", *YOURS)
    ledger.assume("target.probability", said, "default", row.source, "read in the source")
    ledger.warn(
        "target-from-words",
        f"a failure would be {table.failure_would_be}: taken as "
        f"1 in {1 / row.probability:,.0f} in the worst year ({row.source}).",
    )
    return Target(row.probability, "year", scope, row.source)  # type: ignore[arg-type]


def _probability(ledger: Ledger, table: TargetTable) -> float | None:
    if table.probability is not None:
        if not 0 < table.probability < 1:
            what = "is out of range"
            got = f"{table.probability:g}"
            ledger.problem("target.probability", what, got, "above 0 and below 1, such as 1e-5")
            return None
        return table.probability
    from scipy.special import ndtr

    index = table.index or 0.0
    if not 0 < index <= _LARGEST_INDEX:
        what = "is out of range"
        ledger.problem("target.index", what, f"{index:g}", f"above 0 to {_LARGEST_INDEX:g}")
        return None
    return float(ndtr(-index))


def _load(ledger: Ledger, at: str, table: LoadTable) -> Load | None:
    """Return one load, or None where something of it is wrong."""
    before = len(ledger.problems)
    table, whose = recipe.fill(ledger, at, table)
    table, reach, signed = linkage.as_size(ledger, at, table)
    whose = {**whose, **signed}
    _missing(ledger, at, table)
    lasting = table.kind in ("sustained", "cycles")
    if lasting and table.direction is not None:
        which = "its mean has" if table.kind == "cycles" else "it has"
        what = f"{table.kind}: {which} a sign instead, a push is written with a minus"
        ledger.problem(f"{at}.direction", what, f'"{table.direction}"')
    rate = _rate(ledger, at, table, whose.get("rate", _GIVEN))
    key = _size(ledger, at, table, whose.get("size", _GIVEN), lasting=lasting)
    if not key:
        return None
    middle = _mean(ledger, at, table)
    ratios, angle = linkage.resolve_factors(ledger, at, table)
    if len(ledger.problems) > before or ledger.broken(at):
        return None
    direction = table.direction or "both"
    if not lasting:
        judged: Whose = ("default", "either way, where none is named", tables.CONFIDENCE["J"])
        source = whose.get("direction", _GIVEN) if table.direction else judged
        ledger.assume(f"load.{table.name}.direction", direction, *source)
    size = ledger.variables[key]
    mean = ledger.variables[middle] if middle else None
    scope = table.scope or "all"
    load = Load(table.name, table.kind, direction, size, scope, rate, mean, reach, ratios, angle)  # type: ignore[arg-type]
    linkage.tell_force(ledger, load)
    return load


def _missing(ledger: Ledger, at: str, table: LoadTable) -> None:
    """Name what a load without a recipe must say and does not."""
    if table.recipe is not None or ledger.broken(f"{at}.recipe"):
        return
    if table.kind is None and not ledger.broken(f"{at}.kind"):
        ledger.problem(f"{at}.kind", "is missing")
    said = table.size or table.moment
    if said is None and not ledger.broken(f"{at}.size", f"{at}.moment"):
        ledger.problem(f"{at}.size", "is missing")


def _size(ledger: Ledger, at: str, table: LoadTable, whose: Whose, *, lasting: bool) -> str:
    """Enter the size or the moment of a load and return its key, "" where that cannot be."""
    size = table.size
    if size is None:
        return ""
    name = "moment" if size.dimension == "moment" else "size"
    if size.scope:
        what = "has no scope of its own: write scope beside the load's name"
        ledger.problem(f"{at}.{name}", what, f'"{size.scope}"')
        return ""
    if size.kind == "not known" and not lasting:
        what = (
            "is drawn anew all life long, so it is scatter: write what you don't know of loads "
            "as a spread of model.load_factor"
        )
        ledger.problem(f"{at}.{name}", what, '"not known"')
        return ""
    if table.name is None or table.kind is None:
        return ""
    quantity = Quantity(
        f"load.{table.name}.{name}",
        f"load {table.name}",
        size.dimension,
        table.scope or "all",  # type: ignore[arg-type]
        family=LOAD_FAMILY[table.kind],
        low=float("-inf") if table.kind == "sustained" else 0.0,
    )
    _enter_size(ledger, f"{at}.{name}", quantity, size, whose)
    return quantity.key


def _mean(ledger: Ledger, at: str, table: LoadTable) -> str:
    """Enter the middle of a load's cycles and return its key, "" for other kinds."""
    key = f"{at}.mean"
    if table.kind != "cycles":
        if table.mean is not None and table.kind is not None:
            what = f'has no meaning for kind = "{table.kind}"'
            ledger.problem(key, what, table.mean.text)
        return ""
    assert table.size is not None  # noqa: S101
    dimension = table.size.dimension
    found = table.mean or Given(dimension, "", {"value": 0.0})
    whose: Whose = _GIVEN
    if table.mean is None:
        whose = ("default", "as much pull as push, where none is named", tables.CONFIDENCE["J"])
    elif found.dimension != dimension:
        ledger.problem(key, f"is a {found.dimension} beside a {dimension}", found.text)
        return ""
    own = f"load.{table.name}.mean"
    label = f"middle of load {table.name}"
    scope = table.scope or "all"
    quantity = Quantity(own, label, dimension, scope, "normal", low=float("-inf"))  # type: ignore[arg-type]
    ledger.enter_at(key, quantity, found, *whose)
    return own


def _enter_size(ledger: Ledger, key: str, quantity: Quantity, size: Given, whose: Whose) -> None:
    """Enter a load's size; what is wrong with it is told under the key of the file."""
    below = [name for name in ("value", "mean", "median") if size.numbers.get(name, 1.0) <= 0]
    if below and quantity.low == 0:
        what = "is not above zero: direction says whether it pulls or pushes"
        unit = units.house_unit(quantity.dimension)
        ledger.problem(key, what, units.format_value(size.numbers[below[0]], unit))
        return
    ledger.enter_at(key, quantity, size, *whose)


def _rate(ledger: Ledger, at: str, table: LoadTable, whose: Whose) -> float:
    """Return events or cycles per year, 0 for loads that are not counted."""
    key = f"{at}.rate"
    if table.kind in ("event", "cycles"):
        if table.rate is None:
            if not ledger.broken(key):
                ledger.problem(key, "is missing: how often does it happen?", "", '"2 / year"')
            return 0.0
        rate = table.rate.plain or 0.0
        if rate <= 0:
            ledger.problem(key, "is not above zero", table.rate.text)
        text = units.format_value(rate, "1/years")
        ledger.assume(f"load.{table.name}.rate", text, *whose)
        return rate
    if table.rate is not None and table.kind is not None:
        ledger.problem(key, f'has no meaning for kind = "{table.kind}"', table.rate.text)
    return 0.0


def _matched(ledger: Ledger, key: str, pair: tuple[str, str], of_life: set[str]) -> bool:
    """Return whether two quantities can be correlated at all."""
    from jointrisk import spread

    known = True
    for name in pair:
        if name not in ledger.variables:
            if not ledger.broken(name):
                close = nearest(name, list(ledger.variables))
                hint = f"; did you mean {close}?" if close else ""
                ledger.problem(key, f"no such quantity{hint}", f'"{name}"')
            known = False
    if not known:
        return False
    for name in pair:
        if name in of_life:
            what = "is drawn anew all life long: only a sustained load can go with another quantity"
            ledger.problem(key, what, f'"{name}"')
            return False
    first, second = (ledger.variables[name] for name in pair)
    if pair[0] == pair[1]:
        ledger.problem(key, "names the same quantity twice", pair[0])
        return False
    for name, found in zip(pair, (first, second), strict=True):
        if isinstance(found.spread, spread.Fixed):
            ledger.problem(key, f"{name} is one value: give it a spread first", f"{found.spread}")
            return False
    apart = [_apart(ledger, name) for name in pair]
    if first.scope == second.scope == "joint" and apart[0] != apart[1]:
        what = "one of them has a value of its own at the second end, the other has not"
        ledger.problem(key, what, " and ".join(pair))
        return False
    if first.scope != second.scope:
        got = f"{pair[0]}: {first.scope}, {pair[1]}: {second.scope}"
        ledger.problem(key, "are drawn for different things", got, "the same scope for both")
        return False
    return True


def _apart(ledger: Ledger, key: str) -> bool:
    """Return whether the two ends have this quantity apart."""
    return "second_" in key or second_of(key) in ledger.variables


def _attainable(ledger: Ledger, found: dict[tuple[str, str], float]) -> None:
    """Refuse correlations that no draw can have."""
    if not found:
        return
    from jointrisk.spread.copula import GaussianCopula

    names = sorted({name for pair in found for name in pair})
    spreads = [ledger.variables[name].spread for name in names]
    try:
        GaussianCopula(names, found, spreads, of="values")
    except InputError as error:
        ledger.problem("correlation", str(error).removeprefix("correlation: "))
