"""The pictures of what matters: plain effects as dots with intervals, and the bands left.

No meaning hangs on a colour alone: each change has its own mark.
"""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

from jointrisk.report import rank_sentences as say
from jointrisk.report.style import (
    BLUE,
    GREEN,
    INK,
    QUIET,
    RUST,
    canvas,
    chance_axis,
    house_style,
    short_ticks,
    svg,
)
from jointrisk.report.words import chance, factor

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from jointrisk.study.rank_results import Effect, Kind, Ranking, Variable

MOST_ROWS = 10
"""Variables in a picture; the table holds all [-]."""
NAME = 26
"""Characters of a name in a line [-]."""
MARKS = (("halved", "o", BLUE, -0.24), ("higher", "^", RUST, 0.0), ("lower", "v", GREEN, 0.24))
"""End of the measure, mark, colour and place in its row."""
WORDS = {"halved": "spread halved", "higher": "mean a step higher", "lower": "mean a step lower"}
LEAST, MOST = 1e-3, 1e3
"""Ends of the axis of factors at most [-]."""
TICKS = (1e-3, 0.01, 0.03, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9, 1.0, 1.1, 1.5, 2, 3, 5, 10, 30, 100, 1e3)
APART = 0.09
"""Least distance of two ticks as a share of the axis [-]."""
LOWEST = 1e-7
"""Floor of the axis of chances [-]."""


def effects(result: Ranking, kind: Kind) -> Figure | None:
    """Draw what each change multiplies the failure probability by; None where nothing matters."""
    entries = [entry for entry in result.of_kind(kind) if say.matters(entry)][:MOST_ROWS]
    if not entries:
        return None
    with house_style():
        names = [textwrap.fill(entry.name, NAME) for entry in entries]
        figure, (axes,) = canvas(1.2 + sum(0.3 + 0.1 * name.count("\n") for name in names))
        low, high = _ends(entries)
        for row, entry in enumerate(entries):
            for kind_of, sign, color, shift in MARKS:
                effect = say.of_measure(entry, kind_of)
                if effect is not None:
                    _dot(axes, effect, row + shift, sign, color, (low, high))
        for kind_of, sign, color, _ in MARKS:
            axes.plot([], [], sign, color=color, label=WORDS[kind_of])
        axes.axvline(1.0, color=QUIET, linewidth=0.8)
        axes.set_xscale("log")
        axes.set(xlim=(low, high), ylim=(len(entries) - 0.45, -0.55))
        _factor_ticks(axes, low, high)
        axes.set_yticks(range(len(entries)), names)
        axes.tick_params(axis="y", length=0)
        axes.grid(visible=False, axis="y")
        axes.set_xlabel("failure probability multiplied by")
        figure.legend(loc="outside upper left", frameon=False, handletextpad=0.2, borderpad=0)
    return figure


def _ends(entries: Sequence[Variable]) -> tuple[float, float]:
    seen = [end for entry in entries for e in entry.effects for end in (e.low, e.high)]
    low, high = max(min(seen), LEAST), min(max(seen), MOST)
    room = max(high / low, 1.2) ** 0.04
    return min(low, 0.95) / room, max(high, 1.05) * room


def _dot(
    axes: Axes, effect: Effect, row: float, sign: str, color: str, ends: tuple[float, float]
) -> None:
    low, high = ends
    left, middle, right = (
        min(max(value, low), high) for value in (effect.low, effect.value, effect.high)
    )
    axes.plot([left, right], [row, row], color=color, linewidth=2.0, solid_capstyle="butt")
    axes.plot(middle, row, sign, color=color)


def _factor_ticks(axes: Axes, low: float, high: float) -> None:
    """Set ticks that have room, 1 among them."""
    from matplotlib.ticker import FixedLocator, NullFormatter, NullLocator

    reach = math.log(high / low)
    kept = [1.0]
    for tick in sorted(TICKS, key=lambda each: abs(math.log(each)), reverse=True):
        room = all(abs(math.log(tick / other)) > APART * reach for other in kept)
        if low < tick < high and room:
            kept.append(tick)
    kept.sort()
    axes.xaxis.set_major_locator(FixedLocator(kept))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.set_xticklabels([f"x {tick:g}" for tick in kept])


def unknowns(result: Ranking) -> Figure | None:
    """Draw the band as it is, what is left of it with each unknown settled, and its ends."""
    known = result.not_known
    if known is None:
        return None
    entries = known.unknowns[:MOST_ROWS]
    names = ["now", *(textwrap.fill(entry.name, NAME) for entry in entries)]
    with house_style():
        figure, (axes,) = canvas(1.3 + sum(0.24 + 0.11 * name.count("\n") for name in names))
        seen = [known.p05, known.p95]
        axes.plot(seen, [0, 0], color=INK, alpha=0.55, linewidth=7, solid_capstyle="butt")
        for row, entry in enumerate(entries, start=1):
            left = [max(end, LOWEST) for end in (entry.left_p05, entry.left_p95)]
            axes.plot(left, [row, row], color=BLUE, alpha=0.3, linewidth=7, solid_capstyle="butt")
            for found, sign, color in ((entry.at_low, "v", GREEN), (entry.at_high, "^", RUST)):
                axes.plot(max(found.estimate, LOWEST), row, sign, color=color)
            seen += [*left, entry.at_low.estimate, entry.at_high.estimate]
        axes.plot([], [], color=INK, alpha=0.55, linewidth=7, label="the band as it is")
        axes.plot([], [], color=BLUE, alpha=0.3, linewidth=7, label="left when this is settled")
        axes.plot([], [], "v", color=GREEN, label="chance if it is at its 5 % value")
        axes.plot([], [], "^", color=RUST, label="chance if it is at its 95 % value")
        axes.axvline(result.failure_probability.estimate, color=QUIET, linewidth=0.8)
        low, high = max(min(seen), LOWEST) / 1.3, min(1.0, 1.3 * max(seen))
        chance_axis(axes.xaxis, low, high)
        short_ticks(axes, low, high)
        axes.set(ylim=(len(names) - 0.4, -0.6), xlabel="failure probability")
        axes.set_yticks(range(len(names)), names)
        axes.tick_params(axis="y", length=0)
        axes.grid(visible=False, axis="y")
        figure.legend(loc="outside upper left", frameon=False, borderpad=0)
    return figure


def describe(result: Ranking) -> dict[str, tuple[str, str]]:
    """Return for each picture its title and what is seen in it, in words."""
    words = {name: (title, _effects_in_words(result, kind)) for name, title, kind in _KINDS}
    known = result.not_known
    if known is not None:
        words["unknowns"] = (
            "What settling an unknown would leave",
            f"Now the band is {chance(known.p05)} to {chance(known.p95)}. Left would be: "
            + "; ".join(f"{e.name}: {say.band_left(e)}" for e in known.unknowns[:MOST_ROWS])
            + ".",
        )
    return words


_KINDS: tuple[tuple[str, str, Kind], ...] = (
    ("scatter", "What scatters: what each change does", "scatter"),
    ("not_known", "What is not known: what each step does", "not known"),
)


def _effects_in_words(result: Ranking, kind: Kind) -> str:
    entries = [entry for entry in result.of_kind(kind) if say.matters(entry)][:MOST_ROWS]
    told = [
        f"{entry.name}, {effect.measure}: times {factor(effect.value)}, from "
        f"{factor(effect.low)} to {factor(effect.high)}"
        for entry in entries
        for effect in entry.effects
    ]
    return "What each change multiplies the failure probability by: " + "; ".join(told) + "."


def all_svg(result: Ranking) -> dict[str, str]:
    """Return each picture that the result has numbers for as SVG text, by name."""
    drawn = {name: effects(result, kind) for name, _, kind in _KINDS}
    drawn["unknowns"] = unknowns(result)
    words = describe(result)
    return {
        name: svg(figure, f"figure-{name}", *words[name])
        for name, figure in drawn.items()
        if figure is not None
    }
