"""Shapley effects: the variance shared out among the variables, ties and interplay included.

For each draw the variables are drawn anew one after the other, in an order of its own, each
given those that are not yet new. What a step adds to half the squared change of the output
is the share of the variable of that step.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from jointrisk.errors import InputError
from jointrisk.reliability.indices import (
    NOT_KNOWN,
    NOTHING,
    SCRAMBLES,
    Effects,
    Function,
    Moments,
    called,
    checked_confidence,
    checked_count,
    correlations,
    even_scores,
    in_waves,
    named,
    points_each,
    ratio_over_scrambles,
    refuse_undefined,
    value_of,
)
from jointrisk.reliability.pools import Pool
from jointrisk.reliability.space import Correlation, Space, Values
from jointrisk.reliability.streams import block_rng, resolve_seed
from jointrisk.spread import Spread

__all__ = ["shapley"]

Array = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]
Groups = Mapping[str, Sequence[str]]
Piece = tuple[Array, Places]

PURPOSE, _ORDERS = 22, 23


def shapley(
    function: Function,
    variables: Mapping[str, Spread],
    *,
    correlation: Correlation | None = None,
    correlation_of: str = "values",
    groups: Groups | None = None,
    samples: int = 2**13,
    permutations: int | None = None,
    confidence: float = 0.95,
    seed: int | None = None,
    pool: Pool | None = None,
) -> Effects:
    """Estimate the Shapley effect of every variable, or of groups of them.

    Parameters
    ----------
    function : callable
        Mapping of name to values (n,) in; output (n,) out, finite. A failure event works
        too, as 0 and 1 or as a chance of failure.
    variables : mapping of str to Spread
        Of any kind; a constant has an effect of 0.
    correlation : mapping of (str, str) to float, optional
        Coefficients [-] of the pairs that hang together.
    correlation_of : str
        "values" (product-moment) or "scores" (of the normal scores).
    groups : mapping of str to sequence of str, optional
        Label and names of the variables that count as one. Whatever is in no group stands
        alone, after the groups.
    samples : int
        Draws n [-], taken up to a power of two. The function is worked out for (k + 1) n
        rows with k groups and lone variables.
    permutations : int, optional
        Different random orders [-], shared out evenly over the draws; when not given every
        draw has one of its own, which is best.
    confidence : float
        Of the intervals [-].
    seed : int, optional
        0 is a seed; a fixed default when not given.
    pool : object with ``map``, optional
        Shares out pieces of 1,024 draws. Results do not depend on it.

    Returns
    -------
    Effects
        The effects are not below 0 and sum to one.

    Raises
    ------
    InputError
        If an argument is out of range, a group is not usable, or the function returns
        another shape.
    EstimateError
        If the output is NaN or infinite in some calls; the message says in how many.

    Notes
    -----
    The effect of i is the mean, over all orders, of c(those before i and i) − c(those before
    i), with c(J) = E[Var(Y | all but J)]. One draw anew of J gives c(J) without bias as half
    the mean squared change, so that a whole order takes k + 1 rows. From y to y' a step adds
    (y_0 − λ (y + y') / 2)(y − y'), where any λ will do, since y² and y'² have one mean (derived);
    λ falls from 1 to 0 along the chain, as the likeness to y_0 does. Where nothing hangs
    together the same rows serve the reversed order. The intervals are Student's t over the
    scrambles.

    References
    ----------
    Owen (2014), SIAM/ASA J. Uncert. Quant. 2, 245; Song, Nelson & Staum (2016), the same 4,
    1060; one chain for each order: Goda (2021), Rel. Eng. Syst. Saf. 213, 107683. From memory.
    """
    confidence = checked_confidence(confidence)
    points, notes = points_each(samples)
    orders = None if permutations is None else checked_count("permutations", permutations)
    space = Space.of(variables, correlation, correlation_of, enumerate_labels=False)
    labels, players = _players(space, groups or {})
    seed, count = resolve_seed(seed), len(players)
    scores = even_scores(seed, PURPOSE, 2 * space.dim, points)
    task = _Task(space, function, players, correlations(space))
    sums = _Sums(count)
    for outputs, order in in_waves(pool, task.outputs, _ordered(scores, count, orders, seed)):
        sums.add(outputs, order, bool(space.factor is None))
    evaluations = points * SCRAMBLES * (count + 1)
    refuse_undefined(sums.undefined, evaluations)
    notes += (f"intervals: Student's t over {SCRAMBLES} scrambles of {points:,} points",)
    return _result(labels, space, sums, confidence, evaluations, notes)


def _players(space: Space, groups: Groups) -> tuple[dict[str, int | None], tuple[Places, ...]]:
    """Give the label of each player with its number, None for constants, and coordinates."""
    grouped: dict[str, str] = {}
    for label, names in groups.items():
        if isinstance(names, str) or not names:
            raise InputError(f"group {label!r} must list at least one variable, got {names!r}")
        for name in names:
            if name not in space.names:
                known = ", ".join(repr(other) for other in space.names)
                raise InputError(f"group {label!r} names {name!r}, which is not among {known}")
            if name in grouped:
                raise InputError(f"{name!r} stands twice, in {grouped[name]!r} and {label!r}")
            grouped[name] = label
    alone = {name: (name,) for name in space.names if name not in grouped}
    for label in set(groups) & set(alone):
        raise InputError(f"group {label!r} has the name of a variable that is not in it")
    labels: dict[str, int | None] = {}
    players: list[Places] = []
    for label, names in ({**groups} | alone).items():
        places = [space.coordinates.index(name) for name in names if name in space.coordinates]
        labels[label] = len(players) if places else None
        if places:
            players.append(np.array(sorted(places), dtype=np.intp))
    return labels, tuple(players)


def _ordered(
    scores: Iterator[Array], players: int, permutations: int | None, seed: int
) -> Iterator[Piece]:
    """Give each piece of scores its orders, (n, players); no scramble shares one."""
    rng = block_rng(seed, _ORDERS, 0)
    kept = None if permutations is None else -(-permutations // (2 * SCRAMBLES))
    few = None if kept is None else _orders(rng, kept, players)
    done = 0
    for piece in scores:
        n = piece.shape[0] // SCRAMBLES
        if few is None:
            order = _orders(rng, n // 2, players)
        else:
            order = few[:, np.arange(done, done + n) % few.shape[1]]
        done += n
        yield piece, order.reshape(piece.shape[0], players)


def _orders(rng: np.random.Generator, pairs: int, players: int) -> Places:
    """Draw orders, each with its reverse behind it, (SCRAMBLES, 2 * pairs, players)."""
    forth = np.argsort(rng.random((SCRAMBLES, pairs, players)), axis=-1)
    both = np.stack([forth, forth[:, :, ::-1]], axis=2)
    return both.reshape(SCRAMBLES, 2 * pairs, players)


@dataclass(frozen=True, slots=True)
class _Task:
    """Works out the chains of outputs of a piece."""

    space: Space
    function: Function
    players: tuple[Places, ...]
    ties: Array

    def outputs(self, piece: Piece) -> tuple[Array, Places]:
        """Give the outputs with none, one, two ... players drawn anew, (k + 1, n), and orders."""
        scores, order = piece
        n, dim = scores.shape[0], self.space.dim
        step = np.empty((n, dim), dtype=np.intp)
        rank = np.argsort(order, axis=1)
        for player, places in enumerate(self.players):
            step[:, places] = rank[:, [player]]
        if self.space.factor is None:
            chain = self.apart(scores[:, :dim], scores[:, dim:], step)
        else:
            chain = self.together(scores[:, :dim], scores[:, dim:], step)
        return np.array([called(self.function, x, n) for x in chain]), order

    def apart(self, old: Array, new: Array, step: Places) -> Iterator[Values]:
        """Exchange values one player after the other."""
        now, then = named(self.space, old), named(self.space, new)
        yield now
        for k in range(len(self.players)):
            for i, name in enumerate(self.space.coordinates):
                now[name] = np.where(step[:, i] == k, then[name], now[name])
            yield now

    def together(self, old: Array, new: Array, step: Places) -> Iterator[Values]:
        """Draw players anew given those that stay: a triangular factor for each order.

        With those that change last at the head, the scores are L e; new draws of the last
        entries of e leave the head as it is and give the rest its conditional law.
        """
        last = np.argsort(-step, axis=1, kind="stable")
        factor = np.linalg.cholesky(self.ties[last[:, :, None], last[:, None, :]])
        when = np.take_along_axis(step, last, axis=1)
        scores = np.empty_like(old)
        now: Values = {}
        for k in range(-1, len(self.players)):
            ordered = np.einsum("nij,nj->ni", factor, np.where(when <= k, new, old))
            np.put_along_axis(scores, last, ordered, axis=1)
            if k < 0:
                now = named(self.space, scores)
            for i, name in enumerate(self.space.coordinates):
                moved = step[:, i] <= k
                now[name][moved] = value_of(self.space, i, scores[moved, i])
            yield now


@dataclass(slots=True)
class _Sums:
    """Sums of what each player adds, by scramble."""

    count: int
    moments: Moments = field(default_factory=Moments)
    undefined: int = 0
    added: Array = field(init=False)
    """(k, SCRAMBLES)."""

    def __post_init__(self) -> None:
        self.added = np.zeros((self.count, SCRAMBLES))

    def add(self, y: Array, order: Places, independent: bool) -> None:
        """Take in chains of outputs, (k + 1, n), and their orders, (n, k)."""
        self.undefined += int(y.size - np.isfinite(y).sum())
        if self.undefined:
            return
        ends = y[[0, -1]].reshape(2, SCRAMBLES, -1)
        self.moments.add(np.concatenate([ends[0], ends[1]], axis=1))
        y = y - self.moments.centre
        likeness = 1.0 - (np.arange(self.count)[:, None] + 0.5) / self.count
        middle = 0.5 * (y[:-1] + y[1:])
        gain = (y[0] - likeness * middle) * (y[:-1] - y[1:])
        if independent:
            gain += (y[-1] - (1.0 - likeness) * middle) * (y[1:] - y[:-1])
        scramble = np.repeat(np.arange(SCRAMBLES), y.shape[1] // SCRAMBLES)
        place = order.T * SCRAMBLES + scramble
        sums = np.bincount(place.ravel(), gain.ravel(), minlength=self.added.size)
        self.added += sums.reshape(self.added.shape)


def _result(
    labels: Mapping[str, int | None],
    space: Space,
    sums: _Sums,
    confidence: float,
    evaluations: int,
    notes: tuple[str, ...],
) -> Effects:
    """Put names to the effects; constants have none."""
    moments = sums.moments
    effect, around = dict.fromkeys(labels, 0.0), dict.fromkeys(labels, NOTHING)
    whole = sums.added.sum(axis=0)
    for label, player in labels.items():
        if player is None:
            continue
        around[label] = NOT_KNOWN
        if not moments.constant:
            effect[label], around[label] = ratio_over_scrambles(
                sums.added[player], whole, confidence
            )
    scale = sum(effect.values())
    if scale > 0.0:  # what noise put below 0 is 0, the others give way
        effect = {label: value / scale for label, value in effect.items()}
    return Effects(
        mean=moments.mean,
        variance=0.0 if moments.constant else float(moments.variances.mean()),
        confidence=confidence,
        evaluations=evaluations,
        samples=moments.count // 2 * SCRAMBLES,
        notes=notes + moments.notes(),
        effect=effect,
        effect_interval=around,
    )
