"""Strength, permitted load, failure probability and target from the weighted sample."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from jointrisk.model.ageing import slice_edges
from jointrisk.model.loads import accumulated, spans_until
from jointrisk.model.members import modes_of
from jointrisk.reliability.interval import (
    Bounds,
    ratio_interval,
    weighted_interval,
    weighted_quantile,
)
from jointrisk.study.band_ends import quantile_interval, quantiles, share_interval
from jointrisk.study.results import (
    FailureProbability,
    Mode,
    PermittedLoad,
    Strength,
    TargetVerdict,
)

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.scenario.types import Scenario, Target
    from jointrisk.study.bench import Rates
    from jointrisk.study.sample import Outcome, Sample

    Array = npt.NDArray[np.float64]

CONFIDENCE = 0.95
LARGEST_AS_ODDS = 0.1
WHOLE = 1e-9
"""A year is whole if the life ends no sooner than this before its end [years]."""
BAND_QUANTILES = (0.05, 0.5, 0.95)
NOT_REPEATED = np.empty((0, 0))
"""Stands for states that were not worked out without each group of them."""


def strength(sample: Sample, by_rod: Array) -> Strength:
    """Return quantiles of the weakest link of one rod.

    Parameters
    ----------
    sample : Sample
    by_rod : ndarray, (rods, n) [N]
        All rods are alike, so each is a draw of one rod.
    """
    rods, n = by_rod.shape
    weights = np.broadcast_to(sample.weight, (rods, n)).ravel()
    values = by_rod.ravel()
    # the median from the heavy middle by normalised weights, low quantiles by their own
    order = np.argsort(values, kind="stable")
    below = np.cumsum(weights[order])
    shares = (0.5, 0.01, 0.001)
    found = [values[order[np.searchsorted(below, share * below[-1])]] for share in shares]
    return Strength(*(float(value) for value in found))


def permitted_load(sample: Sample, target: Target) -> PermittedLoad:
    """Return the largest load of the life at which the target still holds.

    The largest load a set meets in its life, taken as known; the strengths of service vary.
    """
    outcome = sample.outcome
    weakest = outcome.pull
    if outcome.push is not None:
        weakest = np.minimum(weakest, outcome.push)
    if target.scope == "set":
        values, scope = weakest.min(axis=0), "any rod of the set"
    else:
        values, scope = weakest[0], "one rod"
    found = weighted_quantile(
        values, sample.weight, target.probability, sample.component, CONFIDENCE
    )
    directions = "pull or push" if outcome.push is not None else "pull"
    return PermittedLoad(
        found.estimate,
        max(found.low, 0.0),
        found.high,
        f"largest {directions} of the life at which the chance that {scope} fails "
        f"is {_odds(target.probability)}",
    )


def failure_probability(
    sample: Sample, states: Array, again: Array = NOT_REPEATED
) -> FailureProbability:
    """Return the failure probability of the set over its life, with interval and band.

    Parameters
    ----------
    sample : Sample
    states : ndarray, (k,) [-]
        Failure probability at equally likely states; empty where all is known.
    again : ndarray, (groups, k) [-]
        The same without each group of states (see `band_ends`); where there is none the ends
        of the band have the interval of so many independent states.
    """
    scenario = sample.rods.scenario
    bounds = _bounds(sample, sample.fails)
    rod = -np.expm1(-sample.outcome.rod_hazard).mean(axis=0)
    year = worst_year(sample, None)
    levels = quantiles(states, BAND_QUANTILES) if states.size else [bounds.estimate] * 3
    ends = [
        _pair(quantile_interval(states, again, level, CONFIDENCE)) if states.size else None
        for level in BAND_QUANTILES
    ]
    return FailureProbability(
        estimate=bounds.estimate,
        low=bounds.low,
        high=min(bounds.high, 1.0),
        confidence=CONFIDENCE,
        band_p05=float(levels[0]),
        band_p50=float(levels[1]),
        band_p95=float(levels[2]),
        beta=float(-ndtri(min(max(bounds.estimate, 0.0), 1.0))),
        period_years=scenario.life,
        basis="all rods, whole life",
        per_rod=sample.mean(rod),
        worst_year=_in_year(sample, sample.outcome.rate[:, None], year),
        worst_year_number=year + 1,
        method="importance sampling, loads integrated exactly",
        evaluations=sample.evaluations,
        band_p05_interval=ends[0],
        band_p50_interval=ends[1],
        band_p95_interval=ends[2],
    )


def _pair(ends: Array) -> tuple[float, float]:
    return float(ends[0]), float(ends[1])


def _bounds(sample: Sample, fails: Array) -> Bounds:
    """Return the mean of each draw's chance to fail, with its interval."""
    terms = sample.weight * fails
    if sample.often:
        return ratio_interval(terms, sample.weight, sample.component, CONFIDENCE)
    guard = float(sample.plan.proposal.shares[0])
    return weighted_interval(terms, sample.component, CONFIDENCE, largest=1.0 / guard)


def worst_year(sample: Sample, target: Target | None) -> int:
    """Return the year of the life that fails most of those left at its start, 0 for the first.

    Looked at are the years in which a slice of the life begins, and those after them: while
    the strength stays as it is no later year is worse, since the weak go first.
    """
    years = years_looked_at(slice_edges(sample.rods.scenario))
    rates = sample.outcome.rate[:, None]
    if target is not None and target.scope == "rod":
        rates = sample.outcome.rod_rate
    chances = [_in_year(sample, rates, year) for year in years]
    return years[int(np.argmax(chances))]


def years_looked_at(edges: Array, life: float | None = None) -> list[int]:
    """Return the years that may be the worst of a life, 0 for the first."""
    starts = {int(edge) for edge in edges[:-1]} | {int(np.ceil(edge)) for edge in edges[:-1]}
    end = float(edges[-1]) if life is None else life
    return sorted(year for year in starts if year == 0 or year + 1 <= end + WHOLE)


def _in_year(sample: Sample, rates: Array, year: int) -> float:
    """Return the chance that one of those left fails in a year [-]; rates (slices, k, n)."""
    fails, gone = _year_terms(sample.rods.scenario, rates, year)
    left = max(1.0 - sample.mean(gone), np.finfo(float).tiny)
    return min(sample.mean(fails) / left, 1.0)


def _year_terms(scenario: Scenario, rates: Array, year: int) -> tuple[Array, Array]:
    """Return each draw's chance to fail in a year and before it, (n,) [-]; rates (slices, k, n)."""
    edges = slice_edges(scenario)
    before = accumulated(rates, spans_until(edges, float(year)))
    until = accumulated(rates, spans_until(edges, min(year + 1.0, float(edges[-1]))))
    gone = -np.expm1(-before)
    return np.asarray((-np.expm1(-until) - gone).mean(axis=0)), np.asarray(gone.mean(axis=0))


def modes(sample: Sample) -> tuple[Mode, ...]:
    """Return the modes that can fail, the largest share first; shares sum to 1."""
    hazard = sample.outcome.mode_hazard
    terms = sample.weight * sample.fails
    total = float(terms.sum())
    if not total > 0.0:
        return ()
    first = hazard.argmax(axis=0)
    result = []
    for index, name in enumerate(modes_of(sample.rods.scenario)):
        share = float(terms[first == index].sum()) / total
        chance = sample.mean(-np.expm1(-hazard[index]))
        if chance > 0.0:
            result.append(Mode(name, chance, share))
    return tuple(sorted(result, key=lambda mode: -mode.share))


def target_value(
    scenario: Scenario,
    rates: Outcome | Rates,
    target: Target,
    weight: Array,
    life: float | None = None,
) -> float:
    """Return the failure probability that the target speaks of, under given weights.

    Of a yearly target in the year that is the worst under those weights.

    Parameters
    ----------
    scenario : Scenario
    rates : Outcome or Rates
    target : Target
    weight : ndarray, (n,) [-]
    life : float, optional
        Shorter than that of the scenario [years].
    """
    edges = slice_edges(scenario)
    if target.period == "life":
        by_rod = _counted(rates, target)
        spans = spans_until(edges, float(edges[-1]) if life is None else life)
        fails = -np.expm1(-accumulated(by_rod, spans)).mean(axis=0)
        return _over(weight, fails, np.zeros_like(fails))
    years = years_looked_at(edges, life)
    return max(year_value(scenario, rates, target, weight, year) for year in years)


def year_value(
    scenario: Scenario, rates: Outcome | Rates, target: Target, weight: Array, year: int
) -> float:
    """Return the chance that one of those left at its start fails in a year, 0 for the first."""
    return _over(weight, *_year_terms(scenario, _counted(rates, target), year))


def _counted(rates: Outcome | Rates, target: Target) -> Array:
    """Return the rates that a target counts, (slices, k, n) [1/years]."""
    return rates.rate[:, None] if target.scope == "set" else rates.rod_rate


def _over(weight: Array, fails: Array, gone: Array) -> float:
    """Return the chance to fail of those not gone before, under weights, (n,)."""
    left = float((weight * (1.0 - gone)).sum())
    return float((weight * fails).sum() / left) if left > 0.0 else 1.0


def before_any_pull(sample: Sample, target: Target) -> float:
    """Return the failure probability that the target speaks of, as built."""
    scenario = sample.rods.scenario
    fails, gone = target_terms(scenario, sample.outcome, target, worst_year(sample, target))
    left = max(1.0 - sample.mean(gone), np.finfo(float).tiny)
    return min(sample.mean(fails) / left, 1.0)


def target_terms(
    scenario: Scenario, outcome: Outcome, target: Target, year: int
) -> tuple[Array, Array]:
    """Return each draw's chance to fail as the target counts it, and to be gone before, (n,) [-].

    Parameters
    ----------
    scenario : Scenario
    outcome : Outcome
    target : Target
    year : int
        Year of the life that a yearly target is held against, 0 for the first.
    """
    if target.period == "life":
        hazard = outcome.hazard[None] if target.scope == "set" else outcome.rod_hazard
        fails = np.asarray(-np.expm1(-hazard).mean(axis=0))
        return fails, np.zeros_like(fails)
    rates = outcome.rate[:, None] if target.scope == "set" else outcome.rod_rate
    return _year_terms(scenario, rates, year)


def target_verdict(
    sample: Sample,
    target: Target,
    chance: FailureProbability | None,
    states: Array,
    again: Array = NOT_REPEATED,
) -> TargetVerdict:
    """Hold the target against the band of what is not known.

    Parameters
    ----------
    sample : Sample
    target : Target
    chance : FailureProbability, optional
        None where no load is given.
    states : ndarray, (k,) [-]
        The target's own failure probability at equally likely states; empty where all is known.
    again : ndarray, (groups, k) [-]
        The same without each group of states; may be none.
    """
    life = sample.rods.scenario.life
    period = life if target.period == "life" else min(1.0, life)
    found = TargetVerdict(target.probability, period, target.scope, None, None, target.source)
    if chance is None:
        return found
    judged = before_any_pull(sample, target)
    around = _judged_interval(sample, target, judged)
    if not states.size:
        close = around[0] <= target.probability < around[1]
        likely = float(judged <= target.probability)
        between = (0.0, 1.0) if close else (likely, likely)
        return replace(
            found,
            met=likely > 0.0,
            chance_met=likely,
            chance_met_interval=between,
            close=close,
        )
    low, high = (float(level) for level in quantiles(states, BAND_QUANTILES[::2]))
    lows, highs = (
        quantile_interval(states, again, level, CONFIDENCE) for level in BAND_QUANTILES[::2]
    )
    met = _met(target.probability, judged, low, high)
    others = {_met(target.probability, *ends) for ends in product(around, lows, highs)}
    return replace(
        found,
        met=met,
        chance_met=float(np.mean(states <= target.probability)),
        chance_met_interval=_pair(share_interval(states, again, target.probability, CONFIDENCE)),
        close=others != {met},
    )


def _met(asked: float, judged: float, low: float, high: float) -> bool | None:
    """Return whether average and band lie at or below what is asked, or above it; else None."""
    if judged <= asked and high <= asked:
        return True
    return False if judged > asked and low > asked else None


def _judged_interval(sample: Sample, target: Target, judged: float) -> tuple[float, float]:
    """Return the sampling interval of what `before_any_pull` says."""
    fails = target_terms(sample.rods.scenario, sample.outcome, target, worst_year(sample, target))[
        0
    ]
    bounds = _bounds(sample, fails)
    if not bounds.estimate > 0.0:
        return bounds.low, bounds.high
    scale = judged / bounds.estimate
    return scale * bounds.low, scale * bounds.high


def _odds(chance: float) -> str:
    return f"1 in {round(1.0 / chance):,}" if chance <= LARGEST_AS_ODDS else f"{chance:.2g}"
