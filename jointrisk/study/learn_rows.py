"""Failure after a log by way of the draws that fail.

P(fails | log) = P(fails) P(log | fails) / P(log). Draws of a weighted sample are picked in
proportion to what they bring to failure. How likely the log is at their states, over how likely
it is by the file alone, is what failure is multiplied by. Where a log agrees tolerably with the
file this tells a rare failure much better than working failure out at states picked for the log.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.reliability.streams import block_rng
from jointrisk.study.band import SMALLEST_LEFT
from jointrisk.study.learn_failure import columns_of
from jointrisk.study.learn_likelihood import chances, log_mean, of_batches, readings_of
from jointrisk.study.learn_rods import BATCHES, drawn_rods, rods_for
from jointrisk.study.sample import LEARN

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from jointrisk.study.learn_log import Log
    from jointrisk.study.learn_rods import Space
    from jointrisk.study.learn_states import States
    from jointrisk.study.sample import Sample

    Array = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.intp]

PICKED = 640
"""Draws picked [-]."""
FEWEST_RODS = 128
"""Rods of each of their states, at least: they fit the log ill, where its chance is known least
[-]."""
PIECE = 2**12
"""Rods worked out at once [-]."""
TINY = 1e-300


@dataclass(frozen=True, slots=True)
class Rows:
    """Draws picked from a sample, and how likely the log is at their states; R of them."""

    weights: tuple[Array, ...]
    """For each kind of failure, (R,) [-], of sum 1."""
    totals: tuple[float, ...]
    """Probability of each kind of failure by the file alone [-]."""
    errors: tuple[float, ...]
    """Standard error of the log of each [-]."""
    of_batch: Array
    """Log of how likely what each batch has gone through is at the state, (R, B)."""
    own: Array
    """The same if the draw's own batch were that one, (R, B)."""
    single: Array
    """Log of how likely a rod of the draw's batch is to go through each history, (R, H)."""
    evidence: float
    """Log of how likely the whole log is by the file alone."""
    noise: float
    """Standard error of it [-]."""

    def ratio(
        self, kind: int, batch: int | None = None, history: int | None = None
    ) -> tuple[float, float]:
        """Return failure after the log, and the standard error of its log [-].

        Parameters
        ----------
        kind : int
            Which kind of failure.
        batch : int, optional
            Batch of the log that the rod is one of; by default of none.
        history : int, optional
            What of the log the rod itself has gone through; by default it is not in the log.
        """
        logs = self.of_batch.sum(axis=1)
        if batch is not None:
            logs = logs - self.of_batch[:, batch] + self.own[:, batch]
        if history is not None:
            logs = logs - self.single[:, history]
        values = np.exp(np.minimum(logs - self.evidence, 700.0))
        weight = self.weights[kind]
        mean = float(weight @ values)
        if not mean > 0.0:
            return 0.0, np.inf
        off = (values / mean - 1.0) ** 2
        spread = float((weight**2 * off).sum()) + self.errors[kind] ** 2 * float(weight @ off)
        return self.totals[kind] * mean, float(np.hypot(np.sqrt(spread), self.noise))


def picked_rows(
    space: Space,
    log: Log,
    states: States,
    sample: Sample,
    terms: Sequence[Array],
    seed: int,
    stream: int,
    pool: Any = None,
) -> Rows:
    """Pick draws that fail and work out how likely the log is at their states.

    Parameters
    ----------
    space : Space
    log : Log
    states : States
    sample : Sample
        Of one rod or of a set.
    terms : sequence of ndarray, (n,) [-]
        What each draw brings to each kind of failure; their means are the probabilities.
    seed, stream : int
    pool : object with ``map``, optional
    """
    rng = block_rng(seed, LEARN, stream)
    totals = tuple(float(own.mean()) for own in terms)
    wanted = np.zeros(terms[0].size)
    for own in terms:
        wanted += own / max(float(own.sum()), TINY)
    if not wanted.any():
        wanted += 1.0
    wanted /= wanted.sum()
    points = (np.arange(PICKED) + rng.random()) / PICKED
    index = np.minimum(np.searchsorted(np.cumsum(wanted), points), wanted.size - 1)
    weights = [own[index] / wanted[index] for own in terms]
    columns = columns_of(space, sample.rods, ("all",))
    batch = columns_of(space, sample.rods, ("all", "batch"))[columns.size :]
    where = sample.rods.layout.bad_batch_labels
    bad = np.zeros(PICKED, dtype=np.intp)
    if where.stop > where.start:
        bad = sample.draws.labels[index, where.start].astype(np.intp)
    u = sample.draws.u[index]
    each = _each(log)
    step = max(1, PIECE // each)

    def piece(start: int) -> tuple[Array, Array, Array]:
        part = slice(start, start + step)
        own = block_rng(seed, LEARN, stream + 1 + start // step)
        return _piece(space, log, u[part][:, columns], u[part][:, batch], bad[part], own)

    starts = range(0, PICKED, step)
    done = list(map(piece, starts) if pool is None else pool.map(piece, starts))
    of_batch, own, single = (np.concatenate(arrays) for arrays in zip(*done, strict=True))
    evidence, noise = _evidence(states)
    return Rows(
        tuple(weight / max(float(weight.sum()), TINY) for weight in weights),
        totals,
        tuple(error_of(own) for own in terms),
        of_batch,
        own,
        single,
        evidence,
        noise,
    )


def _each(log: Log) -> int:
    return max(FEWEST_RODS, rods_for(log.parts))


def _piece(
    space: Space, log: Log, states: Array, batch: Array, bad: Ints, rng: np.random.Generator
) -> tuple[Array, Array, Array]:
    drawn = drawn_rods(space, states, rng, log.turns, _each(log), batch)
    readings = readings_of(drawn, space.rods.scenario.proof.rig_error_cov)
    logs = np.log(np.maximum(chances(readings, log.histories), TINY))
    of_batch = log_mean(of_batches(logs[..., :BATCHES], drawn.bad, log.counts)[0])
    single = logs[:, bad, np.arange(bad.size), BATCHES]
    return of_batch.T, (log.counts @ single).T, single.T


def relative(
    rows: Rows, kind: int, batch: int | None = None, history: int | None = None
) -> tuple[float, float]:
    """Return failure after the log over that of the first kind before it, and its log's error [-].

    Parameters
    ----------
    rows : Rows
    kind, batch, history : int
        As of `Rows.ratio`.
    """
    found, error = rows.ratio(kind, batch, history)
    if kind:
        error = float(np.hypot(error, np.hypot(rows.errors[0], rows.errors[kind])))
    return (found / rows.totals[0], error) if rows.totals[0] > 0.0 else (0.0, np.inf)


def of_those_left(rows: Rows) -> tuple[float, float]:
    """Return failure as a target counts it, after over before, and the error of its log [-].

    Parameters
    ----------
    rows : Rows
        Its second kind is failure as the target counts it, its third to be gone before.
    """
    fails, error = rows.ratio(1)
    gone, _ = rows.ratio(2)
    was = rows.totals[1] / max(1.0 - rows.totals[2], SMALLEST_LEFT)
    now = fails / max(1.0 - gone, SMALLEST_LEFT)
    return (now / was, error) if was > 0.0 else (0.0, np.inf)


def error_of(terms: Array) -> float:
    """Return the standard error of the log of the mean of terms [-].

    Parameters
    ----------
    terms : ndarray, (n,) [-]
    """
    mean = float(terms.mean())
    return float(terms.std() / np.sqrt(terms.size) / mean) if mean > 0.0 else np.inf


def _evidence(states: States) -> tuple[float, float]:
    """Return the log of how likely the log is by the file alone, and its standard error."""
    prior, top = states.prior, float(states.log_chance.max())
    values = np.exp(states.log_chance - top)
    mean = float(prior @ values)
    error = np.sqrt(float((prior**2 * (values / mean - 1.0) ** 2).sum()))
    return float(np.log(mean)) + top, float(error)
