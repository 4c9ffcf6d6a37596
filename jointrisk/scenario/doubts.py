"""Every default and judgement of a scenario, with what it could be instead.

Each alternative is a whole scenario in which that one thing is changed, so that whatever can
work out a scenario can work out what the thing is worth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from jointrisk import units
from jointrisk.errors import InputError
from jointrisk.scenario import doubt_facts
from jointrisk.scenario.catalogue import QUANTITIES
from jointrisk.scenario.doubt_rows import Row, doubt_rows, row_of
from jointrisk.scenario.given import build, read_given
from jointrisk.scenario.ledger import spread_text
from jointrisk.scenario.reshape import as_family, family_of, held, scattered

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from jointrisk.scenario.types import Assumption, Load, Scenario, Variable
    from jointrisk.spread import Spread

__all__ = ["Alternative", "Doubt", "doubts", "reasons", "with_spreads"]

ENDS = (0.05, 0.95)
"""Points of a spread at which what is not known is taken as settled."""
HALF_AND_DOUBLE = (0.5, 2.0)
NO_ROW = "no alternative stands in the table"
NO_BEARING = "changes nothing here"
NO_RANGE = "one value without a range"
_GIVEN = "given"
_ARITHMETIC = "arithmetic"


@dataclass(frozen=True, slots=True)
class Alternative:
    """One thing changed."""

    value: str
    """What is taken instead, in words with units."""
    scenario: Scenario


@dataclass(frozen=True, slots=True)
class Doubt:
    """One question about one default or judgement, with one alternative or more."""

    key: str
    question: str
    """"value", "settled", "scatter", "family" or "tail"."""
    name: str
    """In plain trade words."""
    value: str
    """What is taken now."""
    source: str
    """Of the value taken now."""
    confidence: str
    range_source: str
    """Of the alternatives."""
    range_confidence: str
    alternatives: tuple[Alternative, ...]


def doubts(scenario: Scenario) -> tuple[Doubt, ...]:
    """Return what can be asked of a scenario's defaults and judgements, in their own order.

    Asked is of every value that the file does not say itself, or says by the name of a row of a
    table. The families and tails of the bond's scatter and of the loads come last: they are
    judgements even where the numbers are the maker's own.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    tuple of Doubt
    """
    found = [
        doubt
        for entry in _defaults(scenario)
        if not isinstance(told := _asked(scenario, entry), str)
        for doubt in told
    ]
    return (*found, *_bond_shape(scenario), *_load_shapes(scenario))


def reasons(scenario: Scenario) -> dict[str, str]:
    """Return the keys of defaults of which nothing is asked, each with why."""
    told = {entry.key: _asked(scenario, entry) for entry in _defaults(scenario)}
    return {key: found for key, found in told.items() if isinstance(found, str)}


def with_spreads(scenario: Scenario, spreads: dict[str, Spread]) -> Scenario:
    """Return the scenario with some variables given other spreads, wherever they stand."""

    def changed(variable: Variable) -> Variable:
        own = spreads.get(variable.key)
        return variable if own is None else replace(variable, spread=own)

    def of_load(load: Load) -> Load:
        mean = None if load.mean is None else changed(load.mean)
        return replace(load, size=changed(load.size), mean=mean)

    variables = {key: changed(variable) for key, variable in scenario.variables.items()}
    return replace(scenario, variables=variables, loads=tuple(map(of_load, scenario.loads)))


def _defaults(scenario: Scenario) -> Iterator[Assumption]:
    """Yield the values that the file does not say itself."""
    for entry in scenario.assumptions:
        if entry.origin == "default" or entry.confidence not in (_GIVEN, _ARITHMETIC):
            yield entry


def _asked(scenario: Scenario, entry: Assumption) -> list[Doubt] | str:
    """Return what is asked of one default, or why nothing is."""
    if entry.confidence == _ARITHMETIC:
        return entry.source
    row = row_of(entry.key)
    if row is None:
        return NO_ROW
    name, composite = _material(scenario, entry.key)
    row = row.for_material(name, composite=composite)
    if row.none:
        return row.none
    facts = doubt_facts.changed(scenario, entry.key, row)
    if facts is not None:
        pairs = [Alternative(value, other) for value, other in facts]
        return (
            [_doubt(entry, row, "value", _words(scenario, entry.key, row), pairs)]
            if pairs
            else NO_BEARING
        )
    variable = scenario.variables.get(entry.key)
    return NO_BEARING if variable is None else _of_variable(scenario, entry, variable, row)


def _material(scenario: Scenario, key: str) -> tuple[str, bool]:
    """Return the material that a key speaks of, and whether it has plies."""
    table = key.partition(".")[0]
    whose = table if table in ("plug", "second_plug", "sleeve") else "tube"
    named = {entry.key: entry.value for entry in scenario.assumptions}
    return named.get(f"{whose}.material", ""), scenario.tube_is_composite and whose == "tube"


def _doubt(
    entry: Assumption, row: Row, question: str, name: str, alternatives: Sequence[Alternative]
) -> Doubt:
    source, confidence = row.source, row.confidence
    if question == "settled":
        source, confidence = "5 and 95 % points of its own range", entry.confidence
    elif question == "scatter":
        source, confidence = doubt_rows().scatter_source, doubt_rows().confidence
    return Doubt(
        entry.key,
        question,
        name,
        entry.value,
        entry.source,
        entry.confidence,
        source,
        confidence,
        tuple(alternatives),
    )


def _of_variable(
    scenario: Scenario, entry: Assumption, variable: Variable, row: Row
) -> list[Doubt] | str:
    """Return the questions about a quantity with a spread or one value."""
    base, label = variable.spread, variable.label
    found: list[tuple[str, str, list[tuple[str, Spread]]]] = []
    if row.settled and base.sd > 0.0:
        found.append(("settled", label, _settled(variable)))
    moved = _times(variable, row) + _plus(variable, row) + _instead(variable, row)
    if moved:
        both = f"{label}: its level" if row.scatter else label
        found.append(("value", both, moved))
    if row.scatter and base.sd > 0.0:
        found.append(("scatter", f"{label}: how much it scatters", _scatters(variable)))
    return [
        _doubt(
            entry,
            row,
            question,
            name,
            [
                Alternative(value, with_spreads(scenario, {entry.key: spread}))
                for value, spread in pairs
            ],
        )
        for question, name, pairs in found
    ] or NO_RANGE


def _settled(variable: Variable) -> list[tuple[str, Spread]]:
    from jointrisk import spread

    points = [float(variable.spread.ppf(q)) for q in ENDS]
    return [(units.format_value(x, variable.unit), spread.Fixed(x)) for x in points]


def _scatters(variable: Variable) -> list[tuple[str, Spread]]:
    low, high = _limits(variable)
    found = []
    for factor, word in zip(HALF_AND_DOUBLE, ("half", "double"), strict=True):
        told = f"{word} the scatter, {_scatter_text(variable, factor)}"
        found.append((told, held(scattered(variable.spread, factor), low, high)))
    return found


def _scatter_text(variable: Variable, factor: float) -> str:
    """Return a standard deviation times a factor, over the mean where that says more."""
    mean, sd = float(variable.spread.mean), factor * float(variable.spread.sd)
    if mean == 0.0 or variable.unit in ("mm", "deg", "degC"):
        return f"sd {units.format_value(sd, 'K' if variable.unit == 'degC' else variable.unit)}"
    return f"CoV {sd / abs(mean):.2g}"


def _times(variable: Variable, row: Row) -> list[tuple[str, Spread]]:
    """Return the spread times each factor; nothing of what is 0 now."""
    from jointrisk import spread

    base, (low, high) = variable.spread, _limits(variable)
    mean = float(base.mean)
    found: list[tuple[str, Spread]] = []
    for factor in row.times:
        if mean == 0.0 or factor == 1.0:
            continue
        text = units.format_value(factor * mean, variable.unit)
        if base.sd == 0.0:
            found.append((text, held(spread.Fixed(factor * mean), low, high)))
        else:
            found.append((f"{text} on average", held(spread.Scaled(base, factor), low, high)))
    return found


def _plus(variable: Variable, row: Row) -> list[tuple[str, Spread]]:
    from jointrisk import spread

    base = variable.spread
    found: list[tuple[str, Spread]] = []
    for step in row.plus:
        text = units.format_value(float(base.mean) + step, variable.unit)
        moved = (
            spread.Fixed(float(base.mean) + step)
            if base.sd == 0.0
            else spread.Scaled(base, 1.0, step)
        )
        found.append((text, moved))
    return found


def _instead(variable: Variable, row: Row) -> list[tuple[str, Spread]]:
    """Return the spreads that the row writes out, but for the one that is taken now."""
    quantity = QUANTITIES.get(variable.key)
    if quantity is None:
        return []
    built = [
        build(read_given(raw, quantity.dimension), quantity.family, (quantity.low, quantity.high))
        for raw in row.values
    ]
    return [(spread_text(new, variable.unit), new) for new in built if new != variable.spread]


def _limits(variable: Variable) -> tuple[float, float]:
    """Return the range that a quantity can have, from 0 up for one that is not in the list."""
    quantity = QUANTITIES.get(variable.key)
    if quantity is not None:
        return quantity.low, quantity.high
    return (0.0 if float(variable.spread.ppf(0.0)) >= 0.0 else float("-inf")), float("inf")


def _words(scenario: Scenario, key: str, row: Row) -> str:
    """Return the name of a fact: that of its row or its variable, or a load's with what it is."""
    if row.name:
        return row.name
    if key in scenario.variables:
        return scenario.variables[key].label
    load, what = key.removeprefix("load.").rpartition(".")[::2]
    return f"load {load}: its {what.replace('_', ' ')}"


# Families and tails -----------------------------------------------------------------------------


def _bond_shape(scenario: Scenario) -> list[Doubt]:
    """Ask for family and tail of what scatters the strength of sound bonds, all at once."""
    first = scenario.variables["adhesive.shear_strength"]
    surfaces = (scenario.end, "tube", "second_plug", "second_tube")
    keys = (first.key, *(f"preparation.{name}" for name in surfaces), "batch.bond_factor")
    varying = [key for key in keys if key in scenario.variables]
    varying = [key for key in varying if scenario.variables[key].spread.sd > 0.0]
    if first.key not in varying:
        return []
    name = "scatter of the bonds (adhesive, surfaces, batch)"
    return _shape(scenario, first, varying, name, doubt_rows().families_of_strength)


def _load_shapes(scenario: Scenario) -> list[Doubt]:
    """Ask for family and tail of every load that scatters and has a sign."""
    found = []
    for load in scenario.loads:
        base = load.size.spread
        if base.sd > 0.0 and base.mean > 0.0:
            families = doubt_rows().families_of_loads
            found += _shape(scenario, load.size, [load.size.key], load.size.label, families)
    return found


def _shape(
    scenario: Scenario,
    variable: Variable,
    keys: Sequence[str],
    name: str,
    families: Sequence[str],
) -> list[Doubt]:
    """Ask for another family, and for a longer or shorter tail, of some variables at once."""
    rows = doubt_rows()
    now = family_of(variable.spread)
    bases = {key: _spread_of(scenario, key) for key in keys}
    others = []
    for family in families:
        if family == now:
            continue
        try:
            changed = {key: as_family(base, family) for key, base in bases.items()}
        except InputError:  # it cannot have this mean and scatter
            continue
        others.append(Alternative(family, with_spreads(scenario, changed)))
    tails = []
    for factor in (1.0 / rows.tail, rows.tail):
        changed = {key: held(scattered(base, factor), 0.0, _INF) for key, base in bases.items()}
        text = f"scatter times {factor:.3g}, {_scatter_text(variable, factor)}"
        tails.append(Alternative(text, with_spreads(scenario, changed)))
    told = (variable.source, variable.confidence)
    marks = ((rows.family_source, "family", others), (rows.tail_source, "tail", tails))
    return [
        Doubt(
            variable.key,
            question,
            f"{name}: its {question}",
            now if question == "family" else f"{_scatter_text(variable, 1.0)}, {now}",
            *told,
            source,
            rows.confidence,
            tuple(alternatives),
        )
        for source, question, alternatives in marks
        if alternatives
    ]


_INF = float("inf")


def _spread_of(scenario: Scenario, key: str) -> Spread:
    found = scenario.variables.get(key)
    if found is not None:
        return found.spread
    return next(load.size.spread for load in scenario.loads if load.size.key == key)
