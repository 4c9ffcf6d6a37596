"""Ways to use pulls that replace what breaks from the same batch, until the batch is dropped.

Two kinds of draws make up the failures of filled sets. Where the batches of a draw are likely to
hold, the draw's own set counts if it held, over the chance that it does: an accepted set is like
one that held. Other batches are worked through rod by rod, and the sets that come of it are put
into service. Which kind a draw is of is told by rods that serve for nothing else, so that neither
part favours any draw.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import comb, prod
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.reliability.mixture import Draw
from jointrisk.reliability.streams import block_rng
from jointrisk.study.bench import bench_of, life_chance, pull, rates_after
from jointrisk.study.proof_batches import (
    chosen,
    filled,
    over_all_hold,
    states_of,
    taken,
)
from jointrisk.study.proof_ratios import Fails, about, error_of
from jointrisk.study.proof_results import Policy
from jointrisk.study.results import Chance
from jointrisk.study.sample import PULL, evaluate

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from jointrisk.study.bench import Bench, Pulled
    from jointrisk.study.proof_batches import Bools, Ints, States

    Array = npt.NDArray[np.float64]
    Broken = Callable[[int], int]

LEAST_LIKELY = 0.2
"""Sets whose batches are less likely to hold than this are worked through rod by rod [-]."""
MOST_COUNTED = 20.0
"""None is where a set that held cannot count oftener than this anyway [-]."""
FEWEST = 30.0
"""Effective draws of failing sets below which nothing is said of them [-]."""
DROPPED_AT = (2, 3)
"""Rods of a batch that break before it is dropped, beside the first [-]."""
ORDINALS = {2: "second", 3: "third"}
STREAM = 98
LEAST = 1e-300
NOT_KNOWN = Chance(np.nan, np.nan, np.nan)


@dataclass(frozen=True, slots=True)
class _Filled:
    """A pulled sample, and what is known of filling its sets from their batches."""

    bench: Bench
    load: float
    states: States
    hold: Array
    """Chance that the set of each row held, (k,) [-]."""
    fails: Array
    """Chance that it fails in service, having held, (k,) [-]."""
    all_hold: float
    """Chance that a set holds at the first try [-]."""
    every: Fails


def refilled(bench: Bench, load: float, pulled: Pulled, fails: Array, every: Fails) -> list[Policy]:
    """Return what is left where rods that break are replaced, and where a batch is dropped later.

    Parameters
    ----------
    bench : Bench
    load : float [N]
    pulled : Pulled
        By that load.
    fails : ndarray, (n,) [-]
        Chance that each set fails in service, having held.
    every : Fails
        Failure where the set counts when all have held.
    """
    states = states_of(bench, load, 1.0 - pulled.refused, _importance(bench, pulled, fails))
    weight = bench.weight
    known = _Filled(
        bench=bench,
        load=load,
        states=states,
        hold=pulled.hold[states.rows],
        fails=fails[states.rows],
        all_hold=float((weight * pulled.hold).sum() / weight.sum()),
        every=every,
    )
    found = [_replaced(known)]
    most = max(batch.size for batch in states.batches)
    return found + [_dropped_at(known, count) for count in DROPPED_AT if count <= most]


def _importance(bench: Bench, pulled: Pulled, fails: Array) -> Array:
    """Return what each row brings to holding, failing and breaking, each alike, (n,) [-].

    Of breaking once as for every rod, and by the square of the rods that break: they cost batches.
    """
    held = bench.weight * pulled.hold
    squared = pulled.refused.sum(axis=0) ** 2
    parts = (held, held * fails, bench.weight * (1.0 - pulled.hold), bench.weight * squared)
    return np.asarray(np.sum([part / max(float(part.sum()), LEAST) for part in parts], axis=0))


def _replaced(known: _Filled) -> Policy:
    fail, ratio, lost, accepted = _outcome(known, lambda places: places + 1)
    return Policy(
        "replace",
        "pull every rod and replace what breaks from the same batch, pulled too",
        fail,
        ratio,
        lost,
        accepted,
        "A batch is given up once more of its rods have broken than it has places; a milder one "
        "just costs more rods.",
    )


def _dropped_at(known: _Filled, count: int) -> Policy:
    fail, ratio, lost, accepted = _outcome(known, lambda places: count)
    return Policy(
        f"drop batch at {count}",
        f"pull every rod, replace what breaks from the same batch, and drop the batch when a "
        f"{ORDINALS[count]} one breaks",
        fail,
        ratio,
        lost,
        accepted,
    )


def _outcome(known: _Filled, broken: Broken) -> tuple[Chance, Chance, float, float]:
    """Return failure of accepted sets, its ratio to all pulled, rods lost and sets accepted.

    Parameters
    ----------
    known : _Filled
    broken : callable
        Places of a batch to the rods of it that break before it is dropped.
    """
    states = known.states
    accepted, lost = np.ones_like(known.hold), np.zeros_like(known.hold)
    terms = known.hold * known.fails
    ordinary = _ordinary(states, broken)
    for batch in states.batches:
        places, most = batch.size, broken(batch.size)
        chance = states.of_batch(batch)
        after = filled(chance, places, most)
        accepted *= after.sum(axis=0)
        lost += np.arange(most) @ after + (1.0 - after.sum(axis=0)) * (places + most - 1)
        terms[ordinary] *= over_all_hold(chance[places:, ordinary], places, most)
    terms[~ordinary] = _put_together(known, np.flatnonzero(~ordinary), broken)
    more = states.count * (accepted - known.hold)
    total = known.all_hold + float(more.mean())
    return (
        *_over_all_pulled(known, states.count * terms, more, total),
        float((states.count * lost).mean()),
        min(total, 1.0),
    )


def _ordinary(states: States, broken: Broken) -> Bools:
    """Return the rows whose own sets count, (k,): the others are worked through rod by rod."""
    sizes = [batch.size for batch in states.batches]
    highest = prod(comb(places + broken(places) - 1, places) for places in sizes)
    return (states.likely >= LEAST_LIKELY) | (highest <= MOST_COUNTED)


def _over_all_pulled(
    known: _Filled, terms: Array, more: Array, accepted: float
) -> tuple[Chance, Chance]:
    """Return failure and its ratio to that of all pulled; NaN where too few draws tell it.

    A row that is picked oftener than once is still one row of the sample: the squares of the
    picks' moves count once for the picking, and once for the sample as often as a row is picked.
    """
    every = known.every
    plain = known.states.count * known.hold * known.fails
    over, told = float(plain.sum()), float(terms.sum())
    if not (over > 0.0 and every.chance.estimate > 0.0 and 0.0 < told < np.inf):
        return NOT_KNOWN, NOT_KNOWN
    if FEWEST * float(((terms / told) ** 2).sum()) > 1.0:
        return NOT_KNOWN, NOT_KNOWN
    moves = terms / told - plain / over - more / (more.size * accepted)
    apart = (moves - moves.mean()) ** 2
    own = float(np.sqrt((apart * (1.0 + known.states.repeats)).sum()))
    ratio = told / over * known.all_hold / accepted
    error = float(np.hypot(own, error_of(known.bench, every.moves)))
    most = 1.0 / every.chance.estimate
    return about(ratio * every.chance.estimate, error), about(ratio, own, most)


def _put_together(known: _Filled, asked: Ints, broken: Broken) -> Array:
    """Return the chance that a set is filled and fails in service, for each row asked, (a,) [-].

    Each rod is pulled in turn, holds or breaks, and those that hold make up a set.
    """
    bench, states = known.bench, known.states
    layout = bench.rods.layout
    uniform = block_rng(bench.sample.seed, PULL, STREAM).random(states.chance.shape)
    held = uniform[:, :, asked] < states.chance[:, :, asked]
    copy = np.zeros((layout.rods, asked.size), dtype=np.intp)
    rod = np.zeros_like(copy)
    accepted = np.ones(asked.size, dtype=bool)
    for batch in states.batches:
        own, full = chosen(np.concatenate(list(held[:, batch])), batch.size, broken(batch.size))
        copy[batch], rod[batch] = own // batch.size, batch[own % batch.size]
        accepted &= full
    found = np.zeros(asked.size)
    rows = np.flatnonzero(accepted)
    if rows.size:
        u, labels = taken(layout, states, asked[rows], copy[:, rows], rod[:, rows])
        found[rows] = _in_service(known, asked[rows], u, labels)
    return found


def _in_service(known: _Filled, asked: Ints, u: Array, labels: Bools) -> Array:
    """Return the chance that sets fail in service of which every rod held, (a,) [-]."""
    bench, states = known.bench, known.states
    of = states.rows[asked]
    draws = bench.sample.draws
    sample = replace(
        bench.sample,
        draws=Draw(u, labels, draws.component[of], draws.log_weight[of]),
        weight=states.count[asked],
        component=bench.sample.component[of],
        outcome=evaluate(bench.rods, u, labels),
    )
    filled_sets = bench_of(sample)
    held = replace(pull(filled_sets, known.load), hold=np.ones(asked.size))
    return life_chance(filled_sets, rates_after(filled_sets, held))
