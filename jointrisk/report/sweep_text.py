"""A sweep for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report import sweep_sentences as say
from jointrisk.report.blocks import assumed, cautioned, headline, listed, ran, warned
from jointrisk.report.plain import bold, table

if TYPE_CHECKING:
    from jointrisk.study.sweep_results import Sweep

MAP_ROWS = 15
"""Lines of a map shown [-]."""
ROWS = 13
"""Values shown without `verbose`, about [-]."""
COLUMNS = ("value", "fails", "x now", "1% below", "target", "first of all")


def text(result: Sweep, *, color: bool = False, width: int = 80, verbose: int = 0) -> str:
    """Return the answer as plain text with a line end.

    Parameters
    ----------
    result : Sweep
        What `jointrisk.sweep` returned.
    color : bool
        True: headings in bold, for a terminal.
    width : int
        Characters in a line; 0: paragraphs are not broken [-].
    verbose : int
        1 adds every assumption and the run's own facts [-].
    """
    blocks = [
        headline(say.headline(result), color, width),
        f"{bold('Value by value', color)}\n{_values(result, width, verbose)}",
        listed(_map_head(result), say.map_lines(result)[:MAP_ROWS], color, width),
        warned(result.warnings, color, width),
    ]
    if verbose:
        blocks += assumed(result.assumptions, color, width)
        blocks.append(ran(result.run, result.host, color, width))
    blocks.append(cautioned(color, width))
    return "\n\n".join(block for block in blocks if block) + "\n"


def _values(result: Sweep, width: int, verbose: int) -> str:
    """Return the curve as a narrow table, thinned out unless all is asked for."""
    step = 1 if verbose else max(1, -(-len(result.points) // ROWS))
    points = result.points[::step]
    if points[-1] is not result.points[-1]:
        points = (*points, result.points[-1])
    columns = COLUMNS if result.target is not None else (*COLUMNS[:4], *COLUMNS[5:])
    rows = []
    for point in points:
        value, fails, _, ratio, _, met, strength, _, lead = say.row(result, point)
        target = (met,) if result.target is not None else ()
        rows.append((value, fails, ratio, strength, *target, lead))
    return table(columns, rows, width, "rrrr")


def _map_head(result: Sweep) -> str:
    if result.map is None:
        return ""
    return f"Over {result.map.second.label} as well, coarser: from {result.map.draws:,} draws"
