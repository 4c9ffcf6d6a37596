"""The pictures of a sweep: failure over the value, and the map over two."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from jointrisk.report import sweep_sentences as say
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
)
from jointrisk.report.words import chance

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from jointrisk.study.results import Chance
    from jointrisk.study.sweep_results import Quantity, Sweep, SweepPoint

LOWEST = 1e-9
"""Floor of the probability axes [-]."""
OWN_LINE = 0.02
"""Logs to base ten within which a line of equal failure is the target's own [-]."""
FEW_DECADES = 300.0
"""Ratio of the ends of a probability axis up to which it has ticks between powers of ten [-]."""
SPREAD_OUT = 5.0
"""Ratio of the ends of a range from which its axis is logarithmic, as its points are [-]."""


def curve(result: Sweep) -> Figure | None:
    """Draw failure over the value; None where fewer than two values can be told."""
    known = [p for p in result.points if math.isfinite(p.failure.estimate)]
    if len(known) < 2:
        return None
    with house_style():
        figure, (axes,) = canvas(3.9)
        _line(axes, known, [p.failure for p in known], BLUE, "over the life")
        shown = [p.failure.low for p in known]
        if say.counts_apart(result):
            judged = [p.judged for p in known]
            _line(axes, known, judged, PLUM, "as the target counts it")
            shown += [c.low for c in judged]
        if result.target is not None:
            axes.axhline(result.target, color=RUST, linestyle="--", linewidth=1.1, label="target")
            shown.append(result.target / 2.0)
        top = min(1.0, 2.0 * max(p.failure.high for p in known))
        _finer(axes, _floor(shown), top)
        quantity_axis(axes, "x", result.quantity, [p.value for p in known])
        _marks(axes, result)
        axes.set_ylabel("failure probability")
        figure.legend(loc="outside upper left", frameon=False, ncols=3, borderpad=0)
    return figure


def _finer(axes: Axes, low: float, high: float) -> None:
    """Give the upright axis chances, with ticks between the powers of ten where those are few."""
    from matplotlib.ticker import FixedLocator

    chance_axis(axes.yaxis, low, high)
    if high / low > FEW_DECADES:
        return
    ticks = [m * 10.0**k for k in range(-10, 1) for m in (1.0, 2.0, 5.0)]
    ticks = [tick for tick in ticks if low * 0.999 <= tick <= high * 1.001]
    axes.yaxis.set_major_locator(FixedLocator(ticks))
    axes.yaxis.set_ticklabels(["certain" if tick == 1.0 else chance(tick) for tick in ticks])


def _line(
    axes: Axes, known: Sequence[SweepPoint], chances: Sequence[Chance], color: str, name: str
) -> None:
    x = [p.value for p in known]
    low, high = _drawn([c.low for c in chances]), _drawn([c.high for c in chances])
    axes.fill_between(x, low, high, color=color, alpha=0.2, linewidth=0)
    style = "-" if color == BLUE else "-."
    axes.plot(x, _drawn([c.estimate for c in chances]), style, color=color, label=name)


def quantity_axis(axes: Axes, which: str, quantity: Quantity, values: Sequence[float]) -> None:
    """Give an axis the values of a quantity, logarithmic where its range is wide."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator

    axis = axes.xaxis if which == "x" else axes.yaxis
    low, high = min(values), max(values)
    unit = (
        "" if quantity.unit == "-" else f" [{'°C' if quantity.unit == 'degC' else quantity.unit}]"
    )
    name = f"{quantity.label}{unit}"
    if low > 0.0 and high / low >= SPREAD_OUT and quantity.unit != "degC":
        axes.set(**{f"{which}scale": "log"})
        steps = (1, 2, 5) if high / low < 500 else (1,)
        ticks = [m * 10.0**k for k in range(-9, 13) for m in steps]
        axis.set_major_locator(FixedLocator([t for t in ticks if low <= t <= high]))
        axis.set_minor_locator(NullLocator())
    else:
        axis.set_major_locator(MaxNLocator(6))
    axis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:,.6g}"))
    axes.set(**{f"{which}lim": (low, high), f"{which}label": name})


def _marks(axes: Axes, result: Sweep) -> None:
    """Mark the value as written, where more stops paying, and where the target is met."""
    low, high = axes.get_xlim()
    written = result.as_written
    if low <= written.value <= high and math.isfinite(written.failure.estimate):
        height = max(written.failure.estimate, LOWEST)
        axes.plot([written.value], [height], "o", color=INK)
        label_line(axes, written.value, height, "as written", INK, **_side(axes, written.value, 10))
    knee = result.knee.value
    if knee is not None:
        axes.axvline(knee, color=QUIET, linestyle=":", linewidth=1.2)
        label_line(axes, knee, 0.04, "stops paying", QUIET, xycoords=("data", "axes fraction"),
                   **_side(axes, knee, 4))  # fmt: skip
    for window in result.windows:
        axes.axvspan(window.start.value, window.end.value, facecolor=GREEN, alpha=0.14, linewidth=0)
        for edge in (window.start, window.end):
            if edge.of_range or result.target is None:
                continue
            ends = [low if edge.low is None else edge.low, high if edge.high is None else edge.high]
            axes.plot(ends, [result.target] * 2, color=GREEN, linewidth=3.0, solid_capstyle="butt")
            axes.plot([edge.value], [result.target], "D", color=GREEN)
            name = "smallest" if edge is window.start else "largest"
            label_line(axes, edge.value, result.target, name, GREEN, **_side(axes, edge.value, -10))


def _side(axes: Axes, value: float, up: float) -> dict[str, object]:
    """Return on which side of a value there is room for its label."""
    low, high = axes.get_xlim()
    middle = math.sqrt(low * high) if axes.get_xscale() == "log" else 0.5 * (low + high)
    if value > middle:
        return {"xytext": (-6, up), "ha": "right"}
    return {"xytext": (6, up), "ha": "left"}


def map_of(result: Sweep) -> Figure | None:
    """Draw lines of equal failure over two quantities; None without a map."""
    import numpy as np

    found = result.map
    if found is None or len(found.values) < 2:
        return None
    grid = np.array([[cell.estimate for cell in row] for row in found.failure])
    if np.isfinite(grid).sum() < 4:
        return None
    logs = np.ma.masked_invalid(np.log10(np.maximum(grid, LOWEST)))
    x, y = [p.value for p in result.points], list(found.values)
    with house_style():
        figure, (axes,) = canvas(4.2)
        quantity_axis(axes, "x", result.quantity, x)
        quantity_axis(axes, "y", found.second, y)
        levels = _levels(float(logs.min()), float(logs.max()), result.target)
        if len(levels):
            lines = axes.contour(
                x, y, logs, levels=levels, colors=[BLUE], linewidths=1.1, linestyles="-"
            )
            axes.clabel(lines, fmt=lambda level: chance(10.0**level), fontsize=8.5)
        if result.target is not None:
            level = math.log10(result.target)
            if float(logs.min()) < level < float(logs.max()):
                axes.contour(x, y, logs, levels=[level], colors=[RUST], linewidths=2.0,
                             linestyles="--")  # fmt: skip
            meets = [(a, b) for b, row in zip(y, found.meets, strict=True)
                     for a, met in zip(x, row, strict=True) if met]  # fmt: skip
            axes.plot([a for a, _ in meets], [b for _, b in meets], "D", color=GREEN,
                      markersize=3.0, clip_on=False, label="target met")  # fmt: skip
            axes.plot([], [], color=RUST, linestyle="--", linewidth=2.0, label="target")
        axes.plot([result.quantity.written], [found.second.written], "o", color=INK,
                  label="as written")  # fmt: skip
        figure.legend(loc="outside upper left", frameon=False, ncols=3, borderpad=0)
    return figure


def _levels(low: float, high: float, target: float | None) -> list[float]:
    """Return logs of round chances between two, four to eight, none on the target's own line."""
    every = [(1.0, 3.0), (1.0, 2.0, 5.0), tuple(range(1, 10))]
    for steps in every:
        found = [k + math.log10(m) for k in range(-12, 1) for m in steps]
        inside = [level for level in sorted(found) if low < level < high]
        if target is not None:
            inside = [level for level in inside if abs(level - math.log10(target)) > OWN_LINE]
        if len(inside) >= 4:
            return inside[:: max(1, len(inside) // 7)]
    return inside


def _drawn(values: Sequence[float]) -> list[float]:
    """Return values that a logarithmic axis takes: what is nought falls out below the axis."""
    return [max(value, 1e-3 * LOWEST) for value in values]


def _floor(values: Sequence[float]) -> float:
    """Return a round number below every positive value, not under the lowest drawn."""
    smallest = min((value for value in values if value > 0.0), default=0.1)
    power = 10.0 ** math.floor(math.log10(smallest) + 1e-9)
    steps = [m * power for m in (1.0, 2.0, 5.0) if m * power <= smallest]
    return min(0.1, max(LOWEST, *steps))


def all_svg(result: Sweep) -> dict[str, str]:
    """Return each picture that the result has numbers for as SVG text, by name."""
    from jointrisk.report.style import svg

    words = describe(result)
    drawn = {"curve": curve(result), "map": map_of(result)}
    return {
        name: svg(figure, f"figure-{name}", *words[name])
        for name, figure in drawn.items()
        if figure is not None
    }


def describe(result: Sweep) -> dict[str, tuple[str, str]]:
    """Return for each picture its title and what is seen in it, in words."""
    from jointrisk.report.sentences import mark

    seen = f"{mark(say.failure(result))} {mark(say.target(result))}"
    told = {"curve": (f"Failure over {result.quantity.label}", f"{seen} Bands: sampling.")}
    if result.map is not None:
        told["map"] = (
            f"Failure over {result.quantity.label} and {result.map.second.label}",
            f"Lines of equal failure, from {result.map.draws:,} draws: coarser than the curve. "
            + "; ".join(say.map_lines(result)),
        )
    return told
