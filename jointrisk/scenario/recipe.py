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

__all__ = ["RecipeRow", "Whose", "fill", "kind_of", "recipes", "refuse", "times"]

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
        refuse(ledger, at, table, ("weight",), "has no meaning without a recipe")
        return table, {}
    row = tables.recipes()[table.recipe]
    judged: Whose = ("default", f"recipe: {table.recipe}", _JUDGED)
    changes: dict[str, Any] = {}
    kind = table.kind or row.kind
    if table.kind is None and not ledger.broken(f"{at}.kind"):
        changes["kind"] = kind
    if table.direction is None and kind not in ("sustained", "cycles"):
        changes["direction"] = row.direction
    if table.rate is None and kind == "event" and row.rate:
        changes["rate"] = read_plain(row.rate, "rate")
    whose = dict.fromkeys(changes, judged)
    name = table.name or at
    ledger.assume(f"load.{name}.recipe", table.recipe, "scenario", *YOURS)
    if "kind" in changes:
        ledger.assume(f"load.{name}.kind", kind, *judged)
    if table.size is not None or table.moment is not None:
        what = "has no meaning beside a size of your own: write the force"
        refuse(ledger, at, table, ("weight",), what)
    elif not ledger.broken(f"{at}.size", f"{at}.moment"):
        changes["size"] = _size(ledger, at, table, row)
        source = f"recipe: {table.recipe}; {row.source}"
        whose["size"] = ("default", source, row.confidence)
    return table.model_copy(update={k: v for k, v in changes.items() if v is not None}), whose


def _size(ledger: Ledger, at: str, table: LoadTable, row: tables.Recipe) -> Given | None:
    """Return the size of the recipe where it acts, or None where something is missing."""
    weight = _weight(ledger, at, table, row)
    _ask_for_arm(ledger, at, table, row)
    return None if weight is None else times(row.size, weight, "force")


def _weight(ledger: Ledger, at: str, table: LoadTable, row: tables.Recipe) -> float | None:
    """Return the weight [N] that the size is counted in; 1 where it is a force."""
    key = f"{at}.weight"
    if row.weight_of is None:
        refuse(ledger, at, table, ("weight",), f'has no meaning for "{table.recipe}"')
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


def _ask_for_arm(ledger: Ledger, at: str, table: LoadTable, row: tables.Recipe) -> None:
    """Refuse a lever where the force is in the rod, and miss one where it is not."""
    if row.in_rod:
        what = f'has no meaning for "{table.recipe}": its force is in the rod already'
        refuse(ledger, at, table, ("arm_ratio", "angle"), what)
        return
    if table.arm_ratio is not None or ledger.broken(f"{at}.arm_ratio"):
        return
    name = table.name or at
    source = f"the force {row.acts} taken as that in the rod"
    ledger.assume(f"load.{name}.arm_ratio", "1", "default", source, _JUDGED)
    ledger.warn(
        "load-recipe-at-the-hand",
        f'the force of load "{name}" is the one {row.acts}, not in the rod. Where a lever lies '
        f"between, the rod may carry several times as much: write arm_ratio = force in the rod "
        f"over force {row.acts}.",
    )


def times(size: Given, factor: float, dimension: str) -> Given:
    """Return `size` times a factor that is not 0, of another dimension; a CoV stays what it is."""

    def pair(limits: tuple[float, float] | None) -> tuple[float, float] | None:
        low, high = sorted(limit * factor for limit in limits) if limits else (0.0, 0.0)
        return (low, high) if limits else None

    numbers = {k: v if k == "cov" else v * factor for k, v in size.numbers.items()}
    if factor < 0:
        swapped = {"p05": "p95", "p95": "p05"}
        numbers = {swapped.get(k, k): abs(v) if k == "sd" else v for k, v in numbers.items()}
    return replace(
        size,
        dimension=dimension,
        numbers=numbers,
        never_outside=pair(size.never_outside),
        truncated=pair(size.truncated),
    )


def refuse(ledger: Ledger, at: str, table: LoadTable, keys: tuple[str, ...], what: str) -> None:
    """Refuse keys that are given and say nothing."""
    for key in keys:
        found = getattr(table, key)
        if found is not None:
            got = found.text if isinstance(found, Given) else f"{found:g}"
            ledger.problem(f"{at}.{key}", what, got)
