"""Further rods of the batches of some draws, and what they say of filling a set from a batch.

For some rows of a weighted sample further sets are drawn: what all share and what a batch shares
stays, what each rod or joint has of its own is drawn anew. Rods of a batch are taken in turn, the
row's own first, until every place of the batch has one that held, or the batch is dropped.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr

from jointrisk.model.draws import placed
from jointrisk.model.layout import ENDS
from jointrisk.model.members import rod_minimum
from jointrisk.model.pulled import beside, rig_joint
from jointrisk.reliability.streams import block_rng
from jointrisk.study.sample import JOINTS_AT_ONCE, PULL

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.model.layout import Layout
    from jointrisk.model.rodset import RodSet
    from jointrisk.study.bench import Bench

    Array = npt.NDArray[np.float64]
    Bools = npt.NDArray[np.bool_]
    Ints = npt.NDArray[np.intp]

FURTHER = 2
"""Further sets of each row that its places are filled from [-]: enough for a batch of m places
to be given up at its 2 m + 1st rod that breaks, or sooner."""
LOOKS = 2
"""Further sets of each row that only tell whether its batches hold at all [-]."""
MOST_STATES = 2048
"""Rows that further sets are drawn for, at most [-]."""
MOST_JOINTS = 2**18
"""Joints of all further sets together [-]."""
FEWEST_STATES = 64
STREAM = 99


@dataclass(frozen=True, slots=True)
class States:
    """Rows of a sample, and further sets that share what they share."""

    rows: Ints
    """Rows picked, some of them more than once, (k,)."""
    count: Array
    """The mean of it times anything is the expectation over all sets, (k,) [-]."""
    repeats: Array
    """How often each row was to be picked, (k,) [-]."""
    u: Array
    """Scores of the row and of sets to fill it from, (1 + FURTHER, k, d) [-]."""
    labels: Bools
    """(1 + FURTHER, k, L)"""
    chance: Array
    """That each rod of them holds, (1 + FURTHER, rods, k) [-]."""
    likely: Array
    """That a set of such batches holds, by yet further sets, (k,) [-]."""
    batches: tuple[Ints, ...]
    """Rods of each batch."""

    def of_batch(self, batch: Ints) -> Array:
        """Return the chance that each rod of one batch holds, the row's own first, (rods, k)."""
        return np.concatenate(list(self.chance[:, batch]))


def states_of(bench: Bench, load: float, hold: Array, importance: Array) -> States:
    """Pick rows and draw further sets of the same batches.

    Parameters
    ----------
    bench : Bench
    load : float [N]
    hold : ndarray, (rods, n) [-]
        Chance that each rod of the sample holds.
    importance : ndarray, (n,) [-]
        Rows are picked in proportion to it; above 0 wherever something is asked of a row.
    """
    layout = bench.rods.layout
    rng = block_rng(bench.sample.seed, PULL, STREAM)
    sets = FURTHER + LOOKS
    room = MOST_JOINTS // (sets * layout.joints)
    states = int(np.clip(room, FEWEST_STATES, MOST_STATES))
    cumulated = np.cumsum(importance)
    points = (np.arange(states) + rng.random()) / states * cumulated[-1]
    rows = np.minimum(np.searchsorted(cumulated, points, side="right"), importance.size - 1)
    drawn = [_further(bench, rows, rng) for _ in range(sets)]
    chance = np.stack([_holds(bench, load, rows, *each) for each in drawn])
    draws, batch = bench.sample.draws, np.asarray(layout.batch_of_rod)
    batches = tuple(np.flatnonzero(batch == number) for number in range(layout.batches))
    looked = [chance[FURTHER:, own].mean(axis=(0, 1)) ** own.size for own in batches]
    return States(
        rows=rows,
        count=bench.weight[rows] / importance[rows] * cumulated[-1] / bench.weight.sum(),
        repeats=states * importance[rows] / cumulated[-1],
        u=np.stack([draws.u[rows], *(u for u, _ in drawn[:FURTHER])]),
        labels=np.stack([draws.labels[rows], *(labels for _, labels in drawn[:FURTHER])]),
        chance=np.concatenate([hold[None, :, rows], chance[:FURTHER]]),
        likely=np.prod(looked, axis=0),
        batches=batches,
    )


def _further(bench: Bench, rows: Ints, rng: np.random.Generator) -> tuple[Array, Bools]:
    """Draw one further set for each row: scores (k, d) and labels (k, L)."""
    rods, draws = bench.rods, bench.sample.draws
    layout = rods.layout
    u = rng.standard_normal((rows.size, layout.dimension))
    for key, columns in layout.columns.items():
        if layout.scopes[key] in ("all", "batch"):
            u[:, columns] = draws.u[rows, columns]
    labels = draws.labels[rows]
    chance = rods.label_chances(u)
    uniform = rng.random(labels.shape)
    for label in range(layout.bad_batch_labels.stop, layout.label_count):
        labels[:, label] = uniform[:, label] < chance(label, labels)
    return u, labels


def _holds(bench: Bench, load: float, rows: Ints, u: Array, labels: Bools) -> Array:
    """Return the chance that each rod of sets as new as the sample holds, (rods, k) [-]."""
    step = max(16, JOINTS_AT_ONCE // bench.rods.layout.joints)
    parts = []
    for start in range(0, rows.size, step):
        part = slice(start, start + step)
        strength = _in_rig(bench.rods, u[part], labels[part])
        spare = strength / load - 1.0 - bench.bias[rows[part]]
        sharp = np.where(spare >= 0.0, 1.0, 0.0)
        parts.append(ndtr(spare / bench.error) if bench.error > 0.0 else sharp)
    return np.concatenate(parts, axis=1)


def _in_rig(rods: RodSet, u: Array, labels: Bools) -> Array:
    """Return the weakest link of each rod in the rig [N], (rods, k)."""
    values = placed(rods.values(u), rods.layout)
    weak, latent = rods.weak_joints(labels), rods.latent_joints(labels)
    bond = rig_joint(rods.scenario, rods.layout, values, weak, latent, years=0.0)
    other = beside(rods.scenario, rods.layout, values, u.shape[0], with_push=False)
    return np.minimum(rod_minimum(bond), other.rig)


# Rods of one batch, taken in turn ---------------------------------------------------------------


def filled(chance: Array, places: int, broken: int) -> Array:
    """Return the chance that all places of a batch are filled after so many have broken.

    Parameters
    ----------
    chance : ndarray, (r, k) [-]
        That each rod holds, in the order in which they are pulled; r >= places + broken - 1.
    places : int
    broken : int
        The batch is dropped when so many have broken.

    Returns
    -------
    ndarray, (broken, k) [-]
        After 0, 1, ... have broken.
    """
    found = np.zeros((broken, chance.shape[1]))
    now = np.zeros_like(found)
    now[0] = 1.0
    for turn, holds in enumerate(chance[: places + broken - 1], start=1):
        fell = now[:-1] * (1.0 - holds)
        now *= holds
        now[1:] += fell
        full = turn - places
        if full >= 0:
            found[full] = now[full]
            now[full] = 0.0
    return found


def over_all_hold(chance: Array, places: int, broken: int) -> Array:
    """Return the chance to fill a batch over that all hold at the first try, without bias, (k,).

    With q the chance that a rod breaks it is the sum over j < `broken` of C(places - 1 + j, j) q^j
    (negative binomial), and the mean over all choices of j rods of the product of their chances
    to break, an elementary symmetric polynomial, has the expectation q^j.

    Parameters
    ----------
    chance : ndarray, (r, k) [-]
        That further rods of the batch hold; r >= broken - 1.
    places, broken : int
        As of `filled`.
    """
    terms = np.zeros((broken, chance.shape[1]))
    terms[0] = 1.0
    j = np.arange(1, broken)[:, None]
    for turn, holds in enumerate(chance, start=1):
        with_it = terms[:-1] * (1.0 - holds) * (places - 1 + j) / turn
        terms[1:] *= np.maximum(turn - j, 0) / turn
        terms[1:] += with_it
    return np.asarray(terms.sum(axis=0))


def chosen(held: Bools, places: int, broken: int) -> tuple[Ints, Bools]:
    """Return which rods fill the places of a batch, and whether it is filled before it is dropped.

    Parameters
    ----------
    held : ndarray of bool, (r, k)
        Which rods hold, in the order in which they are pulled.
    places, broken : int
        As of `filled`.

    Returns
    -------
    ndarray of int, (places, k)
        Any rods where the batch is dropped.
    ndarray of bool, (k,)
    """
    tried = held[: places + broken - 1]
    order = np.argsort(~tried, axis=0, kind="stable")[:places]
    return order, tried.sum(axis=0) >= places


def taken(
    layout: Layout, states: States, asked: Ints, copy: Ints, rod: Ints
) -> tuple[Array, Bools]:
    """Return sets put together of rods of several: scores (a, d) and labels (a, L).

    Parameters
    ----------
    layout : Layout
    states : States
    asked : ndarray of int, (a,)
        Which of the states.
    copy, rod : ndarray of int, (rods, a)
        Where the rod for each place comes from.
    """
    u, labels = states.u[0, asked], states.labels[0, asked]
    scores_of, labels_of = _own_columns(layout), _own_labels(layout)
    rows = asked[:, None]
    for place in range(layout.rods):
        at = copy[place][:, None], rows
        u[:, scores_of[place]] = states.u[(*at, scores_of[rod[place]])]
        labels[:, labels_of[place]] = states.labels[(*at, labels_of[rod[place]])]
    return u, labels


def _own_columns(layout: Layout) -> Ints:
    """Return the columns of scores that each rod has of its own, (rods, c)."""
    rods = np.arange(layout.rods)[:, None]
    found = [np.empty((layout.rods, 0), dtype=np.intp)]
    for key, columns in layout.columns.items():
        if layout.scopes[key] == "joint":
            found.append(columns.start + ENDS * rods + np.arange(ENDS))
        elif layout.scopes[key] not in ("all", "batch"):
            found.append(columns.start + rods)
    return np.concatenate(found, axis=1)


def _own_labels(layout: Layout) -> Ints:
    """Return the labels that each rod has of its own, (rods, c)."""
    rods = np.arange(layout.rods)[:, None]
    kinds = (layout.weak_joint_labels, layout.latent_joint_labels)
    starts = [kind.start for kind in kinds if kind.stop > kind.start]
    found = [start + ENDS * rods + np.arange(ENDS) for start in starts]
    return np.concatenate([np.empty((layout.rods, 0), dtype=np.intp), *found], axis=1)
