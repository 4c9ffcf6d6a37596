"""Curves for the pictures of an assessment."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.model.loads import exceed_rate, line_factor
from jointrisk.reliability.interval import Bounds, weighted_interval
from jointrisk.reliability.screening import curve
from jointrisk.study.bench import bench_of, pull, rates_after
from jointrisk.study.judgement import CONFIDENCE
from jointrisk.study.pulls import MOST_JOINTS, life_chance
from jointrisk.study.results import Curve, Figures

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.study.sample import Sample

    Array = npt.NDArray[np.float64]

POINTS = 40
LEAST = 1.0
"""Highest load drawn where no rod holds any [N]."""
WIDEST = (1e-6, 0.999)
"""Shares of rods between which strengths are drawn [-]."""
ASIDE = 1.5
"""Where all rods hold the same, pushes are drawn from this below it to this above it [-]."""

_NONE = Curve((), (), (), ())
NO_CURVES = Figures(_NONE, _NONE, None, None, _NONE, None, ())
"""What stands in an assessment made without curves."""


def figures(
    sample: Sample, states: Array, loads_named: tuple[float, ...], pulled: Sample | None = None
) -> Figures:
    """Return every curve the report draws.

    Parameters
    ----------
    sample : Sample
    states : ndarray, (k,) [-]
        Failure probabilities of the band.
    loads_named : tuple of float [N]
        Loads that must lie inside the range of the proof curve.
    pulled : Sample, optional
        Draws that tell what a pull leaves; by default the same.
    """
    outcome, proof = sample.outcome, sample.rods.scenario.proof
    low, high = _range(sample, outcome.rig_pull)
    rig_low, rig_high = _range(sample, outcome.in_rig)
    if proof.rig.pushes and rig_low >= rig_high:  # past the bonds, into parts of one value
        rig_low, rig_high = rig_high / ASIDE, rig_high * ASIDE
    service_low, service_high = _range(sample, outcome.pull)
    grid = np.geomspace(min(low, service_low), max(high, service_high), POINTS)
    pulls = np.geomspace(min(rig_low, *loads_named, rig_high), rig_high, POINTS)
    bench = bench_of(pulled or sample, MOST_JOINTS)
    screened = curve(
        bench.weight,
        bench.outcome.in_rig,
        lambda load: life_chance(bench, rates_after(bench, pull(bench, load))),
        pulls,
        rig_error_cov=proof.rig_error_cov,
        bias=bench.bias,
        is_weak=bench.outcome.weak_rod,
        component=bench.sample.component,
        confidence=CONFIDENCE,
        fail_before=life_chance(bench, bench.outcome),
    )
    has_loads = bool(sample.rods.scenario.loads)
    has_weak = bool(outcome.weak_rod.any())
    return Figures(
        strength_new=_below(sample, outcome.rig_pull, grid),
        strength_service=_below(sample, outcome.pull, grid),
        load_exceeded=_load_exceeded(sample, grid) if has_loads else None,
        fail_after_pull=_curve(pulls, screened.fail_after, screened.fail_after_interval)
        if has_loads
        else None,
        reject=_curve(pulls, screened.reject_each, screened.reject_each_interval),
        reject_weak=_curve(pulls, screened.reject_weak, screened.reject_weak_interval)
        if has_weak
        else None,
        band=tuple(float(state) for state in states),
    )


def _range(sample: Sample, by_rod: Array) -> tuple[float, float]:
    values = by_rod.ravel()
    order = np.argsort(values, kind="stable")
    below = np.cumsum(np.broadcast_to(sample.weight, by_rod.shape).ravel()[order])
    places = np.searchsorted(below, np.array(WIDEST) * below[-1])
    low, high = values[order[np.minimum(places, values.size - 1)]]
    high = max(float(high), LEAST)
    return max(float(low), 1e-3 * high), high


def _below(sample: Sample, by_rod: Array, grid: Array) -> Curve:
    bounds = [
        weighted_interval(
            sample.weight * (by_rod < load).mean(axis=0), sample.component, CONFIDENCE
        )
        for load in grid
    ]
    return _of_bounds(grid, bounds)


def _of_bounds(grid: Array, bounds: list[Bounds]) -> Curve:
    """Return a curve of chances with their intervals."""
    return Curve(
        tuple(float(load) for load in grid),
        tuple(min(bound.estimate, 1.0) for bound in bounds),
        tuple(min(bound.low, 1.0) for bound in bounds),
        tuple(min(bound.high, 1.0) for bound in bounds),
    )


def _load_exceeded(sample: Sample, grid: Array) -> Curve:
    """Chance that any variable load of the life is above the load in the rod.

    Exact, without an interval, but where a linkage varies: then the draws are those of the sample.
    """
    loads = [load for load in sample.rods.scenario.loads if not load.lasting]
    columns = sample.rods.layout.columns
    varies = any(key in columns for load in loads for key in (*load.ratios, load.angle))
    u = sample.draws.u if varies else sample.draws.u[:1]
    values = sample.rods.values(u)
    factors = [line_factor(load, values)[0] for load in loads]
    bounds = []
    for size in grid:
        rate = np.zeros(u.shape[0])
        for load, factor in zip(loads, factors, strict=True):
            rate = rate + exceed_rate(load, size / factor)
        chance = -np.expm1(-rate * sample.life)
        if varies:
            bounds.append(weighted_interval(sample.weight * chance, sample.component, CONFIDENCE))
        else:
            exact = float(chance[0])
            bounds.append(Bounds(exact, exact, exact, 0.0))
    return _of_bounds(grid, bounds)


def _curve(loads: Array, value: Array, interval: Array) -> Curve:
    """Return a curve of chances, without the loads at which nothing is left to ask about."""
    known = np.isfinite(value) & np.isfinite(interval).all(axis=1)
    columns = (loads, value, interval[:, 0], interval[:, 1])
    points = [column[known] for column in columns]
    return Curve(
        tuple(float(load) for load in points[0]),
        *(tuple(float(entry) for entry in np.minimum(column, 1.0)) for column in points[1:]),
    )
