"""Screening by a pull for any limit state: draw once, then read off every load.

Where to draw is the business of `rig`, what to read off that of `screening` and `loads`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from jointrisk.errors import InputError
from jointrisk.reliability.interval import Bounds
from jointrisk.reliability.loads import (
    ScreeningLoad,
    find_load,
    load_interval,
    slope_at,
    window_edges,
)
from jointrisk.reliability.pulled import RigSample
from jointrisk.reliability.rig import AfterPull, IsWeak, Plan, Rig
from jointrisk.reliability.screening import Screening
from jointrisk.reliability.space import Correlation, LimitState, Space
from jointrisk.reliability.streams import resolve_seed
from jointrisk.spread import Spread

__all__ = ["screen", "smallest_load"]

Array = npt.NDArray[np.float64]

_ROWS = 2**14
_MOST_ROWS = 2**18
_SILENT_ROWS = 2**16
"""Rows at most where no failure is seen after the pull: there may be none."""
_GUIDES = 5
"""Loads at which design points are looked for."""
_EDGES = 4
"""Edges of windows at most that get draws of their own."""
_GAIN = 0.6
"""Share of the draws that a plan shifted towards the aims needs; found by trial."""
_VERDICT = 0.25
"""Factor on the scatter aimed at while the target lies inside the interval that decides."""
_SHARP = 0.6
"""Share of `target_cov` that the draws aim at: an error of twice `target_cov` is then rare."""
_EDGE_ERROR = 0.003
"""Standard error of the edge of a window, as a share of the load, that is aimed at."""

Answer = TypeVar("Answer")


def screen(
    limit_state: LimitState,
    proof_strength: LimitState,
    variables: Mapping[str, Spread],
    *,
    loads: npt.ArrayLike,
    after_pull: AfterPull | None = None,
    rig_error_cov: float = 0.0,
    rig_bias_sd: float = 0.0,
    is_weak: IsWeak | None = None,
    correlation: Correlation | None = None,
    target_cov: float = 0.05,
    confidence: float = 0.95,
    seed: int | None = None,
) -> Screening:
    """Say what pulling every part is worth, over a range of loads.

    Parameters
    ----------
    limit_state : callable
        Mapping of name to values (n,) in; margin in service (n,) out, failure < 0.
    proof_strength : callable
        Same in; load at which the part would break in the rig today, (n,) or (k, n) for k
        parts pulled one after the other [N].
    variables : mapping of str to Spread
    loads : array_like, (m,) [N]
        Loads aimed at; applied is L·(1 + b + e).
    after_pull : callable, optional
        ``after_pull(x, applied)``: margin of a part that survived `applied` [N], same shape
        as `proof_strength`; `limit_state` when not given.
    rig_error_cov : float
        Standard deviation of e, own to each pull, as a share of the load [-].
    rig_bias_sd : float
        Standard deviation of b, one for all pulls, as a share of the load [-].
    is_weak : callable, optional
        Mapping of name to values in; boolean (n,) or (k, n) out.
    correlation : mapping of (str, str) to float, optional
        Product-moment coefficients [-].
    target_cov : float
        Coefficient of variation of `fail_after` to reach at every load [-].
    confidence : float
        Of the intervals [-].
    seed : int, optional

    Returns
    -------
    Screening
        A load at which the target was not reached is told in `notes`.

    Raises
    ------
    InputError
        If an argument is out of range or a function returns another shape.
    """
    pulls = np.atleast_1d(np.asarray(loads, dtype=float))
    if pulls.ndim != 1 or not pulls.size or not np.all(np.isfinite(pulls) & (pulls > 0)):
        raise InputError(f"loads must be finite and > 0 N, got {loads!r}")
    rig = Rig(
        Space.of(variables, correlation),
        limit_state,
        proof_strength,
        after_pull,
        is_weak,
        _error("rig_error_cov", rig_error_cov),
        _error("rig_bias_sd", rig_bias_sd),
        resolve_seed(seed),
    )
    aim = _SHARP * _positive("target_cov", target_cov)

    def judge(sample: RigSample) -> tuple[Screening, list[_Aim]]:
        result = sample.curve(pulls, confidence)
        return result, [
            _Aim(load, aim, _cov(Bounds(after, ends[0], ends[1], np.nan), confidence))
            for load, after, ends in zip(
                pulls.tolist(), result.fail_after, result.fail_after_interval, strict=True
            )
        ]

    plan = rig.plan(np.unique(np.geomspace(pulls.min(), pulls.max(), _GUIDES)))
    result, aims, _ = _sampled(rig, plan, judge)
    return replace(result, notes=_vague_chances(aims, target_cov))


def smallest_load(
    limit_state: LimitState,
    proof_strength: LimitState,
    variables: Mapping[str, Spread],
    *,
    target: float,
    highest: float | None = None,
    max_reject: float | None = None,
    after_pull: AfterPull | None = None,
    rig_error_cov: float = 0.0,
    rig_bias_sd: float = 0.0,
    is_weak: IsWeak | None = None,
    correlation: Correlation | None = None,
    target_cov: float = 0.05,
    confidence: float = 0.95,
    seed: int | None = None,
) -> ScreeningLoad:
    """Find the smallest pull after which the chance of failure meets a target.

    Parameters
    ----------
    target : float
        Chance of failure after the pull to meet [-].
    highest : float, optional
        Highest load looked at [N]; by default the load that 99.9 % would not hold.
    max_reject : float, optional
        Only loads that refuse no more than this share count [-].
    limit_state, proof_strength, variables, after_pull, rig_error_cov, rig_bias_sd, is_weak, \
correlation, target_cov, confidence, seed
        As in `screen`.

    Returns
    -------
    ScreeningLoad

    Raises
    ------
    InputError
        As in `screen`, and if `target`, `highest` or `max_reject` is out of range.
    """
    rig = Rig(
        Space.of(variables, correlation),
        limit_state,
        proof_strength,
        after_pull,
        is_weak,
        _error("rig_error_cov", rig_error_cov),
        _error("rig_bias_sd", rig_bias_sd),
        resolve_seed(seed),
    )
    aim = _SHARP * _positive("target_cov", target_cov)
    low, top = rig.strength_range()
    top = top if highest is None else highest
    low = min(low, 0.5 * top)
    limits = {"target": target, "highest": top, "max_reject": max_reject, "lowest": 0.2 * low}

    def judge(sample: RigSample) -> tuple[ScreeningLoad, list[_Aim]]:
        found = find_load(sample.outcome, **limits, before=sample.before)  # type: ignore[arg-type]
        return found, _load_aims(sample, found, target, top, aim, confidence)

    guides = np.geomspace(low, top, _GUIDES)
    _, rough = judge(rig.sample(rig.plan(guides), _ROWS, 0))
    aimed = [a.load for a in rough if a.load > 0.0][:_EDGES]
    found, aims, sample = _sampled(rig, rig.plan(np.unique(np.append(guides, aimed))), judge)
    at = found.floor_load if found.load is None else found.load
    after, refused = sample.failure(at, confidence), sample.refusal(at, confidence)
    notes = _vague_chances(aims, target_cov) + _vague_edges(aims)
    if after.low <= target < after.high and at in (0.0, found.floor_load):
        notes += (f"whether the target is met at {at:g} N is not settled: see the interval there",)
    if found.load is None:
        return replace(found, notes=notes)
    return replace(
        found,
        fail_after_interval=(after.low, after.high),
        reject_interval=(refused.low, refused.high),
        load_interval=_load_interval(sample, found, target, confidence),
        notes=notes,
    )


def _error(name: str, value: float) -> float:
    """Refuse a negative or infinite share."""
    if not (np.isfinite(value) and value >= 0):
        raise InputError(f"{name} must be finite and >= 0, got {value:g}")
    return float(value)


def _positive(name: str, value: float) -> float:
    """Refuse what is not a finite number above 0."""
    if not (np.isfinite(value) and value > 0):
        raise InputError(f"{name} must be finite and > 0, got {value:g}")
    return float(value)


@dataclass(frozen=True, slots=True)
class _Aim:
    """A load, how well the chance of failure after it is to be known, and how well it is."""

    load: float
    wanted: float
    """Coefficient of variation, as is `have` [-]."""
    have: float
    excess: float = 0.0
    """Coefficient of variation of the chance of refusal over the one wanted [-]."""
    slope: float = np.inf
    """Percent of chance per percent of load, where the load is what is asked for [-]."""

    @property
    def short(self) -> float:
        """What is wanted over what is reached, the worse of both chances [-]."""
        return max(self.have / self.wanted, self.excess)


def _load_aims(
    sample: RigSample,
    found: ScreeningLoad,
    target: float,
    top: float,
    cov: float,
    confidence: float,
) -> list[_Aim]:
    """All edges of windows, and the load or the floor where that is none of them.

    To know an edge within a share of its load, the chance has to be known within that
    share times the slope of the curve (derived: first order).
    """
    edges = window_edges(found, top)
    other = found.floor_load if found.load is None else found.load
    aims = []
    for load in dict.fromkeys([*edges, other]):
        slope = abs(slope_at(sample.outcome, load)) if load in edges else np.inf
        after, refused = sample.failure(load, confidence), sample.refusal(load, confidence)
        wanted = max(min(cov, _EDGE_ERROR * slope), 1e-9)
        if load not in edges and after.low <= target < after.high:
            wanted *= _VERDICT
        seen = _cov(refused, confidence) if refused.estimate > 0 else 0.0
        aims.append(_Aim(load, wanted, _cov(after, confidence), seen / cov, slope))
    return aims


def _load_interval(
    sample: RigSample, found: ScreeningLoad, target: float, confidence: float
) -> tuple[float, float]:
    """Give the loads between which the smallest lies; 0 where none is needed."""

    def ends(load: float) -> tuple[float, float]:
        after = sample.failure(load, confidence)
        return (1.0, 1.0) if np.isnan(after.estimate) else (after.low, after.high)

    if found.load:
        return load_interval(ends, target, found.load, found.highest)
    if ends(0.0)[1] <= target:
        return 0.0, 0.0
    return 0.0, load_interval(ends, target, 0.05 * found.highest, found.highest)[1]


def _sampled(
    rig: Rig, plan: Plan, judge: Callable[[RigSample], tuple[Answer, list[_Aim]]]
) -> tuple[Answer, list[_Aim], RigSample]:
    """Sample until every aim is reached, or the draws run out."""
    sample, turn = rig.sample(plan, _ROWS, 1), 1
    while True:
        answer, aims = judge(sample)
        short = max(aim.short for aim in aims)
        rows = sample.rows.weight.size
        most = _MOST_ROWS if np.isfinite(short) else _SILENT_ROWS
        if short <= 1.0 or rows >= most:
            return answer, aims, sample
        wanted = int(min(most, rows * max(1.3, 1.1 * min(short, 1e3) ** 2)))
        turn += 1
        if turn == 2 and np.isfinite(short):
            scatter = sum(sample.scatter(aim.load, aim.wanted) for aim in aims)
            plan = plan.towards(sample.rows.component, np.asarray(scatter))
            sample = rig.sample(plan, max(_ROWS, round(_GAIN * wanted)), turn)
        else:
            sample = sample.plus(rig.sample(plan, wanted - rows, turn))


def _vague_chances(aims: list[_Aim], target_cov: float) -> tuple[str, ...]:
    """Name the loads at which the chance of failure is less sharp than asked."""
    vague = [f"{aim.load:g}" for aim in aims if aim.have > target_cov]
    if not vague:
        return ()
    listed = ", ".join(vague[:6])
    return (
        f"failure after the pull is not known to {target_cov:g} at {listed} N: see its interval",
    )


def _vague_edges(aims: list[_Aim]) -> tuple[str, ...]:
    """Name the edges of windows that the curve, flat there, leaves open."""
    return tuple(
        f"the edge of a window at {aim.load:g} N is known to {100 * aim.have / aim.slope:.2g} % "
        "of the load only: failure after the pull hardly changes with the load there"
        if aim.slope > 0
        else f"the edge of a window at {aim.load:g} N is not determined: the curve is flat there"
        for aim in aims
        if aim.have > 1.01 * _EDGE_ERROR * aim.slope
    )


def _cov(bounds: Bounds, confidence: float) -> float:
    """Coefficient of variation from an interval; inf where none is seen, 0 where none held."""
    from scipy.special import ndtri

    if np.isnan(bounds.estimate):
        return 0.0
    z = float(ndtri(0.5 + 0.5 * confidence))
    if bounds.estimate == 0.0:
        return float("inf")
    return float((bounds.high - bounds.low) / (2.0 * z * bounds.estimate))
