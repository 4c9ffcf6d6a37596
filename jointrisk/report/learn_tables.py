"""The tables of what pulls have taught: for the page and the terminal, and as CSV text."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from jointrisk.report import learn_sentences as say
from jointrisk.report.tables import csv_text
from jointrisk.report.words import chance, chance_range, load, number, percent

if TYPE_CHECKING:
    from jointrisk.report.tables import Cell, Table
    from jointrisk.study.learn_results import Learnt, Outlook, PullGroup, RodOutlook

NAMES = {
    "learn-failure.csv": "failure before and after",
    "learn-unknowns.csv": "what is not known",
    "learn-pulls.csv": "what each pull taught",
    "learn-curve.csv": "strength in the rig",
    "learn-assumptions.csv": "assumptions",
}
"""Every file there may be, and what is in it."""
FAIL_COLUMNS = ("rods", "before the log", "now", "now, anywhere from", "sampling alone")
UNKNOWN_COLUMNS = ("what", "before (5 to 95 %)", "now (5 to 95 %)", "moved", "spread left")
GROUP_COLUMNS = ("pulls", "rods hold it: before", "now", "taught")
LEAST_TOLD = 0.005
"""Information below it is told as less than a hundredth [bits]."""


# As words ----------------------------------------------------------------------------------------


def fail_rows(result: Learnt) -> list[tuple[str, ...]]:
    """Return failure before and after as rows of `FAIL_COLUMNS`; none where none is trusted."""
    before, after = result.before, result.after
    if before is None or after is None or not say.trusted(result):
        return []
    whole = "the rod" if result.rods_of_set == 1 else f"set of {result.rods_of_set}"
    rows = [_row(f"{whole}, not pulled", _cell(before.life), after.life)]
    if before.target is not None and after.target is not None and _counts_apart(result):
        rows.append(_row("the same as the target counts", _cell(before.target), after.target))
    return rows + [_row(rod_name(rod), chance(rod.before), rod.after) for rod in result.rods]


def _counts_apart(result: Learnt) -> bool:
    """Tell whether the target counts something else than the set over its life."""
    return result.target_period == "year" or (
        result.target_scope == "rod" and result.rods_of_set > 1
    )


def _row(name: str, before: str, after: Outlook) -> tuple[str, ...]:
    band = chance_range(after.p05, after.p95)
    sampling = chance_range(after.low, after.high)
    return name, before, chance(after.estimate, after.low, after.high), band, sampling


def _cell(found: Outlook) -> str:
    text = chance(found.estimate, found.low, found.high)
    return text if found.p05 == found.p95 else f"{text} ({chance_range(found.p05, found.p95)})"


def rod_name(rod: RodOutlook) -> str:
    """Name the rods that one outlook is of."""
    batch = say.of_batch(rod.batch)
    if rod.kind == "held":
        count = "a rod" if rod.count == 1 else f"each of {rod.count} rods"
        return f"{count}{batch} that held {load(rod.load_newton, 3)}"
    if rod.kind == "next":
        return f"the next rod{batch or ' of the same batch'}, not pulled"
    return "a rod of a new batch, not pulled"


def unknown_rows(result: Learnt) -> list[tuple[str, ...]]:
    """Return what was not known as rows of `UNKNOWN_COLUMNS`; none where none is trusted."""
    if not say.trusted(result):
        return []
    return [
        (
            entry.name,
            say.middle(entry, "prior"),
            say.middle(entry, "posterior"),
            f"{round(entry.shift, 1) + 0.0:+.1f} sd",
            percent(entry.narrowed),
        )
        for entry in result.unknowns
    ]


def group_rows(result: Learnt) -> list[tuple[str, ...]]:
    """Return the pulls as rows of `GROUP_COLUMNS`, those that taught most first."""
    return [
        (
            group_name(group),
            percent(group.chance_before),
            percent(group.chance_after) if say.trusted(result) else "not told",
            bits(group.information) if say.trusted(result) else "not told",
        )
        for group in result.groups
    ]


def group_name(group: PullGroup) -> str:
    """Name pulls of one batch with the same load and result."""
    batch = f", batch {group.batch}" if group.batch else ""
    return f"{group.count} {say.what_happened(group)}{batch}"


def bits(value: float) -> str:
    """Return an amount of information [bits] in words."""
    if not math.isfinite(value):
        return "unknown"
    return "under 0.01 bits" if value < LEAST_TOLD else f"{number(value, 2)} bits"


# As CSV ------------------------------------------------------------------------------------------


def csv_texts(result: Learnt) -> dict[str, str]:
    """Return the CSV text of each table that the result has rows for, by file name."""
    made = {
        "learn-failure.csv": _failure(result),
        "learn-unknowns.csv": _unknowns(result),
        "learn-pulls.csv": _pulls(result),
        "learn-curve.csv": _curve(result),
        "learn-assumptions.csv": _assumptions(result),
    }
    return {name: csv_text(*made[name]) for name in NAMES if made[name][1]}


def _failure(result: Learnt) -> Table:
    heads = ("rods", "when", "batch", "load held [N]", "rods of the log", "failure [-]", "low [-]",
             "high [-]", "p05 [-]", "p50 [-]", "p95 [-]")  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for when, outlook in (("before", result.before), ("now", result.after)):
        if outlook is not None:
            rows.append(("set over the life", when, None, None, None, *_six(outlook.life)))
            if outlook.target is not None:
                name = f"as the target counts: {result.target_scope}, {result.target_period}"
                rows.append((name, when, None, None, None, *_six(outlook.target)))
    for rod in result.rods:
        of: tuple[Cell, ...] = (rod.batch, rod.load_newton, rod.count)
        rows.append((rod.kind, "before", *of, rod.before, None, None, None, None, None))
        rows.append((rod.kind, "now", *of, *_six(rod.after)))
    return heads, rows


def _six(found: Outlook) -> tuple[float, ...]:
    return found.estimate, found.low, found.high, found.p05, found.p50, found.p95


def _unknowns(result: Learnt) -> Table:
    ends = ("mean", "p05", "p50", "p95")
    heads = ("key", "name", "unit", *(f"{when} {end}" for when in ("before", "now")
             for end in ends), "moved [sd]", "spread left [-]")  # fmt: skip
    return heads, [
        (
            entry.key,
            entry.name,
            entry.unit,
            *(getattr(entry, f"{when}_{end}") for when in ("prior", "posterior") for end in ends),
            entry.shift,
            entry.narrowed,
        )
        for entry in result.unknowns
    ]


def _pulls(result: Learnt) -> Table:
    heads = ("batch", "load [N]", "result", "pulls", "a rod holds it, before [-]",
             "a rod holds it, now [-]", "taught [bits]")  # fmt: skip
    return heads, [
        (g.batch, g.load_newton, g.kind, g.count, g.chance_before, g.chance_after, g.information)
        for g in result.groups
    ]


def _curve(result: Learnt) -> Table:
    heads = ("load [N]", "a rod breaks below, before [-]", "a rod breaks below, now [-]")
    data = result.curve
    return heads, list(zip(data.load_newton, data.before, data.after, strict=True))


def _assumptions(result: Learnt) -> Table:
    heads = ("key", "value", "origin", "source", "mark")
    return heads, [(e.key, e.value, e.origin, e.source, e.confidence) for e in result.assumptions]
