"""Ways to use pulls of one load, on the same draws: what they leave and what they spoil.

A set is accepted, or it is not; failure is that of an accepted set over its life. Every way is
held against "every rod pulled, the set counts when all have held" on the same draws, so that the
interval of the ratio of the two is narrower than those of either.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.model.ageing import slice_edges
from jointrisk.model.draws import placed
from jointrisk.model.loads import accumulated, spans_until
from jointrisk.model.pulled import rig_joint
from jointrisk.study.bench import UNLIKELY, life_chance, pull, rates_after
from jointrisk.study.proof_ratios import Fails, given, one_after_other, ratio_of
from jointrisk.study.proof_refill import refilled
from jointrisk.study.proof_results import NextRod, Policy
from jointrisk.study.pull_search import of_all
from jointrisk.study.pulls import enough
from jointrisk.study.results import Chance
from jointrisk.study.sample import JOINTS_AT_ONCE

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.study.bench import Bench, Pulled, Rates

    Array = npt.NDArray[np.float64]

SOME = 0.25
"""Share of each batch that is pulled where only some are [-]."""
FIRST = 0.8
"""First of two pulls over the second [-]."""
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
    every = given(bench, pulled.hold, fails)
    replaced, *later = refilled(bench, load, pulled, fails, every)
    found = [_all(bench, pulled, every), replaced]
    if bench.rods.layout.batches < bench.scenario.rods:
        found.append(_drop_batch(bench, pulled, every))
    found += later
    if bench.scenario.rods > 1:
        found.append(_some(bench, load, every))
    found.append(_twice(bench, load, every))
    if bench.scenario.life > AGAIN:
        found.append(_again(bench, load, pulled, rates, every))
    return tuple(found)


def _all(bench: Bench, pulled: Pulled, every: Fails) -> Policy:
    return Policy(
        "all",
        "pull every rod; the set counts when all have held",
        every.chance,
        Chance(1.0, 1.0, 1.0),
        bench.scenario.rods * of_all(bench, pulled.refused),
        _mean(bench, pulled.hold),
        "What is known of a set whose rods have all held at the first try.",
    )


def _drop_batch(bench: Bench, pulled: Pulled, every: Fails) -> Policy:
    batch = np.asarray(bench.rods.layout.batch_of_rod)
    spoiled = 0.0
    for number in range(bench.rods.layout.batches):
        own = batch == number
        lost = 1.0 - (1.0 - pulled.refused[own]).prod(axis=0)
        spoiled += own.sum() * _mean(bench, lost)
    return Policy(
        "drop batch",
        "pull every rod and drop the whole batch when one breaks",
        every.chance,
        Chance(1.0, 1.0, 1.0),
        float(spoiled),
        _mean(bench, pulled.hold),
        "Accepted sets are those of which every rod held; whole batches are thrown away for it.",
    )


def _some(bench: Bench, load: float, every: Fails) -> Policy:
    batch = np.asarray(bench.rods.layout.batch_of_rod)
    place = np.arange(batch.size) - np.searchsorted(batch, batch)
    size = np.bincount(batch)[batch]
    chosen = place < np.maximum(np.ceil(SOME * size), 1)
    pulled = pull(bench, load, only=chosen)
    found = given(bench, pulled.hold, life_chance(bench, rates_after(bench, pulled)))
    return Policy(
        "some",
        f"pull {chosen.sum()} of {batch.size} rods and accept all when these hold",
        found.chance,
        ratio_of(bench, found, every),
        float(of_all(bench, pulled.refused) * batch.size),
        _mean(bench, pulled.hold),
    )


def _twice(bench: Bench, load: float, every: Fails) -> Policy:
    first = pull(bench, FIRST * load, turn=1)
    second = pull(bench, load, first, turn=0)
    found = given(bench, second.hold, life_chance(bench, rates_after(bench, second)))
    broken = 1.0 - (1.0 - first.refused) * (1.0 - second.refused)
    return Policy(
        "twice",
        f"pull every rod to {100 * FIRST:g} % of the load, then in full",
        found.chance,
        ratio_of(bench, found, every),
        bench.scenario.rods * of_all(bench, broken),
        _mean(bench, second.hold),
        "Both pulls do their damage.",
    )


def _again(bench: Bench, load: float, pulled: Pulled, rates: Rates, every: Fails) -> Policy:
    """Return what a second pull after a year leaves of a set that lived so long."""
    edges = slice_edges(bench.scenario)
    until = spans_until(edges, AGAIN)
    first_year = -np.expm1(-accumulated(rates.rate, until))
    again = pull(bench, load, pulled, rig_joint=_aged_in_rig(bench, pulled), turn=2)
    later = rates_after(bench, again)
    rest = -np.expm1(-accumulated(later.rate, np.diff(edges) - until))
    found = one_after_other(
        given(bench, pulled.hold, first_year),
        given(bench, again.hold * (1.0 - first_year), rest),
        bench,
    )
    alive = np.exp(-accumulated(rates.rod_rate, until))
    broken = pulled.refused + (1.0 - pulled.refused) * alive * again.refused
    return Policy(
        "again after a year",
        "pull every rod when new, and again after a year of service",
        found.chance,
        ratio_of(bench, found, every),
        bench.scenario.rods * of_all(bench, broken),
        _mean(bench, again.hold),
        "Ageing by damp counts, wear by cycles up to then does not.",
    )


def _aged_in_rig(bench: Bench, pulled: Pulled) -> Array:
    """Return what each bond holds in the rig after a year [N], (joints, n).

    Of sets that broke when new, what they held then.
    """
    rods, draws = bench.rods, bench.sample.draws
    likely = bench.weight * pulled.hold
    asked = np.flatnonzero(likely > UNLIKELY * float(likely.max()))
    step = max(256, JOINTS_AT_ONCE // rods.layout.joints)
    found = bench.outcome.rig_joint.copy()
    for start in range(0, asked.size, step):
        rows = asked[start : start + step]
        labels = draws.labels[rows]
        found[:, rows] = rig_joint(
            rods.scenario,
            rods.layout,
            placed(rods.values(draws.u[rows]), rods.layout),
            rods.weak_joints(labels),
            rods.latent_joints(labels),
            years=AGAIN,
        )
    return found


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
    before = given(bench, np.ones_like(fails), fails)
    after = given(bench, pulled.hold, fails)
    return NextRod(
        pulled=int(others.sum()),
        load_newton=load,
        fail_before=before.chance,
        fail_after=after.chance,
        ratio=ratio_of(bench, after, before),
    )


def _mean(bench: Bench, chance: Array) -> float:
    return min(float((bench.weight * chance).sum() / bench.weight.sum()), 1.0)
