"""How likely what parts have gone through is at each state of what is not known.

Rods of one batch are independent given the state and the batch, so the chance of a log is, batch
by batch, the mean over the batches of a state of a product over its parts.

Kernels make a smooth law of the readings from few rods: wider ones far from the middle, where rods
are few (Abramson 1982, Annals of Statistics 10), and the rods drawn together so that mean and
variance stay (Jones 1991, Statistics & Probability Letters 12; both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr

from jointrisk.model.pulled import share_kept

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.study.learn_log import History
    from jointrisk.study.learn_rods import Drawn

    Array = npt.NDArray[np.float64]

KERNEL = 0.15
"""Width of the kernel in the middle, over the standard deviation of a state's rods [-]."""
WIDEST = 3.0
"""Width of the widest kernel over that of the one in the middle [-]."""
SHARPEST = 1e-3
"""Least width of a kernel, of the log of the strength [-]."""
NEVER_SHOWN = 0.05
"""Least 1 + b + e of a pull [-]."""
REACH = 2.0
"""Widths of a kernel by which the law of the readings is trusted beyond its rods [-]."""
TINY = 1e-300
FINE = 48
"""Distinct loads above which a fine grid of so many serves [-]."""
FEW_BATCHES = 2
ROOT = float(np.sqrt(2.0 * np.pi))


@dataclass(frozen=True, slots=True)
class Readings:
    """The law of the readings at which rods would break, as kernels of their logs."""

    centre: Array
    """Log of each rod's reading, drawn together, (k, c, J, M)."""
    width: Array
    """Of the kernels, (k, c, J, M)."""
    weight: Array
    """Of the rods, (c, 1, M) [-], of sum 1."""
    shrink: Array
    """Factor by which the logs are drawn together, (k, c, J, 1) [-]."""
    middle: Array
    """Mean of the logs, (k, c, J, 1)."""
    drawn: Drawn
    error: float
    """Of a pull, as a share of the load [-]."""

    def shown(self, turn: int) -> Array:
        """Return the log of 1 + b + e of a pull, (c, 1, M)."""
        drawn = self.drawn
        factor = 1.0 + drawn.bias[:, None] + self.error * drawn.error[:, :, turn]
        return np.asarray(np.log(np.maximum(factor, NEVER_SHOWN))[:, None])


def readings_of(drawn: Drawn, error: float) -> Readings:
    """Return the law of the readings of rods.

    Parameters
    ----------
    drawn : Drawn
    error : float
        Standard deviation of a pull's own error, as a share of the load [-].
    """
    weight = (drawn.counts / drawn.counts.sum(axis=1, keepdims=True))[:, None]
    first = Readings(drawn.force, drawn.bias, weight, weight, drawn.force, drawn, error)
    logs = drawn.force - first.shown(0)
    middle = (weight * logs).sum(axis=-1, keepdims=True)
    off = logs - middle
    spread = np.sqrt((weight * off**2).sum(axis=-1, keepdims=True))
    spread = np.maximum(spread, SHARPEST / KERNEL)
    wider = np.exp(np.minimum(0.25 * (off / spread) ** 2, np.log(WIDEST)))
    share = (weight * wider**2).sum(axis=-1, keepdims=True) * KERNEL**2
    shrink = np.sqrt(1.0 - np.minimum(share, 1.0))
    return Readings(
        middle + shrink * off, KERNEL * spread * wider, weight, shrink, middle, drawn, error
    )


def beyond(readings: Readings, histories: tuple[History, ...]) -> Array:
    """Return which histories end beyond what rods of each state can do, (H, c) as 0 or 1.

    There the law of the readings is a guess: no rod drawn says anything about it.

    Parameters
    ----------
    readings : Readings
    histories : tuple of History
    """
    top = (readings.centre + REACH * readings.width).max(axis=(0, 2, 3))
    bottom = (readings.centre - REACH * readings.width).min(axis=(0, 2, 3))
    found = np.zeros((len(histories), top.size))
    for number, history in enumerate(histories):
        load, kind = history[-1]
        highest = max(x for x, _ in history) if kind == "held" else load
        if kind != "broke below":
            found[number] = np.log(highest) > top
        if kind != "held":
            found[number] += np.log(load) < bottom
    return found


def chances(readings: Readings, histories: tuple[History, ...]) -> Array:
    """Return the chance of each history, a density [1/N] of those that end "broke at".

    Parameters
    ----------
    readings : Readings
    histories : tuple of History

    Returns
    -------
    ndarray, (H, 2, c, J)
        In a good batch and in a bad one.
    """
    single = [n for n, history in enumerate(histories) if len(history) == 1]
    found = np.empty((len(histories), *readings.drawn.labels.shape[1:]))
    for kind in {histories[n][0][1] for n in single}:
        own = [n for n in single if histories[n][0][1] == kind]
        loads, place = np.unique([histories[n][0][0] for n in own], return_inverse=True)
        found[own] = at_loads(readings, loads, kind)[place]
    for n, history in enumerate(histories):
        if len(history) > 1:
            found[n] = _mixed(readings, _several(readings, history))
    return found


def breaking(readings: Readings, loads: Array) -> Array:
    """Return the chance that a rod breaks at or below each load, (loads, 2, c) [-].

    Over a few of the batches: a curve is drawn by it, and states are many.
    """
    drawn = readings.drawn
    few = replace(
        readings,
        centre=readings.centre[:, :, :FEW_BATCHES],
        width=readings.width[:, :, :FEW_BATCHES],
        drawn=replace(drawn, labels=drawn.labels[..., :FEW_BATCHES]),
    )
    return np.asarray(at_loads(few, loads, "broke below").mean(axis=-1))


def reading_quantiles(readings: Readings, shares: tuple[float, ...]) -> Array:
    """Return readings below which such shares of sound rods of these states break [N]."""
    return np.asarray(np.exp(np.quantile(readings.centre[0], shares)))


def at_loads(readings: Readings, loads: Array, kind: str) -> Array:
    """Return the chance of one kind of pull, (loads, 2, c, J), a density [1/N] of "broke at".

    Parameters
    ----------
    readings : Readings
    loads : ndarray, (loads,) [N]
        Rising.
    kind : {"held", "broke at", "broke below"}
    """
    if loads.size <= FINE:
        return np.stack([_mixed(readings, _one(readings, x, kind)) for x in loads])
    grid = np.geomspace(loads[0], loads[-1], FINE)
    known = np.stack([_mixed(readings, _one(readings, x, kind)) for x in grid])
    logs = np.log(np.maximum(known, TINY))
    at = np.log(loads / grid[0]) / np.log(grid[-1] / grid[0]) * (FINE - 1)
    left = np.clip(np.floor(at).astype(int), 0, FINE - 2)
    share = (at - left)[:, None, None, None]
    return np.asarray(np.exp((1.0 - share) * logs[left] + share * logs[left + 1]))


def _one(readings: Readings, load: float, kind: str) -> Array:
    """Return the same of each label set at one load, (k, c, J)."""
    z = (np.log(load) - readings.centre) / readings.width
    if kind == "broke at":
        value = np.exp(-0.5 * z * z) / (ROOT * readings.width * load)
    else:
        value = ndtr(-z if kind == "held" else z)
    return np.asarray((readings.weight * value).sum(axis=-1))


def _several(readings: Readings, history: History) -> Array:
    """Return the chance of several pulls of one rod under each label set, (k, c, J).

    One kernel moves the rod in all of them. What a pull takes that was held lowers it in later
    ones, by the law of the weakest end.
    """
    drawn = readings.drawn
    begins, most = drawn.begins[:, None, None], drawn.most[:, None, None]
    lost = np.zeros_like(drawn.force)
    above = np.full_like(drawn.force, -np.inf)
    last = above
    for turn, (load, kind) in enumerate(history):
        shown = readings.shown(turn)
        logs = drawn.force - shown + lost
        centre = readings.middle + readings.shrink * (logs - readings.middle)
        last = (np.log(load) - centre) / readings.width
        if kind == "held":
            above = np.maximum(above, last)
            felt = np.minimum(load * np.exp(shown - drawn.force - lost), 1.0)
            lost = lost + np.log(share_kept(felt, np.ones_like(felt), begins, most))
    load, kind = history[-1]
    if kind == "held":
        value = ndtr(-above)
    elif kind == "broke below":
        value = np.maximum(ndtr(last) - ndtr(above), 0.0)
    else:
        value = np.exp(-0.5 * last * last) / (ROOT * readings.width * load) * (last > above)
    return np.asarray((readings.weight * value).sum(axis=-1))


def _mixed(readings: Readings, value: Array) -> Array:
    """Return the mean over label sets in a good and in a bad batch, (2, c, J)."""
    return np.asarray((readings.drawn.labels * value[:, None]).sum(axis=0))


def of_batches(logs: Array, bad: Array, counts: Array) -> tuple[Array, Array]:
    """Return how likely what each batch has gone through is, under each of a state's batches.

    Parameters
    ----------
    logs : ndarray, (H, 2, c, J)
        Logs of the chances.
    bad : ndarray, (c,) [-]
        Chance of a bad batch.
    counts : ndarray, (B, H) [-]

    Returns
    -------
    log_chance : ndarray, (B, c, J)
    bad : ndarray, (B, c, J) [-]
        Chance that the batch is bad, given the log.
    """
    sums = np.tensordot(counts, logs, axes=1)
    with np.errstate(divide="ignore"):
        good_part = sums[:, 0] + np.log1p(-bad)[:, None]
        bad_part = sums[:, 1] + np.log(bad)[:, None]
    together = np.logaddexp(good_part, bad_part)
    return together, np.exp(bad_part - together)


def log_mean(values: Array) -> Array:
    """Return the log of the mean of exponentials over the last axis."""
    top = values.max(axis=-1, keepdims=True)
    return np.asarray(np.log(np.exp(values - top).mean(axis=-1)) + top[..., 0])
