"""What a pull of every finished part is worth, from one weighted sample.

A pull applies L·(1 + b + e): e is its own error (normal), b the gauge's bias, one for all
pulls. A part of strength R holds with chance Φ((R/L − 1 − b)/cov), so the own error is
integrated exactly and never drawn. One weighted sample that is good in the weak and in
the strong corner serves a whole range of loads:

    P(fails later | held) = E[w · fails · holds] / E[w · holds]

which needs no assumption on how strength in the rig and in service hang together.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from jointrisk.errors import InputError
from jointrisk.reliability.interval import Bounds, ratio_interval
from jointrisk.reliability.loads import ScreeningLoad, find_load

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "Screening",
    "ScreeningLoad",
    "curve",
    "find_load",
    "pull_outcome",
    "pull_terms",
    "refused_chance",
]

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
FailChance = npt.ArrayLike | Callable[[float], npt.ArrayLike]

_MEASURES = ("reject", "reject_each", "reject_weak", "reject_sound", "fail_after")


@dataclass(frozen=True, slots=True)
class Screening:
    """What pulls of several sizes are worth; arrays run over `loads`."""

    loads: Array
    """Load aimed at, L, (m,) [N]."""
    reject: Array
    """Chance that not all parts hold, (m,) [-]."""
    reject_interval: Array
    """(m, 2) [-], as are the intervals below."""
    reject_each: Array
    """Chance that one part does not hold, averaged over the parts, (m,) [-]."""
    reject_each_interval: Array
    reject_weak: Array
    """Chance that a weak part does not hold, (m,) [-]; NaN where no part is known as weak."""
    reject_weak_interval: Array
    reject_sound: Array
    """Chance that a part that is not weak does not hold, (m,) [-]."""
    reject_sound_interval: Array
    fail_after: Array
    """Chance of failure in service given that all held, (m,) [-]."""
    fail_after_interval: Array
    fail_before: float
    """Chance of failure in service without a pull [-]."""
    fail_before_interval: tuple[float, float]
    confidence: float = 0.95
    """Of each interval [-]."""
    notes: tuple[str, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Give one row a load, each measure with its low and high end."""
        import pandas as pd

        columns: dict[str, Array] = {"load": self.loads}
        for name in _MEASURES:
            interval = getattr(self, f"{name}_interval")
            columns[name] = getattr(self, name)
            columns[f"{name}_low"], columns[f"{name}_high"] = interval[:, 0], interval[:, 1]
        return pd.DataFrame(columns)


def refused_chance(
    proof_strength: npt.ArrayLike,
    load: float,
    *,
    rig_error_cov: float = 0.0,
    bias: npt.ArrayLike = 0.0,
) -> Array:
    """Chance that each part does not hold a pull, over the pull's own error.

    Parameters
    ----------
    proof_strength : array_like, (n,) or (k, n) [N]
        Load at which each part would break in the rig today.
    load : float
        Load aimed at [N].
    rig_error_cov : float
        Standard deviation of the pull's own error, as a share of the load [-].
    bias : array_like, () or (n,) [-]
        Error of the gauge, as a share of the load.

    Returns
    -------
    ndarray, same shape as `proof_strength` [-]
        Φ(−(R/L − 1 − b)/cov), accurate when tiny; a step when `rig_error_cov` is 0.
    """
    return _chances(_score(proof_strength, load, rig_error_cov, bias))


def curve(
    weights: npt.ArrayLike,
    proof_strength: npt.ArrayLike,
    fail_chance: FailChance,
    loads: npt.ArrayLike,
    *,
    rig_error_cov: float = 0.0,
    bias: npt.ArrayLike = 0.0,
    is_weak: npt.ArrayLike | None = None,
    component: npt.NDArray[np.integer] | None = None,
    confidence: float = 0.95,
    fail_before: npt.ArrayLike | None = None,
) -> Screening:
    """Evaluate a range of pulls on one weighted sample.

    Parameters
    ----------
    weights : array_like, (n,) [-]
        Nominal density over sampling density; any common factor cancels.
    proof_strength : array_like, (n,) or (k, n) [N]
        Load at which each of k parts would break in the rig today.
    fail_chance : array_like, (n,) [-], or callable
        Chance of failure in service, given that all parts held. A callable gives it for
        a load aimed at, where the pull itself does damage.
    loads : array_like, (m,) [N]
    rig_error_cov, bias
        As in `refused_chance`; each part has an own error, all share `bias`.
    is_weak : array_like of bool, (n,) or (k, n), optional
        Which parts are weak.
    component : ndarray of int, (n,), optional
        Component of the proposal that made each row.
    confidence : float
        Of the intervals [-].
    fail_before : array_like, (n,) [-], optional
        Chance of failure without a pull; needed with a callable `fail_chance`.

    Returns
    -------
    Screening

    Raises
    ------
    InputError
        If shapes disagree, a load is not positive, or a chance is outside [0, 1].
    """
    sample = _sample(weights, proof_strength, is_weak, component, confidence)
    pulls = np.atleast_1d(np.asarray(loads, dtype=float))
    chance = fail_chance if callable(fail_chance) else _constant(fail_chance)
    before = chance(0.0) if fail_before is None and not callable(fail_chance) else fail_before
    if before is None:
        raise InputError("give fail_before when fail_chance is a callable")
    rows: dict[str, list[Bounds]] = {name: [] for name in _MEASURES}
    for load in pulls:
        score = _score(sample.strength, float(load), rig_error_cov, bias)
        for name, bounds in _measures(sample, score, _chance_row(chance(float(load)))).items():
            rows[name].append(bounds)
    plain = _share(sample, sample.weight * _chance_row(before), sample.weight)
    fields: dict[str, Any] = {
        name: np.array([b.estimate for b in found]) for name, found in rows.items()
    }
    fields |= {
        f"{name}_interval": np.array([(b.low, b.high) for b in found])
        for name, found in rows.items()
    }
    return Screening(
        loads=pulls,
        **fields,
        fail_before=plain.estimate,
        fail_before_interval=(plain.low, plain.high),
        confidence=confidence,
    )


def pull_outcome(
    weights: Array,
    proof_strength: Array,
    fails: npt.ArrayLike,
    load: float,
    *,
    rig_error_cov: float = 0.0,
    bias: npt.ArrayLike = 0.0,
) -> tuple[float, float]:
    """Chance of failure after a pull and chance of refusal, without intervals.

    The quick core of `curve`, for searches over the load.

    Parameters
    ----------
    weights : ndarray, (n,) [-]
    proof_strength : ndarray, (k, n) [N]
    fails : array_like, (n,) [-]
        Chance of failure in service given that all parts held.
    load : float
        Load aimed at [N].
    rig_error_cov, bias
        As in `refused_chance`.

    Returns
    -------
    tuple of float
        Failure after (NaN when nothing holds), refusal [-].
    """
    hold, refused = pull_terms(
        weights, proof_strength, load, rig_error_cov=rig_error_cov, bias=bias
    )
    held = float(hold.sum())
    after = (
        float((hold * np.asarray(fails, dtype=float)).sum()) / held if held > 0 else float("nan")
    )
    return after, float(refused.sum()) / float(weights.sum())


def pull_terms(
    weights: Array,
    proof_strength: Array,
    load: float,
    *,
    rig_error_cov: float = 0.0,
    bias: npt.ArrayLike = 0.0,
) -> tuple[Array, Array]:
    """Weight times the chance that all parts hold, and that one does not, row by row.

    Parameters
    ----------
    weights : ndarray, (n,) [-]
    proof_strength : ndarray, (k, n) [N]
    load : float
        Load aimed at [N].
    rig_error_cov, bias
        As in `refused_chance`.

    Returns
    -------
    tuple of ndarray, (n,) [-]
        Each accurate when tiny.
    """
    score = _score(proof_strength, load, rig_error_cov, bias)
    tail, good = ndtr(-np.abs(score)), score > 0
    hold = np.where(good, 1.0 - tail, tail).prod(axis=0)
    return weights * hold, weights * _any(np.where(good, tail, 1.0 - tail))


@dataclass(frozen=True, slots=True)
class _Sample:
    weight: Array
    strength: Array
    weak: Flags | None
    component: npt.NDArray[np.integer] | None
    confidence: float


def _sample(
    weights: npt.ArrayLike,
    proof_strength: npt.ArrayLike,
    is_weak: npt.ArrayLike | None,
    component: npt.NDArray[np.integer] | None,
    confidence: float,
) -> _Sample:
    """Check shapes and give the sample with strengths as (k, n)."""
    weight = np.asarray(weights, dtype=float)
    strength = np.atleast_2d(np.asarray(proof_strength, dtype=float))
    if weight.ndim != 1 or strength.ndim != 2 or strength.shape[1] != weight.size:
        raise InputError(
            "weights must be (n,) and proof_strength (n,) or (k, n), got shapes "
            f"{weight.shape} and {np.shape(proof_strength)}"
        )
    if np.isnan(strength).any():
        raise InputError(f"proof_strength holds {int(np.isnan(strength).sum())} NaN")
    weak = None
    if is_weak is not None:
        flags = np.atleast_2d(np.asarray(is_weak, dtype=bool))
        if flags.shape[1] != weight.size:
            raise InputError(f"is_weak must be (n,) or (k, n), got shape {np.shape(is_weak)}")
        weak = np.broadcast_to(flags, strength.shape)
    return _Sample(weight, strength, weak, component, confidence)


def _constant(values: npt.ArrayLike) -> Callable[[float], npt.ArrayLike]:
    """Give a fail chance that does not depend on the load."""
    return lambda _load: values


def _chance_row(values: npt.ArrayLike) -> Array:
    """Give chances as floats, refusing what is outside [0, 1]."""
    chance = np.asarray(values, dtype=float)
    if not np.all((chance >= 0) & (chance <= 1)):
        raise InputError(
            f"fail_chance must lie in [0, 1], found {chance.min():g} to {chance.max():g}"
        )
    return chance


def _score(
    strength: npt.ArrayLike, load: float, rig_error_cov: float, bias: npt.ArrayLike
) -> Array:
    """Give the normal score of holding the pull; ±inf when the own error is 0."""
    if not (np.isfinite(load) and load > 0):
        raise InputError(f"a load must be finite and > 0 N, got {load:g}")
    if not (np.isfinite(rig_error_cov) and rig_error_cov >= 0):
        raise InputError(f"rig_error_cov must be finite and >= 0, got {rig_error_cov:g}")
    spare = np.asarray(strength, dtype=float) / load - 1.0 - np.asarray(bias, dtype=float)
    if rig_error_cov == 0:
        return np.where(spare >= 0, np.inf, -np.inf)
    return np.asarray(spare / rig_error_cov)


def _chances(score: Array) -> Array:
    """Chance of refusal, (k, n)."""
    return np.asarray(ndtr(-score))


def _any(refused: Array) -> Array:
    """Chance that at least one part is refused, (n,), without taking it from 1."""
    total = np.zeros(refused.shape[1])
    for one in refused:
        total += (1.0 - total) * one
    return total


def _measures(sample: _Sample, score: Array, fails: Array) -> dict[str, Bounds]:
    """All measures of one pull; `score` is (k, n), `fails` (n,) or scalar."""
    weight = sample.weight
    refused = _chances(score)
    held = np.asarray(ndtr(score))
    hold = weight * held.prod(axis=0)
    each = _share(sample, weight * refused.mean(axis=0), weight, weight * held.mean(axis=0))
    weak = Bounds(np.nan, np.nan, np.nan, np.nan)
    sound = each
    if sample.weak is not None:
        flags = sample.weak.astype(float)
        weak = _part(sample, refused, held, flags)
        sound = _part(sample, refused, held, 1.0 - flags)
    return {
        "reject": _share(sample, weight * _any(refused), weight, hold),
        "reject_each": each,
        "reject_weak": weak,
        "reject_sound": sound,
        "fail_after": _share(sample, hold * fails, hold),
    }


def _part(sample: _Sample, refused: Array, held: Array, flags: Array) -> Bounds:
    """Share refused among the flagged parts."""
    weight = sample.weight
    return _share(
        sample,
        weight * (refused * flags).sum(axis=0),
        weight * flags.sum(axis=0),
        weight * (held * flags).sum(axis=0),
    )


def _share(sample: _Sample, part: Array, whole: Array, rest: Array | None = None) -> Bounds:
    """Share with its interval, taken from the complement where that is the smaller one."""
    bounds = ratio_interval(part, whole, sample.component, sample.confidence)
    if not bounds.estimate > 0.5:
        return bounds
    if rest is None:
        rest = np.maximum(whole - part, 0.0)
    other = ratio_interval(rest, whole, sample.component, sample.confidence)
    return Bounds(
        bounds.estimate, max(0.0, 1.0 - other.high), 1.0 - other.low, bounds.standard_error
    )
