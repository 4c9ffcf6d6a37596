"""`jointrisk check`: every resolved value, whose it is, and warnings; runs nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.cli.shared import File, NoColor, Option, Quiet, color, note, show, width

if TYPE_CHECKING:
    from jointrisk.scenario import Row

HEADER = ("mean", "CoV", "5 %", "50 %", "95 %", "unit")
CELL = 8
"""Characters of a column of numbers [-]."""


def command(
    file: File, option: Option = None, quiet: Quiet = False, no_color: NoColor = False
) -> None:
    """Print every resolved value, whose it is, and warnings; run nothing."""
    import jointrisk
    from jointrisk import scenario as room
    from jointrisk.report.plain import bold, wrap

    scenario = jointrisk.load(file, option=option)
    wide, colored = width(), color(no_color)
    show(f"{bold(scenario.title, colored)}\n\n{_table(room.describe(scenario), wide, colored)}\n")
    if scenario.warnings:
        lines = [wrap(f"{w.code}: {w.text}", wide, "  ", "    ") for w in scenario.warnings]
        show("\n".join(["", bold("Warnings", colored), *lines]) + "\n")
    if option is None and scenario.options:
        lines = [f'  jointrisk check {file} --option "{name}"' for name in scenario.options]
        show("\n".join(["", bold("Options of this file", colored), *lines]) + "\n")
    taken = "" if option is None else f' --option "{option}"'
    note(f"{file} can be used; next: jointrisk assess {file}{taken}", quiet=quiet)


def _table(rows: list[Row], wide: int, colored: bool) -> str:
    """Set each value in a line of numbers and a paragraph of words under it."""
    from jointrisk.report.plain import bold

    longest = max((len(row.key) for row in rows), default=0)
    narrow = 0 < wide < longest + CELL * len(HEADER)
    head = "" if narrow else "key".ljust(longest) + _line(HEADER)
    lines = [bold(head, colored)] if head else []
    parts: dict[str, list[Row]] = {}
    for row in rows:
        parts.setdefault(row.key.split(".")[0], []).append(row)
    for part in parts.values():
        lines += ["", *(_entry(row, longest, wide, narrow) for row in part)]
    return "\n".join(lines)


def _entry(row: Row, longest: int, wide: int, narrow: bool) -> str:
    from jointrisk.report.plain import wrap

    numbers, words = _numbers(row), _words(row)
    first = row.key
    if narrow:
        named = [f"{h} {n}" for h, n in zip(HEADER[:-1], numbers[:-1], strict=True) if n]
        words = "; ".join([words, ", ".join(named)]) if named else words
    else:
        first = (row.key.ljust(longest) + _line(numbers)).rstrip()
    return f"{first}\n{wrap(words, wide, '    ', '    ')}"


def _line(cells: tuple[str, ...]) -> str:
    *numbers, unit = cells
    return "".join(f" {cell:>{CELL - 1}}" for cell in numbers) + f" {unit}"


def _numbers(row: Row) -> tuple[str, ...]:
    """Return mean, CoV and the three quantiles; a fixed value has only itself."""
    from jointrisk.report.words import percent

    if row.mean is None:
        return ("",) * len(HEADER)
    unit = "" if row.unit == "-" else row.unit
    if row.q05 == row.q95:
        return (_cell(row.mean, 4), "", "", "", "", unit)
    digits = 3 if row.cov is None or row.cov > 0.01 else 5
    quantiles = ("" if q is None else _cell(q, digits) for q in (row.q05, row.q50, row.q95))
    spread = "" if row.cov is None else percent(row.cov)
    return (_cell(row.mean, digits), spread, *quantiles, unit)


def _cell(value: float, digits: int) -> str:
    """Return a number that fits its column; only very small ones need a power of ten."""
    from jointrisk.report.words import number

    text = number(value, digits)
    return text if len(text) < CELL else f"{value:.1e}"


def _words(row: Row) -> str:
    """Return name, value, what shares a draw, kind of uncertainty, whose it is, source, mark."""
    parts = [f"{row.label}: {row.value}"]
    if row.mean is not None and row.q05 != row.q95:
        shared = {"joint": "each joint its own", "rod": "each rod its own"}
        shared |= {"batch": "each batch its own", "all": "one for all"}
        parts.append(f"{shared.get(row.scope, row.scope)}, {row.kind}")
    whose = "yours" if row.origin == "scenario" else "default"
    parts.append(f"{whose}, {row.source} ({row.confidence})")
    return "; ".join(parts)
