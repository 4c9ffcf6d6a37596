"""Basis values: what a stated share of all parts exceeds, with a stated confidence.

A B basis is exceeded by 90 % of parts with 95 % confidence, an A basis by 99 %.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import special

from jointrisk.errors import InputError
from jointrisk.spread.base import FloatArray
from jointrisk.spread.fitting import Family, checked_family, checked_numbers, fit

__all__ = ["basis_value", "normal_factor"]

CMH17_WEIBULL = {0.90: (3.803, 1.79, 0.516, 5.1, 1), 0.99: (6.649, 2.55, 0.526, 4.76, 0)}
"""Constants of V = c₀ + exp(c₁ − c₂ ln n + c₃/(n − c₄)), by fraction; from memory.

On samples of 20 to 60 they agree with the exact conditional limit to 0.6 % of V on average.
"""


def basis_value(
    values: npt.ArrayLike,
    *,
    family: Family = "normal",
    fraction: float = 0.90,
    confidence: float = 0.95,
) -> float:
    """Return the value that a fraction of all parts exceeds, with a confidence.

    Normal: mean − k·sd with the exact one-sided factor (`normal_factor`). Lognormal: the same
    on the logs. Weibull: CMH-17's factor where it holds (fraction 0.90 or 0.99, confidence
    0.95, 16 values or more, `weibull_by_factor`), else the exact conditional limit
    (`weibull_conditional`).

    Parameters
    ----------
    values : array_like, (n,) [unit of the variable]
        Values of one batch, n at least 2.
    family : {"normal", "lognormal", "weibull"} [-]
        Family of the values.
    fraction : float [-]
        Fraction of parts above the basis value, 0 to 1 exclusive.
    confidence : float [-]
        Confidence that it is so, 0 to 1 exclusive.

    Returns
    -------
    float [unit of the variable]
        Basis value.

    Raises
    ------
    InputError
        For unusable values, an unknown family, or a fraction or confidence outside 0 to 1.

    References
    ----------
    Composite Materials Handbook CMH-17-1G (2012), sec. 8.3.5.
    """
    checked_family(family)
    x = checked_numbers(values, family, name="values")
    if np.ptp(x) == 0.0:
        raise InputError(f"basis value: values need to differ, got {x.size} times {x[0]:g}")
    for name, share in (("fraction", fraction), ("confidence", confidence)):
        if not 0.0 < share < 1.0:
            raise InputError(f"basis value: {name} must be between 0 and 1, got {share:g}")
    if family == "weibull":
        if x.size >= 16 and confidence == 0.95 and fraction in CMH17_WEIBULL:
            return weibull_by_factor(x, fraction)
        return weibull_conditional(x, fraction, confidence)
    y = x if family == "normal" else np.log(x)
    low = float(y.mean() - normal_factor(x.size, fraction, confidence) * y.std(ddof=1))
    return low if family == "normal" else float(np.exp(low))


def normal_factor(n: int, fraction: float = 0.90, confidence: float = 0.95) -> float:
    """Return the one-sided tolerance factor k of a normal sample.

    k = t′(confidence; n − 1, z√n)/√n with t′ the quantile of the noncentral t distribution and
    z the normal score of the fraction.

    Parameters
    ----------
    n : int [-]
        Number of values, at least 2.
    fraction : float [-]
        Fraction of parts above mean − k·sd.
    confidence : float [-]
        Confidence that it is so.

    Returns
    -------
    float [-]
        Factor k.

    References
    ----------
    Owen (1968), Technometrics 10(3), 445-478, doi:10.1080/00401706.1968.10490594; CMH-17-1G,
    sec. 8.3.5.3.
    """
    from scipy.stats import nct

    root = np.sqrt(n)
    return float(nct.ppf(confidence, n - 1, special.ndtri(fraction) * root) / root)


def weibull_by_factor(x: FloatArray, fraction: float) -> float:
    """Return a Weibull A or B basis value by CMH-17's factor, for 16 values or more.

    scale·(−ln fraction)^(1/shape)·exp(−V/(shape·√n)) with V of `CMH17_WEIBULL`.

    Parameters
    ----------
    x : ndarray, (n,) [unit of the variable]
        Values.
    fraction : float [-]
        0.90 (B basis) or 0.99 (A basis); the confidence is 0.95.

    Returns
    -------
    float [unit of the variable]
        Basis value.

    References
    ----------
    CMH-17-1G (2012), sec. 8.3.5.2 and table 8.5.8.
    """
    n = x.size
    c0, c1, c2, c3, c4 = CMH17_WEIBULL[fraction]
    factor = c0 + np.exp(c1 - c2 * np.log(n) + c3 / (n - c4))
    found = fit(x, family="weibull").parameters
    shape, scale = found["shape"], found["scale"]
    quantile = scale * (-np.log(fraction)) ** (1.0 / shape)
    return float(quantile * np.exp(-factor / (shape * np.sqrt(n))))


def weibull_conditional(x: FloatArray, fraction: float, confidence: float) -> float:
    """Return an exact lower limit of a Weibull quantile, given the pattern of the values.

    With y = ln x, T(σ) = Σ e^(y/σ) and w = ln(−ln fraction), the limit L solves

        ∫ g(σ) Q(n, T(σ) e^(w − L/σ)) dσ = 1 − confidence,  g ∝ σ^(−n) e^(Σy/σ) T(σ)^(−n),

    Q the upper regularised incomplete gamma function. Exact at any n for complete samples.

    Parameters
    ----------
    x : ndarray, (n,) [unit of the variable]
        Values.
    fraction : float [-]
        Fraction of parts above the limit.
    confidence : float [-]
        Confidence that it is so.

    Returns
    -------
    float [unit of the variable]
        Lower limit of the quantile.

    References
    ----------
    Lawless (1975), Technometrics 17(2), 255-261, doi:10.1080/00401706.1975.10489307.
    """
    found = fit(x, family="weibull")
    n, w = x.size, np.log(-np.log(fraction))
    y = (np.log(x) - found.location) / found.scale
    # The weight is some 0.8/√n wide in ln σ and falls off as σ^(1 − n) above.
    log_sigma = np.linspace(-min(3.0, 15.0 / np.sqrt(n)), 15.0 / np.sqrt(n) + 30.0 / n, 501)
    sigma = np.exp(log_sigma)
    top = float(y.max())
    log_sum = np.array([top / s + np.log(np.exp((y - top) / s).sum()) for s in sigma])
    log_weight = (1.0 - n) * log_sigma + y.sum() / sigma - n * log_sum
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    low, high = -1e4, top + 50.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        argument = np.exp(np.minimum(log_sum + w - middle / sigma, 700.0))
        # The chance that the quantile is below `middle` grows with it.
        below = float(weight @ special.gammaincc(n, argument))
        low, high = (middle, high) if below < 1.0 - confidence else (low, middle)
    return float(np.exp(found.location + found.scale * 0.5 * (low + high)))
