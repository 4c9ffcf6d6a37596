"""How rods break in the rig, given what is not known: what a test on rods can tell.

At each of many states rods are drawn as they come, sound and with a weak end, and pulled until they
break. The log of the breaking load is a surface of the unknowns, the same for both kinds but for
their scatter, and what all rods of a batch share:

    ln load = m(z) + c (shared by a batch) + e (own to a rod)

c is normal; the own part of sound and of weak rods is taken as it was drawn, the same at every
state. A rod is weak by the chance that its state gives, lone or in a bad batch.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import gammaln

from jointrisk.model.layout import ENDS
from jointrisk.model.rodset import RIG_BIAS, rod_set
from jointrisk.reliability.streams import block_rng
from jointrisk.study.band import hypercube, unknown_columns
from jointrisk.study.plan_states import matched_scores
from jointrisk.study.plan_surface import basis, steepest_pairs
from jointrisk.study.sample import PLAN_TESTS, evaluate

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet
    from jointrisk.scenario.types import Scenario
    from jointrisk.study.plan_states import Board

    Array = npt.NDArray[np.float64]
    Bools = npt.NDArray[np.bool_]

STATES, SOUND, WEAK = 512, 24, 12
"""States at which rods are broken, and rods of each kind at each [-]."""
LEAST_LOAD = 1.0
"""A rod that holds less than this is taken to hold this [N]."""
NODES, FEW_NODES = 7, 3
"""Points at which what a batch shares, and the bias of the gauge, are looked at [-]."""
SHARES = (0.1127, 0.5, 0.8873)
SHARE_WEIGHTS = (5 / 18, 8 / 18, 5 / 18)
"""Levels of the share of weak bonds in a bad batch, and their weights (Gauss & Legendre) [-]."""
LEAST = 1e-300


@dataclass(frozen=True, slots=True)
class Rig:
    """Scatter and bias of the rig's gauge, relative [-]."""

    error: float
    bias: float

    def halved(self) -> Rig:
        """Return a gauge twice as good."""
        return Rig(self.error / 2.0, self.bias / 2.0)


@dataclass(frozen=True, slots=True)
class Rods:
    """Breaking loads in the rig at the states of a board."""

    middle: Array
    """m of sound rods at each state: mean of the log of the load in N, (K,)."""
    weak_middle: Array
    """The same, weak rods, (K,)."""
    shared: float
    """Standard deviation of c [-]."""
    sound: Array
    """Own parts of sound rods, sorted, (r,) [-]."""
    weak: Array
    """Own parts of weak rods, sorted; empty where no rod can be weak, (w,) [-]."""
    lone: Array
    """Chance that a rod has a weak end, in a batch that is not bad, (K,) [-]."""
    bad: Array
    """Chance that a batch is bad, (K,) [-]."""
    in_bad: Array
    """Chance that a rod of a bad batch has a weak end, by level of the share, (3, K) [-]."""
    evaluations: int

    @property
    def within(self) -> float:
        """Standard deviation of the own part of sound rods [-]."""
        return float(self.sound.std())

    def kinds(self) -> tuple[Array, Array]:
        """Return chance of each kind of batch and of a weak rod in it, (4, K) each [-]."""
        weights = np.concatenate([[1.0 - self.bad], np.outer(SHARE_WEIGHTS, self.bad)])
        return weights, np.concatenate([self.lone[None], self.in_bad])

    def chance_breaks(self, load: float, rig: Rig, shift: Array) -> Array:
        """Return the chance that one rod breaks in a pull, by kind of batch, (4, s, K) [-].

        Parameters
        ----------
        load : float [N]
        rig : Rig
        shift : ndarray, (s,) [-]
            What the batch and the gauge add to the log of its load.
        """
        spare = np.log(load) - shift[:, None]
        sound = below(self.sound, spare - self.middle, rig.error)
        weak = below(self.weak, spare - self.weak_middle, rig.error) if self.weak.size else sound
        share = self.kinds()[1][:, None, :]
        return np.asarray((1.0 - share) * sound + share * weak)


def below(own: Array, value: Array, error: float) -> Array:
    """Return the share of rods whose own part, read with an error, lies below, like `value` [-].

    Parameters
    ----------
    own : ndarray, (r,) [-]
        Sorted.
    value : ndarray, (...,) [-]
    error : float
        Standard deviation of a reading [-]; it widens the parts drawn.
    """
    spread = float(own.std())
    wider = np.sqrt(1.0 + (error / spread) ** 2) if spread > 0.0 else 1.0
    middle = float(own.mean())
    at = middle + (value - middle) / wider
    return np.asarray(np.searchsorted(own, at) / own.size)


def rods_of(scenario: Scenario, board: Board, seed: int, pool: Any = None) -> Rods:
    """Break rods at many states, and return what their loads are at the states of the board."""
    single = rod_set(scenario, rods=1)
    given = unknown_columns(single)
    rng = block_rng(seed, PLAN_TESTS, 3)
    states = hypercube(rng, STATES, int(given.sum()))
    sound = _loads(single, states, given, rng, SOUND, pool)
    u = matched_scores(single, board)
    lone, bad, in_bad = _weak_chances(single, u)
    at = u[:, given]
    pairs = steepest_pairs(states, sound.mean)
    middle, own, shared = _split(sound, states, pairs)
    weak_own: Array = np.empty(0)
    weak_middle = basis(at, pairs) @ middle
    if (lone + bad).any():
        weak = _loads(single, states, given, rng, WEAK, pool, weak=True)
        weak_middle, weak_own, _ = _split(weak, states, pairs)
        weak_middle = basis(at, pairs) @ weak_middle
    return Rods(
        middle=basis(at, pairs) @ middle,
        weak_middle=weak_middle,
        shared=shared,
        sound=np.sort(own),
        weak=np.sort(weak_own),
        lone=lone,
        bad=bad,
        in_bad=in_bad,
        evaluations=STATES * (SOUND + (WEAK if weak_own.size else 0)),
    )


@dataclass(frozen=True, slots=True)
class _Broken:
    """Rods that were broken at states, n at each."""

    logs: Array
    """Log of the load in N, (states, n)."""
    shared: Array
    """Normal scores of what all rods of a batch share, (states, n, q) [-]."""

    @property
    def mean(self) -> Array:
        """Mean of the logs at each state, (states,)."""
        return np.asarray(self.logs.mean(axis=1))


def _loads(
    single: RodSet,
    states: Array,
    given: Bools,
    rng: np.random.Generator,
    each: int,
    pool: Any,
    *,
    weak: bool = False,
) -> _Broken:
    """Break rods at states; those of `weak` have one weak end, the first or the second."""
    layout, n = single.layout, states.shape[0] * each
    u = rng.standard_normal((n, layout.dimension))
    u[:, given] = np.repeat(states, each, axis=0)
    labels = np.zeros((n, layout.label_count), dtype=bool)
    if weak:
        end = layout.weak_joint_labels.start + np.arange(n) % ENDS
        labels[np.arange(n), end] = True
    outcome = evaluate(single, u, labels, pool)
    logs = np.log(np.maximum(outcome.in_rig[0], LEAST_LOAD))
    together = np.zeros(layout.dimension, dtype=bool)
    for key, columns in layout.columns.items():
        together[columns] = layout.scopes[key] in ("batch", "all") and key != RIG_BIAS
    shared = u[:, together & ~given]
    return _Broken(logs.reshape(-1, each), shared.reshape(states.shape[0], each, -1))


def _split(
    broken: _Broken, states: Array, pairs: npt.NDArray[np.intp]
) -> tuple[Array, Array, float]:
    """Return the weights of the surface m, the own parts (r,), and the sd of the shared part."""
    functions = basis(states, pairs)
    weights = np.asarray(np.linalg.lstsq(functions, broken.mean, rcond=None)[0], dtype=float)
    each = broken.logs.shape[1]
    apart = (broken.logs - broken.mean[:, None]).ravel()
    shared = (broken.shared - broken.shared.mean(axis=1, keepdims=True)).reshape(apart.size, -1)
    slopes: Array = np.zeros(0)
    if shared.shape[1]:
        slopes = np.asarray(np.linalg.lstsq(shared, apart, rcond=None)[0], dtype=float)
    own: Array = (apart - shared @ slopes) * np.sqrt(each / (each - 1.0))
    return weights, own, float(np.sqrt(np.sum(slopes**2)))


def _weak_chances(single: RodSet, u: Array) -> tuple[Array, Array, Array]:
    """Return chances of a weak rod alone, of a bad batch, and of a weak rod in one, at states."""
    names = ("lone_weight", "bad_batch_weight")
    found = single.values(u, keys={f"weak_bonds.{name}" for name in names})
    size = u.shape[0]
    lone, bad = (
        np.clip(np.broadcast_to(found[f"weak_bonds.{name}"], (1, size))[0], 0.0, 1.0)
        for name in names
    )
    spread = single.variables["weak_bonds.share_in_bad_batch"].spread
    shares = np.clip(spread.ppf(np.array(SHARES)), 0.0, 1.0)[:, None]
    return _rod(lone), bad, _rod(np.maximum(shares, lone))


def _rod(joint: Array) -> Array:
    """Return the chance that a rod has a weak end, from that of one joint [-]."""
    return np.asarray(1.0 - (1.0 - joint) ** ENDS)


# What may come out ------------------------------------------------------------------------------


def broken_counts(rods: Rods, load: float, rig: Rig, size: int) -> tuple[Array, Array]:
    """Return the chance of each number of broken rods in a batch, given the gauge's bias.

    Returns
    -------
    ndarray, (b,) [-]
        Weights of the biases.
    ndarray, (b, K, size + 1) [-]
    """
    weights, shifts, biases = _shifts(rods, rig)
    kinds = rods.kinds()[0]
    tables = []
    for shift in shifts:
        table = binomial(rods.chance_breaks(load, rig, shift), size)
        tables.append(np.einsum("tk,s,tskj->kj", kinds, weights, table))
    return biases, np.stack(tables)


def binomial(chance: Array, size: int) -> Array:
    """Return the chances of 0 to `size` out of `size`, on a last axis of size + 1 [-]."""
    counts = np.arange(size + 1)
    ways = gammaln(size + 1) - gammaln(counts + 1) - gammaln(size - counts + 1)
    p = np.clip(chance, 1e-12, 1.0 - 1e-12)[..., None]
    return np.asarray(np.exp(ways + counts * np.log(p) + (size - counts) * np.log1p(-p)))


def broken_none(rods: Rods, load: float, rig: Rig, count: int, batch: int) -> Array:
    """Return the chance that none of so many rods breaks at each state, (K,) [-].

    Parameters
    ----------
    rods : Rods
    load : float [N]
    rig : Rig
    count, batch : int
        Rods, and rods of one batch [-].
    """
    whole, rest = divmod(count, batch)
    kinds = rods.kinds()[0]
    weights, shifts, biases = _shifts(rods, rig)
    found: Array = np.zeros(rods.middle.size)
    for bias, shift in zip(biases, shifts, strict=True):
        holds = 1.0 - rods.chance_breaks(load, rig, shift)
        of_batch = np.einsum("tk,s,tsk->k", kinds, weights, holds**batch)
        of_rest = np.einsum("tk,s,tsk->k", kinds, weights, holds**rest)
        found = found + bias * of_batch**whole * of_rest
    return found


def _shifts(rods: Rods, rig: Rig) -> tuple[Array, list[Array], Array]:
    """Return weights of what a batch shares, its shifts by the gauge's bias, and their weights."""
    points, weights = np.polynomial.hermite_e.hermegauss(NODES)
    few, biases = np.polynomial.hermite_e.hermegauss(FEW_NODES)
    if rig.bias == 0.0:
        few, biases = np.zeros(1), np.ones(1)
    # a gauge that reads low pulls harder than asked: the rod is as much weaker
    shifts = [rods.shared * points - rig.bias * point for point in few]
    return weights / weights.sum(), shifts, biases / biases.sum()
