"""The main sample under a changed spread: every draw weighted by new over old density.

For a change T(x) = m + (x - m) squeeze + shift of a variable with density f and mean m the new
density is f(T^-1(x))/squeeze; the weight of a draw is the product of new over old over all
copies of the variable. No model run is needed, but it works only where the draws reach what the
changed spread asks for: the ends of the new spread must lie inside the old one, and enough
draws that fail must be left to carry the answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.reliability.interval import ratio_interval

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from jointrisk.model.draws import Change
    from jointrisk.reliability.interval import Bounds
    from jointrisk.spread import Spread
    from jointrisk.study.sample import Sample

    Array = npt.NDArray[np.float64]

LEAST_EFFECTIVE = 400.0
"""Effective number of failing draws that a reweighted answer needs."""
LEAST_KEPT = 0.25
"""The same over the effective number before, at least [-]: fewer hang on the edge of the draws,
and their scatter says too little of the error."""
MOST_MOMENT = 4.0
"""Mean square of the weights over all copies above which no attempt is made [-]."""
ENDS, FARTHEST = 4.5, 8.0
"""Scores of the old spread that a change may move, and how far out they may come [-]."""
NODES = np.linspace(-6.0, 6.0, 193)


@dataclass(frozen=True, slots=True)
class Reweighted:
    """What reweighting says of one change."""

    ratio: Bounds
    effective: float
    """Effective number of failing draws."""


def reweighted(
    sample: Sample, changes: Mapping[str, Change], kept: dict[str, Array]
) -> Reweighted | None:
    """Return what a change multiplies the failure probability by, or None where it cannot tell.

    Parameters
    ----------
    sample : Sample
    changes : mapping of str to Change
        Of variables that are drawn.
    kept : dict of str to ndarray
        Log densities already known; filled in on the way.
    """
    rods = sample.rods
    tied = {key for group in rods.groups for key in group.keys}
    if sample.often or any(key not in rods.layout.columns or key in tied for key in changes):
        return None
    moment = 1.0
    for key, change in changes.items():
        columns = rods.layout.columns[key]
        spread = rods.variables[key].spread
        if not reaches(spread, change):
            return None
        moment *= _second_moment(spread, change) ** (columns.stop - columns.start)
    if not moment <= MOST_MOMENT:
        return None
    plain = sample.weight * sample.fails
    log_ratio = np.zeros(plain.size)
    for key, change in changes.items():
        log_ratio += _log_ratio(sample, key, change, kept)
    terms = plain * np.exp(log_ratio)
    effective, before = effective_number(terms), effective_number(plain)
    if effective < max(LEAST_EFFECTIVE, LEAST_KEPT * before):
        return None
    return Reweighted(ratio_interval(terms, plain, sample.component), effective)


def effective_number(terms: Array) -> float:
    """Return how many terms of one size would carry as much: (sum)^2 over sum of squares."""
    return float(terms.sum()) ** 2 / max(float((terms**2).sum()), 1e-300)


def reaches(spread: Spread, change: Change) -> bool:
    """Tell whether draws of a spread reach what it becomes under a change.

    False too where the spread has no density, or a change leaves none.
    """
    if change.squeeze <= 0.0:
        return False
    inside = spread.from_normal(NODES)
    with np.errstate(all="ignore"):
        if not np.all(np.isfinite(spread.logpdf(inside))) or np.any(np.diff(inside) <= 0.0):
            return False
    mean = float(spread.mean)
    low, high = change.apply(spread.from_normal(np.array([-ENDS, ENDS])), mean)
    least, most = spread.from_normal(np.array([-FARTHEST, FARTHEST]))
    return bool(low >= least and high <= most)


def _second_moment(spread: Spread, change: Change) -> float:
    """Return the mean square of new over old density of one copy [-]."""
    x = spread.from_normal(NODES)
    share = np.exp(-0.5 * NODES**2)
    ratio = np.exp(_density_ratio(spread, change, x, spread.logpdf(x)))
    return float((share * ratio**2).sum() / share.sum())


def _log_ratio(sample: Sample, key: str, change: Change, kept: dict[str, Array]) -> Array:
    """Return the log of new over old density over all copies of one variable, (n,) [-]."""
    rods = sample.rods
    columns = rods.layout.columns[key]
    spread = rods.variables[key].spread
    x = spread.from_normal(sample.draws.u[:, columns])
    if key not in kept:
        kept[key] = spread.logpdf(x)
    return np.asarray(_density_ratio(spread, change, x, kept[key]).sum(axis=1))


def _density_ratio(spread: Spread, change: Change, x: Array, log_old: Array) -> Array:
    mean = float(spread.mean)
    before = mean + (x - mean - change.shift) / change.squeeze
    with np.errstate(divide="ignore"):  # outside the new spread: log 0
        log_new = spread.logpdf(before) - np.log(change.squeeze)
    found: Array = log_new - log_old
    return found
