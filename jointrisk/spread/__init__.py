"""One-dimensional spreads, the Gaussian copula between them, and fitting them to numbers."""

from jointrisk.spread.base import Spread
from jointrisk.spread.basis import basis_value, normal_factor
from jointrisk.spread.comparing import compare_fits
from jointrisk.spread.composite import Mixture, Truncated
from jointrisk.spread.copula import GaussianCopula, reachable_correlation, score_correlation
from jointrisk.spread.discrete import Empirical, Fixed
from jointrisk.spread.extremes import Exponential, Frechet, Gumbel, GumbelMin, Weibull
from jointrisk.spread.families import Lognormal, Normal, Triangular, Uniform
from jointrisk.spread.fitting import Fit, fit
from jointrisk.spread.incomplete import Beta, Gamma, StudentT
from jointrisk.spread.maxima import MaximumOf, MaximumOfEvents

__all__ = [
    "Beta",
    "Empirical",
    "Exponential",
    "Fit",
    "Fixed",
    "Frechet",
    "Gamma",
    "GaussianCopula",
    "Gumbel",
    "GumbelMin",
    "Lognormal",
    "MaximumOf",
    "MaximumOfEvents",
    "Mixture",
    "Normal",
    "Spread",
    "StudentT",
    "Triangular",
    "Truncated",
    "Uniform",
    "Weibull",
    "basis_value",
    "compare_fits",
    "fit",
    "normal_factor",
    "reachable_correlation",
    "score_correlation",
]
