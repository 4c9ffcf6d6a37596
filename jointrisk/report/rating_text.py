"""A rating for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report import rating_sentences as say
from jointrisk.report.blocks import assumed, cautioned, headline, ran, warned
from jointrisk.report.plain import bold, table

if TYPE_CHECKING:
    from jointrisk.study.rating_results import Rating

COLUMNS = ("loads may be", "sampling", "now fails", "target", "rods")
LOAD_COLUMNS = ("as written", "as built", "pulled", "load")


def text(result: Rating, *, color: bool = False, width: int = 80, verbose: int = 0) -> str:
    """Return the answer as plain text with a line end.

    Parameters
    ----------
    result : Rating
        What `jointrisk.rating` returned.
    color : bool
        True: headings in bold, for a terminal.
    width : int
        Characters in a line; 0: paragraphs are not broken [-].
    verbose : int
        1 adds every assumption and the run's own facts [-].
    """
    rows = [_rods_last(say.row(entry)) for entry in result.entries]
    blocks = [headline(say.headline(result), color, width)]
    blocks.append(f"{bold('Side by side', color)}\n{table(COLUMNS, rows, width, 'rrrr')}")
    loads = [(*line[2:], f"{line[0]}: {line[1]}") for line in say.load_rows(result)]
    if loads:
        shown = table(LOAD_COLUMNS, loads, width, "rrr")
        blocks.append(f"{bold('The loads at these ratings', color)}\n{shown}")
    if verbose:
        blocks += assumed(result.assumptions, color, width)
        blocks.append(ran(result.run, result.host, color, width))
    blocks += [warned(result.warnings, color, width), cautioned(color, width)]
    return "\n\n".join(block for block in blocks if block) + "\n"


def _rods_last(row: tuple[str, ...]) -> tuple[str, ...]:
    """Return a row with its first cell, the longest, at the end."""
    return (*row[1:], row[0])
