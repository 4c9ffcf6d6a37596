"""What each test may show in each state, and what the states weigh after it.

Outcomes are simulated from the truths with the same random numbers for every number of parts, so
that more parts never seem to tell less by chance alone.

* Coupons: the mean of the logs of k coupons of the same glue on the same surfaces, glued in one go
  by the same hands. They tell the strength of the glue, and of the worth of the evidence as much
  as the table of evidence says that own coupons do; how a coupon differs from a rod stays.
* Rods pulled to break: the mean of the logs of their loads, those with a weak bond apart, which
  their faces show, and how many these are. Made in one go.
* Pulls to a load: how many of n rods break, batch by batch.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import numpy as np

from jointrisk.model.bond import OWN_EVIDENCE
from jointrisk.model.rodset import rod_set
from jointrisk.reliability.streams import block_rng
from jointrisk.scenario import tables
from jointrisk.study.plan_rods import binomial, broken_counts
from jointrisk.study.plan_states import matched_scores
from jointrisk.study.plan_worth import normal_log_likelihood, posterior
from jointrisk.study.sample import PLAN_TESTS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from jointrisk.scenario.types import Scenario, Variable
    from jointrisk.study.plan_rods import Rig, Rods
    from jointrisk.study.plan_states import Board

    Array = npt.NDArray[np.float64]

GLUE = ("adhesive.shear_strength", "adhesive.shear_strength_range")
EVIDENCE = "evidence.factor"
MIXED = "batch.bond_factor"
ONE_SD = (0.15865525393145707, 0.8413447460685429)
LEAST = 1e-300
NOTHING = 1e-12


@dataclass(frozen=True, slots=True)
class Reading:
    """What the mean of the logs of coupons is in each state, and how it scatters."""

    mean: Array
    """(K,)"""
    own: float
    """Variance from coupon to coupon."""
    shared: float
    """Variance that all of them share."""

    def sd(self, count: int) -> float:
        """Return the standard deviation of the mean of `count` coupons."""
        return float(np.sqrt(self.shared + self.own / count))


def coupon_reading(scenario: Scenario, board: Board) -> Reading:
    """Return what coupons would show in each state.

    Parameters
    ----------
    scenario : Scenario
    board : Board
    """
    single = rod_set(scenario, rods=1)
    variables = single.variables
    asked = [key for key in (*GLUE, EVIDENCE) if key in board.keys]
    values = single.values(matched_scores(single, board), keys=set(asked))
    mean = np.zeros(board.scores.shape[0])
    shared = log_sd(variables[MIXED]) ** 2
    own = log_sd(variables[f"preparation.{scenario.end}"]) ** 2
    for key in GLUE:
        if key in values:
            mean = mean + np.log(np.maximum(values[key][0], LEAST))
        elif key in variables:
            own += log_sd(variables[key]) ** 2
    if EVIDENCE in values and scenario.evidence not in OWN_EVIDENCE:
        told, left = evidence_split(log_sd(variables[EVIDENCE]))
        mean = mean + told * variables[EVIDENCE].spread.to_normal(values[EVIDENCE][0])
        shared += left
    return Reading(mean, own, shared)


def evidence_split(sd: float) -> tuple[float, float]:
    """Return what own coupons tell of the worth of the evidence, and what is in their way.

    The log of the factor is a part that coupons show and a part that they share with own coupons'
    evidence, from coupon to rod, which they do not: both normal, the variances add up. Given the
    whole, z standard deviations off its middle, the first part is normal (derivation: conditional
    of a sum).

    Parameters
    ----------
    sd : float
        Of the log of the factor now [-].

    Returns
    -------
    float
        Mean of the part that is shown, for each z [-].
    float
        Variance of it given the whole [-].
    """
    table = cast("Mapping[str, float]", tables.default("evidence.own coupons").value)
    hidden = min(float(np.log1p(table["cov"] ** 2)), sd**2)
    shown = sd**2 - hidden
    return shown / max(sd, LEAST), shown * hidden / max(sd**2, LEAST)


def log_sd(variable: Variable) -> float:
    """Return half the way between the logs of the points one standard deviation off either way."""
    if not variable.spread.sd > 0.0:
        return 0.0
    low, high = np.log(np.maximum(variable.spread.ppf(np.array(ONE_SD)), LEAST))
    return float(high - low) / 2.0


def after_coupons(reading: Reading, board: Board, count: int, seed: int) -> Array:
    """Return the weights of the states after so many coupons, (J, K) [-]."""
    drawn = block_rng(seed, PLAN_TESTS, 4).standard_normal(board.truths.size)
    sd = reading.sd(count)
    outcome = reading.mean[board.truths] + sd * drawn
    return posterior(normal_log_likelihood(outcome, reading.mean, max(sd, NOTHING)))


def after_rods(rods: Rods, board: Board, count: int, rig: Rig, seed: int) -> Array:
    """Return the weights of the states after so many rods were broken, (J, K) [-]."""
    rng = block_rng(seed, PLAN_TESTS, 5)
    truths = board.truths
    weak = _weak_flags(rods, truths, count, rng)
    common = rng.standard_normal((truths.size, 2))
    most = max(count, 16)
    own = rods.sound[rng.integers(rods.sound.size, size=(truths.size, most))][:, :count]
    read = rng.standard_normal((truths.size, most))[:, :count]
    loads = rods.middle[truths][:, None] + own + rig.error * read
    loads += (rods.shared * common[:, :1]) + rig.bias * common[:, 1:]
    sound = (~weak).sum(axis=1)
    mean = np.where(weak, 0.0, loads).sum(axis=1) / np.maximum(sound, 1)
    scatter = (rods.within**2 + rig.error**2) / np.maximum(sound, 1)
    sd = np.sqrt(rods.shared**2 + rig.bias**2 + scatter)
    found = normal_log_likelihood(mean, rods.middle, np.maximum(sd, NOTHING))
    found[sound == 0] = 0.0
    weights, share = rods.kinds()
    table = np.einsum("tk,tkj->kj", weights, binomial(share, count))
    return posterior(found + np.log(np.maximum(table, LEAST)).T[weak.sum(axis=1)])


def _weak_flags(
    rods: Rods, truths: npt.NDArray[np.intp], count: int, rng: np.random.Generator
) -> npt.NDArray[np.bool_]:
    """Return which of the rods of one batch are weak, (J, count) bool."""
    weights, share = (part[:, truths] for part in rods.kinds())
    kind = (rng.random(truths.size) > np.cumsum(weights, axis=0)).sum(axis=0)
    chance = share[np.minimum(kind, weights.shape[0] - 1), np.arange(truths.size)]
    drawn = rng.random((truths.size, max(count, 16)))[:, :count]
    return np.asarray(drawn < chance[:, None])


def after_pulls(
    rods: Rods, board: Board, load: float, sizes: Sequence[int], rig: Rig, seed: int
) -> tuple[Array, float, Array]:
    """Return what is known after pulls of batches of these sizes, by how many rods broke.

    Returns
    -------
    ndarray, (J, K) [-]
        Weights of the states after each outcome.
    float [-]
        Rods that break, on average.
    ndarray, (K,) [-]
        Chance of each state that all hold.
    """
    rng = block_rng(seed, PLAN_TESTS, 6)
    truths, levels = board.truths, rng.random(board.truths.size)
    biases, log_like = np.ones(1), np.zeros((1, 1, 1))
    held: Array = np.ones((1, 1))
    broken = 0.0
    for size in sorted(set(sizes)):
        number = list(sizes).count(size)
        biases, table = broken_counts(rods, load, rig, size)
        which = (levels[:, None] > np.cumsum(biases)[None, :]).sum(axis=1)
        own = table[np.minimum(which, biases.size - 1), truths]
        counts = rng.random((truths.size, number, 1)) > np.cumsum(own, axis=1)[:, None, :]
        breaks = np.minimum(counts.sum(axis=2), size)
        times = (breaks[:, :, None] == np.arange(size + 1)).sum(axis=1).astype(float)
        logs = np.log(np.maximum(table, LEAST))
        log_like = log_like + np.einsum("js,bks->bjk", times, logs)
        held = held * table[:, :, 0] ** number
        mean = np.einsum("b,bks,s->k", biases, table, np.arange(size + 1.0))
        broken += number * float(mean.mean())
    top = log_like.max(axis=0)
    whole = np.einsum("b,bjk->jk", biases, np.exp(log_like - top))
    weight = posterior(top + np.log(np.maximum(whole, LEAST)))
    return weight, broken, np.asarray(biases @ held)


def scores_told(weight: Array, board: Board) -> Array:
    """Return the share of the variance of each unknown that a test is expected to settle, (m,)."""
    told = (weight @ board.scores).var(axis=0) / board.scores.var(axis=0)
    return np.asarray(told)
