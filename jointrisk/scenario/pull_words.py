"""What stands in the cells of a log of pulls: heads, held or broke, numbers with units."""

from __future__ import annotations

import re
from dataclasses import dataclass

from jointrisk import units
from jointrisk.errors import InputError, nearest

__all__ = ["COLUMNS", "FORCES", "LENGTHS", "Head", "Outcome", "head", "outcome", "quantity"]

COLUMNS: dict[str, tuple[str, ...]] = {
    "part": ("part", "rod", "part no", "part number", "rod no", "rod number", "no", "id",
             "specimen", "piece", "serial", "serial number"),
    "batch": ("batch", "lot", "batch no", "glue batch", "mix"),
    "load": ("load", "pull", "pull load", "proof load", "applied load", "force", "pulled to"),
    "result": ("result", "outcome", "held or broke", "held", "broke", "held?", "broke?",
               "passed", "survived", "broken", "failed"),
    "broke_at": ("broke at", "breaking load", "load at break", "failed at", "failure load",
                 "broken at", "breaking force"),
    "date": ("date", "day", "when", "pulled on"),
    "gap": ("gap", "radial gap", "measured gap"),
    "overlap": ("overlap", "measured overlap", "glued length"),
    "note": ("note", "notes", "remark", "remarks", "comment", "comments"),
}  # fmt: skip
"""Each column with what it may be headed, its own name first."""
FORCES, LENGTHS = ("load", "broke_at"), ("gap", "overlap")
_DIMENSION = {**dict.fromkeys(FORCES, "force"), **dict.fromkeys(LENGTHS, "length")}
_OF_BREAKS = ("broke", "broke?", "broken", "failed")
"""Heads of a result under which yes means that the part broke."""
_SAYS_YES = ("held", "held?", "passed", "survived", *_OF_BREAKS)

_HELD = ("held", "hold", "holds", "held it", "ok", "okay", "o.k.", "pass", "passed", "survived",
         "good", "intact", "whole", "unbroken", "not broken", "did not break")  # fmt: skip
_BROKE = ("broke", "broken", "break", "breaks", "fail", "failed", "failure", "let go", "came off",
          "pulled out", "snapped", "not ok", "did not hold", "not held")  # fmt: skip
_AT = ("broke at", "broken at", "failed at", "let go at", "came off at", "snapped at")
_BELOW = ("broke below", "broken below", "failed below", "broke before", "broke at or below",
          "let go below", "broke on the way", "broke under", "broke early")  # fmt: skip
_YES, _NO = ("yes", "y", "true", "✓", "✔"), ("no", "n", "false", "✗", "✘")
ALLOWED = '"held", "broke", "broke at" or "broke below"'
_UNIT_BEHIND = re.compile(r"(.*?)\s*(?:[\[(]\s*(.*?)\s*[\])]|/\s*(\S+)|,\s*(\S+)|\bin\s+(\S+))")
_BARE = re.compile(r"[+-]?[\d.]+(?:[eE][+-]?\d+)?")


@dataclass(frozen=True, slots=True)
class Head:
    """What one column of the log is."""

    column: str
    """A key of `COLUMNS`."""
    text: str
    """As written."""
    unit: str
    """"" where each cell says its own."""

    @property
    def turned(self) -> bool | None:
        """Whether yes means broke; None where yes and no say nothing."""
        name = _tidy(self.text)
        return None if name not in _SAYS_YES else name in _OF_BREAKS


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a cell says of a pull."""

    kind: str
    """"held", "broke", "broke at" or "broke below"."""
    reading: str = ""
    """The load at break as written in the same cell."""


def _tidy(text: str) -> str:
    return " ".join(re.sub(r"[_\-\s]+", " ", text.lower()).split()).rstrip(".:")


def head(text: str) -> Head | None:
    """Return what a heading stands for, None for a column of the maker's own.

    Units may stand behind the name: "load [N]", "gap (mm)", "load / kgf", "load in lbf", "load N".
    """
    found = re.fullmatch(
        r"(.*?)\s*(?:[\[(]\s*(.*?)\s*[\])]|/\s*(\S+)|,\s*(\S+)|\bin\s+(\S+))", text
    )
    name, unit = (found[1], next(filter(None, found.groups()[1:]), "")) if found else (text, "")
    column = _column(_tidy(name))
    if column is None and " " in text:  # a unit with nothing before it
        name, _, last = text.rpartition(" ")
        column = _column(_tidy(name))
        if column not in _DIMENSION or not _is_unit(last, _DIMENSION[column]):
            return None
        unit = last
    if column is None:
        return None
    return Head(column, name, unit if column in _DIMENSION else "")


def _column(name: str) -> str | None:
    return next((column for column, names in COLUMNS.items() if name in names), None)


def _is_unit(text: str, dimension: str) -> bool:
    try:
        units.parse(f"1 {text}", dimension)
    except InputError:
        return False
    return True


def outcome(cell: str, turned: bool | None) -> Outcome:
    """Return what the cell of a result says.

    Parameters
    ----------
    cell : str
        As written.
    turned : bool or None
        What `Head.turned` says of its column.

    Raises
    ------
    InputError
        It says neither that the part held nor that it broke.
    """
    word = " ".join(cell.lower().split()).rstrip(".!")
    for kind, words in (("held", _HELD), ("broke", _BROKE), ("broke below", _BELOW)):
        if word in (w.rstrip(".") for w in words):
            return Outcome(kind)
    if turned is not None and word in (*_YES, *_NO):
        return Outcome("broke" if (word in _YES) == turned else "held")
    for start in sorted(_AT, key=len, reverse=True):
        if word.startswith(start):
            return Outcome("broke at", cell.strip()[len(start) :].strip())
    raise InputError(f'is not known (got "{cell}"; {_meant(word, turned)})')


def _meant(word: str, turned: bool | None) -> str:
    if turned is None and word in (*_YES, *_NO):
        return f'yes and no are read under a head "held" or "broke"; here expected {ALLOWED}'
    close = nearest(word, (*_HELD, *_BROKE, *_AT, *_BELOW))
    guess = f'did you mean "{close}"? ' if close else ""
    return f"{guess}expected {ALLOWED}" + ("" if turned is None else ", or yes or no")


def quantity(cell: str, column: str, unit: str) -> float:
    """Return a force [N] or a length [mm] above 0.

    Parameters
    ----------
    cell : str
        A number with or without a unit; a comma may stand for the decimal point.
    column : str
        Decides what it is.
    unit : str
        That of the head, for a number without one.

    Raises
    ------
    InputError
        No number, no unit, not above 0, or digits in threes that can be read in two ways.
    """
    dimension = _DIMENSION[column]
    text = _with_point(cell, dimension)
    if unit and _BARE.fullmatch(text):
        text = f"{text} {unit}"
    value = units.parse(text, dimension)
    if value <= 0.0:
        raise InputError(f'is not above 0 (got "{text}"; expected a {dimension} above 0)')
    return value


def _with_point(cell: str, dimension: str) -> str:
    """Return a number with a decimal point in place of a comma, without marks of thousands."""
    found = re.match(r"([+-]?)(\d[\d.,]*)", cell)
    if found is None or "," not in found[2]:
        return cell
    digits, rest = found[2], cell[found.end() :]
    if re.fullmatch(r"[1-9]\d{0,2}(,\d{3})+\.\d+", digits):
        plain = digits.replace(",", "")
    elif re.fullmatch(r"[1-9]\d{0,2}(\.\d{3})+,\d+", digits):
        plain = digits.replace(".", "").replace(",", ".")
    elif re.fullmatch(r"[1-9]\d{0,2}(,\d{3})+", digits):
        example = units.example(dimension)
        raise InputError(
            f'can be read in two ways (got "{cell}": {digits.replace(",", ".", 1)} or '
            f'{digits.replace(",", "")}; expected a {dimension} such as "{example}", '
            "nothing for thousands)"
        )
    elif digits.count(",") == 1 and "." not in digits:
        plain = digits.replace(",", ".")
    else:
        return cell
    return f"{found[1]}{plain}{rest}"
