"""Load recipes: what a load takes from a row of the table where it names one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, cast

from jointrisk import units
from jointrisk.scenario import tables
from jointrisk.scenario.catalogue import LOAD_FAMILY
from jointrisk.scenario.given import Given, build, read_plain
from jointrisk.scenario.ledger import YOURS, Ledger, spread_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jointrisk.scenario.shape import LoadTable
    from jointrisk.scenario.types import Origin

__all__ = ["RecipeRow", "Whose", "fill", "kind_of", "recipes"]

Whose = tuple["Origin", str, str]
_JUDGED = tables.CONFIDENCE["J"]


@dataclass(frozen=True, slots=True)
class RecipeRow:
    """One load recipe as a person reads it."""

    name: str
    kind: str
    size: str
    """The force, or how many times a weight, in words with its spread."""
    acts: str
    """Where the force is, such as "at the hand"."""
    weight_of: str
    """Whose weight the scenario must name; "" where the size is a force."""
    source: str
    confidence: str


def recipes() -> tuple[RecipeRow, ...]:
    """Return the load recipes that a scenario can name, in the order of their table."""
    rows = []
    for name, row in tables.recipes().items():
        size = spread_text(build(row.size, LOAD_FAMILY[row.kind]), "-" if row.weight_of else "N")
        if row.weight_of:
            size += f", times the weight of {row.weight_of}"
        whose = row.weight_of or ""
        rows.append(RecipeRow(name, row.kind, size, row.acts, whose, row.source, row.confidence))
    return tuple(rows)


def kind_of(table: LoadTable) -> str | None:
    """Return the kind of a load as written, or as its recipe has it."""
    return table.kind or (tables.recipes()[table.recipe].kind if table.recipe else None)


def fill(ledger: Ledger, at: str, table: LoadTable) -> tuple[LoadTable, Mapping[str, Whose]]:
    """Return the load with what its recipe fills in, and whose each filled-in value is.

    Parameters
    ----------
    ledger : Ledger
        Takes problems, warnings and what is assumed.
    at : str
        Place of the load in the file, such as ``load[1]``.
    table : LoadTable
        The load as written; its own keys win.
    """
    if table.recipe is None:
        _refuse(ledger, at, table, ("arm_ratio", "weight"), "has no meaning without a recipe")
        return table, {}
    row = tables.recipes()[table.recipe]
    judged: Whose = ("default", f"recipe: {table.recipe}", _JUDGED)
    changes: dict[str, Any] = {}
    kind = table.kind or row.kind
    if table.kind is None and not ledger.broken(f"{at}.kind"):
        changes["kind"] = kind
    if table.direction is None and kind != "sustained":
        changes["direction"] = row.direction
    if table.rate is None and kind == "event" and row.rate:
        changes["rate"] = read_plain(row.rate, "rate")
    whose = dict.fromkeys(changes, judged)
    name = table.name or at
    ledger.assume(f"load.{name}.recipe", table.recipe, "scenario", *YOURS)
    if "kind" in changes:
        ledger.assume(f"load.{name}.kind", kind, *judged)
    if table.size is not None:
        what = "has no meaning beside a size of your own: write the force in the rod"
        _refuse(ledger, at, table, ("arm_ratio", "weight"), what)
    elif not ledger.broken(f"{at}.size"):
        changes["size"] = _size(ledger, at, table, row)
        source = f"recipe: {table.recipe}; {row.source}"
        whose["size"] = ("default", source, row.confidence)
    return table.model_copy(update={k: v for k, v in changes.items() if v is not None}), whose


def _size(ledger: Ledger, at: str, table: LoadTable, row: tables.Recipe) -> Given | None:
    """Return the size of the recipe, in the rod, or None where something is missing."""
    weight = _weight(ledger, at, table, row)
    ratio = _arm_ratio(ledger, at, table, row)
    if weight is None or ratio is None:
        return None
    return _times(row.size, weight * ratio)


def _weight(ledger: Ledger, at: str, table: LoadTable, row: tables.Recipe) -> float | None:
    """Return the weight [N] that the size is counted in; 1 where it is a force."""
    key = f"{at}.weight"
    if row.weight_of is None:
        _refuse(ledger, at, table, ("weight",), f'has no meaning for "{table.recipe}"')
        return 1.0
    if table.weight is None:
        if not ledger.broken(key):
            what = f'is missing: "{table.recipe}" counts in times the weight of {row.weight_of}'
            ledger.problem(key, what, "", '"600 N"')
        return None
    weight = cast("float", table.weight.plain)
    if weight <= 0:
        ledger.problem(key, "is not above zero", table.weight.text)
        return None
    text = f"{units.format_value(weight, 'N')}, {row.weight_of}"
    ledger.assume(f"load.{table.name or at}.weight", text, "scenario", *YOURS)
    return weight


def _arm_ratio(ledger: Ledger, at: str, table: LoadTable, row: tables.Recipe) -> float | None:
    """Return the force in the rod over the force of the recipe [-]."""
    key, name = f"{at}.arm_ratio", table.name or at
    if row.in_rod:
        what = f'has no meaning for "{table.recipe}": its force is in the rod already'
        _refuse(ledger, at, table, ("arm_ratio",), what)
        return 1.0
    ratio = table.arm_ratio
    if ratio is not None and ratio <= 0:
        ledger.problem(key, "is not above zero", f"{ratio:g}", "force in the rod over that applied")
        return None
    if ratio is not None:
        ledger.assume(f"load.{name}.arm_ratio", f"{ratio:g}", "scenario", *YOURS)
        return ratio
    if ledger.broken(key):
        return None
    source = f"the force {row.acts} taken as that in the rod"
    ledger.assume(f"load.{name}.arm_ratio", "1", "default", source, _JUDGED)
    ledger.warn(
        "load-recipe-at-the-hand",
        f'the force of load "{name}" is the one {row.acts}, not in the rod. Where a lever lies '
        f"between, the rod may carry several times as much: write arm_ratio = force in the rod "
        f"over force {row.acts}.",
    )
    return 1.0


def _times(size: Given, factor: float) -> Given:
    """Return `size` times a positive factor [N or -], as a force; a CoV stays what it is."""
    numbers = {k: v if k == "cov" else v * factor for k, v in size.numbers.items()}
    low_high = size.never_outside and (
        size.never_outside[0] * factor,
        size.never_outside[1] * factor,
    )
    return replace(size, dimension="force", numbers=numbers, never_outside=low_high)


def _refuse(ledger: Ledger, at: str, table: LoadTable, keys: tuple[str, ...], what: str) -> None:
    """Refuse keys that are given and say nothing."""
    for key in keys:
        found = getattr(table, key)
        if found is not None:
            got = found.text if isinstance(found, Given) else f"{found:g}"
            ledger.problem(f"{at}.{key}", what, got)
