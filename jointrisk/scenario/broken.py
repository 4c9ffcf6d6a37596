"""Broken coupons and rods at the file boundary: a CSV file becomes numbers, every fault at once.

Needed is one column of strengths or loads; held (or broke, result), batch and note add to it, and
columns by other names are not read.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from jointrisk import units
from jointrisk.errors import InputError, Problem, ScenarioError, nearest
from jointrisk.scenario.pull_sheet import content, lines
from jointrisk.scenario.pull_words import Head, head, outcome

if TYPE_CHECKING:
    import os
    from collections.abc import Sequence

    from jointrisk.scenario.pull_sheet import Line

    _Roles = dict[str, tuple[int, Head]]

__all__ = ["DIMENSIONS", "Broken", "Coupons", "given_coupons", "read_coupons"]

DIMENSIONS = ("stress", "force")
"""What may be broken: a strength over an area, or a load."""
_HEADED = 'a column headed "strength [MPa]" or "load [N]", or with the unit in each cell'
_NAMES = re.compile(r"\b(strengths?|stress|loads?|forces?|shear)\b", re.IGNORECASE)
_GROUP = ("group", "series", "mix", "pot")
_MARKS = {"x": "yes", "1": "yes", "0": "no"}
_BARE = re.compile(r"[+-]?[\d.]+(?:[eE][+-]?\d+)?")
_COMMA = re.compile(r"([+-]?\d+),(\d+)(?!\d*[.,]\d)")
_POINTED = re.compile(r"[+-]?\d{1,3}(?:\.\d{3})+,\d+")
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?")


@dataclass(frozen=True, slots=True)
class Broken:
    """One coupon or rod."""

    value: float
    """Strength [MPa] or load [N] at which it broke, or that it held."""
    row: int
    """Line of the file, or place in the list, from 1 [-]."""
    held: bool = False
    """True where it did not break: its own value is larger."""
    batch: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Coupons:
    """What a file of broken coupons or rods holds."""

    name: str
    column: str
    dimension: str
    """One of `DIMENSIONS`."""
    coupons: tuple[Broken, ...]
    unread: tuple[str, ...] = ()
    """Heads of the columns that were not read."""
    sha256: str = ""
    """Of the file, "" where there is none."""


@dataclass(frozen=True, slots=True)
class _Column:
    """One column as its head tells it."""

    place: int
    text: str
    name: str
    unit: str
    dimension: str
    """"" where the unit is none of those wanted, or each cell has its own."""


def read_coupons(path: str | os.PathLike[str], *, column: str | None = None) -> Coupons:
    """Return the coupons of a CSV file.

    Parameters
    ----------
    path : path
        A header, then one coupon or rod a line; commas, semicolons or tabs between the cells.
    column : str, optional
        Head of the column of values, with or without its unit, where more than one could be it.

    Returns
    -------
    Coupons

    Raises
    ------
    ScenarioError
        The file cannot be read, names no such column, or holds cells that are no number with a
        unit above 0; every fault at once.
    """
    file = Path(path)
    name = str(path)
    if file.is_dir():
        raise ScenarioError(name, [Problem("", "is a folder, not a table of coupons")])
    rows = lines(content(file), name)
    if not rows:
        raise ScenarioError(name, [Problem("", "holds nothing", expected=_HEADED)])
    chosen = _chosen(rows, column, name)
    if len(rows) == 1:
        raise ScenarioError(name, [Problem("", "holds no value below its header")])
    dimension = chosen.dimension or _dimension_of_cells(rows[1:], chosen.place)
    roles = _roles(rows[0], chosen)
    found, problems = _rows(rows, chosen, dimension, roles)
    if problems:
        raise ScenarioError(name, problems)
    used = {chosen.place, *(place for place, _ in roles.values())}
    unread = tuple(h for i, h in enumerate(rows[0].cells) if i not in used and h)
    digest = hashlib.sha256(file.read_bytes()).hexdigest()
    return Coupons(file.name, chosen.text, dimension, found, unread, digest)


def given_coupons(
    values: Sequence[object],
    *,
    unit: str | None = None,
    held: Sequence[object] | None = None,
    batches: Sequence[object] | None = None,
) -> Coupons:
    """Return coupons from a list of values.

    Parameters
    ----------
    values : sequence of str or float
        Texts with units such as "14.2 MPa", or numbers in `unit`.
    unit : str, optional
        Unit of values without one, such as "MPa" or "kN".
    held : sequence of bool, optional
        True for each that did not break.
    batches : sequence of str, optional
        Batch of each.

    Returns
    -------
    Coupons

    Raises
    ------
    ScenarioError
        With everything that cannot be used, all at once.
    """
    problems: list[Problem] = []
    values = list(values)
    if not values:
        problems.append(Problem("", "holds no value"))
    for name, others in (("held", held), ("batches", batches)):
        if others is not None and len(others) != len(values):
            what = "is not as long as the values"
            problems.append(Problem(name, what, f"{len(others)}", f"{len(values)}"))
    if problems:
        raise ScenarioError("values", problems)
    texts = [_text(v) for v in values]
    dimension = (
        _dimension_of(f"1 {unit}") if unit else next(filter(None, map(_dimension_of, texts)), "")
    )
    if unit and not dimension:
        raise ScenarioError(
            "values", [Problem("unit", "is no unit of a stress or a force", f'"{unit}"')]
        )
    found = []
    for place, text in enumerate(texts, 1):
        value = _value(f"value {place}", text, unit or "", dimension or "stress", False, problems)
        batch = str(batches[place - 1]) if batches is not None else ""
        held_it = bool(held[place - 1]) if held is not None else False
        found.append(Broken(value or 0.0, place, held_it, batch))
    if problems:
        raise ScenarioError("values", problems)
    return Coupons("values", "values", dimension, tuple(found))


# Columns -----------------------------------------------------------------------------------------


def _column(place: int, text: str) -> _Column:
    """Take a head apart: "strength [MPa]", "load (kN)", "load / N", "load in N", "load N"."""
    found = re.fullmatch(
        r"(.*?)\s*(?:[\[(]\s*(.*?)\s*[\])]|/\s*(\S+)|,\s*(\S+)|\bin\s+(\S+))", text
    )
    name, unit = (found[1], next(filter(None, found.groups()[1:]), "")) if found else (text, "")
    if not unit and " " in text and _dimension_of(f"1 {text.rpartition(' ')[2]}"):
        name, _, unit = text.rpartition(" ")
    return _Column(place, text, name.strip(), unit, _dimension_of(f"1 {unit}") if unit else "")


def _chosen(rows: list[Line], wanted: str | None, name: str) -> _Column:
    """Return the column of values, or say which there are."""
    columns = [_column(i, text) for i, text in enumerate(rows[0].cells) if text]
    if wanted is not None:
        return _named(columns, wanted, name)
    likely = [c for c in columns if c.dimension]
    if not likely:
        own = [c for c in columns if not c.unit and _dimension_of_cells(rows[1:], c.place)]
        likely = own or [c for c in columns if _NAMES.search(c.name)]
    if len(likely) == 1:
        return likely[0]
    listed = ", ".join(f'"{c.text}"' for c in likely or columns)
    if likely:
        what = f"more than one column could be meant; name one with --column (got {listed})"
    else:
        what = f"has no column of strengths or loads (got {listed}; expected {_HEADED})"
    raise ScenarioError(name, [Problem("", what)])


def _named(columns: list[_Column], wanted: str, name: str) -> _Column:
    """Return the column that is asked for."""
    word = wanted.strip().lower()
    found = [c for c in columns if c.text.lower() == word]
    found = found or [c for c in columns if c.name.lower() == word]
    if len(found) == 1:
        (column,) = found
        if column.unit and not column.dimension:
            what = "is in no unit of a stress or a force"
            raise ScenarioError(name, [Problem(column.text, what, f'"{column.unit}"', _HEADED)])
        return column
    listed = ", ".join(f'"{c.text}"' for c in found or columns)
    close = nearest(wanted, [c.name for c in columns]) or nearest(wanted, [c.text for c in columns])
    hint = f'did you mean "{close}"?' if close and not found else f"expected one of {listed}"
    what = "more than one column has this name" if found else "no such column"
    raise ScenarioError(name, [Problem("column", f'{what} (got "{wanted}"; {hint})')])


def _roles(line: Line, chosen: _Column) -> _Roles:
    """Return place and head of the columns result, batch and note, the first of each."""
    roles: _Roles = {}
    for place, text in enumerate(line.cells):
        found = head(text)
        if place == chosen.place:
            continue
        if found is not None and found.column in ("result", "batch", "note"):
            roles.setdefault(found.column, (place, found))
        elif text.lower() in _GROUP:
            roles.setdefault("batch", (place, Head("batch", text, "")))
    return roles


# Cells -------------------------------------------------------------------------------------------


def _rows(
    rows: list[Line], chosen: _Column, dimension: str, roles: _Roles
) -> tuple[tuple[Broken, ...], list[Problem]]:
    """Return what stands below the header, and everything that is wrong with it."""
    problems: list[Problem] = []
    texts = [_cell(row, chosen.place) for row in rows[1:]]
    decimal = _comma_is_point(texts)
    found = []
    for row, text in zip(rows[1:], texts, strict=True):
        line = f"line {row.number}"
        held = _held(row, *roles["result"], problems) if "result" in roles else False
        key = f"{line}, {chosen.text}"
        value = _value(key, text, chosen.unit, dimension, decimal, problems)
        batch, note = (_cell(row, roles[k][0]) if k in roles else "" for k in ("batch", "note"))
        if "batch" in roles and not batch:
            key = f"{line}, {_cell(rows[0], roles['batch'][0])}"
            problems.append(Problem(key, "is empty, though the table has a column of batches"))
        found.append(Broken(value or 0.0, row.number, held, batch, note))
    return tuple(found), problems


def _cell(row: Line, place: int) -> str:
    return row.cells[place] if place < len(row.cells) else ""


def _text(value: object) -> str:
    """Return a value of a list as text; a NumPy number as its plain digits."""
    plain = value.item() if hasattr(value, "item") else value
    return plain if isinstance(plain, str) else repr(plain)


def _dimension_of(text: str) -> str:
    """Return which of `DIMENSIONS` a text with a unit has, "" for none."""
    for dimension in DIMENSIONS:
        try:
            units.parse(_COMMA.sub(r"\1.\2", text), dimension)
        except InputError:
            continue
        return dimension
    return ""


def _dimension_of_cells(rows: list[Line], place: int) -> str:
    """Return the dimension of the first cell that has one."""
    return next(filter(None, (_dimension_of(_cell(row, place)) for row in rows)), "")


def _held(row: Line, place: int, told: Head, problems: list[Problem]) -> bool:
    """Return whether a coupon held; an empty cell under "held" says that it broke."""
    cell = _cell(row, place)
    if not cell and told.turned is False:
        return False
    try:
        said = outcome(_MARKS.get(cell.lower(), cell), told.turned)
    except InputError as error:
        problems.append(Problem(f"line {row.number}, {told.text}", str(error)))
        return False
    if said.kind == "broke below":
        what = "cannot be used here: a fit needs the load at which it broke, or one that it held"
        problems.append(Problem(f"line {row.number}, {told.text}", what, f'"{cell}"'))
    return said.kind == "held"


def _comma_is_point(texts: Sequence[str]) -> bool:
    """Tell whether commas stand for decimal points: whether one of them can be nothing else."""
    found = [m for m in map(_COMMA.match, texts) if m]
    pointed = any(map(_POINTED.match, texts))
    return pointed or any(len(m[2]) != 3 or m[1].strip("+-") == "0" for m in found)


def _value(
    key: str, text: str, unit: str, dimension: str, decimal: bool, problems: list[Problem]
) -> float | None:
    """Return a number above 0 in house units, or note what is wrong with it."""
    plain = text
    if _POINTED.match(text):
        plain = text.replace(".", "").replace(",", ".", 1)
    elif decimal:
        plain = _COMMA.sub(r"\1.\2", text, count=1)
    elif _THOUSANDS.match(text) and "." in text:
        plain = text.replace(",", "")
    elif _THOUSANDS.match(text):
        what = (
            f'can be read in two ways (got "{text}": {text.replace(",", ".", 1)} or '
            f"{text.replace(',', '')}; expected a point for decimals, nothing for thousands)"
        )
        problems.append(Problem(key, what))
        return None
    if not text:
        problems.append(Problem(key, "is empty", expected=f"a {dimension or 'strength'} above 0"))
        return None
    if unit and _BARE.fullmatch(plain):
        plain = f"{plain} {unit}"
    try:
        value = units.parse(plain, dimension or "stress")
    except InputError as error:
        problems.append(Problem(key, str(error)))
        return None
    if value <= 0:
        problems.append(Problem(key, "is not above 0", f'"{text}"', f"a {dimension} above 0"))
        return None
    return value
