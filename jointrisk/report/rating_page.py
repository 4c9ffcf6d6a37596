"""A rating as a page: no script, nothing fetched."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from jointrisk.report import rating_sentences as say
from jointrisk.report.cautions import CAUTIONS
from jointrisk.report.page import environment, grouped
from jointrisk.report.rating_tables import NAMES, csv_texts

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from jointrisk.study.rating_results import Rating


def html(result: Rating) -> str:
    """Return the page of a rating as one HTML document."""
    from markupsafe import Markup

    values = {
        "r": result,
        "answers": say.headline(result),
        "heads": say.COLUMNS,
        "rows": [say.row(entry) for entry in result.entries],
        "load_heads": say.LOAD_COLUMNS,
        "load_rows": say.load_rows(result),
        "figure": Markup(_svg(result)),  # noqa: S704 - ours
        "assumptions": grouped(cast("Any", result)),
        "cautions": CAUTIONS,
        "tables": [(name, NAMES[name]) for name in csv_texts(result)],
    }
    return environment().get_template("rating.html.j2").render(**values) + "\n"


def factors(result: Rating) -> Figure | None:
    """Draw each rating with its interval against the loads as written; None without any."""
    import textwrap

    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    from jointrisk.report.style import BLUE, PLUM, QUIET, canvas, house_style

    shown = [(e.label, e.factor, e.low or 0.0, e.high or 0.0) for e in result.entries if e.factor]
    if result.cautious_factor is not None:
        value = result.cautious_factor
        shown.insert(1, ("as built, 19 of 20 cases of what is not known", value, value, value))
    if not shown:
        return None
    with house_style():
        names = [textwrap.fill(name, 24) for name, *_ in shown]
        lines = sum(name.count("\n") + 1 for name in names)
        figure, (axes,) = canvas(0.9 + 0.1 * len(shown) + 0.16 * lines)
        for place, (_, factor, low, high) in enumerate(shown):
            color = PLUM if low == high else BLUE
            axes.plot([max(low, 1e-4), high], [place, place], color=color, linewidth=2.2)
            axes.plot([factor], [place], "o", color=color)
        axes.axvline(1.0, color=QUIET, linestyle="--", linewidth=1.1)
        axes.set(xscale="log", ylim=(len(shown) - 0.4, -0.6))
        ends = [1.0, *(x for _, f, low, high in shown for x in (f, max(low, 1e-4), high))]
        axes.set_xlim(0.8 * min(ends), 1.25 * max(ends))
        axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:g}"))
        axes.xaxis.set_minor_formatter(NullFormatter())
        axes.set_yticks(range(len(shown)), names)
        axes.tick_params(axis="y", length=0)
        axes.set_xlabel("factor on all loads; 1: as written")
    return figure


def _svg(result: Rating) -> str:
    from jointrisk.report.style import svg

    figure = factors(result)
    if figure is None:
        return ""
    told = "; ".join(f"{row[0]}: {row[1]}" for row in map(say.row, result.entries))
    return svg(figure, "figure-factors", "How large the loads may be", f"{told}.")
