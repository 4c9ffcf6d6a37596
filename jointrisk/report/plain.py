"""Plain text for a terminal: wrapped paragraphs and tables, no box drawing."""

from __future__ import annotations

import re
import textwrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

BOLD, PLAIN = "\x1b[1m", "\x1b[0m"
NARROWEST_LAST_COLUMN = 16
_TOGETHER = re.compile(
    r"(?<=\d) (?=(?:N|kN|%|kgf|lbf|mm|MPa|million)\b|%)|(?<=\b1) (?=in \d)|(?<=\b1 in) (?=\d)"
)
_GLUE = "\x00"


def wrap(text: str, width: int, first: str = "", later: str = "") -> str:
    """Wrap a paragraph at `width` characters, 0 for never, with a hanging indent.

    A number stays with its unit. Words longer than the line (paths, checksums) stay whole.
    """
    if width <= 0:
        return first + text
    filled = textwrap.fill(
        _TOGETHER.sub(_GLUE, text),
        width=max(width, len(later) + NARROWEST_LAST_COLUMN),
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return filled.replace(_GLUE, " ")


def table(header: Sequence[str], rows: Sequence[Sequence[str]], width: int, right: str = "") -> str:
    """Set rows in columns parted by two spaces; the last column wraps.

    Parameters
    ----------
    header : sequence of str
        One word or two for each column.
    rows : sequence of sequence of str
        Cells, as many in each row as in `header`.
    width : int
        Characters in a line; 0 for no limit [-].
    right : str
        One letter a column, "r" for one set to the right; columns beyond it are set left.
    """
    lines = [list(header), *(list(row) for row in rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(header) - 1)]
    indent = " " * (sum(widths) + 2 * len(widths))
    longest = max(len(word) for line in lines for word in line[-1].split() or [""])
    if width and len(indent) + max(longest, NARROWEST_LAST_COLUMN) > width:
        return records(header, rows, width)
    set_lines = []
    for line in lines:
        cells = [
            cell.rjust(widths[i]) if right[i : i + 1] == "r" else cell.ljust(widths[i])
            for i, cell in enumerate(line[:-1])
        ]
        first = "".join(f"{cell}  " for cell in cells)
        set_lines.append(wrap(line[-1], width, first, indent).rstrip())
    return "\n".join(set_lines)


def records(header: Sequence[str], rows: Sequence[Sequence[str]], width: int) -> str:
    """Set each row as a paragraph, for lines too narrow for columns."""
    lines = []
    for row in rows:
        rest = "; ".join(f"{h} {c}" for h, c in zip(header[1:], row[1:], strict=True) if c)
        lines.append(wrap(f"{row[0]}: {rest}", width, "", "  "))
    return "\n".join(lines)


def bold(text: str, color: bool) -> str:
    """Return the text in bold where the terminal may have it."""
    return f"{BOLD}{text}{PLAIN}" if color else text
