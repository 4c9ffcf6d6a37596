"""A log of pulls at the file boundary: a CSV file as a maker writes it becomes `Pull`s.

Needed are the columns part, load and result; batch, broke_at, gap and overlap add to them, date
and note are for the maker, and columns by other names are not read.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from jointrisk.errors import InputError, Problem, ScenarioError, nearest
from jointrisk.scenario.pull_sheet import content, lines
from jointrisk.scenario.pull_words import (
    ALLOWED,
    COLUMNS,
    FORCES,
    LENGTHS,
    Head,
    head,
    outcome,
    quantity,
)

if TYPE_CHECKING:
    import os
    from collections.abc import Mapping, Sequence

    from jointrisk.scenario.pull_sheet import Line
    from jointrisk.scenario.pull_words import Outcome

__all__ = ["HEADER", "Pull", "blank", "read_pulls"]

Kind = Literal["held", "broke at", "broke below"]
HEADER = "part,batch,load [N],result,broke at [N],date,gap [mm],overlap [mm],note"
"""Head of a log to fill in."""
_HOW = (
    '# result: held, broke at (with the load at break under "broke at"), or broke below '
    "(it broke on the way up, load at break not read)"
)
ONE_BATCH = ""
"""Batch of every part where the log names none."""
_NEEDED = ("part", "load", "result")
_OVERSHOOT = 1.1
"""A load at break above this share of the load of the pull is a slip of the pen [-]."""
_CLOSE = 0.8
"""How like a head must be to one that is not needed, to count as mistyped [-]."""


@dataclass(frozen=True, slots=True)
class Pull:
    """One pull of one finished rod."""

    part: str
    """Name of the rod, one of its batch; a rod may be pulled again."""
    batch: str
    """"" for all where the log names none."""
    load: float
    """Load that the gauge showed: held, or at which the rod broke, or that it never reached [N]."""
    held: bool
    kind: Kind
    """"held", "broke at" (`load` is the load at break), or "broke below" (`load` or less)."""
    row: int
    """Line of the file [-]."""
    gap: float | None = None
    """Radial gap, measured on this rod, on one side [mm]."""
    overlap: float | None = None
    """[mm]"""
    date: str = ""
    note: str = ""


def blank() -> str:
    """Return a log to fill in: one comment that says how, and the header."""
    return f"{_HOW}\n{HEADER}\n"


def read_pulls(path_or_text: str | os.PathLike[str]) -> tuple[Pull, ...]:
    """Return the pulls of a log, in its order.

    Parameters
    ----------
    path_or_text : str or path-like
        A CSV file, or, as a string of more than one line, what such a file holds.

    Returns
    -------
    tuple of Pull

    Raises
    ------
    ScenarioError
        With every fault: file, row, column, what was found, what is allowed.
    """
    if isinstance(path_or_text, str) and "\n" in path_or_text.strip("\ufeff"):
        name, text = "pulls", path_or_text
    else:
        name, text = str(path_or_text), content(Path(path_or_text))
    found = lines(text, name)
    if not found:
        raise ScenarioError(
            name, [Problem("", "is empty", expected=f'a header such as "{HEADER}"')]
        )
    heads, problems = _heads(found[0])
    if problems:
        raise ScenarioError(name, problems)
    pulls, problems = _pulls(found[1:], heads, width=len(found[0].cells))
    if not pulls and not problems:
        what = "holds no pull below its header: write a row for each"
        problems = [Problem("", what, expected="part, load and result in each row")]
    if problems:
        raise ScenarioError(name, problems)
    return tuple(pulls)


# The header --------------------------------------------------------------------------------------


def _heads(line: Line) -> tuple[dict[int, Head], list[Problem]]:
    """Return what each column is, by its place, and what is wrong with the header."""
    where = f"row {line.number}"
    heads: dict[int, Head] = {}
    problems: list[Problem] = []
    strangers: list[str] = []
    for place, cell in enumerate(line.cells):
        found = head(cell) if cell else None
        if found is None:
            strangers += [cell] if cell else []
            continue
        twice = next((other for other in heads.values() if other.column == found.column), None)
        if twice is not None:
            what = f'says the same as the column "{twice.text}": keep one of the two'
            problems.append(Problem(f"{where}, column {cell}", what))
        heads[place] = found
        problems += _unit_problem(found, f"{where}, column {cell}")
    present = {found.column for found in heads.values()}
    problems += _strange(strangers, present, where)
    told = {problem.what for problem in problems}
    for column in _NEEDED:
        if column in present or (column == "load" and "broke_at" in present):
            continue
        if any(f'"{name}"' in what for what in told for name in COLUMNS[column]):
            continue
        listed = ", ".join(f'"{cell}"' for cell in line.cells if cell)
        problems.append(Problem(where, f"has no column {column}", listed, _heading(column)))
    return heads, problems


def _heading(column: str) -> str:
    names = ", ".join(COLUMNS[column][:4])
    more = ' with a unit: "load [N]"' if column in FORCES else ""
    return f"one headed {names} or the like{more}"


def _unit_problem(found: Head, where: str) -> list[Problem]:
    if not found.unit:
        return []
    try:
        quantity(f"1 {found.unit}", found.column, "")
    except InputError as error:
        return [Problem(where, str(error).replace(f'"1 {found.unit}"', f'"{found.unit}"'))]
    return []


def _strange(strangers: Sequence[str], present: set[str], where: str) -> list[Problem]:
    """Name what the unknown heads must mean, where they are close enough to say."""
    problems = []
    for cell in strangers:
        bare = cell.split("[")[0].split("(")[0].strip().lower()
        for column, names in COLUMNS.items():
            cutoff = 0.6 if column in _NEEDED else _CLOSE
            if column not in present and get_close_matches(bare, names, 1, cutoff):
                close = nearest(bare, names) or column
                what = f'is not known (got "{cell}"; did you mean "{close}"?)'
                problems.append(Problem(f"{where}, column {cell}", what))
                break
    return problems


# The rows ----------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Row:
    """One row while it is read."""

    number: int
    cells: Mapping[str, str]
    heads: Mapping[str, Head]
    problems: list[Problem]

    def wrong(self, column: str, what: str, got: str = "", expected: str = "") -> None:
        """Write down what is wrong in a column."""
        name = self.heads[column].text if column in self.heads else column
        key = f"row {self.number}, column {name}"
        self.problems.append(Problem(key, what, got, expected))

    def quantity(self, column: str, reading: str = "") -> float | None:
        """Return the number of a column, or of a reading in its place; None without one."""
        cell = reading or self.cells.get(column, "")
        if not cell:
            return None
        sources = (column, "load") if column in FORCES else (column,)
        unit = next((h.unit for c in sources if (h := self.heads.get(c)) and h.unit), "")
        try:
            return quantity(cell, column, unit)
        except InputError as error:
            self.wrong("result" if reading else column, str(error))
            return None

    def outcome(self) -> Outcome | None:
        """Return what the result says."""
        said = self.cells.get("result", "")
        try:
            if said:
                return outcome(said, self.heads["result"].turned)
            self.wrong("result", "is empty", expected=ALLOWED)
        except InputError as error:
            self.wrong("result", str(error))
        return None


def _pulls(
    rows: Sequence[Line], heads: Mapping[int, Head], width: int
) -> tuple[list[Pull], list[Problem]]:
    pulls: list[Pull] = []
    problems: list[Problem] = []
    by_column = {found.column: found for found in heads.values()}
    cut = [(line, _cells(line, heads)) for line in rows]
    batches = any(cells.get("batch") for _, cells in cut)
    for line, cells in cut:
        if any(line.cells[width:]):
            what = (
                "has more cells than the header: a comma in a cell needs quotes, decimals a point"
            )
            got, most = f"{len(line.cells)} cells", f"{width} at most"
            problems.append(Problem(f"row {line.number}", what, got, most))
        elif any(cells.get(name) for name in ("load", "result", "broke_at")):
            row = _Row(line.number, cells, by_column, problems)
            before = len(problems)
            pull = _pull(row, batches)
            if pull is not None and len(problems) == before:
                pulls.append(pull)
    same = _spelt_alike(pulls)
    return same, problems + _again(same)


def _spelt_alike(pulls: Sequence[Pull]) -> list[Pull]:
    """Return the pulls with batches and parts spelt as at first, where only capitals differ."""
    batches: dict[str, str] = {}
    parts: dict[tuple[str, str], str] = {}
    found = []
    for pull in pulls:
        batch = batches.setdefault(pull.batch.casefold(), pull.batch)
        part = parts.setdefault((batch, pull.part.casefold()), pull.part)
        found.append(replace(pull, batch=batch, part=part))
    return found


def _cells(line: Line, heads: Mapping[int, Head]) -> dict[str, str]:
    """Return the cells of a row by column."""
    count = len(line.cells)
    return {h.column: line.cells[place] if place < count else "" for place, h in heads.items()}


def _pull(row: _Row, batches: bool) -> Pull | None:
    """Return one row as a pull, or note what is wrong with it."""
    cells = row.cells
    if not cells.get("part"):
        row.wrong("part", "is empty", expected="the name of the part")
    if batches and not cells.get("batch"):
        what = "is empty, while other rows name a batch"
        row.wrong("batch", what, expected="the name of the batch")
    seen = row.outcome()
    gap, overlap = (row.quantity(column) for column in LENGTHS)
    before = len(row.problems)
    load = row.quantity("load")
    broke_at = row.quantity("broke_at", seen.reading if seen else "")
    if seen is None or len(row.problems) > before:
        return None
    judged = _judged(row, seen.kind, load, broke_at)
    if judged is None:
        return None
    kind, newton = judged
    return Pull(
        part=cells["part"],
        batch=cells.get("batch", ONE_BATCH),
        load=newton,
        held=kind == "held",
        kind=kind,
        row=row.number,
        gap=gap,
        overlap=overlap,
        date=cells.get("date", ""),
        note=cells.get("note", ""),
    )


def _judged(
    row: _Row, kind: str, load: float | None, broke_at: float | None
) -> tuple[Kind, float] | None:
    """Return what a pull showed and its load [N], from the load asked for and that at break."""
    if kind == "held" and broke_at is not None:
        what = "gives a load at break, while the result says that the part held"
        row.wrong("broke_at", what, f"{broke_at:g} N", "an empty cell, or another result")
    elif kind == "broke below" and broke_at is not None:
        what = "gives a load at break, while the result says that it was not read"
        row.wrong("broke_at", what, f"{broke_at:g} N", 'an empty cell, or "broke at"')
    elif broke_at is not None and load is not None and broke_at > _OVERSHOOT * load:
        what = f"is above the load of the pull ({load:g} N)"
        row.wrong("broke_at", what, f"{broke_at:g} N", "a smaller one, or an empty load")
    elif broke_at is not None:
        return "broke at", broke_at
    elif load is None:
        row.wrong("load", "is empty", expected='a force such as "750 N"')
    elif kind == "held":
        return "held", load
    else:  # broke, with no reading: at the load where it says so, else somewhere on the way up
        return ("broke at" if kind == "broke at" else "broke below"), load
    return None


def _again(pulls: Sequence[Pull]) -> list[Problem]:
    """Name pulls of a part that had broken before."""
    broken: dict[tuple[str, str], Pull] = {}
    problems = []
    for pull in pulls:
        rod = (pull.batch, pull.part)
        if rod in broken:
            what = f"was pulled again after it broke (row {broken[rod].row})"
            problems.append(
                Problem(f"row {pull.row}, column part", what, f'"{pull.part}"',
                        "another part, or a batch for each where parts of two share a name")
            )  # fmt: skip
        elif not pull.held:
            broken[rod] = pull
    return problems
