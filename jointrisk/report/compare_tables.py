"""The tables of a comparison as CSV text: unrounded, units in the heads."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report.tables import csv_text

if TYPE_CHECKING:
    from jointrisk.report.tables import Cell, Table
    from jointrisk.study.compare_results import Comparison, Option, Ratio
    from jointrisk.study.results import Chance

NAMES = {
    "compare-options.csv": "options side by side",
    "compare-pairs.csv": "every two options",
    "compare-differences.csv": "what differs",
    "compare-assumptions.csv": "assumptions",
}
"""Every file there may be, and what is in it."""


def csv_texts(result: Comparison) -> dict[str, str]:
    """Return the CSV text of each table that the result has rows for, by file name."""
    made = {
        "compare-options.csv": _options(result),
        "compare-pairs.csv": _pairs(result),
        "compare-differences.csv": _differences(result),
        "compare-assumptions.csv": _assumptions(result),
    }
    return {name: csv_text(*made[name]) for name in NAMES if made[name][1]}


def _options(result: Comparison) -> Table:
    heads = (
        "option", "failure probability [-]", "low [-]", "high [-]", "band p05 [-]", "band p50 [-]",
        "band p95 [-]", "worst year [-]", "as the target counts [-]", "target [-]", "target met",
        "chance met [-]", "permitted load [N]", "median strength, new [N]",
        "1 in 100 below, new [N]", "median strength, in service [N]",
        "1 in 100 below, in service [N]", "fails first by", "share of it [-]", "pull verdict",
        "pull needed [N]", "broken in it [-]", "pull looked at", "its load [N]",
        "failure after [-]", "after low [-]", "after high [-]", "cost of a rod", "currency",
        "mass of a rod [g]", "ties", "beaten by",
    )  # fmt: skip
    return heads, [_option(option) for option in result.options]


def _option(option: Option) -> tuple[Cell, ...]:
    found, target, left = option.failure_probability, option.target, option.after_pull
    words = {True: "yes", False: "no", None: "undecided"}
    first = option.modes[0] if option.modes else None
    return (
        option.name,
        *(found.estimate, found.low, found.high),
        *(found.band_p05, found.band_p50, found.band_p95, found.worst_year),
        option.as_target,
        None if target is None else target.probability,
        None if target is None else words[target.met],
        None if target is None else target.chance_met,
        None if option.permitted_load is None else option.permitted_load.newton,
        *(option.strength_new.median, option.strength_new.one_in_100_below),
        *(option.strength_service.median, option.strength_service.one_in_100_below),
        *((None, None) if first is None else (first.name, first.share)),
        *(option.pull.verdict, option.pull.load_newton, option.pull.reject_fraction),
        *((None, None) if left is None else (left.label or "the pull needed", left.load_newton)),
        *_three(None if left is None else left.fail),
        *((None, None) if option.cost is None else (option.cost.amount, option.cost.currency)),
        option.mass,
        option.letters,
        "; ".join(option.dominated_by),
    )


def _pairs(result: Comparison) -> Table:
    heads = (
        "option", "against", "times as often [-]", "low [-]", "high [-]", "verdict",
        "chance to fail less often [-]", "chance low [-]", "chance high [-]",
        "after the pull, times as often [-]", "after low [-]", "after high [-]", "verdict after",
        "as the target counts, times as often [-]", "target low [-]", "target high [-]",
        "verdict as the target counts",
    )  # fmt: skip
    return heads, [
        (
            pair.option,
            pair.other,
            *_ratio(pair.ratio),
            *_three(pair.better),
            *_ratio(pair.after_pull),
            *_ratio(pair.as_target),
        )
        for pair in result.pairs
    ]


def _three(found: Chance | None) -> tuple[Cell, Cell, Cell]:
    return (None, None, None) if found is None else (found.estimate, found.low, found.high)


def _ratio(found: Ratio | None) -> tuple[Cell, Cell, Cell, Cell]:
    if found is None:
        return (None, None, None, None)
    return (found.estimate, found.low, found.high, found.verdict)


def _differences(result: Comparison) -> Table:
    heads = ("option", "key", "value", "value of the baseline")
    return heads, [
        (option.name, entry.key, entry.value, entry.baseline)
        for option in result.options
        for entry in option.differences
    ]


def _assumptions(result: Comparison) -> Table:
    heads = ("key", "value", "origin", "source", "mark")
    return heads, [(e.key, e.value, e.origin, e.source, e.confidence) for e in result.assumptions]
