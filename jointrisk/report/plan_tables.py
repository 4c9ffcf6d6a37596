"""The tables of a plan of tests as CSV text: unrounded, units in the heads."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report.tables import csv_text

if TYPE_CHECKING:
    from jointrisk.report.tables import Cell, Table
    from jointrisk.study.plan_results import Candidate, TestPlan
    from jointrisk.study.results import Chance

NAMES = {
    "plan-candidates.csv": "what each test would bring",
    "plan-unknowns.csv": "what each test speaks to",
    "plan-success-runs.csv": "pulls of which none may break",
    "plan-assumptions.csv": "assumptions",
}
"""Every file there may be, and what is in it."""

CHANCES = (
    ("gain", "gain [-]"),
    ("wrong_before", "chance of a wrong decision now [-]"),
    ("wrong_after", "chance of a wrong decision then [-]"),
    ("wrong_drop", "less by [-]"),
    ("width", "natural log of upper over lower end of the band then [-]"),
    ("width_drop", "log less by [-]"),
    ("high", "expected upper end of the band then [-]"),
    ("chance_met", "share of states that meet the target then [-]"),
    ("chance_clear", "chance that the target is plainly met or missed then [-]"),
    ("fail_after", "failure probability of sets that held [-]"),
)
"""Chances of a candidate, and the head of each; low and high end stand beside it."""


def csv_texts(result: TestPlan) -> dict[str, str]:
    """Return the CSV text of each table that the result has rows for, by file name."""
    made = {
        "plan-candidates.csv": _candidates(result),
        "plan-unknowns.csv": _unknowns(result),
        "plan-success-runs.csv": _runs(result),
        "plan-assumptions.csv": _assumptions(result),
    }
    return {name: csv_text(*made[name]) for name in NAMES if made[name][1]}


def _candidates(result: TestPlan) -> Table:
    heads = [
        "key", "kind", "what", "count", "pull [N]", "can be done", "parts to make",
        "parts used up", "cost", "rank", "brings something", "band then, 5 % [-]",
        "50 % [-]", "95 % [-]", "average then comes out from [-]", "to [-]", "gain over cost",
    ]  # fmt: skip
    for _, head in CHANCES:
        heads += [head, f"{head.removesuffix(' [-]')}, low [-]",
                  f"{head.removesuffix(' [-]')}, high [-]"]  # fmt: skip
    return tuple(heads), [_row(entry) for entry in result.candidates]


def _row(entry: Candidate) -> tuple[Cell, ...]:
    cells: list[Cell] = [
        entry.key, entry.kind, entry.name, entry.count, entry.load_newton, _yes(entry.doable),
        entry.to_make if entry.doable else None, entry.uses_up if entry.doable else None,
        entry.cost, entry.rank, _yes(entry.brings),
        entry.p05, entry.p50, entry.p95, *entry.comes_out, entry.gain_per_cost,
    ]  # fmt: skip
    for name, _ in CHANCES:
        cells += _ends(getattr(entry, name))
    return tuple(cells)


def _ends(found: Chance | None) -> tuple[Cell, Cell, Cell]:
    return (None, None, None) if found is None else (found.estimate, found.low, found.high)


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def _unknowns(result: TestPlan) -> Table:
    heads = ("key", "what", "unknown", "name of the unknown", "what it does not tell")
    return heads, [
        (entry.key, entry.name, key, name, entry.note)
        for entry in result.candidates
        for key, name in entry.speaks_to or (("", ""),)
    ]


def _runs(result: TestPlan) -> Table:
    heads = ("share of parts that hold [-]", "confidence [-]", "pulls", "pull [N]",
             "chance that all hold here [-]", "low [-]", "high [-]")  # fmt: skip
    return heads, [
        (run.reliability, run.confidence, run.pulls, result.pull_newton, *_ends(run.all_hold))
        for run in result.success_runs
    ]


def _assumptions(result: TestPlan) -> Table:
    heads = ("key", "value", "origin", "source", "mark")
    return heads, [(e.key, e.value, e.origin, e.source, e.confidence) for e in result.assumptions]
