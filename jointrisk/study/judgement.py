"""Strength, permitted load, failure probability and target from the weighted sample."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from jointrisk.model.resistance import MODES
from jointrisk.reliability.interval import (
    Bounds,
    ratio_interval,
    weighted_interval,
    weighted_quantile,
)
from jointrisk.study.results import (
    FailureProbability,
    Mode,
    PermittedLoad,
    Strength,
    TargetVerdict,
)

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.scenario.types import Target
    from jointrisk.study.sample import Outcome, Sample

    Array = npt.NDArray[np.float64]

CONFIDENCE = 0.95
LARGEST_AS_ODDS = 0.1
BAND_QUANTILES = (0.05, 0.5, 0.95)


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


def failure_probability(sample: Sample, states: Array) -> FailureProbability:
    """Return the failure probability of the set over its life, with interval and band."""
    scenario = sample.rods.scenario
    bounds = _bounds(sample)
    rod = -np.expm1(-sample.outcome.rod_rate * scenario.life).mean(axis=0)
    yearly = sample.mean(first_year(sample.outcome, scenario.life))
    levels = np.quantile(states, BAND_QUANTILES) if states.size else [bounds.estimate] * 3
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
        worst_year=yearly,
        worst_year_number=1,
        method="importance sampling, loads integrated exactly",
        evaluations=sample.evaluations,
    )


def _bounds(sample: Sample) -> Bounds:
    """Return the failure probability over the life with its interval."""
    terms = sample.weight * sample.fails
    if sample.often:
        return ratio_interval(terms, sample.weight, sample.component, CONFIDENCE)
    guard = float(sample.plan.proposal.shares[0])
    return weighted_interval(terms, sample.component, CONFIDENCE, largest=1.0 / guard)


def first_year(outcome: Outcome, life: float) -> Array:
    """Return the chance of each draw to fail in the first year, (n,) [-]: no year is worse.

    With failure rates that last (strength does not change over the life) the sets that are
    left grow better from year to year, since the weak go first.
    """
    return np.asarray(-np.expm1(-outcome.rate * min(1.0, life)))


def modes(sample: Sample) -> tuple[Mode, ...]:
    """Return the modes that can fail, the largest share first; shares sum to 1."""
    life = sample.rods.scenario.life
    rate = sample.outcome.mode_rate
    terms = sample.weight * sample.fails
    total = float(terms.sum())
    if not total > 0.0:
        return ()
    first = rate.argmax(axis=0)
    result = []
    for index, name in enumerate(MODES):
        share = float(terms[first == index].sum()) / total
        chance = sample.mean(-np.expm1(-rate[index] * life))
        if chance > 0.0:
            result.append(Mode(name, chance, share))
    return tuple(sorted(result, key=lambda mode: -mode.share))


def target_value(sample: Sample, target: Target, weight: Array) -> float:
    """Return the failure probability that the target speaks of, under given weights."""
    chance = target_chance(sample.outcome, sample.rods.scenario.life, target)
    return float((weight * chance).sum() / weight.sum())


def before_any_pull(sample: Sample, target: Target) -> float:
    """Return the failure probability that the target speaks of, as built."""
    return sample.mean(target_chance(sample.outcome, sample.rods.scenario.life, target))


def target_chance(outcome: Outcome, life: float, target: Target) -> Array:
    """Return the chance of each draw to fail as the target counts it, (n,) [-]."""
    years = life if target.period == "life" else min(1.0, life)
    if target.scope == "set":
        return np.asarray(-np.expm1(-outcome.rate * years))
    return np.asarray(-np.expm1(-outcome.rod_rate * years).mean(axis=0))


def target_verdict(
    sample: Sample, target: Target, chance: FailureProbability | None, states: Array
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
    """
    life = sample.rods.scenario.life
    period = life if target.period == "life" else min(1.0, life)
    met: bool | None = None
    likely: float | None = None
    if chance is not None:
        judged = before_any_pull(sample, target)
        band = states if states.size else np.array([judged])
        likely = float(np.mean(band <= target.probability))
        low, high = np.quantile(band, (0.05, 0.95))
        if judged <= target.probability and high <= target.probability:
            met = True
        elif judged > target.probability and low > target.probability:
            met = False
    return TargetVerdict(target.probability, period, target.scope, met, likely, target.source)


def _odds(chance: float) -> str:
    return f"1 in {round(1.0 / chance):,}" if chance <= LARGEST_AS_ODDS else f"{chance:.2g}"
