"""What broken coupons or rods say, as a page: no script, nothing fetched."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report import fit_rows
from jointrisk.report import fit_sentences as say
from jointrisk.report.cautions import CAUTIONS
from jointrisk.report.fit_figures import paper
from jointrisk.report.fit_tables import NAMES, csv_texts
from jointrisk.report.page import environment

if TYPE_CHECKING:
    from jointrisk.study.fit_results import CouponFit

VALUE_COLUMNS = ("line", "value", "outcome", "batch", "note")


def html(result: CouponFit) -> str:
    """Return the page of broken coupons or rods as one HTML document."""
    from markupsafe import Markup

    values = {
        "r": result,
        "answers": say.headline(result),
        "shape_heads": fit_rows.SHAPE_COLUMNS,
        "shape_rows": fit_rows.shape_rows(result),
        "fit_heads": fit_rows.FIT_COLUMNS,
        "fit_rows": fit_rows.fit_rows(result),
        "batch_heads": fit_rows.BATCH_COLUMNS,
        "batch_rows": fit_rows.batch_rows(result),
        "value_heads": VALUE_COLUMNS,
        "value_rows": _value_rows(result),
        "lines": "\n".join(result.written.lines) if result.written is not None else "",
        "silent": say.SILENT,
        "figure": Markup(_svg(result)),  # noqa: S704 - ours
        "cautions": CAUTIONS,
        "tables": [(name, NAMES[name]) for name in csv_texts(result)],
    }
    return environment().get_template("fit.html.j2").render(**values) + "\n"


def _value_rows(result: CouponFit) -> list[tuple[str, ...]]:
    """Return every value, the weakest first."""
    return [
        (
            str(c.row),
            say.value(result, c.value, 4),
            "held" if c.held else "broke",
            c.batch,
            c.note,
        )
        for c in sorted(result.coupons, key=lambda c: c.value)
    ]


def _svg(result: CouponFit) -> str:
    from jointrisk.report.style import svg

    figure = paper(result)
    if figure is None:
        return ""
    told = "; ".join(f"{row[0]}: 1 in 100 below {row[1]}" for row in fit_rows.shape_rows(result))
    return svg(figure, "figure-paper", "Values and the shapes that may lie behind them", f"{told}.")
