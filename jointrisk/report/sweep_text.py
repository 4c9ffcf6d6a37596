"""A sweep for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report import sweep_sentences as say
from jointrisk.report.cautions import CAUTIONS
from jointrisk.report.plain import bold, table, wrap
from jointrisk.report.sentences import mark
from jointrisk.report.text import flat

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from typing import Any

    from jointrisk.study.sweep_results import Sweep

LABEL = 10
"""Characters of the column of words before the first lines [-]."""
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
        *endings(result.warnings, color, width),
    ]
    if verbose:
        blocks[-1:-1] = facts(result.assumptions, result.run, result.host, color, width)
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


def headline(lines: Sequence[tuple[str, str]], color: bool, width: int) -> str:
    """Return labelled paragraphs."""
    done = []
    for label, sentence in lines:
        line = wrap(mark(sentence), width, label.ljust(LABEL), " " * LABEL)
        done.append(bold(label, color) + line[len(label) :])
    return "\n".join(done)


def listed(head: str, lines: Sequence[str], color: bool, width: int) -> str:
    """Return a heading and lines under it, "" without lines."""
    if not lines:
        return ""
    return "\n".join([bold(head, color), *(wrap(mark(x), width, "  ", "    ") for x in lines)])


def endings(warnings: Sequence[Any], color: bool, width: int) -> list[str]:
    """Return what stands at the end of every answer."""
    first, *others = CAUTIONS
    cautions = [f"{first.head} {first.text}", *(caution.head for caution in others)]
    return [
        listed("Warnings", [f"{w.code}: {w.text}" for w in warnings], color, width),
        listed("Before you pull or trust a rod", cautions, color, width),
    ]


def facts(
    assumptions: Sequence[Any],
    run: Mapping[str, Any],
    host: Mapping[str, Any],
    color: bool,
    width: int,
) -> list[str]:
    """Return every assumption and the facts of the run."""
    blocks = []
    for origin, title in (("scenario", "Your values"), ("default", "Defaults")):
        own = [entry for entry in assumptions if entry.origin == origin]
        lines = [f"{e.key}: {e.value} ({e.source}; {e.confidence})" for e in own]
        blocks.append(listed(title, lines, color, width))
    told = {**run, **host}.items()
    run_lines = [f"{key}: {flat(value)}" for key, value in told if value is not None]
    return [*blocks, listed("Run", run_lines, color, width)]
