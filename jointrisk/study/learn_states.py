"""States of what is not known, weighted by how likely they make the log.

The first round fills the space of the file alone evenly. As long as too few states fit the log, a
further round is drawn from a normal law laid over those that do, widened, and from the file again
as a guard. Every state is weighted against the mixture of all rounds (deterministic mixture: Owen
& Zhou 2000, JASA 95; adaptive multiple importance sampling: Cornuet, Marin, Mira & Robert 2012,
Scandinavian Journal of Statistics 39; both from memory). The chance of a log at a state is itself
an average over few rods, which leaves the weights right on average (pseudo-marginal: Andrieu &
Roberts 2009, Annals of Statistics 37, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.model.layout import ENDS
from jointrisk.reliability.streams import block_rng
from jointrisk.study.learn_conflict import drawn_logs
from jointrisk.study.learn_likelihood import (
    beyond,
    breaking,
    chances,
    log_mean,
    of_batches,
    readings_of,
)
from jointrisk.study.learn_rods import drawn_rods, even, rods_for
from jointrisk.study.sample import LEARN

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.study.learn_conflict import Expected
    from jointrisk.study.learn_log import Log
    from jointrisk.study.learn_rods import Space

    Array = npt.NDArray[np.float64]

STATES = 1024
"""States of one round [-]."""
MOST_ROUNDS = 6
WANTED = 500.0
"""Effective states at which no further round is drawn [-]."""
FEWEST = 150.0
"""Effective states below which the numbers are not trusted [-]."""
FIT_ON = 60.0
"""Effective states on which the normal law of a round is laid, the weights flattened if need be
[-]."""
WIDER = 1.3
"""Factor on the covariance of a round [-]."""
GUARD = 0.1
"""Share of a further round that comes from the file alone [-]."""
PIECE = 2**12
"""Rods worked out at once [-]."""
TINY = 1e-300


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of each state."""

    log: Log
    told: tuple[int, ...]
    """Batches of which more is kept."""
    grid: Array
    """Loads of the curve [N]."""
    expected: Expected


@dataclass(frozen=True, slots=True)
class States:
    """States that were looked at; n of them, J batches of each."""

    scores: Array
    """(n, s) [-]"""
    log_prior: Array
    """Log of the density by the file over that of all rounds, (n,) [-]."""
    log_chance: Array
    """Of the whole log, (n,) [-]."""
    of_groups: Array
    """Of each group of the log by itself, (n, groups) [-]."""
    held: Array
    """Of the parts that held, by themselves, (n,) [-]."""
    broke: Array
    """Of the parts that broke, by themselves, (n,) [-]."""
    parts: Array
    """Chance of each history of a rod of a new batch, (n, H) [-]."""
    curve: Array
    """Chance that a rod of a new batch breaks at or below each load, (n, grid) [-]."""
    batch_scores: Array
    """(n, J, columns of a batch) [-]"""
    bad: Array
    """Chance of a bad batch, (n,) [-]."""
    weak: Array
    """Share of the joints of a new batch that are weak, (n,) [-]."""
    told_chance: Array
    """Log of the chance of what each batch told has gone through, (n, told, J) [-]."""
    told_bad: Array
    """Chance that it is bad, given that, (n, told, J) [-]."""
    hold: Array
    """Chance of each history in a good and a bad batch, (n, H, 2, J) [-]."""
    beyond: Array
    """Share of the parts of the log beyond what rods of the state can do, (n,) [-]."""
    drawn_breaks: Array
    """Breaks in logs drawn from each state, (n, repeats) [-]."""
    drawn_logs: Array
    """Their mean logs of breaking loads, (n, repeats)."""
    first: int
    """States of the first round, drawn from the file alone [-]."""
    rounds: int
    evaluations: int

    @property
    def prior(self) -> Array:
        """Weights by the file alone, (n,) [-], of sum 1."""
        return normal(self.log_prior)

    @property
    def posterior(self) -> Array:
        """Weights after the log, (n,) [-], of sum 1."""
        return normal(self.log_prior + self.log_chance)

    @property
    def effective(self) -> float:
        """Effective states after the log [-]."""
        return effective(self.posterior)


def normal(logs: Array) -> Array:
    """Return weights of sum 1 from their logs."""
    weight = np.exp(logs - logs.max())
    return np.asarray(weight / weight.sum())


def effective(weight: Array) -> float:
    """Return the effective number of weights (Kish 1965) [-]."""
    return float(weight.sum() ** 2 / (weight**2).sum())


def information(log_prior: Array, log_chance: Array) -> float:
    """Return what a log teaches: the divergence of after from before [bits], at least 0."""
    after = normal(log_prior + log_chance)
    top = log_chance.max()
    mean = float((normal(log_prior) * np.exp(log_chance - top)).sum())
    nats = float((after * (log_chance - top)).sum()) - float(np.log(max(mean, TINY)))
    return max(nats, 0.0) / float(np.log(2.0))


@dataclass(frozen=True, slots=True)
class _Law:
    """A normal law of states."""

    mean: Array
    factor: Array
    """Lower Cholesky factor of the covariance."""

    def log_ratio(self, scores: Array) -> Array:
        """Return the log of its density over the standard normal one, (n,)."""
        z = np.linalg.solve(self.factor, (scores - self.mean).T)
        size = float(np.log(np.diag(self.factor)).sum())
        return np.asarray(0.5 * (scores**2).sum(axis=1) - 0.5 * (z**2).sum(axis=0) - size)


def learnt_states(space: Space, asked: Asked, seed: int, pool: Any = None) -> States:
    """Draw states until enough of them fit the log.

    Parameters
    ----------
    space : Space
    asked : Asked
    seed : int
    pool : object with ``map``, optional
    """
    dimension = int(space.state.sum())
    laws: list[_Law] = []
    counts = [0.0]
    parts: list[dict[str, Array]] = []
    while True:
        number = len(parts)
        rng = block_rng(seed, LEARN, number)
        guard = STATES if number == 0 else int(GUARD * STATES)
        scores = even(rng, 1, guard, dimension)[0]
        counts[0] += guard
        if number:
            law = laws[-1]
            moved = law.mean + even(rng, 1, STATES - guard, dimension)[0] @ law.factor.T
            scores = np.concatenate([scores, moved])
            counts.append(STATES - guard)
        parts.append(_worked_out(space, asked, scores, seed, number, pool))
        found = _joined(space, rods_for(asked.log.parts), parts, laws, counts)
        if dimension == 0 or found.effective >= WANTED or number + 1 == MOST_ROUNDS:
            return found
        laws.append(_laid(found))


def _joined(
    space: Space, each: int, parts: list[dict[str, Array]], laws: list[_Law], counts: list[float]
) -> States:
    """Weigh all states against the mixture of all rounds; `each` rods were drawn of a state."""
    fields = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    total = sum(counts)
    logs = [np.full(fields["scores"].shape[0], np.log(counts[0] / total))]
    for law, count in zip(laws, counts[1:], strict=True):
        logs.append(np.log(count / total) + law.log_ratio(fields["scores"]))
    mixed = np.logaddexp.reduce(np.stack(logs), axis=0)
    times = (1 + 2 * len(space.moving)) * (2 if space.has_weak else 1)
    joints = ENDS * times * each * mixed.size
    first = parts[0]["scores"].shape[0]
    return States(log_prior=-mixed, first=first, rounds=len(parts), evaluations=joints, **fields)


def _laid(found: States) -> _Law:
    """Lay a normal law over the states that fit, by weights flat enough to tell it."""
    flat = 1.0
    weight = found.posterior
    while effective(weight) < FIT_ON and flat > 1e-3:
        flat *= 0.7
        weight = normal(found.log_prior + flat * found.log_chance)
    mean = weight @ found.scores
    off = found.scores - mean
    spread = (weight[:, None] * off).T @ off
    size = mean.size
    trust = effective(weight) / (effective(weight) + size)
    spread = WIDER * (trust * spread + (1.0 - trust) * np.diag(np.diag(spread)))
    spread += 1e-6 * np.eye(size)
    return _Law(mean, np.asarray(np.linalg.cholesky(spread), dtype=float))


def _worked_out(
    space: Space, asked: Asked, scores: Array, seed: int, number: int, pool: Any
) -> dict[str, Array]:
    """Work out states in pieces, each with a stream of its own."""
    step = max(1, PIECE // rods_for(asked.log.parts))

    def piece(start: int) -> dict[str, Array]:
        rng = block_rng(seed, LEARN, 2000 * (number + 1) + start // step)
        return _piece(space, asked, scores[start : start + step], rng)

    starts = range(0, scores.shape[0], step)
    done = list(map(piece, starts) if pool is None else pool.map(piece, starts))
    joined: dict[str, Array] = {
        name: np.concatenate([part[name] for part in done]) for name in done[0]
    }
    return joined


def _piece(space: Space, asked: Asked, scores: Array, rng: np.random.Generator) -> dict[str, Array]:
    log = asked.log
    drawn = drawn_rods(space, scores, rng, log.turns, rods_for(log.parts))
    readings = readings_of(drawn, space.rods.scenario.proof.rig_error_cov)
    chance = chances(readings, log.histories)
    logs = np.log(np.maximum(chance, TINY))
    mixed, bad = of_batches(logs, drawn.bad, log.counts)
    told = list(asked.told)
    breaks, middle = drawn_logs(readings, asked.expected, rng)

    def alone(counts: Array) -> Array:
        return np.asarray(log_mean(of_batches(logs, drawn.bad, counts)[0]).sum(axis=0))

    single = np.zeros((len(log.groups), len(log.histories)))
    for row, group in enumerate(log.groups):
        single[row, group.history] = group.count
    in_bad = drawn.bad[:, None]
    share = np.asarray([1.0 - in_bad, in_bad * np.ones_like(in_bad)])
    curve = (share[..., 0] * breaking(readings, asked.grid)).sum(axis=1)
    return {
        "scores": scores,
        "log_chance": log_mean(mixed).sum(axis=0),
        "of_groups": log_mean(of_batches(logs, drawn.bad, single)[0]).T,
        "held": alone(log.only(held=True)),
        "broke": alone(log.only(held=False)),
        "parts": np.exp(log_mean(of_batches(logs, drawn.bad, np.eye(len(log.histories)))[0])).T,
        "curve": curve.T,
        "batch_scores": drawn.scores,
        "bad": drawn.bad,
        "weak": _weak(drawn.labels, drawn.bad),
        "told_chance": mixed[told].transpose(1, 0, 2),
        "told_bad": bad[told].transpose(1, 0, 2),
        "hold": chance.transpose(2, 0, 1, 3),
        "beyond": np.asarray(
            log.counts.sum(axis=0) @ beyond(readings, log.histories) / max(log.parts, 1)
        ),
        "drawn_breaks": breaks,
        "drawn_logs": middle,
    }


def _weak(labels: Array, bad: Array) -> Array:
    """Return the share of joints that are weak, (c,) [-]."""
    if labels.shape[0] == 1:
        return np.zeros(bad.size)
    each = (0.5 * (labels[1] + labels[2]) + labels[3]).mean(axis=-1)
    return np.asarray((1.0 - bad) * each[0] + bad * each[1])
