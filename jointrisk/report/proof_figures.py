"""The pictures of a result about pulls: what rising loads bring, and before against after."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

from jointrisk.report.proof_sentences import name_of
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
    load_axis,
)
from jointrisk.report.words import chance, load, percent

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from jointrisk.study.proof_results import Proof
    from jointrisk.study.results import Chance

LOWEST = 1e-7
"""Floor of the probability axes [-]."""


def curve(result: Proof) -> Figure | None:
    """Draw failure after a pull, and rods broken in it, over the pull; None without a load."""
    seen = [i for i, c in enumerate(result.curve.fail_after) if math.isfinite(c.estimate)]
    if len(seen) < 2 or not math.isfinite(result.fail_before.estimate):
        return None
    with house_style():
        figure, (upper, lower) = canvas(5.6, rows=2, ratios=(1.9, 1.0))
        loads = result.curve.load_newton
        load_axis(lower, loads[0], loads[-1])
        _after(upper, result, seen)
        _broken(lower, result)
        _windows(upper, lower, result)
        _own(upper, lower, result)
        who = "rods" if result.rods == 1 else "a set"
        way = result.rig.direction
        upper.set_ylabel(f"failure probability of\n{who} that held the {way}")
        lower.set(xlabel=f"{way} on each finished rod", ylabel="share that\nbreaks in it")
        figure.legend(loc="outside upper left", frameon=False, handlelength=2.8, borderpad=0)
    return figure


def _after(axes: Axes, result: Proof, seen: Sequence[int]) -> None:
    data = result.curve
    loads = [data.load_newton[i] for i in seen]
    after = [data.fail_after[i] for i in seen]
    low, high = _drawn(c.low for c in after), _drawn(c.high for c in after)
    axes.fill_between(loads, low, high, color=BLUE, alpha=0.22, linewidth=0)
    axes.plot(loads, _drawn(c.estimate for c in after), color=BLUE, label="over the life")
    unhurt = [data.fail_after_unhurt[i] for i in seen]
    way = result.rig.direction
    axes.plot(loads, _drawn(unhurt), color=PLUM, linestyle=":", label=f"if a {way} did no harm")
    axes.axhline(result.fail_before.estimate, color=QUIET, linestyle="-.", label=f"with no {way}")
    shown = [*low, *unhurt]
    if result.target is not None and data.as_target is not None:
        judged = [data.as_target[i] for i in seen]
        if not _like_target(result):
            what = "worst year" if result.target_period == "year" else "life"
            scope = ", one rod" if result.target_scope == "rod" else ""
            axes.plot(
                loads, _drawn(judged), color=RUST, label=f"as the target counts: {what}{scope}"
            )
        axes.axhline(result.target, color=RUST, linestyle="--", linewidth=1.1, label="target")
        shown += [*judged, result.target / 2.0]
    chance_axis(axes.yaxis, _floor(shown), min(1.0, 2.0 * result.fail_before.high))


def _like_target(result: Proof) -> bool:
    """Tell whether the target counts the set over the life, as the curve does."""
    rods_alike = result.target_scope == "set" or result.rods == 1
    return result.target_period == "life" and rods_alike


def _broken(axes: Axes, result: Proof) -> None:
    data = result.curve
    kinds: list[tuple[tuple[Chance, ...] | None, str, str, str]] = [
        (data.reject_weak, PLUM, "--", "rods with a weak joint"),
        (data.reject, INK, "-", "all rods"),
    ]
    for chances, color, dashes, name in kinds:
        if chances is not None:
            values = [c.estimate for c in chances]
            axes.plot(data.load_newton, values, color=color, linestyle=dashes)
            _name(axes, data.load_newton, values, name, color)
    axes.set_ylim(-0.02, 1.05)
    axes.set_yticks([0.0, 0.5, 1.0], ["0 %", "50 %", "100 %"])


def _name(
    axes: Axes, loads: Sequence[float], values: Sequence[float], name: str, color: str
) -> None:
    """Write a name beside a rising line, where it is half way up."""
    half = 0.5 * max(values)
    at = min(range(len(loads)), key=lambda i: abs(values[i] - half))
    label_line(axes, loads[at], values[at], name, color, **_side(axes, loads[at]))


def _side(axes: Axes, newton: float) -> dict[str, object]:
    """Return on which side of a load [N] there is room for its label."""
    low, high = axes.get_xlim()
    if newton > math.sqrt(low * high):
        return {"xytext": (-5, 0), "ha": "right"}
    return {"xytext": (5, 0), "ha": "left"}


def _windows(upper: Axes, lower: Axes, result: Proof) -> None:
    """Lay a green bar over every window that meets the target."""
    left, right = lower.get_xlim()
    for low, high in result.windows:
        start, end = max(low, left), min(high, right)
        if not start < end:
            continue
        for axes in (upper, lower):
            axes.axvspan(start, end, facecolor=GREEN, alpha=0.16, linewidth=0)
        middle = math.sqrt(start * end)
        place = "right" if middle > 0.7 * right else "center"
        at = end if place == "right" else middle
        upper.annotate(
            "meets the target", (at, 1.0), xytext=(0, 3), xycoords=("data", "axes fraction"),
            textcoords="offset points", ha=place, va="bottom", color=GREEN,
        )  # fmt: skip


def _own(upper: Axes, lower: Axes, result: Proof) -> None:
    """Mark the pulls that were asked about."""
    for count, effect in enumerate(result.pulls):
        for axes in (upper, lower):
            axes.axvline(effect.load_newton, color=QUIET, linestyle=":", linewidth=1.1)
        label_line(
            upper,
            effect.load_newton,
            0.06 + 0.09 * (count % 5),
            textwrap.shorten(name_of(effect), 26, placeholder=" ..."),
            QUIET,
            xycoords=("data", "axes fraction"),
            **_side(lower, effect.load_newton),
        )


def before_after(result: Proof) -> Figure | None:
    """Draw failure over the life with no pull and after each pull; None without any to show."""
    rows = _rows(result)
    if len(rows) < 2:
        return None
    with house_style():
        names = [textwrap.fill(name, 24) for name, _ in rows]
        lines = sum(name.count("\n") + 1 for name in names)
        figure, (axes,) = canvas(0.75 + 0.1 * len(rows) + 0.16 * lines)
        floor = _floor([c.low for _, c in rows])
        for row, (_, found) in enumerate(rows):
            color = QUIET if row == 0 else BLUE
            ends = [max(found.low, floor), max(found.high, floor)]
            axes.plot(ends, [row, row], color=color, linewidth=2.2)
            axes.plot(max(found.estimate, floor), row, "o", color=color)
        top = min(1.0, 2.0 * max(c.high for _, c in rows))
        floor = floor if top > 10.0 * floor else 0.1 * floor
        chance_axis(axes.xaxis, floor, top)
        axes.set_yticks(range(len(rows)), names)
        axes.tick_params(axis="y", length=0)
        axes.set(ylim=(len(rows) - 0.4, -0.6), xlabel="failure probability over the life")
    return figure


def _rows(result: Proof) -> list[tuple[str, Chance]]:
    """Return what is shown before against after: names and chances."""
    if not math.isfinite(result.fail_before.estimate):
        return []
    effects = [*result.pulls, *([] if result.best is None else [result.best])]
    way = result.rig.direction
    rows = [(f"no {way}", result.fail_before)]
    for effect in effects:
        if math.isfinite(effect.fail_after.estimate):
            name = name_of(effect) if effect is not result.best else f"the {way} to make"
            at = load(effect.load_newton, 3, "up" if effect is result.best else "nearest")
            rows.append((name if at in name else f"{name}, {at}", effect.fail_after))
    return rows


def _drawn(values: Iterable[float]) -> list[float]:
    """Return values that a logarithmic axis takes: what is nought falls out below the axis."""
    return [max(value, 1e-3 * LOWEST) for value in values]


def _floor(values: Sequence[float]) -> float:
    """Return a power of ten below every positive value, not under the lowest drawn."""
    smallest = min((value for value in values if value > 0.0), default=0.1)
    return min(0.1, max(LOWEST, 10.0 ** math.floor(math.log10(smallest) + 1e-9)))


def all_svg(result: Proof) -> dict[str, str]:
    """Return each picture that the result has numbers for as SVG text, by name."""
    from jointrisk.report.style import svg

    words = describe(result)
    drawn = {"curve": curve(result), "before_after": before_after(result)}
    return {
        name: svg(figure, f"figure-{name.replace('_', '-')}", *words[name])
        for name, figure in drawn.items()
        if figure is not None
    }


def describe(result: Proof) -> dict[str, tuple[str, str]]:
    """Return for each picture its title and what is seen in it, in words."""
    told = []
    for low, high in result.windows:
        told.append(f"The target is met from {load(low, 3, 'up')} to {load(high, 3, 'down')}.")
    last, way = result.curve.reject[-1].estimate, result.rig.direction
    told.append(
        f"The hardest {way} drawn, {load(result.curve.load_newton[-1], 3)}, breaks {percent(last)} "
        "of all rods. The band is the sampling interval."
    )
    rows = "; ".join(f"{name}: {chance(c.estimate)}" for name, c in _rows(result))
    return {
        "curve": (f"What a {way} brings, over its load", " ".join(told)),
        "before_after": ("Failure over the life, before and after", f"{rows}."),
    }
