"""Screening by a pull for any limit state: draw once, then read off every load.

Where to draw is the business of `rig`, what to read off that of `screening` and `loads`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from jointrisk.errors import InputError
from jointrisk.reliability.loads import ScreeningLoad, find_load
from jointrisk.reliability.rig import AfterPull, IsWeak, Rig, RigSample
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
    guides = np.unique(np.geomspace(pulls.min(), pulls.max(), _GUIDES))
    result, _ = _enough(rig, guides, pulls, target_cov, confidence)
    return result


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
    low, top = rig.strength_range()
    top = top if highest is None else highest
    low = min(low, 0.5 * top)
    lowest = 0.2 * low
    limits = {"target": target, "highest": top, "max_reject": max_reject, "lowest": lowest}
    guides = np.geomspace(low, top, _GUIDES)
    rough = rig.sample(rig.proposals(guides), _ROWS, 0)
    found = find_load(rough.outcome, **limits, before=rough.before)  # type: ignore[arg-type]
    if found.load == 0.0 and rough.before < 0.5 * target:
        return found
    aim = lowest if found.load == 0.0 else found.load or found.floor_load or lowest
    guides = np.unique(np.append(guides, aim))
    curves, sample = _enough(rig, guides, np.array([aim]), target_cov, confidence, target)
    found = find_load(sample.outcome, **limits, before=sample.before)  # type: ignore[arg-type]
    if not found.load:
        return replace(found, notes=curves.notes)
    at = sample.curve(np.array([found.load]), confidence)
    after, refused = at.fail_after_interval[0], at.reject_interval[0]
    return replace(
        found,
        fail_after_interval=(float(after[0]), float(after[1])),
        reject_interval=(float(refused[0]), float(refused[1])),
        notes=curves.notes,
    )


def _error(name: str, value: float) -> float:
    """Refuse a negative or infinite share."""
    if not (np.isfinite(value) and value >= 0):
        raise InputError(f"{name} must be finite and >= 0, got {value:g}")
    return float(value)


def _enough(
    rig: Rig,
    guides: Array,
    pulls: Array,
    target_cov: float,
    confidence: float,
    target: float = np.inf,
) -> tuple[Screening, RigSample]:
    """Sample until `fail_after` is sharp enough at every load, or say where it is not.

    Where its interval lies above `target` it is sharp enough, however wide.
    """
    if not (np.isfinite(target_cov) and target_cov > 0):
        raise InputError(f"target_cov must be finite and > 0, got {target_cov:g}")
    proposals = rig.proposals(guides)
    rows, turn = _ROWS, 1
    while True:
        sample = rig.sample(proposals, rows, turn)
        result = sample.curve(pulls, confidence)
        cov = np.where(result.fail_after_interval[:, 0] > target, 0.0, _scatter(result))
        wanted = 1.2 * rows * float(cov.max() / target_cov) ** 2
        most = _MOST_ROWS if np.isfinite(wanted) else _SILENT_ROWS
        if cov.max() <= target_cov or rows >= most:
            break
        rows = int(min(most, max(2 * rows, wanted)))
        turn += 1
    vague = pulls[cov > target_cov]
    if not vague.size:
        return result, sample
    listed = ", ".join(f"{load:g}" for load in vague[:6])
    note = f"failure after the pull is not known to {target_cov:g} at {listed} N: see its interval"
    return replace(result, notes=(note,)), sample


def _scatter(result: Screening) -> Array:
    """Coefficient of variation of `fail_after` from its interval; inf where none is seen."""
    from scipy.special import ndtri

    low, high = result.fail_after_interval.T
    z = float(ndtri(0.5 + 0.5 * result.confidence))
    with np.errstate(invalid="ignore", divide="ignore"):  # nothing held, or nothing failed
        cov = (high - low) / (2.0 * z * result.fail_after)
    return np.where(np.isnan(result.fail_after), 0.0, cov)
