"""Which assumption decides the answer: every default at its best and at its worst.

Each alternative is a scenario with one thing changed (`scenario.doubts`). It is worked out on the
random numbers of the scenario as it is: the same normal scores go through the other spread, the
same labels are weighted with their changed chance, so that the ratio of the two failure
probabilities is known far better than either. The draws are a second stage of the main sample.

Where too few of them carry what fails after the change, or the change asks for draws that are
not there, the alternative gets a sample of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.model.ageing import slice_edges
from jointrisk.model.loads import accumulated, pushes, spans_until
from jointrisk.model.rodset import rod_set
from jointrisk.reliability.interval import Bounds, ratio_interval, weighted_interval
from jointrisk.reliability.streams import block_rng, resolve_seed
from jointrisk.scenario.doubts import doubts, reasons
from jointrisk.scenario.types import Scenario
from jointrisk.study.doubts_entries import entries_of, judged
from jointrisk.study.doubts_results import Ledger, Target
from jointrisk.study.influence import second_stage
from jointrisk.study.judgement import CONFIDENCE, before_any_pull, years_looked_at
from jointrisk.study.results import Chance
from jointrisk.study.sample import DOUBTS, NEGLIGIBLE, Sample, weighted_sample

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from jointrisk.model.loads import Hazard
    from jointrisk.model.rodset import RodSet
    from jointrisk.scenario.doubts import Doubt
    from jointrisk.study.doubts_results import How

    Array = npt.NDArray[np.float64]
    Bools = npt.NDArray[np.bool_]

JOINTS_ALLOWED = 2**13
"""Rows of the second stage are at most this over the joints of a set."""
FEWEST_ROWS = 256
MOST_ROWS = 2**11
LEAST_EFFECTIVE = 60.0
"""Effective number of failing rows below which an alternative gets a sample of its own [-]."""
OWN_COV = 0.1
"""Coefficient of variation asked of such a sample [-]."""
MOST_OWN = 10
"""Samples of their own in one ledger, more only where the draws do not serve at all; others keep
their wide interval."""
SMALLEST = 1e-300


@dataclass(frozen=True, slots=True)
class Fails:
    """What draws come to under one scenario."""

    whole: Array
    """Chance that the set fails in its life, (n,) [-]."""
    counted: Array
    """Chance to fail as the target counts it, over the share left when it begins, (n,) [-]; the
    same as `whole` without a target."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Second stage of the main sample."""

    u: Array
    labels: Bools
    weight: Array
    """Times how often each row was picked: the sum over the rows is an expectation, (n,) [-]."""
    chance: Array
    """Log chance of each row's labels, (n,)."""
    before: Fails


@dataclass(frozen=True, slots=True)
class Answer:
    """Failure probability under one alternative over that of the scenario as it is."""

    whole: Bounds
    counted: Bounds
    effective: float
    """Effective number of failing rows [-]; 0 where the draws do not serve at all."""
    method: How


def ledger(scenario: Scenario | Sample, *, seed: int | None = None, pool: Any = None) -> Ledger:
    """Work out what each assumption of a scenario does to its failure probability.

    Parameters
    ----------
    scenario : Scenario or Sample
        A weighted sample of it serves where there is one already.
    seed : int, optional
        By default the scenario's own; 0 is a seed.
    pool : object with ``map``, optional
        The numbers do not depend on it.

    Returns
    -------
    Ledger
        Without entries where no load is given, or no draw fails.
    """
    own = scenario if isinstance(scenario, Scenario) else scenario.rods.scenario
    used = resolve_seed(own.seed if seed is None else seed)
    if not own.loads:
        return _empty(own)
    sample = weighted_sample(own, used, pool) if isinstance(scenario, Scenario) else scenario
    if sample.mean(sample.fails) < NEGLIGIBLE:
        return _empty(own)
    failure, target = _now(sample)
    known = _read(sample.rods)
    asked = [doubt for doubt in doubts(own) if doubt.key in known or _is_fact(own, doubt.key)]
    answers, evaluations = _answers(sample, asked, used, pool)
    return Ledger(
        failure=failure,
        life_years=own.life,
        target=target,
        confidence=CONFIDENCE,
        entries=entries_of(asked, answers, failure, target),
        unread=tuple(sorted({doubt.key for doubt in doubts(own)} - {d.key for d in asked})),
        reasons=tuple(sorted(reasons(own).items())),
        evaluations=evaluations,
    )


def _empty(scenario: Scenario) -> Ledger:
    told = tuple(sorted(reasons(scenario).items()))
    return Ledger(None, scenario.life, None, CONFIDENCE, (), (), told, 0)


def _read(rods: RodSet) -> set[str]:
    """Return the keys of variables that the scenario makes use of, loads among them."""
    return set(rods.variables) | {load.size.key for load in rods.scenario.loads}


def _is_fact(scenario: Scenario, key: str) -> bool:
    """Tell whether a key is that of a plain fact, or of what an alternative brings to bear."""
    return key not in scenario.variables or key == "ageing.steady_share"


def _now(sample: Sample) -> tuple[Chance, Target | None]:
    """Return the failure probability as it is, and the target with what it counts."""
    failure = _chance(sample, sample.weight * sample.fails, sample.mean(sample.fails))
    target = sample.rods.scenario.target
    if target is None:
        return failure, None
    counted = before_any_pull(sample, target)
    rates = sample.outcome
    fails = _counted(sample.rods.scenario, rates.rate, rates.rod_rate, sample.weight)
    told = _chance(sample, sample.weight * fails, counted)
    met = judged(told.low, told.high, target.probability)
    return failure, Target(target.probability, target.period, target.scope, told, met)


def _chance(sample: Sample, terms: Array, estimate: float) -> Chance:
    """Return an estimate with the relative interval of its terms."""
    guard = float(sample.plan.proposal.shares[0])
    if sample.often:
        found = ratio_interval(terms, sample.weight, sample.component, CONFIDENCE)
    else:
        found = weighted_interval(terms, sample.component, CONFIDENCE, largest=1.0 / guard)
    scale = estimate / found.estimate if found.estimate > 0.0 else 1.0
    return Chance(estimate, scale * found.low, min(scale * found.high, 1.0))


# On the draws of the scenario as it is -----------------------------------------------------------


def _answers(
    sample: Sample, asked: Sequence[Doubt], seed: int, pool: Any
) -> tuple[list[list[Answer]], int]:
    """Return the answer to each alternative of each doubt, and the draws that took."""
    rows = _second_stage(sample, seed)
    scenarios = [other.scenario for doubt in asked for other in doubt.alternatives]

    def answer(scenario: Scenario) -> Answer:
        return _on_same_draws(sample.rods, rows, scenario)

    found = list(map(answer, scenarios) if pool is None else pool.map(answer, scenarios))
    evaluations = rows.weight.size * (1 + len(scenarios))
    poor = [i for i, each in enumerate(found) if each.effective < LEAST_EFFECTIVE]
    poor.sort(key=lambda i: found[i].effective)
    without = sum(each.effective == 0.0 for each in found)
    for i in poor[: max(without, MOST_OWN)]:
        other = weighted_sample(scenarios[i], seed, pool, OWN_COV)
        found[i] = _on_own_draws(sample, other)
        evaluations += other.evaluations
    answers = iter(found)
    return [[next(answers) for _ in doubt.alternatives] for doubt in asked], evaluations


def _second_stage(sample: Sample, seed: int) -> Rows:
    """Pick rows of the main sample, each once, and work them out as they are."""
    count = int(np.clip(JOINTS_ALLOWED // sample.rods.layout.joints, FEWEST_ROWS, MOST_ROWS))
    drawn, weights = second_stage(sample, count, block_rng(seed, DOUBTS, 0))
    picked, first, times = np.unique(drawn, return_index=True, return_counts=True)
    weight = weights[first] * times / count
    u, labels = sample.draws.u[picked], sample.draws.labels[picked]
    rods = sample.rods
    return Rows(u, labels, weight, _log_chance(rods, u, labels), _fails(rods, u, labels, weight))


def _on_same_draws(base: RodSet, rows: Rows, scenario: Scenario) -> Answer:
    """Work out an alternative on the rows; with nothing effective where they do not serve."""
    rods = matched(base, scenario)
    if rods is None:
        nothing = Bounds(np.nan, np.nan, np.nan, np.nan)
        return Answer(nothing, nothing, 0.0, "same draws")
    ratio = np.exp(_log_chance(rods, rows.u, rows.labels) - rows.chance)
    weight = rows.weight * ratio
    after = _fails(rods, rows.u, rows.labels, weight)
    terms = weight * after.whole
    effective = float(terms.sum()) ** 2 / max(float((terms**2).sum()), SMALLEST)
    whole = ratio_interval(terms, rows.weight * rows.before.whole)
    counted = ratio_interval(weight * after.counted, rows.weight * rows.before.counted)
    return Answer(whole, counted, effective, "same draws")


def matched(base: RodSet, scenario: Scenario) -> RodSet | None:
    """Return the set of a changed scenario on the columns of another; None where they differ.

    Correlated variables keep the correlation of their normal scores.
    """
    rods = rod_set(scenario)
    same_labels = rods.layout.label_count == base.layout.label_count
    columns = set(base.layout.columns)
    kept = columns <= set(rods.variables) and set(rods.layout.columns) <= columns
    same_batches = rods.layout.batch_of_rod == base.layout.batch_of_rod
    if not (kept and same_labels and same_batches):
        return None
    return replace(rods, layout=base.layout, groups=base.groups, push=pushes(scenario))


def _log_chance(rods: RodSet, u: Array, labels: Bools) -> Array:
    """Return the log of the chance of the labels given the scores, (n,)."""
    total = np.zeros(u.shape[0])
    for label in range(rods.layout.label_count):
        chance = rods.label_chance(label, u, labels)
        held = np.where(labels[:, label], chance, 1.0 - chance)
        total += np.log(np.maximum(held, SMALLEST))
    return total


def _fails(rods: RodSet, u: Array, labels: Bools, weight: Array) -> Fails:
    """Work out draws; `weight` says how much each counts when the worst year is looked for."""
    scenario, values = rods.scenario, rods.values(u)
    wall = scenario.tube_is_composite
    strength = rods.resistance(values, labels, with_rig=False, with_wall=wall)
    rates: Hazard = rods.hazard(values, strength)
    whole = -np.expm1(-accumulated(rates.total, np.diff(slice_edges(scenario))))
    counted = _counted(scenario, rates.total, rates.rod, weight)
    return Fails(whole * strength.assembles, counted * strength.assembles)


def _counted(scenario: Scenario, rate: Array, rod_rate: Array, weight: Array) -> Array:
    """Return each draw's chance to fail as the target counts it, (n,) [-].

    In a year it is over the share of sets left at its start, which is taken as known: the mean
    over the draws is then the chance of those left.

    Parameters
    ----------
    scenario : Scenario
    rate : ndarray, (slices, n) [1/years]
    rod_rate : ndarray, (slices, rods, n) [1/years]
    weight : ndarray, (n,) [-]
    """
    target, edges = scenario.target, slice_edges(scenario)
    by_rod = rod_rate if target is not None and target.scope == "rod" else rate[:, None]
    if target is None or target.period == "life":
        return np.asarray(-np.expm1(-accumulated(by_rod, np.diff(edges))).mean(axis=0))
    found = []
    for year in years_looked_at(edges):
        gone = -np.expm1(-accumulated(by_rod, spans_until(edges, float(year))))
        end = min(year + 1.0, float(edges[-1]))
        until = -np.expm1(-accumulated(by_rod, spans_until(edges, end)))
        left = 1.0 - float((weight * gone.mean(axis=0)).sum() / weight.sum())
        found.append((until - gone).mean(axis=0) / max(left, SMALLEST))
    return np.asarray(max(found, key=lambda fails: float((weight * fails).sum())))


# On draws of its own -----------------------------------------------------------------------------


def _on_own_draws(base: Sample, other: Sample) -> Answer:
    """Hold two samples against each other; their errors are independent."""
    before, was = _now(base)
    after, now = _now(other)
    whole = _ratio(after, before)
    counted = whole if was is None or now is None else _ratio(now.counted, was.counted)
    return Answer(whole, counted, np.inf, "own draws")


def _ratio(after: Chance, before: Chance) -> Bounds:
    """Return the ratio of two estimates, their intervals joined on the log."""
    value = after.estimate / before.estimate
    if after.estimate <= 0.0:
        return Bounds(0.0, 0.0, after.high / before.estimate, np.nan)
    down = np.hypot(
        np.log(after.estimate / max(after.low, SMALLEST)), np.log(before.high / before.estimate)
    )
    up = np.hypot(
        np.log(after.high / after.estimate),
        np.log(before.estimate / max(before.low, SMALLEST)),
    )
    return Bounds(value, float(value * np.exp(-down)), float(value * np.exp(up)), np.nan)
