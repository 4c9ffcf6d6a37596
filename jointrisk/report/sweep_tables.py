"""The tables of a sweep as CSV text: unrounded, units in the heads."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report.tables import csv_text

if TYPE_CHECKING:
    from jointrisk.report.tables import Cell, Table
    from jointrisk.study.results import Chance
    from jointrisk.study.sweep_results import Edge, Quantity, Sweep, SweepPoint

NAMES = {
    "sweep-curve.csv": "value by value",
    "sweep-modes.csv": "what fails at each value",
    "sweep-windows.csv": "where the target is met",
    "sweep-map.csv": "the map",
    "sweep-assumptions.csv": "assumptions",
}
"""Every file there may be, and what is in it."""
MET = {True: "yes", False: "no", None: ""}


def csv_texts(result: Sweep) -> dict[str, str]:
    """Return the CSV text of each table that the result has rows for, by file name."""
    made = {
        "sweep-curve.csv": _curve(result),
        "sweep-modes.csv": _modes(result),
        "sweep-windows.csv": _windows(result),
        "sweep-map.csv": _map(result),
        "sweep-assumptions.csv": _assumptions(result),
    }
    return {name: csv_text(*made[name]) for name in NAMES if made[name][1]}


def _head(quantity: Quantity) -> str:
    return f"{quantity.label} [{quantity.unit}]"


def _three(found: Chance | None) -> tuple[Cell, Cell, Cell]:
    return (None, None, None) if found is None else (found.estimate, found.low, found.high)


def _curve(result: Sweep) -> Table:
    heads = [
        _head(result.quantity),
        *(f"{name}{end} [-]"
          for name in ("failure over the life", "failure as the target counts", "ratio to written")
          for end in ("", " low", " high")),
        "target met", "1 rod in 100 below [N]", "permitted load [N]", "permitted load low [N]",
        "permitted load high [N]", "cannot be put together [-]",
    ]  # fmt: skip
    return tuple(heads), [_point(point) for point in result.points]


def _point(point: SweepPoint) -> tuple[Cell, ...]:
    load = point.permitted
    permitted = (None, None, None) if load is None else (load.newton, load.low, load.high)
    return (
        point.value,
        *_three(point.failure),
        *_three(point.as_target),
        *_three(point.ratio),
        MET[point.meets],
        point.one_in_100_below,
        *permitted,
        point.left_out,
    )


def _modes(result: Sweep) -> Table:
    heads = (_head(result.quantity), "mode", "probability [-]", "share of failures [-]")
    return heads, [
        (point.value, mode.name, mode.probability, mode.share)
        for point in result.points
        for mode in point.modes
    ]


def _windows(result: Sweep) -> Table:
    unit = result.quantity.unit
    heads = tuple(
        f"{side}{name}"
        for side in ("from", "to")
        for name in (f" [{unit}]", f" low [{unit}]", f" high [{unit}]", " end of the range",
                     " failure [-]", " p05 [-]", " p50 [-]", " p95 [-]", " chance met [-]")
    )  # fmt: skip
    return heads, [(*_edge(window.start), *_edge(window.end)) for window in result.windows]


def _edge(edge: Edge) -> tuple[Cell, ...]:
    band = edge.band
    known = (None,) * 4 if band is None else (band.p05, band.p50, band.p95, band.chance_met)
    return (edge.value, edge.low, edge.high, MET[edge.of_range], edge.failure.estimate, *known)


def _map(result: Sweep) -> Table:
    if result.map is None:
        return (), []
    heads = (_head(result.quantity), _head(result.map.second), "failure [-]", "low [-]",
             "high [-]", "target met")  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for y, row, meets in zip(result.map.values, result.map.failure, result.map.meets, strict=True):
        for point, cell, met in zip(result.points, row, meets, strict=True):
            rows.append((point.value, y, *_three(cell), MET[met]))
    return heads, rows


def _assumptions(result: Sweep) -> Table:
    heads = ("key", "value", "origin", "source", "mark")
    return heads, [(e.key, e.value, e.origin, e.source, e.confidence) for e in result.assumptions]
