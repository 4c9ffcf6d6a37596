"""The study `sweep`: one quantity over a range, or two, on the same random numbers.

The draws are made for the scenario as written and for some values spread over the range; every
value is then worked out on them. What differs between two values is known far better than either.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.errors import EstimateError, InputError
from jointrisk.reliability.streams import resolve_seed
from jointrisk.scenario.moved import GAP, LIFE, LOADS, movable, moved, place_of, read_place
from jointrisk.scenario.types import Warning_
from jointrisk.study.common import common_draws
from jointrisk.study.judgement import CONFIDENCE
from jointrisk.study.running import host_of, run_of
from jointrisk.study.sample import NEGLIGIBLE
from jointrisk.study.sweep_knee import knee_of
from jointrisk.study.sweep_map import map_of
from jointrisk.study.sweep_points import point_of
from jointrisk.study.sweep_results import Quantity, Sweep, SweepPoint
from jointrisk.study.sweep_search import windows_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.scenario.types import Scenario
    from jointrisk.study.common import Common
    from jointrisk.study.sample import Sample
    from jointrisk.study.sweep_results import SweepMap, Window

    Values = Sequence[float | str]

ANCHORS = 5
"""Values spread over the range that the draws are made for, besides the one written."""
JOINTS = 3 * 2**18
"""Joints worked out at most for the whole curve, about."""
TARGET_COV = 0.04
UNSURE_COV = 0.1
"""Above this coefficient of variation at any value a warning says so [-]."""
WORST_COV = 0.35
"""Above this at every value no number is given [-]."""
LABELS = {GAP: "radial gap", LOADS: "factor on all loads", LIFE: "life"}
SPREAD_OUT = 5.0
"""Ratio of the ends of a range from which its points lie evenly by their logarithm [-]."""


def spaced(scenario: Scenario, key: str, low: float, high: float, points: int) -> list[float]:
    """Return values from one end of a range to the other, evenly spaced or by their logarithm.

    Parameters
    ----------
    scenario : Scenario
    key : str
        One of `jointrisk.scenario.moved.movable`.
    low, high : float [unit of the quantity]
        Ends of the range, in any order.
    points : int
        2 or more.

    Raises
    ------
    InputError
        If the ends are alike, or there are too few points.
    """
    if points < 2:
        raise InputError(f"points must be 2 or more (got {points})")
    if low == high:
        raise InputError(f"{key}: the range has no width (got {low:g} to {high:g})")
    low, high = min(low, high), max(low, high)
    by_log = low > 0.0 and high / low >= SPREAD_OUT and movable(scenario)[key] != "degC"
    found = np.geomspace(low, high, points) if by_log else np.linspace(low, high, points)
    found[0], found[-1] = low, high
    return [float(value) for value in found]


def sweep(
    scenario: Scenario,
    key: str,
    values: Values,
    *,
    second: tuple[str, Values] | None = None,
    seed: int | None = None,
    pool: Any = None,
) -> Sweep:
    """Follow failure over the values of a quantity, or of two.

    Parameters
    ----------
    scenario : Scenario
        With a load. Without a target nothing is searched.
    key : str
        One of `jointrisk.scenario.moved.movable`, such as "plug.overlap", "gap" or "loads".
    values : sequence of float, or of str such as "25 mm"
        Two or more, in any order.
    second : tuple of str and sequence, optional
        Another quantity and its values: failure is mapped over both.
    seed : int, optional
        By default the scenario's own; 0 is a seed.
    pool : object with ``map``, optional
        Threads or the like; the numbers do not depend on it.

    Returns
    -------
    Sweep

    Raises
    ------
    InputError
        If there is no load or no such quantity, a value is not possible, or there are too few.
    EstimateError
        If failure cannot be told at any of the values to within a factor that means anything.
    """
    started = time.time()
    used = resolve_seed(scenario.seed if seed is None else seed)
    if not scenario.loads:
        raise InputError("the scenario names no load, so there is no failure probability to follow")
    quantity = quantity_of(scenario, key)
    wanted = _values(scenario, key, values)
    if second is not None and second[0] == key:
        raise InputError(f"{key}: the second quantity must be another one")
    common, points, written = _curve(scenario, key, wanted, used, pool)
    _trust([*points, written])
    target = scenario.target
    windows: tuple[Window, ...] = ()
    if target is not None:
        windows = windows_of(points, lambda x: moved(scenario, key, x), target, used, pool)
    return Sweep(
        title=scenario.title,
        quantity=quantity,
        points=points,
        as_written=written,
        verdict=_verdict(points, windows, target is not None),
        windows=windows,
        best=min(points, key=lambda p: _or_certain(p.judged.estimate)),
        knee=knee_of(points, quantity),
        map=None if second is None else _map(scenario, key, wanted, second, used, pool),
        target=None if target is None else target.probability,
        target_period=None if target is None else target.period,
        target_scope=None if target is None else target.scope,
        rods=scenario.rods,
        life_years=scenario.life,
        confidence=CONFIDENCE,
        evaluations=(len(points) + 1) * sum(block.log_weight.size for block in common.blocks),
        converged=_unsure(points) is None,
        assumptions=scenario.assumptions,
        warnings=_warnings(scenario, points),
        run=run_of(scenario, used),
        host=host_of(started, pool),
    )


def quantity_of(scenario: Scenario, key: str) -> Quantity:
    """Return what is moved.

    Raises
    ------
    InputError
        If there is no such quantity.
    """
    written = place_of(scenario, key)
    label = LABELS.get(key, key)
    if key in scenario.variables:
        label = scenario.variables[key].label
    sizes = [size for load in scenario.loads for size in (load.size, load.mean)]
    label = next((size.label for size in sizes if size is not None and size.key == key), label)
    return Quantity(key, label, movable(scenario)[key], written)


def _values(scenario: Scenario, key: str, values: Values) -> list[float]:
    """Return the values, rising, each once."""
    read = {read_place(scenario, key, value) for value in values}
    if len(read) < 2:
        raise InputError(f"{key}: at least two different values are needed (got {len(read)})")
    for value in read:
        moved(scenario, key, value)  # refuses what cannot be
    return sorted(read)


def _curve(
    scenario: Scenario, key: str, values: list[float], seed: int, pool: Any
) -> tuple[Common, tuple[SweepPoint, ...], SweepPoint]:
    """Work out every value, and the scenario as written, on the same draws."""
    places = sorted({round(i) for i in np.linspace(0, len(values) - 1, ANCHORS)})
    anchors = [scenario, *(moved(scenario, key, values[place]) for place in places)]
    share = len(anchors) / (len(values) + 1)
    common, samples = common_draws(
        anchors,
        seed,
        pool,
        with_rig=False,
        target_cov=TARGET_COV,
        most_joints=max(1, int(share * JOINTS)),
    )
    base = samples[0]
    known: dict[int, Sample] = dict(zip(places, samples[1:], strict=True))

    def at(place: int) -> Sample:
        if place in known:
            return known[place]
        return common.sample(moved(scenario, key, values[place]), pool, with_rig=False)

    target = scenario.target
    points = (point_of(at(i), value, target, base) for i, value in enumerate(values))
    return common, tuple(points), point_of(base, place_of(scenario, key), target, base)


def _map(
    scenario: Scenario,
    key: str,
    values: list[float],
    second: tuple[str, Values],
    seed: int,
    pool: Any,
) -> SweepMap:
    other = _values(scenario, *second)

    def move(x: float, y: float) -> Scenario:
        return moved(moved(scenario, second[0], y), key, x)

    return map_of(scenario, move, values, quantity_of(scenario, second[0]), other, seed, pool)


def _verdict(points: tuple[SweepPoint, ...], windows: tuple[Window, ...], asked: bool) -> str:
    if not asked:
        return "not judged"
    if not windows:
        return "unreachable within the range"
    known = [point for point in points if np.isfinite(point.judged.estimate)]
    whole = len(windows) == 1 and windows[0].start.of_range and windows[0].end.of_range
    return "met everywhere" if whole and len(known) == len(points) else "met in part"


def _or_certain(chance: float) -> float:
    return chance if np.isfinite(chance) else 2.0


def _relative(point: SweepPoint) -> float:
    """Return about the coefficient of variation of failure at a value [-]."""
    found = point.failure
    if not found.estimate > NEGLIGIBLE:
        return 0.0 if np.isfinite(found.estimate) else np.nan
    return (found.high - found.low) / (2.0 * 1.96 * found.estimate)


def _trust(points: list[SweepPoint]) -> None:
    """Refuse to give numbers that mean nothing."""
    covs = [_relative(point) for point in points]
    told = [cov for cov in covs if np.isfinite(cov)]
    if not told:
        raise InputError("at none of the values can the rods be put together")
    if min(told) > WORST_COV:
        raise EstimateError(
            "the failure probability could not be told at any value: its coefficient of "
            f"variation is {min(told):.0%} at best (wanted {WORST_COV:.0%} at most)"
        )


def _unsure(points: tuple[SweepPoint, ...]) -> SweepPoint | None:
    """Return the value at which failure is known least, if that is not well enough."""
    told = [point for point in points if np.isfinite(_relative(point))]
    worst = max(told, key=_relative)
    return worst if _relative(worst) > UNSURE_COV else None


def _warnings(scenario: Scenario, points: tuple[SweepPoint, ...]) -> tuple[Warning_, ...]:
    unsure = _unsure(points)
    if unsure is None:
        return scenario.warnings
    text = (
        "Failure is less certain than wanted at some values (coefficient of variation "
        f"{100 * _relative(unsure):.0f} % at {unsure.value:.4g}): see the intervals."
    )
    return (*scenario.warnings, Warning_("not-converged", text))
