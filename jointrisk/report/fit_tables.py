"""The tables of broken coupons or rods as CSV text: unrounded, units in the heads."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report.tables import csv_text

if TYPE_CHECKING:
    from jointrisk.report.tables import Cell, Table
    from jointrisk.study.fit_results import CouponFit

NAMES = {
    "fit.csv": "the shapes",
    "fit-values.csv": "values",
    "fit-batches.csv": "batches",
    "fit-curves.csv": "the shapes as curves",
    "fit-more.csv": "what more would bring",
}
"""Every file there may be, and what is in it."""


def csv_texts(result: CouponFit) -> dict[str, str]:
    """Return the CSV text of each table that the result has rows for, by file name."""
    made = {
        "fit.csv": _families(result),
        "fit-values.csv": _values(result),
        "fit-batches.csv": _batches(result),
        "fit-curves.csv": _curves(result),
        "fit-more.csv": _more(result),
    }
    return {name: csv_text(*made[name]) for name in NAMES if made[name][1]}


def _families(result: CouponFit) -> Table:
    unit = result.unit
    heads = ["shape", "parameter 1", "value 1", "parameter 2", "value 2",
             "Akaike criterion [-]", "above the best [-]", "A squared [-]",
             "chance of a worse fit [-]"]  # fmt: skip
    for name in ("1 in 100", "1 in 1000"):
        heads += [f"{name} {what} [{unit}]" for what in ("expected", "low", "high", "fit alone")]
    heads += [f"B basis [{unit}]", f"A basis [{unit}]"]
    rows = []
    for e in result.families:
        names = ("shape", "scale") if e.family == "weibull" else ("mean", "sd")
        cells: list[Cell] = [e.family]
        for name in names:
            cells += [name, e.parameters[name]]
        cells += [e.aic, e.aic_above_best, e.anderson_darling, e.significance]
        for tail in (e.one_in_100, e.one_in_1000):
            cells += [tail.predicted, tail.low, tail.high, tail.plain]
        rows.append((*cells, *(each.value for each in e.basis)))
    return tuple(heads), rows


def _values(result: CouponFit) -> Table:
    heads = ("line", f"value [{result.unit}]", "held", "batch", "share below by rank [-]", "note")
    return heads, [
        (c.row, c.value, "held" if c.held else "broke", c.batch, c.rank, c.note)
        for c in result.coupons
    ]


def _batches(result: CouponFit) -> Table:
    heads = ("batch", "broke", "held", f"mean [{result.unit}]", f"sd [{result.unit}]")
    told = result.batches.batches if result.batches is not None else ()
    return heads, [(b.name, b.count, b.held, b.mean, b.sd) for b in told]


def _curves(result: CouponFit) -> Table:
    heads = ["shape", f"value [{result.unit}]"]
    heads += [f"chance below, {what} [-]" for what in ("fit alone", "expected", "low", "high")]
    return tuple(heads), [
        (curve.family, *row)
        for curve in result.curves
        for row in zip(curve.value, curve.plain, curve.predicted, curve.low, curve.high,
                       strict=True)
    ]  # fmt: skip


def _more(result: CouponFit) -> Table:
    return ("coupons", f"1 in 100 expected below [{result.unit}]"), [*result.more]
