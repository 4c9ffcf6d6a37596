"""What "auto" does: a few plain draws, a cheap path, then two methods that have to agree.

No method alone is trusted with a small probability: each has its own way to miss a region, so
the answer is that of the first method that reaches the aim and whose value a second one,
searching with other draws, does not contradict.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.reliability.interval import clopper_pearson

if TYPE_CHECKING:
    from jointrisk.reliability.crude import Counts
    from jointrisk.reliability.estimates import Estimate

__all__ = ["CHEAP_CRUDE", "FIRST", "PILOT", "choose", "enough", "pilot_note"]

Run = Callable[[str, float, int], "Estimate"]

FIRST, PILOT = 2**9, 2**10
"""Plain draws made first, and where the cheap path gives no answer."""
CHEAP_CRUDE = 30_000
"""Plain failures are counted when this many draws are enough."""
_PLAN = (
    ("line", 0.0, 150_000),
    ("importance", 0.2, 40_000),
    ("subset", 0.0, 600_000),
    ("importance", 0.0, 300_000),
)
"""Method, coarsest coefficient of variation it is asked for (0: the aim), rows at most."""
_MANY, _AROUND, _BESIDE = 6, ("directional", 0.0, 6_000), ("subset", 0.2, 60_000)
"""From so many coordinates, failure all around is seen at once, and what confirms it."""
_ERRORS = 4.0
"""Two values agree within so many of their joint standard errors."""
_INFORMS = 0.4
"""A value of a larger coefficient of variation contradicts nothing [-]."""


def choose(
    run: Run, pilot: Counts, target_cov: float, most: int, *, dim: int = 0, spent: int = 0
) -> Estimate:
    """Return the estimate that two methods and the plain draws agree on.

    Parameters
    ----------
    run : callable
        Method, coefficient of variation [-] and rows at most to an estimate.
    pilot : Counts
        Plain draws, too few failures in them to count on.
    target_cov : float
        Coefficient of variation to reach [-].
    most : int
        Rows at most, the pilot's included; each method may use what is left.
    dim : int
        Number of coordinates, 0 where there are labels.
    spent : int
        Rows used up before, the pilot's not included.

    Returns
    -------
    Estimate
        `converged` is False where no second method confirms it; the notes say so.
    """
    low, high = clopper_pearson(pilot.failures, pilot.n, 0.9999)
    note = pilot_note(pilot)
    used = pilot.n + spent
    tried: list[Estimate] = []
    plan = [_AROUND, *_PLAN] if dim >= _MANY else list(_PLAN)
    while plan:
        method, coarse, rows = plan.pop(0)
        left = min(rows, most - used)
        if (left < 1 and tried) or _hopeless(method, tried):
            break
        found = run(method, max(coarse, target_cov), max(left, 1))
        used += found.evaluations
        if method == "directional":
            if not (found.converged and found.cov <= target_cov):
                continue
            plan.insert(0, _BESIDE)
        tried.append(found)
        for one in tried:
            other = _witness(one, tried)
            if one.cov <= target_cov and one.converged and other and _fits(one, low, high):
                said = f"{one.method} {one.probability:.4g}, {other} agrees"
                return replace(one, evaluations=used, notes=(note, said, *one.notes))
    best = min(tried, key=lambda one: (not _fits(one, low, high), not one.cov <= 1e9, one.cov))
    said = "; ".join(f"{one.method} {one.probability:.3g}" for one in tried)
    why = f"no two methods confirm each other ({said}): a region may be missed"
    return replace(best, evaluations=used, converged=False, notes=(note, why, *best.notes))


def pilot_note(pilot: Counts, so: str = "too few to count on") -> str:
    """Say how many plain draws failed, and what follows."""
    return f"auto: {pilot.failures:,} of {pilot.n:,} plain draws failed, {so}"


def enough(pilot: Counts, target_cov: float, most: int) -> bool:
    """Tell whether plain draws would count enough failures in few rows."""
    return bool(pilot.n * (pilot.cov / target_cov) ** 2 <= min(CHEAP_CRUDE, most))


def _hopeless(method: str, tried: list[Estimate]) -> bool:
    """Tell whether a method has been tried for a coarse value and did not come near."""
    return any(one.method == method and not one.cov <= _INFORMS for one in tried)


def _fits(found: Estimate, low: float, high: float) -> bool:
    """Tell whether the plain draws allow the interval."""
    return found.interval[0] <= high and found.interval[1] >= low


def _witness(one: Estimate, tried: list[Estimate]) -> str:
    """Return the method of another estimate that agrees, "" where there is none."""
    for other in tried:
        if other is one or not other.cov <= _INFORMS:
            continue
        error = np.hypot(one.cov * one.probability, other.cov * other.probability)
        if abs(one.probability - other.probability) <= _ERRORS * error:
            return other.method
    return ""
