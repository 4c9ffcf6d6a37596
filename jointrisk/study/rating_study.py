"""The study `rating`: how large all loads may be for the target still to hold.

One factor is laid on every load, steady ones and cycles too. The failure probability over the
factor is worked out on common draws, so that it is a smooth function, and its root is the rating.
Draws that favour failure under the loads as written say little of loads half as large: they are
made anew at the factor found until it stays. A pull does not scale with the loads.
"""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk import units
from jointrisk.errors import InputError
from jointrisk.model.rodset import rod_set
from jointrisk.reliability.streams import resolve_seed
from jointrisk.scenario.moved import LOADS, moved
from jointrisk.scenario.types import Pull, Warning_
from jointrisk.study.band import band
from jointrisk.study.bench import bench_of, pull, rates_after
from jointrisk.study.judgement import CONFIDENCE, target_value
from jointrisk.study.pull_sample import pull_sample
from jointrisk.study.pulls import enough, verdict
from jointrisk.study.rating_results import Rated, RatedLoad, Rating
from jointrisk.study.rating_search import FARTHEST, RANGE, Found, find_factor
from jointrisk.study.results import Chance
from jointrisk.study.running import host_of, run_of
from jointrisk.study.sample import weighted_sample
from jointrisk.study.sweep_points import as_chance, meets
from jointrisk.study.sweep_search import LEAST

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from jointrisk.scenario.types import Load, Scenario, Target
    from jointrisk.study.bench import Bench, Pulled
    from jointrisk.study.pulls import Verdict
    from jointrisk.study.sample import Sample

    Array = npt.NDArray[np.float64]

NEAR, NEAR_PULLED = 0.15, 0.7
"""Draws made within this of the factor found, in logs, are good enough for it, as built and after
a pull [-]: those for a pull look after low loads too."""
CLOSE_CAUTIOUS = 0.04
"""Error of the log of the cautious factor that does not matter [-]."""
TARGET_COV, ROUGH = 0.06, 1.0
"""Wanted coefficients of variation of failure at a factor, and where only the proposal of the
draws serves [-]."""
CAUTIOUS = 0.95
"""Share of the states of what is not known in which the cautious rating meets the target [-]."""
FEW_ROUNDS = 3
WINDOW_LOADS = 5
"""Pulls of a window among which the one that leaves least is looked for [-]."""
NOT_TOLD = Chance(np.nan, np.nan, np.nan)


def rating(
    scenario: Scenario,
    *,
    pulls: Sequence[float | str | Pull] | None = None,
    seed: int | None = None,
    pool: Any = None,
) -> Rating:
    """Return the largest factor on all loads at which the target holds, as built and pulled.

    Parameters
    ----------
    scenario : Scenario
        With a load and a target.
    pulls : sequence of float [N], str such as "750 N", or Pull, optional
        Pulls after which the rods are rated, beside that of `proof`; by default those that the
        scenario names.
    seed : int, optional
        By default the scenario's own; 0 is a seed.
    pool : object with ``map``, optional
        Threads or the like; the numbers do not depend on it.

    Returns
    -------
    Rating

    Raises
    ------
    InputError
        If there is no load or no target, or a pull is not a load above 0 N.
    """
    started = time.time()
    used = resolve_seed(scenario.seed if seed is None else seed)
    target = _target(scenario)
    asked = scenario.pulls if pulls is None else tuple(_pull(given) for given in pulls)
    found = _as_built(scenario, target, used, pool)
    cautious = _cautious(scenario, target, found, used, pool)
    first = pull_sample(scenario, used, pool, tuple(given.load for given in asked))
    bench = bench_of(first)
    judged = verdict(bench)
    given = [*_chosen(bench, judged, target), *asked]
    after = [_after(scenario, target, bench, each, used, pool) for each in given]
    done = [found, *after]
    converged = all(each.converged for each in done)
    return Rating(
        title=scenario.title,
        as_built=_rated(scenario, target, "as built", None, found),
        cautious_factor=cautious[1],
        cautious_verdict=cautious[0],
        after_pull=tuple(
            _rated(scenario, target, each.label, each.load, root)
            for each, root in zip(given, after, strict=True)
        ),
        proof_verdict=judged.verdict,
        target=target.probability,
        target_period=target.period,
        target_scope=target.scope,
        rods=scenario.rods,
        life_years=scenario.life,
        confidence=CONFIDENCE,
        evaluations=first.evaluations + sum(each.evaluations for each in done),
        converged=converged,
        assumptions=scenario.assumptions,
        warnings=_warnings(scenario, converged),
        run=run_of(scenario, used),
        host=host_of(started, pool),
    )


def _target(scenario: Scenario) -> Target:
    if not scenario.loads:
        raise InputError("the scenario names no load, so there is nothing to rate")
    if scenario.target is None:
        raise InputError("the scenario names no target, so no load can be rated against one")
    return scenario.target


def _pull(given: float | str | Pull) -> Pull:
    """Return a pull, however it is written."""
    if isinstance(given, Pull):
        return given
    load = units.parse(given, "force") if isinstance(given, str) else float(given)
    if not (np.isfinite(load) and load > 0.0):
        raise InputError(f"a pull must be finite and above 0 N, got {load:g} N")
    return Pull(units.format_value(load, "N"), load)


def _chosen(bench: Bench, judged: Verdict, target: Target) -> list[Pull]:
    """Return the pull of `proof`, and the one of its window, or of all allowed, that leaves least.

    The first is chosen to meet the target as the loads are written, so its factor is about 1.
    """
    found = judged.found
    if found is None or judged.verdict == "not needed":
        return []
    if judged.load is None:
        best = found.floor_load
        return [Pull("the pull within the limits that leaves least", best)] if best > 0.0 else []
    low, high = found.windows[0]
    loads = [float(load) for load in np.geomspace(low, high, WINDOW_LOADS)]
    best = min(loads, key=lambda load: _left(bench, load, target))
    own = [Pull("the smallest pull that meets the target", judged.load)]
    if best > low * (1.0 + 1e-6):
        own.append(Pull("the pull of its window that leaves least", best))
    return own


def _left(bench: Bench, load: float, target: Target) -> float:
    """Return failure after a pull, as the target counts it; 1 where too few rods hold it."""
    pulled = pull(bench, load)
    weight = bench.weight * pulled.hold
    if not enough(weight):
        return 1.0
    return target_value(bench.scenario, rates_after(bench, pulled), target, weight)


def _as_built(scenario: Scenario, target: Target, seed: int, pool: Any) -> Found:
    def draws(factor: float) -> tuple[Bench, Pulled]:
        bench = bench_of(weighted_sample(_scaled(scenario, factor), seed, pool, TARGET_COV))
        return bench, bench.unhurt

    return find_factor(target, draws, NEAR)


def _after(
    scenario: Scenario, target: Target, bench: Bench, given: Pull, seed: int, pool: Any
) -> Found:
    pulled = pull(bench, given.load)
    if not enough(bench.weight * pulled.hold):
        return Found("not told", np.nan, np.nan, np.nan, None, 0, converged=True)

    def draws(factor: float) -> tuple[Bench, Pulled]:
        if factor == 1.0:
            return bench, pulled
        scaled = _scaled(scenario, factor)
        sample = pull_sample(scaled, seed, pool, (given.load,), TARGET_COV)
        own = bench_of(sample)
        return own, pull(own, given.load)

    return find_factor(target, draws, NEAR_PULLED)


def _scaled(scenario: Scenario, factor: float) -> Scenario:
    return scenario if factor == 1.0 else moved(scenario, LOADS, factor)


def _cautious(
    scenario: Scenario, target: Target, found: Found, seed: int, pool: Any
) -> tuple[str, float | None]:
    """Return the factor at which the target is met in most states of what is not known."""
    if found.verdict != "rated":
        return found.verdict, None
    factor = found.factor
    for _ in range(FEW_ROUNDS):
        sample = weighted_sample(_scaled(scenario, factor), seed, pool, ROUGH)
        step = _cautious_step(scenario, target, sample, factor, seed, pool)
        if step is None:
            return "all is known", None
        factor *= float(np.exp(step))
        if not RANGE[0] < factor < RANGE[1]:
            return ("beyond" if factor > 1.0 else "unreachable"), None
        if abs(step) < NEAR_PULLED:
            break
    return "rated", factor


def _cautious_step(
    scenario: Scenario, target: Target, sample: Sample, factor: float, seed: int, pool: Any
) -> float | None:
    """Return by how much to change a factor, in logs; None where all is known."""
    from scipy.optimize import brentq

    known: dict[float, float] = {}

    def room(step: float) -> float:
        if step not in known:
            rods = rod_set(_scaled(scenario, factor * float(np.exp(step))))
            states = band(replace(sample, rods=rods), seed, pool).target
            level = np.quantile(states, CAUTIOUS) if states.size else np.nan
            known[step] = float(np.log(max(level, LEAST) / target.probability))
        return known[step]

    start = room(0.0)
    if np.isnan(start):
        return None
    stride = -float(np.sign(start)) * float(np.log(2.0)) / 2.0
    near, far = 0.0, stride
    while (room(far) > 0.0) == (start > 0.0) and abs(far) < FARTHEST:
        stride *= 1.5
        near, far = far, far + stride
    if (room(far) > 0.0) == (start > 0.0):
        return far
    return float(brentq(room, min(near, far), max(near, far), xtol=CLOSE_CAUTIOUS))


def _rated(
    scenario: Scenario, target: Target, label: str, newton: float | None, found: Found
) -> Rated:
    written = found.as_written
    failure = NOT_TOLD if written is None else as_chance(written)
    has = found.verdict == "rated"
    return Rated(
        label=label,
        pull_newton=newton,
        verdict=found.verdict,
        factor=found.factor if has else None,
        low=found.low if has else None,
        high=found.high if has else None,
        failure=failure,
        meets=None if written is None else meets(failure, target.probability),
        loads=tuple(_load(load, found) for load in scenario.loads) if has else (),
    )


def _load(load: Load, found: Found) -> RatedLoad:
    mean = float(load.size.spread.mean)
    factors = (found.factor, found.low, found.high)
    return RatedLoad(load.name, load.kind, load.size.unit, mean, *(mean * f for f in factors))


def _warnings(scenario: Scenario, converged: bool) -> tuple[Warning_, ...]:
    if converged:
        return scenario.warnings
    text = "A rating is less certain than wanted at the limit of draws: see the intervals."
    return (*scenario.warnings, Warning_("not-converged", text))
