"""The tables of a rating as CSV text: unrounded, units in the heads."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report.sweep_tables import MET
from jointrisk.report.tables import csv_text

if TYPE_CHECKING:
    from jointrisk.report.tables import Table
    from jointrisk.study.rating_results import Rating

NAMES = {
    "rating.csv": "what is rated",
    "rating-loads.csv": "the loads at each rating",
    "rating-assumptions.csv": "assumptions",
}
"""Every file there may be, and what is in it."""


def csv_texts(result: Rating) -> dict[str, str]:
    """Return the CSV text of each table that the result has rows for, by file name."""
    made = {
        "rating.csv": _rated(result),
        "rating-loads.csv": _loads(result),
        "rating-assumptions.csv": _assumptions(result),
    }
    return {name: csv_text(*made[name]) for name in NAMES if made[name][1]}


def _rated(result: Rating) -> Table:
    heads = ("rods", "pull [N]", "verdict", "factor on the loads [-]", "low [-]", "high [-]",
             "failure at the loads as written [-]", "failure low [-]", "failure high [-]",
             "target met there")  # fmt: skip
    return heads, [
        (e.label, e.pull_newton, e.verdict, e.factor, e.low, e.high, e.failure.estimate,
         e.failure.low, e.failure.high, MET[e.meets])
        for e in result.entries
    ]  # fmt: skip


def _loads(result: Rating) -> Table:
    heads = ("rods", "pull [N]", "load", "kind", "unit", "as written", "rated", "low", "high")
    return heads, [
        (e.label, e.pull_newton, one.name, one.kind, one.unit, one.written, one.rated, one.low,
         one.high)
        for e in result.entries
        for one in e.loads
    ]  # fmt: skip


def _assumptions(result: Rating) -> Table:
    heads = ("key", "value", "origin", "source", "mark")
    return heads, [(e.key, e.value, e.origin, e.source, e.confidence) for e in result.assumptions]
