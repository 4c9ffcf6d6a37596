"""What the defaults could be instead, read from package data: rows of `data/doubts.toml`."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from jointrisk.scenario.tables import CONFIDENCE, read_table

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["Doubts", "Row", "doubt_rows", "row_of"]


@dataclass(frozen=True, slots=True)
class Row:
    """What one default could be instead; a form that does not apply is empty."""

    settled: bool = False
    """A spread of what is not known, settled at its 5 % and its 95 % point."""
    scatter: bool = False
    """A scatter halved and doubled."""
    times: tuple[float, ...] = ()
    """Factors on the value [-]."""
    values: tuple[Any, ...] = ()
    """As a scenario writes them."""
    plus: tuple[float, ...] = ()
    """Added to the value [K]."""
    curves: tuple[Any, ...] = ()
    """Points in place of those of a curve."""
    none: str = ""
    """Why nothing is asked; "" where something is."""
    name: str = ""
    """Of a fact, in plain words; a variable has its label."""
    source: str = ""
    confidence: str = CONFIDENCE["J"]
    of: Mapping[str, Row] = field(default_factory=dict)
    """The same for one material, "metal" or "composite"."""

    def for_material(self, name: str, *, composite: bool) -> Row:
        """Return the row of a material, or of its kind, where it has one of its own."""
        kind = "composite" if composite else "metal"
        return self.of.get(name, self.of.get(kind, self))


@dataclass(frozen=True, slots=True)
class Doubts:
    """The whole table."""

    rows: Mapping[str, Row]
    """By key of a scenario, * for any name."""
    columns: Mapping[str, Mapping[str, tuple[str, ...] | str]]
    """By table and column of the other tables: keys of `rows`, or why nothing is asked."""
    scatter_source: str
    family_source: str
    tail_source: str
    confidence: str
    """Of the sources above."""
    families_of_strength: tuple[str, ...]
    families_of_loads: tuple[str, ...]
    tail: float
    """Factor on a standard deviation for a longer tail [-]."""


@cache
def doubt_rows() -> Doubts:
    """Return what the defaults could be instead."""
    table = read_table("doubts")
    columns = {
        name: MappingProxyType({k: v if isinstance(v, str) else tuple(v) for k, v in cells.items()})
        for name, cells in table.pop("columns").items()
    }
    rows = {key: _row(table.pop(key)) for key in [k for k, v in table.items() if _is_row(v)]}
    return Doubts(
        rows=MappingProxyType(rows),
        columns=MappingProxyType(columns),
        scatter_source=table["scatter_source"],
        family_source=table["family_source"],
        tail_source=table["tail_source"],
        confidence=CONFIDENCE[table["mark"]],
        families_of_strength=tuple(table["families_of_strength"]),
        families_of_loads=tuple(table["families_of_loads"]),
        tail=table["tail"],
    )


def row_of(key: str) -> Row | None:
    """Return the row of a key of a scenario, that of the first end for the second; None without."""
    rows = doubt_rows().rows
    plain = key.replace("second_", "")
    table, _, rest = plain.partition(".")
    any_name = f"{table}.*.{rest.rpartition('.')[2]}"
    return rows.get(plain) or rows.get(any_name)


def _is_row(value: object) -> bool:
    return isinstance(value, dict)


def _row(raw: Mapping[str, Any], base: Mapping[str, Any] | None = None) -> Row:
    """Return a row; one of a material keeps what it does not say of the plain row's scatter."""
    of = {name: _row(own, raw) for name, own in raw.get("of", {}).items()}
    scatter = raw.get("scatter", (base or {}).get("scatter", False))
    mark = raw.get("mark", (base or {}).get("mark", "J"))
    return Row(
        settled=raw.get("settled", False),
        scatter=scatter,
        times=tuple(raw.get("times", ())),
        values=tuple(raw.get("values", ())),
        plus=tuple(raw.get("plus", ())),
        curves=tuple(raw.get("curves", ())),
        none=raw.get("none", ""),
        name=raw.get("name", (base or {}).get("name", "")),
        source=raw.get("source", ""),
        confidence=CONFIDENCE[mark],
        of=MappingProxyType(of),
    )
