"""The rows of the tables on broken coupons or rods, as words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report.fit_sentences import between, floor, value
from jointrisk.report.words import number, percent

if TYPE_CHECKING:
    from jointrisk.study.fit_results import CouponFit, FamilyFit, Tail

SHAPE_COLUMNS = ("shape", "1 in 100 below", "true value between", "1 in 1,000 below",
                 "true value between")  # fmt: skip
FIT_COLUMNS = ("shape", "parameters", "criterion above the best", "chance of a worse fit",
               "B basis", "A basis", "1 in 1,000 by the fit alone")  # fmt: skip
BATCH_COLUMNS = ("batch", "broke", "held", "mean", "sd")


def shape_rows(result: CouponFit) -> list[tuple[str, ...]]:
    """Return each family's weak values as a row of `SHAPE_COLUMNS`."""
    return [
        (
            entry.family,
            floor(result, entry.one_in_100.predicted),
            _ends(result, entry.one_in_100),
            floor(result, entry.one_in_1000.predicted),
            _ends(result, entry.one_in_1000),
        )
        for entry in result.families
    ]


def _ends(result: CouponFit, tail: Tail) -> str:
    return between(result, tail.low, tail.high)


def fit_rows(result: CouponFit) -> list[tuple[str, ...]]:
    """Return each family's fit as a row of `FIT_COLUMNS`."""
    return [
        (
            entry.family,
            _parameters(result, entry),
            number(entry.aic_above_best, 2),
            "too few to say" if entry.significance is None else percent(entry.significance),
            *(floor(result, each.value) for each in entry.basis),
            value(result, entry.one_in_1000.plain),
        )
        for entry in result.families
    ]


def _parameters(result: CouponFit, entry: FamilyFit) -> str:
    found = entry.parameters
    if entry.family == "weibull":
        return f"shape {number(found['shape'], 3)}, scale {value(result, found['scale'])}"
    return f"mean {value(result, found['mean'])}, sd {value(result, found['sd'])}"


def batch_rows(result: CouponFit) -> list[tuple[str, ...]]:
    """Return each batch as a row of `BATCH_COLUMNS`."""
    return [
        (
            entry.name,
            str(entry.count),
            str(entry.held),
            "" if entry.mean is None else value(result, entry.mean),
            "" if entry.sd is None else value(result, entry.sd) if entry.sd else "0",
        )
        for entry in (result.batches.batches if result.batches is not None else ())
    ]
