"""The tables of what matters as CSV text: unrounded, units in the heads."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report import doubts
from jointrisk.report.tables import csv_text

if TYPE_CHECKING:
    from jointrisk.report.tables import Cell, Table
    from jointrisk.study.rank_results import Ranking
    from jointrisk.study.results import Chance

NAMES = {
    "rank-effects.csv": "plain effects",
    "rank-unknowns.csv": "what is not known",
    "rank-modes.csv": "ways to fail",
    "rank-mode-effects.csv": "effects by way to fail",
    "rank-design-points.csv": "design points",
    "rank-indices.csv": "shares of the variance",
    doubts.NAME: "assumptions at their best and worst",
}
"""Every file there may be, and what is in it."""


def csv_texts(result: Ranking) -> dict[str, str]:
    """Return the CSV text of each table that the result has rows for, by file name."""
    made = {
        "rank-effects.csv": _effects(result),
        "rank-unknowns.csv": _unknowns(result),
        "rank-modes.csv": _modes(result),
        "rank-mode-effects.csv": _mode_effects(result),
        "rank-design-points.csv": _points(result),
        "rank-indices.csv": _indices(result),
    }
    texts = {name: csv_text(*made[name]) for name in made if made[name][1]}
    return texts if result.doubts is None else texts | doubts.csv_texts(result.doubts)


def _three(found: Chance | None) -> tuple[Cell, Cell, Cell]:
    return (None, None, None) if found is None else (found.estimate, found.low, found.high)


def _heads(*names: str) -> tuple[str, ...]:
    return tuple(f"{name}{end} [-]" for name in names for end in ("", " low", " high"))


def _effects(result: Ranking) -> Table:
    heads = (
        "kind", "rank", "key", "name", "change", *_heads("factor"), "worked out",
        "effective failing draws", *_heads("factor by the other way"),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (
            entry.kind, entry.rank, entry.variable, entry.name, effect.measure, effect.value,
            effect.low, effect.high, effect.how, effect.effective, *_three(effect.check),
        )
        for entry in result.variables
        for effect in entry.effects
    ]  # fmt: skip
    return heads, rows


def _unknowns(result: Ranking) -> Table:
    heads = (
        "rank", "key", "name", "unit", "value at 5 %", "value at 95 %",
        *_heads("failure at its 5 % value", "failure at its 95 % value"),
        "band left p05 [-]", "band left p95 [-]", *_heads("share alone", "share in all"),
    )  # fmt: skip
    known = result.not_known
    told = known is not None and known.shares_told
    rows: list[tuple[Cell, ...]] = [
        (
            e.rank, e.variable, e.name, e.unit, e.low_value, e.high_value, *_three(e.at_low),
            *_three(e.at_high), e.left_p05, e.left_p95, *_three(e.first if told else None),
            *_three(e.total if told else None),
        )
        for e in (known.unknowns if known is not None else ())
    ]  # fmt: skip
    return heads, rows


def _modes(result: Ranking) -> Table:
    heads = ("way to fail", *_heads("probability", "share as the likeliest"), "comes about in [-]")
    return heads, [
        (m.name, *_three(m.probability), *_three(m.share), m.overlapping) for m in result.modes
    ]


def _mode_effects(result: Ranking) -> Table:
    heads = ("way to fail", "key", "name", "change", *_heads("factor"))
    return heads, [
        (e.mode, e.variable, e.name, e.measure, e.value, e.low, e.high) for e in result.mode_effects
    ]


def _points(result: Ranking) -> Table:
    heads = (
        "way to fail", "joints", "end", "distance [-]", "settled", "key", "name",
        "share of the distance squared [-]", "towards",
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (
            " or ".join(point.modes), point.joint, point.end, point.beta,
            "yes" if point.converged else "no", each.variable, each.name, each.share, each.towards,
        )
        for point in result.design_points
        for each in point.directions
    ]  # fmt: skip
    return heads, rows


def _indices(result: Ranking) -> Table:
    heads = ("of", "rank", "key", "name", *_heads("first", "total"))
    rows: list[tuple[Cell, ...]] = [
        (found.of, e.rank, e.variable, e.name, *_three(e.first), *_three(e.total))
        for found in (result.margin, result.event)
        for e in found.entries
    ]
    return heads, rows
