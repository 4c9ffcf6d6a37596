"""Where each variable's draws stand: one column of normal scores for every independent draw.

A set has `rods` rods with two joints each, glued in batches. A variable of scope "joint"
has one column per joint, "rod" one per rod, "batch" one per batch, "all" a single one.
Joint ``2 r + e`` is end ``e`` of rod ``r``. Constants have no column. Where the second end has
a variable of its own, both it and that of the first end have one column per rod.

Two-valued facts that no spread describes well (is this batch bad, is this joint weak) are
labels, drawn in the order of `Layout.labels`, each with a chance that depends on variables
drawn before.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from jointrisk.scenario.types import Scenario, Variable

    Floats = np.ndarray[tuple[int, ...], np.dtype[np.float64]]
    Ints = np.ndarray[tuple[int, ...], np.dtype[np.int64]]

ENDS = 2


@dataclass(frozen=True, slots=True)
class Layout:
    """Columns of normal scores and labels of one set of rods."""

    rods: int
    batch_of_rod: tuple[int, ...]
    columns: Mapping[str, slice]
    """Key to its columns; only variables that vary."""
    scopes: Mapping[str, str]
    """Key to what has a draw of its own: those of `Variable`, "first end" or "second end"."""
    second: Mapping[str, str]
    """Keys that the two ends have apart, each with that of the second end."""
    dimension: int
    bad_batch_labels: slice
    weak_joint_labels: slice
    latent_joint_labels: slice
    label_count: int

    @property
    def joints(self) -> int:
        """Number of joints of the set."""
        return ENDS * self.rods

    @property
    def batches(self) -> int:
        """Number of batches of the set."""
        return max(self.batch_of_rod) + 1

    @property
    def rod_of_joint(self) -> Ints:
        """Rod of each joint, (joints,)."""
        return np.arange(self.joints) // ENDS

    @property
    def batch_of_joint(self) -> Ints:
        """Batch of each joint, (joints,)."""
        return np.asarray(self.batch_of_rod)[self.rod_of_joint]


def count_of(scope: str, layout_rods: int, batches: int) -> int:
    """Return how many independent draws a variable of this scope has in one set."""
    counts = {"all": 1, "batch": batches, "rod": layout_rods, "joint": ENDS * layout_rods}
    return counts.get(scope, layout_rods)


def at_ends(sizes: Sequence[float], rods: int) -> Floats:
    """Return plain sizes of the ends, (1, 1) where one size serves both, else (joints, 1)."""
    column = np.array(sizes)[:, None]
    return column if len(sizes) == 1 else np.tile(column, (rods, 1))


def varies(variable: Variable) -> bool:
    """Tell whether a variable has any spread."""
    return variable.spread.sd > 0.0


def lay_out(scenario: Scenario, variables: Mapping[str, Variable], rods: int) -> Layout:
    """Give every varying variable its columns, shared ones first.

    Parameters
    ----------
    scenario : Scenario
        Gives the batch size.
    variables : mapping of str to Variable
        Every variable the draws hold.
    rods : int
        Number of rods [-].
    """
    batch_of_rod = tuple(rod // scenario.rods_per_batch for rod in range(rods))
    batches = batch_of_rod[-1] + 1
    columns: dict[str, slice] = {}
    scopes: dict[str, str] = {}
    second = dict(scenario.second_keys)
    apart = dict.fromkeys(second, "first end") | dict.fromkeys(second.values(), "second end")
    start = 0
    for scope in ("all", "batch", "rod", "joint"):
        for key, variable in variables.items():
            if variable.scope == scope and varies(variable):
                scopes[key] = apart.get(key, scope) if scope == "joint" else scope
                stop = start + count_of(scopes[key], rods, batches)
                columns[key] = slice(start, stop)
                start = stop
    has_bad = _can_happen(variables["weak_bonds.bad_batch_weight"])
    has_weak = has_bad or _can_happen(variables["weak_bonds.lone_weight"])
    bad = slice(0, batches if has_bad else 0)
    weak = slice(bad.stop, bad.stop + (ENDS * rods if has_weak else 0))
    has_latent = scenario.ages and _can_happen(variables["weak_bonds.latent_weight"])
    latent = slice(weak.stop, weak.stop + (ENDS * rods if has_latent else 0))
    return Layout(
        rods, batch_of_rod, columns, scopes, second, start, bad, weak, latent, latent.stop
    )


def lift_columns(single: Layout, full: Layout, rod: int, first_end: int) -> Ints:
    """Return, for each column of a one-rod layout, its column in the full one.

    The one rod becomes `rod`, its joint 0 becomes end `first_end` of it: end 0 where the ends
    differ.
    """
    places = np.empty(single.dimension, dtype=np.int64)
    for key, columns in single.columns.items():
        start = full.columns[key].start
        scope = single.scopes[key]
        for copy, column in enumerate(range(columns.start, columns.stop)):
            target = {
                "all": 0,
                "batch": full.batch_of_rod[rod],
                "rod": rod,
                "first end": rod,
                "second end": rod,
                "joint": ENDS * rod + (copy + first_end) % ENDS,
            }[scope]
            places[column] = start + target
    return places


def lift_labels(single: Layout, full: Layout, rod: int, first_end: int) -> Ints:
    """Return, for each label of a one-rod layout, its place in the full one."""
    bad = [full.bad_batch_labels.start + full.batch_of_rod[rod]]
    ends = [ENDS * rod + (e + first_end) % ENDS for e in range(ENDS)]
    places = bad if single.bad_batch_labels.stop > 0 else []
    for own, among in (
        (single.weak_joint_labels, full.weak_joint_labels),
        (single.latent_joint_labels, full.latent_joint_labels),
    ):
        places = places + ([among.start + end for end in ends] if own.stop > own.start else [])
    return np.array(places, dtype=np.int64)


def _can_happen(weight: Variable) -> bool:
    return bool(weight.spread.sd > 0.0 or weight.spread.mean > 0.0)
