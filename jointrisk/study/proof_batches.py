"""How likely the rods of a batch are to hold a pull, given what they share.

For some rows of a weighted sample further rods of the same batches are drawn: what all share and
what a batch shares stays, what each rod or joint has of its own is drawn anew.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr

from jointrisk.model.draws import placed
from jointrisk.model.members import rod_minimum
from jointrisk.model.pulled import beside, rig_joint
from jointrisk.model.rodset import rod_set
from jointrisk.reliability.streams import block_rng
from jointrisk.study.sample import JOINTS_AT_ONCE, PULL

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet
    from jointrisk.study.bench import Bench

    Array = npt.NDArray[np.float64]
    Bools = npt.NDArray[np.bool_]

STATES = 512
"""Rows that further rods are drawn for [-]."""
MOST_RODS = 2**15
"""Further rods of all rows and batches together [-]."""
STREAM = 99
MOST_BROKEN = 9.0
"""Rods that may break for one that holds before a batch is given up [-]."""


def chance_held_in_batch(
    bench: Bench, load: float, importance: Array
) -> tuple[npt.NDArray[np.intp], Array, Array]:
    """Pick rows and work out how likely each set was to hold, given what its rods share.

    Parameters
    ----------
    bench : Bench
    load : float [N]
    importance : ndarray, (n,) [-]
        Rows are picked in proportion to it.

    Returns
    -------
    rows : ndarray of int, (k,)
        Rows picked, some of them more than once.
    factor : ndarray, (k,) [-]
        One over the chance that all rods hold.
    broken : ndarray, (k,) [-]
        Rods that break until every place of the set has one that held, or is given up.
    """
    rng = block_rng(bench.sample.seed, PULL, STREAM)
    cumulated = np.cumsum(importance) / importance.sum()
    points = (np.arange(STATES) + rng.random()) / STATES
    rows = np.minimum(np.searchsorted(cumulated, points), importance.size - 1)
    layout = bench.rods.layout
    sizes = np.bincount(layout.batch_of_rod)
    each = max(MOST_RODS // (STATES * layout.batches), 16)
    scenario = replace(bench.scenario, rods=each, rods_per_batch=each)
    more = rod_set(scenario)
    log_chance, broken = np.zeros(STATES), np.zeros(STATES)
    for batch, size in enumerate(sizes):
        held = _held(bench, more, load, rows, batch, rng)
        mean = np.maximum(held.mean(axis=0), 0.5 / each)
        noise = held.var(axis=0) / each / mean**2
        log_chance += size * np.log(mean) + np.log1p(0.5 * size * (size + 1) * noise)
        broken += size * np.minimum((1.0 - mean) / mean, MOST_BROKEN)
    return rows, np.exp(-log_chance), broken


def _held(
    bench: Bench,
    more: RodSet,
    load: float,
    rows: npt.NDArray[np.intp],
    batch: int,
    rng: np.random.Generator,
) -> Array:
    """Return the chance that each further rod of a batch holds, (rods, k) [-]."""
    step = max(16, JOINTS_AT_ONCE // more.layout.joints)
    parts = []
    for start in range(0, rows.size, step):
        part = rows[start : start + step]
        u, labels = _further(bench, more, part, batch, rng)
        values = placed(more.values(u), more.layout)
        weak, latent = more.weak_joints(labels), more.latent_joints(labels)
        bond = rig_joint(more.scenario, more.layout, values, weak, latent, years=0.0)
        other = beside(more.scenario, more.layout, values, part.size, with_push=False)
        strength = np.minimum(rod_minimum(bond), other.rig)
        spare = strength / load - 1.0 - bench.bias[part]
        sharp = np.where(spare >= 0.0, 1.0, 0.0)
        parts.append(ndtr(spare / bench.error) if bench.error > 0.0 else sharp)
    return np.concatenate(parts, axis=1)


def _further(
    bench: Bench,
    more: RodSet,
    rows: npt.NDArray[np.intp],
    batch: int,
    rng: np.random.Generator,
) -> tuple[Array, Bools]:
    """Draw further rods of one batch: scores (k, d) and labels (k, L)."""
    old, new = bench.rods.layout, more.layout
    drawn = bench.sample.draws
    u = rng.standard_normal((rows.size, new.dimension))
    for key, columns in new.columns.items():
        if new.scopes[key] in ("all", "batch"):
            copy = batch if new.scopes[key] == "batch" else 0
            u[:, columns] = drawn.u[rows, old.columns[key].start + copy][:, None]
    labels = np.zeros((rows.size, new.label_count), dtype=bool)
    uniform = rng.random(labels.shape)
    for label in range(new.label_count):
        if label < new.bad_batch_labels.stop:
            labels[:, label] = drawn.labels[rows, old.bad_batch_labels.start + batch]
        else:
            labels[:, label] = uniform[:, label] < more.label_chance(label, u, labels[:, :label])
    return u, labels
