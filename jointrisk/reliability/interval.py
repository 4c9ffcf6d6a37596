"""Intervals that hold their confidence: counts, weighted means, ratios and quantiles.

Failure terms are non-negative and skewed, and their mean often rests on few of them. The
symmetric normal interval then fails above the estimate. Counts get the exact interval of
Clopper & Pearson; weighted means the gamma interval of Fay & Feuer, which is the exact
Poisson interval when all weights are one and becomes normal when many terms contribute.
"""

from __future__ import annotations

from collections.abc import Callable
from math import sqrt
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv, gammaincinv

from jointrisk.errors import InputError

__all__ = [
    "Bounds",
    "Sums",
    "clopper_pearson",
    "ratio_interval",
    "stratified_interval",
    "sums_of",
    "weighted_interval",
    "weighted_quantile",
]

_NARROW = 1e-20
"""Squared coefficient of variation that is rounding only [-]."""

Array = npt.NDArray[np.float64]
Strata = npt.NDArray[np.integer] | None


class Bounds(NamedTuple):
    """An estimate with its two-sided interval."""

    estimate: float
    low: float
    high: float
    standard_error: float


def clopper_pearson(failures: int, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Give the exact two-sided interval of a binomial chance.

    Parameters
    ----------
    failures : int
        Count, 0 to `n`.
    n : int
        Trials, >= 1.
    confidence : float
        Between 0 and 1 [-].

    Returns
    -------
    tuple of float
        Low and high [-]; low is 0 at no failure, high is 1 when all fail.

    Raises
    ------
    InputError
        If the counts or the confidence are out of range.

    References
    ----------
    Clopper & Pearson (1934), Biometrika 26, 404.
    """
    half = _half(confidence)
    if n < 1 or not 0 <= failures <= n:
        raise InputError(f"failures must lie in 0..n with n >= 1, got {failures} of {n}")
    low = 0.0 if failures == 0 else float(betaincinv(failures, n - failures + 1, half))
    high = 1.0 if failures == n else float(betaincinv(failures + 1, n - failures, 1.0 - half))
    return low, high


def weighted_interval(
    terms: npt.ArrayLike,
    component: Strata = None,
    confidence: float = 0.95,
    *,
    largest: float = 1.0,
) -> Bounds:
    """Give the mean of non-negative weighted terms with a gamma interval.

    The mean y and its variance v define the lower bound, the quantile of a gamma variable
    of mean y and variance v; for the upper bound one more term of the largest size w seen
    is added: mean y + w, variance v + w². The variance is taken inside each component,
    since the counts of the components are not random.

    Parameters
    ----------
    terms : array_like, (n,)
        Weight times indicator or chance, >= 0, any unit.
    component : ndarray of int, (n,), optional
        Component that made each term; None for one plain sample.
    confidence : float
        Between 0 and 1 [-].
    largest : float [-]
        Bound on one term, used when all terms are zero: the upper bound is then `largest`
        times that of a count of 0 in n. One over the guard's share for a mixture.

    Returns
    -------
    Bounds
        Estimate, low, high, standard error, in the unit of `terms`.

    Raises
    ------
    InputError
        If terms are empty, negative or not finite, or the shapes disagree.

    References
    ----------
    Fay & Feuer (1997), Statistics in Medicine 16, 791 (from memory); the gamma interval
    for sums of weighted counts.
    """
    values = _terms("terms", terms)
    sums = sums_of(values, component)
    found = stratified_interval(sums, np.full(sums.counts.size, 1.0 / values.size), confidence)
    if found.estimate > 0.0:
        return found
    return found._replace(high=largest * clopper_pearson(0, values.size, confidence)[1])


class Sums(NamedTuple):
    """All that an interval needs to know of a sample, one entry a stratum."""

    counts: Array
    sums: Array
    squares: Array
    """Sums of squares."""
    maxima: Array

    def plus(self, other: Sums) -> Sums:
        """Add another sample of the same strata."""
        return Sums(
            self.counts + other.counts,
            self.sums + other.sums,
            self.squares + other.squares,
            np.maximum(self.maxima, other.maxima),
        )


def sums_of(terms: Array, component: Strata = None, strata: int = 0) -> Sums:
    """Sum terms by stratum, so that a long run needs no memory for its draws.

    Parameters
    ----------
    terms : ndarray, (n,)
    component : ndarray of int, (n,), optional
        Stratum of each term; None for one.
    strata : int
        Least number of entries of the result.

    Returns
    -------
    Sums
    """
    if component is None:
        component = np.zeros(terms.size, dtype=np.intp)
    elif component.shape != terms.shape:
        raise InputError(f"component must have shape {terms.shape}, got {component.shape}")
    counts = np.bincount(component, minlength=strata)
    maxima = np.zeros(counts.size)
    np.maximum.at(maxima, component, terms)
    return Sums(
        counts.astype(float),
        np.asarray(np.bincount(component, terms, minlength=strata), dtype=float),
        np.asarray(np.bincount(component, terms**2, minlength=strata), dtype=float),
        maxima,
    )


def stratified_interval(
    sums: Sums, scale: Array, confidence: float = 0.95, *, smooth: bool = False
) -> Bounds:
    """Give the gamma interval of a weighted sum over strata of known shares.

    Parameters
    ----------
    sums : Sums
        By stratum.
    scale : ndarray, (K,)
        Factor on each stratum's sum: its share over the number of its draws.
    confidence : float
        Between 0 and 1 [-].
    smooth : bool
        Terms are chances that vary smoothly, not counts: alike, they are no luck, and what
        the largest adds is taken above the mean of its stratum.

    Returns
    -------
    Bounds
        With `high` NaN when all terms are zero: the sums then hold no bound.
    """
    half = _half(confidence)
    mean = float(scale @ sums.sums)
    if mean == 0.0:
        return Bounds(0.0, 0.0, float("nan"), 0.0)
    variance = float(scale**2 @ _scatter(sums))
    largest = _excess(sums) if smooth else sums.maxima
    low, high = _gamma_bounds(mean, variance, float(np.max(scale * largest)), half)
    return Bounds(mean, low, high, sqrt(variance))


def ratio_interval(
    num_terms: npt.ArrayLike,
    den_terms: npt.ArrayLike,
    component: Strata = None,
    confidence: float = 0.95,
) -> Bounds:
    """Give a ratio of two weighted means of the same sample, covariance included.

    The variance comes from the delta method, that is from the residuals ``num - ratio *
    den``; the interval is the gamma interval of `weighted_interval` with it.

    Parameters
    ----------
    num_terms, den_terms : array_like, (n,)
        Non-negative terms row by row, such as weight times failed and passed, and weight
        times passed.
    component, confidence
        As in `weighted_interval`.

    Returns
    -------
    Bounds
        All NaN when the denominator is zero. With a zero numerator the upper bound is
        that of a count of 0 in n, times the largest denominator term over their mean.

    Raises
    ------
    InputError
        As in `weighted_interval`.
    """
    half = _half(confidence)
    num, den = _terms("num_terms", num_terms), _terms("den_terms", den_terms)
    if num.shape != den.shape:
        raise InputError(f"num_terms and den_terms differ in shape: {num.shape} and {den.shape}")
    below = float(den.mean())
    if below == 0.0:
        return Bounds(np.nan, np.nan, np.nan, np.nan)
    ratio = float(num.mean()) / below
    if ratio == 0.0:
        share = clopper_pearson(0, den.size, confidence)[1]
        return Bounds(0.0, 0.0, share * float(den.max()) / below, 0.0)
    num, den = num / below, den / below  # squares of the quotients cannot underflow
    variance = _variance_of_mean(num - ratio * den, component)
    low, high = _gamma_bounds(ratio, variance, float(num.max()) / den.size, half)
    return Bounds(ratio, low, high, sqrt(variance))


def weighted_quantile(
    values: npt.ArrayLike,
    weights: npt.ArrayLike,
    q: float,
    component: Strata = None,
    confidence: float = 0.95,
) -> Bounds:
    """Give a lower-tail quantile of a weighted sample and its interval.

    The estimate is the least value x with ``sum(w [v <= x]) / n >= q``. Weights are not
    normalised: their expectation is 1. The interval holds every x whose own interval of
    the cdf contains `q`.

    Parameters
    ----------
    values : array_like, (n,)
        Any unit.
    weights : array_like, (n,) [-]
        Nominal density over sampling density.
    q : float
        Between 0 and 1 [-]; meant for the tail that the sample reaches.
    component, confidence
        As in `weighted_interval`.

    Returns
    -------
    Bounds
        In the unit of `values`; `low` is -inf or `high` is inf where the sample does not
        bound the quantile. The standard error is NaN: the interval does not use one.

    Raises
    ------
    InputError
        If `q` is outside (0, 1) or the sample is not usable.
    """
    if not 0.0 < q < 1.0:
        raise InputError(f"q must lie between 0 and 1, got {q:g}")
    weight = _terms("weights", weights)
    value = np.asarray(values, dtype=float)
    if value.shape != weight.shape or np.isnan(value).any():
        raise InputError(
            f"values must be {weight.shape} numbers without NaN, got shape {value.shape} with "
            f"{int(np.isnan(value).sum())} NaN"
        )
    order = np.argsort(value, kind="stable")
    value, weight = value[order], weight[order]
    strata = None if component is None else component[order]
    rows = np.arange(value.size)

    def cdf(index: int) -> Bounds:
        reached = rows <= np.searchsorted(value, value[index], side="right") - 1
        return weighted_interval(weight * reached, strata, confidence)

    middle = _first(lambda i: cdf(i).estimate >= q, value.size)
    low = _first(lambda i: cdf(i).high >= q, value.size)
    high = _first(lambda i: cdf(i).low >= q, value.size)
    at = np.append(value, np.inf)
    unseen = float(weight[0]) * clopper_pearson(0, value.size, confidence)[1]
    below = -np.inf if unseen >= q else float(at[low])
    return Bounds(float(at[middle]), below, float(at[high]), float("nan"))


def _first(holds: Callable[[int], bool], count: int) -> int:
    """Least index at which a rising condition holds, `count` when it never does."""
    low, high = 0, count
    while low < high:
        middle = (low + high) // 2
        if holds(middle):
            high = middle
        else:
            low = middle + 1
    return low


def _half(confidence: float) -> float:
    """Chance left out on each side."""
    if not 0.0 < confidence < 1.0:
        raise InputError(f"confidence must lie between 0 and 1, got {confidence:g}")
    return 0.5 * (1.0 - confidence)


def _terms(name: str, values: npt.ArrayLike) -> Array:
    """Give terms as floats, refusing what is not a non-negative finite row."""
    array = np.asarray(values, dtype=float)
    if array.ndim != 1 or array.size == 0:
        raise InputError(f"{name} must have shape (n,) with n >= 1, got {array.shape}")
    lowest, highest = float(array.min()), float(array.max())
    if not (lowest >= 0.0 and np.isfinite(highest)):
        raise InputError(f"{name} must be finite and >= 0, found {lowest:g} to {highest:g}")
    return array


def _variance_of_mean(values: Array, component: Strata) -> float:
    """Variance of the mean, inside components."""
    return float(_scatter(sums_of(values, component)).sum()) / values.size**2


def _scatter(sums: Sums) -> Array:
    """Variance of each stratum's sum; a stratum of one draw counts its square."""
    counts = np.maximum(sums.counts, 1.0)
    inside = np.maximum(sums.squares - sums.sums**2 / counts, 0.0)
    several = counts > 1
    return np.where(several, inside * counts / np.where(several, counts - 1, 1.0), sums.squares)


def _excess(sums: Sums) -> Array:
    """How far the largest term of each stratum lies above its mean; of a lone term, all."""
    mean = sums.sums / np.maximum(sums.counts, 1.0)
    return np.asarray(np.where(sums.counts > 1, np.maximum(sums.maxima - mean, 0.0), sums.maxima))


def _gamma_bounds(mean: float, variance: float, step: float, half: float) -> tuple[float, float]:
    """Gamma interval; `step` is the contribution of the largest term to the mean."""
    largest = step / mean
    spread = max((sqrt(variance) / mean) ** 2, largest**2)
    if spread < _NARROW:
        return mean, mean
    low = mean * spread * float(gammaincinv(1.0 / spread, half))
    factor, wider = 1.0 + largest, spread + largest**2
    high = mean * wider / factor * float(gammaincinv(factor**2 / wider, 1.0 - half))
    return low, high
