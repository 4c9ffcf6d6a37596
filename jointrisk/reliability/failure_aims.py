"""How closely an index of a failure is wanted, and how errors add up to its interval."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointrisk.reliability.estimates import Estimate
from jointrisk.reliability.importance import Weighted
from jointrisk.reliability.indices import Interval
from jointrisk.reliability.interval import Bounds

__all__ = ["Aim", "Found", "doubted", "first_of", "joined", "total_of"]

Found = dict[str, Bounds]

_OF_LARGEST, _OF_CHANCE = 0.1, 0.5
"""An index is wanted as closely as one of this part of the largest [-], or, for a first index,
of this part of p / (1 - p): two failures that share the variable are then 1.5 times as likely
as two that share nothing."""
_ERRORS, _INFORMS = 4.0, 0.4
"""Two values agree within so many joint standard errors; a coarser one confirms nothing [-]."""


@dataclass(frozen=True, slots=True)
class Aim:
    """The standard error to reach, over the index itself or the least that matters."""

    target: float

    def floor(self, found: Found, p: float = 1.0) -> float:
        """Give the least index that is wanted as closely as it is itself."""
        largest = max((bounds.estimate for bounds in found.values()), default=0.0)
        level = _OF_CHANCE * p / (1.0 - p) if p < 1.0 else np.inf
        return float(min(_OF_LARGEST * largest, level))

    def short(self, bounds: Bounds, floor: float) -> float:
        """Give the standard error over what is asked for."""
        wanted = self.target * max(bounds.estimate, floor)
        if wanted > 0.0:
            return bounds.standard_error / wanted
        return np.inf if bounds.standard_error > 0.0 else 0.0

    def excess(self, found: Found, p: float = 1.0) -> float:
        """Give the largest standard error over what is asked for."""
        floor = self.floor(found, p)
        return max(self.short(bounds, floor) for bounds in found.values())


def doubted(found: Weighted, other: Estimate) -> str:
    """Say why a second value of the probability does not confirm the first; "" where it does."""
    p = found.bounds.estimate
    if not other.cov <= _INFORMS:
        why = "too coarse to confirm it"
    else:
        error = np.hypot(found.bounds.standard_error, other.cov * other.probability)
        if abs(p - other.probability) > _ERRORS * error:
            why = "a region may be missed"
        elif not other.converged:
            why = "which no further method confirms"
        else:
            return ""
    return (
        f"not converged: failure probability {p:.3g} here, "
        f"{other.probability:.3g} by {other.method}: {why}"
    )


def total_of(found: Bounds, p: Bounds) -> Bounds:
    """Total index from the chance that a failure holds with the variable anew."""
    keep = 1.0 - p.estimate
    value = found.estimate / keep
    slope = value / keep
    low, high = joined(value, found, 1.0 / keep, slope, p)
    error = float(np.hypot(found.standard_error / keep, slope * p.standard_error))
    return Bounds(min(value, 1.0), low, high, error)


def first_of(found: Bounds, p: Bounds) -> Bounds:
    """First index from the variance of P(F | X) over p², where that does not hang on p."""
    keep = 1.0 - p.estimate
    scale, slope = p.estimate / keep, found.estimate / keep**2
    value = scale * found.estimate
    low, high = joined(value, found, scale, slope, p)
    error = float(np.hypot(scale * found.standard_error, slope * p.standard_error))
    return Bounds(min(max(value, 0.0), 1.0), low, high, error)


def joined(value: float, found: Bounds, scale: float, slope: float, p: Bounds) -> Interval:
    """Interval of an index from that of what it is made of and that of the probability.

    Each end adds the squares of what both may do to it (Zou & Donner 2008).
    """
    below, above = p.estimate - p.low, p.high - p.estimate
    if slope < 0.0:
        below, above = above, below
    low = value - np.hypot(scale * (found.estimate - found.low), slope * below)
    high = value + np.hypot(scale * (found.high - found.estimate), slope * above)
    return float(np.clip(low, 0.0, 1.0)), float(np.clip(high, 0.0, 1.0))
