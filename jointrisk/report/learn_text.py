"""What finished pulls have taught, for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report import learn_sentences as say
from jointrisk.report import learn_tables as made
from jointrisk.report.blocks import assumed, cautioned, headline, ran, warned
from jointrisk.report.plain import bold, records, table, wrap

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.study.learn_results import Learnt

SHOWN = 8
"""Rows of a table without `verbose` [-]."""
NAME = 22
"""Characters that the last column, the name, needs in a line [-]."""


def text(result: Learnt, *, color: bool = False, width: int = 80, verbose: int = 0) -> str:
    """Return the answer as plain text with a line end.

    Parameters
    ----------
    result : Learnt
        What `jointrisk.learn` returned.
    color : bool
        True: headings in bold, for a terminal.
    width : int
        Characters in a line; 0: paragraphs are not broken [-].
    verbose : int
        1 adds every row, every assumption and the run's own facts [-].
    """
    most = None if verbose else SHOWN
    fail = [(name, before.split(" (")[0], *now) for name, before, *now in made.fail_rows(result)]
    if not verbose:
        fail = [row[:4] for row in fail]
    tables = (
        ("Failure over the life", made.FAIL_COLUMNS[: 5 if verbose else 4], fail),
        ("What is not known", made.UNKNOWN_COLUMNS, made.unknown_rows(result)),
        ("The pulls, and what each kind taught by itself", made.GROUP_COLUMNS,
         made.group_rows(result)),
    )  # fmt: skip
    blocks = [headline(say.headline(result), color, width)]
    blocks += [_table(head, columns, rows, color, width, most) for head, columns, rows in tables]
    odds = say.expected(result)
    if odds:
        blocks.append(f"{bold('The log against the file', color)}\n{wrap(odds, width)}")
    if verbose:
        own = [
            f"title: {result.title}",
            f"states of what is not known: {result.states}, in {result.rounds} rounds",
            f"of them, by their weights: {result.effective_states:.0f}",
            f"joints worked out: {result.evaluations}",
        ]
        blocks += assumed(result.assumptions, color, width)
        blocks.append(ran(result.run, result.host, color, width, own))
    blocks += [warned(result.warnings, color, width), cautioned(color, width)]
    return "\n\n".join(block for block in blocks if block) + "\n"


def _table(
    head: str,
    columns: Sequence[str],
    rows: Sequence[tuple[str, ...]],
    color: bool,
    width: int,
    most: int | None,
) -> str:
    """Return a table with its name last, or a paragraph a row where the line is too short."""
    if not rows:
        return ""
    shown = rows[:most]
    lines = [(*row[1:], row[0]) for row in shown]
    heads = (*columns[1:], columns[0])
    before = sum(2 + max(len(line[i]) for line in (heads, *lines)) for i in range(len(heads) - 1))
    if width and before + NAME > width:
        body = records(columns, shown, width)
    else:
        body = table(heads, lines, width)
    more = [] if len(shown) == len(rows) else [f"{len(rows) - len(shown)} more; -v shows them."]
    return "\n".join([bold(head, color), body, *more])
