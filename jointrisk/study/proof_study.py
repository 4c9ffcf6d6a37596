"""The study `proof`: the pull that screens weak rods, or what a given pull is worth.

One weighted sample serves every load of a curve, every policy and every change tried; see
`pull_sample` for how it is drawn and `bench` for what a pull does.
"""

from __future__ import annotations

import dataclasses
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk import units
from jointrisk.errors import InputError
from jointrisk.reliability.screening import Screening
from jointrisk.reliability.screening import curve as screened
from jointrisk.reliability.streams import resolve_seed
from jointrisk.scenario.types import Pull, Warning_
from jointrisk.study.bench import bench_of, life_chance, pull, rates_after, share_hurt
from jointrisk.study.judgement import CONFIDENCE, target_value
from jointrisk.study.proof_openers import openers
from jointrisk.study.proof_policies import next_rod, policies
from jointrisk.study.proof_results import Opener, Proof, ProofCurve, PullEffect
from jointrisk.study.proof_years import years_at_target
from jointrisk.study.pull_sample import TARGET_COV, pull_sample
from jointrisk.study.pull_search import LOWEST_SHARE, middling
from jointrisk.study.pulls import MOST_BROKEN, enough, load_refusing, verdict
from jointrisk.study.results import Chance
from jointrisk.study.running import host_of, run_of
from jointrisk.study.way import in_its_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from jointrisk.scenario.types import Scenario, Target
    from jointrisk.study.bench import Bench, Pulled, Rates
    from jointrisk.study.pulls import Verdict

    Array = npt.NDArray[np.float64]

NOT_KNOWN = Chance(np.nan, np.nan, np.nan)
WORKSHOP = "service.workshop_temperature"
POINTS = 21
"""Loads of the curve [-]."""
RAREST = 1e-9
"""A share of rods that break is not told more closely than this: nothing aims at so rare a break
[-]."""
LOWEST_DRAWN = 0.05
"""Lowest load of the curve, as a share of the strength of a middling rod [-]."""


def proof(
    scenario: Scenario,
    *,
    pulls: Sequence[float | str | Pull] | None = None,
    seed: int | None = None,
    pool: Any = None,
) -> Proof:
    """Look for the smallest pull that meets the target, and tell what given pulls are worth.

    Parameters
    ----------
    scenario : Scenario
    pulls : sequence of float [N], str such as "750 N", or Pull, optional
        Pulls to judge; by default those that the scenario names.
    seed : int, optional
        By default the scenario's own; 0 is a seed.
    pool : object with ``map``, optional
        Threads or the like; the numbers do not depend on it.

    Returns
    -------
    Proof

    Raises
    ------
    InputError
        If a pull is not a load above 0 N.
    """
    started = time.time()
    used = resolve_seed(scenario.seed if seed is None else seed)
    asked = scenario.pulls if pulls is None else tuple(_pull(given) for given in pulls)
    sample = pull_sample(scenario, used, pool, tuple(given.load for given in asked))
    bench = bench_of(sample)
    named = {given.load for given in asked}
    table, points = _curve(bench, _grid(bench, named), named)
    judged = verdict(bench, _known(table, points))
    policy_load = _policy_load(judged, asked)
    more = {load for load in (judged.load, policy_load) if load} - named
    if more:
        finer, found = _curve(bench, np.array(sorted(more)), more)
        table, points = _merged(table, finer), points | found
    tried = openers(bench, judged)
    answer = Proof(
        title=scenario.title,
        **_searched(judged, tried, scenario.target),
        fail_before=_before(scenario, table),
        best=None
        if judged.load is None
        else _effect(bench, judged, Pull("", judged.load), table, points),
        pulls=tuple(_effect(bench, judged, given, table, points) for given in asked),
        policies=()
        if policy_load is None
        else policies(bench, policy_load, points[policy_load].rates),
        policy_newton=policy_load,
        next_rod=None if policy_load is None else next_rod(bench, policy_load),
        curve=_drawn(bench, table, points),
        **_asked_of(scenario),
        rig_temperature=float(bench.rods.variables[WORKSHOP].spread.mean),
        confidence=CONFIDENCE,
        evaluations=sample.evaluations,
        converged=sample.converged,
        assumptions=scenario.assumptions,
        warnings=_warnings(scenario, sample.converged),
        run=run_of(scenario, used),
        host=host_of(started, pool),
    )
    return in_its_words(answer, scenario)


def _known(table: Screening, points: dict[float, _Point]) -> dict[float, tuple[float, float]]:
    """Return what the curve tells a search: failure as the target counts it, and rods broken."""
    return {
        float(load): (points[load].as_target if points[load].known else 1.0, float(broken))
        for load, broken in zip(table.loads.tolist(), table.reject_each, strict=True)
    }


def _merged(one: Screening, other: Screening) -> Screening:
    """Return two curves of the same draws as one, loads rising and each of them once."""
    loads, first = np.unique(np.concatenate([one.loads, other.loads]), return_index=True)
    fields: dict[str, Any] = {
        field.name: np.concatenate([getattr(one, field.name), getattr(other, field.name)])[first]
        for field in dataclasses.fields(one)
        if isinstance(getattr(one, field.name), np.ndarray) and field.name != "loads"
    }
    return dataclasses.replace(one, loads=loads, **fields)


def _searched(judged: Verdict, tried: tuple[Opener, ...], target: Target | None) -> dict[str, Any]:
    """Return the fields that say what the search has found, and against which target."""
    found = judged.found
    low, high = judged.load_interval
    return {
        "verdict": judged.verdict,
        "reason": _reason(judged, tried),
        "reachable": judged.reachable,
        "load_newton": judged.load,
        "load_low": low,
        "load_high": high,
        "windows": () if found is None else found.windows,
        "floor": None if found is None else found.floor,
        "floor_newton": None if found is None else found.floor_load,
        "target": None if target is None else target.probability,
        "target_period": None if target is None else target.period,
        "target_scope": None if target is None else target.scope,
        "limits": judged.limits,
        "openers": tried,
    }


def _asked_of(scenario: Scenario) -> dict[str, Any]:
    """Return the fields that repeat the scenario."""
    return {
        "rods": scenario.rods,
        "life_years": scenario.life,
        "rig": scenario.proof.rig,
        "rig_error": scenario.proof.rig_error_cov,
        "rig_bias": scenario.proof.rig_bias_sd,
        "rig_highest_newton": scenario.proof.highest,
        "most_to_refuse": scenario.proof.max_reject,
    }


def _pull(given: float | str | Pull) -> Pull:
    """Return a pull to judge, however it is written."""
    if isinstance(given, Pull):
        return given
    load = units.parse(given, "force") if isinstance(given, str) else float(given)
    if not (np.isfinite(load) and load > 0.0):
        raise InputError(f"a pull must be finite and above 0 N, got {load:g} N")
    return Pull(units.format_value(load, "N"), load)


def _warnings(scenario: Scenario, converged: bool) -> tuple[Warning_, ...]:
    if converged or not scenario.loads:
        return scenario.warnings
    text = (
        "Failure before or after a pull is less certain than wanted (coefficient of variation "
        f"above {100 * TARGET_COV:g} %) at the limit of draws: see the intervals."
    )
    return (*scenario.warnings, Warning_("not-converged", text))


def _reason(judged: Verdict, tried: tuple[Opener, ...]) -> str:
    """Return why, and what would open a window, in plain words."""
    if not tried:
        return judged.reason
    opening = [opener.name for opener in tried if opener.opens]
    if not opening:
        return f"{judged.reason} Nothing that was tried would let a pull meet it."
    return f"{judged.reason} A pull would meet it given {'; or given '.join(opening)}."


def _policy_load(judged: Verdict, asked: Sequence[Pull]) -> float | None:
    """Return the load at which policies are compared: the best pull, or one asked about."""
    if judged.load is not None:
        return judged.load
    if asked:
        return asked[0].load
    floor = None if judged.found is None else judged.found.floor_load
    return floor if floor and judged.verdict in ("empty", "unreachable") else None


def _grid(bench: Bench, named: set[float]) -> Array:
    """Return the loads of the curve [N], those named among them."""
    if not np.any(bench.outcome.in_rig > 0.0):
        return np.array(sorted(named or {1.0}))
    high = load_refusing(bench, MOST_BROKEN)
    low = min(max(LOWEST_DRAWN, LOWEST_SHARE) * middling(bench), 0.5 * high)
    return np.unique(np.concatenate([np.geomspace(low, high, POINTS), sorted(named)]))


@dataclass(frozen=True, slots=True)
class _Point:
    """What one load of the curve leaves; NaN where too few draws hold to say."""

    unhurt: float
    as_target: float
    hurt: float
    known: bool
    years: float
    rates: Rates | None
    """Kept of the loads that are named only."""


def _curve(bench: Bench, loads: Array, named: set[float]) -> tuple[Screening, dict[float, _Point]]:
    """Work out every load of the curve."""
    points: dict[float, _Point] = {}
    before = life_chance(bench, bench.outcome)

    def fails(load: float) -> Array:
        pulled = pull(bench, load)
        after = rates_after(bench, pulled)
        points[load] = _point(bench, pulled, after, before, kept=load in named)
        return life_chance(bench, after)

    outcome = bench.outcome
    table = screened(
        bench.weight,
        outcome.in_rig,
        fails,
        loads,
        rig_error_cov=bench.error,
        bias=bench.bias,
        is_weak=outcome.weak_rod,
        component=bench.sample.component,
        confidence=CONFIDENCE,
        fail_before=before,
    )
    return table, points


def _point(bench: Bench, pulled: Pulled, after: Rates, before: Array, *, kept: bool) -> _Point:
    scenario = bench.scenario
    target = scenario.target
    weight = bench.weight * pulled.hold
    rates = after if kept else None
    if not scenario.loads or not enough(weight):
        return _Point(np.nan, np.nan, share_hurt(bench, pulled), False, np.nan, rates)
    judged, years = np.nan, np.nan
    if target is not None:
        judged = target_value(scenario, after, target, weight)
        if kept:
            years = years_at_target(scenario, after, target, weight)
    unhurt = float((weight * before).sum() / weight.sum())
    return _Point(unhurt, judged, share_hurt(bench, pulled), True, years, rates)


def _drawn(bench: Bench, table: Screening, points: dict[float, _Point]) -> ProofCurve:
    """Return the curve, NaN where too few draws hold to say what is left."""
    has_weak = bool(bench.outcome.weak_rod.any())
    found = [points[float(load)] for load in table.loads]
    after = _chances(table, "fail_after")
    return ProofCurve(
        load_newton=tuple(float(load) for load in table.loads),
        reject=_chances(table, "reject_each"),
        reject_weak=_chances(table, "reject_weak") if has_weak else None,
        reject_sound=_chances(table, "reject_sound"),
        fail_after=tuple(
            chance if point.known else NOT_KNOWN for chance, point in zip(after, found, strict=True)
        ),
        fail_after_unhurt=tuple(point.unhurt for point in found),
        as_target=tuple(point.as_target for point in found) if bench.scenario.target else None,
        hurt=tuple(point.hurt for point in found),
    )


def _before(scenario: Scenario, table: Screening) -> Chance:
    """Return failure of the set over its life with no pull."""
    if not scenario.loads:
        return NOT_KNOWN
    return Chance(table.fail_before, *table.fail_before_interval)


def _chances(table: Screening, name: str) -> tuple[Chance, ...]:
    values, ends = getattr(table, name), getattr(table, f"{name}_interval")
    if name.startswith("reject"):
        rare = values < RAREST
        ends = ends.copy()
        ends[rare, 0] = 0.0
        ends[rare, 1] = np.maximum(ends[rare, 1], RAREST)
    return tuple(
        Chance(*(float(min(max(v, 0.0), 1.0)) if np.isfinite(v) else np.nan for v in (value, *end)))
        for value, end in zip(values, ends, strict=True)
    )


def _effect(
    bench: Bench,
    judged: Verdict,
    given: Pull,
    table: Screening,
    points: dict[float, _Point],
) -> PullEffect:
    """Return what one pull of the curve is worth."""
    scenario = bench.scenario
    target = scenario.target
    place = int(np.searchsorted(table.loads, given.load))
    names = ("reject", "reject_each", "reject_weak", "reject_sound", "fail_after")
    at = {name: _chances(table, name)[place] for name in names}
    point = points[given.load]
    told = target is not None and point.known
    before = None
    if target is not None and scenario.loads:
        before = years_at_target(scenario, bench.outcome, target, bench.weight)
    return PullEffect(
        label=given.label,
        load_newton=given.load,
        reject=at["reject_each"],
        reject_weak=at["reject_weak"] if bench.outcome.weak_rod.any() else None,
        reject_sound=at["reject_sound"],
        all_hold=1.0 - at["reject"].estimate,
        fail_before=_before(scenario, table).estimate,
        fail_after=at["fail_after"] if point.known else NOT_KNOWN,
        fail_after_unhurt=point.unhurt,
        as_target_before=judged.before,
        as_target=point.as_target if told else None,
        meets_target=bool(point.as_target <= target.probability) if target and told else None,
        hurt=point.hurt,
        spoiled_in_run=scenario.rods * at["reject_each"].estimate,
        spoiled_per_100=100.0 * at["reject_each"].estimate,
        years_before=before,
        years_after=point.years if told else None,
        needed_newton=judged.load,
    )
