"""Broken coupons or rods on probability paper, with the shapes that may lie behind them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from jointrisk.report.style import BLUE, GREEN, INK, RUST

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from jointrisk.study.fit_results import CouponFit

COLORS = {"lognormal": BLUE, "normal": RUST, "weibull": GREEN}
TICKS = (0.0001, 0.001, 0.01, 0.1, 0.5, 0.9, 0.99, 0.999)
LOWEST, HIGHEST = 2e-4, 0.995
"""Ends of the axis of chances [-]."""


def paper(result: CouponFit) -> Figure | None:
    """Draw the values by their ranks, and each family: the fit, what is expected, what is open.

    The vertical axis is that of normal scores, the horizontal one logarithmic, so that a
    lognormal is a straight line. None without a fit.
    """
    if not result.curves:
        return None
    from jointrisk.report.style import canvas, house_style

    with house_style():
        figure, (axes,) = canvas(3.9)
        for curve in result.curves:
            color = COLORS[curve.family]
            if curve.family == "lognormal":
                low, high = ([_score(p) for p in side] for side in (curve.low, curve.high))
                axes.fill_between(curve.value, low, high, color=color, alpha=0.13, linewidth=0)
            axes.plot(curve.value, [_score(p) for p in curve.plain], color=color, linewidth=1.0,
                      linestyle="--")  # fmt: skip
            axes.plot(curve.value, [_score(p) for p in curve.predicted], color=color,
                      label=curve.family)  # fmt: skip
        _points(result, axes)
        _axes(result, axes)
        axes.legend(loc="upper left", frameon=False, fontsize=9.0)
    return figure


def _points(result: CouponFit, axes: Axes) -> None:
    broke = [(c.value, _score(c.rank)) for c in result.coupons if c.rank is not None]
    axes.plot(*zip(*broke, strict=True), "o", color=INK, markersize=4.5, zorder=5)
    held = [c.value for c in result.coupons if c.held]
    if held:
        axes.plot(held, [_score(0.98)] * len(held), ">", color=INK, markersize=5.0,
                  fillstyle="none", label="held", linestyle="none")  # fmt: skip


def _axes(result: CouponFit, axes: Axes) -> None:
    from matplotlib.ticker import FixedLocator, NullFormatter, NullLocator

    from jointrisk.report.fit_sentences import value
    from jointrisk.report.words import chance

    first, last = result.curves[0].value[0], result.curves[0].value[-1]
    axes.set(xscale="log", xlim=(first, last), ylim=(_score(LOWEST), _score(HIGHEST)))
    shown = [p for p in TICKS if LOWEST <= p <= HIGHEST]
    names = [chance(p) if p < 0.5 else "half" if p == 0.5 else f"{p * 100:g} in 100" for p in shown]
    axes.set_yticks([_score(p) for p in shown], names)
    fine = (1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.5, 3, 3.5, 4, 4.5, 5, 6, 7, 8, 9)
    some = (1, 1.5, 2, 3, 4, 5, 6, 8)
    steps = fine if last < 2.5 * first else some if last < 6.0 * first else (1, 2, 5)
    ticks = [m * 10.0**k for k in range(-4, 10) for m in steps if first <= m * 10.0**k <= last]
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.set_xticklabels([value(result, tick).removesuffix(" MPa") for tick in ticks])
    what = "strength [MPa]" if result.unit == "MPa" else "load"
    axes.set(xlabel=what, ylabel="share that breaks below")


def _score(chance: float | None) -> float:
    """Return the normal score of a chance, held within what the paper shows."""
    from statistics import NormalDist

    if chance is None or math.isnan(chance):
        return math.nan
    return NormalDist().inv_cdf(min(max(chance, 1e-9), 1.0 - 1e-9))
