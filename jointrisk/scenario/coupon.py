"""Lap coupons at the file boundary: texts with units to numbers, every fault at once."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jointrisk import units
from jointrisk.errors import InputError, Problem, ScenarioError, nearest
from jointrisk.scenario import tables

if TYPE_CHECKING:
    import os
    from collections.abc import Iterator, Mapping, Sequence

__all__ = ["KEYS", "Coupon", "read_coupon"]

_NUMBERS = {
    "width": "length",
    "overlap": "length",
    "thickness": "length",
    "bond_line": "length",
    "modulus": "stress",
    "yield_strength": "stress",
}
_NEEDED = ("width", "overlap", "thickness")
KEYS = (*_NUMBERS, "material", "adhesive_class", "load", "loads_file")
"""What a coupon is told by."""
_COLUMN = re.compile(r"(?:failing |failure )?loads?\s*(?:[\[(]\s*(.+?)\s*[\])])?", re.IGNORECASE)
_HEADED = 'a column headed "load [N]", or "load" with the unit in each cell'


@dataclass(frozen=True, slots=True)
class Coupon:
    """Single-lap coupons of one kind, and the loads at which they broke."""

    width: float
    """Of the glued face [mm]."""
    overlap: float
    """Of the glued face, along the pull [mm]."""
    thickness: float
    """Of one strip [mm]."""
    modulus: float
    """Young's modulus of the strips [MPa]."""
    yield_strength: float | None
    """Of the strips; for plies the stress at which they break; None where not known [MPa]."""
    bond_line: float
    """Thickness of the layer [mm]."""
    bond_line_given: bool
    """False where the default was taken."""
    material: str | None
    composite: bool
    """True for strips of plies: they break instead of yielding."""
    adhesive_class: str
    loads: tuple[float, ...]
    """[N]"""


def read_coupon(
    given: Mapping[str, object], *, loads_file: str | os.PathLike[str] | None = None
) -> Coupon:
    """Return a coupon from texts with units.

    Parameters
    ----------
    given : mapping
        Keys of `KEYS` to texts such as "12.5 mm"; None counts as left out. `load` may be a
        sequence of texts.
    loads_file : path, optional
        A CSV file with a header and a column of loads; they are added to `load`.

    Returns
    -------
    Coupon

    Raises
    ------
    ScenarioError
        With every fault: what is missing, has no unit, is not above 0, or is not known.
    """
    problems: list[Problem] = []
    read = {key: _number(key, given.get(key), problems) for key in _NUMBERS}
    material = _named(given, "material", list(tables.materials()), problems)
    adhesive = _named(given, "adhesive_class", list(tables.adhesives()), problems)
    problems += [Problem(k, "is missing", expected=_example(k)) for k in _NEEDED
                 if given.get(k) is None]  # fmt: skip
    if given.get("material") is None and given.get("modulus") is None:
        what = "is missing; strips need a material, or a modulus and better a yield strength too"
        problems.append(Problem("material", what, expected=_listed(list(tables.materials()))))
    loads = _loads(given.get("load"), loads_file, problems)
    if problems:
        raise ScenarioError("", problems)
    row = tables.materials()[material] if material else None
    composite = row is not None and row.composite
    cells = row.cells if row is not None else {}
    limit = cells.get("tension_strength" if composite else "compression_strength")
    default = tables.default("coupon.bond_line").given("length").plain
    return Coupon(
        width=read["width"] or 0.0,
        overlap=read["overlap"] or 0.0,
        thickness=read["thickness"] or 0.0,
        modulus=read["modulus"] or cells["modulus"].typical or 0.0,
        yield_strength=read["yield_strength"] or (limit.typical if limit else None),
        bond_line=read["bond_line"] or default or 0.0,
        bond_line_given=read["bond_line"] is not None,
        material=material,
        composite=composite,
        adhesive_class=adhesive or tables.UNKNOWN_CLASS,
        loads=loads,
    )


def _example(key: str) -> str:
    return f'a {_NUMBERS[key]} such as "{units.example(_NUMBERS[key])}"'


def _listed(names: Sequence[str]) -> str:
    return "one of " + ", ".join(f'"{name}"' for name in names)


def _number(key: str, raw: object, problems: list[Problem]) -> float | None:
    return None if raw is None else _above_zero(key, raw, _NUMBERS[key], problems)


def _above_zero(key: str, raw: Any, dimension: str, problems: list[Problem]) -> float | None:
    """Return a number above 0 in house units, or note what is wrong with it."""
    try:
        value = units.parse(raw, dimension)
    except InputError as error:
        problems.append(Problem(key, str(error)))
        return None
    if value <= 0:
        problems.append(Problem(key, "is not above 0", f'"{raw}"', f"a {dimension} above 0"))
        return None
    return value


def _named(
    given: Mapping[str, object], key: str, names: Sequence[str], problems: list[Problem]
) -> str | None:
    raw = given.get(key)
    if raw is None or raw in names:
        return raw if isinstance(raw, str) else None
    close = nearest(raw, names) if isinstance(raw, str) else None
    expected = f'did you mean "{close}"?' if close else f"expected {_listed(names)}"
    problems.append(Problem(key, f'is not known (got "{raw}"; {expected})'))
    return None


def _loads(
    raw: object, file: str | os.PathLike[str] | None, problems: list[Problem]
) -> tuple[float, ...]:
    """Return every load, those given one by one first."""
    given = [] if raw is None else list(raw) if isinstance(raw, list | tuple) else [raw]
    texts: list[tuple[str, object]] = [("load", text) for text in given]
    if file is not None:
        before = len(problems)
        texts += _cells(Path(file), problems)
        if len(problems) > before:
            return ()
    if not texts:
        what = "is missing; at least one load at which a coupon broke"
        problems.append(Problem("load", what, expected='a force such as "9.1 kN"'))
    found = [_above_zero(key, text, "force", problems) for key, text in texts]
    return tuple(load for load in found if load is not None)


def _cells(path: Path, problems: list[Problem]) -> Iterator[tuple[str, str]]:
    """Return place and text with unit of each load of a CSV file."""
    try:
        lines = path.read_text("utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not text in UTF-8"
        problems.append(Problem(str(path), f"cannot be read: {reason}"))
        return iter(())
    head = lines[0] if lines else ""
    rows = list(csv.reader(lines, delimiter=max(",;\t", key=head.count)))
    columns = [_COLUMN.fullmatch(cell.strip()) for cell in rows[0]] if rows else []
    where = next((i for i, found in enumerate(columns) if found), None)
    if where is None:
        got = f'"{head}"' if head else "an empty file"
        problems.append(Problem(str(path), "has no column of loads", got, _HEADED))
        return iter(())
    heading = columns[where]
    unit = f" {heading[1]}" if heading and heading[1] else ""
    cells = [(n, row[where].strip() if where < len(row) else "") for n, row in
             enumerate(rows[1:], 2) if any(cell.strip() for cell in row)]  # fmt: skip
    if not cells:
        problems.append(Problem(str(path), "holds no load below its header", expected=_HEADED))
    return iter([(f"{path}: line {n}", f"{cell}{unit}") for n, cell in cells])
