"""The tables of a result about pulls as CSV text: unrounded, units in the heads."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report.tables import csv_text

if TYPE_CHECKING:
    from jointrisk.report.tables import Cell, Table
    from jointrisk.study.proof_results import Proof, PullEffect
    from jointrisk.study.results import Chance

NAMES = {
    "proof-curve.csv": "a pull over its load",
    "proof-pulls.csv": "single pulls",
    "proof-policies.csv": "ways to use pulls",
    "proof-changes.csv": "what would open a window",
    "proof-assumptions.csv": "assumptions",
}
"""Every file there may be, and what is in it."""


def csv_texts(result: Proof) -> dict[str, str]:
    """Return the CSV text of each table that the result has rows for, by file name."""
    made = {
        "proof-curve.csv": _curve(result),
        "proof-pulls.csv": _pulls(result),
        "proof-policies.csv": _policies(result),
        "proof-changes.csv": _changes(result),
        "proof-assumptions.csv": _assumptions(result),
    }
    return {name: csv_text(*made[name]) for name in NAMES if made[name][1]}


def _three(found: Chance | None) -> tuple[Cell, Cell, Cell]:
    if found is None:
        return (None, None, None)
    return (found.estimate, found.low, found.high)


def _heads(*names: str) -> list[str]:
    return [f"{name}{end} [-]" for name in names for end in ("", " low", " high")]


def _curve(result: Proof) -> Table:
    data = result.curve
    heads = [
        "pull [N]",
        *_heads("rods broken", "weak rods broken", "sound rods broken", "failure after"),
        "failure after without harm [-]", "failure as the target counts [-]", "rods hurt [-]",
    ]  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for i, newton in enumerate(data.load_newton):
        weak = None if data.reject_weak is None else data.reject_weak[i]
        rows.append(
            (
                newton,
                *_three(data.reject[i]),
                *_three(weak),
                *_three(data.reject_sound[i]),
                *_three(data.fail_after[i]),
                data.fail_after_unhurt[i],
                None if data.as_target is None else data.as_target[i],
                data.hurt[i],
            )
        )
    return tuple(heads), rows


def _pulls(result: Proof) -> Table:
    heads = [
        "pull", "load [N]",
        *_heads("rods broken", "weak rods broken", "sound rods broken", "failure after"),
        "failure before [-]", "failure after without harm [-]", "all hold [-]", "rods hurt [-]",
        "broken in the set", "broken in 100", "years at target before", "years at target after",
        "pull needed [N]",
    ]  # fmt: skip
    named = [(effect.label, effect) for effect in result.pulls]
    if result.best is not None:
        named.insert(0, ("the pull to make", result.best))
    return tuple(heads), [_pull(label, effect) for label, effect in named]


def _pull(label: str, effect: PullEffect) -> tuple[Cell, ...]:
    return (
        label,
        effect.load_newton,
        *_three(effect.reject),
        *_three(effect.reject_weak),
        *_three(effect.reject_sound),
        *_three(effect.fail_after),
        effect.fail_before,
        effect.fail_after_unhurt,
        effect.all_hold,
        effect.hurt,
        effect.spoiled_in_run,
        effect.spoiled_per_100,
        effect.years_before,
        effect.years_after,
        effect.needed_newton,
    )


def _policies(result: Proof) -> Table:
    heads = (
        "way", "load [N]", *_heads("failure of an accepted set", "failure over every rod pulled"),
        "rods lost for each set",
        "set accepted [-]", "note",
    )  # fmt: skip
    return heads, [
        (
            entry.name,
            result.policy_newton,
            *_three(entry.fail),
            *_three(entry.ratio),
            entry.spoiled,
            entry.accepted,
            entry.note,
        )
        for entry in result.policies
    ]


def _changes(result: Proof) -> Table:
    heads = ("change", "failure as the target counts [-]", "pull [N]", "target met")
    return heads, [
        (entry.name, entry.best, entry.load_newton, "yes" if entry.opens else "no")
        for entry in result.openers
    ]


def _assumptions(result: Proof) -> Table:
    heads = ("key", "value", "origin", "source", "mark")
    return heads, [(e.key, e.value, e.origin, e.source, e.confidence) for e in result.assumptions]
