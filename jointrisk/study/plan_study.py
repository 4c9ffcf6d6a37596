"""The study `plan`: which test to make next, and how many.

What is not known has many possible states, each with its own failure probability. For each test its
outcomes are simulated from such states; what would then be known is worked out by reweighting
(`plan_worth`). A test is worth making where it is expected to change the answer.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.errors import InputError, nearest
from jointrisk.reliability.interval import ratio_interval
from jointrisk.reliability.streams import resolve_seed
from jointrisk.scenario.types import Pull, Warning_
from jointrisk.study.bench import bench_of, life_chance, pull, rates_after
from jointrisk.study.judgement import CONFIDENCE
from jointrisk.study.plan_candidates import Screen, Table, candidates
from jointrisk.study.plan_results import COST_KEYS, Before, SuccessRun, TestPlan
from jointrisk.study.plan_rods import rods_of
from jointrisk.study.plan_runs import success_runs
from jointrisk.study.plan_sizes import sizes_of
from jointrisk.study.plan_states import JUDGED, TRUTHS, as_target, board_of
from jointrisk.study.plan_verdict import Judged, judged
from jointrisk.study.plan_worth import Worth, chance_of, worth
from jointrisk.study.pull_sample import pull_sample
from jointrisk.study.pulls import enough, target_bounds, verdict
from jointrisk.study.results import Chance
from jointrisk.study.running import host_of, run_of
from jointrisk.study.way import said_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from jointrisk.scenario.types import Scenario
    from jointrisk.study.bench import Bench, Pulled
    from jointrisk.study.plan_states import Board

OWN_PULLS = 2
"""Pulls of the scenario that are judged beside the main one, at most [-]."""
TARGET_COV = 0.08
"""Wanted coefficient of variation of failure before and after each pull [-]."""
HELPS = 0.9
"""A pull that leaves more than this share of the failures is not looked at for its own sake [-]."""
ALL_KNOWN = "Nothing of the scenario counts as not known, so no test can teach anything."


def plan(
    scenario: Scenario,
    *,
    costs: Mapping[str, float | None] | None = None,
    seed: int | None = None,
    pool: Any = None,
) -> TestPlan:
    """Return what each test, measurement or settled unknown is expected to bring.

    Parameters
    ----------
    scenario : Scenario
        With a load.
    costs : mapping of str to float, optional
        Of one coupon broken, one rod broken, one rod pulled ("coupon", "rod", "pull"), a better
        "gauge", and measuring the "gap" or the "overlap" of one rod, in any one money.
    seed : int, optional
        By default the scenario's own; 0 is a seed.
    pool : object with ``map``, optional
        Threads or the like; the numbers do not depend on it.

    Returns
    -------
    TestPlan

    Raises
    ------
    InputError
        If there is no load, or a cost is of nothing known or not a finite number of 0 or more.
    """
    started = time.time()
    used = resolve_seed(scenario.seed if seed is None else seed)
    prices = _costs(costs or {})
    if not scenario.loads:
        raise InputError("the scenario names no load, so there is nothing to plan tests for")
    loads = tuple(given.load for given in _own(scenario))
    sample = pull_sample(scenario, used, pool, loads, TARGET_COV)
    bench = bench_of(sample)
    pulls = _pulls(bench)
    found = _found(bench, pulls, prices, used, pool)
    judgement = found.judgement
    return TestPlan(
        title=scenario.title,
        verdict=judgement.verdict,
        reason=said_of(scenario, judgement.reason),
        next_key=judgement.next_key,
        measure=judgement.measure,
        before=found.before,
        candidates=tuple(
            replace(each, name=said_of(scenario, each.name), note=said_of(scenario, each.note))
            for each in judgement.candidates
        ),
        success_runs=found.runs,
        pull_newton=pulls[0].load if pulls else None,
        pull_origin=said_of(scenario, pulls[0].label) if pulls else "",
        **_asked_of(scenario),
        costs=prices,
        states=JUDGED,
        outcomes=TRUTHS,
        unexplained=found.unexplained,
        confidence=CONFIDENCE,
        evaluations=sample.evaluations + found.evaluations,
        converged=sample.converged,
        assumptions=scenario.assumptions,
        warnings=_warnings(scenario, sample.converged),
        run=run_of(scenario, used),
        host=host_of(started, pool),
    )


@dataclass(frozen=True, slots=True)
class _Answer:
    """What the states say."""

    before: Before
    judgement: Judged
    runs: tuple[SuccessRun, ...]
    unexplained: Chance
    evaluations: int


def _found(
    bench: Bench, pulls: Sequence[Pull], prices: Mapping[str, float], seed: int, pool: Any
) -> _Answer:
    """Judge every candidate on the states of what is not known."""
    scenario, known = bench.scenario, _failure(bench, bench.unhurt)
    none = Chance(0.0, 0.0, 0.0)
    board = board_of(bench, [given.load for given in pulls], seed, pool)
    if board is None:
        at = known.estimate
        before = Before(known, at, at, at, none, None, None, None)
        return _Answer(
            before, Judged((), "all is known", ALL_KNOWN, None, "band width"), (), none, 0
        )
    target = None if scenario.target is None else scenario.target.probability
    rods = rods_of(scenario, board, seed, pool)
    sizes = sizes_of(scenario, seed, pool)
    now = worth(lambda r: board.logs[r], None, board.truth_group, board.group, target)
    variables, failure = bench.rods.variables, known.estimate
    table = Table(scenario, board, rods, sizes, variables, target, now, failure, seed)
    before = _before(known, now, target)
    done = candidates(table, _screens(bench, board, pulls), pool)
    judgement = judged(done, before, target, prices)
    load = pulls[0].load if pulls else None
    runs = success_runs(rods, board, table.rig, load, scenario.rods_per_batch)
    evaluations = board.evaluations + rods.evaluations + (sizes.evaluations if sizes else 0)
    unexplained = chance_of(board.surface.unexplained, 0.0, 1.0)
    return _Answer(before, judgement, runs, unexplained, evaluations)


def _costs(given: Mapping[str, float | None]) -> dict[str, float]:
    """Return the costs that were given, by kind; everything wrong with them at once."""
    wrong = []
    for key, value in given.items():
        if key not in COST_KEYS:
            close = nearest(key, COST_KEYS)
            meant = f"did you mean {close}?" if close else f"known: {', '.join(COST_KEYS)}"
            wrong.append(f"costs: nothing is called {key!r}; {meant}")
        elif value is not None and not (np.isfinite(value) and value >= 0.0):
            wrong.append(f"costs: {key} must be a finite number of 0 or more, got {value:g}")
    if wrong:
        raise InputError("\n".join(wrong))
    return {key: float(value) for key, value in given.items() if value is not None}


def _own(scenario: Scenario) -> tuple[Pull, ...]:
    return scenario.pulls[:OWN_PULLS]


def _pulls(bench: Bench) -> list[Pull]:
    """Return the pulls of the rods of service that are judged, the main one first.

    That of `proof`, or the one within the limits that leaves least where none meets the target;
    else the hardest that the scenario names. None that more than about half of the sets break in.
    """
    judged_ = verdict(bench)
    own = sorted(_own(bench.scenario), key=lambda given: -given.load)
    main: list[Pull] = []
    if judged_.load is not None:
        main = [Pull("the smallest pull that meets the target", judged_.load)]
    elif judged_.found is not None and judged_.verdict in ("empty", "unreachable"):
        load, best = judged_.found.floor_load, judged_.found.floor
        if load > 0.0 and judged_.before is not None and best < HELPS * judged_.before:
            main = [Pull("the pull within the limits that leaves least", load)]
    found = main + [given for given in own if given.load not in {each.load for each in main}]
    return [given for given in found if enough(bench.weight * pull(bench, given.load).hold)]


def _failure(bench: Bench, pulled: Pulled) -> Chance:
    """Return failure of sets that held, as the target counts it, else over the life."""
    target = bench.scenario.target
    if target is not None:
        found = target_bounds(bench, pulled, target)
    else:
        weight = bench.weight * pulled.hold
        fails = life_chance(bench, rates_after(bench, pulled))
        found = ratio_interval(weight * fails, weight, bench.sample.component, CONFIDENCE)
    return Chance(found.estimate, found.low, min(found.high, 1.0))


def _screens(bench: Bench, board: Board, pulls: Sequence[Pull]) -> list[Screen]:
    found = []
    for number, given in enumerate(pulls):
        held = pull(bench, given.load)
        key = "pull:set" if number == 0 else f"pull:own:{number}"
        after = _failure(bench, held)
        found.append(
            Screen(key, given.label, given.load, after, as_target(bench, held), board.after[number])
        )
    return found


def _before(known: Chance, now: Worth, target: float | None) -> Before:
    has = target is not None
    return Before(
        failure=known,
        p05=float(np.exp(now.low[0])),
        p50=float(np.exp(now.middle[0])),
        p95=float(np.exp(now.top[0])),
        width=chance_of(now.width, 0.0),
        chance_met=chance_of(now.met, 0.0, 1.0) if has else None,
        wrong=chance_of(now.wrong, 0.0, 1.0) if has else None,
        clear=bool(now.clear[0]) if has else None,
    )


def _asked_of(scenario: Scenario) -> dict[str, Any]:
    """Return the fields that repeat the scenario."""
    target = scenario.target
    return {
        "target": None if target is None else target.probability,
        "target_period": None if target is None else target.period,
        "target_scope": None if target is None else target.scope,
        "rods": scenario.rods,
        "life_years": scenario.life,
    }


def _warnings(scenario: Scenario, converged: bool) -> tuple[Warning_, ...]:
    if converged:
        return scenario.warnings
    text = "Failure before and after a pull is less certain than wanted at the limit of draws."
    return (*scenario.warnings, Warning_("not-converged", text))
