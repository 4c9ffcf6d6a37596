"""The pictures of a comparison: failure of each option, its ratio to the baseline, its price."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

from jointrisk.report import compare_sentences as say
from jointrisk.report.style import (
    BLUE,
    GREEN,
    INK,
    QUIET,
    RUST,
    canvas,
    chance_axis,
    house_style,
    label_line,
    svg,
)
from jointrisk.report.words import chance, chance_range, number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from jointrisk.study.compare_results import Comparison, Option

LOWEST = 1e-7
"""Floor of the probability axes [-]."""
MOST_TICKS = 4
"""Odds that have room under an axis [-]."""
NEAR = 1.15
"""Points of one price nearer than this ratio share a label [-]."""
NAME = 24
"""Characters of an option's name in a line [-]."""
TICKS = (1e-4, 1e-3, 0.01, 0.03, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9, 1.0, 1.1, 1.5, 2, 3, 5, 10, 30, 100,
         1e3, 1e4)  # fmt: skip


def options(result: Comparison) -> Figure:
    """Draw the failure probability of each option with interval, band and target."""
    with house_style():
        figure, axes = _rows([option.name for option in result.options], extra=0.55)
        drawn = [option.failure_probability for option in result.options]
        aim = _aim(result)
        seen = [v for c in drawn for v in (c.low, c.band_p05, c.band_p95, c.high)]
        seen += [o.as_target for o in result.options if o.as_target] + [0.5 * (aim or 0.0)]
        floor = _floor(seen)
        for row, found in enumerate(drawn):
            band = [max(found.band_p05, floor), max(found.band_p95, floor)]
            axes.plot(band, [row, row], color=BLUE, alpha=0.3, linewidth=7, solid_capstyle="butt")
            ends = [max(found.low, floor), max(found.high, floor)]
            axes.plot(ends, [row, row], color=INK, linewidth=2.2)
            axes.plot(max(found.estimate, floor), row, "o", color=INK)
        axes.plot([], [], "-o", color=INK, label="over the life, with its sampling interval")
        axes.plot([], [], color=BLUE, alpha=0.3, linewidth=7, label="because of what is not known")
        _against_target(axes, result, aim, floor)
        chance_axis(axes.xaxis, floor, min(1.0, 2.0 * max(seen)))
        if len(axes.get_xticks()) > MOST_TICKS:
            names = [label.get_text() for label in axes.get_xticklabels()]
            axes.set_xticks(axes.get_xticks()[::2], names[::2])
        axes.set_xlabel("failure probability")
        figure.legend(loc="outside upper left", frameon=False, borderpad=0)
    return figure


def _against_target(axes: Axes, result: Comparison, aim: float | None, floor: float) -> None:
    if aim is None:
        return
    axes.axvline(max(aim, floor), color=RUST, linestyle="--", linewidth=1.1, label="target")
    for row, option in enumerate(result.options):
        if option.as_target is not None and not math.isclose(
            option.as_target, option.failure_probability.estimate, rel_tol=1e-6
        ):
            name = "as the target counts it" if row == 0 else None
            axes.plot(max(option.as_target, floor), row, "D", color=RUST, label=name)


def _aim(result: Comparison) -> float | None:
    """Return the target where all options have the same."""
    aims = [option.target for option in result.options if option.target is not None]
    alike = {(aim.probability, aim.period_years, aim.scope) for aim in aims}
    same = len(aims) == len(result.options) and len(alike) == 1
    return aims[0].probability if same else None


def ratios(result: Comparison) -> Figure:
    """Draw how many times as often each option fails as the baseline, with paired intervals."""
    from matplotlib.ticker import FixedLocator, NullFormatter, NullLocator

    pairs = say.of_baseline(result)
    with house_style():
        figure, axes = _rows([pair.option for pair in pairs], extra=0.3)
        ends = [e for p in pairs for e in (p.ratio.low, p.ratio.high) if 0 < e < math.inf]
        low, high = max(min([0.9, *ends]), TICKS[0]), min(max([1.1, *ends]), TICKS[-1])
        room = (high / low) ** 0.12
        low, high = low / room, high * room
        for row, pair in enumerate(pairs):
            ratio = pair.ratio
            if math.isnan(ratio.estimate):
                continue
            told = ratio.verdict != say.TIED
            color = {"lower": GREEN, "higher": RUST}.get(ratio.verdict, QUIET)
            axes.plot([max(ratio.low, low), min(ratio.high, high)], [row, row], color=color)
            place = min(max(ratio.estimate, low), high)
            face = color if told else "none"
            axes.plot(place, row, "o", color=color, markerfacecolor=face)
            words = f"{say.times(ratio)} times" if told else say.TIED
            at = {"xytext": (0, 7), "ha": "center", "va": "bottom"}
            label_line(axes, place, row, words, color, **at)
        axes.axvline(1.0, color=QUIET, linewidth=0.8)
        axes.set(xscale="log", xlim=(low, high), ylim=(len(pairs) - 0.4, -0.8))
        ticks = _spaced([tick for tick in TICKS if low < tick < high], low, high)
        axes.xaxis.set_major_locator(FixedLocator(ticks))
        axes.xaxis.set_minor_locator(NullLocator())
        axes.xaxis.set_minor_formatter(NullFormatter())
        axes.set_xticklabels([f"x {number(tick)}" for tick in ticks])
        axes.set_xlabel(textwrap.shorten(f"failure against '{result.baseline}'", 60))
    return figure


def _spaced(ticks: Sequence[float], low: float, high: float) -> list[float]:
    """Return 1 and the ticks that stand clear of it and of each other."""
    clear = 0.13 * math.log(high / low)
    kept = [1.0]
    for tick in sorted(ticks, key=lambda tick: abs(math.log(tick))):
        if all(abs(math.log(tick / other)) > clear for other in kept):
            kept.append(tick)
    return sorted(kept)


def price(result: Comparison) -> Figure | None:
    """Draw failure over cost, or over mass where no cost is given; None without either."""
    found = _priced(result)
    if found is None:
        return None
    label, places = found
    with house_style():
        figure, (axes,) = canvas(3.2)
        drawn = [(o, x) for o, x in zip(result.options, places, strict=True) if x is not None]
        floor = _floor([o.failure_probability.low for o, _ in drawn])
        for option, x in drawn:
            chance_ = option.failure_probability
            color = QUIET if option.dominated_by else BLUE
            face = "none" if option.dominated_by else color
            axes.plot([x, x], [max(chance_.low, floor), max(chance_.high, floor)], color=color)
            y = max(chance_.estimate, floor)
            axes.plot(x, y, "o", color=color, markerfacecolor=face)
        for x, y, name in _labels(drawn, floor):
            label_line(axes, x, y, name, INK, xytext=(6, -3), va="bottom")
        top = max(o.failure_probability.high for o, _ in drawn)
        chance_axis(axes.yaxis, floor, min(1.0, 2.0 * top))
        xs = [x for _, x in drawn]
        room = 0.08 * max(max(xs) - min(xs), 0.2 * max(xs), 1e-9)
        axes.set(xlim=(min(xs) - room, max(xs) + 5 * room), xlabel=label)
        axes.set_ylabel("failure probability")
    return figure


def _labels(drawn: Sequence[tuple[Option, float]], floor: float) -> list[tuple[float, float, str]]:
    """Return place and text of each label; points that lie on one another share one."""
    found: list[tuple[float, float, list[str]]] = []
    for option, x in sorted(drawn, key=lambda one: one[0].failure_probability.estimate):
        y = max(option.failure_probability.estimate, floor)
        name = textwrap.shorten(option.name, NAME, placeholder=" ...")
        name += " (beaten)" if option.dominated_by else ""
        near = [names for at, height, names in found if at == x and y / height < NEAR]
        if near:
            near[-1].append(name)
        else:
            found.append((x, y, [name]))
    return [(x, y, "\n".join(names)) for x, y, names in found]


def _priced(result: Comparison) -> tuple[str, list[float | None]] | None:
    costs = [option.cost for option in result.options]
    currencies = {cost.currency for cost in costs if cost is not None}
    if sum(cost is not None for cost in costs) > 1 and len(currencies) == 1:
        label = f"cost of a rod [{currencies.pop()}]"
        return label, [None if cost is None else cost.amount for cost in costs]
    masses = [option.mass for option in result.options]
    return ("mass of a rod [g]", masses) if sum(m is not None for m in masses) > 1 else None


def _rows(names: Sequence[str], extra: float) -> tuple[Figure, Axes]:
    """Return a figure with a row for each name."""
    shown = [textwrap.fill(textwrap.shorten(name, 3 * NAME), NAME) for name in names]
    lines = sum(name.count("\n") + 1 for name in shown)
    figure, (axes,) = canvas(0.8 + extra + 0.16 * len(names) + 0.16 * lines)
    axes.set_yticks(range(len(names)), shown)
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(len(names) - 0.4, -0.6)
    return figure, axes


def _floor(values: Sequence[float]) -> float:
    """Return what lies a little below every positive value, not under the lowest drawn."""
    smallest = min((value for value in values if value > 0.0), default=0.1)
    return min(0.1, max(LOWEST, smallest / 1.6))


def all_svg(result: Comparison) -> dict[str, str]:
    """Return each picture that the result has numbers for as SVG text, by name."""
    words = describe(result)
    drawn = {"options": options(result), "ratios": ratios(result), "price": price(result)}
    return {
        name: svg(figure, f"figure-{name}", *words[name])
        for name, figure in drawn.items()
        if figure is not None
    }


def describe(result: Comparison) -> dict[str, tuple[str, str]]:
    """Return for each picture its title and what is seen in it, in words."""
    return {
        "options": (
            "How often each option fails",
            "; ".join(f"{option.name}: {_told(option)}" for option in result.options) + ".",
        ),
        "ratios": (
            f"Each option against '{result.baseline}'",
            " ".join(say.against(pair).replace("**", "") for pair in say.of_baseline(result)),
        ),
        "price": ("Failure and price", " ".join(say.prices(result))),
    }


def _told(option: Option) -> str:
    found = option.failure_probability
    band = chance_range(found.band_p05, found.band_p95)
    return f"{chance(found.estimate, found.low, found.high)}, not known {band}"
