"""Resolving the use: life, target, temperatures, loads, pulls, rig and correlations."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk import units
from jointrisk.errors import InputError, nearest
from jointrisk.scenario import recipe, tables
from jointrisk.scenario.catalogue import LOAD_FAMILY, Quantity
from jointrisk.scenario.ledger import YOURS, Ledger
from jointrisk.scenario.types import Load, Proof, Pull, Target, second_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.scenario.given import Given
    from jointrisk.scenario.recipe import Whose
    from jointrisk.scenario.shape import CorrelationTable, LoadTable, PullTable, TargetTable

__all__ = [
    "resolve_correlations",
    "resolve_life",
    "resolve_loads",
    "resolve_proof",
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
    """Temperatures in the workshop and in service."""
    keys = ("service.workshop_temperature", "service.hottest", "service.coldest")
    for key in keys:
        ledger.variable(key)
    absent = [key for key in keys[1:] if key not in ledger.given and not ledger.broken(key)]
    if absent:
        ledger.warn(
            "service-temperature-default",
            f"{' and '.join(absent)} not given: an outdoor default is taken. Heat softens "
            "adhesives, so write what the rod meets.",
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
    """Return the proof pulls already done."""
    pulls = []
    for number, table in enumerate(tables_, start=1):
        if table.load is None or table.load.plain is None:
            continue
        key = f"pull[{number}].load"
        if table.load.plain <= 0:
            ledger.problem(key, "is not above zero", table.load.text)
        ledger.assume(key, units.format_value(table.load.plain, "N"), "scenario", *YOURS)
        pulls.append(Pull(table.label or f"pull {number}", table.load.plain))
    return tuple(pulls)


def resolve_proof(ledger: Ledger) -> Proof:
    """Return how a finished rod can be pulled."""
    found = {}
    for name, highest in (("rig_error", 0.5), ("rig_bias", 0.5), ("most_to_refuse", 1.0)):
        key = f"proof.{name}"
        value = 0.0 if ledger.broken(key) else ledger.one(key)
        assert value is not None  # noqa: S101
        none = name == "most_to_refuse" and value == 0
        if none or not 0 <= value <= highest:
            low = "above 0" if name == "most_to_refuse" else "0"
            ledger.problem(key, "is out of range", f"{value:g}", f"{low} to {highest:g}")
        found[name] = value
    limit = ledger.given.get("proof.highest")
    if limit is not None:
        text = units.format_value(limit.plain, "N")
        ledger.assume("proof.highest", text, "scenario", *YOURS)
        if limit.plain <= 0:
            ledger.problem("proof.highest", "is not above zero", limit.text)
    most = found["most_to_refuse"]
    highest_load = None if limit is None else limit.plain
    return Proof(found["rig_error"], found["rig_bias"], highest_load, most)


def resolve_correlations(
    ledger: Ledger, tables_: Sequence[CorrelationTable], loads: Sequence[Load]
) -> dict[tuple[str, str], float]:
    """Return the correlations, each of two quantities with the same scope."""
    found: dict[tuple[str, str], float] = {}
    of_life = {load.size.key for load in loads if load.kind != "sustained"}
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
    for key in ("kind", "size"):
        needs = table.recipe is None and not ledger.broken(f"{at}.recipe", f"{at}.{key}")
        if needs and getattr(table, key) is None:
            ledger.problem(f"{at}.{key}", "is missing")
    sustained = table.kind == "sustained"
    if sustained and table.direction is not None:
        what = "a sustained load has a sign instead: a push is written with a minus"
        ledger.problem(f"{at}.direction", what, f'"{table.direction}"')
    rate = _rate(ledger, at, table, whose.get("rate", _GIVEN))
    if table.size is not None and table.size.scope:
        what = "has no scope of its own: write scope beside the load's name"
        ledger.problem(f"{at}.size", what, f'"{table.size.scope}"')
        return None
    if table.size is not None and table.size.kind == "not known" and not sustained:
        what = (
            "is drawn anew all life long, so it is scatter: write what you don't know of loads "
            "as a spread of model.load_factor"
        )
        ledger.problem(f"{at}.size", what, '"not known"')
        return None
    if table.name is None or table.kind is None or table.size is None:
        return None
    quantity = Quantity(
        f"load.{table.name}.size",
        f"load {table.name}",
        "force",
        table.scope or "all",  # type: ignore[arg-type]
        family=LOAD_FAMILY[table.kind],
        low=float("-inf") if sustained else 0.0,
    )
    _enter_size(ledger, f"{at}.size", quantity, table.size, whose.get("size", _GIVEN))
    if len(ledger.problems) > before or ledger.broken(at):
        return None
    direction = table.direction or "both"
    if not sustained:
        judged: Whose = ("default", "either way, where none is named", tables.CONFIDENCE["J"])
        source = whose.get("direction", _GIVEN) if table.direction else judged
        ledger.assume(f"load.{table.name}.direction", direction, *source)
    size = ledger.variables[quantity.key]
    return Load(table.name, table.kind, direction, size, table.scope or "all", rate)  # type: ignore[arg-type]


def _enter_size(ledger: Ledger, key: str, quantity: Quantity, size: Given, whose: Whose) -> None:
    """Enter a load's size; what is wrong with it is told under the key of the file."""
    count = len(ledger.problems)
    below = [name for name in ("value", "mean", "median") if size.numbers.get(name, 1.0) <= 0]
    if below and quantity.low == 0:
        what = "is not above zero: direction says whether it pulls or pushes"
        ledger.problem(key, what, units.format_value(size.numbers[below[0]], "N"))
        return
    ledger.enter(quantity, size, *whose)
    for index in range(count, len(ledger.problems)):
        found = ledger.problems[index]
        ledger.problems[index] = type(found)(key, found.what, found.got, found.expected)


def _rate(ledger: Ledger, at: str, table: LoadTable, whose: Whose) -> float:
    """Return events per year, 0 for loads that do not come as events."""
    key = f"{at}.rate"
    if table.kind == "event":
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
