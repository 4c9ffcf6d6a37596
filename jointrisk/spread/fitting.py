"""Spreads fitted to numbers by maximum likelihood, some of them perhaps still running.

With y the value (normal) or its log (lognormal, Weibull), w = (y − μ)/σ is standard normal
or, for Weibull, a smallest extreme value: ln f = w − e^w, ln S = −e^w. A number that was not
reached (`censored`: at least so much) counts with its chance of being exceeded, ln S.

Sources: Meeker and Escobar, *Statistical Methods for Reliability Data* (1998), ch. 8
(censored location-scale fits, observed information); Akaike (1974), IEEE Trans. Autom.
Control 19(6), 716-723, doi:10.1109/TAC.1974.1100705.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import special

from jointrisk.errors import EstimateError, InputError, nearest
from jointrisk.spread.base import FloatArray, Spread
from jointrisk.spread.extremes import Weibull
from jointrisk.spread.families import LOG_ROOT_TWO_PI, Lognormal, Normal

__all__ = ["FAMILIES", "Fit", "checked_family", "checked_numbers", "fit"]

Family = Literal["lognormal", "normal", "weibull"]
FAMILIES: tuple[Family, ...] = ("lognormal", "normal", "weibull")


@dataclass(frozen=True, slots=True)
class Fit:
    """A spread fitted to numbers.

    The fit is the most likely spread, not the whole of what the numbers allow: a few coupons
    leave the parameters open by their standard errors.

    Parameters
    ----------
    family : str [-]
        Family fitted.
    spread : Spread [unit of the values]
        Most likely spread of the family.
    parameters : mapping of str to float [as the parameter]
        Its parameters; for "lognormal" those of the log beside those of the variable.
    standard_errors : mapping of str to float [as the parameter]
        Their standard errors, from the observed information.
    log_likelihood : float [-]
        Log-likelihood at the fit.
    aic : float [-]
        Akaike's criterion, 2·2 − 2·log-likelihood; smaller is better.
    location, scale : float [unit of y]
        μ and σ of the value ("normal") or of its log.
    covariance : tuple of tuple of float, (2, 2) [as μ and ln σ]
        Covariance of the estimates of μ and ln σ.
    failures, censored : int [-]
        How many numbers were reached, and how many not.
    """

    family: str
    spread: Spread
    parameters: Mapping[str, float]
    standard_errors: Mapping[str, float]
    log_likelihood: float
    aic: float
    location: float
    scale: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    failures: int
    censored: int


def fit(
    values: npt.ArrayLike, censored: npt.ArrayLike = (), *, family: Family = "lognormal"
) -> Fit:
    """Fit a spread by maximum likelihood.

    Parameters
    ----------
    values : array_like, (n,) [unit of the variable]
        Numbers reached (strengths at break), at least two and not all alike.
    censored : array_like, (m,) [unit of the variable]
        Numbers passed without reaching the end (loads held): the value is larger.
    family : {"lognormal", "normal", "weibull"} [-]
        Family; Weibull with least value 0.

    Returns
    -------
    Fit
        The fitted spread with standard errors.

    Raises
    ------
    InputError
        For too few or unusable numbers or an unknown family.
    EstimateError
        When the likelihood has no maximum that can be found.
    """
    checked_family(family)
    x = checked_numbers(values, family, name="values")
    held = checked_numbers(censored, family, name="censored", least=0)
    if x.size < 2 or np.ptp(x) == 0.0:
        raise InputError(f"fit: values need at least two different numbers, got {x.tolist()}")
    y, c = (x, held) if family == "normal" else (np.log(x), np.log(held))
    both = np.concatenate([y, c])
    centre, width = float(both.mean()), float(both.std())
    theta, value, hessian = _maximise((y - centre) / width, (c - centre) / width, family)
    location, scale = centre + width * float(theta[0]), width * float(np.exp(theta[1]))
    log_likelihood = value - y.size * float(np.log(width))
    if family != "normal":
        log_likelihood -= float(y.sum())
    stretch = np.array([width, 1.0])
    covariance = np.linalg.inv(-hessian) * np.outer(stretch, stretch)
    spread, parameters, jacobian = _in_own_terms(family, location, scale)
    errors = np.sqrt(np.einsum("ij,jk,ik->i", jacobian, covariance, jacobian))
    (a, b), (d, e) = covariance.tolist()
    return Fit(
        family=family,
        spread=spread,
        parameters=parameters,
        standard_errors=dict(zip(parameters, errors.tolist(), strict=True)),
        log_likelihood=log_likelihood,
        aic=4.0 - 2.0 * log_likelihood,
        location=location,
        scale=scale,
        covariance=((a, b), (d, e)),
        failures=x.size,
        censored=held.size,
    )


def checked_numbers(values: npt.ArrayLike, family: str, *, name: str, least: int = 2) -> FloatArray:
    """Return numbers as an array, (n,), refusing those that the family cannot hold."""
    try:
        x = np.atleast_1d(np.asarray(values, dtype=np.float64)).ravel()
    except (TypeError, ValueError):
        raise InputError(f"fit: {name} must be numbers, got {values!r}") from None
    if x.size < least:
        raise InputError(f"fit: {name} need at least {least} numbers, got {x.size}")
    bad = np.flatnonzero(~np.isfinite(x) | ((x <= 0.0) & (family != "normal")))
    if bad.size:
        allowed = "finite" if family == "normal" else f"above 0 for family {family}"
        raise InputError(f"fit: {name} must be {allowed}, got {x[bad[0]]:g} at place {int(bad[0])}")
    return x


def checked_family(family: str) -> None:
    """Refuse a family that is not known, naming the nearest."""
    if family not in FAMILIES:
        close = nearest(str(family), FAMILIES)
        hint = f", did you mean {close}?" if close else ""
        raise InputError(f"family must be one of {', '.join(FAMILIES)}, got {family!r}{hint}")


_Terms = tuple[FloatArray, FloatArray, FloatArray]


def _failure_terms(w: FloatArray, family: str) -> _Terms:
    """Return ln f(w) and its first two derivatives, (n,)."""
    if family == "weibull":
        e = np.exp(w)
        return w - e, 1.0 - e, -e
    return -0.5 * w * w - LOG_ROOT_TWO_PI, -w, -np.ones_like(w)


def _survival_terms(w: FloatArray, family: str) -> _Terms:
    """Return ln S(w) and its first two derivatives, (m,)."""
    if family == "weibull":
        e = np.exp(w)
        return -e, -e, -e
    log_s = special.log_ndtr(-w)
    hazard = np.exp(-0.5 * w * w - LOG_ROOT_TWO_PI - log_s)
    return log_s, -hazard, -hazard * (hazard - w)


def _likelihood(
    theta: FloatArray, y: FloatArray, c: FloatArray, family: str
) -> tuple[float, FloatArray, FloatArray]:
    """Return log-likelihood, gradient, (2,), and Hessian, (2, 2), in μ and ln σ."""
    sigma = float(np.exp(theta[1]))
    value, gradient, hessian = -y.size * float(theta[1]), np.array([0.0, -y.size]), np.zeros((2, 2))
    for part, terms in ((y, _failure_terms), (c, _survival_terms)):
        w = (part - theta[0]) / sigma
        g, g1, g2 = terms(w, family)
        cross = float(np.sum(g2 * w + g1)) / sigma
        value += float(g.sum())
        gradient = gradient - np.array([g1.sum() / sigma, (g1 * w).sum()])
        hessian = hessian + np.array(
            [[g2.sum() / sigma**2, cross], [cross, np.sum(g2 * w * w + g1 * w)]]
        )
    return value, gradient, hessian


def _maximise(y: FloatArray, c: FloatArray, family: str) -> tuple[FloatArray, float, FloatArray]:
    """Return (μ, ln σ), log-likelihood and Hessian at the maximum: damped Newton steps."""
    theta, damping = np.zeros(2), 1e-3
    value, gradient, hessian = _likelihood(theta, y, c, family)
    for _ in range(200):
        if np.max(np.abs(gradient)) < 1e-9 * (y.size + c.size) and np.all(
            np.linalg.eigvalsh(-hessian) > 0.0
        ):
            return theta, value, hessian
        size = y.size + c.size
        curvature = np.linalg.eigvalsh(-hessian)[0]
        ridge = max(0.0, -curvature) + damping * size * (curvature <= 0.0 or damping > 1e-3)
        step = np.clip(np.linalg.solve(-hessian + ridge * np.eye(2), gradient), -2.0, 2.0)
        with np.errstate(over="ignore", invalid="ignore"):
            trial = _likelihood(theta + step, y, c, family)
        if np.isfinite(trial[0]) and trial[0] >= value - 1e-12 * abs(value):
            theta, (value, gradient, hessian) = theta + step, trial
            damping = max(1e-3, damping / 10.0)
        else:
            damping *= 10.0
    raise EstimateError(
        f"fit: no maximum of the {family} likelihood found for {y.size} numbers reached and"
        f" {c.size} censored; last slope {np.max(np.abs(gradient)):.3g}"
    )


def _in_own_terms(
    family: str, mu: float, sigma: float
) -> tuple[Spread, dict[str, float], FloatArray]:
    """Return spread, parameters, (k,), and their derivatives by μ and ln σ, (k, 2)."""
    if family == "normal":
        return Normal(mu, sigma), {"mean": mu, "sd": sigma}, np.diag([1.0, sigma])
    if family == "weibull":
        shape, scale = 1.0 / sigma, float(np.exp(mu))
        jacobian = np.array([[0.0, -shape], [scale, 0.0]])
        return Weibull(shape, scale), {"shape": shape, "scale": scale}, jacobian
    spread = Lognormal.from_log(mu, sigma)
    s2 = sigma**2
    jacobian = np.array(
        [
            [spread.mean, spread.mean * s2],
            [spread.sd, spread.sd * s2 * (1.0 - 1.0 / np.expm1(-s2))],
            [1.0, 0.0],
            [0.0, sigma],
        ]
    )
    parameters = {"mean": spread.mean, "sd": spread.sd, "log_mean": mu, "log_sd": sigma}
    return spread, parameters, jacobian
