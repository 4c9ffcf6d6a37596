"""Numbers and names of a plan of tests as cells and short words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from jointrisk.report.rank_sentences import rank_marks, share
from jointrisk.report.words import chance, chance_range, number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.study.plan_results import Candidate, SuccessRun, TestPlan
    from jointrisk.study.results import Chance

SIZES = ("gap", "overlap")
"""Kinds that measure these rods and tell nothing of what is not known."""


def own_name(entry: Candidate) -> str:
    """Return what a bound is of, any other candidate by its name."""
    return entry.speaks_to[0][1] if not entry.doable and entry.speaks_to else entry.name


def bare_name(entry: Candidate) -> str:
    """Return what is done; of a pull of the rods of service without what the file calls it.

    Such a name may say how it is made today ("a person hangs on it"), and an answer that says what
    to do must not say that.
    """
    return entry.name.split(" (", 1)[0] if entry.screens else entry.name


def ranks(entries: Sequence[Candidate]) -> list[str]:
    """Return the rank of each candidate, "-" where it brings nothing that can be told."""
    marks = rank_marks([entry.rank for entry in entries])
    return [mark if entry.brings else "-" for mark, entry in zip(marks, entries, strict=True)]


def percent_of(found: Chance) -> str:
    """Return a chance as a percentage with the digits that its interval leaves."""
    value = 100.0 * found.estimate
    if value < 0.1:
        return "under 0.1 %"
    return f"{number(value, 2 if value < 99.5 else 3)} %"


def points(found: Chance) -> str:
    """Return a difference of two chances with its interval, in hundredths."""
    value, low, high = (100.0 * each for each in (found.estimate, found.low, found.high))
    return f"{_short(value)} in 100, {_short(low)} to {_short(high)}"


def _short(value: float) -> str:
    return "0" if abs(value) < 0.05 else number(value, 2).replace("-", "\N{MINUS SIGN}")


def wrong_cell(entry: Candidate) -> str:
    """Return the chance of a wrong decision after and now."""
    if entry.wrong_after is None or entry.wrong_before is None:
        return ""
    return f"{percent_of(entry.wrong_after)} (now {percent_of(entry.wrong_before)})"


def band_left(entry: Candidate) -> str:
    """Return the band that is left, on average."""
    return chance_range(entry.p05, entry.p95)


def band_now(result: TestPlan) -> str:
    """Return the band before any test."""
    return chance_range(result.before.p05, result.before.p95)


def spans(found: Chance) -> str:
    """Return the upper end of a band over the lower one, from the log of it."""
    top = math.exp(min(found.estimate, 700.0))
    return f"{number(top, 2)} times"


def money(value: float | None) -> str:
    """Return a cost, "" without one."""
    return "" if value is None else number(value, 3)


def gain_per_cost(entry: Candidate) -> str:
    """Return what a candidate takes from wrong decisions for a cost of 100, in hundredths."""
    return "" if entry.gain_per_cost is None else f"{_short(1e4 * entry.gain_per_cost)} in 100"


def with_ends(found: Chance) -> str:
    """Return a chance as a percentage with its interval."""
    return share(found)


def parts(entry: Candidate) -> tuple[str, str]:
    """Return how many parts a candidate asks to be made, and how many are lost on average."""
    few = 0.0 < entry.uses_up < 0.1
    return f"{entry.to_make:,}", "under 0.1" if few else number(entry.uses_up, 2)


def run_row(run: SuccessRun) -> tuple[str, ...]:
    """Return one line of the table of pulls without a break."""
    held = run.all_hold
    here = "" if held is None else chance(held.estimate, held.low, held.high)
    return (
        f"{number(100.0 * run.reliability, 4)} %",
        f"{number(100.0 * run.confidence, 4)} %",
        f"{run.pulls:,}",
        here,
    )


def speaks(entry: Candidate) -> str:
    """Return the unknowns that a test tells something of, in words."""
    if entry.speaks_to:
        return "; ".join(name for _, name in entry.speaks_to)
    return "sizes of these rods" if entry.kind in SIZES else "no unknown by itself"


def notes(result: TestPlan) -> list[tuple[str, str]]:
    """Return what tests do not tell: names of those that leave the same, and what it is."""
    found: dict[str, list[str]] = {}
    for entry in result.doable:
        if entry.note:
            found.setdefault(entry.note, []).append(entry.name)
    return [("; ".join(names), note) for note, names in found.items()]
