"""The pictures of a plan of tests: the bands left, and wrong decisions against parts.

No meaning hangs on a colour alone: each kind of test has its own mark, and its name beside it.
"""

from __future__ import annotations

import math
import re
import textwrap
from typing import TYPE_CHECKING

from jointrisk.report import plan_cells as cells
from jointrisk.report import plan_sentences as say
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
    label_line,
    short_ticks,
    svg,
)
from jointrisk.report.words import chance, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from jointrisk.study.plan_results import Candidate, TestPlan
    from jointrisk.study.results import Chance

MOST_ROWS, MOST_BOUNDS = 14, 3
"""Tests and bounds in the picture of bands; the tables hold all [-]."""
NAME = 34
NO_BREAK = "\N{NO-BREAK SPACE}"
"""Characters of a name in a line [-]."""
LOWEST = 1e-7
"""Floor of the axis of chances [-]."""
MARKS = {"coupon": ("o", BLUE), "rod": ("s", RUST), "pull": ("^", GREEN)}
"""Mark and colour of each kind of test of which there may be more or fewer."""
KINDS = {"coupon": "coupons broken", "rod": "rods pulled to break", "pull": "rods pulled to a load"}
MOST_TICKS = 3
"""Labels that the axis of bands has room for, beside the names of the tests [-]."""
DECADES = range(-1, 12)
"""Powers of ten that a band may span, each a tick [-]."""


def bands(result: TestPlan) -> Figure | None:
    """Draw the band as it is and what each test would leave of it; None without tests."""
    tests, bounds = result.doable[:MOST_ROWS], result.bounds[:MOST_BOUNDS]
    if not tests and not bounds:
        return None
    rows = [(entry, BLUE if entry.doable else PLUM) for entry in (*tests, *bounds)]
    names = ["now", *(_filled(cells.own_name(entry)) for entry, _ in rows)]
    with house_style():
        figure, (axes,) = canvas(1.4 + sum(0.25 + 0.17 * name.count("\n") for name in names))
        before = result.before
        seen = [_bar(axes, 0, (before.p05, before.p50, before.p95), INK)]
        for row, (entry, color) in enumerate(rows, start=1):
            seen.append(_bar(axes, row, (entry.p05, entry.p50, entry.p95), color))
        axes.plot([], [], color=INK, alpha=0.5, linewidth=7, label="the band as it is")
        axes.plot([], [], color=BLUE, alpha=0.5, linewidth=7, label="left after this test")
        if bounds:
            axes.plot(
                [], [], color=PLUM, alpha=0.5, linewidth=7, label="this known exactly (a bound)"
            )
        ends = [end for pair in seen for end in pair]
        if result.target is not None:
            axes.axvline(result.target, color=QUIET, linestyle="--", linewidth=1.1, label="target")
            ends.append(max(result.target, LOWEST))
        _across(axes, max(min(ends), LOWEST) / 1.3, min(1.0, 1.3 * max(ends)))
        axes.set(ylim=(len(names) - 0.4, -0.6), xlabel="failure probability")
        axes.set_yticks(range(len(names)), names)
        axes.tick_params(axis="y", length=0)
        axes.grid(visible=False, axis="y")
        figure.legend(loc="outside upper left", frameon=False, borderpad=0, ncols=2)
    return figure


def _filled(name: str) -> str:
    """Return a name in lines; a number stays with what follows it."""
    whole = re.sub(r"(?<=\d) (?=\w)", NO_BREAK, name)
    return textwrap.fill(whole, NAME)


def _bar(axes: Axes, row: int, band: tuple[float, float, float], color: str) -> tuple[float, float]:
    low, middle, high = (max(end, LOWEST) for end in band)
    axes.plot([low, high], [row, row], color=color, alpha=0.5, linewidth=7, solid_capstyle="butt")
    axes.plot(middle, row, "|", color=INK, markersize=9, markeredgewidth=1.4)
    return low, high


def _across(axes: Axes, low: float, high: float) -> None:
    """Give the axis ticks: powers of ten, fewer where it is long, others where it is short."""
    from matplotlib.ticker import FixedLocator

    chance_axis(axes.xaxis, low, high)
    tens = [10.0**-power for power in range(12, -1, -1) if low <= 10.0**-power <= high]
    step = math.ceil(len(tens) / MOST_TICKS)
    ticks = tens[::-1][::step]
    if ticks:
        axes.xaxis.set_major_locator(FixedLocator(ticks))
        axes.set_xticklabels([chance(tick) for tick in ticks])
    short_ticks(axes, low, high)


Series = dict[str, list[tuple[int, "Chance"]]]


def series(result: TestPlan) -> Series:
    """Return for each kind of test its counts and what is left, smallest count first.

    What is left is the chance of a wrong decision, or the log of the ends of the band over one
    another where the plan goes by that.
    """
    found: Series = {}
    for entry in sorted(result.doable, key=lambda each: each.count):
        left = _left(result, entry)
        if entry.kind in MARKS and left is not None and not entry.screens and entry.count > 0:
            own = found.setdefault(entry.kind, [])
            if not own or own[-1][0] < entry.count:
                own.append((entry.count, left))
    return found


def _left(result: TestPlan, entry: Candidate) -> Chance | None:
    return entry.wrong_after if result.measure == say.WRONG else entry.width


def counts(result: TestPlan) -> Figure | None:
    """Draw what is left against the number of parts; None where no kind has several counts."""
    found = series(result)
    if not any(len(points) > 1 for points in found.values()):
        return None
    now = result.before.wrong if result.measure == say.WRONG else result.before.width
    with house_style():
        figure, (axes,) = canvas(3.6)
        most = max(count for points in found.values() for count, _ in points)
        for kind, points in found.items():
            _line(axes, kind, points)
        if now is not None:
            axes.axhline(now.estimate, color=QUIET, linestyle="--", linewidth=1.1)
            label_line(axes, 1.0, now.estimate, "now", QUIET, xytext=(0, 7))
        axes.set(xscale="log", xlim=(0.85, 1.25 * most), xlabel="parts broken or pulled")
        _count_ticks(axes, sorted({count for points in found.values() for count, _ in points}))
        tops = [c.high for points in found.values() for _, c in points]
        axes.set_ylim(0.0, 1.15 * max([*tops, now.estimate if now is not None else 0.0, 1e-9]))
        _upright(axes, result)
        figure.legend(loc="outside upper left", frameon=False, borderpad=0, ncols=2)
    return figure


def _line(axes: Axes, kind: str, points: list[tuple[int, Chance]]) -> None:
    sign, color = MARKS[kind]
    across = [count for count, _ in points]
    up = [left.estimate for _, left in points]
    axes.plot(across, up, f"{sign}-", color=color, label=KINDS[kind])
    for count, left in points:
        axes.plot([count, count], [left.low, left.high], color=color, linewidth=1.0)


def _count_ticks(axes: Axes, values: list[int]) -> None:
    """Set a tick at each count that has room beside the one before."""
    from matplotlib.ticker import FixedLocator, NullLocator

    kept: list[int] = []
    for value in values:
        if not kept or value >= 1.3 * kept[-1]:
            kept.append(value)
    axes.xaxis.set_major_locator(FixedLocator(kept))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.set_xticklabels([f"{value}" for value in kept])


def _upright(axes: Axes, result: TestPlan) -> None:
    from matplotlib.ticker import FixedLocator, FuncFormatter

    if result.measure == say.WRONG:
        axes.set_ylabel("chance of a wrong decision")
        axes.yaxis.set_major_formatter(FuncFormatter(lambda y, _: f"{100 * y:g} %"))
    else:
        axes.set_ylabel("upper end of the band over the lower")
        axes.yaxis.set_major_locator(FixedLocator([math.log(10.0**k) for k in DECADES]))
        told = FuncFormatter(lambda y, _: f"x {number(math.exp(y))}")
        axes.yaxis.set_major_formatter(told)


def describe(result: TestPlan) -> dict[str, tuple[str, str]]:
    """Return for each picture its title and what is seen in it, in words."""
    left = "; ".join(
        f"{cells.own_name(entry)}: {cells.band_left(entry)}"
        for entry in (*result.doable[:MOST_ROWS], *result.bounds[:MOST_BOUNDS])
    )
    told = "; ".join(
        f"{KINDS[kind]}, {count}: {_in_words(result, chance_left)}"
        for kind, points in series(result).items()
        for count, chance_left in points
    )
    what = "chance of a wrong decision" if result.measure == say.WRONG else "width of the band"
    return {
        "bands": (
            "What each test would leave of the band, on average",
            f"Now {cells.band_now(result)}. Left would be: {left}.",
        ),
        "counts": (f"The {what} against the number of parts", f"{told}."),
    }


def _in_words(result: TestPlan, left: Chance) -> str:
    return cells.percent_of(left) if result.measure == say.WRONG else cells.spans(left)


def all_svg(result: TestPlan) -> dict[str, str]:
    """Return each picture that the result has numbers for as SVG text, by name."""
    drawn = {"bands": bands(result), "counts": counts(result)}
    words = describe(result)
    return {
        name: svg(figure, f"figure-{name}", *words[name])
        for name, figure in drawn.items()
        if figure is not None
    }
