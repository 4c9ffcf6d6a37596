"""Rods drawn from states of what is not known: at which reading of the rig each would break.

Of each state some rods are drawn that fill their space evenly, and some batches. Each joint is
worked out sound and weak, so that rare labels are weighed and never drawn. How a joint's strength
follows what its batch shares is a parabola of the logs through few points.

A rod of strength R breaks at a reading A = R / (1 + b + e): b is the gauge's bias, one for all, e
the pull's own error.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from jointrisk.model.draws import placed
from jointrisk.model.layout import ENDS
from jointrisk.model.pulled import DAMAGE_FROM, DAMAGE_MOST, beside, rig_joint
from jointrisk.model.rodset import RIG_BIAS

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet

    Array = npt.NDArray[np.float64]
    Bools = npt.NDArray[np.bool_]

RODS = ((40, 96), (160, 128), (10**9, 256))
"""Up to so many parts in a log, rods drawn of each state [-]: with more parts the law of a state's
rods must be known better."""
BATCHES = 24
"""Batches drawn of each state [-]."""
STEP = 1.5
"""Normal score at which a batch is worked out, either way [-]."""
LEAST, MOST = 1e-9, 1e12
"""Forces that stand for none and for any [N]."""
NEVER_SHOWN = 0.05
"""Least 1 + b + e of a pull [-]."""
NOT_IN_RIG = ("load.", "ageing.", "service.hottest", "service.coldest")
"""How the keys of common scatter begin that a new rod in the rig does not feel."""
LABELS_ONLY = "weak_bonds."


@dataclass(frozen=True, slots=True)
class Space:
    """Which normal scores of one rod are common to all, to a batch, or its own."""

    rods: RodSet
    """One rod."""
    state: Bools
    """Columns of a state: what is not known, and common scatter that the rig feels, (d,)."""
    batch: Bools
    """(d,)"""
    own: Bools
    """(d,)"""
    moving: tuple[int, ...]
    """Among the batch's columns those that strength hangs on."""

    @property
    def has_weak(self) -> bool:
        """Whether joints can be weak."""
        where = self.rods.layout.weak_joint_labels
        return bool(where.stop > where.start)


@dataclass(frozen=True, slots=True)
class Drawn:
    """Rods of c states, J batches and M rods each; k label sets: which ends are weak."""

    force: Array
    """Log of the strength in the rig, (k, c, J, M)."""
    error: Array
    """Normal scores of the pulls' own errors, (c, M, T) [-]."""
    counts: Array
    """1 where the drawn parts go together, else 0, (c, M) [-]."""
    bias: Array
    """Of the gauge, (c,) [-]."""
    begins: Array
    """Share of the strength from which a pull hurts, (c,) [-]."""
    most: Array
    """Share that a pull takes at most, (c,) [-]."""
    scores: Array
    """Of the batches, (c, J, columns of a batch) [-]."""
    bad: Array
    """Chance that a batch is bad, (c,) [-]."""
    labels: Array
    """Chance of each label set in a good batch and in a bad one, (k, 2, c, J) [-]."""


def space_of(rods: RodSet) -> Space:
    """Return which columns of one rod are whose.

    Parameters
    ----------
    rods : RodSet
        Of one rod.
    """
    layout = rods.layout
    state, batch, common = (np.zeros(layout.dimension, dtype=bool) for _ in range(3))
    for key, columns in layout.columns.items():
        scope, known = layout.scopes[key], rods.variables[key].kind == "scatter"
        common[columns] = scope == "all"
        batch[columns] = scope == "batch"
        state[columns] = scope == "all" and not (known and key.startswith(NOT_IN_RIG))
    place = np.cumsum(batch) - 1
    moving = [
        int(place[column])
        for key, columns in layout.columns.items()
        for column in range(columns.start, columns.stop)
        if batch[column] and not key.startswith(LABELS_ONLY)
    ]
    return Space(rods, state, batch, ~(common | batch), tuple(moving))


def even(rng: np.random.Generator, sets: int, count: int, dimension: int) -> Array:
    """Return normal scores, each set filling each coordinate evenly, (sets, count, dimension)."""
    ranks = rng.random((sets, count, dimension)).argsort(axis=1)
    return np.asarray(ndtri((ranks + rng.random(ranks.shape)) / count))


def rods_for(parts: int) -> int:
    """Return how many rods are drawn of each state for a log of so many parts [-]."""
    return next(rods for most, rods in RODS if parts <= most)


def drawn_rods(
    space: Space,
    states: Array,
    rng: np.random.Generator,
    turns: int = 1,
    each: int = RODS[0][1],
    also: Array | None = None,
) -> Drawn:
    """Draw rods and batches of some states.

    Parameters
    ----------
    space : Space
    states : ndarray, (c, s) [-]
        Normal scores of `Space.state`.
    rng : numpy.random.Generator
    turns : int
        Largest number of pulls of one part.
    each : int
        Rods drawn of each state.
    also : ndarray, (c, columns of a batch) [-], optional
        Scores of one more batch of each state, which comes after those drawn.
    """
    count = states.shape[0]
    u = np.zeros((count, each, space.state.size))
    u[:, :, space.state] = states[:, None]
    u[:, :, space.own] = even(rng, count, each, int(space.own.sum()))
    scores = even(rng, count, BATCHES, int(space.batch.sum()))
    if also is not None:
        scores = np.concatenate([scores, also[:, None]], axis=1)
    error = even(rng, count, each, turns)
    middle, slope, bend = _parabolas(space, u)
    bond = np.repeat(middle[:, :, None], scores.shape[1], axis=2)
    for place, column in enumerate(space.moving):
        v = scores[None, :, :, None, column]
        bond += (slope[place][:, :, None] + bend[place][:, :, None] * v) * v
    rows = u.reshape(count * each, -1)
    values = space.rods.values(rows[::each])
    wide, narrow = space.rods.scenario.fit
    keys = space.rods.strength_keys
    sizes = placed(space.rods.values(rows, keys=keys), space.rods.layout)
    go = np.asarray(sizes[wide] - sizes[narrow] > 0.0).all(axis=0)
    fits = np.broadcast_to(go, (count * each,)).reshape(count, each).astype(float)
    fits[~fits.any(axis=1)] = 1.0

    def of(key: str) -> Array:
        return np.asarray(np.broadcast_to(values[key], (1, count))[0])

    bad, labels = _labels(space, states, scores)
    return Drawn(
        force=_weakest(bond, with_weak=space.has_weak),
        error=error,
        counts=fits,
        bias=of(RIG_BIAS),
        begins=of(DAMAGE_FROM),
        most=np.clip(of(DAMAGE_MOST), 0.0, 1.0),
        scores=scores,
        bad=bad,
        labels=labels,
    )


def _parabolas(space: Space, u: Array) -> tuple[Array, list[Array], list[Array]]:
    """Return how the logs of the parts' forces follow a batch's scores: each (parts, c, M).

    The parts are both joints sound, both weak (where joints can be), and the weakest member.
    """
    middle = _logs(space, u)
    columns = np.flatnonzero(space.batch)
    slope, bend = [], []
    for column in space.moving:
        ends = []
        for way in (-STEP, STEP):
            moved = u.copy()
            moved[:, :, columns[column]] = way
            ends.append(_logs(space, moved))
        low, high = ends
        slope.append((high - low) / (2.0 * STEP))
        bend.append((high + low - 2.0 * middle) / (2.0 * STEP**2))
    return middle, slope, bend


def _logs(space: Space, u: Array) -> Array:
    """Return the logs of the forces of the parts of each rod in the rig, (parts, c, M)."""
    rods, n = space.rods, u.shape[0] * u.shape[1]
    rows = u.reshape(n, -1)
    values = placed(rods.values(rows, keys=rods.strength_keys), rods.layout)
    never = np.zeros((ENDS, n), dtype=bool)
    kinds = (False, True) if space.has_weak else (False,)
    parts = [
        rig_joint(rods.scenario, rods.layout, values, never | weak, never, years=0.0)
        for weak in kinds
    ]
    parts.append(beside(rods.scenario, rods.layout, values, n, with_push=False).rig)
    force = np.concatenate(parts)
    return np.asarray(np.log(np.clip(force, LEAST, MOST)).reshape(-1, *u.shape[:2]))


def _weakest(parts: Array, *, with_weak: bool) -> Array:
    """Return the weakest link of each rod under each label set, (k, c, J, M)."""
    member = parts[-1]
    choices = [(0, 1)] if not with_weak else [(0, 1), (2, 1), (0, 3), (2, 3)]
    return np.stack([np.minimum(np.minimum(parts[i], parts[j]), member) for i, j in choices])


def _labels(space: Space, states: Array, scores: Array) -> tuple[Array, Array]:
    """Return the chance of a bad batch, (c,), and of each label set, (k, 2, c, J)."""
    count, batches = scores.shape[:2]
    shape = (2, count, batches)
    if not space.has_weak:
        return np.zeros(count), np.ones((1, *shape))
    layout = space.rods.layout
    u = np.zeros((count, batches, space.state.size))
    u[:, :, space.state] = states[:, None]
    u[:, :, space.batch] = scores
    rows = u.reshape(count * batches, -1)
    chance = space.rods.label_chances(rows)
    weak = layout.weak_joint_labels.start
    bad = np.zeros(count)
    none = np.zeros((rows.shape[0], layout.label_count), dtype=bool)
    given = [chance(weak, none)] * 2
    if layout.bad_batch_labels.stop:
        bad = chance(0, none).reshape(count, batches)[:, 0]
        in_bad = none.copy()
        in_bad[:, layout.bad_batch_labels] = True
        given[1] = chance(weak, in_bad)
    q = np.stack([np.broadcast_to(one, rows.shape[:1]) for one in given]).reshape(shape)
    return bad, np.stack([(1.0 - q) ** 2, q * (1.0 - q), (1.0 - q) * q, q**2])
