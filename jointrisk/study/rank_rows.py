"""Draws that are worked out again under changes, for `rank`.

A second stage of the main sample (see `influence`), many more rows of it, each picked once: a row
that comes up several times counts as often.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.model.ageing import slice_edges
from jointrisk.model.loads import accumulated
from jointrisk.reliability.streams import block_rng
from jointrisk.study.influence import (
    WEIGHT_KEYS,
    bonds_kept,
    changed,
    keeps_bonds,
    label_ratio,
    second_stage,
    worked_out,
)
from jointrisk.study.sample import JOINTS_AT_ONCE, RANKED

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from jointrisk.model.draws import Change
    from jointrisk.model.rodset import RodSet
    from jointrisk.study.influence import Rows
    from jointrisk.study.sample import Sample

    Array = npt.NDArray[np.float64]

MOST_ROWS = 2**12
JOINTS_ALLOWED = 2**14
FEWEST_ROWS = 2**10


@dataclass(frozen=True, slots=True)
class Stage:
    """The rows picked, in pieces that fit the cache."""

    rods: RodSet
    pieces: tuple[Rows, ...]
    weight: Array
    """Times how often each row was picked, (n,) [-]."""
    before: Fails
    """Of the rows as they are."""


@dataclass(frozen=True, slots=True)
class Fails:
    """Failure chances of rows."""

    whole: Array
    """Of the set, any mode, (n,) [-]."""
    modes: Array
    """Each mode, (modes, n) [-]."""


def stage(sample: Sample, seed: int, pool: Any = None) -> Stage:
    """Pick rows of the main sample and work them out as they are."""
    joints = sample.rods.layout.joints
    count = int(np.clip(JOINTS_ALLOWED // joints, FEWEST_ROWS, MOST_ROWS))
    drawn, weights = second_stage(sample, count, block_rng(seed, RANKED, 0))
    picked, first, times = np.unique(drawn, return_index=True, return_counts=True)
    weight = weights[first] * times
    step = max(256, JOINTS_AT_ONCE // joints)
    starts = range(0, picked.size, step)

    def piece(start: int) -> Rows:
        rows = slice(start, start + step)
        return worked_out(sample, picked[rows], weight[rows])

    pieces = tuple(map(piece, starts) if pool is None else pool.map(piece, starts))
    before = fails_under(sample.rods, pieces, [{}], pool)[0]
    return Stage(sample.rods, pieces, weight, before)


def fails_under(
    rods: RodSet,
    pieces: Sequence[Rows],
    questions: Sequence[Mapping[str, Change]],
    pool: Any = None,
) -> list[Fails]:
    """Work out all rows under each of several changes.

    Parameters
    ----------
    rods : RodSet
    pieces : sequence of Rows
    questions : sequence of mapping of str to Change
        An empty one leaves the rows as they are.
    pool : object with ``map``, optional

    Returns
    -------
    list of Fails
        In the order of the questions.
    """
    tasks = [(rows, changes) for changes in questions for rows in pieces]

    def answer(task: tuple[Rows, Mapping[str, Change]]) -> Fails:
        return _under(rods, *task)

    found = list(map(answer, tasks) if pool is None else pool.map(answer, tasks))
    size = len(pieces)
    return [joined(found[start : start + size]) for start in range(0, len(found), size)]


def joined(parts: Sequence[Fails]) -> Fails:
    """Lay the failure chances of pieces end to end."""
    return Fails(
        np.concatenate([part.whole for part in parts]),
        np.concatenate([part.modes for part in parts], axis=1),
    )


def _under(rods: RodSet, rows: Rows, changes: Mapping[str, Change]) -> Fails:
    if keeps_bonds(rods, changes):
        values, strength = bonds_kept(rods, rows, changes)
    else:
        values = {key: changed(rods, rows, changes, key) for key in rows.values}
        strength = rods.resistance(values, rows.labels, with_rig=False, with_wall=rows.wall)
    hazard = rods.hazard(values, strength, changes)
    years = np.diff(slice_edges(rods.scenario))
    factor = strength.assembles.astype(float)
    if set(changes) & set(WEIGHT_KEYS):
        factor = factor * label_ratio(rods, rows, changes)
    whole = -np.expm1(-accumulated(hazard.total, years)) * factor
    return Fails(whole, -np.expm1(-accumulated(hazard.mode, years)) * factor)
