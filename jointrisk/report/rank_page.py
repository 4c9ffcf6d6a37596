"""What matters as a page: no script, nothing fetched, readable on paper and on a phone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from jointrisk.report import doubts, rank_figures, rank_text
from jointrisk.report import rank_sentences as say
from jointrisk.report.cautions import CAUTIONS
from jointrisk.report.page import environment, grouped
from jointrisk.report.rank_tables import NAMES, csv_texts
from jointrisk.report.words import number

if TYPE_CHECKING:
    from jointrisk.study.rank_results import Ranking

NO_BREAK = "\N{NO-BREAK SPACE}"
SHORT = 20
"""Cells of no more characters are kept in one line [-]."""


def html(result: Ranking) -> str:
    """Return the page of a ranking as one HTML document."""
    return environment().get_template("rank.html.j2").render(**_values(result)) + "\n"


def _values(result: Ranking) -> dict[str, Any]:
    from markupsafe import Markup

    drawn = rank_figures.all_svg(result)
    told = rank_figures.describe(result)
    return {
        "r": result,
        "answers": say.headline(result),
        "scatter_rows": _named_first(rank_text.effect_rows(result, "scatter", ways=True)),
        "scatter_rest": say.next_to_nothing(result.of_kind("scatter")),
        "unknown_rows": _named_first(rank_text.unknown_rows(result)),
        "unknown_plain_rows": _named_first(rank_text.effect_rows(result, "not known", ways=True)),
        "unknown_rest": say.next_to_nothing(result.of_kind("not known")),
        "all_settled": say.all_settled(result),
        "mode_rows": [(row[-1], *row[:-1]) for row in rank_text.mode_rows(result)],
        "mode_effect_rows": _mode_effect_rows(result),
        "point_rows": _point_rows(result),
        "index_rows": [(row[-1], *row[:-1]) for row in rank_text.index_rows(result)],
        "index_method": f"Margin: {result.margin.method}. Failure: {result.event.method}.",
        "figures": {name: Markup(text) for name, text in drawn.items()},  # noqa: S704 - ours
        "captions": {name: title for name, (title, _) in told.items()},
        "doubts": None if result.doubts is None else doubts.page_values(result.doubts),
        "assumptions": grouped(cast("Any", result)),
        "cautions": CAUTIONS,
        "tables": [(name, NAMES[name]) for name in csv_texts(result)],
    }


def _named_first(rows: list[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Return rows with the name first, its rank before it; what is short stays in one line."""
    return [(f"{row[0]} {row[-1]}", *(_whole(cell) for cell in row[1:-1])) for row in rows]


def _whole(cell: str) -> str:
    if len(cell) <= SHORT:
        return cell.replace(" ", NO_BREAK)
    return cell.replace("1 in ", f"1{NO_BREAK}in{NO_BREAK}").replace(" %", f"{NO_BREAK}%")


def _mode_effect_rows(result: Ranking) -> list[tuple[str, ...]]:
    return [
        (
            entry.name,
            entry.measure,
            _whole(say.cell(entry)),
            entry.mode,
        )
        for entry in result.mode_effects
    ]


def _point_rows(result: Ranking) -> list[tuple[str, ...]]:
    return [
        (
            say.capital(say.point_name(point)),
            "" if point.beta is None else number(point.beta, 3),
            say.directions(point)
            + ("" if point.converged or point.beta is None else "; a cliff, nearest crossing"),
        )
        for point in result.design_points
    ]
