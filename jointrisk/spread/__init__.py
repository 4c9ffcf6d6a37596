"""One-dimensional spreads, the Gaussian copula between them, and fitting them to numbers."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from jointrisk.spread.base import Spread
from jointrisk.spread.composite import Mixture, Truncated
from jointrisk.spread.copula import GaussianCopula, reachable_correlation, score_correlation
from jointrisk.spread.discrete import Empirical, Fixed
from jointrisk.spread.extremes import Exponential, Frechet, Gumbel, GumbelMin, Weibull
from jointrisk.spread.families import Lognormal, Normal, Triangular, Uniform
from jointrisk.spread.incomplete import Beta, Gamma, StudentT
from jointrisk.spread.maxima import MaximumOf, MaximumOfEvents
from jointrisk.spread.scaled import Scaled

if TYPE_CHECKING:
    from jointrisk.spread.basis import basis_value, normal_factor
    from jointrisk.spread.comparing import compare_fits
    from jointrisk.spread.fitting import Fit, fit

_HOME = {
    "Fit": "fitting",
    "basis_value": "basis",
    "compare_fits": "comparing",
    "fit": "fitting",
    "normal_factor": "basis",
}

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
    "Scaled",
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


def __getattr__(name: str) -> Any:
    """Load what fits spreads to numbers when it is first asked for (PEP 562)."""
    if name in _HOME:
        return getattr(import_module(f"jointrisk.spread.{_HOME[name]}"), name)
    raise AttributeError(f"module 'jointrisk.spread' has no attribute {name!r}")


def __dir__() -> list[str]:
    """Return the public names."""
    return sorted(__all__)
