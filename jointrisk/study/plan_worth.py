"""What a test is worth before it is made: preposterior analysis on states of what is not known.

Sources: Raiffa & Schlaifer 1961, "Applied statistical decision theory", for the expected value of
sample information; Heath, Manolopoulou & Baio 2017, "A review of methods for analysis of the
expected value of information", Medical Decision Making 37, for estimates of it by reweighting
(both from memory).

K equally likely states stand for what is not known; each has a failure probability. Some of them
serve as truths: from each an outcome y of the test is simulated, and every state is weighted by how
likely it makes that outcome (Bayes). The weighted states are what would be known after the test;
averages over the outcomes are what is expected of it.

Functions of arrays alone: nothing here knows of rods. Intervals come from leaving out one of
`GROUPS` groups of everything at a time (jackknife; Tukey 1958, from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.study.results import Chance

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.intp]

GROUPS = 16
STUDENT = 2.1314
"""Two-sided 95 % point of Student's t with 15 degrees of freedom."""
TAILS = (0.05, 0.5, 0.95)
ROUNDING = 1e-12
NEAR = (0.1, 0.3, 1.0)
"""What counts as near to the target, in standard deviations of the logs of all states [-]."""
Logs = Callable[[int], "Array"]
"""Logs of the failure probabilities, (K,) or one row an outcome, (J, K) [-]: by the number of the
replicate, 0 for the whole and 1 to `GROUPS` with one group left out."""


@dataclass(frozen=True, slots=True)
class Worth:
    """What is expected after a test; each of the whole and of the replicates, (1 + GROUPS,)."""

    low: Array
    """Mean of the log of the 5 % point of the failure probability [-]."""
    middle: Array
    """The same, 50 %."""
    top: Array
    """The same, 95 %."""
    high: Array
    """Mean of the 95 % point itself [-]."""
    wrong: Array
    """Expected chance to be wrong about the target, deciding by what is likelier [-]; NaN without
    a target."""
    met: Array
    """Share of states that meet it [-]."""
    clear: Array
    """Chance that it lies outside the band from 5 to 95 % [-]."""
    means: Array
    """Average failure probability after each outcome, (J,) [-]."""

    @property
    def width(self) -> Array:
        """Expected width of the band, natural log."""
        return self.top - self.low


def groups_of(count: int) -> Ints:
    """Return the group of each of `count` things in random order, (count,)."""
    return np.arange(count) * GROUPS // count


def posterior(log_likelihood: Array) -> Array:
    """Return the weights of equally likely states given each outcome, (J, K); rows sum to 1 [-].

    Parameters
    ----------
    log_likelihood : ndarray, (J, K)
        Log of the chance (or density) of outcome j in state k, up to a constant for each j.
    """
    weight = np.exp(log_likelihood - log_likelihood.max(axis=1, keepdims=True))
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def normal_log_likelihood(outcome: Array, mean: Array, sd: Array | float) -> Array:
    """Return the log density of normal outcomes, (J, K), up to a constant that all share.

    Parameters
    ----------
    outcome : ndarray, (J,)
    mean : ndarray, (K,)
        In each state.
    sd : ndarray, (J,), or float
        Of the outcome.
    """
    spread = np.reshape(np.asarray(sd, dtype=float), (-1, 1))
    return np.asarray(-0.5 * ((outcome[:, None] - mean[None, :]) / spread) ** 2)


def worth(
    logs: Logs,
    weight: Array | None,
    truth_group: Ints,
    state_group: Ints,
    target: float | None,
    truths: Ints | None = None,
) -> Worth:
    """Return what is expected after a test.

    Parameters
    ----------
    logs : callable
        Logs of the failure probabilities of the states, by replicate.
    weight : ndarray, (J, K) [-]
        Of the states after each outcome, as `posterior` gives them; None where all weigh alike.
    truth_group, state_group : ndarray of int, (J,) and (K,)
        What each outcome and each state is left out with.
    target : float, optional
        Failure probability to meet [-].
    truths : ndarray of int, (J,), optional
        States that the outcomes come from: how far they lie from the target, of which the mean over
        all states is known, takes out much of the chance in drawing them.
    """
    rows = [
        _replicate(logs(number), weight, truth_group, state_group, target, number, truths)
        for number in range(1 + GROUPS)
    ]
    values = np.array([row[:-1] for row in rows]).T
    low, middle, top, high, wrong, met, clear = values
    return Worth(low, middle, top, high, wrong, met, clear, rows[0][-1])


def _replicate(
    logs: Array,
    weight: Array | None,
    truth_group: Ints,
    state_group: Ints,
    target: float | None,
    number: int,
    origins: Ints | None,
) -> tuple[float, float, float, float, float, float, float, Array]:
    states = np.flatnonzero(state_group != number - 1)
    truths = np.flatnonzero(truth_group != number - 1)
    level = np.inf if target is None else float(np.log(target))
    known = np.empty((0, truths.size))
    if logs.ndim == 1:
        if origins is not None and target is not None:
            known = _nearness(logs - level, origins[truths], states)
        states = states[np.argsort(logs[states], kind="stable")]
        logs = logs[states]
        sums = _sums(weight, truths, states)
        ends = logs[_places(sums)]
        met = int(np.searchsorted(logs, level, side="right"))
        after = sums[:, met - 1] / sums[:, -1] if met else np.zeros(sums.shape[0])
        share = met / logs.size
        means = np.diff(sums, axis=1, prepend=0.0) @ np.exp(logs) if number == 0 else after
    else:
        logs = logs[np.ix_(truths, states)]
        ends = np.quantile(logs, TAILS, axis=1)
        after = (logs <= level).mean(axis=1)
        share = float(after.mean())
        means = np.exp(logs).mean(axis=1)
    wrong, clear = np.nan, np.nan
    if target is not None:
        known = known if known.shape[1] == after.size else known[:, :0]
        wrong = expected_wrong(after, share, known)
        plain = (ends[2] <= level) | (ends[0] > level)
        clear = float(plain.mean()) - _error(plain.astype(float), known)
        clear = min(max(clear, 0.0), 1.0)
    low, middle, top = ends.mean(axis=1)
    high = float(np.exp(ends[2]).mean())
    return low, middle, top, high, wrong, share if target is not None else np.nan, clear, means


def _sums(weight: Array | None, truths: Ints, states: Ints) -> Array:
    """Return the weights of the states in this order, added up, (J, k)."""
    if weight is None:
        return np.arange(1.0, states.size + 1.0)[None] / states.size
    return np.cumsum(np.take(weight[truths], states, axis=1), axis=1)


def _places(sums: Array) -> Ints:
    """Return where each row of rising sums reaches each of the tails, (tails, J)."""
    rows, size = np.arange(sums.shape[0]), sums.shape[1]
    wanted = np.array(TAILS)[:, None] * sums[:, -1] * (1.0 - ROUNDING)
    low, high = np.zeros(wanted.shape, dtype=np.intp), np.full(wanted.shape, size - 1)
    while (low < high).any():
        middle = (low + high) // 2
        reached = sums[rows, middle] >= wanted
        high, low = np.where(reached, middle, high), np.where(reached, low, middle + 1)
    return np.asarray(low)


def weighted_quantiles(values: Array, weight: Array) -> Array:
    """Return the quantiles `TAILS` of the same values under several sets of weights, (tails, J).

    Parameters
    ----------
    values : ndarray, (K,)
    weight : ndarray, (J, K) [-]
    """
    order = np.argsort(values, kind="stable")
    return np.asarray(values[order][_places(np.cumsum(weight[:, order], axis=1))])


def _nearness(distance: Array, truths: Ints, states: Ints) -> Array:
    """Return how near to the target the truths lie, each less its mean over all states, (c, J).

    Parameters
    ----------
    distance : ndarray, (K,)
        Of the log of each state's failure probability from that of the target.
    truths, states : ndarray of int, (J,) and (k,)
    """
    spread = float(distance[states].std())
    near = [np.exp(-0.5 * (distance / (part * spread)) ** 2) for part in NEAR if spread > 0.0]
    near += [(distance <= 0.0).astype(float)]
    return np.stack([each[truths] - each[states].mean() for each in near])


def _error(values: Array, known: Array) -> float:
    """Return by how much the mean of values is off, as far as that is known of others with them.

    Parameters
    ----------
    values : ndarray, (J,)
    known : ndarray, (c, J)
        Quantities whose expectations are 0 (control variates; regression of the values on them).
    """
    if known.size == 0 or not values.std() > 0.0:
        return 0.0
    middle = known.mean(axis=1)
    apart = known - middle[:, None]
    slopes = np.linalg.lstsq(apart.T, values - values.mean(), rcond=None)[0]
    return float(slopes @ middle)


def expected_wrong(after: Array, before: float, known: Array | None = None) -> float:
    """Return the expected chance to be wrong about a target, deciding by what is likelier [-].

    Parameters
    ----------
    after : ndarray, (J,) [-]
        Chance that the target is met, after each outcome.
    before : float [-]
        The same before: what the average of `after` has to be.
    known : ndarray, (c, J), optional
        Other quantities of the outcomes, whose expectations are 0.

    Notes
    -----
    The loss is 1 for a wrong decision either way. That the average over the outcomes is known
    serves as control variate (derivation: regression of the chance to be wrong on what is known).
    """
    if not after.std() > 0.0:
        return min(before, 1.0 - before)
    wrong = np.minimum(after, 1.0 - after)
    own = (after - before)[None]
    every = own if known is None or known.size == 0 else np.concatenate([own, known])
    return min(max(float(wrong.mean()) - _error(wrong, every), 0.0), before, 1.0 - before)


def chance_of(values: Array, low: float = -np.inf, high: float = np.inf) -> Chance:
    """Return the first of values of the whole and the replicates, with the interval of all.

    Parameters
    ----------
    values : ndarray, (1 + GROUPS,) [-]
    low, high : float
        Ends that cannot be passed [-].
    """
    again = values[1:]
    error = float(np.sqrt((GROUPS - 1) / GROUPS * np.sum((again - again.mean()) ** 2)))
    whole = float(values[0])
    return Chance(whole, max(whole - STUDENT * error, low), min(whole + STUDENT * error, high))
