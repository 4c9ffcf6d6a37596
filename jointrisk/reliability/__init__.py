"""Estimators for any limit state: probability, interval, design points, screening."""

from jointrisk.reliability.estimates import Estimate, FailurePoint, estimate
from jointrisk.reliability.loads import ScreeningLoad
from jointrisk.reliability.proof import screen, smallest_load
from jointrisk.reliability.screening import Screening

__all__ = [
    "Estimate",
    "FailurePoint",
    "Screening",
    "ScreeningLoad",
    "estimate",
    "screen",
    "smallest_load",
]
