"""A sweep as a page: no script, nothing fetched."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from jointrisk.report import sweep_figures
from jointrisk.report import sweep_sentences as say
from jointrisk.report.cautions import CAUTIONS
from jointrisk.report.page import environment, grouped
from jointrisk.report.sweep_tables import NAMES, csv_texts
from jointrisk.report.words import chance

if TYPE_CHECKING:
    from jointrisk.study.sweep_results import Sweep

ROWS = 14
"""Values shown on the page, about; the CSV file holds all [-]."""


def html(result: Sweep) -> str:
    """Return the page of a sweep as one HTML document."""
    return environment().get_template("sweep.html.j2").render(**_values(result)) + "\n"


def _values(result: Sweep) -> dict[str, Any]:
    from markupsafe import Markup

    drawn = sweep_figures.all_svg(result)
    captions = {
        "curve": "Failure over the value, with the interval of sampling. Green: the target is met.",
        "map": "Lines of equal failure over both; diamonds: the target is met, sampling counted.",
    }
    return {
        "r": result,
        "answers": say.headline(result),
        "heads": _kept(result, say.COLUMNS),
        "rows": _rows(result),
        "map_lines": say.map_lines(result),
        "map_heads": _map_heads(result),
        "map_rows": _map_rows(result),
        "figures": {name: Markup(text) for name, text in drawn.items()},  # noqa: S704 - ours
        "captions": captions,
        "assumptions": grouped(cast("Any", result)),
        "cautions": CAUTIONS,
        "tables": [(name, NAMES[name]) for name in csv_texts(result)],
    }


def _kept(result: Sweep, cells: tuple[str, ...]) -> tuple[str, ...]:
    """Return the cells of a row that say something here."""
    apart, judged = say.counts_apart(result), result.target is not None
    kept = (True, True, True, True, apart, judged, True, judged, True)
    return tuple(cell for cell, shown in zip(cells, kept, strict=True) if shown)


def _rows(result: Sweep) -> list[tuple[str, ...]]:
    """Return the curve, thinned out, short cells held together."""
    step = max(1, -(-len(result.points) // ROWS))
    points = list(result.points[::step])
    if points[-1] is not result.points[-1]:
        points.append(result.points[-1])
    rows = (_kept(result, say.row(result, point)) for point in points)
    return [tuple(cell.replace(" ", "\N{NO-BREAK SPACE}") for cell in row) for row in rows]


def _map_heads(result: Sweep) -> list[str]:
    if result.map is None:
        return []
    values = (say.at(result.quantity, point.value) for point in result.points)
    return [f"{result.map.second.label} by {result.quantity.label}", *values]


def _map_rows(result: Sweep) -> list[tuple[str, ...]]:
    if result.map is None:
        return []
    return [
        (say.at(result.map.second, y), *(chance(c.estimate, c.low, c.high) for c in row))
        for y, row in zip(result.map.values, result.map.failure, strict=True)
    ]
