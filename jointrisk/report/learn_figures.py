"""The pictures of what pulls have taught: where they lie on the strength, and before against now.

No meaning hangs on a colour alone: each result has its own mark, each line its own dashes.
"""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

from jointrisk.report import learn_sentences as say
from jointrisk.report.style import (
    BLUE,
    GREEN,
    INK,
    PLUM,
    QUIET,
    RUST,
    canvas,
    chance_axis,
    house_style,
    load_axis,
    svg,
)
from jointrisk.report.words import chance, load

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from jointrisk.study.learn_results import Learnt, LearntUnknown

LOWEST = 1e-4
"""Floor of the axis of chances [-]."""
MOST_ROWS = 10
"""Unknowns in a picture; the table holds all [-]."""
NAME = 28
"""Characters of a name in a line [-]."""
REACH = 1.0
"""How far beyond the range that the file gave an unknown is drawn, in widths of it [-]."""
KINDS = (("held", "^", GREEN), ("broke at", "X", RUST), ("broke below", "<", PLUM))
"""Each result with its mark and colour."""


def pulls(result: Learnt) -> Figure | None:
    """Draw the pulls under the strength that rods have by file and log; None without a curve."""
    data = result.curve
    if len(data.load_newton) < 2:
        return None
    kinds = [kind for kind in KINDS if any(g.kind == kind[0] for g in result.groups)]
    with house_style():
        figure, (upper, lower) = canvas(
            3.6 + 0.3 * len(kinds), rows=2, ratios=(3.0, 0.35 + 0.35 * len(kinds))
        )
        loads = [*data.load_newton, *(g.load_newton for g in result.groups)]
        load_axis(lower, min(loads), max(loads))
        lines = [(data.before, QUIET, "--", "before the log")]
        lines += [(data.after, BLUE, "-", "with the log")] if say.trusted(result) else []
        for values, color, dashes, name in lines:
            drawn = [max(v, LOWEST / 2) if math.isfinite(v) else math.nan for v in values]
            upper.plot(data.load_newton, drawn, color=color, linestyle=dashes, label=name)
        chance_axis(upper.yaxis, LOWEST, 1.0)
        upper.set_ylabel("chance that a rod breaks\nbelow this load in the rig")
        _marks(lower, result, kinds)
        figure.legend(loc="outside upper left", frameon=False, ncols=2, borderpad=0)
    return figure


def _marks(axes: Axes, result: Learnt, kinds: list[tuple[str, str, str]]) -> None:
    """Set a mark for the pulls of each load and result, with their number where there are more."""
    for row, (kind, sign, color) in enumerate(kinds):
        counts: dict[float, int] = {}
        for group in result.groups:
            if group.kind == kind:
                counts[group.load_newton] = counts.get(group.load_newton, 0) + group.count
        axes.plot(list(counts), [row] * len(counts), sign, color=color, linestyle="none")
        for newton, count in counts.items():
            if count > 1:
                axes.annotate(
                    str(count), (newton, row), xytext=(0, 4), textcoords="offset points",
                    ha="center", va="bottom", fontsize=8, color=INK,
                )  # fmt: skip
    axes.set_yticks(range(len(kinds)), [kind for kind, _, _ in kinds])
    axes.set(ylim=(len(kinds) - 0.5, -0.9), xlabel="load that the gauge showed")
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")


def unknowns(result: Learnt) -> Figure | None:
    """Draw what was known of each thing, and what is now, on the range that the file gave.

    None where nothing is to be shown, or no number is trusted.
    """
    entries = [entry for entry in result.unknowns if _drawable(entry)][:MOST_ROWS]
    if not entries or not say.trusted(result):
        return None
    names = [textwrap.fill(entry.name, NAME) for entry in entries]
    places = [place for entry in entries for place in _places(entry, "posterior")]
    with house_style():
        figure, (axes,) = canvas(1.25 + sum(0.36 + 0.1 * name.count("\n") for name in names))
        for row, entry in enumerate(entries):
            for when, place, color, sign in (
                ("prior", row - 0.14, QUIET, "s"),
                ("posterior", row + 0.14, BLUE, "o"),
            ):
                low, middle, high = _places(entry, when)
                axes.plot(
                    [low, high], [place, place], color=color, alpha=0.45, linewidth=4,
                    solid_capstyle="butt",
                )  # fmt: skip
                axes.plot(middle, place, sign, color=color)
        axes.plot([], [], "s-", color=QUIET, label="before the log")
        axes.plot([], [], "o-", color=BLUE, label="with the log")
        axes.set(
            ylim=(len(entries) - 0.4, -0.6),
            xlim=(min(*places, -0.1) - 0.05, max(*places, 1.1) + 0.05),
        )
        axes.set_yticks(range(len(entries)), names)
        axes.set_xticks([0.0, 1.0], ["file’s 5 %", "file’s 95 %"])
        axes.set_xlabel("from 5 to 95 %, and the middle")
        axes.tick_params(axis="y", length=0)
        axes.grid(visible=False, axis="y")
        figure.legend(loc="outside upper left", frameon=False, ncols=2, borderpad=0)
    return figure


def _drawable(entry: LearntUnknown) -> bool:
    ends = (entry.prior_p05, entry.prior_p95, entry.posterior_p05, entry.posterior_p95)
    return all(map(math.isfinite, ends)) and entry.prior_p95 > entry.prior_p05


def _places(entry: LearntUnknown, when: str) -> list[float]:
    """Return 5, 50 and 95 % with the range of the file as 0 to 1, on its logarithm if it is wide.

    What lies far beyond is drawn at the edge.
    """
    ends = [float(getattr(entry, f"{when}_{end}")) for end in ("p05", "p50", "p95")]
    low, high = entry.prior_p05, entry.prior_p95
    if low > 0.0 and high > 3.0 * low and min(ends) > 0.0:
        low, high, ends = math.log(low), math.log(high), [math.log(end) for end in ends]
    return [min(max((end - low) / (high - low), -REACH), 1.0 + REACH) for end in ends]


def describe(result: Learnt) -> dict[str, tuple[str, str]]:
    """Return for each picture its title and what is seen in it, in words."""
    data = result.curve
    step = max(1, len(data.load_newton) // 6)
    told = [
        f"{load(newton, 3)}: {chance(before)} before"
        + (f", {chance(after)} with the log" if say.trusted(result) else "")
        for newton, before, after in list(
            zip(data.load_newton, data.before, data.after, strict=True)
        )[::step]
    ]
    marks = "; ".join(f"{group.count} {say.what_happened(group)}" for group in result.groups)
    moved = "; ".join(
        f"{entry.name}: {say.middle(entry, 'prior')} before, "
        f"{say.middle(entry, 'posterior')} with the log"
        for entry in result.unknowns[:MOST_ROWS]
    )
    return {
        "pulls": (
            "Where the pulls lie: how weak a rod of a new batch may be in the rig, and below it "
            "what was pulled",
            f"Chance that a rod breaks below a load. {'; '.join(told)}. Pulls: {marks}.",
        ),
        "unknowns": ("What is not known, before the log and with the log", f"{moved}."),
    }


def all_svg(result: Learnt) -> dict[str, str]:
    """Return each picture that the result has numbers for as SVG text, by name."""
    words = describe(result)
    drawn = {"pulls": pulls(result), "unknowns": unknowns(result)}
    return {
        name: svg(figure, f"figure-{name}", *words[name])
        for name, figure in drawn.items()
        if figure is not None
    }
