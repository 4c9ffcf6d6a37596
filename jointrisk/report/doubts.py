"""Which assumption decides: a sentence, a table for a terminal and a page, and CSV.

Shows a ledger of `study.doubts` and computes nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from jointrisk.report.plain import bold, table, wrap
from jointrisk.report.tables import csv_text
from jointrisk.report.words import chance, factor

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.report.tables import Cell
    from jointrisk.study.doubts_results import End, Entry, Ledger

__all__ = [
    "HEAD",
    "NAME",
    "SHOWN",
    "csv_texts",
    "page_values",
    "rows",
    "sentences",
    "source_rows",
    "text",
]

HEAD = "Which assumption decides"
NAME = "rank-assumptions.csv"
SHOWN = 8
"""Rows that a terminal shows without `verbose` [-]."""
LEAST_MOVE = 0.01
"""Powers of ten below which an assumption is only counted, not shown [-]."""
COLUMNS = ("assumption", "taken now", "at its best", "at its worst", "target", "mark")
SOURCE_COLUMNS = ("assumption", "what is taken now", "what it could be")
SHORT_COLUMNS = ("at its best", "at its worst", "assumption")
NO_BREAK = "\N{NO-BREAK SPACE}"
OWN = "own draws"
ON_AVERAGE = (
    "Verdicts here are those of the average over what is not known, sampling error counted; "
    "assess holds the target against the whole band."
)


def sentences(result: Ledger) -> list[str]:
    """Return what decides the answer, and what the ledger does not say, as sentences."""
    if result.failure is None:
        return ["No assumption can be weighed: no load is given, or no draw fails."]
    deciding = result.deciding
    if not deciding:
        return ["No assumption moves the failure probability by an amount that can be told."]
    lines = [_lead(result, deciding), *(_told(result, entry) for entry in deciding)]
    others = [entry.name for entry in result.entries if entry.turns and not entry.decides]
    if others:
        lines.append(f"Moved less, but each would turn the verdict as well: {_listed(others)}.")
    if result.target is not None:
        lines.append(ON_AVERAGE)
    return lines


def _lead(result: Ledger, deciding: Sequence[Entry]) -> str:
    names = _listed([entry.name for entry in deciding])
    tie = "; the draws do not tell them apart" if len(deciding) > 1 else ""
    if any(entry.turns for entry in deciding):
        return f"What decides whether the target is met: {names}{tie}."
    moves = f"What moves the answer most: {names}{tie}."
    if result.target is None:
        return moves
    verdict = _verdict(result.target.met)
    return f"No single assumption turns the verdict: the target is {verdict} all the same. {moves}"


def _told(result: Ledger, entry: Entry) -> str:
    """Return what one assumption does, against the target where it turns the verdict."""
    target = result.target
    if target is not None and entry.turns:
        worse = entry.high.met is not None and entry.high.met is not target.met
        end = entry.high if worse else entry.low
        which = "pessimistic" if worse else "optimistic"
        when = "in the worst year" if target.period == "year" else "over the life"
        whose = "for one rod " if target.scope == "rod" else ""
        counted = chance(end.counted, end.counted_low, end.counted_high)
        now = chance(target.counted.estimate, target.counted.low, target.counted.high)
        return (
            f"If “{entry.name}” were at its {which} value ({end.value}, instead of {entry.value}), "
            f"the target would be {_verdict(end.met)}: {counted} {whose}{when} instead of {now}."
        )
    return (
        f"With “{entry.name}” at its best ({entry.low.value}) the failure probability over the "
        f"life is {_chance(result, entry.low)}, at its worst ({entry.high.value}) "
        f"{_chance(result, entry.high)}; now it is {chance(_now(result))}."
    )


def _now(result: Ledger) -> float | None:
    return None if result.failure is None else result.failure.estimate


def _listed(names: Sequence[str]) -> str:
    quoted = [f"“{name}”" for name in names]
    return " and ".join(part for part in (", ".join(quoted[:-1]), quoted[-1]) if part)


def _verdict(met: bool | None) -> str:
    return {True: "met", False: "missed", None: "undecided"}[met]


def _chance(result: Ledger, end: End) -> str:
    """Return a failure probability in words with the digits that its ratio carries."""
    base = _now(result) or 0.0
    return chance(end.failure, base * end.ratio_low, base * end.ratio_high)


def _shown(result: Ledger) -> list[Entry]:
    return [entry for entry in result.entries if entry.moves >= LEAST_MOVE]


def rows(result: Ledger) -> list[tuple[str, ...]]:
    """Return one row of cells for each assumption that moves the answer, as `COLUMNS`."""
    return [
        (
            entry.name,
            entry.value,
            _cell(result, entry.low),
            _cell(result, entry.high),
            _target(result, entry),
            entry.confidence,
        )
        for entry in _shown(result)
    ]


def source_rows(result: Ledger) -> list[tuple[str, ...]]:
    """Return where each value comes from, as `SOURCE_COLUMNS`."""
    return [
        (
            entry.name,
            f"{entry.source} ({entry.confidence})",
            f"{entry.range_source} ({entry.range_confidence})",
        )
        for entry in _shown(result)
    ]


def _short_rows(result: Ledger) -> list[tuple[str, ...]]:
    return [
        (_chance_only(result, entry.low), _chance_only(result, entry.high), entry.name)
        for entry in _shown(result)
    ]


def _chance_only(result: Ledger, end: End) -> str:
    if end.method == "as it is":
        return end.method
    return f"{_chance(result, end)} (x {factor(end.ratio)})"


def _cell(result: Ledger, end: End) -> str:
    if end.method == "as it is":
        return end.method
    ends = f"{factor(end.ratio_low)} to {factor(end.ratio_high)}"
    own = f", {OWN}" if end.method == OWN else ""
    return f"{end.value}: {_chance(result, end)} (x {factor(end.ratio)}, {ends}{own})"


def _target(result: Ledger, entry: Entry) -> str:
    if result.target is None:
        return "none given"
    best, worst = (_verdict(end.met) for end in (entry.low, entry.high))
    return best if best == worst else f"{best} at its best, {worst} at its worst"


def _rest(result: Ledger) -> str:
    """Return how many assumptions are not shown, and why."""
    still = sum(entry.moves < LEAST_MOVE for entry in result.entries)
    parts = []
    if still:
        parts.append(f"{still} more move the failure probability by less than about 2 %.")
    if result.unread:
        parts.append(f"Not read in this scenario: {', '.join(result.unread)}.")
    return " ".join(parts)


def text(result: Ledger, *, color: bool = False, width: int = 80, verbose: int = 0) -> str:
    """Return the ledger as a block of plain text without a line end.

    Parameters
    ----------
    result : Ledger
    color : bool
        True: the heading in bold, for a terminal.
    width : int
        Characters in a line; 0: nothing is broken [-].
    verbose : int
        1 adds every row and how each is known [-].
    """
    lines = [bold(HEAD, color), *(wrap(line, width, "", "  ") for line in sentences(result))]
    found = rows(result) if verbose else _short_rows(result)
    if found:
        shown = found if verbose else found[:SHOWN]
        lines.append(table(COLUMNS if verbose else SHORT_COLUMNS, shown, width))
        if len(shown) < len(found):
            lines.append(wrap(f"{len(found) - len(shown)} more with --verbose.", width))
    rest = _rest(result)
    return "\n".join([*lines, *([wrap(rest, width, "", "  ")] if rest and verbose else [])])


def page_values(result: Ledger) -> dict[str, Any]:
    """Return what the template ``doubts.html.j2`` shows."""
    return {
        "head": HEAD,
        "sentences": sentences(result),
        "columns": COLUMNS,
        "rows": [tuple(map(_whole, row)) for row in rows(result)],
        "source_columns": SOURCE_COLUMNS,
        "source_rows": source_rows(result),
        "rest": _rest(result),
        "reasons": list(result.reasons),
        "confidence": result.confidence,
    }


def _whole(cell: str) -> str:
    """Keep a chance and a factor in one line each."""
    return cell.replace("1 in ", f"1{NO_BREAK}in{NO_BREAK}").replace("(x ", f"(x{NO_BREAK}")


def csv_texts(result: Ledger) -> dict[str, str]:
    """Return the CSV text of the ledger by file name, empty where it has no entries."""
    if not result.entries:
        return {}
    ends = (
        "value", "failure probability [-]", "ratio [-]", "ratio low [-]", "ratio high [-]",
        "as the target counts [-]", "as the target counts low [-]",
        "as the target counts high [-]", "target", "worked out on",
    )  # fmt: skip
    heads = (
        "key", "question", "name", "taken now", "source", "mark", "source of the range",
        "mark of the range", *(f"{side}: {name}" for side in ("best", "worst") for name in ends),
        "powers of ten moved [-]", "low [-]", "high [-]", "turns the verdict", "decides",
    )  # fmt: skip
    judged = result.target is not None
    return {NAME: csv_text(heads, [_full(entry, judged) for entry in result.entries])}


def _full(entry: Entry, judged: bool) -> tuple[Cell, ...]:
    ends: list[Cell] = []
    for end in (entry.low, entry.high):
        verdict = _verdict(end.met) if judged else ""
        ends += [end.value, end.failure, end.ratio, end.ratio_low, end.ratio_high]
        ends += [end.counted, end.counted_low, end.counted_high, verdict, end.method]
    told = (entry.source, entry.confidence, entry.range_source, entry.range_confidence)
    answers = [_yes(entry.turns), _yes(entry.decides)]
    moves = (entry.moves, entry.moves_low, entry.moves_high)
    return (entry.key, entry.question, entry.name, entry.value, *told, *ends, *moves, *answers)


def _yes(value: bool) -> str:
    return "yes" if value else "no"
