"""How the figures look: one place for size, type, colours and marks."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, QUIET, FAINT = "#1b1b18", "#5a5a52", "#d9d8d0"
BLUE, RUST, GREEN, PLUM = "#0072b2", "#a84300", "#00735a", "#8a4a78"
"""The Okabe-Ito blue, vermilion, green and purple, darkened where they carry text."""
VARIABLES = {
    INK: "ink", QUIET: "quiet", FAINT: "faint", "#ffffff": "ground",
    BLUE: "blue", RUST: "rust", GREEN: "green", PLUM: "plum",
}  # fmt: skip
"""Colours of the page's style sheet that stand for these, so that they follow its scheme."""
SHORT = 30.0
"""Ends of an axis of chances nearer to each other than this have too few powers of ten [-]."""
WIDTH = 5.0
"""[inch] of 72 points: a line of a phone, half a line of a printed page."""

STYLE: dict[str, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "jointrisk",
    "text.parse_math": False,  # a dollar in a name is a dollar
    "font.family": ["sans-serif"],
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9.5,
    "axes.labelsize": 9.5,
    "axes.labelcolor": INK,
    "axes.edgecolor": QUIET,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "axes.grid": True,
    "grid.color": FAINT,
    "grid.linewidth": 0.5,
    "text.color": INK,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.minor.visible": False,
    "ytick.minor.visible": False,
    "lines.linewidth": 1.6,
    "lines.markersize": 5.0,
    "figure.facecolor": "none",
    "axes.facecolor": "none",
    "savefig.facecolor": "none",
}


def house_style() -> AbstractContextManager[Any]:
    """Return a context in which matplotlib draws in this style, and after it as before."""
    from matplotlib import rc_context

    style: Any = STYLE
    return rc_context(style)


def canvas(
    height: float, rows: int = 1, ratios: tuple[float, ...] = (1.0,)
) -> tuple[Figure, list[Axes]]:
    """Return an empty figure of the house width with `rows` axes under one another.

    Parameters
    ----------
    height : float
        [inch]
    rows : int
        Number of axes, which share the horizontal axis [-].
    ratios : tuple of float
        Relative height of each [-].

    Returns
    -------
    tuple of Figure and list of Axes
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH, height), layout="constrained")
    axes = figure.subplots(rows, 1, sharex=True, squeeze=False, height_ratios=ratios)
    return figure, [row[0] for row in axes]


def chance_axis(axis: Any, low: float, high: float) -> None:
    """Make an axis logarithmic from `low` to `high` [-] with ticks such as "1 in 1,000"."""
    from matplotlib.ticker import FixedLocator, NullFormatter, NullLocator

    from jointrisk.report.words import chance

    name, high = axis.axis_name, max(high, 1.5 * low)
    axis.axes.set(**{f"{name}scale": "log", f"{name}lim": (low, high)})
    ticks = [10.0**k for k in range(-12, 1) if low * 0.999 <= 10.0**k <= high * 1.001]
    step = 1 if len(ticks) <= 5 else 2
    ticks = ticks[::-1][::step]
    axis.set_major_locator(FixedLocator(ticks))
    axis.set_minor_locator(NullLocator())
    axis.set_minor_formatter(NullFormatter())
    axis.set_ticklabels(["certain" if tick == 1.0 else chance(tick) for tick in ticks])


def short_ticks(axes: Axes, low: float, high: float) -> None:
    """Give a horizontal axis of chances of less than 1.5 decades ticks between powers of ten."""
    from matplotlib.ticker import FixedLocator

    from jointrisk.report.words import chance

    if high / low >= SHORT:
        return
    ticks = [low * (high / low) ** share for share in (0.1, 0.5, 0.9)]
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.set_xticklabels([chance(tick) for tick in ticks])


def load_axis(axes: Axes, low: float, high: float) -> None:
    """Give the horizontal axis a load from `low` to `high` [N], logarithmic, in N or kN."""
    from matplotlib.ticker import FixedLocator, NullFormatter, NullLocator

    from jointrisk.report.words import load

    low = low if low > 0.0 else 1e-3 * max(high, 1.0)
    high = high if high > low else 2.0 * low
    axes.set(xscale="log", xlim=(low, high))
    decades = math.log10(high / low)
    steps = (1, 2, 5) if decades < 1.6 else (1, 3) if decades < 2.5 else (1,)
    ticks = [m * 10.0**k for k in range(-3, 9) for m in steps if low <= m * 10.0**k <= high]
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.set_xticklabels([load(tick) for tick in ticks])


def label_line(axes: Axes, x: float, y: float, text: str, color: str, **options: Any) -> None:
    """Write a line's name beside it, on a pale ground so that it can be read on the grid.

    Nothing is written where the place lies outside the axes.
    """
    axes.annotate(
        text,
        (x, y),
        textcoords="offset points",
        color=color,
        annotation_clip=True,
        bbox={"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none"},
        **{"xytext": (5, 0), "ha": "left", "va": "center"} | options,
    )


def svg(figure: Figure, name: str, title: str, description: str) -> str:
    """Return a figure as SVG text to stand inside a page.

    The text is text, nothing in it is dated, no id meets one of another figure, and
    title and description stand in it for those who listen.

    Parameters
    ----------
    figure : Figure
        A matplotlib figure.
    name : str
        A word that no other figure on the page has.
    title, description : str
        The text alternative.
    """
    import io
    import re
    from html import escape

    buffer = io.StringIO()
    nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
    with house_style():
        figure.savefig(buffer, format="svg", metadata=nothing)
    text = _tidy(buffer.getvalue(), name)
    size = re.search(r'viewBox="([^"]+)"', text)
    assert size is not None  # noqa: S101 - matplotlib always writes one
    head = (
        f'<svg viewBox="{size[1]}" role="img" aria-labelledby="{name}-title {name}-desc">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-desc">{escape(description)}</desc>'
    )
    return head + text[text.index(">") + 1 :].replace("xlink:href", "href").strip() + "\n"


def _tidy(text: str, name: str) -> str:
    """Strip what a page must not hold: prologue, style sheet, comments, metadata, foreign ids."""
    import re

    text = text[text.index("<svg") :]
    text = re.sub(r"<style[^>]*>.*?</style>\s*", "", text, flags=re.DOTALL)
    text = re.sub(r"<!--.*?-->\s*", "", text, flags=re.DOTALL)
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    wanted = set(re.findall(r'(?:url\(#|href="#)([^")]+)', text))
    text = re.sub(
        r' id="([^"]+)"',
        lambda found: f' id="{name}-{found[1]}"' if found[1] in wanted else "",
        text,
    )
    text = re.sub(r'(url\(#|href="#)', rf"\g<1>{name}-", text)
    for color, variable in VARIABLES.items():
        text = text.replace(color, f"var(--{variable}, {color})")
    return text
