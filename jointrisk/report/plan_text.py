"""Which test to make next, for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report import plan_cells as cells
from jointrisk.report import plan_sentences as say
from jointrisk.report.blocks import assumed, cautioned, headline, listed, ran, warned
from jointrisk.report.plain import bold, records, table, wrap
from jointrisk.report.words import chance

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.study.plan_results import Candidate, TestPlan

SHOWN = 10
"""Rows of a table without `verbose` [-]."""
NAME = 20
"""Characters that a name needs in a table, else it is set as a paragraph [-]."""


def text(result: TestPlan, *, color: bool = False, width: int = 80, verbose: int = 0) -> str:
    """Return the answer as plain text with a line end.

    Parameters
    ----------
    result : TestPlan
        What `jointrisk.plan` returned.
    color : bool
        True: headings in bold, for a terminal.
    width : int
        Characters in a line; 0: paragraphs are not broken [-].
    verbose : int
        1 adds every candidate, what each speaks to, every assumption and the run's own facts [-].
    """
    blocks = [
        headline(say.headline(result), color, width),
        _candidates(result, color, width, verbose),
        _bounds(result, color, width, verbose),
        _runs(result, color, width),
        listed("What no test here can show", say.not_shown(result), color, width),
    ]
    if verbose:
        own = [f"title: {result.title}", f"evaluations: {result.evaluations}"]
        own.append(f"states, outcomes: {result.states:,}, {result.outcomes:,}")
        blocks.append(listed("What each speaks to", _notes(result), color, width))
        blocks += assumed(result.assumptions, color, width)
        blocks.append(ran(result.run, result.host, color, width, own))
    blocks += [warned(result.warnings, color, width), cautioned(color, width)]
    return "\n\n".join(block for block in blocks if block) + "\n"


def candidate_rows(result: TestPlan, entries: Sequence[Candidate]) -> list[tuple[str, ...]]:
    """Return candidates as cells under `columns`, the name last."""
    marks = cells.ranks(entries)
    wrong, cost = result.measure == say.WRONG, bool(result.costs)
    doable = any(entry.doable for entry in entries)
    return [
        (
            mark,
            *((cells.wrong_cell(entry),) if wrong else ()),
            cells.band_left(entry),
            *(cells.parts(entry) if doable else ()),
            *((cells.money(entry.cost),) if cost and doable else ()),
            cells.own_name(entry),
        )
        for mark, entry in zip(marks, entries, strict=True)
    ]


def columns(result: TestPlan, *, doable: bool) -> tuple[str, ...]:
    """Return the heads of `candidate_rows`."""
    wrong = ("wrong then",) if result.measure == say.WRONG else ()
    cost = ("cost",) if result.costs and doable else ()
    parts = ("make", "lose") if doable else ()
    return ("", *wrong, "band then", *parts, *cost, "what")


def _candidates(result: TestPlan, color: bool, width: int, verbose: int) -> str:
    head = "What each test would leave, on average"
    found = result.doable
    rows = candidate_rows(result, found)
    lines = [_table(head, columns(result, doable=True), rows, color, width, verbose)]
    if say.ranked_by(result):
        lines.append(wrap(say.ranked_by(result), width))
    if say.pulls(result):
        lines.append(wrap(say.OWN_PULLS, width))
    if any(not entry.brings for entry in found):
        lines.append(wrap(say.NO_GAIN, width))
    if result.measure == say.WRONG and rows:
        lines.append(wrap(say.BOTH_ALIKE, width))
    return "\n".join(line for line in lines if line)


def _bounds(result: TestPlan, color: bool, width: int, verbose: int) -> str:
    rows = candidate_rows(result, result.bounds)
    return _table(say.BOUND_HEAD, columns(result, doable=False), rows, color, width, verbose)


RUN_COLUMNS = ("all hold here", "pulls", "confidence", "share of parts that hold")


def _runs(result: TestPlan, color: bool, width: int) -> str:
    rows = [tuple(reversed(cells.run_row(run))) for run in result.success_runs]
    if not rows:
        return ""
    shown = [row[1:] for row in rows] if all(not row[0] for row in rows) else rows
    heads = RUN_COLUMNS[-len(shown[0]) :]
    made = table(heads, shown, width, "rrr"[: len(heads) - 1])
    head = bold("Pulls of which none may break", color)
    return "\n".join([head, made, wrap(say.success_words(result), width)])


def _notes(result: TestPlan) -> list[str]:
    lines = [
        f"{entry.name}: {cells.speaks(entry)}. The average failure probability then comes out "
        f"between {chance(entry.comes_out[0])} and {chance(entry.comes_out[1])}, 9 times in 10."
        for entry in result.doable
    ]
    return lines + [f"Not told by “{names}”: {note}" for names, note in cells.notes(result)]


def _table(
    head: str,
    names: Sequence[str],
    rows: Sequence[tuple[str, ...]],
    color: bool,
    width: int,
    verbose: int,
) -> str:
    """Return a heading and a table, or paragraphs where the name would have too little room."""
    if not rows:
        return ""
    shown = rows if verbose else rows[:SHOWN]
    lines = [bold(wrap(head, width), color)]
    every = [tuple(names), *shown]
    before = sum(2 + max(len(row[i]) for row in every) for i in range(len(names) - 1))
    if width and before + NAME > width:
        turned = [(row[-1], *row[:-1]) for row in shown]
        lines.append(records((names[-1], *(n or "rank" for n in names[:-1])), turned, width))
    else:
        lines.append(table(names, shown, width, "r" * (len(names) - 1)))
    if len(shown) < len(rows):
        lines.append(f"{len(rows) - len(shown)} more; -v shows them.")
    return "\n".join(lines)
