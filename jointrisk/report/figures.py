"""The pictures of a report, each a matplotlib figure made from one result.

A picture shows only numbers that the result holds. No meaning hangs on a colour alone:
lines are named beside them, kinds of points have their own marks.
"""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

from jointrisk.report.sentences import band_end
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
from jointrisk.report.words import chance, chance_range, factor, load, percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from jointrisk.study.results import Assessment, Curve, FailureProbability

LOWEST = 1e-7
"""Floor of the probability axes [-]."""
WIDEST_RANGE = 200.0
"""Ratio of the ends of the axis of the load in the picture of the strength [-]."""
LEAST_SHARE = 0.001
"""Modes with a smaller share of the failures stand in the table only [-]."""
MOST_ROWS = 10
"""Variables shown in the picture of the ranking; the table holds all [-]."""


def strength(assessment: Assessment) -> Figure:
    """Draw the chance that a rod is weaker than a load, and that the load comes."""
    data = assessment.figures
    with house_style():
        figure, (axes,) = canvas(3.6)
        lines = [
            (data.strength_new, BLUE, "-", "a new rod is weaker"),
            (data.strength_service, RUST, "--", "a rod in service is weaker"),
        ]
        if data.load_exceeded is not None:
            lines.append((data.load_exceeded, GREEN, "-.", "the load comes"))
        floor = _floor([line[0].value for line in lines], LOWEST)
        load_axis(axes, *_load_range([line[0] for line in lines], floor))
        chance_axis(axes.yaxis, floor, 1.0)
        for curve, color, dashes, name in lines:
            axes.plot(curve.load, _drawn(curve.value), color=color, linestyle=dashes, label=name)
        axes.set(xlabel="load on one rod", ylabel="chance")
        figure.legend(loc="outside upper left", frameon=False, handlelength=2.8, borderpad=0)
    return figure


def _log(value: float) -> float:
    return math.log10(max(value, 1e-300))


def _drawn(values: Sequence[float]) -> list[float]:
    """Return values that a logarithmic axis takes: what is nought falls out below the axis."""
    return [max(value, 1e-3 * LOWEST) for value in values]


def _floor(groups: Sequence[Sequence[float]], lowest: float) -> float:
    """Return a power of ten below every positive value, not under `lowest`, not over 0.1."""
    positive = [value for group in groups for value in group if value > 0.0]
    smallest = min(positive, default=0.1)
    return min(0.1, max(lowest, 10.0 ** math.floor(math.log10(smallest) + 1e-9)))


def _load_range(curves: Sequence[Curve], floor: float) -> tuple[float, float]:
    """Return the loads [N] between which anything can be seen, with the curve's own ends."""
    seen = [
        newton
        for curve in curves
        for newton, value in zip(curve.load, curve.value, strict=True)
        if floor <= value <= 1.0 - 1e-6
    ]
    loads = seen or [newton for curve in curves for newton in curve.load]
    return max(min(loads), max(loads) / WIDEST_RANGE), max(loads)


def ranking(assessment: Assessment) -> Figure:
    """Draw what each change multiplies the failure probability by, with its interval."""
    from matplotlib.ticker import FixedLocator, NullFormatter, NullLocator

    entries = assessment.ranking[:MOST_ROWS]
    marks = dict(zip(dict.fromkeys(e.measure for e in entries), "osD^v", strict=False))
    tints = dict(zip(marks, (BLUE, RUST, GREEN, PLUM, INK), strict=False))
    with house_style():
        names = [textwrap.fill(entry.name, 24) for entry in entries]
        figure, (axes,) = canvas(0.75 + _height(names) + 0.2 * len(marks))
        low = min([0.5, *(max(e.low, 1e-3) for e in entries)]) * 0.9
        high = max([2.0, *(min(e.high, 1e3) for e in entries)]) * 1.1
        for row, entry in enumerate(entries):
            ends = [max(entry.low, low), min(entry.high, high)]
            axes.plot(ends, [row, row], color=tints[entry.measure], linewidth=2.2)
            place = min(max(entry.value, low), high)
            axes.plot(place, row, marks[entry.measure], color=tints[entry.measure])
        for measure, sign in marks.items():
            axes.plot([], [], sign, color=tints[measure], label=measure)
        axes.axvline(1.0, color=QUIET, linewidth=0.8)
        axes.set(xscale="log", xlim=(low, high), ylim=(len(entries) - 0.4, -0.6))
        ticks = [t for t in (1e-3, 0.01, 0.1, 0.2, 0.5, 1, 2, 5, 10, 100, 1e3) if low < t < high]
        axes.xaxis.set_major_locator(FixedLocator(ticks))
        axes.xaxis.set_minor_locator(NullLocator())
        axes.xaxis.set_minor_formatter(NullFormatter())
        axes.set_xticklabels([f"x {tick:g}" for tick in ticks])
        axes.set_yticks(range(len(entries)), names)
        axes.tick_params(axis="y", length=0)
        axes.set_xlabel("failure probability multiplied by")
        figure.legend(loc="outside upper left", frameon=False, handletextpad=0.2, borderpad=0)
    return figure


def _height(names: Sequence[str]) -> float:
    """Return the height [inch] that rows with these names ask for."""
    return len(names) * (0.08 + 0.15 * max(name.count("\n") + 1 for name in names))


def proof(assessment: Assessment) -> Figure | None:
    """Draw failure probability after a pull, and rods broken in it, over the pull.

    None where no load is given and so no failure probability.
    """
    data = assessment.figures
    curve = data.fail_after_pull
    if curve is None:
        return None
    with house_style():
        figure, (upper, lower) = canvas(4.6, rows=2, ratios=(1.6, 1.0))
        low, high = _drawn(curve.low), _drawn(curve.high)
        upper.fill_between(curve.load, low, high, color=BLUE, alpha=0.22, linewidth=0)
        upper.plot(curve.load, _drawn(curve.value), color=BLUE)
        top = max(max(curve.high) * 2.0, 1e-6)
        goal = assessment.target
        shown = [curve.low] if goal is None else [curve.low, (goal.probability,)]
        chance_axis(upper.yaxis, _floor(shown, LOWEST), min(1.0, top))
        load_axis(upper, *_pull_range(assessment))
        if goal is not None:
            upper.axhline(goal.probability, color=RUST, linestyle="--", linewidth=1.1)
            label_line(
                upper,
                upper.get_xlim()[1],
                goal.probability,
                "target",
                RUST,
                xytext=(0, 7),
                ha="right",
            )
        _broken(lower, assessment)
        _window_and_pulls(upper, lower, assessment)
        way = assessment.proof.direction
        upper.set_ylabel(f"failure probability of\na set that held the {way}")
        lower.set(xlabel=f"{way} on each finished rod", ylabel="share that\nbreaks in it")
    return figure


def _pull_range(assessment: Assessment) -> tuple[float, float]:
    """Return the pulls [N] from the first that breaks weak rods to the one that breaks all."""
    data, answer = assessment.figures, assessment.proof
    first = data.reject if data.reject_weak is None else data.reject_weak
    named = [entry.load_newton for entry in answer.pulls]
    biting = [x for x, y in zip(first.load, first.value, strict=True) if y >= 0.005]
    sparing = [x for x, y in zip(data.reject.load, data.reject.value, strict=True) if y <= 0.99]
    low = min([0.7 * x for x in named] + biting[:1] + sparing[-1:], default=first.load[0])
    high = max([1.2 * x for x in named] + sparing[-1:], default=first.load[-1])
    return low, high


def _broken(axes: Axes, assessment: Assessment) -> None:
    """Draw the share of all rods, and of those with a weak joint, that break in the pull."""
    data = assessment.figures
    axes.plot(data.reject.load, data.reject.value, color=INK)
    _name_rising(axes, data.reject, "all rods", INK)
    if data.reject_weak is not None:
        axes.plot(data.reject_weak.load, data.reject_weak.value, color=PLUM, linestyle="--")
        _name_rising(axes, data.reject_weak, "rods with a weak joint", PLUM)
    axes.set_ylim(-0.02, 1.05)
    axes.set_yticks([0.0, 0.5, 1.0], ["0 %", "50 %", "100 %"])


def _name_rising(axes: Axes, curve: Curve, name: str, color: str) -> None:
    nearest = min(range(len(curve.load)), key=lambda i: abs(curve.value[i] - 0.55))
    label_line(
        axes,
        curve.load[nearest],
        curve.value[nearest],
        name,
        color,
        **_side(axes, curve.load[nearest]),
    )


def _side(axes: Axes, newton: float) -> dict[str, object]:
    """Return on which side of a load [N] there is room for its label."""
    low, high = axes.get_xlim()
    if _log(newton / low) > 0.5 * _log(high / low):
        return {"xytext": (-5, 0), "ha": "right"}
    return {"xytext": (5, 0), "ha": "left"}


def _window_and_pulls(upper: Axes, lower: Axes, assessment: Assessment) -> None:
    answer = assessment.proof
    if answer.window is not None:
        for axes in (upper, lower):
            axes.axvspan(*answer.window, facecolor=GREEN, alpha=0.13, linewidth=0)
        left, right = upper.get_xlim()
        start, end = max(answer.window[0], left), min(answer.window[1], right)
        if start < end:
            upper.annotate(
                "meets the target", ((start * end) ** 0.5, 1.0), xytext=(0, 3),
                xycoords=("data", "axes fraction"), textcoords="offset points",
                ha="center", va="bottom", color=GREEN,
            )  # fmt: skip
    for count, entry in enumerate(answer.pulls):
        for axes in (upper, lower):
            axes.axvline(entry.load_newton, color=QUIET, linestyle=":", linewidth=1.1)
        label_line(
            upper,
            entry.load_newton,
            0.06 + 0.09 * (count % 5),
            textwrap.shorten(entry.label, 26, placeholder=" ..."),
            QUIET,
            xycoords=("data", "axes fraction"),
            **_side(upper, entry.load_newton),
        )


def modes(assessment: Assessment) -> Figure:
    """Draw the share of the failures that each mode has."""
    ordered = sorted(assessment.modes, key=lambda mode: mode.share, reverse=True)
    shown = [mode for mode in ordered if mode.share >= LEAST_SHARE][:MOST_ROWS] or ordered[:1]
    with house_style():
        names = [textwrap.fill(mode.name, 24) for mode in shown]
        figure, (axes,) = canvas(0.55 + _height(names))
        shares = [mode.share for mode in shown]
        axes.barh(range(len(shown)), shares, height=0.5, color=BLUE)
        for row, share in enumerate(shares):
            label_line(axes, share, row, percent(share), INK)
        axes.set_yticks(range(len(shown)), names)
        axes.tick_params(axis="y", length=0)
        axes.set_xticks([0.0, 0.5, 1.0], ["0 %", "50 %", "100 %"])
        axes.set(xlim=(0.0, 1.15), ylim=(len(shown) - 0.4, -0.6), xlabel="share of the failures")
        axes.grid(visible=False, axis="y")
    return figure


def band(assessment: Assessment) -> Figure | None:
    """Draw the failure probability at equally likely states of what is not known.

    None where no load is given.
    """
    result, values = assessment.failure_probability, sorted(assessment.figures.band)
    if result is None or not values:
        return None
    floor = _floor([values, (result.band_p05,)], LOWEST)
    with house_style():
        figure, (axes,) = canvas(2.5)
        ranks = [(rank + 0.5) / len(values) for rank in range(len(values))]
        axes.plot([max(v, floor) for v in values], ranks, "o", color=BLUE, markersize=2.8)
        axes.plot([result.band_p05, result.band_p95], [-0.1, -0.1], color=BLUE, linewidth=3.0)
        axes.plot(result.estimate, -0.1, "D", color=INK, markersize=5.5)
        label_line(axes, result.estimate, -0.1, "average", INK, xytext=(0, 11), ha="center")
        top = min(1.0, 2.0 * max(values[-1], result.estimate))
        chance_axis(axes.xaxis, floor * 0.8, top)
        goal = assessment.target
        if goal is not None:
            axes.axvline(goal.probability, color=RUST, linestyle="--", linewidth=1.1)
            label_line(axes, goal.probability, 0.96, "target", RUST)
        axes.set(ylim=(-0.22, 1.04), xlabel="failure probability")
        axes.set_yticks([0.0, 0.5, 1.0], ["0 %", "50 %", "100 %"])
        axes.set_ylabel("chance that it is\nno higher")
    return figure


def describe(assessment: Assessment) -> dict[str, tuple[str, str]]:
    """Return for each picture its title and what is seen in it, in words."""
    new, service = assessment.strength_new, assessment.strength_aged
    words = {
        "strength": (
            "Strength of a rod against the load",
            f"Chance over load. Half of the new rods are weaker than {load(new.median)}, half of "
            f"those in service than {load(service.median)}. The nearer the curve of the load "
            "comes to the others, the likelier a failure.",
        ),
        "modes": (
            "What lets go",
            "Shares of the failures: "
            + ", ".join(f"{m.name} {percent(m.share)}" for m in assessment.modes)
            + ".",
        ),
        "ranking": (
            "What the failure probability hangs on",
            "What each change multiplies it by: "
            + "; ".join(
                f"{e.name}, {e.measure}: times {factor(e.value)}, from {factor(e.low)} to "
                f"{factor(e.high)}"
                for e in assessment.ranking[:MOST_ROWS]
            )
            + ".",
        ),
        "proof": (
            f"What a {assessment.proof.direction} brings, over its load",
            _pull_in_words(assessment),
        ),
    }
    result = assessment.failure_probability
    if result is not None:
        words["band"] = (
            "Failure probability over what is not known",
            "Nine in ten of the equally likely states lie between "
            f"{band_end(result, 'p05')} and {band_end(result, 'p95')}; half lie below "
            f"{band_end(result, 'p50')}.{_ends_in_words(result)}",
        )
    return words


def _ends_in_words(result: FailureProbability) -> str:
    """Say between what the ends of the band lie themselves; "" where they have no intervals."""
    low, high = result.band_p05_interval, result.band_p95_interval
    if low is None or high is None:
        return ""
    return (
        f" By sampling error the lower of these lies anywhere from {chance_range(*low)}, the "
        f"upper from {chance_range(*high)}."
    )


def _pull_in_words(assessment: Assessment) -> str:
    """Say what the picture of the pulls shows: its two ends, the window and the reason."""
    reason = assessment.proof.reason.strip().rstrip(".")
    said = [reason[:1].upper() + reason[1:] + "."] if reason else []
    curve = assessment.figures.fail_after_pull
    if curve is not None:
        said.append(
            f"Of sets that held {load(curve.load[0])}, {chance(curve.value[0])} fails; of sets "
            f"that held {load(curve.load[-1])}, {chance(curve.value[-1])}."
        )
    if assessment.proof.window is not None:
        low, high = assessment.proof.window
        said.append(f"The target is met from {load(low, 3, 'up')} to {load(high, 3, 'down')}.")
    return " ".join(said)


def all_svg(assessment: Assessment) -> dict[str, str]:
    """Return each picture that the result has numbers for as SVG text, by name."""
    from jointrisk.report.style import svg

    drawn = {
        "strength": strength(assessment),
        "band": band(assessment),
        "proof": proof(assessment),
        "ranking": ranking(assessment) if assessment.ranking else None,
        "modes": modes(assessment) if assessment.modes else None,
    }
    words = describe(assessment)
    return {
        name: svg(figure, f"figure-{name}", *words[name])
        for name, figure in drawn.items()
        if figure is not None
    }
