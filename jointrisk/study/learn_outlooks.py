"""Failure of sets and rods before and after a log: as `assess` has it, and moved by the log."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.reliability.interval import ratio_interval
from jointrisk.reliability.streams import block_rng
from jointrisk.study import judgement
from jointrisk.study.assessment import samples
from jointrisk.study.band import SMALLEST_LEFT, band
from jointrisk.study.bench import bench_of, life_chance, pull, rates_after
from jointrisk.study.judgement import CONFIDENCE, target_terms, worst_year
from jointrisk.study.learn_failure import (
    CHOSEN,
    AtStates,
    at_states,
    band_of,
    choose,
    compared,
    given_batch,
    given_states,
    outlook_after,
    over,
    sample_at,
    sharper,
    steadied,
    towards_of,
)
from jointrisk.study.learn_results import Outlook, RodOutlook, SetOutlook
from jointrisk.study.learn_rows import error_of, of_those_left, picked_rows, relative
from jointrisk.study.pull_sample import pull_sample
from jointrisk.study.sample import LEARN

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from jointrisk.scenario.types import Scenario, Target
    from jointrisk.study.bench import Bench
    from jointrisk.study.learn_failure import Chosen, Compared
    from jointrisk.study.learn_log import History
    from jointrisk.study.learn_rods import Space
    from jointrisk.study.learn_rows import Rows
    from jointrisk.study.learn_states import Asked, States
    from jointrisk.study.sample import Sample

    Array = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.intp]

MOST_HELD = 3
"""Loads held of one batch that are told of: the highest, the lowest and the commonest [-]."""
ROD_COV = 0.1
"""Wanted coefficient of variation of the failure of one rod in the sample that tells where to
draw [-]."""
MOST_AIMS = 3
"""Loads held that states are chosen for, at most [-]."""
GOOD_ENOUGH = 0.12
"""The same above which a sample drawn for other loads does not serve [-]."""
STREAM = 9_000_001
LEAST = 1e-300
WORST_ERROR = 0.35
"""Error of the log of a ratio above which it is not trusted [-]."""


@dataclass(frozen=True, slots=True)
class Outlooks:
    """What a log changes."""

    before: SetOutlook | None
    after: SetOutlook | None
    rods: tuple[RodOutlook, ...]
    converged: bool


NOT_TOLD = Outlook(*(np.nan,) * 6)
NO_OUTLOOKS = Outlooks(None, None, (), converged=True)


def outlooks(
    scenario: Scenario, space: Space, asked: Asked, states: States, seed: int, pool: Any
) -> Outlooks:
    """Return failure of sets and rods before and after a log.

    Parameters
    ----------
    scenario : Scenario
        With a load.
    space : Space
    asked : Asked
    states : States
    seed : int
    pool : object with ``map``, optional
    """
    sample, pulled = samples(scenario, seed, pool)
    held = tuple(_held(asked, batch) for batch in asked.told)
    source = _source(pulled, held, seed, pool)
    towards = [towards_of(sample, sample.weight * sample.fails, space)]
    aims = source.terms if len(source.terms) <= MOST_AIMS else (source.terms[0], source.terms[-1])
    towards += [towards_of(source.sample, own, space) for own in aims]
    chosen = choose(states, towards, block_rng(seed, LEARN, STREAM))
    known = _Known(space, asked, states, sample, chosen, source)
    rows, of_rods = _picked(known, seed, pool)
    before, after, change = _sets(known, rows, seed, pool)
    rods, changes = _rods(known, held, of_rods, seed, pool)
    if scenario.rods == 1:  # a set is one rod of a new batch
        rods = (*rods[:-1], replace(rods[-1], before=before.life.estimate, after=after.life))
    trusted = all(each.error < WORST_ERROR for each in (change, *changes))
    return Outlooks(before, after, rods, converged=bool(sample.converged and trusted))


@dataclass(frozen=True, slots=True)
class _Source:
    """Draws of one rod that tell where to draw."""

    sample: Sample
    loads: tuple[float, ...]
    """Loads held that are told of [N]."""
    terms: tuple[Array, ...]
    """What each draw brings to failure, not pulled and after each load held, (n,) each."""


@dataclass(frozen=True, slots=True)
class _Known:
    """What the outlooks are made of."""

    space: Space
    asked: Asked
    states: States
    sample: Sample
    chosen: Chosen
    source: _Source

    def rows(
        self, sample: Sample, terms: Sequence[Array], seed: int, stream: int, pool: Any
    ) -> Rows:
        """Pick draws that fail of a sample."""
        log, states = self.asked.log, self.states
        return picked_rows(self.space, log, states, sample, terms, seed, stream, pool)


def _picked(known: _Known, seed: int, pool: Any) -> tuple[Rows, Rows]:
    """Pick draws that fail of sets and of rods: the same where a set is one rod, told alike.

    Of the first kinds of the second, too, the first is failure with no pull; those of the loads
    held come last.
    """
    sample, source = known.sample, known.source
    target = sample.rods.scenario.target
    terms = [sample.weight * sample.fails]
    terms += [] if target is None else _terms(sample, target)
    if source.sample.draws is sample.draws:
        rows = known.rows(sample, [*terms, *source.terms[1:]], seed, STREAM + 100, pool)
        return rows, rows
    return (
        known.rows(sample, terms, seed, STREAM + 100, pool),
        known.rows(source.sample, source.terms, seed, STREAM + 1000, pool),
    )


# Sets -------------------------------------------------------------------------------------------


def _sets(
    known: _Known, rows: Rows, seed: int, pool: Any
) -> tuple[SetOutlook, SetOutlook, Compared]:
    sample, chosen, scenario = known.sample, known.chosen, known.sample.rods.scenario
    bands = band(sample, seed, pool)
    chance = judgement.failure_probability(sample, bands.life)
    life = Outlook(
        chance.estimate, chance.low, chance.high, chance.band_p05, chance.band_p50, chance.band_p95
    )
    terms = sample.weight * sample.fails
    given = given_states(known.space, sample.rods, chosen)
    rng = block_rng(seed, LEARN, STREAM + 1)
    made, state = sample_at(sample, terms, given, rng, pool, rig=False)
    found = at_states(made.weight * made.fails, state, CHOSEN)
    target = scenario.target
    change = sharper(compared(chosen, found, found), *relative(rows, 0))
    after = outlook_after(life, change)
    if target is None:
        return SetOutlook(life, None, None, None), SetOutlook(after, None, None, None), change
    verdict = judgement.target_verdict(sample, target, chance, bands.target)
    told = _as_target(sample, target, bands.target)
    at = _counted(sample, made, state, target)
    moved = sharper(compared(chosen, at, at), *of_those_left(rows))
    later = outlook_after(told, moved)
    met = _chance_met(chosen, at, told, later, target, verdict.chance_met)
    return (
        SetOutlook(life, told, verdict.chance_met, verdict.met),
        SetOutlook(after, later, met, _met(later, target)),
        change,
    )


def _terms(sample: Sample, target: Target) -> list[Array]:
    """Return what each draw brings to failure as the target counts it, and to be gone before."""
    year = worst_year(sample, target)
    fails, gone = target_terms(sample.rods.scenario, sample.outcome, target, year)
    return [sample.weight * fails, sample.weight * gone]


def _counted(sample: Sample, made: Sample, state: Ints, target: Target) -> AtStates:
    """Return failure at chosen states as the target counts it, (K,)."""
    year = worst_year(sample, target)
    fails, gone = target_terms(sample.rods.scenario, made.outcome, target, year)
    lost = at_states(made.weight * gone, state, CHOSEN).value
    found = at_states(made.weight * fails, state, CHOSEN)
    return over(found, np.clip(1.0 - lost, SMALLEST_LEFT, 1.0))


def _as_target(sample: Sample, target: Target, states: Array) -> Outlook:
    """Return failure before the log as the target counts it."""
    estimate = judgement.before_any_pull(sample, target)
    fails, gone = _terms(sample, target)
    bounds = ratio_interval(fails, sample.weight - gone, sample.component, CONFIDENCE)
    levels = np.quantile(states, judgement.BAND_QUANTILES) if states.size else [estimate] * 3
    low, high = min(bounds.low, estimate), min(max(bounds.high, estimate), 1.0)
    return Outlook(estimate, low, high, *(float(level) for level in levels))


def _chance_met(
    chosen: Chosen,
    counted: AtStates,
    told: Outlook,
    later: Outlook,
    target: Target,
    before: float | None,
) -> float | None:
    """Return the share of the states after the log in which the target is met.

    That of before, as `assess` tells it, moved by what the weights move it.
    """
    if before is None:
        return None
    if told.p05 == told.p95:
        return float(later.estimate <= target.probability)
    shares = []
    for weight in (chosen.before, chosen.after):
        values = steadied(counted, weight)
        shares.append(float(weight[values <= target.probability].sum()))
    first, last = shares
    if last <= first:
        return before * last / first if first > 0.0 else before
    return 1.0 - (1.0 - before) * (1.0 - last) / (1.0 - first)


def _met(found: Outlook, target: Target) -> bool | None:
    if found.estimate <= target.probability and found.p95 <= target.probability:
        return True
    if found.estimate > target.probability and found.p05 > target.probability:
        return False
    return None


# Rods -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Held:
    """Rods of a batch that held."""

    history: int
    load: float
    count: int


def _source(pulled: Sample, held: tuple[tuple[_Held, ...], ...], seed: int, pool: Any) -> _Source:
    """Draw one rod, good for what the loads held leave; a set of one serves if it is."""
    loads = tuple(sorted({each.load for batch in held for each in batch}))
    if pulled.rods.layout.rods == 1:
        found = _terms_of(pulled, loads)
        if all(error_of(own) < GOOD_ENOUGH for own in found):
            return _Source(pulled, loads, found)
    one = replace(pulled.rods.scenario, rods=1, rods_per_batch=1)
    sample = pull_sample(one, seed, pool, loads, ROD_COV)
    return _Source(sample, loads, _terms_of(sample, loads))


def _terms_of(sample: Sample, loads: tuple[float, ...]) -> tuple[Array, ...]:
    """Return what each draw of one rod brings to failure, not pulled and after each load, (n,)."""
    found = [sample.weight * sample.fails]
    bench = bench_of(sample) if loads else None
    for load in loads:
        assert bench is not None  # noqa: S101
        pulled = pull(bench, load)
        fails = life_chance(bench, rates_after(bench, pulled))
        found.append(sample.weight * pulled.hold * fails)
    return tuple(found)


def _rods(
    known: _Known, held: tuple[tuple[_Held, ...], ...], rows: Rows, seed: int, pool: Any
) -> tuple[tuple[RodOutlook, ...], list[Compared]]:
    """Return what is known of rods of the log, of their sisters, and of a new batch."""
    chosen, sample, source = known.chosen, known.sample, known.source
    per_rod = sample.mean(-np.expm1(-sample.outcome.rod_hazard).mean(axis=0))
    terms = _together(source)
    given = given_states(known.space, source.sample.rods, chosen)
    rng = block_rng(seed, LEARN, STREAM + 2)
    made, state = sample_at(source.sample, terms, given, rng, pool, rig=False)
    new = at_states(made.weight * made.fails, state, CHOSEN)
    first = _known(chosen, new, per_rod, sample)
    rods: list[RodOutlook] = []
    changes: list[Compared] = []

    def add(told: str, batch: int | None, of: _Held | None, found: AtStates) -> None:
        name = None if batch is None else known.asked.log.batches[batch]
        kind = 0 if of is None else source.loads.index(of.load) - len(source.loads)
        own = None if of is None or len(known.asked.log.histories[of.history]) > 1 else of.history
        change = compared(chosen, new, found)
        if of is None or own is not None:
            change = sharper(change, *relative(rows, kind, batch, own))
        load, count = (None, 0) if of is None else (of.load, of.count)
        after = outlook_after(first, change)
        if of is None:
            changes.append(change)
        elif not change.error < WORST_ERROR:
            after = NOT_TOLD
        rods.append(RodOutlook(told, name, load, count, per_rod, after))

    for told, batch in enumerate(known.asked.told):
        rng = block_rng(seed, LEARN, STREAM + 10 + batch)
        fixed, place = given_batch(known.space, known.states, chosen, told, rng)
        made, state = sample_at(source.sample, terms, fixed, rng, pool, rig=bool(held[told]))
        for each in held[told]:
            hold = known.states.hold[chosen.index, each.history, :, place]
            steps = known.asked.log.histories[each.history]
            add("held", batch, each, _after(bench_of(made), steps, hold, state))
        add("next", batch, None, at_states(made.weight * made.fails, state, CHOSEN))
    add("new batch", None, None, new)
    return tuple(rods), changes


def _together(source: _Source) -> Array:
    """Return what each draw brings to any kind of failure, all kinds alike, (n,)."""
    found = np.zeros(source.sample.weight.size)
    for own in source.terms:
        total = float(own.sum())
        found += own / total if total > 0.0 else 0.0
    return found


def _known(chosen: Chosen, new: AtStates, per_rod: float, sample: Sample) -> Outlook:
    """Return failure of one rod before the log, its band from the chosen states."""
    first = float(chosen.before @ new.value)
    chance = judgement.failure_probability(sample, np.empty(0))
    scale = per_rod / max(chance.estimate, LEAST)
    if not first > 0.0:
        return Outlook(per_rod, scale * chance.low, scale * chance.high, *(per_rod,) * 3)
    levels = np.minimum(band_of(new, chosen.before) * per_rod / first, 1.0)
    return Outlook(
        per_rod, scale * chance.low, scale * chance.high, *(float(level) for level in levels)
    )


def _held(asked: Asked, batch: int) -> tuple[_Held, ...]:
    """Return the loads held of a batch that are told of, the highest first."""
    log = asked.log
    found = [
        _Held(group.history, max(load for load, _ in log.histories[group.history]), group.count)
        for group in log.groups
        if group.batch == batch and log.held[group.history]
    ]
    by_load = sorted(found, key=lambda each: -each.load)
    if len(by_load) > MOST_HELD:
        wanted = {by_load[0], by_load[-1], found[0]}
        by_load = [each for each in by_load if each in wanted]
    return tuple(by_load)


def _after(bench: Bench, steps: History, hold: Array, state: Ints) -> AtStates:
    """Return failure of a rod that held its pulls, hurt by them, at chosen states, (K,).

    Parameters
    ----------
    bench : Bench
        One rod of a batch of the log.
    steps : History
    hold : ndarray, (K, 2) [-]
        Chance that a rod of a good and of a bad batch holds them.
    state : ndarray of int, (m,)
    """
    pulled = None
    for turn, (load, _) in enumerate(steps):
        pulled = pull(bench, load, pulled, turn=turn)
    assert pulled is not None  # noqa: S101
    fails = life_chance(bench, rates_after(bench, pulled))
    where = bench.rods.layout.bad_batch_labels
    bad = np.zeros(state.size, dtype=np.intp)
    if where.stop > where.start:
        bad = bench.sample.draws.labels[:, where.start].astype(np.intp)
    likely = np.maximum(hold[state, bad], LEAST)
    return at_states(bench.weight * pulled.hold * fails / likely, state, CHOSEN)
