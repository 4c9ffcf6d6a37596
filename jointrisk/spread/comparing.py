"""Which family fits numbers best, and how well."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from scipy import special

from jointrisk.errors import InputError
from jointrisk.spread.base import FloatArray
from jointrisk.spread.fitting import FAMILIES, Fit, fit

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["compare_fits"]


def compare_fits(values: npt.ArrayLike, censored: npt.ArrayLike = ()) -> pd.DataFrame:
    """Fit every family and sort by Akaike's criterion.

    The Anderson-Darling statistic A² weighs the tails. Its significance (the chance of a worse
    fit if the family were true; below 0.05 speaks against it) is by the formulas of CMH-17-1G,
    sec. 8.3.6.5 (constants from memory): with A* = (1 + 4/n − 25/n²)A² for the normal and
    1/(1 + exp(−0.48 + 0.78 ln A* + 4.58 A*)); with A* = (1 + 0.2/√n)A² for Weibull and
    1/(1 + exp(−0.10 + 1.24 ln A* + 4.48 A*)). Both only for numbers that were all reached.

    Parameters
    ----------
    values, censored : array_like, (n,), (m,) [unit of the variable]
        As for `fit`.

    Returns
    -------
    pandas.DataFrame
        Index family; columns aic, aic_above_best, log_likelihood, anderson_darling,
        significance, mean, sd, note. A family that cannot hold the numbers stands last, with
        NaN and the reason in `note`.

    Raises
    ------
    InputError
        When no family can be fitted.
    """
    import pandas as pd

    rows: dict[str, dict[str, float | str]] = {}
    for family in FAMILIES:
        try:
            done = fit(values, censored, family=family)
        except InputError as error:
            if family == "normal":
                raise
            rows[family] = {"aic": np.nan, "note": str(error)}
            continue
        statistic, significance = np.nan, np.nan
        if not done.censored:
            statistic, significance = _anderson_darling(np.asarray(values, dtype=float), done)
        rows[family] = {
            "aic": done.aic,
            "log_likelihood": done.log_likelihood,
            "anderson_darling": statistic,
            "significance": significance,
            "mean": done.spread.mean,
            "sd": done.spread.sd,
            "note": "",
        }
    frame = pd.DataFrame.from_dict(rows, orient="index").sort_values("aic", kind="stable")
    frame.insert(1, "aic_above_best", frame["aic"] - frame["aic"].min())
    frame.index.name = "family"
    return frame


def _anderson_darling(x: FloatArray, done: Fit) -> tuple[float, float]:
    """Return A² and its significance; normal and lognormal with the sd of divisor n − 1."""
    n = x.size
    x = np.sort(x)
    if done.family == "weibull":
        p, q = done.spread.cdf(x), done.spread.sf(x)
    else:
        scale = done.scale * np.sqrt(n / (n - 1.0))
        w = ((x if done.family == "normal" else np.log(x)) - done.location) / scale
        p, q = special.ndtr(w), special.ndtr(-w)
    odd = 2.0 * np.arange(1, n + 1) - 1.0
    a2 = float(-n - np.mean(odd * (np.log(p) + np.log(q[::-1]))))
    if done.family == "weibull":
        a = (1.0 + 0.2 / np.sqrt(n)) * a2
        return a2, float(1.0 / (1.0 + np.exp(-0.10 + 1.24 * np.log(a) + 4.48 * a)))
    a = (1.0 + 4.0 / n - 25.0 / n**2) * a2
    if a <= 0.0:
        return a2, float("nan")
    return a2, float(1.0 / (1.0 + np.exp(-0.48 + 0.78 * np.log(a) + 4.58 * a)))
