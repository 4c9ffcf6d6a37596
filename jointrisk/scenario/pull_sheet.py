"""A table that a person wrote, cut into rows of cells, each with its place in the file."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path

from jointrisk.errors import Problem, ScenarioError

__all__ = ["Line", "content", "lines"]

_SEPARATORS = ",;\t"
_BLANK = {"", "-", "–", "—"}
"""What a cell with nothing in it may hold."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the table that holds something."""

    number: int
    """In the file, from 1 [-]."""
    cells: tuple[str, ...]
    """Without the blanks round them; "" for a dash."""


def content(path: Path) -> str:
    """Return the text of a file in UTF-8, or in UTF-16 where it says so itself.

    Raises
    ------
    ScenarioError
        The file is not there, cannot be read, or is no text.
    """
    name = str(path)
    try:
        found = path.read_bytes()
    except FileNotFoundError:
        raise _refused(name, "there is no such file") from None
    except IsADirectoryError:
        raise _refused(name, "is a folder, not a log of pulls") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise _refused(name, f"cannot be read: {reason}") from None
    wide = found[:2] in (b"\xff\xfe", b"\xfe\xff")
    try:
        return found.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        what = "is not a text file in UTF-8; a spreadsheet has it under: save as, CSV UTF-8"
        raise _refused(name, what, f"byte {found[error.start]:#04x} at {error.start}") from None


def lines(text: str, name: str) -> list[Line]:
    """Return the lines that hold something, the header first; comments are left out.

    A line that begins with # is a comment; below the header only where a blank follows the #,
    or nothing is in the other cells, since parts may be named #1.

    Raises
    ------
    ScenarioError
        The text cannot be cut into cells.
    """
    if "\x00" in text:
        raise _refused(name, "is not a text file", "a zero byte")
    plain = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    raw = plain.split("\n")
    first = next((i for i, line in enumerate(raw) if line.strip(' \t,;"') and not _note(line)), 0)
    told = re.fullmatch(r"\s*sep=(.)\s*", raw[first], re.IGNORECASE)
    if told:
        raw[first] = ""
        first += 1
    head = raw[first] if first < len(raw) else ""
    separator = told[1] if told else max(_SEPARATORS, key=head.count)
    kept = ["" if _note(line) and (i < first or _aside(line)) else line
            for i, line in enumerate(raw)]  # fmt: skip
    return _rows(kept, separator, name)


def _rows(raw: list[str], separator: str, name: str) -> list[Line]:
    found: list[Line] = []
    reader = csv.reader((f"{line}\n" for line in raw), delimiter=separator)
    number = 1
    try:
        for row in reader:
            cells = tuple("" if cell.strip() in _BLANK else " ".join(cell.split()) for cell in row)
            if any(cells) and not (cells[0].startswith("#") and not any(cells[1:])):
                found.append(Line(number, cells))
            number = reader.line_num + 1
    except csv.Error as error:
        raise _refused(name, f"line {number} cannot be cut into cells: {error}") from None
    return found


def _note(line: str) -> bool:
    """Tell whether a line begins as a comment does; a spreadsheet may have put it in quotes."""
    return line.strip().lstrip('"').startswith("#")


def _aside(line: str) -> bool:
    """Tell whether a line below the header that begins with # is surely no part."""
    after = line.strip().lstrip('"')[1:2]
    return not after or not after.isalnum()


def _refused(name: str, what: str, got: str = "") -> ScenarioError:
    return ScenarioError(name, [Problem("", what, got)])
