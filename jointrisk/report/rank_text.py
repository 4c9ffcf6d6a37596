"""What matters, for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report import doubts
from jointrisk.report import rank_sentences as say
from jointrisk.report.blocks import cautioned, headline, listed, ran
from jointrisk.report.plain import bold, records, table, wrap
from jointrisk.report.words import chance, number, percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.study.rank_results import Kind, Ranking

SCATTER = "What scatters: the failure probability is multiplied by"
UNKNOWN = "What is not known: the same steps"
WIDE = 130
"""Characters of a line that has room for how each row was worked out [-]."""
NAME = 20
"""Characters that a name needs in a table, else it is set as a paragraph [-]."""
LEAST_INDEX = 0.005
"""Variables whose indices all end below it are left out [-]."""
SHOWN = 10
"""Rows of a table without `verbose`."""


def text(result: Ranking, *, color: bool = False, width: int = 80, verbose: int = 0) -> str:
    """Return the answer as plain text with a line end.

    Parameters
    ----------
    result : Ranking
        What `jointrisk.rank` returned.
    color : bool
        True: headings in bold, for a terminal.
    width : int
        Characters in a line; 0: paragraphs are not broken [-].
    verbose : int
        1 adds every variable, how each line was worked out, the design points, the indices, and
        the run's own facts [-].
    """
    most = None if verbose else SHOWN
    blocks = [
        headline(say.headline(result), color, width),
        _effects(result, "scatter", SCATTER, color, width, verbose),
        _unknown(result, color, width, most),
        _modes(result, color, width),
        _doubts(result, color, width, verbose),
    ]
    if verbose:
        own = [f"title: {result.title}", f"evaluations: {result.evaluations}", *result.notes]
        blocks += [
            _effects(result, "not known", UNKNOWN, color, width, verbose),
            _points(result, color, width),
            _indices(result, color, width),
            ran(result.run, result.host, color, width, own),
        ]
    blocks.append(cautioned(color, width, "Before you trust a rod"))
    return "\n\n".join(block for block in blocks if block) + "\n"


def _doubts(result: Ranking, color: bool, width: int, verbose: int) -> str:
    if result.doubts is None:
        return ""
    return doubts.text(result.doubts, color=color, width=width, verbose=verbose)


EFFECT_COLUMNS = ("", "spread halved", "mean higher", "mean lower", "step", "what")


def effect_rows(result: Ranking, kind: Kind, *, ways: bool = False) -> list[tuple[str, ...]]:
    """Return the plain effects of all that matters of one kind, as cells.

    Parameters
    ----------
    result : Ranking
    kind : {"scatter", "not known"}
    ways : bool
        True adds how each came about, before the name.
    """
    entries = result.of_kind(kind)
    marks = say.rank_marks([entry.rank for entry in entries])
    return [
        (
            rank,
            *(say.cell(say.of_measure(entry, each)) for each in ("halved", "higher", "lower")),
            say.step(entry),
            *((say.worked_out(entry),) if ways else ()),
            entry.name,
        )
        for rank, entry in zip(marks, entries, strict=True)
        if say.matters(entry)
    ]


def _effects(result: Ranking, kind: Kind, head: str, color: bool, width: int, verbose: int) -> str:
    ways = bool(verbose) and (width == 0 or width >= WIDE)
    columns = (*EFFECT_COLUMNS[:-1], "worked out", "what") if ways else EFFECT_COLUMNS
    rows = effect_rows(result, kind, ways=ways)
    found = _table(head, columns, rows, color, width, None if verbose else SHOWN)
    rest = say.next_to_nothing(result.of_kind(kind))
    return "\n".join(part for part in (found, wrap(rest, width) if rest else "") if part)


UNKNOWN_COLUMNS = ("", "causes of the band", "at its 5 %", "at its 95 %", "band left", "what")


def unknown_rows(result: Ranking) -> list[tuple[str, ...]]:
    """Return what it would bring to settle each unknown, as cells."""
    known = result.not_known
    if known is None:
        return []
    marks = say.rank_marks([entry.rank for entry in known.unknowns])
    return [
        (
            rank,
            say.share(entry.total) if known.shares_told else "not told",
            chance(entry.at_low.estimate, entry.at_low.low, entry.at_low.high),
            chance(entry.at_high.estimate, entry.at_high.low, entry.at_high.high),
            say.band_left(entry),
            entry.name,
        )
        for rank, entry in zip(marks, known.unknowns, strict=True)
    ]


def _unknown(result: Ranking, color: bool, width: int, most: int | None) -> str:
    head = "What is not known: settle it, and the failure probability would be"
    found = _table(head, UNKNOWN_COLUMNS, unknown_rows(result), color, width, most)
    return "\n".join([found, wrap(say.all_settled(result), width)]) if found else ""


MODE_COLUMNS = ("likeliest way in", "chance", "comes about in", "way to fail")


def mode_rows(result: Ranking) -> list[tuple[str, ...]]:
    """Return the ways to fail as cells."""
    return [
        (
            say.share(mode.share),
            chance(mode.probability.estimate, mode.probability.low, mode.probability.high),
            percent(mode.overlapping),
            mode.name,
        )
        for mode in result.modes
        if mode.share.estimate >= say.LEAST_SHARE
    ]


def _modes(result: Ranking, color: bool, width: int) -> str:
    return _table("Ways to fail", MODE_COLUMNS, mode_rows(result), color, width, None)


def _points(result: Ranking, color: bool, width: int) -> str:
    lines = []
    for point in result.design_points:
        far = "" if point.beta is None else f"distance {number(point.beta, 3)}: "
        cliff = "" if point.converged or point.beta is None else " (a cliff: nearest crossing)"
        lines.append(f"{say.capital(say.point_name(point))}: {far}{say.directions(point)}{cliff}")
    head = wrap("Design points: the likeliest way each comes about", width)
    return listed(head, lines, color, width)


INDEX_COLUMNS = ("margin alone", "margin in all", "failure in all", "what")


def index_rows(result: Ranking) -> list[tuple[str, ...]]:
    """Return the indices of margin and failure as cells, by those of the failure."""
    margin = {entry.variable: entry for entry in result.margin.entries}
    event = {entry.variable: entry for entry in result.event.entries}
    rows: list[tuple[str, ...]] = []
    for key in dict.fromkeys([*event, *margin]):
        one, other = margin.get(key), event.get(key)
        known = other if other is not None else one
        if known is not None and any(
            entry is not None and entry.total.high >= LEAST_INDEX for entry in (one, other)
        ):
            rows.append(
                (
                    "" if one is None else say.share(one.first),
                    "" if one is None else say.share(one.total),
                    "" if other is None else say.share(other.total),
                    known.name,
                )
            )
    return rows


def _indices(result: Ranking, color: bool, width: int) -> str:
    return _table("Shares of the variance", INDEX_COLUMNS, index_rows(result), color, width, None)


def _table(
    head: str,
    columns: Sequence[str],
    rows: Sequence[tuple[str, ...]],
    color: bool,
    width: int,
    most: int | None,
) -> str:
    if not rows:
        return ""
    shown = rows[:most]
    if _too_wide(columns, shown, width):
        turned = [(row[-1], *row[:-1]) for row in shown]
        heads = (columns[-1], *(name or "rank" for name in columns[:-1]))
        lines = [bold(wrap(head, width), color), records(heads, turned, width)]
    else:
        lines = [
            bold(wrap(head, width), color),
            table(columns, shown, width, "r" * (len(columns) - 1)),
        ]
    if len(shown) < len(rows):
        lines.append(f"{len(rows) - len(shown)} more; -v shows them.")
    return "\n".join(lines)


def _too_wide(columns: Sequence[str], rows: Sequence[tuple[str, ...]], width: int) -> bool:
    """Tell whether the last column, the name, would be left too little of a line."""
    lines = [tuple(columns), *rows]
    before = sum(2 + max(len(line[i]) for line in lines) for i in range(len(columns) - 1))
    return bool(width) and before + NAME > width
