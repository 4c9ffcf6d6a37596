"""Single values that lie far out, and what a set says of badly bonded ones."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from jointrisk.study.fit_results import Outlier, Outliers, Weak

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.scenario.broken import Broken

__all__ = ["critical_residual", "outliers_of", "ranks", "weak_of"]

LEVEL = 0.05
"""Chance that a set without any outlier has one flagged [-]."""
LEAST = 3
"""Values that the test needs [-]."""
FAR_BELOW = 0.5
"""A value below this share of the middle one asks for a look at its faces: judgement [-]."""


def critical_residual(n: int, level: float = LEVEL) -> float:
    """Return the critical value of the maximum normed residual, two-sided.

    Parameters
    ----------
    n : int
        Number of values, 3 or more [-].
    level : float
        Chance that the residual is larger in a normal sample [-].

    Notes
    -----
    C = (n - 1)/sqrt(n) sqrt(t^2/(n - 2 + t^2)), t the quantile 1 - level/(2n) of Student's t with
    n - 2 degrees of freedom: Grubbs (1969), Technometrics 11(1), 1-21,
    doi:10.1080/00401706.1969.10490657; Stefansky (1972), Technometrics 14(2), 469-479. The bound
    is exact for the levels in use; CMH-17-1G sec. 8.3.3 has the test, from memory.
    """
    t = special.stdtrit(n - 2, level / (2.0 * n))
    return float((n - 1) / np.sqrt(n) * np.sqrt(t * t / (n - 2 + t * t)))


def outliers_of(coupons: Sequence[Broken]) -> Outliers:
    """Return what the maximum normed residual test flags, one after the other."""
    left = [c for c in coupons if not c.held]
    if len(left) < len(coupons) or len(left) < LEAST:
        return Outliers(None, None, (), None, None)
    flagged: list[Outlier] = []
    first: tuple[float, float] | None = None
    while len(left) >= LEAST:
        values = np.array([c.value for c in left])
        mean, sd = values.mean(), values.std(ddof=1)
        if not sd > 0.0:
            break
        place = int(np.argmax(np.abs(values - mean)))
        far, limit = float(abs(values[place] - mean) / sd), critical_residual(len(left))
        first = first or (far, limit)
        if far <= limit:
            break
        out = left.pop(place)
        side = "low" if out.value < mean else "high"
        flagged.append(Outlier(out.row, out.value, side, far, limit))
    kept = np.array([c.value for c in left])
    cov = float(kept.std(ddof=1) / kept.mean()) if flagged and kept.size > 1 else None
    mean_without = float(kept.mean()) if flagged else None
    residual, critical = first or (None, None)
    return Outliers(residual, critical, tuple(flagged), mean_without, cov)


def weak_of(coupons: Sequence[Broken], middle: float) -> Weak:
    """Return which broke far below the middle value, and how large their share of all may be.

    Clopper and Pearson (1934), one-sided, 95 in 100.
    """
    below = FAR_BELOW * middle
    rows = tuple(c.row for c in coupons if not c.held and c.value < below)
    seen = sum(not c.held or c.value >= below for c in coupons)
    high = 1.0
    if len(rows) < seen:
        high = float(special.betaincinv(len(rows) + 1, seen - len(rows), 0.95))
    return Weak(below, rows, high)


def ranks(coupons: Sequence[Broken]) -> list[float | None]:
    """Return the share of all that lies below each, from its rank; None for those that held.

    i/(n + 1) where all broke; held ones pass their share on to those above them: Herd and
    Johnson, in Johnson, *The Statistical Treatment of Fatigue Experiments* (1964), from memory.
    """
    # A coupon that held a load is stronger than one that broke at the same load.
    order = sorted(range(len(coupons)), key=lambda i: (coupons[i].value, coupons[i].held))
    found: list[float | None] = [None] * len(coupons)
    above = 1.0
    for done, i in enumerate(order):
        left = len(coupons) - done
        if not coupons[i].held:
            above *= left / (left + 1.0)
            found[i] = 1.0 - above
    return found
