"""Ways to use pulls of one load, on the same draws: what they leave and what they spoil.

A set is accepted, or it is not; failure is that of an accepted set over its life.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.model.ageing import slice_edges
from jointrisk.model.draws import placed
from jointrisk.model.loads import accumulated, spans_until
from jointrisk.model.pulled import rig_joint
from jointrisk.study.bench import pull, rates_after
from jointrisk.study.proof_batches import MOST_BROKEN, chance_held_in_batch
from jointrisk.study.proof_results import NextRod, Policy
from jointrisk.study.pull_search import of_all
from jointrisk.study.pulls import enough, life_chance
from jointrisk.study.sample import JOINTS_AT_ONCE

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.study.bench import Bench, Pulled, Rates

    Array = npt.NDArray[np.float64]

SOME = 0.25
"""Share of each batch that is pulled where only some are [-]."""
FIRST = 0.8
"""First of two pulls over the second [-]."""
LEAST = 1e-300
AGAIN = 1.0
"""Age at which rods are pulled again [years]."""


def policies(bench: Bench, load: float, rates: Rates | None) -> tuple[Policy, ...]:
    """Return what each way of using pulls of `load` [N] leaves and spoils.

    Parameters
    ----------
    bench : Bench
    load : float [N]
    rates : Rates, optional
        Failure rates after one pull of that load.
    """
    pulled = pull(bench, load)
    if rates is None or not bench.scenario.loads or not enough(bench.weight * pulled.hold):
        return ()
    fails = life_chance(bench, rates)
    found = [_all(bench, pulled, fails), _replace(bench, load, pulled, fails)]
    found.append(_drop_batch(bench, pulled, fails))
    if bench.scenario.rods > 1:
        found.append(_some(bench, load))
    found.append(_twice(bench, load))
    if bench.scenario.life > AGAIN:
        found.append(_again(bench, load, pulled, rates))
    return tuple(found)


def _all(bench: Bench, pulled: Pulled, fails: Array) -> Policy:
    return Policy(
        "all",
        "pull every rod; the set counts when all have held",
        _given(bench, pulled.hold, fails),
        bench.scenario.rods * of_all(bench, pulled.refused),
        _mean(bench, pulled.hold),
        "What is known of a set whose rods have all held at the first try.",
    )


def _replace(bench: Bench, load: float, pulled: Pulled, fails: Array) -> Policy:
    """Rods that break are replaced until the set is full: no batch is favoured for holding.

    Given what the rods of a batch share, those that held are like draws that hold: each row
    counts over its chance that all hold, which is worked out from further rods of its batches.
    """
    held = bench.weight * pulled.hold
    broke = bench.weight * (1.0 - pulled.hold)
    parts = (held, held * fails, broke)
    asked = np.sum([part / max(float(part.sum()), LEAST) for part in parts], axis=0)
    rows, factor, broken = chance_held_in_batch(bench, load, asked)
    count = factor * held[rows] / asked[rows]
    failing = float((count * fails[rows]).sum() / count.sum())
    count = bench.weight[rows] / asked[rows] * asked.mean() / bench.weight.mean()
    spoiled = float((count * broken).mean())
    return Policy(
        "replace",
        "pull every rod and replace what breaks from the same batch, pulled too",
        failing,
        spoiled,
        1.0,
        f"A bad batch is not dropped here, it only costs more rods: {MOST_BROKEN:g} broken for one "
        "that holds, at most.",
    )


def _drop_batch(bench: Bench, pulled: Pulled, fails: Array) -> Policy:
    batch = np.asarray(bench.rods.layout.batch_of_rod)
    spoiled = 0.0
    for number in range(bench.rods.layout.batches):
        own = batch == number
        lost = 1.0 - (1.0 - pulled.refused[own]).prod(axis=0)
        spoiled += own.sum() * _mean(bench, lost)
    return Policy(
        "drop batch",
        "pull every rod and drop the whole batch when one breaks",
        _given(bench, pulled.hold, fails),
        float(spoiled),
        _mean(bench, pulled.hold),
        "Accepted sets are those of which every rod held; whole batches are thrown away for it.",
    )


def _some(bench: Bench, load: float) -> Policy:
    batch = np.asarray(bench.rods.layout.batch_of_rod)
    place = np.arange(batch.size) - np.searchsorted(batch, batch)
    size = np.bincount(batch)[batch]
    chosen = place < np.maximum(np.ceil(SOME * size), 1)
    pulled = pull(bench, load, only=chosen)
    fails = life_chance(bench, rates_after(bench, pulled))
    return Policy(
        "some",
        f"pull {chosen.sum()} of {batch.size} rods and accept all when these hold",
        _given(bench, pulled.hold, fails),
        float(of_all(bench, pulled.refused) * batch.size),
        _mean(bench, pulled.hold),
    )


def _twice(bench: Bench, load: float) -> Policy:
    first = pull(bench, FIRST * load, turn=1)
    second = pull(bench, load, first, turn=0)
    fails = life_chance(bench, rates_after(bench, second))
    broken = 1.0 - (1.0 - first.refused) * (1.0 - second.refused)
    return Policy(
        "twice",
        f"pull every rod to {100 * FIRST:g} % of the load, then in full",
        _given(bench, second.hold, fails),
        bench.scenario.rods * of_all(bench, broken),
        _mean(bench, second.hold),
        "Both pulls do their damage.",
    )


def _again(bench: Bench, load: float, pulled: Pulled, rates: Rates) -> Policy:
    """Return what a second pull after a year leaves of a set that lived so long."""
    edges = slice_edges(bench.scenario)
    until = spans_until(edges, AGAIN)
    first_year = -np.expm1(-accumulated(rates.rate, until))
    again = pull(bench, load, pulled, rig_joint=_aged_in_rig(bench), turn=2)
    later = rates_after(bench, again)
    rest = -np.expm1(-accumulated(later.rate, np.diff(edges) - until))
    early = _given(bench, pulled.hold, first_year)
    late = _given(bench, again.hold * (1.0 - first_year), rest)
    broken = 1.0 - (1.0 - pulled.refused) * (1.0 - again.refused)
    return Policy(
        "again after a year",
        "pull every rod when new, and again after a year of service",
        early + (1.0 - early) * late,
        bench.scenario.rods * of_all(bench, broken),
        _mean(bench, again.hold),
        "Ageing by damp counts, wear by cycles up to then does not.",
    )


def _aged_in_rig(bench: Bench) -> Array:
    """Return what each bond holds in the rig after a year [N], (joints, n)."""
    rods, draws = bench.rods, bench.sample.draws
    step = max(256, JOINTS_AT_ONCE // rods.layout.joints)
    parts = []
    for start in range(0, draws.u.shape[0], step):
        rows = slice(start, start + step)
        labels = draws.labels[rows]
        parts.append(
            rig_joint(
                rods.scenario,
                rods.layout,
                placed(rods.values(draws.u[rows]), rods.layout),
                rods.weak_joints(labels),
                rods.latent_joints(labels),
                years=AGAIN,
            )
        )
    return np.concatenate(parts, axis=1)


def next_rod(bench: Bench, load: float) -> NextRod | None:
    """Return what is known of a rod that was not pulled when all others of its batch have held.

    Of the first batch every rod but its last one is pulled, and the last one is looked at.
    """
    batch = np.asarray(bench.rods.layout.batch_of_rod)
    own = np.flatnonzero(batch == 0)
    if own.size < 2 or not bench.scenario.loads:
        return None
    others = np.isin(np.arange(batch.size), own[:-1])
    pulled = pull(bench, load, only=others)
    if not enough(bench.weight * pulled.hold):
        return None
    spans = np.diff(slice_edges(bench.scenario))
    fails = -np.expm1(-accumulated(bench.outcome.rod_rate[:, own[-1]], spans))
    return NextRod(
        pulled=int(others.sum()),
        load_newton=load,
        fail_before=_given(bench, np.ones_like(fails), fails),
        fail_after=_given(bench, pulled.hold, fails),
    )


def _given(bench: Bench, hold: Array, fails: Array) -> float:
    """Return the chance to fail given that a set held [-]; 1 where none does."""
    weight = bench.weight * hold
    total = float(weight.sum())
    return float((weight * fails).sum()) / total if total > 0.0 else 1.0


def _mean(bench: Bench, chance: Array) -> float:
    return min(float((bench.weight * chance).sum() / bench.weight.sum()), 1.0)
