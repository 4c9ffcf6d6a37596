"""The tables of a report as CSV text: unrounded, units in the heads, empty where unknown."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from jointrisk.study.results import Assessment, Curve

Cell = str | float | None

NAMES = {
    "failure.csv": "failure probability and its band",
    "strength.csv": "strength and load",
    "modes.csv": "ways to fail",
    "ranking.csv": "what it hangs on",
    "proof.csv": "a pull over its load",
    "pulls.csv": "pulls you make",
    "assumptions.csv": "assumptions",
}
"""Every file there may be, and what is in it."""

FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""First letters by which a spreadsheet takes text for a formula."""


def csv_texts(assessment: Assessment) -> dict[str, str]:
    """Return the CSV text of each table that the result has rows for, by file name.

    Numbers have every digit. A text that a spreadsheet would take for a formula gets an
    apostrophe before it.
    """
    made = {
        "failure.csv": _failure(assessment),
        "strength.csv": _strength(assessment),
        "modes.csv": _modes(assessment),
        "ranking.csv": _ranking(assessment),
        "proof.csv": _proof(assessment),
        "pulls.csv": _pulls(assessment),
        "assumptions.csv": _assumptions(assessment),
    }
    return {name: csv_text(*made[name]) for name in NAMES if made[name][1]}


def links(assessment: Assessment) -> list[tuple[str, str]]:
    """Return the files that `csv_texts` makes, each with what is in it."""
    return [(name, NAMES[name]) for name in csv_texts(assessment)]


Table = tuple[tuple[str, ...], list[tuple[Cell, ...]]]


def _failure(assessment: Assessment) -> Table:
    """Return the failure probability, its band and what meets the target, each with interval."""
    found, goal = assessment.failure_probability, assessment.target
    if found is None:
        return (), []
    none = (None, None)
    rows: list[tuple[Cell, ...]] = [
        ("failure probability over the life", found.estimate, found.low, found.high),
        ("band, 5 % of the states below", found.band_p05, *(found.band_p05_interval or none)),
        ("band, half of the states below", found.band_p50, *(found.band_p50_interval or none)),
        ("band, 95 % of the states below", found.band_p95, *(found.band_p95_interval or none)),
    ]
    if goal is not None:
        between = goal.chance_met_interval or none
        rows.append(("chance that the target is met", goal.chance_met, *between))
    return ("what", "value [-]", "low [-]", "high [-]"), rows


def _strength(assessment: Assessment) -> Table:
    data = assessment.figures
    heads = ["load [N]"]
    for name in ("new rod weaker", "rod in service weaker", "load comes"):
        heads += [f"chance {name} [-]", f"{name} low [-]", f"{name} high [-]"]
    return tuple(heads), _joined([data.strength_new, data.strength_service, data.load_exceeded])


def _proof(assessment: Assessment) -> Table:
    data = assessment.figures
    if data.fail_after_pull is None:
        return (), []
    heads = ["pull [N]"]
    for name in ("failure probability after", "share of rods broken", "share of weak rods broken"):
        heads += [f"{name} [-]", f"{name} low [-]", f"{name} high [-]"]
    return tuple(heads), _joined([data.fail_after_pull, data.reject, data.reject_weak])


def _joined(curves: Sequence[Curve | None]) -> list[tuple[Cell, ...]]:
    """Return one row for each load of any curve [N], with value, low and high of each."""
    columns = [
        {}
        if curve is None
        else dict(
            zip(curve.load, zip(curve.value, curve.low, curve.high, strict=True), strict=True)
        )
        for curve in curves
    ]
    rows: list[tuple[Cell, ...]] = []
    for newton in sorted(set().union(*columns)):
        cells: list[Cell] = [newton]
        for column in columns:
            cells += column.get(newton, (None, None, None))
        rows.append(tuple(cells))
    return rows


def _modes(assessment: Assessment) -> Table:
    heads = ("way to fail", "probability [-]", "share of failures [-]")
    return heads, [(mode.name, mode.probability, mode.share) for mode in assessment.modes]


def _ranking(assessment: Assessment) -> Table:
    heads = ("key", "name", "change", "factor [-]", "low [-]", "high [-]")
    return heads, [
        (entry.variable, entry.name, entry.measure, entry.value, entry.low, entry.high)
        for entry in assessment.ranking
    ]


def _pulls(assessment: Assessment) -> Table:
    heads = (
        "pull", "load [N]", "failure probability after [-]", "share of rods broken [-]",
        "share of weak rods broken [-]", "pull needed [N]",
    )  # fmt: skip
    return heads, [
        (
            pull.label,
            pull.load_newton,
            pull.fail_after,
            pull.reject_fraction,
            pull.weak_caught_fraction,
            pull.needed_newton,
        )
        for pull in assessment.proof.pulls
    ]


def _assumptions(assessment: Assessment) -> Table:
    heads = ("key", "value", "origin", "source", "mark")
    return heads, [
        (entry.key, entry.value, entry.origin, entry.source, entry.confidence)
        for entry in assessment.assumptions
    ]


def csv_text(heads: Iterable[str], rows: Iterable[Iterable[Cell]]) -> str:
    """Return a table as CSV text: every digit, empty where a number is not known."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)  # lines end as RFC 4180 asks
    writer.writerow(heads)
    writer.writerows([_cell(cell) for cell in row] for row in rows)
    return stream.getvalue()


def _cell(cell: Cell) -> str:
    if isinstance(cell, str):
        return f"'{cell}" if cell.startswith(FORMULA) else cell
    if cell is None or cell != cell or cell in (float("inf"), float("-inf")):
        return ""
    return repr(float(cell))
